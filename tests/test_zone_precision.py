"""What a zone's rate will be known to: against formulas, simulation, and what may not change it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point

from data.findings import SettingsError
from spatial.dispersion import K_RANGE
from spatial.precision import (
    NO_PRECISION,
    WAYS,
    Outlook,
    expected_rates,
    kept_share,
    of_way,
    rate_interval,
    zone_precision,
)
from spatial.sample_size import Precision, precision_reached, units_needed
from spatial.spots import Trapped, as_spots, site_spots, spot_numbers
from spatial.variance_laws import NegativeBinomial
from spatial.zone_spread import K_FROM, zone_spreads

NIGHTS = 70.0


def caught(zones: Sequence[str], adults: npt.ArrayLike, use: str = "lawn") -> Trapped:
    """Return cups that stood ten weeks and are still in use."""
    y = np.asarray(adults, dtype=float)
    ones = np.ones(len(y))
    uses = np.full(len(y), use, dtype=object)
    names = np.array(list(zones), dtype=object)
    return Trapped(names, uses, y, NIGHTS * ones, ones, ones.astype(bool))


def zones_of(*names: str, use: str = "lawn") -> pd.DataFrame:
    return pd.DataFrame({"zone_id": list(names), "use": use})


def row(table: pd.DataFrame, zone: str, way: str = "nb") -> pd.Series[float]:
    return of_way(table, way, [zone]).iloc[0]


def patchy(zones: int, traps: int, k: float, seed: int = 1) -> Trapped:
    random = np.random.default_rng(seed)
    level = np.repeat(np.geomspace(3, 60, zones), traps)
    names = np.repeat([f"Z{each}" for each in range(zones)], traps)
    return caught(list(names), random.poisson(random.gamma(k, level / k)))


def test_equal_traps_reach_what_the_sample_size_formula_says() -> None:
    """Karandinos (1976): D = sqrt((1 / m + 1 / k) / n); twelve weeks at the rate so far."""
    spots = caught("aaaa", [12, 12, 12, 12])
    outlook = Outlook(weeks_left=2, wanted=Precision(0.25, "half_width"))
    found = row(zone_precision(zones_of("a"), spots, outlook), "a")
    law = NegativeBinomial(found["k"])
    reached = precision_reached(4, 12 * 12 / 10, law, meaning="half_width")
    assert found["rate"] == pytest.approx(1.2)
    assert found["d"] == pytest.approx(reached, rel=1e-12)
    # A trap that stands all season catches 1.2 in each of 26 weeks.
    assert found["season_traps"] == units_needed(1.2 * 26, law, outlook.wanted).whole


def test_the_traps_that_are_said_to_be_missing_are_just_enough() -> None:
    spots = caught("aab", [9, 21, 4])
    outlook = Outlook(weeks_left=6, wanted=Precision(0.4))
    zones, rates = zones_of("a"), {"a": 1.5}
    found = row(zone_precision(zones, spots, outlook, rates), "a")
    assert found["more_traps"] > 1

    def reached(more: int) -> float:
        new = Trapped(
            np.full(more, "a", dtype=object),
            np.full(more, "lawn", dtype=object),
            *(np.zeros(more), np.zeros(more), np.ones(more)),
            np.ones(more, dtype=bool),
        )
        parts = [np.concatenate(pair) for pair in zip(fields(spots), fields(new), strict=True)]
        return float(row(zone_precision(zones, Trapped(*parts), outlook, rates), "a")["d"])

    assert reached(int(found["more_traps"])) <= 0.4 < reached(int(found["more_traps"]) - 1)


def fields(spots: Trapped) -> list[npt.NDArray[np.generic]]:
    return [spots.zone, spots.use, spots.adults, spots.effort, spots.ratio, spots.in_use]


def test_the_weeks_that_are_said_to_be_missing_are_just_enough() -> None:
    spots, zones = caught("aaaa", [1, 2, 1, 2]), zones_of("a")
    outlook = Outlook(weeks_left=1, wanted=Precision(0.6))
    more = int(row(zone_precision(zones, spots, outlook), "a")["more_weeks"])
    assert more > 1
    last, before = (
        row(zone_precision(zones, spots, replace(outlook, weeks_left=1 + weeks)), "a")["d"]
        for weeks in (more, more - 1)
    )
    assert last <= 0.6 < before


def test_weeks_never_mend_what_traps_at_other_places_must() -> None:
    """One trap at k = 1: its standard error stays above its mean however long it stands."""
    found = row(zone_precision(zones_of("a"), caught("a", [500]), Outlook(weeks_left=5)), "a")
    assert found["k_from"] == "assumed"
    assert found["d"] > 1
    assert math.isnan(found["more_weeks"])


def test_a_season_that_is_over_takes_no_new_traps() -> None:
    found = row(zone_precision(zones_of("a"), caught("a", [5]), Outlook()), "a")
    assert math.isnan(found["more_traps"])
    assert found["season_traps"] >= 4


@pytest.mark.parametrize(
    ("traps", "zones", "k_from"), [(12, 1, "zone"), (5, 4, "use"), (1, 12, "between")]
)
def test_k_comes_from_the_nearest_circle_that_can_tell(traps: int, zones: int, k_from: str) -> None:
    spots = patchy(zones, traps, k=1.0)
    found = zone_spreads(zones_of("Z0"), spots)[0]
    assert found.k_from == k_from
    assert 0.3 < found.nb.k < 3 or k_from == "between"
    assert k_from in K_FROM


def test_a_use_with_few_traps_borrows_from_the_site() -> None:
    many, tee = patchy(4, 5, k=1.0), caught("T", [3], use="tee")
    both = Trapped(*(np.concatenate(pair) for pair in zip(fields(many), fields(tee), strict=True)))
    found = zone_spreads(zones_of("T", use="tee"), both)[0]
    assert found.k_from == "site"
    assert found.nb.k == zone_spreads(zones_of("Z0"), many)[0].nb.k


def test_counts_without_extra_scatter_leave_chance_alone() -> None:
    spots = caught([f"Z{each}" for each in range(20)], np.full(20, 8))
    assert zone_spreads(zones_of("Z0"), spots)[0].nb.k == K_RANGE[1]


def test_taylor_is_a_second_way_with_its_own_law() -> None:
    spots = patchy(8, 6, k=1.0)
    table = zone_precision(zones_of("Z3"), spots, Outlook(weeks_left=4))
    taylor, nb = row(table, "Z3", "taylor"), row(table, "Z3")
    assert taylor["k_from"] == "use"
    assert taylor["reason"] == ""
    assert taylor["d"] != nb["d"]
    assert 0.4 < taylor["d"] / nb["d"] < 2.5


def test_one_trap_in_each_zone_takes_taylor_from_between_the_uses() -> None:
    parts = [
        fields(caught([f"{use}{each}" for each in range(4)], level * np.array([1, 3, 0, 6]), use))
        for use, level in (("lawn", 1), ("rough", 4), ("tee", 9))
    ]
    spots = Trapped(*(np.concatenate(each) for each in zip(*parts, strict=True)))
    table = zone_precision(zones_of("lawn0"), spots, Outlook())
    assert row(table, "lawn0", "taylor")["k_from"] == "between"
    few = zone_precision(zones_of("a"), caught("a", [4]), Outlook())
    assert row(few, "a", "taylor")["reason"] == "no_law"


@pytest.mark.parametrize(("traps", "catch", "k"), [(2, 30, 1), (4, 5, 1), (8, 3, 0.6), (5, 4, 1e4)])
def test_the_interval_holds_the_truth_as_often_as_it_says(
    traps: int, catch: float, k: float
) -> None:
    """4,000 seasons; k known; the interval that a season at its expectation has, round its mean."""
    random = np.random.default_rng([traps, round(10 * k)])
    counts = random.poisson(random.gamma(k, catch / k, (4000, traps)))
    mean = counts.mean(axis=1)
    se = precision_reached(traps, catch, NegativeBinomial(k))
    for level in (0.8, 0.95):
        low, high = rate_interval(1.0, se, level)
        held = ((mean * low <= catch) & (catch <= mean * high)).mean()
        assert held == pytest.approx(level, abs=0.03)


def test_a_wider_level_holds_the_narrower_one_and_the_rate() -> None:
    found = row(zone_precision(zones_of("a"), caught("aab", [9, 21, 4]), Outlook()), "a")
    ends = [found[name] for name in ("low_95", "low_80", "rate", "high_80", "high_95")]
    assert ends == sorted(ends)


def test_no_interval_is_made_up() -> None:
    silent = zone_precision(zones_of("a"), caught("ab", [0, 0]), Outlook(weeks_left=4))
    assert set(silent["reason"]) == {"no_rate"}
    assert silent[["d", "low_80", "high_95", "more_traps"]].isna().all(axis=None)
    empty = row(zone_precision(zones_of("c"), caught("ab", [3, 5]), Outlook(weeks_left=4)), "c")
    assert empty["reason"] == "no_traps"
    assert math.isinf(empty["d"])
    assert math.isnan(empty["low_80"])
    assert empty["more_traps"] >= 4
    assert {"no_rate", "no_traps", "no_law"} == set(NO_PRECISION)


def test_a_zone_that_caught_nothing_is_expected_to_catch_little_not_nothing() -> None:
    rates = expected_rates(zones_of("a", "b"), caught("aab", [0, 0, 30]))
    assert 0 < rates[0] < rates[1] < 3.0


def test_a_removed_trap_counts_for_what_it_caught_and_no_more() -> None:
    spots, outlook = caught("aab", [9, 9, 4]), Outlook(weeks_left=10)
    gone = replace(spots, in_use=np.array([True, False, True]))
    still, without = (
        row(zone_precision(zones_of("a"), each, outlook, {"a": 0.9}), "a") for each in (spots, gone)
    )
    assert (
        still["d"]
        < without["d"]
        < row(zone_precision(zones_of("a"), caught("ab", [9, 4]), outlook, {"a": 0.9}), "a")["d"]
    )
    assert without["spots"] == 1


def test_traps_that_share_beetles_are_one_spot() -> None:
    """A row 3 m apart is cut into spots of two; a trap of another zone is its own."""
    row_m = [[3.0 * each, 0.0] for each in range(6)]
    assert len(set(spot_numbers(row_m, ["a"] * 6))) == 3
    assert len(set(spot_numbers([[0, 0], [1, 0]], ["a", "b"]))) == 2
    assert len(set(spot_numbers([[0, 0], [5, 0]], ["a", "a"]))) == 2


@given(
    places=st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=1, max_size=12),
    again=st.integers(0, 11),
)
def test_a_trap_put_twice_on_its_place_changes_no_spot(
    places: list[tuple[int, int]], again: int
) -> None:
    twice = [*places, places[again % len(places)]]
    alone = spot_numbers(places, np.zeros(len(places)))
    double = spot_numbers(twice, np.zeros(len(twice)))
    assert alone.max() == double.max()
    assert double[again % len(places)] == double[-1]


@settings(max_examples=15)
@given(seed=st.integers(0, 50), again=st.integers(0, 9))
def test_a_trap_put_twice_on_its_place_tells_nothing_new(seed: int, again: int) -> None:
    random = np.random.default_rng(seed)
    counts = random.integers(0, 20, 10).astype(float)
    places = random.integers(0, 400, (10, 2)).astype(float)
    once = caught("aaaaabbbcc", counts)
    twice = Trapped(*(np.append(each, each[again]) for each in fields(once)))
    doubled = np.vstack([places, places[again]])
    tables = [
        zone_precision(
            zones_of("a", "b", "c"),
            as_spots(traps, spot_numbers(where, traps.zone)),
            Outlook(weeks_left=3),
        )
        for traps, where in ((once, places), (twice, doubled))
    ]
    pd.testing.assert_frame_equal(*tables)


def test_the_spots_of_a_site_leave_out_traps_without_zone_or_ratio() -> None:
    traps = gpd.GeoDataFrame(
        {
            "zone_id": ["a", "a", None, "a"],
            "design": ["cup", "linear", "cup", "pail"],
            "adults": [4.0, 10, 7, 9],
            "nights": [70.0, 70, 70, 70],
            "in_use": [True, True, True, True],
        },
        geometry=[Point(x, 0) for x in (0, 50, 100, 150)],
    )
    spots = site_spots(traps, {"a": "lawn"}, {"cup": 1.0, "linear": 2.5})
    assert spots.effort.tolist() == [70.0, 175.0, 0.0]
    assert spots.adults.tolist() == [4.0, 10.0, 0.0]


def test_settings_out_of_range_are_refused() -> None:
    with pytest.raises(SettingsError, match="weeks_left must be 0 or more"):
        Outlook(weeks_left=-1)
    with pytest.raises(SettingsError, match=r"kept must be above 0 and at most 1; got 1\.5"):
        Outlook(kept=1.5)


def test_what_was_lost_so_far_is_expected_to_be_lost_again() -> None:
    assert kept_share({"ok": 3, "flooded": 1}) == 0.75
    assert kept_share({}) == 1.0
    spots = caught("a", [20])
    full, part = (
        row(zone_precision(zones_of("a"), spots, Outlook(weeks_left=10, kept=kept)), "a")["d"]
        for kept in (1.0, 0.5)
    )
    assert full < part


def test_both_ways_are_named_for_every_zone_in_order() -> None:
    table = zone_precision(zones_of("b", "a"), caught("ab", [3, 5]), Outlook())
    assert table["zone_id"].tolist() == ["b", "b", "a", "a"]
    assert table["way"].tolist() == [*WAYS, *WAYS]
