"""The outline of every zone in short pieces, and which of them face a refuge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from spatial.arrays import BoolArray, FloatArray, IntArray, NameArray
from spatial.refuge import refuge_distance_m

STEP_M = 2.0
"""Longest piece of an outline; what is said of an edge is right to about this much."""

SKIN_M = 0.1
"""A line to a refuge leads through the zone itself if it runs deeper inside than this."""


WIDEST_DEG = 60.0
"""An edge faces a refuge that lies within this angle of straight ahead; beyond, beetles pass along
it rather than over it (common practice, no source)."""
LEAST_FRONT = math.cos(math.radians(WIDEST_DEG))


@dataclass(frozen=True, slots=True)
class Edge:
    """Outlines in pieces, ring by ring and along each ring; n pieces.

    Parameters
    ----------
    zone, ring
        Position of the zone, and number of the ring over all zones, shape (n,).
    middle_m
        Middle of every piece, shape (n, 2).
    length_m
        Shape (n,).
    outward
        Unit vector square to the piece and out of the zone, shape (n, 2).
    faces
        Whether the piece faces a refuge, shape (n,).
    """

    zone: IntArray
    ring: IntArray
    middle_m: FloatArray
    length_m: FloatArray
    outward: FloatArray
    faces: BoolArray


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What lies around the zones.

    Parameters
    ----------
    refuges, obstacles
        In the CRS of the zones (metres); of obstacles, only polygons stand in the way.
    facing_m
        A refuge farther away on foot is faced by nobody.
    """

    refuges: Sequence[BaseGeometry]
    obstacles: Sequence[BaseGeometry]
    facing_m: float = 60.0


def edge_of(zones: Sequence[BaseGeometry], around: Surroundings, step_m: float = STEP_M) -> Edge:
    """Return the zones' outlines in pieces.

    A piece faces a refuge where one lies within `facing_m` on foot, and the straight line to the
    nearest refuge leads ahead, within `WIDEST_DEG`, and not through the zone itself: the far side
    of a narrow zone is near the refuge too, but beetles come in on this side. Where a refuge
    overlaps a zone, its outline in there is an edge of the zone.

    Parameters
    ----------
    zones
        Polygons in metres; anything else, and empty ones, have no edge.
    around
        Refuges and obstacles.
    step_m
        Longest piece.

    Examples
    --------
    A lawn of 10 m x 10 m with a hedge 5 m south of it: only its south side faces the hedge.

    >>> from shapely.geometry import LineString, box
    >>> hedge = LineString([(-20, -5), (30, -5)])
    >>> edge = edge_of([box(0, 0, 10, 10)], Surroundings([hedge], []))
    >>> float(edge.length_m.sum()), float(edge.length_m[edge.faces].sum())
    (40.0, 10.0)
    >>> edge.middle_m[edge.faces, 1].tolist()
    [0.0, 0.0, 0.0, 0.0, 0.0]
    """
    refuges = _drawn(around.refuges)
    solid = shapely.union_all([shape for shape in refuges if shape.area > 0])
    shapes = shapely.difference(np.asarray(list(zones), dtype=object), solid)
    edge = _pieces(shapes, step_m)
    faces = np.zeros(len(edge.zone), dtype=bool)
    for number in np.unique(edge.zone):
        own = np.flatnonzero(edge.zone == number)
        ahead = (edge.middle_m[own], edge.outward[own])
        faces[own] = _in_view(ahead, shapes[number], refuges, around.facing_m)
    near = np.flatnonzero(faces)
    walk_m = refuge_distance_m(
        edge.middle_m[near], list(refuges), around.obstacles, around.facing_m
    )
    faces[near] = walk_m <= around.facing_m
    return replace(edge, faces=faces)


def _drawn(shapes: Sequence[BaseGeometry]) -> NameArray:
    return np.array([s for s in shapes if s is not None and not s.is_empty], dtype=object)


def _pieces(shapes: NameArray, step_m: float) -> Edge:
    """Cut every ring into equal pieces of at most `step_m`; nothing faces anything yet."""
    parts, zone = shapely.get_parts(shapes, return_index=True)
    # In an oriented polygon the inside is on the left of every ring, holes included.
    parts = shapely.orient_polygons(parts)
    flat = shapely.get_type_id(parts) == 3
    rings, part = shapely.get_rings(parts[flat], return_index=True)
    length_m = shapely.length(rings)
    cuts = np.ceil(np.maximum(length_m / step_m, 1.0) - 1e-9).astype(np.int64)
    ring = np.repeat(np.arange(len(rings)), cuts)
    number = np.arange(len(ring)) - np.repeat(np.cumsum(cuts) - cuts, cuts)
    piece_m = np.repeat(length_m / cuts, cuts)
    start, middle, end = (
        shapely.get_coordinates(
            shapely.line_interpolate_point(rings[ring], (number + at) * piece_m)
        )
        for at in (0.25, 0.5, 0.75)
    )
    along = (end - start) / np.maximum(np.hypot(*(end - start).T), 1e-12)[:, None]
    return Edge(
        zone=zone[flat][part][ring].astype(np.int64),
        ring=ring.astype(np.int64),
        middle_m=middle,
        length_m=piece_m,
        outward=np.column_stack([along[:, 1], -along[:, 0]]),
        faces=np.zeros(len(ring), dtype=bool),
    )


def _in_view(
    ahead: tuple[FloatArray, FloatArray], shape: BaseGeometry, refuges: NameArray, facing_m: float
) -> BoolArray:
    """Tell which middles, looking outward, have a refuge in a straight line before them."""
    middle_m, outward = ahead
    seen = np.zeros(len(middle_m), dtype=bool)
    if not len(refuges):
        return seen
    points = np.asarray(shapely.points(middle_m), dtype=object)
    (place, refuge), far_m = shapely.STRtree(refuges).query_nearest(
        points, max_distance=facing_m, return_distance=True, all_matches=False
    )
    lines = shapely.shortest_line(points[place], refuges[refuge])
    ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
    front = ((ends[:, 1] - ends[:, 0]) * outward[place]).sum(axis=1)
    deep = shapely.buffer(shape, -SKIN_M)
    shapely.prepare(deep)
    free = (front >= LEAST_FRONT * far_m) & ~shapely.intersects(deep, lines)
    # Beside a refuge that it touches, a piece has no line to speak of.
    seen[place] = (far_m <= SKIN_M) | free
    return seen
