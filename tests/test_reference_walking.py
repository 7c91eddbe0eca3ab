"""Walking distances against an exhaustive search and against sums done by hand."""

from __future__ import annotations

from itertools import product
from math import hypot, inf

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from spatial.walking import walking_distances

FAR_M = 5000.0
Place = tuple[float, float]


def exhaustive(places: list[Place], obstacles: list[Polygon]) -> np.ndarray:
    """Return shortest distances by looking at every pair of all corners of all obstacles.

    Nothing is left out and nothing is simplified: corners that point inward, corners of holes,
    exact blocking (a segment that has any length inside an obstacle), Floyd's algorithm.
    """
    solid = shapely.union_all(obstacles)
    nodes = [*places, *(tuple(xy) for xy in shapely.get_coordinates(solid))]
    n = len(nodes)
    far = np.full((n, n), inf)
    np.fill_diagonal(far, 0.0)
    for a in range(n):
        for b in range(a):
            if open_between(nodes[a], nodes[b], solid):
                far[a, b] = far[b, a] = hypot(nodes[a][0] - nodes[b][0], nodes[a][1] - nodes[b][1])
    for middle in range(n):
        far = np.minimum(far, far[:, middle, None] + far[None, middle])
    return far[: len(places), : len(places)]


def open_between(start: Place, end: Place, solid: BaseGeometry) -> bool:
    """Tell whether no part of a segment lies inside the obstacles; their edges are open."""
    if start == end:
        return True
    line = LineString([start, end])
    within = line.intersection(solid).difference(solid.boundary.buffer(1e-7))
    return within.length < 1e-6 and not solid.contains(Point(start))


def lattice(low: int, high: int, offset: float) -> st.SearchStrategy[float]:
    """Return coordinates every five metres: far coarser than what outlines are simplified by."""
    return st.integers(low, high).map(lambda step: 5.0 * step + offset)


BOXES = st.tuples(
    lattice(0, 8, 0), lattice(0, 8, 0), st.integers(1, 4), st.integers(1, 4)
).map(lambda b: box(b[0], b[1], b[0] + 5 * b[2], b[1] + 5 * b[3]))  # fmt: skip
PLACES = st.tuples(lattice(-2, 12, 2.5), lattice(-2, 12, 2.5))


@settings(max_examples=60)
@given(
    places=st.lists(PLACES, min_size=2, max_size=5, unique=True),
    obstacles=st.lists(BOXES, min_size=1, max_size=4),
)
def test_distances_equal_an_exhaustive_search(
    places: list[Place], obstacles: list[Polygon]
) -> None:
    """Source: `exhaustive`. Obstacles touch, overlap and enclose; traps may stand inside them."""
    found = walking_distances(places, obstacles, FAR_M)
    assert_allclose(found, exhaustive(places, obstacles), rtol=1e-9)


@given(
    places=st.lists(PLACES, min_size=2, max_size=8),
    obstacles=st.lists(BOXES, max_size=4),
)
def test_distances_are_symmetric_and_never_shorter_than_straight(
    places: list[Place], obstacles: list[Polygon]
) -> None:
    found = walking_distances(places, obstacles, FAR_M)
    spots = np.array(places)
    straight = np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1))
    assert (found == found.T).all()
    assert (np.diag(found) == 0).all()
    assert (found >= straight - 1e-9).all()


@given(
    places=st.lists(PLACES, min_size=2, max_size=6),
    obstacles=st.lists(BOXES, min_size=1, max_size=4),
)
def test_another_obstacle_never_makes_a_way_shorter(
    places: list[Place], obstacles: list[Polygon]
) -> None:
    with_all = walking_distances(places, obstacles, FAR_M)
    with_one_less = walking_distances(places, obstacles[1:], FAR_M)
    assert (with_all >= with_one_less - 1e-9).all()


def test_round_a_pond() -> None:
    """Source: by hand. Pond 120 m wide and 10 m deep; ways of 60 across to a corner and back."""
    pond = box(-60, 5, 60, 15)
    found = walking_distances([(0, 0), (0, 20)], [pond], 400)
    assert found[0, 1] == pytest.approx(2 * hypot(60, 5) + 10, rel=1e-12)


def test_the_shorter_way_round_is_taken() -> None:
    """Source: by hand. The traps stand 10 m from the east end and 110 m from the west end."""
    found = walking_distances([(50, 0), (50, 20)], [box(-60, 5, 60, 15)], 400)
    assert found[0, 1] == pytest.approx(2 * hypot(10, 5) + 10, rel=1e-12)


def test_along_an_edge_is_a_way() -> None:
    """Source: by hand. Both traps stand on the edge of the building."""
    assert walking_distances([(0, 5), (0, 15)], [box(0, 0, 20, 20)], 400)[0, 1] == 10


def test_a_trap_inside_an_obstacle_reaches_nobody() -> None:
    places = [(0.0, 0.0), (30.0, 0.0), (31.0, 0.0), (60.0, 0.0)]
    found = walking_distances(places, [box(20, -10, 40, 10)], 400)
    assert np.isinf(found[1, [0, 2, 3]]).all()
    assert np.isinf(found[2, [0, 1, 3]]).all()
    assert found[0, 3] == pytest.approx(2 * hypot(20, 10) + 20)


def test_nobody_walks_between_obstacles_that_share_an_edge() -> None:
    """Source: by hand. Two sheds wall to wall are one obstacle, 10 m high and 10 m wide."""
    sheds = [box(5, 0, 10, 10), box(10, 0, 15, 10)]
    found = walking_distances([(0, 5), (20, 5)], sheds, 400)
    assert found[0, 1] == pytest.approx(2 * hypot(5, 5) + 10)


def test_overlapping_obstacles_are_one() -> None:
    """Source: by hand. A cross of two ponds; from the west arm's side to the south arm's."""
    cross = [box(-30, -5, 30, 5), box(-5, -30, 5, 30)]
    found = walking_distances([(-10, 10), (10, 10)], cross, 400)
    assert found[0, 1] == pytest.approx(2 * hypot(5, 20) + 10)


def test_beyond_the_cut_off_is_infinite() -> None:
    """Source: by hand. The way is 130.4 m."""
    pond = box(-60, 5, 60, 15)
    assert np.isinf(walking_distances([(0, 0), (0, 20)], [pond], 130)[0, 1])
    assert np.isfinite(walking_distances([(0, 0), (0, 20)], [pond], 131)[0, 1])


def test_an_island_is_not_reached_from_the_shore() -> None:
    moat = Point(0, 0).buffer(50) - Point(0, 0).buffer(20)
    found = walking_distances([(0, 0), (5, 0), (80, 0)], [moat], 400)
    assert found[0, 1] == 5
    assert np.isinf(found[:2, 2]).all()


def test_inside_a_ring_the_way_turns_at_inner_corners() -> None:
    """Source: by hand. A road encloses the course; a wall juts in from its north side.

    The ring is 100 m square with a 10 m wide road, the wall 10 m wide from the road down to y 40.
    From (20, 70) under the wall's two corners (45, 40) and (55, 40) to (80, 70).
    """
    ring = (box(0, 0, 100, 100) - box(10, 10, 90, 90)) | box(45, 40, 55, 95)
    found = walking_distances([(20, 70), (80, 70)], [ring], 400)
    assert found[0, 1] == pytest.approx(2 * hypot(25, 30) + 10)


@pytest.mark.parametrize("shift", list(product([0.0, 500_000.0], [0.0, 4_500_000.0])))
def test_distances_do_not_depend_on_where_the_grid_begins(shift: Place) -> None:
    """Coordinates of UTM have six or seven digits before the point."""
    places = np.array([(0.0, 0.0), (0.0, 20.0), (33.0, 7.0)])
    pond = box(-60, 5, 60, 15)
    moved = shapely.transform(pond, lambda xy: xy + shift)
    found = walking_distances(places + shift, [moved], 400)
    assert_allclose(found, walking_distances(places, [pond], 400), rtol=1e-9)
