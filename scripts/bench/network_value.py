"""What suggested traps are worth: area that is rightly decided, against other ways to place them.

Run as ``python -m scripts.bench.network_value [--seasons 100] [--workers 2]``. Every season is the
ground of the demo site (its zones, refuges and water) with another field of beetles: patches at
random, a rise towards refuges, uses, lasting luck of traps, negative binomial visits. A thin
network of cups at some of the demo's places stands for six weeks; then eight traps are added in one
of four ways, and all stand for eight weeks more:

* ``suggested``: `spatial.trap_plan.plan_traps`;
* ``random edge``: at random places along refuge-facing edges;
* ``even``: spread evenly over all allowed places (centres of k-means, nearest place to each);
* ``emptiest``: again and again the allowed place farthest from all traps (the middle of the largest
  empty circle).

All ways choose among the same allowed places and keep the same distances. At season's end every
zone that may carry traps is judged as `snoutline weekly` would. Its state is right where it is
above and its true mean rate over the limit, or below and under it; wrong the other way round; all
else is open. Beetles catch alike in all weeks here, so that a zone's true rate is one number.

Printed: wrong, and not rightly decided (wrong or open), share of area by way; and how much more
`suggested` cuts the latter than each other way, paired by season, with the 95 % interval when
seasons are drawn again.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.cluster.vq import kmeans2

from data.demo.beetles import (
    DISPERSION_K,
    REFUGE_DECAY_M,
    REFUGE_GAIN,
    nightly_catch,
    trap_effects,
)
from data.demo.weather import demo_weather
from data.reading import read_site
from data.settings import LimitSettings
from data.site import Site
from scripts.bench.decisions import USE_FACTOR, USES, patches
from spatial.analysis import analyse
from spatial.arrays import BoolArray, FloatArray, IntArray
from spatial.assign import assign_zones
from spatial.candidates import Clearances, candidates
from spatial.lattice import lattice
from spatial.refuge_edge import Surroundings
from spatial.results import Analysis
from spatial.seasons import choose_season
from spatial.trap_plan import TrapNeeds, place_rules, plan_traps
from spatial.zone_evidence import zone_evidence

SITE = Path(__file__).resolve().parents[2] / "data" / "demo" / "site"
FIRST_MONDAY = pd.Timestamp("2025-04-07")
BEFORE_WEEKS, AFTER_WEEKS, NEW, STANDING = 6, 8, 8, 45
WAYS = ("none", "suggested", "random edge", "even", "emptiest")
VOID_SHARE = 0.08


@dataclass(frozen=True, slots=True)
class Field:
    """Beetles of one season.

    Parameters
    ----------
    weekly
        What an ordinary cup catches in a week.
    seed
        Of the patches.
    """

    weekly: float
    seed: int

    def factor(self, xy: FloatArray, use: FloatArray, site: Site) -> FloatArray:
        """Return what places of average luck catch relative to an ordinary place."""
        west, south = site.zones.total_bounds[:2]
        random = np.random.default_rng([self.seed, 1])
        fold = patches(random, xy[:, 0] - west, xy[:, 1] - south)
        refuge_m = shapely.distance(shapely.points(xy), site.refuges.union_all())
        return np.asarray(use * fold * (1 + REFUGE_GAIN * np.exp(-refuge_m / REFUGE_DECAY_M)))


def main(arguments: list[str]) -> None:
    """Simulate, choose, judge and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=100)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args(arguments)
    with ProcessPoolExecutor(options.workers) as pool:
        found = pd.concat(pool.map(season, range(options.seasons), chunksize=2), ignore_index=True)
    print(found.groupby("way")[["wrong", "open", "not_right"]].mean().loc[list(WAYS)].round(4))
    wide = found.pivot_table(index="season", columns="way", values="not_right")
    for way in WAYS:
        if way != "suggested":
            print(f"suggested against {way}: {_paired(wide[way] - wide['suggested'])}")


def _paired(gain: pd.Series[float], draws: int = 10_000) -> str:
    again = np.random.default_rng(0).integers(0, len(gain), (draws, len(gain)))
    low, high = np.quantile(gain.to_numpy()[again].mean(axis=1), [0.025, 0.975])
    return f"{gain.mean():.2%} more of the area right (95 % interval {low:.2%} to {high:.2%})"


def season(number: int) -> pd.DataFrame:
    """Return one row per way: shares of the area wrong, open, and not rightly decided."""
    random = np.random.default_rng([number, 0])
    ordinary = 7 * float(nightly_catch(demo_weather()).sum(axis=1)[97:195].mean())
    field = Field(ordinary * float(np.exp(random.normal(0, 0.4))), number)
    limit = field.weekly * float(random.uniform(1.2, 2.5))
    bare = _bare_site(limit, random)
    truth = _true_rates(bare, field)
    early = _with_visits(bare, field, BEFORE_WEEKS, number)
    analysis = analyse(early)
    rows = []
    for way in WAYS:
        grown = _grown(early, _places(way, analysis, random))
        late = _with_visits(grown, field, BEFORE_WEEKS + AFTER_WEEKS, number, len(bare.traps))
        rows.append({"season": number, "way": way, **_judged(late, truth > limit)})
    return pd.DataFrame(rows)


def _bare_site(limit: float, random: np.random.Generator) -> Site:
    """Return the demo's ground with some of its trap places as cups, and one limit."""
    site = read_site(SITE)
    once = site.traps.drop_duplicates("trap_id")
    never = pd.Series(pd.NaT, index=once.index, dtype="datetime64[ns]")
    kept = once.iloc[np.sort(random.permutation(len(once))[:STANDING])]
    traps = kept.assign(design="cup", installed=never, removed=never).reset_index(drop=True)
    given = LimitSettings("bench", "2025", adults_per_trap_week=limit)
    marks = replace(site.settings.marks, permutations=999)
    settings = replace(site.settings, limits=(given,), marks=marks)
    empty = {name: getattr(site, name).iloc[:0] for name in ("treatments", "cores", "weather")}
    return replace(site, traps=traps, settings=settings, **empty)


def _use_factor(uses: pd.Series[str]) -> FloatArray:
    known = dict(zip(USES, USE_FACTOR, strict=True))
    return np.asarray(uses.map(known).fillna(1.0), dtype=float)


def _true_rates(site: Site, field: Field) -> FloatArray:
    """Return the mean weekly catch over each zone of a cup of average luck."""
    uses = _use_factor(site.zones["use"])
    rates = []
    for shape, use in zip(site.zones.geometry, uses, strict=True):
        points = lattice(shape, 12.0)
        if not len(points):
            points = shapely.get_coordinates(shapely.point_on_surface(shape))
        rates.append(field.weekly * field.factor(points, np.full(len(points), use), site).mean())
    return np.asarray(rates, dtype=np.float64)


def _with_visits(
    site: Site, field: Field, weeks: int, number: int, first_new: int | None = None
) -> Site:
    """Return a site with weekly visits; traps from `first_new` on stand from the later weeks."""
    traps = site.traps
    xy = shapely.get_coordinates(traps.geometry.to_numpy())
    inside = gpd.sjoin(traps[["geometry"]], site.zones[["use", "geometry"]], how="left")
    use = inside[~inside.index.duplicated()]["use"].reindex(traps.index)
    rate = field.weekly * field.factor(xy, _use_factor(use), site)
    rows = []
    for place in range(len(traps)):
        # Its own stream for every place: the same trap catches the same whatever is added.
        east, north = np.round(xy[place]).astype(int).tolist()
        random = np.random.default_rng([number, 2, east, north])
        mean = rate[place] * trap_effects(1, random)[0]
        adults = random.poisson(random.gamma(DISPERSION_K, mean / DISPERSION_K, weeks))
        ok = random.random(weeks) > VOID_SHARE
        begun = 0 if first_new is None or place < first_new else BEFORE_WEEKS
        rows += [
            (traps["location_id"].iloc[place], week, float(adults[week]), bool(ok[week]))
            for week in range(begun, weeks)
        ]
    return replace(site, visits=_visit_table(rows, site.visits))


def _visit_table(rows: list[tuple[str, int, float, bool]], like: pd.DataFrame) -> pd.DataFrame:
    location, week, adults, ok = zip(*rows, strict=True)
    set_on = FIRST_MONDAY + pd.to_timedelta(7 * np.array(week), unit="D")
    table = pd.DataFrame(
        {
            "visit_id": [f"V{n}" for n in range(len(rows))],
            "location_id": location,
            "trap_id": location,
            "set_on": set_on,
            "checked_on": set_on + timedelta(days=7),
            "status": np.where(ok, "ok", "flooded"),
            "adults": np.where(ok, adults, np.nan),
        }
    )
    return table.reindex(columns=like.columns)


def _places(way: str, analysis: Analysis, random: np.random.Generator) -> gpd.GeoDataFrame:
    """Return the zone ids and points of the new traps."""
    site = analysis.site
    if way == "none":
        return site.zones[["zone_id", "geometry"]].iloc[:0]
    if way == "suggested":
        needs = TrapNeeds(
            site, analysis.season, analysis.zones, analysis.traps, {"cup": 1.0},
            analysis.dispersion_k,
        )  # fmt: skip
        return plan_traps(needs, NEW).suggestions[["zone_id", "geometry"]]
    standing = np.asarray(shapely.get_coordinates(analysis.traps.geometry.to_numpy()))
    rules = site.settings.network
    around = Surroundings(
        list(site.refuges.geometry), list(site.obstacles.geometry), rules.refuge_reach_m
    )
    allowed = candidates(analysis.zones, Clearances(standing, around), place_rules(rules))
    xy = np.asarray(shapely.get_coordinates(allowed.geometry.to_numpy()))
    pick = {"random edge": _random_edge, "even": _even, "emptiest": _emptiest}[way]
    return allowed.iloc[pick(allowed, xy, standing, random)][["zone_id", "geometry"]]


def _random_edge(
    allowed: gpd.GeoDataFrame, xy: FloatArray, standing: FloatArray, random: np.random.Generator
) -> IntArray:
    edge = np.flatnonzero(allowed["kind"] == "refuge_edge")
    return _apart(random.permutation(edge), xy)


def _even(
    allowed: gpd.GeoDataFrame, xy: FloatArray, standing: FloatArray, random: np.random.Generator
) -> IntArray:
    middles, _ = kmeans2(xy, NEW, seed=random, minit="++")
    away = np.hypot(*(xy[None] - middles[:, None]).transpose(2, 0, 1))
    return np.asarray(np.unique(away.argmin(axis=1)), dtype=np.int64)


def _emptiest(
    allowed: gpd.GeoDataFrame, xy: FloatArray, standing: FloatArray, random: np.random.Generator
) -> IntArray:
    taken, picked = standing, []
    for _ in range(NEW):
        away = np.hypot(*(xy[:, None] - taken[None]).transpose(2, 0, 1)).min(axis=1)
        picked.append(int(away.argmax()))
        taken = np.vstack([taken, xy[picked[-1]]])
    return np.array(picked)


def _apart(order: IntArray, xy: FloatArray) -> IntArray:
    picked: list[int] = []
    for place in order.tolist():
        if all(np.hypot(*(xy[place] - xy[other])) >= 10 for other in picked):
            picked.append(place)
        if len(picked) == NEW:
            break
    return np.array(picked)


def _grown(site: Site, places: gpd.GeoDataFrame) -> Site:
    names = [f"N{n}" for n in range(len(places))]
    new = gpd.GeoDataFrame(
        {"location_id": names, "trap_id": names, "design": "cup"},
        geometry=places.geometry.to_numpy(),
        crs=site.traps.crs,
    )
    both = pd.concat([site.traps, new.reindex(columns=site.traps.columns)], ignore_index=True)
    return replace(site, traps=gpd.GeoDataFrame(both, geometry="geometry", crs=site.traps.crs))


def _judged(site: Site, over: BoolArray) -> dict[str, float]:
    """Judge every zone that may carry traps at season's end, as the weekly run does."""
    season_ = choose_season(site.visits["checked_on"], site.settings.season)
    placed = assign_zones(site.traps, site.zones, site.settings.network.near_m)
    use = placed["zone_id"].map(site.zones.set_index("zone_id")["use"])
    counted = site.visits[site.visits["status"] == "ok"].groupby("location_id")["adults"]
    sums = counted.agg(["sum", "size"]).reindex(site.traps["location_id"]).fillna(0.0)
    traps = site.traps.assign(
        zone_id=placed["zone_id"].to_numpy(),
        use=use.to_numpy(),
        adults=sums["sum"].to_numpy(),
        refuge_m=shapely.distance(site.traps.geometry.to_numpy(), site.refuges.union_all()),
    )
    nights = 7.0 * sums["size"].to_numpy(dtype=float)
    found = zone_evidence(site, season_, gpd.GeoDataFrame(traps), nights, ())
    state = np.array([each.state for each in found.decisions])
    closed = site.zones["use"].isin(site.settings.network.no_trap_uses).to_numpy(dtype=bool)
    area = site.zones.geometry.area.to_numpy() * ~closed
    decided = np.isin(state, ["above", "below"])
    right = np.where(over, state == "above", state == "below")
    return {
        "wrong": float(area[decided & ~right].sum() / area.sum()),
        "open": float(area[~decided].sum() / area.sum()),
        "not_right": float(area[~right].sum() / area.sum()),
    }


if __name__ == "__main__":
    main(sys.argv[1:])
