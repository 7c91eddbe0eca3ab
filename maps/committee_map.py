"""The small map of the committee page: zones by what the traps say, for paper, screen and slides.

It is drawn once, in millimetres, as plain areas, lines, dots and letters; the page, the PDF and the
slides put the same picture down each in its own way. What tells zones apart is shade, the way of
the lines, and a letter, so that it reads in grey and for every kind of colour vision.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np
import shapely
from shapely.geometry import MultiPoint
from shapely.geometry.base import BaseGeometry

from maps.catalogue import Catalogue
from maps.class_labels import class_labels
from maps.committee import numbered_above
from maps.labels import label_point
from maps.palette import (
    INK,
    OBSTACLE,
    PAPER,
    SMALL_WATER,
    UNTOLD,
    UNTOLD_LINE,
    activity_ramp,
)
from maps.payload import zone_state
from maps.plan_map import (
    Frame,
    Point,
    Ring,
    hatch_strokes,
    ring_path,
    rings_on_paper,
    scale_bar,
)
from maps.zone_states import evidence_char
from spatial.results import Analysis
from spatial.treatment import is_water

ROOM_MM = (112.0, 96.0)
"""Most room for the map on letter paper and A4."""

_RAMP = activity_ramp(4)
_DISC_MM, _DOT_MM = 1.9, 0.5
FOOT_MM = 7.0


@dataclass(frozen=True, slots=True)
class Style:
    """How an area looks.

    Parameters
    ----------
    fill
        Colour.
    line
        Colour of its slanting lines; blank without.
    spacing_mm
        Between the lines; negative slants them the other way.
    crossed
        Whether there are lines both ways.
    edge_mm
        Width of the outline; a bold one tells water from a shade in grey.
    """

    fill: str
    line: str = ""
    spacing_mm: float = 1.2
    crossed: bool = False
    edge_mm: float = 0.18


STYLES = {
    "a": Style(_RAMP[3]),
    "h": Style(_RAMP[2], PAPER, 1.5),
    "w": Style(_RAMP[1], INK, -1.5),
    "b": Style(_RAMP[0]),
    "e": Style(UNTOLD, UNTOLD_LINE, -0.8),
    "x": Style(UNTOLD, UNTOLD_LINE, 1.1, crossed=True),
    "t": Style(UNTOLD, UNTOLD_LINE, 0.8),
    "l": Style(PAPER, UNTOLD_LINE, 2.6, crossed=True),
    "water": Style(SMALL_WATER, edge_mm=0.5),
    "obstacle": Style(OBSTACLE, PAPER, 0.9, crossed=True),
}
"""Character of a zone (see `maps.zone_states.EVIDENCE_CHARS`), or kind of ground -> its look."""

KEY = {
    "a": "above",
    "h": "undecided_over",
    "w": "undecided_under",
    "b": "below",
    "e": "no_count",
    "x": "not_comparable",
    "t": "no_traps",
    "l": "no_limit",
    "water": "water",
    "obstacle": "obstacle",
}
"""Kind -> its message in the legend, most urgent first."""


@dataclass(frozen=True, slots=True)
class Area:
    """One polygon on the paper.

    Parameters
    ----------
    kind
        Key of its style in the picture.
    name
        Of the zone, or what other ground is.
    rings
        Outline and holes, mm.
    strokes
        Its slanting lines, mm.
    """

    kind: str
    name: str
    rings: tuple[Ring, ...]
    strokes: tuple[tuple[Point, Point], ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """The map in millimetres, from its upper left corner.

    Parameters
    ----------
    width_mm, height_mm
        Size; the lowest `FOOT_MM` are for scale bar and north arrow.
    styles
        Kind -> how it looks.
    areas
        Zones and other ground, in the order in which they are drawn.
    dots
        Traps in use.
    letters
        What is written in a zone, and where.
    bar_mm, bar_text
        The scale bar.
    north
        Letter beside the north arrow.
    key
        Kind and text of every line of the legend.
    dot_text
        What a dot is.
    """

    width_mm: float
    height_mm: float
    styles: dict[str, Style]
    areas: tuple[Area, ...]
    dots: tuple[Point, ...]
    letters: tuple[tuple[Point, str], ...]
    bar_mm: float
    bar_text: str
    north: str
    key: tuple[tuple[str, str], ...]
    dot_text: str


def committee_picture(analysis: Analysis, lang: Catalogue) -> Picture:
    """Return the map of an analysis; not judged, zones are shaded by their catch rate."""
    zones = analysis.zones
    frame = Frame(list(zones.geometry), ROOM_MM)
    kinds = _kinds(analysis)
    styles = STYLES | _rate_styles(analysis)
    named = list(zip(kinds, zones["name"].astype(str), zones.geometry, strict=True))
    units = analysis.site.settings.units
    bar_mm, bar_m = scale_bar(frame, units)
    areas = [_area(*each, frame, styles) for each in [*named, *_ground(analysis, lang)]]
    shown = {each.kind for each in areas if each.rings}
    return Picture(
        width_mm=frame.width_mm,
        height_mm=frame.height_mm,
        styles=styles,
        areas=tuple(each for each in areas if each.rings),
        dots=tuple(_dots(analysis, frame)),
        letters=tuple(_letters(analysis, frame, lang)),
        bar_mm=bar_mm,
        bar_text=lang.distance(bar_m, units),
        north=lang.say("map.north"),
        key=tuple((kind, text) for kind, text in _key(analysis, lang) if kind in shown),
        dot_text=lang.say("map.trap"),
    )


def _ground(analysis: Analysis, lang: Catalogue) -> list[tuple[str, str, BaseGeometry]]:
    obstacles = analysis.site.obstacles
    kinds = ["water" if is_water(str(kind)) else "obstacle" for kind in obstacles["kind"]]
    names = [lang.say(f"map.{kind}") for kind in kinds]
    return list(zip(kinds, names, obstacles.geometry, strict=True))


def _kinds(analysis: Analysis) -> list[str]:
    if analysis.judged:
        return [evidence_char(each) for each in analysis.decisions]
    breaks, zones = analysis.site.settings.class_breaks, analysis.zones
    columns = (zones["rate"], zones["nights"], zones["counted_traps"] + zones["traps"])
    return [
        zone_state(float(rate), float(nights), bool(traps), breaks)
        for rate, nights, traps in zip(*columns, strict=True)
    ]


def _rate_styles(analysis: Analysis) -> dict[str, Style]:
    ramp = activity_ramp(len(analysis.site.settings.class_breaks) + 1)
    return {str(number): Style(colour) for number, colour in enumerate(ramp)}


def _key(analysis: Analysis, lang: Catalogue) -> list[tuple[str, str]]:
    labels = class_labels(analysis.site.settings.class_breaks, lang)
    rates = [(str(n), lang.say("map.rate", catch=text)) for n, text in enumerate(labels)]
    letters = {
        "a": lang.say("map.letter_above"),
        **dict.fromkeys("hw", lang.say("map.letter_undecided")),
    }
    own = [
        (kind, lang.say(f"map.{code}", letter=letters.get(kind, ""))) for kind, code in KEY.items()
    ]
    return [*rates[::-1], *own]


def _area(
    kind: str, name: str, shape: BaseGeometry, frame: Frame, styles: dict[str, Style]
) -> Area:
    rings = rings_on_paper(shape, frame)
    style = styles[kind]
    on_paper = shapely.transform(
        shapely.intersection(shape, frame.ground()),
        lambda xy: np.column_stack(frame.place(xy[:, 0], xy[:, 1])),
    )
    strokes: list[tuple[Point, Point]] = []
    if style.line and not on_paper.is_empty:
        strokes = hatch_strokes(on_paper, style.spacing_mm)
        strokes += hatch_strokes(on_paper, -style.spacing_mm) if style.crossed else []
    return Area(kind, name, tuple(rings), tuple(strokes))


def _dots(analysis: Analysis, frame: Frame) -> list[Point]:
    traps = analysis.traps[analysis.traps["in_use"]]
    places = shapely.get_coordinates(traps.geometry.to_numpy())
    spots = [frame.place(float(x), float(y)) for x, y in places]
    return [spot for spot in spots if _inside(spot, frame)]


def _inside(spot: Point, frame: Frame) -> bool:
    """Tell whether a trap lies on the paper: one far from every zone may not."""
    return 0 <= spot[0] <= frame.width_mm and 0 <= spot[1] <= frame.height_mm - FOOT_MM


def _letters(analysis: Analysis, frame: Frame, lang: Catalogue) -> list[tuple[Point, str]]:
    if not analysis.judged:
        return []
    above, undecided = lang.say("map.letter_above"), lang.say("map.letter_undecided")
    numbers = {each.zone_id: n for n, each in enumerate(numbered_above(analysis), 1)}
    found = []
    for decision, shape in zip(analysis.decisions, analysis.zones.geometry, strict=True):
        text = {
            "a": f"{above}{numbers.get(decision.zone_id, '')}",
            **dict.fromkeys("hw", undecided),
        }.get(evidence_char(decision))
        if text is not None:
            largest = max(shapely.get_parts(shape), key=lambda part: part.area)
            spot = label_point(largest, MultiPoint())
            found.append((frame.place(spot.x, spot.y), text))
    return found


def picture_svg(picture: Picture, label: str) -> str:
    """Return the picture as an SVG element that scales to the room it has.

    Parameters
    ----------
    picture
        The map.
    label
        For readers who do not see it.
    """
    parts = [_area_svg(area, picture.styles[area.kind]) for area in picture.areas]
    parts += [
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{_DOT_MM}" fill="{INK}" stroke="{PAPER}" '
        'stroke-width=".15"/>'
        for x, y in picture.dots
    ]
    parts += [_letter_svg(spot, text) for spot, text in picture.letters]
    size = f"0 0 {picture.width_mm:.1f} {picture.height_mm:.1f}"
    return (
        f'<svg class="map" viewBox="{size}" role="img" aria-label="{escape(label)}">'
        f"{''.join(parts)}{_foot_svg(picture)}</svg>"
    )


def swatch_svg(style: Style) -> str:
    """Return a swatch of the legend as an SVG element.

    Examples
    --------
    >>> swatch_svg(STYLES["a"]).count("<path"), swatch_svg(STYLES["t"]).count("<path")
    (1, 2)
    """
    box: Ring = [(0.2, 0.2), (6.8, 0.2), (6.8, 3.8), (0.2, 3.8)]
    area = Area("", "", (box,), tuple(swatch_strokes(style, box)))
    return (
        f'<svg class="swatch" viewBox="0 0 7 4" aria-hidden="true">{_area_svg(area, style)}</svg>'
    )


def swatch_strokes(style: Style, box: Ring) -> list[tuple[Point, Point]]:
    """Return the slanting lines of a style inside a box."""
    if not style.line:
        return []
    shape = shapely.Polygon(box)
    both = hatch_strokes(shape, -style.spacing_mm) if style.crossed else []
    return [*hatch_strokes(shape, style.spacing_mm), *both]


def _area_svg(area: Area, style: Style) -> str:
    outline = "".join(map(ring_path, area.rings))
    edge = f'stroke="{INK}" stroke-width="{style.edge_mm:g}"'
    text = f'<path d="{outline}" fill="{style.fill}" fill-rule="evenodd" {edge}/>'
    if not area.strokes:
        return text
    lines = "".join(f"M{a[0]:.2f} {a[1]:.2f}L{b[0]:.2f} {b[1]:.2f}" for a, b in area.strokes)
    return f'{text}<path d="{lines}" fill="none" stroke="{style.line}" stroke-width=".25"/>'


def _letter_svg(spot: Point, text: str) -> str:
    x, y = spot
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{_DISC_MM}" fill="{PAPER}" stroke="{INK}" '
        f'stroke-width=".2"/><text x="{x:.2f}" y="{y + 0.75:.2f}" font-size="2.1" '
        f'font-weight="700" text-anchor="middle" fill="{INK}">{escape(text)}</text>'
    )


def _foot_svg(picture: Picture) -> str:
    y, x = picture.height_mm - 2.2, picture.width_mm - 7
    wide = 3 + picture.bar_mm
    return (
        f'<path d="M3 {y - 1.6:.1f}V{y:.1f}H{wide:.1f}V{y - 1.6:.1f}" fill="none" '
        f'stroke="{INK}" stroke-width=".3"/>'
        f'<text x="{wide + 2:.1f}" y="{y:.1f}" font-size="3" fill="{INK}">'
        f"{escape(picture.bar_text)}</text>"
        f'<path d="M{x:.1f} {y - 4.6:.1f}l1.6 4.8l-1.6 -1l-1.6 1Z" fill="{INK}"/>'
        f'<text x="{x + 2.6:.1f}" y="{y:.1f}" font-size="3" fill="{INK}">'
        f"{escape(picture.north)}</text>"
    )
