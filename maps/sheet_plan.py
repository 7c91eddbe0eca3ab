"""The small plan of a round: zones, obstacles, the order of the traps, scale and north."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

import shapely

from data.settings import Units
from maps.catalogue import Catalogue
from spatial.round_plan import RoundPlan

WIDTH_MM, HEIGHT_MM = 186.0, 112.0
"""Room for the plan on letter paper and A4."""

_MARGIN_MM = 6.0
_FOOT_MM = 6.0
"""Strip at the foot of the plan for its scale bar and north arrow; no dot or number is there."""

_BAR_MM = 32.0
"""Most room for the scale bar."""

SCREEN_PX = 1000
"""Width of the plan on a phone, where it is moved about in a frame; `sheet.css` says so too."""

_KEY_PX = (330, 34)
"""Size of the scale bar and north arrow that stay in sight below that frame."""

_KEY_BAR_PX = 200.0

_LABEL_MM = (3.6, 2.6)
"""Width and height kept free for a number of two digits."""

_SIMPLIFY_MM = 0.15
_NICE_FEET = (5, 10, 20, 50, 100, 200, 300, 500, 1000, 2000)
_NICE_METRES = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)

Point = tuple[float, float]


def plan_svg(plan: RoundPlan, lang: Catalogue) -> str:
    """Return the plan as an SVG element; the lines show the order, not the path.

    Parameters
    ----------
    plan
        The round.
    lang
        Language.

    Returns
    -------
    str
        Sized in mm; each trap is a ``g.stop`` with ``data-stop``, its place in the order from 0.
        Scale bar and north arrow are in its foot, ``g.p-key``, which only paper shows.
    """
    frame = _Frame(plan)
    spots = [frame.place(x, y) for x, y in shapely.get_coordinates(plan.stops.geometry)]
    start = frame.place(*plan.start_m)
    walked = [spot for spot, ok in zip(spots, plan.stops["reachable"], strict=True) if ok]
    parts = [
        _shapes(plan.site.zones.geometry, frame, "p-zone"),
        _shapes(plan.site.obstacles.geometry, frame, "p-obstacle"),
        f'<path class="p-walk" d="{_line([start, *walked])}Z"/>',
        f'<circle class="p-start" cx="{start[0]:.1f}" cy="{start[1]:.1f}" r="2.2"/>',
        *_stops(spots, (frame.width_mm, frame.height_mm - _FOOT_MM)),
        f'<g class="p-key">{_scale_bar(frame, plan.site.settings.units, lang)}',
        f"{_north(frame, lang)}</g>",
    ]
    size = f"0 0 {frame.width_mm:.1f} {frame.height_mm:.1f}"
    label = escape(lang.say("sheet_plan.label"))
    return f'<svg class="plan" viewBox="{size}" role="img" aria-label="{label}">' + (
        "".join(parts) + "</svg>"
    )


def key_svg(plan: RoundPlan, lang: Catalogue) -> str:
    """Return scale bar and north arrow for a phone, where the plan is larger than the screen."""
    frame = _Frame(plan)
    px_per_m = frame.mm_per_m * SCREEN_PX / frame.width_mm
    units = plan.site.settings.units
    length_m = _bar_length_m(px_per_m, _KEY_BAR_PX, units)
    wide, (width, height) = length_m * px_per_m, _KEY_PX
    return (
        f'<svg class="plan-key" width="{width}" height="{height}" role="img" '
        f'aria-label="{escape(lang.say("sheet_plan.key"))}">'
        f'<path class="p-scale" d="M2 18V26H{2 + wide:.1f}V18"/>'
        f'<text x="{10 + wide:.1f}" y="27">{escape(lang.distance(length_m, units))}</text>'
        f'<path class="p-north" d="M{width - 28} 4l7 22l-7 -5l-7 5Z"/>'
        f'<text x="{width - 16}" y="27">{escape(lang.say("map.north"))}</text></svg>'
    )


class _Frame:
    """Metres on the ground to millimetres on paper."""

    def __init__(self, plan: RoundPlan) -> None:
        points = [*shapely.get_coordinates(plan.stops.geometry).tolist(), list(plan.start_m)]
        x, y = zip(*points, strict=True)
        wide, high = max(max(x) - min(x), 20.0), max(max(y) - min(y), 20.0)
        room = WIDTH_MM - 2 * _MARGIN_MM, HEIGHT_MM - 2 * _MARGIN_MM - _FOOT_MM
        self.mm_per_m = min(room[0] / wide, room[1] / high)
        self.west, self.north = min(x), max(y)
        self.width_mm = max(wide * self.mm_per_m + 2 * _MARGIN_MM, 60.0)
        self.height_mm = high * self.mm_per_m + 2 * _MARGIN_MM + _FOOT_MM

    def place(self, x: float, y: float) -> Point:
        """Return where a point of the site lies on the paper."""
        return (
            (x - self.west) * self.mm_per_m + _MARGIN_MM,
            (self.north - y) * self.mm_per_m + _MARGIN_MM,
        )

    def ground(self) -> shapely.Polygon:
        """Return the part of the site that the paper shows."""
        west = self.west - _MARGIN_MM / self.mm_per_m
        north = self.north + _MARGIN_MM / self.mm_per_m
        east, south = west + self.width_mm / self.mm_per_m, north - self.height_mm / self.mm_per_m
        return shapely.Polygon([(west, south), (east, south), (east, north), (west, north)])


def _shapes(shapes: Iterable[shapely.Geometry], frame: _Frame, name: str) -> str:
    window, fine = frame.ground(), _SIMPLIFY_MM / frame.mm_per_m
    paths = []
    for shape in shapes:
        inside = shapely.intersection(shapely.simplify(shape, fine), window)
        parts = [part for part in shapely.get_parts(inside) if not part.is_empty]
        polygons = [part for part in parts if isinstance(part, shapely.Polygon)]
        rings = [ring for polygon in polygons for ring in (polygon.exterior, *polygon.interiors)]
        outline = "".join(
            _line([frame.place(x, y) for x, y in shapely.get_coordinates(ring)[:-1]]) + "Z"
            for ring in rings
        )
        paths.append(f'<path class="{name}" d="{outline}"/>' if outline else "")
    return "".join(paths)


def _line(points: Sequence[Point]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _stops(spots: Sequence[Point], room_mm: Point) -> list[str]:
    taken = list(spots)
    parts = []
    for number, (x, y) in enumerate(spots, start=1):
        label = _free_place((x, y), taken, room_mm)
        taken.append(label)
        parts.append(
            f'<g class="stop" data-stop="{number - 1}">'
            f'<path class="p-lead" d="{_line([(x, y), label])}"/>'
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r=".9"/>'
            f'<text x="{label[0]:.1f}" y="{label[1] + 0.9:.1f}">{number}</text></g>'
        )
    return parts


def _free_place(spot: Point, taken: Sequence[Point], room_mm: Point) -> Point:
    """Return a place near a dot for its number, away from dots and numbers already there."""
    turns = [math.radians(angle) for angle in (0, 180, -90, 90, -45, 45, -135, 135)]
    places = [
        (spot[0] + reach * math.cos(turn), spot[1] + reach * 0.85 * math.sin(turn))
        for reach in (2.9, 5.2, 7.5)
        for turn in turns
    ]
    inside = [
        (x, y) for x, y in places if 2 <= x <= room_mm[0] - 2 and 1.5 <= y <= room_mm[1] - 1.5
    ]
    return min(inside, key=lambda place: sum(_overlap(place, other) for other in taken))


def _overlap(one: Point, other: Point) -> float:
    across = max(0.0, _LABEL_MM[0] - abs(one[0] - other[0]))
    down = max(0.0, _LABEL_MM[1] - abs(one[1] - other[1]))
    return round(across * down, 3)


def _scale_bar(frame: _Frame, units: Units, lang: Catalogue) -> str:
    length_m = _bar_length_m(frame.mm_per_m, _BAR_MM, units)
    wide, y = length_m * frame.mm_per_m, frame.height_mm - 1.6
    text = escape(lang.distance(length_m, units))
    return (
        f'<path class="p-scale" d="M2 {y - 1.4:.1f}V{y:.1f}H{2 + wide:.1f}V{y - 1.4:.1f}"/>'
        f'<text class="p-note" x="{3.4 + wide:.1f}" y="{y:.1f}">{text}</text>'
    )


def _bar_length_m(per_m: float, room: float, units: Units) -> float:
    """Return the longest round length that fits into some room; the shortest if none does."""
    steps = [feet * 0.3048 for feet in _NICE_FEET] if units == "us" else list(_NICE_METRES)
    return max((step for step in steps if step * per_m <= room), default=steps[0])


def _north(frame: _Frame, lang: Catalogue) -> str:
    x, y = frame.width_mm - 6, frame.height_mm - _FOOT_MM + 0.4
    letter = escape(lang.say("map.north"))
    return (
        f'<path class="p-north" d="M{x:.1f} {y:.1f}l1.6 4.8l-1.6 -1l-1.6 1Z"/>'
        f'<text class="p-north-n" x="{x + 3.6:.1f}" y="{y + 4.6:.1f}">{letter}</text>'
    )
