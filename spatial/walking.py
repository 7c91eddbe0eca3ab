"""Distances as a beetle walks: round water, buildings and bunkers, not through them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from shapely.geometry.base import BaseGeometry

from spatial.arrays import BoolArray, FloatArray, IntArray

SIMPLIFY_M = 0.25
"""Obstacle outlines are simplified by this much: far below the error of any trap position."""

MAX_CORNERS = 600
"""With more corners than this, outlines are simplified further: the work grows with the square."""

SKIN_M = 0.02
"""A path may run along an obstacle's edge; only going in deeper than this is forbidden."""


def walking_distances(
    points: npt.ArrayLike, obstacles: Sequence[BaseGeometry], cutoff_m: float
) -> FloatArray:
    """Return the shortest walking distance between every two points, round the obstacles.

    The paths run over the visibility graph of the points and the obstacles' corners, on which the
    shortest path among polygons lies (Lozano-Pérez & Wesley 1979, Comm. ACM 22, 560-570).

    Parameters
    ----------
    points
        Coordinates in metres, shape (n, 2).
    obstacles
        Polygons in the same CRS; touching and overlapping ones are merged first.
    cutoff_m
        Longer distances are not looked for and are infinite.

    Returns
    -------
    numpy.ndarray
        Shape (n, n), metres, symmetric, zero diagonal; infinite where no path of at most `cutoff_m`
        exists. A point inside an obstacle reaches nobody.

    Examples
    --------
    Two traps 20 m apart with a wide, 10 m deep pond between them:

    >>> from shapely.geometry import box
    >>> pond = box(-60, 5, 60, 15)
    >>> walking_distances([[0, 0], [0, 20]], [pond], cutoff_m=400).round(1).tolist()
    [[0.0, 130.4], [130.4, 0.0]]
    >>> walking_distances([[0, 0], [0, 20]], [], cutoff_m=400).tolist()
    [[0.0, 20.0], [20.0, 0.0]]
    """
    places = np.asarray(points, dtype=float).reshape(-1, 2)
    parts = solid_parts(shapely.union_all(list(obstacles)))
    nodes = np.vstack([places, *(corners_of(part) for part in parts)])
    start, end = _pairs_within(nodes, cutoff_m)
    visible = in_sight(nodes[start], nodes[end], parts)
    start, end = start[visible], end[visible]
    length = np.hypot(*(nodes[start] - nodes[end]).T)
    # scipy drops explicit zeros, so coincident points get the smallest length there is.
    length = np.maximum(length, np.finfo(float).tiny)
    edges = coo_array((length, (start, end)), shape=(len(nodes), len(nodes))).tocsr()
    paths = dijkstra(edges, directed=False, indices=range(len(places)), limit=cutoff_m)
    between = np.asarray(paths[:, : len(places)], dtype=float).reshape(len(places), len(places))
    shortest: FloatArray = np.minimum(between, between.T)
    return shortest


def solid_parts(merged: BaseGeometry) -> list[shapely.Polygon]:
    """Return the merged obstacles as polygons with few enough corners."""
    tolerance_m = SIMPLIFY_M
    simple = merged.simplify(tolerance_m)
    while shapely.get_num_coordinates(simple) > MAX_CORNERS and tolerance_m < 2.0:
        tolerance_m *= 2
        simple = merged.simplify(tolerance_m)
    return [part for part in shapely.get_parts(simple) if part.geom_type == "Polygon"]


def corners_of(polygon: shapely.Polygon) -> FloatArray:
    """Return the corners that a shortest path can turn at: those that stick out.

    In an oriented polygon the solid side is on the left of every ring, holes included.
    """
    oriented = shapely.orient_polygons(polygon)
    rings = [oriented.exterior, *oriented.interiors]
    return np.vstack([_left_turns(shapely.get_coordinates(ring)[:-1]) for ring in rings])


def _left_turns(ring: FloatArray) -> FloatArray:
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    into, out = ring - before, after - ring
    turn = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    return np.asarray(ring[turn > 0], dtype=float)


def _pairs_within(nodes: FloatArray, cutoff_m: float) -> tuple[IntArray, IntArray]:
    start, end = np.triu_indices(len(nodes), k=1)
    near = np.hypot(*(nodes[start] - nodes[end]).T) <= cutoff_m
    return start[near], end[near]


def in_sight(start: FloatArray, end: FloatArray, parts: Sequence[shapely.Polygon]) -> BoolArray:
    """Return which straight lines from a start to its end cross none of the solid parts."""
    seen = np.ones(len(start), dtype=bool)
    solid = [shapely.buffer(part, -SKIN_M, join_style="mitre") for part in parts]
    solid = [part for part in solid if not part.is_empty]
    if not solid or not len(start):
        return seen
    lines = shapely.linestrings(np.stack([start, end], axis=1))
    blocked, _ = shapely.STRtree(solid).query(lines, predicate="intersects")
    seen[blocked] = False
    return seen
