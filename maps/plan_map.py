"""The map of a treatment plan: what is treated, what is left out, scale and north, as SVG."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from html import escape
from typing import TypeVar

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPoint
from shapely.geometry.base import BaseGeometry

from data.settings import Units
from maps.catalogue import Catalogue
from maps.labels import label_point
from spatial.arrays import FloatArray
from spatial.treatment import is_water
from spatial.treatment_plan import TreatmentPlan

WIDTH_MM, HEIGHT_MM = 184.0, 104.0
"""Room for the map on letter paper and A4."""

_MARGIN_MM = 5.0
_FOOT_MM = 7.0
_BAR_MM = 36.0
_SIMPLIFY_MM = 0.1
_LEAST_M = 60.0
"""A lone green is not drawn larger than a frame of this width."""

_NICE_FEET = (5, 10, 20, 50, 100, 200, 300, 500, 1000, 2000)
_NICE_METRES = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)

_Number = TypeVar("_Number", float, FloatArray)

Point = tuple[float, float]

Ring = list[Point]

_TREAT_HATCH_MM, _LEFT_HATCH_MM = 1.5, 0.9
"""Spacing of the hatches. They are drawn line by line: browsers print SVG patterns as coarse dots.
"""


HATCHES = {"m-treat": _TREAT_HATCH_MM, "m-left": -_LEFT_HATCH_MM}
"""Class of a hatched shape -> spacing of its lines."""


def plan_map_svg(plan: TreatmentPlan, lang: Catalogue) -> str:
    """Return the map of a plan as an SVG element, sized in mm.

    What is treated is hatched one way and numbered in the order of the plan; buffers and other
    ground of these zones that is left out are hatched the other way on white; proposed check zones
    have a broken outline and a letter.
    """
    site, zones = plan.site, plan.areas.zones
    by_id = site.zones.set_index("zone_id")
    checks = sorted({each.zone_id for each in plan.areas.check_zones if each.zone_id})
    shown = [*by_id.loc[zones["zone_id"]].geometry, *by_id.loc[checks].geometry]
    frame = Frame(shown)
    water = site.obstacles["kind"].map(is_water).to_numpy(dtype=bool)
    parts = [
        shapes_svg(site.zones.geometry, frame, "m-zone"),
        shapes_svg(site.obstacles.geometry[~water], frame, "m-obstacle"),
        shapes_svg(zones.geometry, frame, "m-treat"),
        hatched_svg(zones.geometry, frame, "m-treat-line", _TREAT_HATCH_MM),
        shapes_svg(plan.areas.untreated.geometry, frame, "m-left"),
        hatched_svg(plan.areas.untreated.geometry, frame, "m-left-line", -_LEFT_HATCH_MM),
        shapes_svg(site.obstacles.geometry[water], frame, "m-water"),
        shapes_svg(by_id.loc[zones["zone_id"]].geometry, frame, "m-edge"),
        shapes_svg(by_id.loc[checks].geometry, frame, "m-check"),
        *_labels(zones, by_id.loc[checks], frame, lang),
        foot_svg(frame, site.settings.units, lang.distance, lang.say("map.north")),
    ]
    size = f"0 0 {frame.width_mm:.1f} {frame.height_mm:.1f}"
    return (
        f'<svg class="plan-map" viewBox="{size}" role="img" '
        f'aria-label="{escape(lang.say("order_map.label"))}">{"".join(parts)}</svg>'
    )


def key_svg(name: str, spacing_mm: float | None = None) -> str:
    """Return a swatch for the legend, hatched where a spacing is given.

    Examples
    --------
    >>> key_svg("m-zone").count("<path")
    1
    """
    box = shapely.box(0.3, 0.3, 8.7, 5.7)
    hatch = "" if spacing_mm is None else hatch_svg(box, f"{name}-line", spacing_mm)
    return (
        '<svg class="swatch" viewBox="0 0 9 6" aria-hidden="true">'
        f'<path class="{name}" d="M.3 .3H8.7V5.7H.3Z"/>{hatch}</svg>'
    )


class Frame:
    """Metres on the ground to millimetres on paper.

    Parameters
    ----------
    shapes
        What the paper must show.
    room
        Room on the paper, mm; all of its width is taken.
    """

    def __init__(
        self, shapes: Sequence[BaseGeometry], room: tuple[float, float] = (WIDTH_MM, HEIGHT_MM)
    ) -> None:
        bounds = shapely.bounds(np.asarray(shapes, dtype=object))
        west, south = (float(bounds[:, k].min()) for k in (0, 1))
        east, north = (float(bounds[:, k].max()) for k in (2, 3))
        wide, high = max(east - west, _LEAST_M), max(north - south, _LEAST_M)
        inner = room[0] - 2 * _MARGIN_MM, room[1] - 2 * _MARGIN_MM - _FOOT_MM
        self.mm_per_m = min(inner[0] / wide, inner[1] / high)
        self.width_mm = room[0]
        self.height_mm = high * self.mm_per_m + 2 * _MARGIN_MM + _FOOT_MM
        # In the middle of the paper, whatever the shape of the site.
        self.west = (west + east) / 2 - self.width_mm / 2 / self.mm_per_m
        self.north = (south + north) / 2 + (self.height_mm - _FOOT_MM) / 2 / self.mm_per_m

    def place(self, x: _Number, y: _Number) -> tuple[_Number, _Number]:
        """Return where points of the site lie on the paper."""
        return (x - self.west) * self.mm_per_m, (self.north - y) * self.mm_per_m

    def ground(self) -> shapely.Polygon:
        """Return the part of the site that the paper shows, above its foot."""
        east = self.west + self.width_mm / self.mm_per_m
        south = self.north - (self.height_mm - _FOOT_MM) / self.mm_per_m
        return shapely.box(self.west, south, east, self.north)


def shapes_svg(shapes: Iterable[BaseGeometry], frame: Frame, name: str) -> str:
    """Return the polygons of shapes as SVG paths of one class."""
    paths = []
    for shape in shapes:
        outline = "".join(map(ring_path, rings_on_paper(shape, frame)))
        paths.append(f'<path class="{name}" d="{outline}"/>' if outline else "")
    return "".join(paths)


def rings_on_paper(shape: BaseGeometry, frame: Frame) -> list[Ring]:
    """Return the rings of a shape, holes included, in mm on the paper; each closes by itself."""
    window, fine = frame.ground(), _SIMPLIFY_MM / frame.mm_per_m
    inside = shapely.intersection(shapely.make_valid(shapely.simplify(shape, fine)), window)
    return [
        [frame.place(x, y) for x, y in shapely.get_coordinates(ring)[:-1]]
        for part in shapely.get_parts(inside)
        if isinstance(part, shapely.Polygon) and not part.is_empty
        for ring in (part.exterior, *part.interiors)
    ]


def hatched_svg(shapes: Iterable[BaseGeometry], frame: Frame, name: str, spacing: float) -> str:
    """Return slanting lines inside shapes, of one class."""
    window = frame.ground()
    on_paper = [
        shapely.transform(
            shapely.intersection(shape, window),
            lambda xy: np.column_stack(frame.place(xy[:, 0], xy[:, 1])),
        )
        for shape in shapes
    ]
    return "".join(hatch_svg(shape, name, spacing) for shape in on_paper if not shape.is_empty)


def hatch_svg(shape: BaseGeometry, name: str, spacing_mm: float) -> str:
    """Return slanting lines inside a shape on paper as one path; see `hatch_strokes`."""
    strokes = hatch_strokes(shape, spacing_mm)
    path = "".join(f"M{a[0]:.2f} {a[1]:.2f}L{b[0]:.2f} {b[1]:.2f}" for a, b in strokes)
    return f'<path class="{name}" d="{path}"/>' if path else ""


def hatch_strokes(shape: BaseGeometry, spacing_mm: float) -> list[tuple[Point, Point]]:
    """Return slanting lines inside a shape on paper; a negative spacing slants them the other way.

    Lines of neighbouring shapes meet: they count from the corner of the paper.

    Examples
    --------
    >>> len(hatch_strokes(shapely.box(0, 0, 10, 10), 2.0)) > 3
    True

    A shape smaller than the spacing may lie between two lines:

    >>> hatch_strokes(shapely.box(0.4, 0, 0.6, 0.1), 2.0)
    []
    """
    west, north, east, south = shape.bounds
    slant = 1.0 if spacing_mm > 0 else -1.0
    step = abs(spacing_mm) * math.sqrt(2)
    ends = sorted((north + slant * west, north + slant * east, south + slant * west))
    ends = [min(ends), max(*ends, south + slant * east)]
    places = np.arange(math.floor(ends[0] / step) * step, ends[1] + step, step)
    lines = [[(west, y - slant * west), (east, y - slant * east)] for y in places]
    inside = shapely.intersection(shapely.multilinestrings(shapely.linestrings(lines)), shape)
    found = [
        shapely.get_coordinates(part)
        for part in shapely.get_parts(inside)
        if part.geom_type == "LineString" and not part.is_empty
    ]
    return [((a[0], a[1]), (b[0], b[1])) for a, *_, b in found]


def ring_path(ring: Ring) -> str:
    """Return a ring as part of an SVG path.

    Examples
    --------
    >>> ring_path([(0, 0), (1, 0), (1, 2.5)])
    'M0.00 0.00L1.00 0.00L1.00 2.50Z'
    """
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in ring) + "Z"


def _labels(
    zones: gpd.GeoDataFrame, checks: gpd.GeoDataFrame, frame: Frame, lang: Catalogue
) -> list[str]:
    numbered = [
        (shape, lang.number(int(order)))
        for shape, order in zip(zones.geometry, zones["order"], strict=True)
        if not shape.is_empty
    ]
    letter = lang.say("order_map.letter_check")
    lettered = [(shape, letter) for shape in checks.geometry]
    return [_label(shape, text, frame) for shape, text in [*numbered, *lettered]]


def _label(shape: BaseGeometry, text: str, frame: Frame) -> str:
    largest = max(shapely.get_parts(shape), key=lambda part: part.area)
    spot = label_point(largest, MultiPoint())
    x, y = frame.place(spot.x, spot.y)
    return (
        f'<circle class="m-disc" cx="{x:.1f}" cy="{y:.1f}" r="2.3"/>'
        f'<text x="{x:.1f}" y="{y + 1.05:.2f}">{escape(text)}</text>'
    )


def foot_svg(
    frame: Frame, units: Units, distance: Callable[[float, Units], str], north: str
) -> str:
    """Return scale bar and north arrow."""
    (wide, length_m), y = scale_bar(frame, units), frame.height_mm - 2.2
    text = escape(distance(length_m, units))
    x = frame.width_mm - 7
    return (
        f'<path class="m-scale" d="M3 {y - 1.6:.1f}V{y:.1f}H{3 + wide:.1f}V{y - 1.6:.1f}"/>'
        f'<text class="m-note" x="{5 + wide:.1f}" y="{y:.1f}">{text}</text>'
        f'<path class="m-north" d="M{x:.1f} {y - 4.6:.1f}l1.6 4.8l-1.6 -1l-1.6 1Z"/>'
        f'<text x="{x + 3.6:.1f}" y="{y:.1f}">{escape(north)}</text>'
    )


def scale_bar(frame: Frame, units: Units) -> tuple[float, float]:
    """Return the length of the scale bar on the paper, mm, and on the ground, m."""
    steps = [feet * 0.3048 for feet in _NICE_FEET] if units == "us" else list(_NICE_METRES)
    length_m = max((m for m in steps if m * frame.mm_per_m <= _BAR_MM), default=steps[0])
    return length_m * frame.mm_per_m, length_m
