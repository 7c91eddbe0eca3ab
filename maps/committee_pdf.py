"""`committee.pdf`: the page as vectors with an embedded font, and a second one with the method.

The font is Open Sans (Apache-2.0) from the installed ``xstatic-opensans`` wheel; only the letters
used are embedded. The text is set as large as the page lets it be.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Literal

from fontTools.ttLib import TTFont
from fpdf import FPDF
from fpdf.drawing import GraphicsContext, PaintedPath
from fpdf.enums import PathPaintRule, XPos, YPos
from fpdf.fonts import TTFFont

from maps.catalogue import Catalogue
from maps.committee import UNDER, CommitteePage, Findings, Section, unparted
from maps.committee_font import font_file
from maps.committee_map import Picture, Style, committee_picture, swatch_strokes
from maps.palette import INK, PAPER, SOFT
from maps.plan_map import Point, Ring

Paper = Literal["letter", "a4"]

PAPERS: tuple[Paper, ...] = ("letter", "a4")

CONTENT_MM = (190.0, 257.0)
"""Room that fits letter paper and A4 alike, so that either prints the other."""

SIZES_PT = (9.5, 9.25, 9.0, 8.75, 8.5, 8.25, 8.0, 7.75, 7.5, 7.25, 7.0, 6.75, 6.5, 6.25, 6.0)
"""Sizes of the text, the largest that fits is taken."""

METHOD_PT = (8.0, 7.0, 6.0, 5.0, 4.0)
"""The same of the second page."""

_FAMILY = "OpenSans"
_MM_PER_PT = 25.4 / 72
_LEADING = 1.28
_GAP_MM = 5.0
_COLUMN_MM = (CONTENT_MM[0] - _GAP_MM) / 2


class _Sheet:
    """A PDF with one size of text; of a trial only the height matters, so its map is not drawn."""

    def __init__(
        self, paper: Paper, size_pt: float, page: CommitteePage, *, trial: bool = False
    ) -> None:
        self.pdf = FPDF(format=paper, unit="mm")
        self.pdf.set_auto_page_break(auto=False)
        self.pdf.set_margin(0)
        self.pdf.c_margin = 0
        for style, name in (("", "Regular"), ("B", "Bold")):
            self.pdf.add_font(_FAMILY, style, font_file(name))
        self.pdf.set_title(page.title)
        self.pdf.set_lang(page.lang.tag)
        # No clock: equal sites give equal bytes.
        self.pdf.creation_date = datetime(2000, 1, 1, tzinfo=UTC)
        self.size_pt = size_pt
        self.trial = trial
        self.letters = frozenset(n for font in self.fonts() for n in font.cmap)
        self.left = (self.pdf.w - CONTENT_MM[0]) / 2
        self.top = 10.0

    def fonts(self) -> list[TTFFont]:
        """Return the fonts of the document."""
        return [font for font in self.pdf.fonts.values() if isinstance(font, TTFFont)]

    def close(self) -> None:
        """Close the files of the fonts, which the library leaves open."""
        for font in self.fonts():
            font.ttfont.close()

    def begin(self) -> None:
        """Start a page."""
        self.pdf.add_page()
        self.pdf.set_text_color(INK)

    def line_mm(self, scale: float = 1.0) -> float:
        """Height of a line of text."""
        return self.size_pt * scale * _MM_PER_PT * _LEADING

    def put(
        self,
        text: str,
        place: tuple[float, float, float],
        *,
        scale: float = 1.0,
        bold: bool = False,
    ) -> float:
        """Write a paragraph at x, y with a width, and return the y below it."""
        x, y, wide = place
        self.pdf.set_font(_FAMILY, "B" if bold else "", self.size_pt * scale)
        self.pdf.set_xy(x, y)
        self.pdf.multi_cell(
            wide,
            self.line_mm(scale),
            self.printable(text),
            align="L",
            new_x=XPos.LEFT,
            new_y=YPos.NEXT,
        )
        return float(self.pdf.get_y())

    def width(self, texts: list[str], scale: float) -> float:
        """Return the width of the widest of some texts, mm."""
        self.pdf.set_font(_FAMILY, "", self.size_pt * scale)
        return max(float(self.pdf.get_string_width(self.printable(each))) for each in texts)

    def printable(self, text: str) -> str:
        """Return a text in the letters of the font; what it lacks is shown by its base or as ?."""
        # The page in a browser shows what this font lacks in another, up to an em wide.
        lacking = "\N{EM DASH}" if self.trial else "?"
        return printable(unparted(text), self.letters, lacking)

    def section(self, section: Section, place: tuple[float, float, float]) -> float:
        """Write a section and return the y below it."""
        x, y, wide = place
        y = self.put(section.heading, (x, y, wide), scale=1.12, bold=True) + 0.3
        for head, text in section.items:
            y = self.item(head, text, (x, y, wide))
        for line in section.lines:
            y = self.put(line, (x, y, wide)) + 0.35
        return y + 1.6

    def item(self, head: str, text: str, place: tuple[float, float, float]) -> float:
        """Write a bold head with its text behind it, and return the y below them."""
        x, y, wide = place
        self.pdf.set_xy(x, y)
        self.pdf.set_left_margin(x)
        self.pdf.set_right_margin(self.pdf.w - x - wide)
        for style, part in (("B", f"{head} "), ("", text)):
            self.pdf.set_font(_FAMILY, style, self.size_pt)
            self.pdf.write(self.line_mm(), self.printable(part))
        below = self.pdf.get_y() + self.line_mm()
        self.pdf.set_margin(0)
        return below + 0.35


def committee_pdf(page: CommitteePage, paper: Paper = "letter") -> bytes:
    """Return the PDF: one page for the committee, one for whoever asks how it was made.

    Parameters
    ----------
    page
        What is said.
    paper
        Its size.
    """
    picture = committee_picture(page.findings.analysis, page.lang)
    size_pt, first = _fitted(page, picture, paper)
    sheet = _Sheet(paper, size_pt, page)
    sheet.begin()
    _put_page(sheet, page, picture, first)
    _method_page(sheet, page, _method_size(page, paper))
    text = bytes(sheet.pdf.output())
    sheet.close()
    return text


def fitting_size(page: CommitteePage, paper: Paper = "letter") -> float:
    """Return the largest size of text, in points, with which all is on one page."""
    return _fitted(page, committee_picture(page.findings.analysis, page.lang), paper)[0]


def _fitted(page: CommitteePage, picture: Picture, paper: Paper) -> tuple[float, int]:
    """Return the largest size that fits, and how many sections the first column then has."""
    trial = _Sheet(paper, SIZES_PT[0], page, trial=True)
    try:
        for trial.size_pt in SIZES_PT:
            trial.begin()
            first = _level(trial, page)
            high = _put_page(trial, page, picture, first)
            if high <= CONTENT_MM[1]:
                return trial.size_pt, first
    finally:
        trial.close()
    raise OverflowError(f"the page needs {high:.0f} mm and has {CONTENT_MM[1]:.0f} mm")


def _method_size(page: CommitteePage, paper: Paper) -> float:
    """Return the largest size with which the second page is one page."""
    trial = _Sheet(paper, METHOD_PT[0], page, trial=True)
    fits = (size for size in METHOD_PT if _method_page(trial, page, size) <= CONTENT_MM[1])
    size_pt = next(fits, METHOD_PT[-1])
    trial.close()
    return size_pt


def _level(trial: _Sheet, page: CommitteePage) -> int:
    """Return how many sections the first column takes so that both end as level as can be."""
    place = (trial.left, 0.0, _COLUMN_MM)
    heights = [trial.section(page.section(key), place) for key in UNDER]
    return min(range(len(UNDER) + 1), key=lambda n: max(sum(heights[:n]), sum(heights[n:])))


def _put_page(sheet: _Sheet, page: CommitteePage, picture: Picture, first: int) -> float:
    """Write the first page and return how high its content is, mm."""
    left, wide = sheet.left, CONTENT_MM[0]
    y = sheet.put(page.title, (left, sheet.top, wide), scale=1.9, bold=True)
    y = sheet.put(page.subtitle, (left, y, wide), scale=1.05) + 1.5
    y = sheet.put(page.lead, (left, y, wide), scale=1.3, bold=True) + 2.0
    beside = picture.width_mm + _GAP_MM
    found = sheet.section(page.section("found"), (left + beside, y, wide - beside))
    y = max(_put_map(sheet, picture, (left, y)), found) + 1.5
    ends = [y, y]
    for number, key in enumerate(UNDER):
        column = int(number >= first)
        place = (left + column * (_COLUMN_MM + _GAP_MM), ends[column], _COLUMN_MM)
        ends[column] = sheet.section(page.section(key), place)
    return _put_glossary(sheet, page.section("glossary"), (left, max(ends), wide)) - sheet.top


def _put_glossary(sheet: _Sheet, section: Section, place: tuple[float, float, float]) -> float:
    x, y, wide = place
    sheet.pdf.set_draw_color(SOFT)
    sheet.pdf.set_line_width(0.2)
    sheet.pdf.line(x, y, x + wide, y)
    return sheet.section(section, (x, y + 1.2, wide)) - 1.6


def _put_map(sheet: _Sheet, picture: Picture, corner: Point) -> float:
    """Draw the map with its legend, and return the y below them."""
    x, y = corner
    if not sheet.trial:
        for area in picture.areas:
            style = picture.styles[area.kind]
            _fill(sheet.pdf, area.rings, style, corner)
            _strokes(sheet.pdf, area.strokes, style.line, corner)
        _dots(sheet.pdf, picture, corner)
        _letters(sheet, picture, corner)
        _foot(sheet, picture, corner)
    return _put_key(sheet, picture, (x, y + picture.height_mm + 1.0))


def _fill(pdf: FPDF, rings: tuple[Ring, ...], style: Style, corner: Point) -> None:
    path = PaintedPath()
    for ring in rings:
        points = [(corner[0] + a, corner[1] + b) for a, b in ring]
        path.move_to(*points[0])
        for point in points[1:]:
            path.line_to(*point)
        path.close()
    path.style.fill_color = style.fill
    path.style.stroke_color = INK
    path.style.stroke_width = style.edge_mm
    path.style.paint_rule = PathPaintRule.STROKE_FILL_EVENODD
    group = GraphicsContext()
    group.add_item(path)
    pdf.draw_path(group)


def _strokes(
    pdf: FPDF,
    strokes: tuple[tuple[Point, Point], ...] | list[tuple[Point, Point]],
    line: str,
    corner: Point,
) -> None:
    if not strokes:
        return
    pdf.set_draw_color(line)
    pdf.set_line_width(0.25)
    for a, b in strokes:
        pdf.line(corner[0] + a[0], corner[1] + a[1], corner[0] + b[0], corner[1] + b[1])


def _disc(pdf: FPDF, spot: Point, radius: float, fill: str, edge: str) -> None:
    pdf.set_fill_color(fill)
    pdf.set_draw_color(edge)
    pdf.set_line_width(0.15)
    pdf.circle(x=spot[0], y=spot[1], radius=radius, style="DF")


def _dots(pdf: FPDF, picture: Picture, corner: Point) -> None:
    for a, b in picture.dots:
        _disc(pdf, (corner[0] + a, corner[1] + b), 0.55, INK, PAPER)


def _letters(sheet: _Sheet, picture: Picture, corner: Point) -> None:
    pdf = sheet.pdf
    pdf.set_font(_FAMILY, "B", 6)
    for (a, b), letters in picture.letters:
        text = sheet.printable(letters)
        x, y = corner[0] + a, corner[1] + b
        _disc(pdf, (x, y), 1.9, PAPER, INK)
        pdf.text(x - pdf.get_string_width(text) / 2, y + 0.75, text)


def _foot(sheet: _Sheet, picture: Picture, corner: Point) -> None:
    pdf, left = sheet.pdf, corner[0] + 3
    y = corner[1] + picture.height_mm - 2.2
    pdf.set_draw_color(INK)
    pdf.set_line_width(0.3)
    right = left + picture.bar_mm
    for line in ((left, y - 1.6, left, y), (left, y, right, y), (right, y - 1.6, right, y)):
        pdf.line(*line)
    pdf.set_font(_FAMILY, "", 7.5)
    pdf.text(right + 2, y, sheet.printable(picture.bar_text))
    x = corner[0] + picture.width_mm - 7
    north: Ring = [(0, -4.6), (1.6, 0.2), (0, -0.8), (-1.6, 0.2)]
    _fill(pdf, (north,), Style(INK), (x, y))
    pdf.text(x + 2.6, y, sheet.printable(picture.north))


def _put_key(sheet: _Sheet, picture: Picture, place: Point) -> float:
    """Write the legend in two columns under the map, and return the y below it."""
    entries = [*picture.key, ("", picture.dot_text)]
    column = picture.width_mm / 2
    scale = 0.9 * min(1.0, (column - 9.5) / sheet.width([text for _, text in entries], 0.9))
    step = max(sheet.line_mm(0.9), 4.0)
    rows = (len(entries) + 1) // 2
    for number, (kind, text) in enumerate(entries):
        x, y = place[0] + number // rows * column, place[1] + number % rows * step
        if kind:
            box: Ring = [(0, 0.3), (6.6, 0.3), (6.6, 3.5), (0, 3.5)]
            style = picture.styles[kind]
            _fill(sheet.pdf, (box,), style, (x, y))
            _strokes(sheet.pdf, swatch_strokes(style, box), style.line, (x, y))
        else:
            _disc(sheet.pdf, (x + 3.3, y + 1.9), 0.6, INK, PAPER)
        sheet.put(text, (x + 8.2, y, column - 9), scale=scale)
    return place[1] + rows * step + 1.0


def _method_page(sheet: _Sheet, page: CommitteePage, size_pt: float) -> float:
    """Write the second page and return how high its content is, mm."""
    sheet.begin()
    sheet.size_pt = size_pt
    place = (sheet.left, sheet.top, CONTENT_MM[0])
    head = page.lang.say("page.head", head=page.lang.say("headings.method"))
    y = sheet.put(f"{head} {page.title}", place, scale=1.5, bold=True) + 2
    for line in page.method:
        y = sheet.put(line, (sheet.left, y, CONTENT_MM[0])) + 1.2
    return y - sheet.top


def unprintable(lang: Catalogue) -> str:
    """Return the letters of a language that the font lacks, sorted; blank if it has them all.

    Examples
    --------
    >>> from maps.language_file import english
    >>> unprintable(english())
    ''
    """
    months = lang.locale.months["format"]["wide"].values()
    return lacking_letters((*lang.texts(), *months))


def lacking_letters(texts: Iterable[str]) -> str:
    """Return the letters of texts that the font lacks, sorted; blank if it has them all.

    Examples
    --------
    >>> lacking_letters(["Green 1", "\N{CJK UNIFIED IDEOGRAPH-4E2D}"])
    '\N{CJK UNIFIED IDEOGRAPH-4E2D}'
    """
    with TTFont(font_file("Regular")) as font:
        known = frozenset(font.getBestCmap())
    used = {letter for text in texts for letter in text}
    return "".join(sorted(each for each in used if printable(each, known, "\0") == "\0"))


def legible(findings: Findings) -> Findings:
    """Return findings in which zones whose names the font lacks go by their ids."""
    analysis = findings.analysis
    names = analysis.zones["name"].astype(str)
    lacking = set(lacking_letters(names))
    if not lacking:
        return findings
    shown = names.where(names.map(lacking.isdisjoint), "")
    zones = analysis.zones.assign(name=shown)
    return replace(findings, analysis=replace(analysis, zones=zones))


def printable(text: str, letters: frozenset[int], lacking: str = "?") -> str:
    r"""Return a text in the letters that a font has.

    Parameters
    ----------
    text
        Any text.
    letters
        Code points that the font has.
    lacking
        What stands for a letter that cannot be shown.

    Examples
    --------
    A letter that is lacking is shown by its base, else as `lacking`; what does not show at
    all, such as a mark that turns the direction of writing, is left out:

    >>> printable("\u0107a\u202eb\u4e2d", frozenset({97, 98, 99, 63}))
    'cab?'
    """
    return "".join(_letter(each, letters, lacking) for each in text)


def _letter(letter: str, letters: frozenset[int], lacking: str) -> str:
    if unicodedata.category(letter) in {"Cc", "Cf", "Cs", "Zl", "Zp"}:
        return " " if letter in "\t\n\r\u2028\u2029" else ""
    if ord(letter) in letters:
        return letter
    base = unicodedata.normalize("NFKD", letter)[0]
    return base if ord(base) in letters else lacking
