"""What a network can carry: each rule of the verdicts, and what may never improve one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, box

from spatial.precision import Outlook, of_way, zone_precision
from spatial.results import Chance
from spatial.sample_size import Precision
from spatial.spots import site_spots
from spatial.verdicts import PURPOSES, REASONS, VERDICTS, Demands, verdict_counts, verdicts

SIDE_M = 100.0
FOUND = [Chance(4, 3.0, 90, 100)]
MISSED = [Chance(4, 3.0, 20, 100), Chance(9, 3.0, 85, 100)]
RANK = {name: place for place, name in enumerate(VERDICTS)}


def zones_of(count: int, gap_m: float = 0.0) -> gpd.GeoDataFrame:
    """Return square lawns in a row, Z0 the most western."""
    west = [(SIDE_M + gap_m) * each for each in range(count)]
    shapes = [box(x, 0, x + SIDE_M, SIDE_M) for x in west]
    return gpd.GeoDataFrame(
        {"zone_id": [f"Z{each}" for each in range(count)], "use": "lawn"}, geometry=shapes
    )


def traps_at(places: Sequence[tuple[float, float]], zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return cups, ten weeks out, 20 adults each, all tested and at a refuge edge."""
    points = [Point(place) for place in places]
    zone = [next(iter(zones["zone_id"][zones.contains(point)]), None) for point in points]
    return gpd.GeoDataFrame(
        {
            "zone_id": pd.Series(zone, dtype=object),
            "design": "cup",
            "adults": 20.0,
            "nights": 70.0,
            "in_use": np.ones(len(points), dtype=bool),
            "reason": pd.Series([""] * len(points), dtype=object),
            "refuge_m": 10.0,
        },
        geometry=gpd.GeoSeries(points),
    )


def row_of(traps: int, zone: int = 0) -> list[tuple[float, float]]:
    """Return places 10 m apart in one zone."""
    return [
        (zone * SIDE_M + 5 + 10.0 * (each % 9), 5.0 + 10 * (each // 9)) for each in range(traps)
    ]


def told(
    zones: gpd.GeoDataFrame,
    traps: gpd.GeoDataFrame,
    demands: Demands | None = None,
    *,
    chances: Sequence[Chance] = FOUND,
    wanted: float = 0.5,
) -> pd.DataFrame:
    use = dict(zip(zones["zone_id"], zones["use"], strict=True))
    spots = site_spots(traps, use, {"cup": 1.0})
    outlook = Outlook(weeks_left=10, wanted=Precision(wanted))
    rates = dict.fromkeys(zones["zone_id"], 2.0)
    precision = of_way(zone_precision(zones, spots, outlook, rates), "nb", zones["zone_id"])
    return verdicts(zones, traps, precision, chances, demands or Demands())


def one(table: pd.DataFrame, zone: str, purpose: str) -> Mapping[str, object]:
    (found,) = table[(table["zone_id"] == zone) & (table["purpose"] == purpose)].to_dict("records")
    return {str(key): value for key, value in found.items()}


def verdict(table: pd.DataFrame, zone: str, purpose: str) -> tuple[object, object, object]:
    found = one(table, zone, purpose)
    return found["verdict"], found["missing"], found["reasons"]


def test_a_well_trapped_zone_has_enough_for_everything() -> None:
    table = told(zones_of(1), traps_at(row_of(36), zones_of(1)))
    assert set(table["verdict"]) == {"enough"}
    assert set(table["missing"]) == {0.0}
    assert table["purpose"].tolist() == list(PURPOSES)


@pytest.mark.parametrize(
    ("edge", "inner", "expected"),
    [
        (4, 0, ("enough", 0.0, ())),
        (3, 9, ("thin", 1.0, ("few_edge_traps",))),
        (0, 9, ("thin", 4.0, ("no_edge_traps",))),
        (0, 0, ("none", 4.0, ("no_traps_in_reach",))),
    ],
)
def test_timing_takes_four_traps_at_edges(
    edge: int, inner: int, expected: tuple[str, float, tuple[str, ...]]
) -> None:
    zones = zones_of(1)
    traps = traps_at(row_of(edge + inner), zones)
    traps["refuge_m"] = [10.0] * edge + [200.0] * inner
    assert verdict(told(zones, traps), "Z0", "timing") == expected


def test_timing_is_borrowed_from_traps_in_reach_and_no_farther() -> None:
    zones = zones_of(6, gap_m=50)
    table = told(zones, traps_at(row_of(4), zones))
    assert verdict(table, "Z2", "timing") == ("enough", 0.0, ())
    assert verdict(table, "Z5", "timing") == ("none", 4.0, ("no_traps_in_reach",))
    own = told(zones, traps_at(row_of(4), zones), Demands(timing_reach_m=0.0))
    assert verdict(own, "Z0", "timing")[0] == "enough"
    assert verdict(own, "Z1", "timing")[0] == "none"


def test_without_a_drawn_refuge_edge_traps_cannot_be_told() -> None:
    zones = zones_of(1)
    traps = traps_at(row_of(4), zones).assign(refuge_m=math.nan)
    state, missing, reasons = verdict(told(zones, traps), "Z0", "timing")
    assert (state, reasons) == ("thin", ("no_refuges",))
    assert math.isnan(missing)


def test_evidence_is_the_zones_own() -> None:
    zones = zones_of(2)
    table = told(zones, traps_at(row_of(9), zones))
    assert verdict(table, "Z0", "evidence") == ("enough", 0.0, ())
    state, missing, reasons = verdict(table, "Z1", "evidence")
    assert (state, reasons) == ("none", ("no_traps",))
    assert isinstance(missing, float)
    assert missing >= 2


def test_one_trap_is_thin_however_much_it_caught() -> None:
    zones = zones_of(1)
    traps = traps_at(row_of(1), zones).assign(adults=5000.0)
    found = one(told(zones, traps, wanted=5.0), "Z0", "evidence")
    assert (found["verdict"], found["missing"]) == ("thin", 1.0)
    assert found["reasons"] == ("few_traps",)


def test_what_evidence_misses_is_what_the_precision_says() -> None:
    zones, some = zones_of(1), row_of(3)
    state, missing, reasons = verdict(
        told(zones, traps_at(some, zones), wanted=0.3), "Z0", "evidence"
    )
    assert (state, reasons) == ("thin", ("wide_interval",))
    assert isinstance(missing, float)
    more = traps_at(row_of(3 + int(missing)), zones)
    new = np.arange(len(more)) >= 3
    more.loc[new, ["adults", "nights"]] = 0.0
    assert verdict(told(zones, more, wanted=0.3), "Z0", "evidence")[0] == "enough"


def test_a_decided_zone_needs_no_narrower_interval_but_more_than_one_trap() -> None:
    zones = zones_of(2).assign(state=["above", "above"])
    table = told(zones, traps_at([*row_of(3), *row_of(1, zone=1)], zones), wanted=0.1)
    assert verdict(table, "Z0", "evidence") == ("enough", 0.0, ("decided",))
    assert verdict(table, "Z1", "evidence") == ("thin", 1.0, ("few_traps", "decided"))
    undecided = told(zones.assign(state="undecided"), traps_at(row_of(3), zones), wanted=0.1)
    assert verdict(undecided, "Z0", "evidence")[0] == "thin"


def test_how_low_a_zone_is_does_not_matter_below_the_lowest_class() -> None:
    zones = zones_of(1)
    table = told(zones, traps_at(row_of(3), zones), Demands(low_rate=100.0), wanted=0.1)
    assert verdict(table, "Z0", "evidence") == ("enough", 0.0, ("low_anyway",))


def test_a_site_that_caught_nothing_is_thin_without_a_number() -> None:
    zones = zones_of(1)
    traps = traps_at(row_of(3), zones).assign(adults=0.0)
    spots = site_spots(traps, {"Z0": "lawn"}, {"cup": 1.0})
    precision = of_way(zone_precision(zones, spots, Outlook(weeks_left=4)), "nb", ["Z0"])
    state, missing, reasons = verdict(
        verdicts(zones, traps, precision, FOUND, Demands()), "Z0", "evidence"
    )
    assert (state, reasons) == ("thin", ("no_rate",))
    assert isinstance(missing, float)
    assert math.isnan(missing)


def test_under_fourteen_traps_no_patch_is_looked_for() -> None:
    zones = zones_of(2)
    table = told(zones, traps_at(row_of(13), zones))
    assert verdict(table, "Z0", "patches") == ("none", 1.0, ("few_traps_site",))
    assert verdict(table, "Z1", "patches") == ("none", 1.0, ("no_traps",))


def test_under_thirty_traps_a_network_sees_little() -> None:
    zones = zones_of(1)
    assert verdict(told(zones, traps_at(row_of(20), zones)), "Z0", "patches") == (
        "thin",
        10.0,
        ("small_site",),
    )


def test_a_network_that_misses_the_patch_needs_denser_traps_round_the_zone() -> None:
    """Nine traps in a patch would do where four stand."""
    zones = zones_of(1)
    table = told(zones, traps_at(row_of(36), zones), chances=MISSED)
    assert verdict(table, "Z0", "patches") == ("thin", 5.0, ("weak_network",))
    blind = one(told(zones, traps_at(row_of(36), zones), chances=MISSED[:1]), "Z0", "patches")
    assert blind["reasons"] == ("weak_network",)
    assert math.isnan(float(str(blind["missing"])))


def test_an_unknown_power_is_not_taken_for_enough() -> None:
    zones = zones_of(1)
    table = told(zones, traps_at(row_of(36), zones), chances=[])
    assert verdict(table, "Z0", "patches")[0::2] == ("thin", ("power_unknown",))


def test_a_zone_far_from_the_rest_has_too_few_traps_for_a_patch() -> None:
    zones = zones_of(2, gap_m=900)
    far = [(1005.0, 5.0), (1015.0, 5.0)]
    table = told(zones, traps_at([*row_of(36), *far], zones))
    assert verdict(table, "Z1", "patches") == ("thin", 2.0, ("few_traps_near",))


def test_a_trap_that_cannot_be_tested_carries_no_patch() -> None:
    zones = zones_of(2)
    traps = traps_at([*row_of(36), *row_of(2, zone=1)], zones)
    traps.loc[traps["zone_id"] == "Z1", "reason"] = "no_nights"
    assert verdict(told(zones, traps), "Z1", "patches")[0::2] == ("none", ("not_testable",))


@settings(max_examples=25, deadline=None)
@given(
    places=st.lists(
        st.tuples(st.integers(1, 299), st.integers(1, 99)), min_size=1, max_size=40, unique=True
    ),
    again=st.lists(st.integers(0, 39), min_size=1, max_size=12),
)
def test_traps_put_on_top_of_each_other_improve_no_verdict(
    places: list[tuple[int, int]], again: list[int]
) -> None:
    zones = zones_of(3)
    once = traps_at(places, zones)
    twice = pd.concat([once, once.iloc[[each % len(once) for each in again]]], ignore_index=True)
    before, after = told(zones, once), told(zones, twice)
    pd.testing.assert_frame_equal(before, after)


def test_traps_put_beside_each_other_improve_no_verdict() -> None:
    """All within 5 m of each other and of one that was there; those stand 10 m apart."""
    zones, random = zones_of(3), np.random.default_rng(5)
    places = [*row_of(3), *row_of(1, zone=1)]
    once = traps_at(places, zones)
    beside = [(x + random.uniform(-1.5, 1.5), y + random.uniform(-1.5, 1.5)) for x, y in places * 6]
    twice = traps_at([*places, *beside], zones)
    before, after = told(zones, once), told(zones, twice)
    assert (after["verdict"].map(RANK) >= before["verdict"].map(RANK)).all()
    assert after["spots"].tolist() == before["spots"].tolist()


@settings(max_examples=25, deadline=None)
@given(
    places=st.lists(
        st.tuples(st.integers(1, 299), st.integers(1, 99)), min_size=1, max_size=40, unique=True
    ),
    cleared=st.integers(0, 2),
    removed=st.booleans(),
)
def test_a_zone_without_its_traps_has_none(
    places: list[tuple[int, int]], cleared: int, removed: bool
) -> None:
    """Whether the traps never were or were taken away; timing, too, where it is not borrowed."""
    zones = zones_of(3)
    traps = traps_at(places, zones)
    own = (traps["zone_id"] == f"Z{cleared}").to_numpy()
    left = traps.assign(in_use=traps["in_use"] & ~own) if removed else traps[~own]
    table = told(zones, left.reset_index(drop=True), Demands(timing_reach_m=0.0))
    for purpose in PURPOSES:
        state, missing, _ = verdict(table, f"Z{cleared}", purpose)
        assert state == "none"
        assert isinstance(missing, float)
        assert missing >= 1


@settings(max_examples=20, deadline=None)
@given(
    places=st.lists(
        st.tuples(st.integers(1, 299), st.integers(1, 99)), min_size=2, max_size=40, unique=True
    ),
    gone=st.integers(0, 39),
)
def test_taking_a_trap_away_improves_no_timing_and_no_evidence(
    places: list[tuple[int, int]], gone: int
) -> None:
    zones = zones_of(3)
    # 10 m apart, so that no trap hides another one's spot.
    apart = sorted({(10 * (x // 10) + 5, 10 * (y // 10) + 5) for x, y in places})
    traps = traps_at(apart, zones)
    left = traps.drop(index=gone % len(traps)).reset_index(drop=True)
    before, after = told(zones, traps), told(zones, left)
    for purpose in ("timing", "evidence"):
        states = [each[each["purpose"] == purpose]["verdict"].map(RANK) for each in (before, after)]
        assert (states[1] >= states[0]).all()


def test_codes_are_those_that_are_listed() -> None:
    zones = zones_of(3, gap_m=900)
    seen = [
        told(zones, traps_at(row_of(count), zones), replace(Demands(), timing_reach_m=reach))
        for count in (1, 13, 20, 36)
        for reach in (0.0, 400.0)
    ]
    table = pd.concat(seen)
    for purpose, own in table.groupby("purpose"):
        assert set(own["reasons"].explode().dropna()) <= set(REASONS[str(purpose)])
    assert set(table["verdict"]) == set(VERDICTS)


def test_counts_name_every_purpose_and_verdict() -> None:
    zones = zones_of(2)
    counts = verdict_counts(told(zones, traps_at(row_of(36), zones)))
    assert counts.loc["evidence"].tolist() == [1, 0, 1]
    assert counts.index.tolist() == list(PURPOSES)
