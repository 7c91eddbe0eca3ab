"""How a linear trap lies: along the nearest refuge edge, its collector at the lower end.

Bearings are compass bearings from true north, clockwise, as a map or a GPS set to true north gives
them. A magnetic compass is off by the local declination besides, which is not known here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pyproj
import shapely
from shapely.geometry.base import BaseGeometry

from spatial.arrays import FloatArray

WINDOW_M = 10.0
"""The edge's direction is that of this much of it around the nearest point, so that a wiggle of the
drawing does not turn the trap (common practice, no source)."""

SPOTS_WITHIN_M = 50.0
"""Spot heights farther away say nothing of the slope at the trap."""

LEVEL = 0.002
"""A fall along the pipe under 2 mm a metre is none: heights are not known that well."""


def edge_bearing(
    place_m: tuple[float, float], refuges: Sequence[BaseGeometry], crs: pyproj.CRS
) -> float:
    """Return the bearing along the nearest refuge edge, 0 to below 180 degrees; NaN without one.

    Grid north and true north differ by the convergence of the meridians, up to 3 degrees in a UTM
    zone and more elsewhere; so the direction is turned into two places on the ellipsoid, and the
    bearing is the azimuth of the geodesic between them (Karney 2013, J. Geod. 87, 43-55).

    Parameters
    ----------
    place_m
        Easting and northing of the trap.
    refuges
        Polygons, lines or points; of a point, the edge lies square to the way there.
    crs
        Projected, in metres.

    Examples
    --------
    A hedge along the grid's eastings on the middle meridian of a UTM zone:

    >>> from shapely.geometry import LineString
    >>> hedge = LineString([(499900, 4400010), (500100, 4400010)])
    >>> round(edge_bearing((500000, 4400000), [hedge], pyproj.CRS("EPSG:32623")), 3)
    90.0
    """
    drawn = [shape for shape in refuges if shape is not None and not shape.is_empty]
    if not drawn:
        return math.nan
    along = _direction(shapely.Point(place_m), np.asarray(drawn, dtype=object))
    if not np.isfinite(along).all():
        return math.nan
    ends = np.asarray(place_m) + np.outer([-0.5, 0.5], along * WINDOW_M)
    to_degrees = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    (west, east), (south, north) = to_degrees.transform(ends[:, 0], ends[:, 1])
    geod = crs.get_geod() or pyproj.Geod(ellps="WGS84")
    azimuth, _, _ = geod.inv(west, south, east, north)
    bearing = float(azimuth) % 180.0
    return 0.0 if bearing > 180.0 - 1e-9 else bearing


def pipe_bearing(axis_deg: float, slope: npt.ArrayLike) -> float | None:
    """Return the bearing from the collector along the pipe; None if level or not known.

    The collector is at the lower end, so the pipe runs up from it, one way or the other along the
    axis.

    Parameters
    ----------
    axis_deg
        From `edge_bearing`.
    slope
        Rise per metre to the east and to the north, shape (2,); see `slope_at`.

    Examples
    --------
    Ground that rises 5 cm a metre to the west: the pipe runs up to the west, the collector is east.

    >>> pipe_bearing(90.0, [-0.05, 0.0]), pipe_bearing(90.0, [0.05, 0.0])
    (270.0, 90.0)
    >>> pipe_bearing(90.0, [0.0, 0.1]) is None
    True
    """
    rise = fall_along(axis_deg, slope)
    if not math.isfinite(rise) or abs(rise) < LEVEL:
        return None
    return axis_deg if rise > 0 else axis_deg + 180.0


def fall_along(bearing_deg: float, slope: npt.ArrayLike) -> float:
    """Return how the ground rises along a bearing, and so falls the other way, m per m.

    Examples
    --------
    >>> round(fall_along(270.0, [-0.05, 0.02]), 3)
    0.05
    """
    east, north = np.asarray(slope, dtype=float)
    angle = math.radians(bearing_deg)
    return float(east * math.sin(angle) + north * math.cos(angle))


def slope_at(place_m: tuple[float, float], spots: npt.ArrayLike) -> FloatArray:
    """Return the rise per metre to the east and north of the plane through nearby spot heights.

    Least squares over spots within `SPOTS_WITHIN_M`; NaN with fewer than three, or when they lie in
    a line. Grid north is taken for true north here: a few degrees do not swap the ends of a pipe,
    unless it lies along the contour, where either end will do.

    Parameters
    ----------
    place_m
        Easting and northing.
    spots
        Easting, northing and height in metres, shape (n, 3).

    Examples
    --------
    >>> spots = [[0, 0, 10.0], [10, 0, 10.5], [0, 10, 10.0], [10, 10, 10.5]]
    >>> slope_at((5, 5), spots).round(3).tolist()
    [0.05, 0.0]
    """
    known = np.asarray(spots, dtype=float).reshape(-1, 3)
    offset = known[:, :2] - np.asarray(place_m, dtype=float)
    near = np.isfinite(known).all(axis=1) & (np.hypot(*offset.T) <= SPOTS_WITHIN_M)
    plane = np.column_stack([offset[near], np.ones(int(near.sum()))])
    if len(plane) < 3 or np.linalg.matrix_rank(plane, tol=1e-3) < 3:
        return np.full(2, np.nan)
    found, *_ = np.linalg.lstsq(plane, known[near, 2], rcond=None)
    return np.asarray(found[:2], dtype=float)


def _direction(place: shapely.Point, refuges: npt.NDArray[np.object_]) -> FloatArray:
    """Return the unit vector along the nearest refuge edge."""
    lines = _outlines(refuges)
    nearest = lines[int(np.argmin(shapely.distance(lines, place)))]
    if nearest.geom_type == "Point":
        there = shapely.get_coordinates(nearest)[0] - shapely.get_coordinates(place)[0]
        return _unit(np.array([-there[1], there[0]]))
    at_m = float(shapely.line_locate_point(nearest, place))
    return _chord(nearest, at_m)


def _outlines(refuges: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Return lines and points: rings of polygons, lines, points."""
    parts = shapely.get_parts(shapely.get_parts(refuges))
    flat = shapely.get_type_id(parts) == 3
    return np.concatenate([parts[~flat], shapely.get_rings(parts[flat])])


def _chord(line: BaseGeometry, at_m: float) -> FloatArray:
    """Return the direction of a stretch around a place on a line; a ring goes on past its seam."""
    length_m = float(line.length)
    half = min(WINDOW_M / 2, length_m / 8)
    ends = np.array([at_m - half, at_m + half])
    ends = ends % length_m if line.is_ring else np.clip(ends, 0.0, length_m)
    there = np.array([line, line], dtype=object)
    start, end = shapely.get_coordinates(shapely.line_interpolate_point(there, ends))
    return _unit(end - start)


def _unit(vector: FloatArray) -> FloatArray:
    length = float(np.hypot(*vector))
    return np.asarray(vector / length if length > 0 else np.full(2, np.nan), dtype=float)
