"""The planted patches of the demo are found, and a season without any gives no marks."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from math import sqrt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely

from data.demo.beetles import SPECIES, DemoOptions
from data.demo.layout import demo_layout
from data.demo.rounds import draw_season
from data.reading import read_site
from data.site import Site
from spatial.analysis import analyse
from spatial.clusters import clusters_by
from spatial.exposure import rounds, season_visits, to_date
from spatial.neighbours import nearest_on_foot
from spatial.results import Analysis
from spatial.season_effort import season_effort
from spatial.seasons import choose_season
from spatial.walking import walking_distances

DEMO = Path(__file__).parents[1] / "data" / "demo"
NULL_SEASONS = 200
ALPHA = 0.05


@cache
def demo_site() -> Site:
    return read_site(DEMO / "site")


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return analyse(demo_site())


@pytest.fixture(scope="module")
def patches() -> Mapping[str, Mapping[str, list[str]]]:
    truth: dict[str, dict[str, dict[str, list[str]]]] = json.loads(
        (DEMO / "truth.json").read_text(encoding="utf-8")
    )
    return truth["patches"]


@pytest.mark.parametrize("patch", ["busy-1", "busy-2"])
def test_a_planted_busy_patch_is_marked(
    patch: str, analysis: Analysis, patches: Mapping[str, Mapping[str, list[str]]]
) -> None:
    """At least half of the traps of each planted patch are marked as a busy patch."""
    marks = analysis.traps.set_index("location_id")["mark"]
    planted = marks.loc[patches[patch]["traps"]]
    assert (planted == "busy_patch").mean() >= 0.5


def test_quiet_zones_are_not_marked_busy(
    analysis: Analysis, patches: Mapping[str, Mapping[str, list[str]]]
) -> None:
    """No zone outside the planted busy patches' own surroundings carries a busy mark."""
    places = analysis.traps.set_index("location_id").geometry
    planted = [trap for name in ("busy-1", "busy-2") for trap in patches[name]["traps"]]
    marked = analysis.traps.loc[
        analysis.traps["mark"].isin(["busy_patch", "lone_busy"]), "location_id"
    ]
    reach_m = max(analysis.links["distance_m"])
    near = [places[name].distance(shapely.MultiPoint(list(places[planted]))) for name in marked]
    assert max(near) <= reach_m
    quiet = set(patches["quiet-1"]["zones"])
    busy_zones = set(analysis.zones.loc[analysis.zones["busy_traps"] > 0, "zone_id"])
    assert not quiet & busy_zones


def drawn_visits(seed: int) -> pd.DataFrame:
    """Return one null season as `Site.visits` has it, without writing it to a file."""
    options = DemoOptions(seed=seed, patches=False, refuge_effect=False)
    table = draw_season(demo_layout(), options)
    checked_on = pd.to_datetime(table["checked_on"])
    traps = demo_site().traps
    lives = traps.assign(removed=traps["removed"].fillna(pd.Timestamp.max))
    last_day = {
        trap: list(zip(rows["removed"], rows["location_id"], strict=True))
        for trap, rows in lives.sort_values("installed").groupby("trap_id")
    }
    location = [
        next(name for removed, name in last_day[trap] if day <= removed)
        for trap, day in zip(table["trap_id"], checked_on, strict=True)
    ]
    adults = table[[species.column for species in SPECIES]].sum(axis=1).astype(float)
    return pd.DataFrame(
        {
            "location_id": location,
            "set_on": pd.to_datetime(table["set_on"]),
            "checked_on": checked_on,
            "status": table["status"],
            "adults": adults.where(table["status"] == "ok"),
        }
    )


def test_drawn_visits_are_what_the_reader_makes_of_the_file() -> None:
    """The short cut of this test file gives the totals that reading the committed file gives."""
    options = DemoOptions()
    table = draw_season(demo_layout(), options)
    ok = table["status"] == "ok"
    columns = [species.column for species in SPECIES]
    assert table.loc[ok, columns].sum().sum() == demo_site().visits["adults"].sum()


def test_a_season_without_pattern_is_rarely_marked() -> None:
    """At most alpha + 2 s.e. of 200 seasons with catch independent of place carry any mark."""
    site = demo_site()
    rules = site.settings.marks
    places = shapely.get_coordinates(site.traps.geometry.to_numpy())
    distance_m = walking_distances(places, list(site.obstacles.geometry), rules.cutoff_m)
    names = pd.Index(site.traps["location_id"])
    design = site.traps["design"].to_numpy(dtype=str)
    marked = 0
    for seed in range(NULL_SEASONS):
        visits = drawn_visits(seed)
        season = choose_season(visits["checked_on"], site.settings.season)
        table = rounds(season_visits(visits, season))
        totals = to_date(table, season.weeks, names)
        seen = totals.nights[-1] > 0
        on_foot = np.where(np.outer(seen, seen), distance_m, np.inf)
        graph = nearest_on_foot(names, on_foot, rules.neighbours, rules.cutoff_m)
        found = clusters_by(
            replace(rules, permutations=999),
            totals.adults[-1],
            season_effort(totals.adults, totals.nights, design)[-1],
            graph,
            design=design,
            seed=seed,
        )
        marked += bool((~np.isin(found.mark, ["none", "not_testable"])).any())
    limit = ALPHA + 2 * sqrt(ALPHA * (1 - ALPHA) / NULL_SEASONS)
    assert marked / NULL_SEASONS <= limit, f"{marked} of {NULL_SEASONS} seasons carry a mark"
    assert marked > 0, "a test that never marks anything would pass for the wrong reason"
