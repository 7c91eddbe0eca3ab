"""A first ranked list of places for new traps: the emptiest zones, at the edge facing a refuge."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from data.settings import NetworkSettings
from data.site import Site
from spatial.arrays import BoolArray, FloatArray, NameArray
from spatial.results import GAP_REASONS

STEP_M = 5.0
"""Distance between candidate places along an edge."""

INSET_M = 1.0
"""Candidates stand this far inside the zone, so that a trap there belongs to it."""


COLUMNS = (
    "rank",
    "zone_id",
    "reason",
    "place",
    "refuge_id",
    "refuge_distance_m",
    "nearest_trap_m",
)


@dataclass(frozen=True, slots=True)
class _Ground:
    """What a new trap must keep away from, and what it should be near."""

    forbidden: shapely.STRtree
    refuges: gpd.GeoDataFrame
    rules: NetworkSettings


@dataclass(frozen=True, slots=True)
class _Place:
    """One suggested place; the fields are the columns of `Analysis.suggestions`."""

    place: str
    refuge_id: str | None
    refuge_distance_m: float
    nearest_trap_m: float
    geometry: shapely.Point


def suggest_traps(zones: gpd.GeoDataFrame, traps: gpd.GeoDataFrame, site: Site) -> gpd.GeoDataFrame:
    """Return places for new traps, best first, at most one per zone.

    Zones are taken by how badly they lack traps (`GAP_REASONS` in order), then by the distance of
    their edge from a refuge, then by area. In each, the candidate nearest to a refuge is taken
    that is at least `min_spacing_m` from every trap in use and every earlier suggestion, and lies
    on no obstacle and in no zone whose use forbids traps. Without a refuge in reach, the place in
    the zone farthest from any trap is taken.

    Parameters
    ----------
    zones
        Zone table with `gap`, `use`, `area_ha`.
    traps
        Trap table with `in_use`.
    site
        For refuges, obstacles and the rules in its settings.

    Returns
    -------
    geopandas.GeoDataFrame
        See `spatial.results.Analysis.suggestions`; may be empty.
    """
    rules = site.settings.network
    ground = _Ground(_forbidden(zones, site.obstacles, rules), site.refuges, rules)
    taken = list(traps.geometry.to_numpy()[traps["in_use"].to_numpy(dtype=bool)])
    rows: list[dict[str, object]] = []
    for zone_id, gap, shape in _emptiest(zones, ground):
        if len(rows) >= rules.suggestions:
            break
        found = _best_place(shape, taken, ground)
        if found is not None:
            taken.append(found.geometry)
            rows.append({"rank": len(rows) + 1, "zone_id": zone_id, "reason": gap} | asdict(found))
    if not rows:
        return gpd.GeoDataFrame({name: [] for name in COLUMNS}, geometry=[], crs=zones.crs)
    return gpd.GeoDataFrame(rows, columns=[*COLUMNS, "geometry"], crs=zones.crs)


def _forbidden(
    zones: gpd.GeoDataFrame, obstacles: gpd.GeoDataFrame, rules: NetworkSettings
) -> shapely.STRtree:
    closed = zones.geometry.to_numpy()[zones["use"].isin(rules.no_trap_uses).to_numpy()]
    return shapely.STRtree([*closed, *obstacles.geometry.to_numpy()])


def _emptiest(zones: gpd.GeoDataFrame, ground: _Ground) -> Iterator[tuple[str, str, BaseGeometry]]:
    """Yield id, gap and shape of the zones that lack traps and may have one, the worst first."""
    open_ = zones[(zones["gap"] != "") & ~zones["use"].isin(ground.rules.no_trap_uses)]
    refuge_m = _nearest(open_.geometry.to_numpy(), ground.refuges.geometry.to_numpy())
    severity = open_["gap"].map({reason: place for place, reason in enumerate(GAP_REASONS)})
    ordered = open_.assign(severity=severity, refuge_m=refuge_m, size=-open_["area_ha"])
    ordered = ordered.sort_values(["severity", "refuge_m", "size", "zone_id"], kind="stable")
    yield from zip(ordered["zone_id"], ordered["gap"], ordered.geometry, strict=True)


def _best_place(
    zone: BaseGeometry, taken: Sequence[BaseGeometry], ground: _Ground
) -> _Place | None:
    points = _candidates(zone)
    points = points[_allowed(points, ground)]
    trap_m = _nearest(points, np.asarray(taken, dtype=object))
    far_enough = trap_m >= ground.rules.min_spacing_m
    points, trap_m = points[far_enough], trap_m[far_enough]
    if not len(points):
        return None
    refuges = ground.refuges.geometry.to_numpy()
    refuge_m = _nearest(points, refuges)
    faces_refuge = bool((refuge_m <= ground.rules.refuge_reach_m).any())
    chosen = int(np.argmin(refuge_m)) if faces_refuge else int(np.argmax(trap_m))
    point = points[chosen]
    refuge = int(np.argmin(shapely.distance(point, refuges))) if faces_refuge else None
    return _Place(
        place=_where(point, zone, faces_refuge=faces_refuge),
        refuge_id=None if refuge is None else str(ground.refuges["refuge_id"].iloc[refuge]),
        refuge_distance_m=float(refuge_m[chosen]),
        nearest_trap_m=float(trap_m[chosen]),
        geometry=point,
    )


def _candidates(zone: BaseGeometry) -> NameArray:
    """Return places along the inside of the zone's edge, and one in its interior."""
    inner = shapely.buffer(zone, -INSET_M)
    places: list[BaseGeometry] = [shapely.point_on_surface(zone)]
    if not inner.is_empty:
        edge = shapely.segmentize(inner.boundary, STEP_M)
        corners = np.unique(shapely.get_coordinates(edge), axis=0)
        places.extend(shapely.Point(corner) for corner in corners)
    return np.asarray(places, dtype=object)


def _allowed(points: NameArray, ground: _Ground) -> BoolArray:
    allowed = np.ones(len(points), dtype=bool)
    blocked, _ = ground.forbidden.query(points, predicate="dwithin", distance=INSET_M / 2)
    allowed[blocked] = False
    return allowed


def _where(point: BaseGeometry, zone: BaseGeometry, *, faces_refuge: bool) -> str:
    if shapely.distance(point, zone.boundary) > 2 * INSET_M:
        return "zone_interior"
    return "refuge_edge" if faces_refuge else "zone_edge"


def _nearest(places: NameArray, others: NameArray) -> FloatArray:
    """Return the distance from every place to the nearest of the others; inf if there is none."""
    if not len(others) or not len(places):
        return np.full(len(places), np.inf)
    _, distance_m = shapely.STRtree(others).query_nearest(
        places, return_distance=True, all_matches=False
    )
    return np.asarray(distance_m, dtype=float)
