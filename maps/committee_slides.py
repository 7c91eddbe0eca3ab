"""`committee.pptx`: the committee page as six slides whose map can be edited shape by shape.

It needs ``python-pptx``, an optional extra: this module is imported only where it is installed.
"""

from __future__ import annotations

import io
import math
import zipfile
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from pptx import Presentation
from pptx.dml.color import RGBColor
from pptx.enum.dml import MSO_PATTERN
from pptx.enum.shapes import MSO_SHAPE
from pptx.enum.text import MSO_ANCHOR, PP_ALIGN
from pptx.oxml.ns import qn
from pptx.presentation import Presentation as Slides
from pptx.slide import Slide
from pptx.util import Emu, Mm, Pt

from maps.committee import CommitteePage, Section
from maps.committee_map import Area, Picture, Style, committee_picture
from maps.palette import INK, PAPER, levels
from maps.plan_map import Point, Ring

SLIDES: tuple[tuple[str, ...], ...] = (
    ("found",),
    ("where",),
    ("last_year",),
    ("plan", "cost"),
    ("unknown", "notes"),
    ("next", "glossary"),
)
"""Sections of every slide."""

_WIDE_MM, _HIGH_MM = 338.7, 190.5
_LEFT_MM, _TOP_MM, _BODY_MM = 16.0, 12.0, 36.0
_SIZES_PT = (32, 30, 28, 26, 24, 22, 20, 18, 17, 16, 15, 14, 13, 12, 11, 10)
_FONT = "Open Sans"
_FONT_SHAPES = ((0.47, 1.37), (0.51, 1.17))
"""Mean letter and line height of Open Sans and of a wide font that may stand in, in ems."""

_PATTERNS = {True: MSO_PATTERN.WIDE_UPWARD_DIAGONAL, False: MSO_PATTERN.WIDE_DOWNWARD_DIAGONAL}
_BOLD = 1.2
"""How much wider bold letters are."""

_POINT_MM = 0.3528
_SPACE_AFTER = 0.3
"""Between paragraphs, in ems."""

_INSETS_MM = (5.1, 2.6)
"""What a text box keeps free across and down, both sides together, mm."""

_EPOCH = (1980, 1, 1, 0, 0, 0)


def committee_slides(page: CommitteePage) -> bytes:
    """Return the slides; equal pages give equal bytes.

    Parameters
    ----------
    page
        What is said.
    """
    deck = Presentation()
    deck.slide_width, deck.slide_height = Mm(_WIDE_MM), Mm(_HIGH_MM)
    deck.core_properties.title = page.title
    deck.core_properties.author = ""
    deck.core_properties.last_modified_by = ""
    deck.core_properties.created = deck.core_properties.modified = datetime(2000, 1, 1, tzinfo=UTC)
    for keys in SLIDES:
        slide = _empty(deck)
        if keys == ("where",):
            _put_map(slide, committee_picture(page.findings.analysis, page.lang), page)
        else:
            _put_sections(slide, page, keys)
    if page.lang.direction == "rtl":
        _turn(deck)
    saved = io.BytesIO()
    deck.save(saved)
    return _timeless(saved.getvalue())


def _empty(deck: Slides) -> Slide:
    """Add a slide without anything on it."""
    slide: Slide = deck.slides.add_slide(deck.slide_layouts[6])
    return slide


def _put_sections(slide: Slide, page: CommitteePage, keys: Sequence[str]) -> None:
    sections = [page.section(key) for key in keys]
    if keys == SLIDES[0]:
        _put_fitting(slide, [page.title], (_LEFT_MM, 10.0, 306.0, 18.0), bold=True)
        _put_fitting(slide, [page.subtitle], (_LEFT_MM, 27.0, 306.0, 11.0), 18)
        _put_fitting(slide, [page.lead], (_LEFT_MM, 37.0, 306.0, 24.0), 24, bold=True)
        _put_section(slide, sections[0], (_LEFT_MM, 60.0, 306.0, 126.0), 18)
        return
    wide = 306.0 if len(sections) == 1 else 148.0
    for number, section in enumerate(sections):
        _put_section(slide, section, (_LEFT_MM + number * 158.0, _TOP_MM, wide, 168.0))


def _turn(deck: Slides) -> None:
    """Let every text run from right to left; on the map it stays where it belongs."""
    for keys, slide in zip(SLIDES, deck.slides, strict=True):
        frames = [shape.text_frame for shape in slide.shapes if shape.has_text_frame]
        for paragraph in (each for frame in frames for each in frame.paragraphs):
            # The library has no name for it.
            paragraph._p.get_or_add_pPr().set("rtl", "1")
            if keys != ("where",):
                paragraph.alignment = PP_ALIGN.RIGHT


Box = tuple[float, float, float, float]
"""Left, top, width and height, mm."""


def _put_section(slide: Slide, section: Section, box: Box, head_pt: int = 26) -> None:
    left, top, wide, high = box
    # One line high, so that the heading is one line.
    head = 0.62 * head_pt
    _put_fitting(slide, [section.heading], (left, top, wide, head), head_pt, bold=True)
    lines = [*(f"{head} {text}" for head, text in section.items), *section.lines]
    _put_fitting(slide, lines, (left, top + head, wide, high - head), 24)


def _put_fitting(
    slide: Slide, lines: Sequence[str], box: Box, most_pt: int = 32, *, bold: bool = False
) -> None:
    """Write a text as large as it should fit, whether or not the font is there."""
    wide, high = box[2] - _INSETS_MM[0], box[3] - _INSETS_MM[1]
    sizes = [size for size in _SIZES_PT if size <= most_pt]
    fitting = (size for size in sizes if _text_mm(lines, size, wide, bold=bold) <= high)
    _put_text(slide, [(line, bold) for line in lines], box, next(fitting, sizes[-1]))


def _text_mm(lines: Sequence[str], size_pt: float, wide: float, *, bold: bool) -> float:
    """Return how high a text stands in a box of that width, mm, in the font that takes more."""
    em = size_pt * _POINT_MM
    row_ems = wide / (em * (_BOLD if bold else 1.0))
    highs = [
        sum(math.ceil(len(line) * letter / row_ems) * row + _SPACE_AFTER for line in lines)
        for letter, row in _FONT_SHAPES
    ]
    # What follows the last paragraph may lie outside.
    return em * (max(highs) - _SPACE_AFTER)


def _put_text(slide: Slide, lines: Sequence[tuple[str, bool]], box: Box, size_pt: float) -> None:
    frame = slide.shapes.add_textbox(*(Mm(each) for each in box)).text_frame
    frame.word_wrap = True
    frame.vertical_anchor = MSO_ANCHOR.TOP
    for number, (line, bold) in enumerate(lines):
        paragraph = frame.paragraphs[0] if number == 0 else frame.add_paragraph()
        paragraph.space_after = Pt(size_pt * _SPACE_AFTER)
        run = paragraph.add_run()
        run.text = _clean(line)
        run.font.size, run.font.bold, run.font.name = Pt(size_pt), bold, _FONT
        run.font.color.rgb = _colour(INK)


def _put_map(slide: Slide, picture: Picture, page: CommitteePage) -> None:
    heading = page.lang.say("headings.where")
    _put_text(slide, [(heading, True)], (_LEFT_MM, _TOP_MM, 306.0, 14.0), 26)
    room = _HIGH_MM - _BODY_MM + 8.0
    scale = min(room / picture.height_mm, 215.0 / picture.width_mm)
    corner = (_LEFT_MM, _BODY_MM - 8.0)
    for area in picture.areas:
        _freeform(slide, area, picture.styles[area.kind], (corner, scale))
    if picture.dots:
        # One shape for all: thousands of shapes would make the slide slow to open.
        dots = tuple(_hexagon(dot, 0.7 / scale) for dot in picture.dots)
        _freeform(slide, Area("", picture.dot_text, dots, ()), Style(INK), (corner, scale), PAPER)
    for (a, b), text in picture.letters:
        _letter(slide, (corner[0] + a * scale, corner[1] + b * scale), text)
    _foot(slide, picture, (corner, scale))
    _put_key(slide, picture, (_LEFT_MM + 225.0, _BODY_MM))


Frame = tuple[Point, float]
"""Where the map's corner lies on the slide, mm, and how many times larger it is."""


def _hexagon(spot: Point, radius: float) -> Ring:
    turns = [math.radians(60 * n) for n in range(6)]
    return [(spot[0] + radius * math.cos(a), spot[1] + radius * math.sin(a)) for a in turns]


def _freeform(slide: Slide, area: Area, style: Style, frame: Frame, edge: str = INK) -> None:
    """Draw one area as a shape that can be edited; it bears the name of its zone."""
    rings = [[_emu(point, frame) for point in ring] for ring in area.rings]
    first, *others = rings
    builder = slide.shapes.build_freeform(*first[0])
    builder.add_line_segments(first[1:], close=True)
    for ring in others:
        builder.move_to(*ring[0])
        builder.add_line_segments(ring[1:], close=True)
    shape = builder.convert_to_shape()
    shape.name = _clean(area.name) or area.kind
    _plain(shape)
    _filled(shape.fill, style)
    shape.line.color.rgb = _colour(edge)
    shape.line.width = Pt(2.8 * style.edge_mm if edge == INK else 0.25)


def _plain(shape: Any) -> None:
    """Take the theme's style away: some office programs draw its shadow even when told not to."""
    # The library has no name for it.
    shape._element.remove(shape._element.find(qn("p:style")))


def _emu(point: Point, frame: Frame) -> tuple[int, int]:
    (left, top), scale = frame
    return int(Mm(left + point[0] * scale)), int(Mm(top + point[1] * scale))


def _filled(fill: Any, style: Style) -> None:
    # The library's fill has no types.
    if not style.line:
        fill.solid()
        fill.fore_color.rgb = _colour(style.fill)
        return
    fill.patterned()
    cross = MSO_PATTERN.OUTLINED_DIAMOND
    fill.pattern = cross if style.crossed else _PATTERNS[style.spacing_mm > 0]
    fill.fore_color.rgb = _colour(style.line)
    fill.back_color.rgb = _colour(style.fill)


def _letter(slide: Slide, spot: Point, text: str) -> None:
    radius = 3.2
    left, top, side = spot[0] - radius, spot[1] - radius, 2 * radius
    shape = slide.shapes.add_shape(MSO_SHAPE.OVAL, *(Mm(each) for each in (left, top, side, side)))
    shape.name = text
    _plain(shape)
    shape.fill.solid()
    shape.fill.fore_color.rgb = _colour(PAPER)
    shape.line.color.rgb = _colour(INK)
    frame = shape.text_frame
    frame.margin_left = frame.margin_right = frame.margin_top = frame.margin_bottom = Emu(0)
    frame.word_wrap = False
    paragraph = frame.paragraphs[0]
    paragraph.alignment = PP_ALIGN.CENTER
    run = paragraph.add_run()
    run.text = _clean(text)
    run.font.size, run.font.bold, run.font.name = Pt(9), True, _FONT
    run.font.color.rgb = _colour(INK)


def _foot(slide: Slide, picture: Picture, frame: Frame) -> None:
    """Draw scale bar and north arrow."""
    (left, top), scale = frame
    y = top + (picture.height_mm - 3.0) * scale
    bar: Ring = [(0, 0), (picture.bar_mm, 0), (picture.bar_mm, 0.5), (0, 0.5)]
    ink = Style(INK)
    _freeform(slide, Area("", picture.bar_text, (bar,), ()), ink, ((left + 3 * scale, y), scale))
    text_left = left + (4 + picture.bar_mm) * scale
    _put_text(slide, [(picture.bar_text, False)], (text_left, y - 4.0, 40.0, 8.0), 12)
    x = left + (picture.width_mm - 7) * scale
    north: Ring = [(0, -4.6), (1.6, 0.2), (0, -0.8), (-1.6, 0.2)]
    _freeform(slide, Area("", picture.north, (north,), ()), ink, ((x, y), scale))
    _put_text(slide, [(picture.north, True)], (x + 3.0, y - 4.0, 12.0, 8.0), 12)


def _put_key(slide: Slide, picture: Picture, place: Point) -> None:
    x, y = place
    box: Ring = [(0, 0), (9, 0), (9, 5.5), (0, 5.5)]
    for number, (kind, text) in enumerate(picture.key):
        top = y + number * 12.0
        key = Area("", text, (box,), ())
        _freeform(slide, key, picture.styles[kind], ((x, top), 1.0))
        _put_text(slide, [(text, False)], (x + 10.0, top - 2.5, 82.0, 12.0), 13)
    top = y + len(picture.key) * 12.0
    dot = Area("", picture.dot_text, (_hexagon((4.5, 2.7), 1.2),), ())
    _freeform(slide, dot, Style(INK), ((x, top), 1.0), PAPER)
    _put_text(slide, [(picture.dot_text, False)], (x + 10.0, top - 2.5, 82.0, 12.0), 13)


def _colour(text: str) -> RGBColor:
    return RGBColor(*levels(text))


def _clean(text: str) -> str:
    """Return a text without what XML cannot hold, on one line."""
    return "".join(each for each in " ".join(text.split()) if each.isprintable())


def _timeless(data: bytes) -> bytes:
    """Return the same archive without the time at which it was made."""
    packed = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            info = zipfile.ZipInfo(name, _EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(info, old.read(name))
    return packed.getvalue()
