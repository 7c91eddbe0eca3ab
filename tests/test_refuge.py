"""Walks to the nearest refuge against dense sampling and against sums done by hand."""

from __future__ import annotations

from math import hypot, inf, nan, pi, sqrt

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from spatial.refuge import TOUCH_M, refuge_distance_m
from spatial.walking import walking_distances

FAR_M = 2000.0
STEP_M = 1.0
POND = box(-60, 5, 60, 15)
HEDGE = LineString([(-5, 20), (5, 20)])

Place = tuple[float, float]


def sampled(
    places: list[Place], refuges: list[BaseGeometry], obstacles: list[Polygon]
) -> np.ndarray:
    """Return walks to the nearest of many points on the refuges' outlines; 0 inside a refuge.

    `spatial.walking` is itself held to an exhaustive search. The nearest point of an outline is
    within half a step of a sample, so these walks are too long by at most that.
    """
    outlines = shapely.union_all(refuges).boundary
    points = shapely.get_coordinates(shapely.segmentize(outlines, STEP_M))
    walks = walking_distances(np.vstack([places, points]), obstacles, FAR_M)
    nearest = walks[: len(places), len(places) :].min(axis=1)
    inside = shapely.intersects(shapely.union_all(refuges), shapely.points(places))
    stuck = shapely.contains(shapely.union_all(obstacles), shapely.points(places))
    return np.where(inside, 0.0, np.where(stuck, nan, nearest))


def lattice(low: int, high: int, offset: float) -> st.SearchStrategy[float]:
    return st.integers(low, high).map(lambda step: 5.0 * step + offset)


BOXES = st.tuples(
    lattice(0, 8, 0), lattice(0, 8, 0), st.integers(1, 4), st.integers(1, 4)
).map(lambda b: box(b[0], b[1], b[0] + 5 * b[2], b[1] + 5 * b[3]))  # fmt: skip
REFUGES = st.tuples(
    lattice(-2, 10, 1.5), lattice(-2, 10, 1.5), st.integers(1, 3), st.integers(1, 3)
).map(lambda b: box(b[0], b[1], b[0] + 3 * b[2], b[1] + 3 * b[3]))  # fmt: skip
PLACES = st.tuples(lattice(-2, 12, 2.5), lattice(-2, 12, 2.5))


@settings(max_examples=40)
@given(
    places=st.lists(PLACES, min_size=1, max_size=6, unique=True),
    refuges=st.lists(REFUGES, min_size=1, max_size=3),
    obstacles=st.lists(BOXES, min_size=1, max_size=5),
)
def test_walks_equal_dense_sampling(
    places: list[Place], refuges: list[BaseGeometry], obstacles: list[Polygon]
) -> None:
    """Source: `sampled`. Refuges and obstacles overlap; places may lie inside either.

    A refuge reaches up to `TOUCH_M` into an obstacle, so a walk may be that much shorter.
    """
    found = refuge_distance_m(places, refuges, obstacles, FAR_M)
    expected = sampled(places, refuges, obstacles)
    known = np.isfinite(expected)
    assert (np.isnan(found) == np.isnan(expected)).all()
    assert (np.isinf(found) == np.isinf(expected)).all()
    assert (found[known] <= expected[known] + 1e-6).all()
    assert (found[known] >= expected[known] - STEP_M / 2 - 2 * TOUCH_M).all()


@pytest.mark.parametrize("seed", range(8))
def test_walks_do_not_depend_on_where_the_map_lies(seed: int) -> None:
    """Turned and moved far from the origin, places, refuges and obstacles keep their walks."""
    random = np.random.default_rng(seed)
    places = random.uniform(0, 100, size=(20, 2))
    corners = random.uniform(0, 90, size=(8, 2))
    sizes = random.uniform(3, 30, size=(8, 2))
    boxes = [
        rotate(box(*corner, *(corner + size)), random.uniform(0, 90))
        for corner, size in zip(corners, sizes, strict=True)
    ]

    def moved(shape: BaseGeometry) -> BaseGeometry:
        return translate(rotate(shape, 10.0 + 40 * seed, origin=(0, 0)), 4e5, 4e6)

    found = refuge_distance_m(places, boxes[:2], boxes[2:], FAR_M)
    there = [moved(Point(place)).coords[0] for place in places]
    again = refuge_distance_m(
        there, [moved(each) for each in boxes[:2]], [moved(each) for each in boxes[2:]], FAR_M
    )
    assert np.isfinite(found).any()
    assert_allclose(again, found, atol=1e-5)


def test_a_pond_between_is_walked_round() -> None:
    """By hand: 60 east and 5 north to the corner, 10 up, then 55 back and 5 up to the hedge."""
    found = refuge_distance_m([[0, 0], [100, 20]], [HEDGE], [POND], FAR_M)
    assert_allclose(found, [hypot(60, 5) + 10 + hypot(55, 5), 95.0], atol=1e-9)


def test_a_nearer_refuge_behind_the_pond_loses_to_a_farther_one_in_the_open() -> None:
    """By hand: 20 m across the water, 125 round it, 90 to the other hedge."""
    other = LineString([(-10, -90), (10, -90)])
    assert_allclose(refuge_distance_m([[0, 0]], [HEDGE, other], [POND], FAR_M), [90.0])


def test_the_end_of_the_walk_need_not_be_the_nearest_point_of_the_refuge() -> None:
    """By hand: a hedge along y = 20 for 200 m, a wall from 0 to 10 in front of the place.

    Round the wall's corner (10, 12) and straight up: sqrt(10^2 + 12^2) + 8.
    """
    hedge, wall = LineString([(-100, 20), (100, 20)]), box(-10, 11, 10, 12)
    expected = min(hypot(10, 11) + 1 + 8, hypot(10, 12) + 8)
    found = refuge_distance_m([[0, 0]], [hedge], [wall], FAR_M)
    assert_allclose(found, [max(expected, hypot(10, 11) + 9)], atol=1e-9)


def test_in_and_on_a_refuge_is_no_walk() -> None:
    refuge = box(0, 0, 10, 10)
    assert refuge_distance_m([[5, 5], [10, 4], [13, 14]], [refuge], [], 50).tolist() == [0, 0, 5]


def test_out_of_reach_is_infinite_and_walled_in_is_too() -> None:
    """By hand: 50 m and beyond a cut-off of 40; and a place in a ring that has no gate."""
    ring = Point(500, 0).buffer(30).difference(Point(500, 0).buffer(20))
    places = [[0, -30], [0, -20], [500, 0]]
    assert refuge_distance_m(places, [HEDGE], [ring], 40).tolist() == [inf, 40.0, inf]
    assert refuge_distance_m([[500, 0]], [HEDGE], [ring], FAR_M).tolist() == [inf]


def test_a_place_inside_an_obstacle_has_no_answer() -> None:
    assert np.isnan(refuge_distance_m([[0, 10]], [HEDGE], [POND], FAR_M)).all()


@pytest.mark.parametrize("refuges", [[], [Polygon()]])
def test_without_known_refuges_there_is_no_answer(refuges: list[BaseGeometry]) -> None:
    """Far from a refuge and no refuge drawn are not the same."""
    assert np.isnan(refuge_distance_m([[0, 0], [1, 1]], refuges, [POND], FAR_M)).all()


def test_no_places_no_walks() -> None:
    assert refuge_distance_m(np.empty((0, 2)), [HEDGE], [POND], FAR_M).shape == (0,)


def test_a_refuge_wholly_inside_an_obstacle_is_not_reached() -> None:
    """By hand: a hedge that lies wholly inside a building cannot be reached at all."""
    building = box(0, 0, 40, 40)
    inside = LineString([(10, 10), (30, 30)])
    assert refuge_distance_m([[-5, 20]], [inside], [building], FAR_M).tolist() == [inf]


@pytest.mark.parametrize("points", [12, 360])
def test_a_building_may_be_refuge_and_obstacle_at_once(points: int) -> None:
    """Source: straight distance to the wall; its outline is simplified by .25 m.

    The wall of many corners must not vanish inside its own simplified obstacle.
    """
    angle = np.linspace(0, 2 * pi, points, endpoint=False)
    radius_m = 20 + 0.15 * np.cos(7 * angle)
    wall = Polygon(np.column_stack([radius_m * np.cos(angle), radius_m * np.sin(angle)]))
    places = [[40.0, 3.0], [-30.0, 12.0], [0.0, 25.0]]
    straight = shapely.distance(wall, shapely.points(places))
    assert_allclose(refuge_distance_m(places, [wall], [wall], 100), straight, atol=0.5)


def test_parts_points_and_mixed_shapes_are_all_refuges() -> None:
    """By hand: a tree, two beds and a hedge, the nearest 5 m away from each place."""
    beds = MultiPolygon([box(0, 0, 4, 4), box(100, 0, 104, 4)])
    places = [[9, 2], [109, 2], [-55, 0], [5, 200]]
    refuges = [beds, Point(-60, 0), LineString([(0, 205), (0, 206), (10, 206), (10, 200)])]
    assert_allclose(
        refuge_distance_m(places, refuges, [], 100), [5, 5, 5, min(5, sqrt(50))], atol=1e-9
    )


def test_walks_far_beyond_the_first_look_are_found() -> None:
    """By hand: along a lane with three gates, each at the other end of its wall; 7 legs."""
    sides = [box(-2, -2, 302, 0), box(-2, -2, 0, 60), box(300, -2, 302, 60)]
    walls = [box(0, 10, 280, 12), box(20, 30, 300, 32), box(0, 50, 280, 52)]
    goal = LineString([(10, 60), (12, 60)])
    legs = [hypot(270, 5), 2, hypot(260, 18), 2, hypot(260, 18), 2, hypot(268, 8)]
    found = refuge_distance_m([[10, 5]], [goal], [*sides, *walls], FAR_M)
    assert_allclose(found, [sum(legs)], atol=1e-9)
