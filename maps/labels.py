"""Where the letter of a zone stands: inside the zone, and clear of its traps where it can be."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import MultiPoint, Point
from shapely.geometry.base import BaseGeometry

_STEPS = 12
_CLEAR_M = 30.0


def label_point(zone: BaseGeometry, traps: MultiPoint) -> Point:
    """Return a place for a letter in a zone.

    Parameters
    ----------
    zone
        Polygon in metres.
    traps
        Points that the letter should not cover, in metres; may be empty.

    Returns
    -------
    shapely.Point
        The point of a grid over the zone that is deepest inside and clear of the traps; a place
        30 m from the nearest trap is as good as one farther away.

    Examples
    --------
    >>> square = shapely.box(0, 0, 100, 100)
    >>> label_point(square, MultiPoint()).distance(Point(50, 50)) < 10
    True
    >>> label_point(square, MultiPoint([(50, 50)])).distance(Point(50, 50)) > 20
    True
    """
    west, south, east, north = zone.bounds
    shapely.prepare(zone)
    x, y = np.meshgrid(np.linspace(west, east, _STEPS), np.linspace(south, north, _STEPS))
    grid = np.asarray(shapely.points(x.ravel(), y.ravel()), dtype=object)
    inside = grid[shapely.contains(zone, grid)].tolist() or [zone.representative_point()]
    depth = shapely.distance(zone.boundary, inside)
    clear = np.full(len(inside), _CLEAR_M)
    if not traps.is_empty:
        clear = np.minimum(shapely.distance(traps, inside), _CLEAR_M)
    best: Point = inside[int(np.argmax(depth + clear))]
    return best
