"""Plain drawings of a cup trap and a linear trap: the pipe from above, and cuts through the soil.

All are to scale, in their own scale; numbers in discs are explained below them.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from data.settings import Units
from maps.catalogue import Catalogue
from maps.parts_words import length_text
from spatial.trap_parts import CupSizes, LinearSizes

WIDTH_MM = 180.0
_MARGIN_MM = 6.0
_CUP_WIDTH_MM = 84.0
_ROW_MM = 4.2
"""From one row of sizes to the next."""

Point = tuple[float, float]

KEYS = {
    "pipe": ("slot", "bridge", "cap", "elbow"),
    "section": ("soil", "pipe", "cap", "box", "elbow", "cup"),
    "cup": ("soil", "sleeve", "cup", "staple", "lid"),
}
"""Drawing -> keys of what its numbers mean, from 1 on."""


def pipe_svg(sizes: LinearSizes, units: Units, lang: Catalogue) -> str:
    """Return the pipe from above, its slots and where to mark them from the capped end."""
    mm = (WIDTH_MM - 2 * _MARGIN_MM - 8) / sizes.length_m
    left, top = _MARGIN_MM + 4, 14.0
    high = max(sizes.outside_m * mm, 5.0)
    middle = top + high / 2
    wide = max(sizes.slot_width_m * mm, 0.8)
    slots = "".join(
        _box("d-slot", left + slot.start_m * mm, middle - wide / 2, sizes.slot_length_m * mm, wide)
        for slot in sizes.slots
    )
    starts = [(slot.start_m, left + slot.start_m * mm) for slot in sizes.slots]
    ends = [(slot.end_m, left + slot.end_m * mm) for slot in sizes.slots]
    right = left + sizes.length_m * mm
    parts = [
        _box("d-pipe", left, top, right - left, high),
        _box("d-cap", left - 1.5, top - 0.7, 3.0, high + 1.4),
        _box("d-cap", right - 1.5, top - 0.7, 5.0, high + 1.4),
        slots,
        _ticks(_told([(0.0, left), *starts], units, lang), top - 1.5, -1),
        _ticks(_told([*ends, (sizes.length_m, right)], units, lang), top + high + 1.5, 1),
        _disc(left + (sizes.slots[0].start_m + sizes.slots[0].end_m) / 2 * mm, middle, 1),
        _disc(_bridge_mm(sizes, mm) + left, middle, 2) if len(sizes.slots) > 1 else "",
        _disc(left - 4.2, middle, 3),
        _disc(right + 6.2, middle, 4),
    ]
    return _svg(WIDTH_MM, top + high + 13, lang.say("parts_drawings.pipe"), parts)


def section_svg(sizes: LinearSizes, lang: Catalogue) -> str:
    """Return a cut along a linear trap on level ground."""
    box_long, _, box_deep = sizes.box_m
    deepest = max(box_deep + sizes.depth_m, sizes.outside_m + sizes.drop_m)
    mm = min((WIDTH_MM - 2 * _MARGIN_MM - 10) / (sizes.length_m + box_long), 70.0 / deepest)
    left, soil = _MARGIN_MM + 8, 9.0
    right = left + sizes.length_m * mm
    drop, thick = sizes.drop_m * mm, sizes.outside_m * mm
    cup_x = right + box_long * mm * 0.45
    floor = soil + box_deep * mm
    spout = max(floor - 3.0, soil + drop + thick * 1.2)
    bottom = floor + sizes.depth_m * mm
    far = right + box_long * mm
    wide = sizes.bore_m * mm
    ground = [(0, soil), (left, soil), (right, soil + drop), (right, soil), (WIDTH_MM, soil)]
    parts = [
        _shape("d-soil", [*ground, (WIDTH_MM, bottom + 4), (0, bottom + 4)]),
        _box("d-room", right, soil, far - right, floor - soil),
        _box("d-room", cup_x - wide / 2, floor - 0.3, wide, bottom - floor),
        _line("d-ground", ground[:3]),
        _line("d-ground", [(far, soil), (WIDTH_MM, soil)]),
        *_pipe_cut(sizes, mm, (left, soil)),
        _elbow((right, soil + drop), cup_x, thick, spout),
        _vessel((cup_x, floor), wide * 0.92, bottom - 1, sizes.fluid_m * mm),
        _box("d-wall", right, soil, far - right, floor - soil),
        _line("d-lid", [(right - 1, soil), (far + 1, soil)]),
        _disc(left * 0.45, soil + 4.5, 1),
        _disc((left + right) / 2, soil + drop / 2 + thick / 2, 2),
        _disc(left + 5.5, soil + thick / 2 + 0.1 * drop, 3),
        _disc(far + 4.5, soil + 5.5, 4),
        _disc(cup_x + thick * 0.5 + 4.5, soil + drop + thick / 2, 5),
        _disc(cup_x + wide / 2 + 4.5, (floor + bottom) / 2, 6),
    ]
    return _svg(WIDTH_MM, bottom + 4, lang.say("parts_drawings.section"), parts)


def cup_svg(sizes: CupSizes, units: Units, lang: Catalogue) -> str:
    """Return a cut through a cup trap, with the sizes of its hole."""
    mm = min(36.0 / sizes.depth_m, 40.0 / sizes.bore_m)
    middle, soil = _CUP_WIDTH_MM / 2, 14.0
    wide, bottom = sizes.bore_m * mm, soil + sizes.depth_m * mm
    left, right = middle - wide / 2, middle + wide / 2
    size_x = right + 9
    depth, bore = (length_text(each, units, lang) for each in (sizes.depth_m, sizes.bore_m))
    parts = [
        _shape(
            "d-soil",
            [(0, soil), (_CUP_WIDTH_MM, soil), (_CUP_WIDTH_MM, bottom + 8), (0, bottom + 8)],
        ),
        _box("d-room", left, soil, wide, bottom - soil),
        _line("d-ground", [(0, soil), (left, soil)]),
        _line("d-ground", [(right, soil), (_CUP_WIDTH_MM, soil)]),
        _line("d-wall", [(left, soil), (left, bottom), (right, bottom), (right, soil)]),
        _vessel((middle, soil), wide * 0.88, bottom - 3, sizes.fluid_m * mm),
        _staple(left, soil),
        _staple(right, soil),
        _box("d-cover", left - 4, soil - 3.4, wide + 8, 1.6),
        _line("d-size", [(size_x - 1, soil), (size_x + 1, soil)]),
        _line("d-size", [(size_x, soil), (size_x, bottom)]),
        _line("d-size", [(size_x - 1, bottom), (size_x + 1, bottom)]),
        _text(size_x + 1.6, (soil + bottom) / 2, depth, "start"),
        _line("d-size", [(left, bottom + 2), (right, bottom + 2)]),
        _text(middle, bottom + 5.8, bore),
        _disc(8, soil + 4.5, 1),
        _disc(left, (soil + bottom) / 2, 2),
        _disc(middle, (soil + bottom) / 2 - 2, 3),
        _disc(left - 5, soil + 6, 4),
        _disc(right + 8, soil - 4.5, 5),
    ]
    return _svg(_CUP_WIDTH_MM, bottom + 8, lang.say("parts_drawings.cup"), parts)


def disc_svg(number: int) -> str:
    """Return a numbered disc for the words below a drawing."""
    return (
        '<svg class="swatch d-key" viewBox="0 0 5 5" aria-hidden="true">'
        f"{_disc(2.5, 2.5, number)}</svg>"
    )


def _bridge_mm(sizes: LinearSizes, mm: float) -> float:
    return (sizes.slots[0].end_m + sizes.slots[1].start_m) / 2 * mm


def _pipe_cut(sizes: LinearSizes, mm: float, at: Point) -> list[str]:
    """Return the pipe from the side, capped, with its slots along the top."""
    left, soil = at
    right, drop, thick = left + sizes.length_m * mm, sizes.drop_m * mm, sizes.outside_m * mm

    def on_top(along_m: float) -> Point:
        return left + along_m * mm, soil + sizes.fall * along_m * mm

    slots = [_line("d-open", [on_top(slot.start_m), on_top(slot.end_m)]) for slot in sizes.slots]
    outline = [
        (left, soil),
        (right, soil + drop),
        (right, soil + drop + thick),
        (left, soil + thick),
    ]
    return [_shape("d-pipe", outline), _box("d-cap", left - 1.5, soil, 2.5, thick), *slots]


def _elbow(at: Point, cup_x: float, thick: float, down_to: float) -> str:
    x, top = at
    half = thick / 2
    path = [
        (x, top), (cup_x + half * 0.4, top), (cup_x + half, top + half * 0.6),
        (cup_x + half, down_to), (cup_x - half, down_to), (cup_x - half, top + thick),
        (x, top + thick),
    ]  # fmt: skip
    return _shape("d-pipe", path)


def _vessel(top: Point, wide: float, bottom: float, fluid: float) -> str:
    """Return a cup that narrows a little, with fluid in it."""
    x, y = top
    half, foot = wide / 2, wide / 2 * 0.82
    level = max(bottom - fluid, y + 1)
    at = foot + (half - foot) * (bottom - level) / max(bottom - y, 0.1)
    wet = [(x - at, level), (x + at, level), (x + foot, bottom), (x - foot, bottom)]
    wall = [(x - half, y), (x - foot, bottom), (x + foot, bottom), (x + half, y)]
    return _shape("d-fluid", wet) + _line("d-wall", wall)


def _staple(x: float, soil: float) -> str:
    return _line(
        "d-staple", [(x - 3, soil + 7), (x - 3, soil), (x + 2.2, soil), (x + 2.2, soil + 1)]
    )


def _told(
    marks: Sequence[tuple[float, float]], units: Units, lang: Catalogue
) -> list[tuple[str, float]]:
    """Return marks with their distance from the capped end in words."""
    return [(length_text(along_m, units, lang), x) for along_m, x in marks]


def _ticks(marks: Sequence[tuple[str, float]], y: float, side: int) -> str:
    """Return ticks with their texts, on two rows where they are near."""
    texts, last, row = [], -1e9, 0
    for text, x in marks:
        row = 1 - row if x - last < 15 and not row else 0
        last = x
        foot = y + side * (1.5 + row * _ROW_MM)
        texts.append(_line("d-size", [(x, y), (x, foot)]))
        texts.append(_text(x, foot + (3.2 if side > 0 else -0.8), text))
    return "".join(texts)


def _svg(width: float, height: float, name: str, parts: Sequence[str]) -> str:
    return (
        f'<svg class="drawing" viewBox="0 0 {width:.1f} {height:.1f}" role="img" '
        f'aria-label="{escape(name)}">{"".join(parts)}</svg>'
    )


def _points(points: Sequence[Point]) -> str:
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)


def _shape(name: str, points: Sequence[Point]) -> str:
    return f'<path class="{name}" d="{_points(points)}Z"/>'


def _line(name: str, points: Sequence[Point]) -> str:
    return f'<path class="{name}" d="{_points(points)}"/>'


def _box(name: str, x: float, y: float, wide: float, high: float) -> str:
    return f'<rect class="{name}" x="{x:.2f}" y="{y:.2f}" width="{wide:.2f}" height="{high:.2f}"/>'


def _text(x: float, y: float, text: str, anchor: str = "middle") -> str:
    return f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}">{escape(text)}</text>'


def _disc(x: float, y: float, number: int) -> str:
    return (
        f'<circle class="d-disc" cx="{x:.2f}" cy="{y:.2f}" r="2.1"/>'
        f'<text class="d-no" x="{x:.2f}" y="{y + 1.0:.2f}" text-anchor="middle">{number}</text>'
    )
