"""What traps are for, as points to cover: metres of refuge-facing edge and hectares of zones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy import sparse
from scipy.spatial import KDTree
from shapely.geometry.base import BaseGeometry

from spatial.arrays import FloatArray, IntArray, Links
from spatial.lattice import lattice
from spatial.refuge_edge import Edge
from spatial.trap_ground import Ground
from spatial.walking import in_sight, solid_parts

AREA_STEP_M = 6.0
"""Distance between the points that stand for a zone's area."""


@dataclass(frozen=True, slots=True)
class TrapPlaces:
    """Traps in use first, then candidates.

    Parameters
    ----------
    places_m
        Shape (n, 2).
    reach_m
        By design, shape (n,).
    zone
        Zone of every place, -1 for none, shape (n,).
    standing
        How many of them are traps in use.
    spacing_m
        Distance that a new trap keeps from every other trap.
    """

    places_m: FloatArray
    reach_m: FloatArray
    zone: IntArray
    standing: int
    spacing_m: float


@dataclass(frozen=True, slots=True)
class Worth:
    """What cover and traps of each zone are worth, all in one unit.

    Parameters
    ----------
    edge_per_m
        Of a metre of edge that faces a refuge, shape (zones,).
    area_per_ha
        Of a hectare, shape (zones,): how undecided the zone is, say.
    steps
        Of the zone's 1st, 2nd, ... trap by itself, shape (zones, t); see `spatial.trap_ground`.
    """

    edge_per_m: FloatArray
    area_per_ha: FloatArray
    steps: FloatArray


def trap_ground(
    zones: Sequence[BaseGeometry],
    edge: Edge,
    places: TrapPlaces,
    worth: Worth,
    obstacles: Sequence[BaseGeometry],
) -> Ground:
    """Return the ground on which `spatial.trap_choice.chosen` chooses.

    A place covers a point within its reach in a straight line that no obstacle stands in. Walks
    round a corner that are still within reach are left out: cover is understated behind obstacles,
    never overstated (`spatial.reach` counts such walks).

    Parameters
    ----------
    zones
        Polygons in metres.
    edge
        Of the same zones.
    places, worth
        Where traps stand or could, and what they are worth.
    obstacles
        Only polygons stand in the way.

    Examples
    --------
    A lawn with 20 m of edge to a hedge, and one place in the middle of it with a reach of 5 m:

    >>> from shapely.geometry import LineString, box
    >>> from spatial.refuge_edge import Surroundings, edge_of
    >>> lawn, hedge = box(0, 0, 20, 20), LineString([(-5, -1), (25, -1)])
    >>> edge = edge_of([lawn], Surroundings([hedge], []), 0.5)
    >>> place = np.array([[10.0, 0.0]])
    >>> places = TrapPlaces(place, np.array([5.0]), np.array([0]), standing=0, spacing_m=10.0)
    >>> worth = Worth(np.array([1.0]), np.array([0.0]), np.zeros((1, 0)))
    >>> ground = trap_ground([lawn], edge, places, worth, [])
    >>> (ground.covers @ ground.weight).tolist(), float(ground.weight.sum())
    ([10.0], 20.0)
    """
    points, weight, zone = _points(zones, edge, worth)
    pairs = _pairs(places.places_m, points, places.reach_m)
    solid = solid_parts(shapely.union_all([s for s in obstacles if s is not None]))
    seen = in_sight(places.places_m[pairs[0]], points[pairs[1]], solid)
    near = _pairs(places.places_m, places.places_m, np.full(len(places.zone), places.spacing_m))
    return Ground(
        covers=_table(pairs[0][seen], pairs[1][seen], (len(places.zone), len(points))),
        weight=weight,
        demand_zone=zone,
        place_zone=places.zone,
        steps=worth.steps,
        standing=places.standing,
        too_close=_table(*near, (len(places.zone), len(places.zone))),
    )


def _points(
    zones: Sequence[BaseGeometry], edge: Edge, worth: Worth
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return points that are worth anything, what, and their zones."""
    faces = edge.faces
    points = [edge.middle_m[faces]]
    weight = [edge.length_m[faces] * worth.edge_per_m[edge.zone[faces]]]
    zone = [edge.zone[faces]]
    for number, shape in enumerate(zones):
        if worth.area_per_ha[number] > 0:
            spread = _spread(shape)
            whole = worth.area_per_ha[number] * shape.area / 10_000
            points.append(spread)
            weight.append(np.full(len(spread), whole / max(1, len(spread))))
            zone.append(np.full(len(spread), number))
    every = np.concatenate(weight)
    counts = every > 0
    return np.vstack(points)[counts], every[counts], np.concatenate(zone)[counts].astype(np.int64)


def _spread(zone: BaseGeometry) -> FloatArray:
    """Return points spread over a zone; one in a zone that the lattice misses."""
    places = lattice(zone, AREA_STEP_M)
    middle = shapely.get_coordinates(shapely.point_on_surface(zone))
    return places if len(places) else middle


def _pairs(
    first: FloatArray, second: FloatArray, within_m: FloatArray
) -> tuple[IntArray, IntArray]:
    """Return the pairs whose second is within the first's distance."""
    if not len(first) or not len(second):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    found = KDTree(second).query_ball_point(first, within_m, return_sorted=True)
    counts = np.array([len(each) for each in found], dtype=np.int64)
    flat = np.array([other for each in found for other in each], dtype=np.int64)
    return np.repeat(np.arange(len(first)), counts), flat


def _table(row: IntArray, column: IntArray, shape: tuple[int, int]) -> Links:
    return sparse.csr_array((np.ones(len(row)), (row, column)), shape=shape)
