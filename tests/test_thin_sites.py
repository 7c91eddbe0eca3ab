"""Sites that cannot say much: each gives a page that says so, and why."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from languages import EN
from sites import SPECIES, csv_tables, make_site

from data.reading import read_site
from maps.page import activity_map
from maps.words import headline
from spatial.analysis import analyse
from spatial.results import Analysis

Rows = list[list[str]]


def analysed(folder: Path, change: Callable[[Rows, Rows], tuple[Rows, Rows]]) -> Analysis:
    """Return the analysis of the tiny site after a change of its traps and visits."""
    tables = csv_tables()
    traps, visits = change(tables["traps.csv"], tables["visits.csv"])
    text = {
        name: "\n".join(",".join(row) for row in rows) + "\n"
        for name, rows in (("traps.csv", traps), ("visits.csv", visits))
    }
    return analyse(read_site(make_site(folder, files=text)))


def nine_traps(traps: Rows, visits: Rows) -> tuple[Rows, Rows]:
    kept = {f"T{n:02d}" for n in range(1, 10)}
    return (
        [row for row in traps if row[0] in kept | {"trap_id"}],
        [row for row in visits if row[0] in kept | {"trap_id"}],
    )


def all_zero(traps: Rows, visits: Rows) -> tuple[Rows, Rows]:
    places = [visits[0].index(species) for species in SPECIES]
    for row in visits[1:]:
        for place in places:
            row[place] = "0" if row[3] == "ok" else ""
    return traps, visits


def one_visit(traps: Rows, visits: Rows) -> tuple[Rows, Rows]:
    return traps, visits[:2]


def only_void(traps: Rows, visits: Rows) -> tuple[Rows, Rows]:
    for row in visits[1:]:
        row[3:] = ["flooded", *[""] * (len(row) - 4)]
    return traps, visits


def by_chance(traps: Rows, visits: Rows) -> tuple[Rows, Rows]:
    """Replace the counts by negative binomial ones that know nothing of places."""
    random = np.random.default_rng(7)
    places = [visits[0].index(species) for species in SPECIES]
    for row in visits[1:]:
        for place in places:
            row[place] = str(random.negative_binomial(1, 0.3)) if row[3] == "ok" else ""
    return traps, visits


CASES = {
    "nine_traps": (nine_traps, "few_traps", "9 traps can be compared and"),
    "all_zero": (all_zero, "no_variation", "No adults were caught"),
    "one_visit": (one_visit, "few_traps", "1 trap can be compared and"),
    "only_void": (only_void, "no_nights", "No trap has a count yet this season"),
}


@pytest.mark.parametrize("name", CASES)
def test_a_site_that_cannot_be_tested_says_why(name: str, tmp_path: Path) -> None:
    """The reason stands in the analysis, in the sentences and on the page; no trap is marked."""
    change, reason, words = CASES[name]
    analysis = analysed(tmp_path / name, change)
    assert analysis.global_test.reason == reason
    assert set(analysis.traps["mark"]) == {"not_testable"}
    sentences = " ".join(headline(analysis, EN))
    assert words in sentences
    assert "nan" not in sentences.lower()
    assert sentences.split(".")[0] in activity_map(analysis, EN)


def test_a_site_without_clusters_says_that_none_was_found(tmp_path: Path) -> None:
    """Tested and nothing found is said as such, and as no proof of absence."""
    analysis = analysed(tmp_path / "site", by_chance)
    assert analysis.global_test.reason == ""
    assert set(analysis.traps["mark"]) <= {"none", "not_testable"}
    assert any("beyond chance" in line for line in headline(analysis, EN))


def test_zones_without_traps_stay_unknown(tmp_path: Path) -> None:
    """A zone without traps has a gap and no rate, whatever its neighbours caught."""
    zones = analysed(tmp_path / "site", by_chance).zones.set_index("zone_id")
    assert zones.loc["Z6", "gap"] == "no_traps"
    assert zones["rate"].isna().loc["Z6"]
