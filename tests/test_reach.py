"""Reach of traps against areas and stretches worked out by hand, and against brute force."""

from __future__ import annotations

from math import acos, hypot, inf, pi, sqrt

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from spatial.lattice import lattice
from spatial.reach import Standing, close_pairs, zone_reach
from spatial.refuge_edge import Surroundings, edge_of
from spatial.walking import walking_distances

LAWN = box(0, 0, 40, 40)
ROUND = [
    LineString([(-9, -9), (49, -9), (49, 49), (-9, 49), (-9, -9)]),
]


def standing(*traps: tuple[float, float, float]) -> Standing:
    table = np.array(traps, dtype=float).reshape(-1, 3)
    return Standing(table[:, :2], table[:, 2])


def told(
    zone: BaseGeometry,
    traps: Standing,
    obstacles: tuple[BaseGeometry, ...] = (),
    refuges: list[BaseGeometry] = ROUND,
) -> dict[str, float]:
    """Return the row of one zone; its edge in pieces of half a metre."""
    edge = edge_of([zone], Surroundings(refuges, obstacles), 0.5)
    return dict(zone_reach([zone], traps, obstacles, edge).iloc[0])


def test_two_overlapping_discs_are_counted_once() -> None:
    """The lens of two discs of radius r at distance d: 2 r2 acos(d / 2r) - d/2 sqrt(4 r2 - d2)."""
    found = told(LAWN, standing((15, 20, 8), (23, 20, 8)))
    lens = 2 * 64 * acos(0.5) - 4 * sqrt(4 * 64 - 64)
    assert found["share_in_reach"] == pytest.approx((2 * pi * 64 - lens) / 1600, rel=1e-3)
    assert found["measured"] == "straight"


def test_a_trap_outside_the_zone_reaches_into_it() -> None:
    found = told(LAWN, standing((20, -2, 10)))
    assert 0 < found["share_in_reach"] < pi * 100 / 2 / 1600
    assert found["nearest_trap_m"] == 2.0


def test_a_wall_keeps_a_trap_from_what_is_behind_it() -> None:
    """A wall of 40 m north of a trap 1 m away, with a reach of 10 m: the half disc and 1 m more."""
    wall = box(0, 21, 40, 22)
    found = told(LAWN, standing((20, 20, 10)), (wall,))
    beyond = 100 * acos(0.1) - sqrt(99)
    assert found["measured"] == "on_foot"
    assert found["share_in_reach"] == pytest.approx((pi * 100 - beyond) / 1560, abs=0.02)


def test_what_an_obstacle_covers_is_no_part_of_the_zone() -> None:
    pond = box(20, 0, 40, 40)
    found = told(LAWN, standing((5, 20, 5)), (pond,))
    assert found["measured"] == "straight"
    assert found["share_in_reach"] == pytest.approx(pi * 25 / 800, rel=1e-3)
    assert np.isnan(told(LAWN, standing((5, 20, 5)), (box(-1, -1, 41, 41),))["share_in_reach"])


def test_both_ways_of_measuring_agree_where_an_obstacle_hardly_matters() -> None:
    traps = standing((10, 12, 9), (30, 25, 6))
    straight, walked = told(LAWN, traps), told(LAWN, traps, (box(33, 27, 33.2, 27.2),))
    assert (straight["measured"], walked["measured"]) == ("straight", "on_foot")
    assert walked["share_in_reach"] == pytest.approx(straight["share_in_reach"], abs=0.02)


COORDINATES = st.integers(-1, 16).map(lambda step: 2.5 * step + 0.3)
SPOTS = st.tuples(COORDINATES, COORDINATES)
BOXES = st.tuples(SPOTS, st.integers(1, 12), st.integers(1, 3)).map(
    lambda b: box(b[0][0] + 0.7, b[0][1] + 0.7, b[0][0] + 0.7 + b[1], b[0][1] + 0.7 + b[2])
)


@settings(max_examples=15)
@given(
    spots=st.lists(SPOTS, min_size=1, max_size=3, unique=True),
    obstacles=st.lists(BOXES, min_size=1, max_size=3),
)
def test_the_share_on_foot_is_that_of_places_whose_walk_is_short_enough(
    spots: list[tuple[float, float]], obstacles: list[BaseGeometry]
) -> None:
    """By `walking_distances` between all places, which has its own exhaustive oracle."""
    traps = standing(*((x, y, 7.0) for x, y in spots))
    found = told(LAWN, traps, tuple(obstacles))
    places = lattice(LAWN, 2.0)
    solid = shapely.union_all(obstacles)
    places = places[~shapely.intersects_xy(solid, *places.T)]
    walk_m = walking_distances(np.vstack([traps.places_m, places]), obstacles, 7.0)
    reached = (walk_m[: len(spots), len(spots) :] <= 7.0).any(axis=0)
    assert found["share_in_reach"] == pytest.approx(reached.mean(), abs=0.035)


def test_the_longest_open_stretch_runs_on_past_the_seam_of_the_outline() -> None:
    """160 m of edge, a trap at the middle of one side with 10 m of reach: 140 m left in one go."""
    for x, y in ((20, 0), (40, 20), (20, 40), (0, 20)):
        found = told(LAWN, standing((x, y, 10)))
        assert found["edge_m"] == pytest.approx(160)
        assert found["edge_in_reach_m"] == pytest.approx(20, abs=1)
        assert found["longest_open_m"] == pytest.approx(140, abs=1)


def test_two_traps_cut_the_open_edge_into_two_stretches() -> None:
    found = told(LAWN, standing((20, 0, 10), (0, 20, 10)))
    assert found["longest_open_m"] == pytest.approx(100, abs=1)


def test_every_edge_without_a_trap_is_open_and_without_a_refuge_there_is_none() -> None:
    bare = told(LAWN, standing())
    assert (bare["share_in_reach"], bare["edge_in_reach_m"]) == (0.0, 0.0)
    assert bare["longest_open_m"] == pytest.approx(160)
    assert bare["nearest_trap_m"] == inf
    free = told(LAWN, standing((20, 20, 5)), refuges=[])
    assert (free["edge_m"], free["longest_open_m"]) == (0.0, 0.0)


def test_the_nearest_trap_is_the_nearest_on_foot() -> None:
    """Straight 5 m away behind a wall that ends 12 m to either side; another is 9 m away."""
    wall = box(8, -4, 32, -3)
    behind, open_ = (20.0, -5.0, 3.0), (-9.0, 20.0, 3.0)
    round_m = hypot(12, 1) + hypot(0, 1) + 3
    alone = told(LAWN, standing(behind), (wall,))
    assert alone["nearest_trap_m"] == pytest.approx(round_m, abs=0.05)
    assert told(LAWN, standing(behind, open_), (wall,))["nearest_trap_m"] == pytest.approx(9.0)


@given(
    spots=st.lists(SPOTS, max_size=3),
    more=SPOTS,
    reach_m=st.sampled_from([0.0, 4.0, 9.0]),
)
@settings(max_examples=40)
def test_one_more_trap_never_leaves_less_in_reach(
    spots: list[tuple[float, float]], more: tuple[float, float], reach_m: float
) -> None:
    edge = edge_of([LAWN], Surroundings(ROUND, []))
    few = standing(*((x, y, 5.0) for x, y in spots))
    many = standing(*((x, y, 5.0) for x, y in spots), (*more, reach_m))
    before, after = (zone_reach([LAWN], traps, [], edge).iloc[0] for traps in (few, many))
    assert after["share_in_reach"] >= before["share_in_reach"] - 1e-9
    assert after["edge_in_reach_m"] >= before["edge_in_reach_m"]
    assert after["longest_open_m"] <= before["longest_open_m"]
    assert after["nearest_trap_m"] <= before["nearest_trap_m"]


def test_traps_share_beetles_unless_a_wall_is_between_them() -> None:
    places = np.array([[0.0, 0], [3, 0], [3, 4.9], [50, 0], [50, 0]])
    assert close_pairs(places, [])[["first", "second"]].to_numpy().tolist() == [
        [0, 1],
        [1, 2],
        [3, 4],
    ]
    wall = box(1, -10, 2, 10)
    found = close_pairs(places, [wall])
    assert found[["first", "second"]].to_numpy().tolist() == [[1, 2], [3, 4]]
    assert found["distance_m"].round(6).tolist() == [4.9, 0.0]
    assert len(close_pairs(places[:1], [])) == len(close_pairs(places[:0], [])) == 0


def test_traps_exactly_as_far_apart_as_the_limit_share_nothing() -> None:
    assert len(close_pairs(np.array([[0.0, 0], [5, 0]]), [])) == 0


def test_a_lattice_that_would_fill_the_memory_is_refused() -> None:
    with pytest.raises(ValueError, match="expected a spacing that gives at most 250000 places"):
        lattice(box(0, 0, 1e5, 1e5), 1.0)
