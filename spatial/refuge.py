"""How far every trap stands from the nearest refuge, as a beetle walks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from shapely.geometry.base import BaseGeometry

from spatial.arrays import BoolArray, FloatArray, IntArray
from spatial.walking import SIMPLIFY_M, SKIN_M, corners_of, in_sight, solid_parts

TOUCH_M = 0.3
"""Within this distance of a refuge a beetle has reached it. A little more than outlines are
simplified by, so that a hedge drawn along a wall is not lost inside the wall."""


FIRST_REACH_M = 50.0
"""Walks are first looked for within this distance, because most are short."""


def refuge_distance_m(
    places: npt.ArrayLike,
    refuges: Sequence[BaseGeometry],
    obstacles: Sequence[BaseGeometry],
    cutoff_m: float,
) -> FloatArray:
    """Return the shortest walk from every place to the nearest refuge, round the obstacles.

    Parameters
    ----------
    places
        Coordinates in metres, shape (n, 2).
    refuges
        Polygons, lines or points in the same CRS. What of them lies inside an obstacle cannot be
        reached, and is left out.
    obstacles
        In the same CRS; only polygons stand in the way.
    cutoff_m
        Longer walks are not looked for.

    Returns
    -------
    numpy.ndarray
        Shape (n,), metres: 0 in or on a refuge; infinite where none is within `cutoff_m` on foot;
        NaN where the question has no answer, because the place is inside an obstacle or no refuge
        is known at all.

    Notes
    -----
    A shortest walk turns only at corners of obstacles, and its last leg ends at the point of some
    straight piece of a refuge's outline that is nearest to the start of that leg (or the leg
    touches a corner, and is two legs). So it is enough to join every place and corner to the
    nearest point of every piece that it can see, and to take shortest paths over the corners: no
    sampling. What is left is the simplifying of outlines, by `spatial.walking.SIMPLIFY_M` (0.25 m,
    more for obstacles beyond `MAX_CORNERS`): the end of a walk moves by at most that, every turn by
    at most twice that, and a thing thinner than `TOUCH_M` that lies against a refuge is overlooked.

    Examples
    --------
    A hedge 20 m to the north, in the open; then with a wide pond before it; then out of reach:

    >>> from shapely.geometry import LineString, box
    >>> hedge, pond = LineString([(-5, 20), (5, 20)]), box(-60, 5, 60, 15)
    >>> refuge_distance_m([[0, 0], [40, 20], [0, 20]], [hedge], [], 400).tolist()
    [20.0, 35.0, 0.0]
    >>> refuge_distance_m([[0, 0]], [hedge], [pond], 400).round(1).tolist()
    [125.4]
    >>> refuge_distance_m([[0, 0]], [hedge], [pond], 100).tolist()
    [inf]
    """
    points = np.asarray(places, dtype=float).reshape(-1, 2)
    known = [shape for shape in refuges if shape is not None and not shape.is_empty]
    if not known or not len(points):
        return np.full(len(points), np.nan)
    parts = solid_parts(shapely.union_all(list(obstacles)))
    pieces = _pieces(known, parts)
    ground = _Ground(np.vstack([points, *(corners_of(part) for part in parts)]), parts, len(points))
    walk_m = _walks(ground, pieces, cutoff_m)[: len(points)]
    walk_m[_inside(points, parts)] = np.nan
    walk_m[_inside_any(points, known)] = 0.0
    return walk_m


@dataclass(frozen=True, slots=True)
class _Ground:
    """Places and then corners, shape (m, 2), and the obstacles that the corners are of."""

    nodes: FloatArray
    parts: list[shapely.Polygon]
    places: int


def _pieces(refuges: list[BaseGeometry], parts: list[shapely.Polygon]) -> FloatArray:
    """Return the straight pieces of the refuges' outlines, outside obstacles, shape (s, 2, 2)."""
    solid = shapely.union_all(shapely.buffer(parts, -(SIMPLIFY_M + SKIN_M), join_style="mitre"))
    open_ = shapely.difference(np.asarray(refuges, dtype=object), solid)
    shapes = shapely.get_parts(shapely.get_parts(open_))
    solid_shape = np.isin(shapely.get_type_id(shapes), (3, 6))
    lines = np.where(solid_shape, shapely.boundary(shapes), shapes)
    lines = shapely.simplify(shapely.get_parts(lines), SIMPLIFY_M)
    ends = [_steps(shapely.get_coordinates(line)) for line in lines if not line.is_empty]
    return np.concatenate(ends) if ends else np.empty((0, 2, 2))


def _steps(path: FloatArray) -> FloatArray:
    """Return every step of a path as its two ends; a path of one point is a step on the spot."""
    if len(path) == 1:
        path = np.repeat(path, 2, axis=0)
    return np.stack([path[:-1], path[1:]], axis=1)


def _walks(ground: _Ground, pieces: FloatArray, cutoff_m: float) -> FloatArray:
    """Return the shortest walk of every node, looking first nearby and then twice as far.

    A walk that is found within the reach is the shortest; from then on it serves as a leg.
    """
    leg_m, sure = _first_legs(ground, pieces, cutoff_m)
    reach_m = min(FIRST_REACH_M, cutoff_m)
    while not sure.all():
        unsure = np.flatnonzero(~sure)
        leg_m = _other_legs(ground, pieces, leg_m, unsure, reach_m)
        walk_m = _over_corners(ground, leg_m, unsure, reach_m)
        sure |= np.isfinite(walk_m) | (reach_m >= cutoff_m)
        leg_m = np.where(sure, np.minimum(walk_m, leg_m), np.inf)
        reach_m = min(2 * reach_m, cutoff_m)
    return leg_m


def _feet(nodes: FloatArray, pieces: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the nearest point of every piece to every node and its distance.

    Shapes (m, s, 2) and (m, s).
    """
    start, along = pieces[:, 0], pieces[:, 1] - pieces[:, 0]
    length2 = np.maximum((along**2).sum(axis=1), np.finfo(float).tiny)
    share = np.clip(((nodes[:, None] - start) * along).sum(axis=2) / length2, 0.0, 1.0)
    foot = start + share[:, :, None] * along
    return foot, np.hypot(*np.moveaxis(nodes[:, None] - foot, 2, 0))


def _reaches(start: FloatArray, foot: FloatArray, parts: list[shapely.Polygon]) -> BoolArray:
    """Tell which legs are free of obstacles up to `TOUCH_M` before their end."""
    step = start - foot
    length_m = np.hypot(*step.T)
    back = np.minimum(TOUCH_M, length_m) / np.maximum(length_m, np.finfo(float).tiny)
    return in_sight(start, foot + step * back[:, None], parts)


def _first_legs(
    ground: _Ground, pieces: FloatArray, cutoff_m: float
) -> tuple[FloatArray, BoolArray]:
    """Return the straight leg from every node to the nearest refuge, and whether that settles it.

    It does where the leg is free, or longer than the cut-off: no walk is shorter than straight.
    """
    leg_m = np.full(len(ground.nodes), np.inf)
    sure = np.ones(len(ground.nodes), dtype=bool)
    if not len(pieces):
        return leg_m, sure
    foot, far_m = _feet(ground.nodes, pieces)
    nearest = far_m.argmin(axis=1)
    rows = np.arange(len(far_m))
    near = np.flatnonzero(far_m[rows, nearest] <= cutoff_m)
    free = _reaches(ground.nodes[near], foot[near, nearest[near]], ground.parts)
    leg_m[near[free]] = far_m[near, nearest[near]][free]
    sure[near[~free]] = False
    return leg_m, sure


def _other_legs(
    ground: _Ground, pieces: FloatArray, leg_m: FloatArray, unsure: IntArray, cutoff_m: float
) -> FloatArray:
    """Return the legs, with the shortest free one for nodes that cannot see their nearest refuge.

    Legs longer than a walk that is known already are not looked at.
    """
    if not len(unsure):
        return leg_m
    known_m = _over_corners(ground, leg_m, unsure, cutoff_m)[unsure]
    foot, far_m = _feet(ground.nodes[unsure], pieces)
    node, piece = np.nonzero(far_m < np.minimum(known_m, cutoff_m)[:, None])
    free = _reaches(ground.nodes[unsure[node]], foot[node, piece], ground.parts)
    shortest = leg_m.copy()
    np.minimum.at(shortest, unsure[node[free]], far_m[node, piece][free])
    return shortest


def _over_corners(
    ground: _Ground, leg_m: FloatArray, unsure: IntArray, cutoff_m: float
) -> FloatArray:
    """Return the shortest walk of every node: straight, or over corners that are nearer."""
    nodes, goal = ground.nodes, len(ground.nodes)
    corners = np.arange(ground.places, goal)
    start, end = np.repeat(unsure, len(corners)), np.tile(corners, len(unsure))
    length_m = np.hypot(*(nodes[start] - nodes[end]).T)
    near = (length_m <= cutoff_m) & (start != end)
    start, end, length_m = start[near], end[near], length_m[near]
    free = in_sight(nodes[start], nodes[end], ground.parts)
    ends = np.flatnonzero(np.isfinite(leg_m))
    row = np.concatenate([start[free], ends])
    column = np.concatenate([end[free], np.full(len(ends), goal)])
    # scipy drops explicit zeros, so a node on a refuge gets the smallest length there is.
    weight = np.maximum(np.concatenate([length_m[free], leg_m[ends]]), np.finfo(float).tiny)
    shortest = coo_array((weight, (column, row)), shape=(goal + 1, goal + 1)).tocsr()
    return np.asarray(dijkstra(shortest, indices=[goal], limit=cutoff_m), dtype=float)[0, :goal]


def _inside(points: FloatArray, parts: list[shapely.Polygon]) -> BoolArray:
    solid = shapely.buffer(parts, -SKIN_M, join_style="mitre")
    return _inside_any(points, [part for part in solid if not part.is_empty])


def _inside_any(points: FloatArray, shapes: list[BaseGeometry]) -> BoolArray:
    inside = np.zeros(len(points), dtype=bool)
    if shapes:
        hit, _ = shapely.STRtree(shapes).query(shapely.points(points), predicate="intersects")
        inside[hit] = True
    return inside
