"""How much of every zone, and of its edge towards refuges, lies within reach of a trap.

A trap's reach is how far from it a beetle is taken to be caught; no source gives one for billbugs,
so it is an assumption of the user's per design. Beetles walk, so reach is measured on foot. Where
no obstacle lies within a trap's reach, a walk is straight and the reach is a disc: then the share
of a zone is exact, from the discs' union. Where one does, discs would reach through walls and
across ponds: then the zone is filled with a lattice of at least `FEWEST_PLACES` places and every
place's walk to the nearest trap is measured. What an obstacle covers is no part of a zone here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from spatial.arrays import BoolArray, FloatArray, IntArray, NameArray
from spatial.lattice import lattice
from spatial.refuge import refuge_distance_m
from spatial.refuge_edge import Edge
from spatial.walking import walking_distances

SHARED_M = 5.0
"""Traps closer than this catch each other's beetles: adults depend on each other up to 5.4 m on sod
(Gireesh, Rijal & Joseph 2021, Insects 12, 402); 3 m and 6 m spacings are in use."""

FEWEST_PLACES = 800
"""Places of the lattice in a zone's box: a share is then right to about .02."""

MEASURES = ("straight", "on_foot")
"""How the share of a zone was measured; see this module's head."""

QUADRANT_PIECES = 32
"""A disc of this many straight pieces per quarter has .04 % less area than a circle."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Traps in use.

    Parameters
    ----------
    places_m
        Coordinates in metres, shape (n, 2).
    reach_m
        Of each trap by its design, shape (n,), zero or more.
    """

    places_m: FloatArray
    reach_m: FloatArray


def zone_reach(
    zones: Sequence[BaseGeometry],
    traps: Standing,
    obstacles: Sequence[BaseGeometry],
    edge: Edge,
    cutoff_m: float = 400.0,
) -> pd.DataFrame:
    """Return what every zone has within reach of a trap, whichever zone the trap stands in.

    Parameters
    ----------
    zones
        Polygons in metres, not empty.
    traps
        In use; may be none.
    obstacles
        Only polygons stand in the way.
    edge
        Of the same zones, from `spatial.refuge_edge.edge_of`.
    cutoff_m
        Longer walks are not looked for.

    Returns
    -------
    pandas.DataFrame
        One row per zone: `share_in_reach` (of the area that no obstacle covers; NaN if there is
        none), `measured` (one of `MEASURES`), `edge_m` (facing a refuge), `edge_in_reach_m`,
        `longest_open_m` (longest stretch of such edge without a trap in reach; right to about two
        pieces of the edge), `nearest_trap_m` (on foot, 0 inside, inf beyond the cut-off).

    Examples
    --------
    A lawn of 20 m x 20 m, a hedge along its south side, and a trap with a reach of 5 m in the
    middle of that side: half a disc of 400 m2, and 5 m of edge to the left and to the right.

    >>> from shapely.geometry import LineString, box
    >>> from spatial.refuge_edge import Surroundings, edge_of
    >>> lawn, hedge = box(0, 0, 20, 20), LineString([(-5, -1), (25, -1)])
    >>> trap = Standing(np.array([[10.0, 0.0]]), np.array([5.0]))
    >>> found = zone_reach([lawn], trap, [], edge_of([lawn], Surroundings([hedge], []), 0.5))
    >>> print(found.round(3).to_string(index=False))
     share_in_reach measured  edge_m  edge_in_reach_m  longest_open_m  nearest_trap_m
              0.098 straight    20.0             10.0             5.0             0.0
    """
    shapes = np.asarray(list(zones), dtype=object)
    solid = [shape for shape in obstacles if shape is not None and shape.area > 0]
    shares = [_share(shape, traps, solid) for shape in shapes]
    reached = _reached(edge.middle_m, traps, solid) & edge.faces
    open_ = edge.faces & ~reached
    size = len(shapes)
    return pd.DataFrame(
        {
            "share_in_reach": [share for share, _ in shares],
            "measured": [measured for _, measured in shares],
            "edge_m": _per_zone(edge, edge.faces, size),
            "edge_in_reach_m": _per_zone(edge, reached, size),
            "longest_open_m": _longest(edge, open_, size),
            "nearest_trap_m": [_nearest_m(shape, traps, solid, cutoff_m) for shape in shapes],
        }
    )


def close_pairs(
    places_m: FloatArray, obstacles: Sequence[BaseGeometry], near_m: float = SHARED_M
) -> pd.DataFrame:
    """Return the pairs of traps that are closer than `near_m` on foot: they share beetles.

    Returns
    -------
    pandas.DataFrame
        `first`, `second` (positions, ``first < second``), `distance_m`; sorted.

    Examples
    --------
    >>> print(close_pairs(np.array([[0.0, 0], [3, 0], [20, 0]]), []).to_string(index=False))
     first  second  distance_m
         0       1         3.0
    """
    points = _points(np.asarray(places_m, dtype=float).reshape(-1, 2))
    one, other = shapely.STRtree(points).query(points, predicate="dwithin", distance=near_m)
    taken = np.unique(one[one != other])
    ground = [shape for shape in obstacles if shape is not None and shape.area > 0]
    walk_m = walking_distances(shapely.get_coordinates(points[taken]), ground, near_m)
    first, second = np.nonzero(np.triu(walk_m < near_m, k=1))
    return pd.DataFrame(
        {
            "first": taken[first].astype(np.int64),
            "second": taken[second].astype(np.int64),
            "distance_m": walk_m[first, second],
        }
    )


def _share(zone: BaseGeometry, traps: Standing, solid: list[BaseGeometry]) -> tuple[float, str]:
    """Return the share of a zone within reach, and how it was measured."""
    near = _near(zone, traps)
    discs = shapely.buffer(_points(near.places_m), near.reach_m, quad_segs=QUADRANT_PIECES)
    in_the_way = bool(len(discs)) and _touch(discs, solid)
    if in_the_way:
        return _walked_share(zone, near, solid), "on_foot"
    open_ = shapely.difference(zone, shapely.union_all(_beside(zone, solid)))
    if not open_.area > 0:
        return math.nan, "straight"
    covered = shapely.intersection(open_, shapely.union_all(discs)).area
    return float(min(1.0, covered / open_.area)), "straight"


def _walked_share(zone: BaseGeometry, traps: Standing, solid: list[BaseGeometry]) -> float:
    box_m2 = shapely.area(shapely.envelope(zone))
    places = lattice(zone, math.sqrt(max(box_m2, 1e-6) / FEWEST_PLACES))
    blocked = shapely.union_all(_beside(zone, solid))
    places = places[~shapely.intersects_xy(blocked, *places.T)] if len(places) else places
    if not len(places):
        return math.nan
    return float(_reached(places, traps, solid).mean())


def _reached(places_m: FloatArray, traps: Standing, solid: list[BaseGeometry]) -> BoolArray:
    """Tell which places have a trap within its reach on foot."""
    reached = np.zeros(len(places_m), dtype=bool)
    for reach_m in np.unique(traps.reach_m):
        cups = _points(traps.places_m[traps.reach_m == reach_m])
        near, _ = shapely.STRtree(_points(places_m)).query(
            cups, predicate="dwithin", distance=reach_m
        )[::-1]
        open_ = np.unique(near)
        walk_m = refuge_distance_m(
            places_m[open_], list(cups), _in_reach(cups, reach_m, solid), reach_m
        )
        reached[open_] |= walk_m <= reach_m
    return reached


def _in_reach(cups: NameArray, reach_m: float, solid: list[BaseGeometry]) -> list[BaseGeometry]:
    """Return the obstacles that a walk within reach can meet: the others only cost time."""
    if not solid:
        return []
    tree = shapely.STRtree(solid)
    hit = np.unique(tree.query(cups, predicate="dwithin", distance=reach_m)[1])
    return [solid[number] for number in hit]


def _near(zone: BaseGeometry, traps: Standing) -> Standing:
    far_m = shapely.distance(_points(traps.places_m), zone)
    near = (far_m <= traps.reach_m) & (traps.reach_m > 0)
    return Standing(traps.places_m[near], traps.reach_m[near])


def _touch(shapes: NameArray, solid: list[BaseGeometry]) -> bool:
    return bool(solid) and bool(shapely.STRtree(solid).query(shapes, predicate="intersects").size)


def _beside(zone: BaseGeometry, solid: list[BaseGeometry]) -> list[BaseGeometry]:
    return [shape for shape in solid if shape.intersects(zone)]


def _points(places_m: FloatArray) -> NameArray:
    return np.asarray(shapely.points(places_m), dtype=object).reshape(-1)


def _per_zone(edge: Edge, chosen: BoolArray, zones: int) -> FloatArray:
    found = np.bincount(edge.zone[chosen], edge.length_m[chosen], minlength=zones)
    return found.astype(float)


def _longest(edge: Edge, open_: BoolArray, zones: int) -> FloatArray:
    """Return the longest run of open pieces along any ring of every zone."""
    longest = np.zeros(zones)
    for ring in np.unique(edge.ring[open_]):
        own = np.flatnonzero(edge.ring == ring)
        run_m = _longest_run(open_[own], edge.length_m[own])
        longest[edge.zone[own[0]]] = max(longest[edge.zone[own[0]]], run_m)
    return longest


def _longest_run(open_: BoolArray, length_m: FloatArray) -> float:
    """Return the longest run of a ring, which has no beginning: it is turned to one."""
    if open_.all():
        return float(length_m.sum())
    turn = int(np.argmin(open_))
    open_, length_m = np.roll(open_, -turn), np.roll(length_m, -turn)
    run: IntArray = np.cumsum(~open_)
    return float(np.bincount(run[open_], length_m[open_]).max())


def _nearest_m(
    zone: BaseGeometry, traps: Standing, solid: list[BaseGeometry], cutoff_m: float
) -> float:
    """Return the shortest walk from a zone to a trap."""
    if not len(traps.places_m):
        return math.inf
    points = _points(traps.places_m)
    far_m = shapely.distance(points, zone)
    nearest = int(np.argmin(far_m))
    line = shapely.shortest_line(points[nearest], zone)
    if far_m[nearest] == 0 or not _touch(np.array([line], dtype=object), solid):
        return float(far_m[nearest]) if far_m[nearest] <= cutoff_m else math.inf
    walk_m = refuge_distance_m(traps.places_m[far_m <= cutoff_m], [zone], solid, cutoff_m)
    known = walk_m[np.isfinite(walk_m)]
    return float(known.min()) if len(known) else math.inf
