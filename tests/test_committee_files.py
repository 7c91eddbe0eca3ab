"""What the committee page is written to: one sheet of HTML, a vector PDF, slides of shapes."""

from __future__ import annotations

import html
import io
import json
import re
import subprocess
import sys
import zipfile
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pypdf
import pytest
from analyses import HOSTILE
from click.testing import CliRunner, Result
from committee_sites import STATES, state_page, state_site
from PIL import ImageFont
from playwright.sync_api import Browser
from pptx import Presentation
from pptx.enum.shapes import MSO_SHAPE_TYPE
from pypdf.generic import DictionaryObject

from data.committee_settings import MOST_LETTERS, CommitteeSettings
from data.version import VERSION
from maps.committee import UNDER, CommitteePage, committee_page
from maps.committee_font import font_file
from maps.committee_map import STYLES, committee_picture, picture_svg
from maps.committee_page import committee_html
from maps.committee_pdf import CONTENT_MM, PAPERS, Paper, committee_pdf, fitting_size, printable
from maps.committee_slides import SLIDES, committee_slides
from maps.language_file import english
from maps.palette import MIN_LIGHTNESS_STEP, lightness_of
from maps.zone_states import EVIDENCE_KEY
from scripts.commands import committee as module

EN = english()
ROOT = Path(__file__).resolve().parent.parent
PAPER_MM = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
CASES = (*STATES, "fullest", "hostile")


def fullest(page: CommitteePage) -> CommitteePage:
    """Return the page with every note as long as it may be, and every zone's name too."""
    words = "Wide words fill more of every line than most others would do here. " * 9
    notes = CommitteeSettings(*[words[:MOST_LETTERS]] * 4)
    return changed(page, notes, "Wide meadow of the western municipal ground")


def hostile(page: CommitteePage) -> CommitteePage:
    notes = CommitteeSettings(*HOSTILE[:4])
    return changed(page, notes, HOSTILE[0])


def changed(page: CommitteePage, notes: CommitteeSettings, name: str) -> CommitteePage:
    analysis = page.findings.analysis
    title = HOSTILE[1] if name == HOSTILE[0] else analysis.site.settings.name
    settings = replace(analysis.site.settings, committee=notes, name=title)
    zones = analysis.zones.assign(name=[f"{name} {n}" for n in range(len(analysis.zones))])
    told = replace(analysis, zones=zones, site=replace(analysis.site, settings=settings))
    return committee_page(replace(page.findings, analysis=told), page.lang)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, CommitteePage]:
    folder = tmp_path_factory.mktemp("states")
    made = {state: state_page(state, folder / state) for state in STATES}
    return made | {"fullest": fullest(made["busy"]), "hostile": hostile(made["busy"])}


def page_html(page: CommitteePage, paper: Paper = "letter") -> str:
    return committee_html(page, paper, fitting_size(page, paper))


@pytest.mark.browser
@pytest.mark.parametrize("case", CASES)
def test_the_page_prints_on_one_sheet_of_letter_and_of_a4(
    case: str, pages: dict[str, CommitteePage], browser: Browser, tmp_path: Path
) -> None:
    for paper in PAPERS:
        path = tmp_path / f"{paper}.html"
        path.write_text(page_html(pages[case], paper), encoding="utf-8")
        shown = browser.new_page()
        shown.goto(path.as_uri())
        for other in PAPERS:
            printed = shown.pdf(format=other.capitalize(), print_background=True)
            assert len(pypdf.PdfReader(io.BytesIO(printed)).pages) == 1, (paper, other)
        own = pypdf.PdfReader(io.BytesIO(shown.pdf(prefer_css_page_size=True)))
        assert len(own.pages) == 1
        size = [float(each) * 25.4 / 72 for each in own.pages[0].mediabox[2:]]
        assert size == pytest.approx(PAPER_MM[paper], abs=0.5)
        assert "The words on this page" in own.pages[0].extract_text()
        assert "How this was made" not in own.pages[0].extract_text()
        shown.close()


@pytest.mark.browser
@pytest.mark.parametrize("case", ["busy", "no_limit", "hostile"])
def test_the_page_asks_nothing_of_a_network_and_fits_a_phone(
    case: str, pages: dict[str, CommitteePage], browser: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "committee.html"
    path.write_text(page_html(pages[case]), encoding="utf-8")
    context = browser.new_context(viewport={"width": 360, "height": 640}, offline=True)
    shown = context.new_page()
    asked: list[str] = []
    told: list[str] = []
    shown.on("request", lambda request: asked.append(request.url))
    shown.on("console", lambda message: told.append(message.text))
    shown.on("dialog", lambda dialog: told.append(dialog.message))
    shown.goto(path.as_uri())
    shown.evaluate("document.fonts.ready")
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert told == []
    assert shown.evaluate("document.documentElement.scrollWidth") <= 360
    assert shown.evaluate("document.fonts.check('16px \"Open Sans\"')")
    assert shown.locator("script,img,iframe,object,embed,a,[onerror],[onload]").count() == 0
    context.close()


@pytest.mark.browser
def test_hostile_notes_are_shown_as_they_are(
    pages: dict[str, CommitteePage], browser: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "committee.html"
    path.write_text(page_html(pages["hostile"]), encoding="utf-8")
    shown = browser.new_page()
    shown.goto(path.as_uri())
    text = shown.evaluate("document.body.textContent")
    for note in HOSTILE[:4]:
        assert note in text
    assert HOSTILE[1] in shown.title()
    shown.close()


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("paper", PAPERS)
def test_the_pdf_has_two_pages_embedded_fonts_and_no_bitmap(
    case: str, paper: Paper, pages: dict[str, CommitteePage]
) -> None:
    reader = pypdf.PdfReader(io.BytesIO(committee_pdf(pages[case], paper)))
    assert len(reader.pages) == 2
    for sheet in reader.pages:
        size = [float(each) * 25.4 / 72 for each in sheet.mediabox[2:]]
        assert size == pytest.approx(PAPER_MM[paper], abs=0.5)
        resources = sheet["/Resources"]
        assert isinstance(resources, DictionaryObject)
        drawn = resources.get("/XObject", DictionaryObject())
        assert [each for each in drawn.values() if each["/Subtype"] == "/Image"] == []
        assert len(sheet.images) == 0
        fonts = resources["/Font"]
        assert isinstance(fonts, DictionaryObject)
        assert len(fonts) > 0
        for font in fonts.values():
            inner = font["/DescendantFonts"][0].get_object()
            assert "/FontFile2" in inner["/FontDescriptor"]
            assert "OpenSans" in inner["/BaseFont"]


@pytest.mark.parametrize("state", STATES)
def test_page_pdf_and_slides_say_the_same(state: str, pages: dict[str, CommitteePage]) -> None:
    page = pages[state]
    lines = [line for section in page.sections for line in section.lines]
    written = html.unescape(re.sub(r"<[^>]+>", " ", page_html(page)))
    reader = pypdf.PdfReader(io.BytesIO(committee_pdf(page)))
    first, second = (squeezed(sheet.extract_text()) for sheet in reader.pages)
    slides = squeezed(" ".join(slide_texts(committee_slides(page))))
    for line in [page.title, page.lead, *lines]:
        assert squeezed(line) in squeezed(written)
        assert squeezed(line) in first
        assert squeezed(line) in slides
    for line in page.method:
        assert squeezed(line) in second


def squeezed(text: str) -> str:
    """Return a text without blanks, which a PDF sets as it likes."""
    return "".join(text.split())


def slide_texts(data: bytes) -> list[str]:
    shapes = [shape for slide in Presentation(io.BytesIO(data)).slides for shape in slide.shapes]
    return [shape.text_frame.text for shape in shapes if shape.has_text_frame]


def test_the_second_page_holds_method_and_provenance(pages: dict[str, CommitteePage]) -> None:
    analysis = pages["busy"].findings.analysis
    text = pypdf.PdfReader(io.BytesIO(committee_pdf(pages["busy"]))).pages[1].extract_text()
    flat = squeezed(text)
    for told in (
        "Data up to 31 May 2026", "72 trap locations", "6,469 trap-nights", "9,999 permutations",
        "seed 0", f"snoutline {VERSION}", "negative binomial", "Westfall and Young",
    ):  # fmt: skip
        assert squeezed(told) in flat
    for name, digest in analysis.site.hashes.items():
        assert f"{name}{digest[:8]}" in flat


def test_a_long_second_page_is_still_one_page(pages: dict[str, CommitteePage]) -> None:
    page = replace(pages["undecided"], method=pages["undecided"].method * 3)
    reader = pypdf.PdfReader(io.BytesIO(committee_pdf(page)))
    assert len(reader.pages) == 2
    lowest: list[float] = []
    reader.pages[1].extract_text(visitor_text=lambda text, cm, tm, *_: lowest.append(tm[5]))
    assert min(each for each in lowest if each) > 10 * 72 / 25.4


@pytest.mark.parametrize("case", CASES)
def test_there_are_six_slides_and_the_map_is_shapes(
    case: str, pages: dict[str, CommitteePage]
) -> None:
    page = pages[case]
    deck = Presentation(io.BytesIO(committee_slides(page)))
    assert len(deck.slides) == 6
    types = [[shape.shape_type for shape in slide.shapes] for slide in deck.slides]
    assert MSO_SHAPE_TYPE.PICTURE not in {each for slide in types for each in slide}
    picture = committee_picture(page.findings.analysis, EN)
    free = [shape for shape in deck.slides[1].shapes if shape.shape_type == MSO_SHAPE_TYPE.FREEFORM]
    # Every area, every line of the legend, all traps together, the scale bar and the arrow.
    assert len(free) == len(picture.areas) + len(picture.key) + 1 + 3
    zones = [str(name) for name in page.findings.analysis.zones["name"]]
    assert len({shape.name for shape in free} & {" ".join(each.split()) for each in zones}) > 0
    right, low = deck.slide_width, deck.slide_height
    assert right is not None
    assert low is not None
    for shape in deck.slides[1].shapes:
        assert shape.left >= 0
        assert shape.left + shape.width <= right
        assert shape.top + shape.height <= low + 1
    with zipfile.ZipFile(io.BytesIO(committee_slides(page))) as archive:
        assert [name for name in archive.namelist() if name.startswith("ppt/media")] == []


@pytest.mark.parametrize("case", [*STATES, "hostile"])
def test_every_text_of_the_slides_fits_its_box(case: str, pages: dict[str, CommitteePage]) -> None:
    """Set word by word in Open Sans, whose lines are 1.37 em high; a heading takes one of them."""
    deck = Presentation(io.BytesIO(committee_slides(pages[case])))
    headings = {section.heading for section in pages[case].sections}
    told = set()
    for number, slide in enumerate(deck.slides):
        frames = [shape for shape in slide.shapes if shape.name.startswith("TextBox")]
        for shape in frames if number != 1 else []:
            runs = [paragraph.runs[0] for paragraph in shape.text_frame.paragraphs]
            rows = [rows_of(run, shape.width) for run in runs]
            size = runs[0].font.size
            high = (1.37 * sum(rows) + 0.3 * (len(rows) - 1)) * size
            assert high <= shape.height - 2 * 45720, runs[0].text
            assert shape.top + shape.height <= deck.slide_height
            if runs[0].text in headings:
                told.add(runs[0].text)
                assert rows == [1]
    assert told == headings


def rows_of(run: Any, wide: int) -> int:
    """Return how many rows a paragraph takes in a box that wide, EMU."""
    weight = "Bold" if run.font.bold else "Regular"
    font = ImageFont.truetype(font_file(weight), 1000)
    rows, row = 1, ""
    for word in run.text.split():
        longer = f"{row} {word}".strip()
        if font.getlength(longer) / 1000 * run.font.size <= wide - 2 * 91440:
            row = longer
        else:
            rows, row = rows + 1, word
    return rows


def test_every_section_has_its_place_on_page_and_slides(pages: dict[str, CommitteePage]) -> None:
    keys = {section.key for section in pages["busy"].sections}
    assert {"found", "glossary", *UNDER} == keys
    assert sorted(key for slide in SLIDES for key in slide if key != "where") == sorted(keys)


@pytest.mark.parametrize("case", ["busy", "hostile"])
def test_equal_sites_give_equal_bytes(case: str, pages: dict[str, CommitteePage]) -> None:
    page = pages[case]
    assert page_html(page) == page_html(page)
    assert committee_pdf(page) == committee_pdf(page)
    slides = committee_slides(page)
    assert slides == committee_slides(page)
    with zipfile.ZipFile(io.BytesIO(slides)) as archive:
        assert {each.date_time for each in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert b"2000-01-01" in archive.read("docProps/core.xml")


def test_zones_are_told_apart_in_grey_by_shade_lines_or_letter(
    pages: dict[str, CommitteePage],
) -> None:
    assert set(EVIDENCE_KEY) <= set(STYLES)
    looks = {
        kind: (
            STYLES[kind].fill,
            STYLES[kind].line,
            STYLES[kind].spacing_mm > 0,
            STYLES[kind].crossed,
        )
        for kind in "ahwbetxl"
    }
    assert len(set(looks.values())) == len(looks)
    plain = sorted(lightness_of(STYLES[kind].fill) for kind in ("a", "b", "water", "obstacle"))
    assert min(high - low for low, high in pairwise(plain)) >= MIN_LIGHTNESS_STEP
    picture = committee_picture(pages["busy"].findings.analysis, EN)
    assert sorted(text for _, text in picture.letters) == ["A1", "A2", "A3", "A4", "U", "U", "U"]
    assert all(area.strokes for area in picture.areas if area.kind == "t")
    assert [kind for kind, _ in picture.key][:1] == ["a"]


def test_without_a_limit_zones_are_shaded_by_their_catch(pages: dict[str, CommitteePage]) -> None:
    picture = committee_picture(pages["no_limit"].findings.analysis, EN)
    assert picture.letters == ()
    assert any(text == "4 to 8 per trap per week" for _, text in picture.key)
    svg = picture_svg(picture, "<map>")
    assert svg.count("<path") >= len(picture.areas)
    assert 'aria-label="&lt;map&gt;"' in svg


def test_the_text_is_as_large_as_the_page_lets_it_be(pages: dict[str, CommitteePage]) -> None:
    sizes = {case: fitting_size(pages[case]) for case in CASES}
    assert sizes["few_traps"] >= sizes["busy"] >= sizes["fullest"] >= 6.0
    assert sizes["busy"] >= 7.5
    assert CONTENT_MM[0] <= min(wide for wide, _ in PAPER_MM.values()) - 20
    assert CONTENT_MM[1] <= min(high for _, high in PAPER_MM.values()) - 20


def test_letters_that_the_font_lacks_do_not_stop_the_pdf(pages: dict[str, CommitteePage]) -> None:
    notes = CommitteeSettings(water="水 \U0001f41d Ćma, Жук", players="a\u202eb")
    page = changed(pages["busy"], notes, "Zone")
    text = pypdf.PdfReader(io.BytesIO(committee_pdf(page))).pages[0].extract_text()
    assert "?? Ćma, Жук".replace(" ", "") in squeezed(text)
    assert "\u202e" not in text
    assert printable("\N{NO-BREAK SPACE}", frozenset({160})) == "\N{NO-BREAK SPACE}"
    assert font_file("Bold").is_file()


def test_zones_whose_names_the_font_lacks_go_by_their_ids_in_the_pdf(tmp_path: Path) -> None:
    site = state_site("busy", tmp_path / "site")
    table = json.loads((site / "zones.geojson").read_text(encoding="utf-8"))
    for feature in table["features"]:
        if feature["properties"]["zone_id"] == "H10-SU":
            feature["properties"]["name"] = "\u7b2c\u5341\u6d1e"
    (site / "zones.geojson").write_text(json.dumps(table), encoding="utf-8")
    output = run(site).output
    assert "lacks letters of zone names: it shows the ids" in output
    text = pypdf.PdfReader(site.parent / "out" / "committee.pdf").pages[0].extract_text()
    assert "H10-SU (A" in text.replace("\n", " ")
    assert "?" not in text
    shown = (site.parent / "out" / "committee.html").read_text(encoding="utf-8")
    assert "\u7b2c\u5341\u6d1e (A" in shown


def run(site: Path, *options: str) -> Result:
    out = site.parent / "out"
    return CliRunner().invoke(module.command, [str(site), "--out", str(out), *options])


def test_the_command_writes_its_files_and_only_reads_the_site(tmp_path: Path) -> None:
    site = state_site("undecided", tmp_path / "site")
    before = {path.name: path.read_bytes() for path in site.iterdir()}
    result = run(site, "--paper", "a4")
    assert result.exit_code == 0, result.output
    assert "No zone is known to be above its limit and 4 are undecided." in result.output
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"committee.html", "committee.pdf", "committee.pptx"}
    assert "size:A4" in (tmp_path / "out" / "committee.html").read_text(encoding="utf-8")
    assert {path.name: path.read_bytes() for path in site.iterdir()} == before


def test_without_the_extra_there_are_no_slides_and_that_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "find_spec", lambda _: None)
    result = run(state_site("few_traps", tmp_path / "site"))
    assert result.exit_code == 0, result.output
    assert module.NO_SLIDES in result.output
    assert not (tmp_path / "out" / "committee.pptx").exists()


def test_other_commands_load_neither_pdf_nor_slides_nor_font_tools() -> None:
    code = (
        "import sys, importlib\n"
        "from scripts.cli import COMMANDS\n"
        "for each in COMMANDS:\n"
        "    if each.name != 'committee':\n"
        "        importlib.import_module(f'scripts.commands.{each.module}')\n"
        "found = {'fpdf', 'pptx', 'fontTools', 'PIL'} & set(sys.modules)\n"
        "sys.exit(','.join(sorted(found)) or 0)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
