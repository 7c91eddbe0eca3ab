"""Bearings of linear traps against geodesic azimuths laid out on the ellipsoid beforehand."""

from __future__ import annotations

import math

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon, box

from spatial.trap_bearing import edge_bearing, pipe_bearing, slope_at

WGS84 = pyproj.Geod(ellps="WGS84")
UTM_23N = pyproj.CRS("EPSG:32623")
PLACES = st.tuples(st.floats(-47.9, -42.1), st.floats(5.0, 75.0))


def turned(bearing: float, expected: float) -> float:
    """Return the angle between two axes, 0 to 90 degrees."""
    off = abs(bearing - expected) % 180.0
    return min(off, 180.0 - off)


def hedge_along(
    place: tuple[float, float], azimuth: float, crs: pyproj.CRS
) -> tuple[LineString, tuple[float, float]]:
    """Return a straight hedge of 60 m with a true azimuth, and a trap 4 m beside its middle."""
    longitude, latitude = place
    ends = [WGS84.fwd(longitude, latitude, azimuth + half, 30.0)[:2] for half in (0.0, 180.0)]
    beside = WGS84.fwd(longitude, latitude, azimuth + 90.0, 4.0)[:2]
    to_metres = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    trap = to_metres.transform(*beside)
    return LineString([to_metres.transform(*end) for end in ends]), (trap[0], trap[1])


@given(place=PLACES, azimuth=st.floats(0.0, 180.0, exclude_max=True))
def test_a_bearing_is_the_true_azimuth_of_the_hedge(
    place: tuple[float, float], azimuth: float
) -> None:
    """Laid out with `Geod.fwd` of pyproj (Karney 2013), read back from the grid within .01 degree.

    Grid north is off by up to 2.9 degrees at these places, so a grid bearing would not do.
    """
    hedge, trap = hedge_along(place, azimuth, UTM_23N)
    found = edge_bearing(trap, [hedge], UTM_23N)
    assert 0.0 <= found < 180.0
    assert turned(found, azimuth) < 0.01


@pytest.mark.parametrize("place", [(-42.2, 60.0), (-47.8, 60.0), (-45.0, 60.0)])
def test_a_bearing_differs_from_the_grid_by_the_convergence(place: tuple[float, float]) -> None:
    """Within .01 degree of arctan(tan(longitude from the middle) sin(latitude)).

    The convergence of the transverse Mercator on the sphere: Snyder 1987, Map Projections, a
    Working Manual, USGS Prof. Paper 1395 (cited from memory).
    """
    hedge, trap = hedge_along(place, 30.0, UTM_23N)
    (x0, y0), (x1, y1) = hedge.coords
    grid = math.degrees(math.atan2(x0 - x1, y0 - y1))
    off = math.radians(place[0] + 45.0)
    convergence = math.degrees(math.atan(math.tan(off) * math.sin(math.radians(place[1]))))
    assert edge_bearing(trap, [hedge], UTM_23N) - grid == pytest.approx(convergence, abs=0.01)


def test_a_bearing_is_right_where_the_grid_keeps_no_angles() -> None:
    """An equal-area grid bends angles; the geodesic between two places does not care."""
    crs = pyproj.CRS("EPSG:3035")
    hedge, trap = hedge_along((35.0, 60.0), 40.0, crs)
    assert turned(edge_bearing(trap, [hedge], crs), 40.0) < 0.01


MIDDLE = (500_000.0, 4_400_000.0)


def here(shape: shapely.Geometry) -> shapely.Geometry:
    """Move a shape to the middle meridian, where grid north is true north."""
    return shapely.transform(shape, lambda xy: xy + np.array(MIDDLE))


def bearing_at(x: float, y: float, *refuges: shapely.Geometry) -> float:
    return edge_bearing((MIDDLE[0] + x, MIDDLE[1] + y), [here(each) for each in refuges], UTM_23N)


@pytest.mark.parametrize(
    ("x", "y", "expected"), [(50, -3, 90.0), (50, 23, 90.0), (-3, 10, 0.0), (103, 10, 0.0)]
)
def test_beside_a_polygon_a_trap_lies_along_the_nearest_side(
    x: float, y: float, expected: float
) -> None:
    assert turned(bearing_at(x, y, box(0, 0, 100, 20)), expected) < 0.01


def test_the_nearest_refuge_counts_not_the_first() -> None:
    north, east = LineString([(-50, 30), (50, 30)]), LineString([(5, -50), (5, 50)])
    assert turned(bearing_at(0, 0, north, east), 0.0) < 0.01


def test_wiggles_of_the_drawing_do_not_turn_a_trap() -> None:
    """A saw of .2 m along 90 degrees: a single tooth lies at 63 or 117 degrees."""
    saw = LineString([(0.2 * i, 10 + 0.1 * (i % 2)) for i in range(-200, 201)])
    assert turned(bearing_at(0, 0, saw), 90.0) < 2.0


def test_a_trap_at_the_seam_of_a_ring_lies_like_any_other() -> None:
    square = Polygon([(10, 0), (10, -30), (40, -30), (40, 30), (10, 30), (10, 0)])
    assert turned(bearing_at(0, 0, square), 0.0) < 0.01


def test_at_the_corner_where_a_ring_begins_a_trap_lies_across_it() -> None:
    """Off the south-west corner of a square, along neither side but between them."""
    square = Polygon([(7, 7), (7, 47), (47, 47), (47, 7), (7, 7)])
    assert turned(bearing_at(0, 0, square), 135.0) < 0.01


def test_beside_a_lone_tree_a_trap_lies_square_to_the_way_there() -> None:
    assert turned(bearing_at(0, 0, Point(10, 0)), 0.0) < 0.01


def test_without_a_refuge_there_is_no_bearing() -> None:
    assert math.isnan(bearing_at(0, 0))
    assert math.isnan(bearing_at(0, 0, Polygon()))
    assert math.isnan(bearing_at(0, 0, Point(0, 0)))


@given(
    axis=st.floats(0.0, 179.9),
    slope=st.tuples(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2)),
)
def test_the_collector_is_at_the_lower_end(axis: float, slope: tuple[float, float]) -> None:
    """From the collector one pipe length along the bearing, the ground is higher."""
    found = pipe_bearing(axis, slope)
    ahead = np.array([math.sin(math.radians(axis)), math.cos(math.radians(axis))])
    rise = float(ahead @ slope)
    if found is None:
        assert abs(rise) < 0.0021
    else:
        assert found % 180.0 == pytest.approx(axis, abs=1e-9)
        assert (found == axis) == (rise > 0)


def test_without_heights_nobody_knows_the_lower_end() -> None:
    assert pipe_bearing(30.0, slope_at((0, 0), np.empty((0, 3)))) is None
    in_a_line = [[0, 0, 1.0], [5, 5, 2.0], [10, 10, 3.0]]
    assert np.isnan(slope_at((0, 0), in_a_line)).all()


@given(
    slope=st.tuples(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2)),
    corner=st.tuples(st.floats(4e5, 6e5), st.floats(4e6, 5e6)),
)
def test_a_plane_is_found_again_from_its_heights(
    slope: tuple[float, float], corner: tuple[float, float]
) -> None:
    ground = np.array([[0, 0], [20, 3], [-4, 15], [11, 12], [300, 300]], dtype=float)
    height = 100 + ground @ slope
    height[-1] += 500
    spots = np.column_stack([ground + corner, height])
    assert slope_at(corner, spots) == pytest.approx(slope, abs=1e-6)
