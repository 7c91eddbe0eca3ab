"""The palette in figures: ramp, the small map of the committee in all its styles, and the slides.

What the browser draws is judged in test_palette_pages.py.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from itertools import combinations, pairwise
from typing import Any

import pytest
from colours import (
    LEAST_DISTANCE,
    LEAST_STEP,
    VISIONS,
    distance,
    grey,
    least_distance,
    place,
    told_apart,
)
from committee_sites import state_page
from pptx import Presentation

from maps.committee_map import STYLES, Style
from maps.committee_slides import committee_slides
from maps.palette import INK, MOST_CLASSES, PAPER, activity_ramp, contrast

LEAST_LINE_CONTRAST = 3.0
"""Of a hatch against its ground (WCAG 2.2, success criterion 1.4.11)."""

RATES = {str(number): Style(colour) for number, colour in enumerate(activity_ramp(MOST_CLASSES))}
JUDGED = (*"ahwbetl", "water", "obstacle")
UNJUDGED = (*RATES, "t", "e", "x", "water", "obstacle")
Cue = tuple[object, ...]


def test_colours_are_as_far_apart_as_published() -> None:
    """Distances and visions against colorspacious 1.1.2, sRGB (least of all pairs of each set).

    The tritan figure of the last set is of colours clipped to the screen, as they are here.
    """
    sets = {
        ("#d7191c", "#89cff0", "#2c7bb6", "#fdae61", "#d3d3d3"): (20.9, 15.0, 18.6, 23.2),
        ("#d73027", "#fee08b", "#1a9850"): (43.6, 20.0, 10.8, 47.0),
    }
    for colours, figures in sets.items():
        for vision, figure in zip(VISIONS, figures, strict=True):
            least = min(distance(a, b, vision) for a, b in combinations(colours, 2))
            assert least == pytest.approx(figure, abs=0.1), vision


def test_a_traffic_light_would_fail() -> None:
    assert least_distance("#d73027", "#1a9850") < LEAST_DISTANCE


@pytest.mark.parametrize("vision", VISIONS)
@pytest.mark.parametrize("classes", range(2, MOST_CLASSES + 1))
def test_every_step_of_the_ramp_is_eight_in_lightness(classes: int, vision: str) -> None:
    lightness = [place(colour, vision)[0] for colour in activity_ramp(classes)]
    assert min(a - b for a, b in pairwise(lightness)) >= LEAST_STEP


@pytest.mark.parametrize("classes", range(2, MOST_CLASSES + 1))
def test_every_step_of_the_ramp_is_eight_in_lightness_in_grey(classes: int) -> None:
    lightness = [place(grey(colour))[0] for colour in activity_ramp(classes)]
    assert min(a - b for a, b in pairwise(lightness)) >= LEAST_STEP


def cue(style: Style) -> Cue:
    """Return what tells a style apart besides its colour: a bold outline, lines that are seen."""
    bold = style.edge_mm >= 0.4 and contrast(INK, style.fill) >= LEAST_LINE_CONTRAST
    if not style.line or contrast(style.line, style.fill) < LEAST_LINE_CONTRAST:
        return (bold,)
    return bold, style.spacing_mm > 0, abs(style.spacing_mm), style.crossed


@pytest.mark.parametrize("kinds", [JUDGED, UNJUDGED], ids=["judged", "by rate"])
def test_styles_of_the_small_map_differ_in_colour_or_lines(kinds: tuple[str, ...]) -> None:
    """All that may lie side by side on the committee page, its PDF and its slides."""
    styles = STYLES | RATES
    alike = [
        (one, other)
        for one, other in combinations(kinds, 2)
        if not {one, other} <= set(RATES)
        and not told_apart(styles[one].fill, styles[other].fill)
        and cue(styles[one]) == cue(styles[other])
    ]
    assert alike == []


def test_letters_dots_and_lines_of_the_small_map_can_be_read() -> None:
    assert contrast(INK, PAPER) >= 4.5
    for kind, style in STYLES.items():
        assert not style.line or contrast(style.line, style.fill) >= 3, kind


@pytest.fixture(scope="module", params=["busy", "no_limit"])
def slides(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Any:
    page = state_page(request.param, tmp_path_factory.mktemp("site") / "site")
    return Presentation(io.BytesIO(committee_slides(page)))


def fills(shapes: Any) -> Iterator[tuple[str, str, Cue]]:
    """Return name, ground and pattern of each shape that is filled."""
    for shape in shapes:
        fill = getattr(shape, "fill", None)
        if fill is None or fill.type not in (1, 2):
            continue
        edge = f"#{shape.line.color.rgb}".lower(), shape.line.width.pt > 1
        if fill.type == 1:
            yield shape.name, f"#{fill.fore_color.rgb}".lower(), (shape.shape_type, edge)
        else:
            line, ground = (f"#{c.rgb}".lower() for c in (fill.fore_color, fill.back_color))
            assert contrast(line, ground) >= LEAST_LINE_CONTRAST, shape.name
            yield shape.name, ground, (shape.shape_type, edge, fill.pattern)


def test_shapes_of_the_slides_differ_in_colour_or_pattern(slides: Any) -> None:
    """A letter is its own cue, the white edge of the dots another; all else pair by pair."""
    looks = {
        (ground, pattern): name
        for slide in slides.slides
        for name, ground, pattern in fills(slide.shapes)
        if not re.fullmatch(r"U|N|A\d*|[\d,]+ (ft|m)", name)
    }
    assert len(looks) >= 6
    alike = [
        (looks[one], looks[other])
        for one, other in combinations(looks, 2)
        if one[1] == other[1]
        and not {one[0], other[0]} <= set(activity_ramp(6))
        and not told_apart(one[0], other[0])
    ]
    assert alike == []


def test_texts_of_the_slides_can_be_read(slides: Any) -> None:
    inks = {
        f"#{run.font.color.rgb}".lower()
        for slide in slides.slides
        for shape in slide.shapes
        if shape.has_text_frame
        for paragraph in shape.text_frame.paragraphs
        for run in paragraph.runs
    }
    assert inks
    for ink in inks:
        assert min(contrast(ink, PAPER), contrast(grey(ink), PAPER)) >= 4.5
