"""The parts and hole sheet: what must stand on it, in either system, and what may not break it."""

from __future__ import annotations

import html as markup
import re

import pytest
from analyses import HOSTILE
from languages import EN, section

from data.parts_settings import CupParts, LinearParts, PartsSettings
from data.settings import Units
from maps.parts_drawing import pipe_svg, section_svg
from maps.parts_sheet import SheetHead, parts_sheet
from maps.parts_words import KINDS, SOURCES, dig_cautions, length_text
from spatial.trap_parts import Chosen, linear_sizes, trap_parts

CUP = Chosen("N1", "cup", "H03-RO", "rough", "edge facing the hedge", -39.0012345, 40.0123456)
PIPE = Chosen("N2", "linear", "Z2", "sod_block", "", -39.002, 40.01, 272.6, 92.6, 0.01)
USUAL = PartsSettings()


def sheet(*chosen: Chosen, units: Units = "us", settings: PartsSettings = USUAL) -> str:
    found = trap_parts(chosen, settings)
    return parts_sheet(found, settings, SheetHead("Kestwick Green", units, "Week 2026-W22."), EN)


def read(html: str) -> str:
    """Return what is read on the page."""
    body = html.partition("<body>")[2]
    return " ".join(markup.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def test_every_trap_has_its_place_bearing_and_hole() -> None:
    text = read(sheet(CUP, PIPE))
    assert "2 new traps: 1 cup, 1 linear trap." in text
    assert "N1 cup H03-RO, rough; edge facing the hedge 40.012346, -39.001235" in text
    assert "4 1/4 in wide, 6 in deep" in text
    assert "N2 linear Z2, sod block 40.010000, -39.002000 273\u00b0 (W) from the cup" in text
    # 36 in at 2 % less 1 % of ground: .36 in deeper at the cup than 2.375 in.
    assert "trench 2 3/8 in at the cap, 2 3/4 in at the cup" in text


def test_cautions_come_before_the_holes() -> None:
    text = read(sheet(CUP))
    places = [text.index(line) for line in dig_cautions(EN)]
    assert places == sorted(places)
    assert places[-1] < text.index("Traps and holes")
    everything = " ".join(dig_cautions(EN))
    for word in ("buried services", "irrigation", "mower", "flush", "Animal-safe", "Lids", "play"):
        assert word in everything


@pytest.mark.parametrize(("units", "other"), [("us", r"\d mm|\d mL"), ("metric", r"\d in\b|fl oz")])
def test_a_sheet_keeps_to_one_system(units: Units, other: str) -> None:
    assert re.findall(other, read(sheet(CUP, PIPE, units=units))) == []


def test_metric_sizes_are_those_of_the_inches() -> None:
    text = read(sheet(PIPE, units="metric"))
    assert "Pipe of 914 mm: 3 slots of 254 mm x 13 mm with bridges of 25 mm between them" in text
    assert "the cup end lies 18 mm below the capped end" in text


def test_no_trap_at_all_is_a_sentence() -> None:
    text = read(sheet())
    assert "No new traps." in text
    assert "To buy" not in text


def test_only_designs_that_are_chosen_are_drawn() -> None:
    cup, pipe = sheet(CUP), sheet(PIPE)
    assert "A cup trap, cut through" in cup
    assert "The pipe from above" not in cup
    assert "The pipe from above" in pipe
    assert "A cup trap, cut through" not in pipe
    assert "No parts are known for pail" in read(sheet(Chosen("N1", "pail")))


def test_sizes_say_what_they_rest_on() -> None:
    usual = read(sheet(PIPE))
    assert "weevil monitoring bulletin 2019, p. 4" in usual
    assert "common practice, no source" in usual
    assert "your site.toml" not in usual
    own = PartsSettings(linear=LinearParts(slot_length="5 in"), cup=CupParts(cup="500 mL"))
    assert read(sheet(CUP, settings=own)).count("your site.toml") == 1


def test_every_part_has_a_name_and_a_source() -> None:
    names = {(kind, code) for kind in KINDS for code in section(f"parts_{kind}")}
    assert names == SOURCES.keys()
    found = trap_parts([CUP, PIPE], USUAL)
    assert {(each.kind, each.code) for each in found.parts} == names


@pytest.mark.parametrize("text", HOSTILE)
def test_names_cannot_break_the_page(text: str) -> None:
    html = sheet(Chosen(text, "cup", text, text, text), Chosen("N2", text))
    assert "<script" not in html
    assert "<img" not in html
    assert " ".join(text.split()) in read(html)


def test_the_page_asks_nothing_of_any_network_and_is_the_same_twice() -> None:
    html = sheet(CUP, PIPE)
    assert html == sheet(CUP, PIPE)
    assert not re.search(r"(?:src|href)=|https?:", html)
    assert "<script" not in html


def test_slots_are_drawn_where_they_are_cut() -> None:
    """Every slot drawn has the same share of the pipe as in the lay-out."""
    sizes = linear_sizes(LinearParts(length="4 ft", slot_length="6 in", bridge="2 in"))
    drawn = pipe_svg(sizes, "us", EN)
    pipe = re.search(r'class="d-pipe" x="([\d.]+)"[^>]* width="([\d.]+)"', drawn)
    assert pipe is not None
    left, long = (float(each) for each in pipe.groups())
    slots = re.findall(r'class="d-slot" x="([\d.]+)"[^>]* width="([\d.]+)"', drawn)
    assert len(slots) == len(sizes.slots)
    for (x, wide), slot in zip(slots, sizes.slots, strict=True):
        assert (float(x) - left) / long == pytest.approx(slot.start_m / sizes.length_m, abs=1e-3)
        assert float(wide) / long == pytest.approx(0.5 / 4, abs=1e-3)
        assert f">{length_text(slot.start_m, 'us', EN)}<" in drawn


@pytest.mark.parametrize(
    "parts",
    [
        LinearParts(),
        LinearParts(length="10 ft"),
        LinearParts(length="14 in", slot_length="3 in"),
        LinearParts(box_depth="18 in", depth="12 in"),
        LinearParts(fall=20.0, box_depth="12 in"),
    ],
)
def test_nothing_is_drawn_outside_the_picture(parts: LinearParts) -> None:
    sizes = linear_sizes(parts)
    for drawing in (section_svg(sizes, EN), pipe_svg(sizes, "metric", EN)):
        size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawing)
        assert size is not None
        width, height = (float(each) for each in size.groups())
        pairs = [pair for path in re.findall(r' d="M([^"]+)"', drawing) for pair in path.split("L")]
        points = [tuple(float(each) for each in pair.rstrip("Z").split()) for pair in pairs]
        places = re.findall(r'(?:x|cx)="(-?[\d.]+)" (?:y|cy)="(-?[\d.]+)"', drawing)
        points += [(float(x), float(y)) for x, y in places]
        assert all(-0.01 <= x <= width + 0.01 and -0.01 <= y <= height + 0.01 for x, y in points)
