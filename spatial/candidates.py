"""Where a new trap could stand: along refuge-facing edges, in roughs, inside zones.

Every candidate keeps every one of the rules; none is moved to keep one. Zones that may carry no
trap, obstacles and play lines are kept clear of by distance, ground that nobody can walk to is left
out: it lies within a ring of obstacles (an island, a yard) that no trap of today is in either.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import KDTree
from shapely.geometry.base import BaseGeometry

from spatial.arrays import BoolArray, FloatArray, IntArray
from spatial.assign import assign_zones
from spatial.lattice import lattice
from spatial.refuge_edge import Surroundings, edge_of

KINDS = ("refuge_edge", "rough", "zone_interior")
"""What a candidate is, in order of preference where two would be too close."""

ROUGH_USES = ("rough", "surround")
"""Uses of zones whose inside is rough turf."""

PASSAGE_M = 0.6
"""A gap between obstacles that is narrower lets nobody through."""

AROUND_M = 50.0
"""The ground goes on this far beyond the outermost zone: one can walk round what reaches out."""

SLIP_M = 1e-6
"""Rules are kept with this much to spare, so that rounding breaks none."""


@dataclass(frozen=True, slots=True)
class PlaceRules:
    """Where a trap may stand. All numbers are assumptions (common practice, no source).

    Parameters
    ----------
    closed_uses
        Uses of zones that carry no trap.
    closed_m
        Distance to those zones.
    obstacle_m
        Distance to obstacles (water, buildings, bunkers, paths), lines included.
    play_line_m
        Distance to play lines and mower lines.
    outline_m
        Distance to the outline of every zone: at least the error of a position, or nobody can say
        which zone the trap is in.
    spacing_m
        Distance between candidates.
    trap_m
        Distance to traps in use.
    edge_step_m, inside_step_m
        Distance between candidates along edges, and inside zones; `spacing_m` goes before.
    """

    closed_uses: tuple[str, ...] = ("green", "tee", "bunker")
    closed_m: float = 1.0
    obstacle_m: float = 1.0
    play_line_m: float = 5.0
    outline_m: float = 1.0
    spacing_m: float = 2.5
    trap_m: float = 10.0
    edge_step_m: float = 5.0
    inside_step_m: float = 15.0


@dataclass(frozen=True, slots=True)
class Clearances:
    """What candidates keep away from, and where people come from.

    Parameters
    ----------
    traps_m
        Traps in use, shape (n, 2).
    around
        Refuges and obstacles.
    play_lines
        Lines or polygons; may be none.
    start_m
        Where the round starts, if known.
    """

    traps_m: FloatArray
    around: Surroundings
    play_lines: Sequence[BaseGeometry] = ()
    start_m: tuple[float, float] | None = None


def candidates(
    zones: gpd.GeoDataFrame, clear_of: Clearances, rules: PlaceRules
) -> gpd.GeoDataFrame:
    """Return places where a new trap could stand.

    Parameters
    ----------
    zones
        `zone_id`, `use`, polygons in metres. Where zones overlap, a place is in the smallest.
    clear_of, rules
        What to keep away from, and how far.

    Returns
    -------
    geopandas.GeoDataFrame
        `zone` (position in `zones`), `zone_id`, `kind` (one of `KINDS`), points; zone by zone, in
        a zone by kind. May be empty.

    Examples
    --------
    A rough of 40 m x 20 m with a hedge along its south side, and a trap in the south-west:

    >>> from shapely.geometry import LineString, box
    >>> zones = gpd.GeoDataFrame({"zone_id": ["R"], "use": ["rough"]}, geometry=[box(0, 0, 40, 20)])
    >>> hedge = LineString([(0, -3), (40, -3)])
    >>> clear_of = Clearances(np.array([[5.0, 1.0]]), Surroundings([hedge], []))
    >>> found = candidates(zones, clear_of, PlaceRules())
    >>> found["kind"].value_counts().to_dict()
    {'refuge_edge': 5, 'rough': 2}
    >>> [(round(p.x, 1), round(p.y, 1)) for p in found.geometry]
    [(18.0, 1.0), (22.9, 1.0), (27.8, 1.0), (32.7, 1.0), (37.5, 1.0), (12.5, 10.0), (27.5, 10.0)]
    """
    raw = list(_places(zones, clear_of, rules))
    points = np.array([place for place, _, _ in raw], dtype=float).reshape(-1, 2)
    zone = np.array([number for _, number, _ in raw], dtype=np.int64)
    kind = np.array([name for _, _, name in raw], dtype=object)
    allowed = _allowed(points, zones, clear_of, rules) & _own(points, zone, zones)
    kept = _apart(points, allowed, rules.spacing_m)
    return gpd.GeoDataFrame(
        {
            "zone": zone[kept],
            "zone_id": zones["zone_id"].to_numpy(dtype=object)[zone[kept]],
            "kind": kind[kept],
        },
        geometry=gpd.points_from_xy(*points[kept].T),
        crs=zones.crs,
    )


def reachable(points: FloatArray, frame: BaseGeometry, clear_of: Clearances) -> BoolArray:
    """Return which points can be walked to: from outside, from the start or from a trap of today.

    Ground is cut by polygons only, and a gap of under `PASSAGE_M` counts as closed.

    Parameters
    ----------
    points
        Shape (n, 2).
    frame
        All ground that matters; what reaches its rim plus `AROUND_M` is outside.
    clear_of
        Obstacles, traps, start.

    Examples
    --------
    An island in a pond, and the shore; then with a trap on the island already:

    >>> from shapely.geometry import Point
    >>> pond = Point(0, 0).buffer(30) - Point(0, 0).buffer(10)
    >>> places, frame = np.array([[0.0, 0], [40, 0]]), Point(0, 0).buffer(50)
    >>> clear_of = Clearances(np.empty((0, 2)), Surroundings([], [pond]))
    >>> reachable(places, frame, clear_of).tolist()
    [False, True]
    >>> clear_of = Clearances(np.array([[3.0, 3]]), Surroundings([], [pond]))
    >>> reachable(places, frame, clear_of).tolist()
    [True, True]
    """
    solid = [s for s in clear_of.around.obstacles if s is not None and s.area > 0]
    if not solid or not len(points):
        return np.ones(len(points), dtype=bool)
    rim = shapely.buffer(shapely.box(*frame.bounds), AROUND_M, join_style="mitre")
    walls = shapely.buffer(shapely.union_all(solid), PASSAGE_M / 2)
    parts = shapely.get_parts(shapely.difference(rim, walls))
    known = [*clear_of.traps_m, *([] if clear_of.start_m is None else [clear_of.start_m])]
    feet = shapely.union_all([shapely.Point(place).buffer(PASSAGE_M) for place in known])
    open_ = shapely.intersects(parts, rim.exterior) | shapely.intersects(parts, feet)
    ground = shapely.union_all(parts[open_])
    shapely.prepare(ground)
    return np.asarray(shapely.intersects_xy(ground, *points.T), dtype=bool)


def _places(
    zones: gpd.GeoDataFrame, clear_of: Clearances, rules: PlaceRules
) -> Iterator[tuple[FloatArray, int, str]]:
    """Yield places zone by zone, the preferred kinds first."""
    uses, shapes = zones["use"].to_numpy(dtype=object), zones.geometry.to_numpy()
    # Rounded corners are drawn a little too near to the outline; mitred ones are not.
    inner = shapely.buffer(shapes, -(rules.outline_m + 2 * SLIP_M), join_style="mitre")
    open_ = np.flatnonzero(~np.isin(uses, rules.closed_uses) & ~shapely.is_empty(inner))
    # All at once: what beetles go round is the same for every zone.
    edge = edge_of(list(inner[open_]), clear_of.around, rules.edge_step_m)
    for place, number in enumerate(open_.tolist()):
        own = edge.middle_m[edge.faces & (edge.zone == place)]
        yield from ((point, number, KINDS[0]) for point in own)
        kind = KINDS[1] if uses[number] in ROUGH_USES else KINDS[2]
        inside = _inside(inner[number], rules.inside_step_m)
        yield from ((point, number, kind) for point in inside)


def _inside(inner: BaseGeometry, step_m: float) -> FloatArray:
    """Return a lattice inside a shape, and one place in every part that the lattice misses."""
    places = lattice(inner, step_m)
    spread = shapely.multipoints(places)
    missed = [part for part in shapely.get_parts(inner) if not part.intersects(spread)]
    others = [shapely.point_on_surface(part) for part in missed if part.area > 0]
    return np.vstack([places, shapely.get_coordinates(others).reshape(-1, 2)])


def _allowed(
    points: FloatArray, zones: gpd.GeoDataFrame, clear_of: Clearances, rules: PlaceRules
) -> BoolArray:
    """Tell which places keep the rules about what is there already."""
    if not len(points):
        return np.zeros(0, dtype=bool)
    shapes = zones.geometry.to_numpy()
    closed = shapes[zones["use"].isin(rules.closed_uses).to_numpy()]
    traps = np.asarray(shapely.points(clear_of.traps_m), dtype=object).reshape(-1)
    keep_off: list[tuple[Iterable[BaseGeometry], float]] = [
        (closed, rules.closed_m),
        (np.asarray(shapely.boundary(shapes), dtype=object), rules.outline_m),
        (clear_of.around.obstacles, rules.obstacle_m),
        (clear_of.play_lines, rules.play_line_m),
        (traps, rules.trap_m),
    ]
    allowed = np.ones(len(points), dtype=bool)
    for things, far_m in keep_off:
        allowed &= _clear(points, things, far_m)
    return allowed & reachable(points, shapely.union_all(shapes), clear_of)


def _clear(points: FloatArray, things: Iterable[BaseGeometry], far_m: float) -> BoolArray:
    """Tell which places are at least so far from all things; never inside one."""
    drawn = [thing for thing in things if thing is not None and not thing.is_empty]
    clear = np.ones(len(points), dtype=bool)
    if drawn:
        tree = shapely.STRtree(drawn)
        places = np.asarray(shapely.points(points), dtype=object).reshape(-1)
        hit, _ = tree.query(places, predicate="dwithin", distance=far_m + SLIP_M)
        clear[hit] = False
    return clear


def _apart(points: FloatArray, allowed: BoolArray, spacing_m: float) -> BoolArray:
    """Keep the allowed places, one after the other, that are far enough from those kept before."""
    kept = allowed.copy()
    if not allowed.any():
        return kept
    near = KDTree(points).query_ball_point(points, spacing_m + SLIP_M)
    for place in np.flatnonzero(allowed):
        if kept[place]:
            close = np.asarray(near[place], dtype=np.int64)
            kept[close[close > place]] = False
    return kept


def _own(points: FloatArray, zone: IntArray, zones: gpd.GeoDataFrame) -> BoolArray:
    """Tell which places are in the zone they were made for: where zones overlap, the smallest."""
    if not len(points):
        return np.zeros(0, dtype=bool)
    traps = gpd.GeoDataFrame(
        {"location_id": np.arange(len(points))}, geometry=gpd.points_from_xy(*points.T)
    )
    found = assign_zones(traps, zones, near_m=0.0)["zone_id"]
    made_for = zones["zone_id"].to_numpy(dtype=object)[zone]
    return np.asarray(found.to_numpy(dtype=object) == made_for, dtype=bool)
