"""Where the traps stand: 72 traps, told by zone, design and the place they lean towards."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import shapely
from shapely import Point as ShapelyPoint
from shapely import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from data.demo.outlines import Point

EDGE_INSET_M = 3.0
PAIR_SPACING_M = 6.0
SLOT_M = 0.914
FIRST_DAY = date(2025, 2, 17)


@dataclass(frozen=True, slots=True)
class Stand:
    """One entry of the plan; design ``"pair"`` stands for a linear trap and a cup beside it.

    Parameters
    ----------
    zone_id, design
        Zone and trap design.
    towards
        A refuge (the trap stands on the zone's edge facing it) or a point in metres.
    patch
        Planted patch that the trap belongs to, or ``""``.
    """

    zone_id: str
    design: str
    towards: str | Point
    patch: str = ""


PLAN = (
    Stand("LAWN-1", "cup", "R-11"),
    Stand("H01-FW", "cup", (524, 360)),
    Stand("H01-RO", "pair", "R-01"),
    Stand("H01-SU", "cup", (572, 560), "busy-1"),
    Stand("H02-RO", "cup", (470, 880)),
    Stand("H02-FW", "cup", (500, 800)),
    Stand("H02-SU", "cup", "R-09"),
    Stand("H03-RO", "linear", "R-06"),
    Stand("H03-SU", "cup", "R-06"),
    Stand("H04-RO", "pair", "R-07"),
    Stand("H04-FW", "cup", "R-09"),
    Stand("H04-SU", "cup", "R-07"),
    Stand("H05-RO", "cup", (8, 230)),
    Stand("H05-RO", "cup", (152, 30), "busy-2"),
    Stand("H05-SU", "cup", (184, 24), "busy-2"),
    Stand("SOD-A", "cup", (142, -36), "busy-2"),
    Stand("SOD-A", "cup", (112, -44), "busy-2"),
    Stand("SOD-B", "pair", (170, -38), "busy-2"),
    Stand("H06-RO", "cup", (208, 20), "busy-2"),
    Stand("H06-FW", "cup", (222, 260)),
    Stand("H06-SU", "cup", "R-02"),
    Stand("H07-RO", "linear", "R-07"),
    Stand("H07-SU", "cup", "R-02"),
    Stand("H08-RO", "pair", "R-06"),
    Stand("H08-SU", "cup", (412, 770)),
    Stand("H09-RO", "linear", "R-02"),
    Stand("H09-FW", "cup", (388, 270)),
    Stand("H09-SU", "cup", "R-01"),
    Stand("LAWN-2", "cup", (520, 116)),
    Stand("H10-FW", "cup", (660, 380)),
    Stand("H10-FW", "cup", (654, 512), "busy-1"),
    Stand("H10-RO", "pair", (684, 535), "busy-1"),
    Stand("H10-SU", "cup", (668, 566), "busy-1"),
    Stand("H10-SU", "cup", (634, 588), "busy-1"),
    Stand("H11-RO", "cup", (646, 616), "busy-1"),
    Stand("H11-FW", "cup", "R-10"),
    Stand("H12-RO", "linear", "R-10"),
    Stand("H13-RO", "pair", (1172, 590), "quiet-1"),
    Stand("H13-FW", "cup", (1198, 548), "quiet-1"),
    Stand("H13-SU", "linear", "R-10"),
    Stand("H14-FW", "cup", (1170, 148)),
    Stand("H14-RO", "cup", "R-10"),
    Stand("H15-RO", "linear", "R-08"),
    Stand("H15-SU", "cup", "R-08"),
    Stand("H16-RO", "cup", (1124, 600), "quiet-1"),
    Stand("H16-RO", "linear", (1138, 520), "quiet-1"),
    Stand("H16-FW", "cup", (1098, 546), "quiet-1"),
    Stand("H16-SU", "cup", "R-05"),
    Stand("H17-TE", "cup", (926, 758)),
    Stand("H17-FW", "cup", "R-03"),
    Stand("H17-RO", "pair", "R-03"),
    Stand("H18-TE", "cup", "R-05"),
    Stand("H18-RO", "linear", "R-08"),
    Stand("H18-FW", "cup", (850, 204)),
    Stand("H18-SU", "cup", (738, 152)),
    Stand("LAWN-3", "cup", (590, 20)),
    Stand("SF-1", "pair", "R-10"),
    Stand("SF-2", "linear", "R-10"),
    Stand("LAWN-4", "cup", (598, -110)),
    Stand("SF-3", "cup", (1000, -110)),
    Stand("SOD-C", "linear", "R-09"),
    Stand("SOD-D", "cup", (104, -128)),
    Stand("SOD-E", "cup", (210, -126)),
    Stand("SOD-F", "cup", (306, -120)),
)

MOVED_ZONE, MOVED_TO, MOVED_ON = "H14-RO", Stand("H14-SU", "cup", "R-10"), date(2026, 4, 20)
LATE: Mapping[str, date] = {
    "H06-SU": date(2025, 4, 7),
    "H12-RO": date(2025, 4, 14),
    "SOD-D": date(2025, 4, 7),
    "H15-SU": date(2026, 3, 23),
    "LAWN-3": date(2026, 4, 6),
}
REMOVED: Mapping[str, date] = {"H18-SU": date(2025, 7, 14), "H02-SU": date(2026, 5, 4)}


@dataclass(frozen=True, slots=True)
class TrapPlace:
    """One trap location: what `traps.csv` says, and what only the truth knows."""

    location_id: str
    trap_id: str
    design: str
    zone_id: str
    patch: str
    easting_m: float
    northing_m: float
    axis_deg: int | None
    refuge_distance_m: float
    installed: date
    removed: date | None
    note: str = ""


Shapes = Mapping[str, BaseGeometry]


def trap_places(zones: Mapping[str, Polygon], refuges: Shapes, mark: Shapes) -> list[TrapPlace]:
    """Return the trap locations of the plan.

    Parameters
    ----------
    zones, refuges
        Shapes by id, metres.
    mark
        The points that the plan leans towards, by ``"x,y"``, in the same place as the zones.
    """
    places: list[TrapPlace] = []
    for stand in PLAN:
        for design, spot in _spots(stand, zones[stand.zone_id], refuges, mark):
            number = len(places) + 1
            places.append(_place(f"T{number:02d}", design, stand, spot, refuges))
    return _with_move(places, zones, refuges, mark)


def mark_key(towards: Point) -> str:
    """Return the key of a point of the plan.

    Examples
    --------
    >>> mark_key((558, 546))
    '558,546'
    """
    return f"{towards[0]},{towards[1]}"


def plan_marks() -> dict[str, ShapelyPoint]:
    """Return the points that the plan leans towards, by key, before the property is placed."""
    stands = (*PLAN, MOVED_TO)
    points = [s.towards for s in stands if not isinstance(s.towards, str)]
    return {mark_key(p): ShapelyPoint(p) for p in points}


def _spots(
    stand: Stand, zone: Polygon, refuges: Shapes, mark: Shapes
) -> list[tuple[str, ShapelyPoint]]:
    """Return (design, place) of each trap of one entry, inside the zone and off its edge."""
    inside = zone.buffer(-EDGE_INSET_M)
    towards = stand.towards
    goal = refuges[towards] if isinstance(towards, str) else mark[mark_key(towards)]
    first = nearest_points(inside, goal)[0]
    if stand.design != "pair":
        return [(stand.design, first)]
    turn = np.radians(_axis_deg(first, refuges))
    dx, dy = PAIR_SPACING_M * np.sin(turn), PAIR_SPACING_M * np.cos(turn)
    beside = [ShapelyPoint(first.x + s * dx, first.y + s * dy) for s in (1, -1)]
    return [("linear", first), ("cup", min(beside, key=inside.distance))]


def _place(
    trap_id: str, design: str, stand: Stand, spot: ShapelyPoint, refuges: Shapes
) -> TrapPlace:
    spot = ShapelyPoint(round(spot.x, 2), round(spot.y, 2))
    return TrapPlace(
        location_id=trap_id,
        trap_id=trap_id,
        design=design,
        zone_id=stand.zone_id,
        patch=stand.patch,
        easting_m=spot.x,
        northing_m=spot.y,
        axis_deg=_axis_deg(spot, refuges) if design == "linear" else None,
        refuge_distance_m=round(min(shape.distance(spot) for shape in refuges.values()), 1),
        installed=LATE.get(stand.zone_id, FIRST_DAY),
        removed=REMOVED.get(stand.zone_id),
    )


def _with_move(
    places: list[TrapPlace], zones: Mapping[str, Polygon], refuges: Shapes, mark: Shapes
) -> list[TrapPlace]:
    """Return the places with the moved trap as two locations, one after the other."""
    out: list[TrapPlace] = []
    for place in places:
        if place.zone_id != MOVED_ZONE:
            out.append(place)
            continue
        ((_, spot),) = _spots(MOVED_TO, zones[MOVED_TO.zone_id], refuges, mark)
        new = _place(place.trap_id, place.design, MOVED_TO, spot, refuges)
        out.append(_lived(place, "1", place.installed, MOVED_ON, "moved: cart traffic"))
        out.append(_lived(new, "2", MOVED_ON, None, f"moved from {MOVED_ZONE}"))
    return out


def _lived(
    place: TrapPlace, number: str, installed: date, removed: date | None, note: str
) -> TrapPlace:
    return TrapPlace(
        location_id=f"{place.trap_id}/{number}",
        trap_id=place.trap_id,
        design=place.design,
        zone_id=place.zone_id,
        patch=place.patch,
        easting_m=place.easting_m,
        northing_m=place.northing_m,
        axis_deg=place.axis_deg,
        refuge_distance_m=place.refuge_distance_m,
        installed=installed,
        removed=removed,
        note=note,
    )


def _axis_deg(spot: ShapelyPoint, refuges: Shapes) -> int:
    """Return the bearing (0 to 179 degrees) of the nearest stretch of refuge edge."""
    refuge = min(refuges.values(), key=spot.distance)
    line = shapely.get_exterior_ring(refuge) if isinstance(refuge, Polygon) else refuge
    corners = shapely.get_coordinates(line)
    starts, ends = corners[:-1], corners[1:]
    pieces = np.array(shapely.linestrings(np.stack([starts, ends], axis=1)))
    nearest = int(np.argmin(shapely.distance(pieces, spot)))
    east, north = ends[nearest] - starts[nearest]
    return round(float(np.degrees(np.arctan2(east, north)))) % 180
