"""The map page of the demo as people use it, in a real browser with the network cut.

Findings of axe-core (the whole of WCAG 2.2 A and AA that it can tell) at three sizes; and the ways
of a manager, a scout and a speaker through the page.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import axe_playwright_python
import geopandas as gpd
import numpy as np
import pytest
from analyses import Sketch, sketched_analysis
from languages import EN
from playwright.sync_api import Browser, Page, ViewportSize

from data.reading import read_site
from maps.page import activity_map
from spatial.analysis import analyse

pytestmark = pytest.mark.browser

DEMO = Path(__file__).resolve().parent.parent / "data" / "demo" / "site"
AXE = Path(axe_playwright_python.__file__).parent / "axe.min.js"
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PHONE: ViewportSize = {"width": 390, "height": 844}
DESK: ViewportSize = {"width": 1440, "height": 900}
WALL: ViewportSize = {"width": 3840, "height": 2160}
sizes = pytest.mark.parametrize("size", [PHONE, DESK, WALL], ids=["phone", "desk", "wall"])


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("map") / "map.html"
    path.write_text(activity_map(analyse(read_site(DEMO)), EN), encoding="utf-8")
    return path.as_uri()


class Reader:
    """One person with one screen; complaints of the page are kept."""

    def __init__(self, browser: Browser, size: ViewportSize, **options: Any) -> None:
        self.context = browser.new_context(
            viewport=size, offline=True, reduced_motion="reduce", **options
        )
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("dialog", lambda dialog: self.complaints.append(dialog.message))
        self.page.on("request", lambda request: self.asked.append(request.url))

    def opens(self, address: str) -> Page:
        self.page.goto(address)
        return self.page

    def leaves(self) -> None:
        outside = [url for url in self.asked if not url.startswith(("file:", "data:"))]
        self.context.close()
        assert (self.complaints, outside) == ([], [])


@pytest.fixture
def reader(browser: Browser) -> Iterator[Any]:
    made: list[Reader] = []

    def make(size: ViewportSize, **options: Any) -> Reader:
        made.append(Reader(browser, size, **options))
        return made[-1]

    yield make
    for each in made:
        each.leaves()


def serious(page: Page) -> list[tuple[str, list[str]]]:
    """Return the serious and critical findings of axe-core: rule and places."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found: dict[str, Any] = page.evaluate("tags => axe.run(document, {runOnly: tags})", LEVELS)
    assert len(found["passes"]) > 25
    return [
        (each["id"], [str(node["target"]) for node in each["nodes"]])
        for each in found["violations"]
        if each["impact"] in ("serious", "critical")
    ]


@sizes
def test_axe_finds_nothing_serious_in_any_state(
    reader: Any, address: str, size: ViewportSize
) -> None:
    # The page's own policy forbids foreign scripts; only here it is set aside, to let axe in.
    page = reader(size, bypass_csp=True).opens(address)
    assert serious(page) == []
    page.locator("#states .pick").first.click()
    page.locator("#detail summary").first.click()
    assert serious(page) == []
    page.locator("#detail .picks .pick").first.click()
    page.locator("#project").click()
    assert serious(page) == []


def test_axe_can_find(reader: Any, address: str) -> None:
    page = reader(DESK, bypass_csp=True).opens(address)
    page.evaluate("document.getElementById('week').removeAttribute('aria-label')")
    page.evaluate("document.querySelector('.cutoff').style.color = '#bbb'")
    assert {rule for rule, _ in serious(page)} >= {"color-contrast", "label"}


@sizes
def test_from_the_worst_zone_to_why_and_to_last_week(
    reader: Any, address: str, size: ViewportSize
) -> None:
    page = reader(size).opens(address)
    worst = page.locator("#states .pick").first
    name = worst.inner_text()
    worst.click()
    detail = page.locator("#detail")
    assert detail.locator("h3").inner_text() == f"Zone {name}"
    heads = detail.locator("h4").all_inner_texts()
    assert heads == ["Catch by week", "Limit", "Cores", "Treatments", "Its traps"]
    assert "grounds committee, 2025-11-12" in detail.inner_text()
    assert "Evidence" in detail.locator("dt").all_inner_texts()
    assert "Next" in detail.locator("dt").all_inner_texts()
    assert detail.locator("svg .range").count() >= 10
    detail.locator("summary").click()
    assert detail.locator("table.story tr").count() == 15
    page.locator("#week-back").click()
    assert page.locator("#week-number").inner_text() == "week 21"
    assert page.url.endswith(f"#week=21&zone={name}")
    assert detail.locator("details").evaluate("one => one.open")
    assert page.evaluate("document.documentElement.scrollWidth") == size["width"]


@sizes
def test_from_a_zone_to_the_history_of_its_trap_and_back(
    reader: Any, address: str, size: ViewportSize
) -> None:
    page = reader(size).opens(f"{address}#zone=H05-RO")
    page.locator("#detail .picks .pick").first.click()
    assert page.locator("#detail h3").inner_text() == "Trap T15"
    rows = page.locator("#detail table.story tr")
    assert rows.count() == 15
    assert rows.last.inner_text().split() == ["22", "checked", "1", "7", "1.0"]
    assert rows.nth(12).inner_text().split() == ["20", "not", "checked"]
    page.go_back()
    assert page.locator("#detail h3").inner_text() == "Zone H05-RO"
    page.go_forward()
    assert page.locator("#detail h3").inner_text() == "Trap T15"


def test_the_large_view_shows_sentence_and_key_beside_the_map(reader: Any, address: str) -> None:
    page = reader(DESK).opens(address)
    assert page.locator(".room").count() == 0
    page.locator("#project").click()
    room = page.locator(".room")
    assert page.locator(".say .lead").inner_text() in room.inner_text()
    assert "A: above your limit" in room.inner_text()
    assert room.bounding_box()["y"] < DESK["height"] / 2
    page.locator("#week-back").click()
    assert "A: above your limit" not in room.inner_text()
    assert "adults per trap-week" in room.inner_text()
    page.locator("#project").click()
    assert page.locator(".room").count() == 0


def test_on_a_phone_a_link_to_a_zone_shows_its_story(reader: Any, address: str) -> None:
    page = reader(PHONE).opens(f"{address}#zone=H05-RO")
    box = page.locator("#detail h3").bounding_box()
    assert 0 <= box["y"] < PHONE["height"] / 2


@sizes
def test_a_link_opens_week_zone_and_layers(reader: Any, address: str, size: ViewportSize) -> None:
    page = reader(size).opens(f"{address}#week=18&zone=H10-FW&layers=zones,traps,links")
    assert page.locator("#week-number").inner_text() == "week 18"
    assert page.locator("#detail h3").inner_text() == "Zone H10-FW"
    shown = "all => all.filter(one => one.checked).map(one => one.dataset.layer)"
    assert page.locator("[data-layer]").evaluate_all(shown) == ["zones", "traps", "links"]
    assert page.locator("#told").inner_text() == ""


@pytest.mark.parametrize(
    ("state", "said"),
    [
        ("zone=NOWHERE", "The link asks for zone NOWHERE, which this page does not have."),
        (
            "week=99&trap=%3Cimg%20src=x%20onerror=alert(1)%3E",
            "The link asks for week 99 and trap <img src=x onerror=alert(1)>, which this page "
            "does not have.",
        ),
        ("%E0%A4%A&&=&zone", "The link asks for zone , which this page does not have."),
        ("layers=nothing", "The link asks for layer nothing, which this page does not have."),
        ("layers=", ""),
    ],
)
def test_a_link_to_what_is_not_there_is_told_in_a_sentence(
    reader: Any, address: str, state: str, said: str
) -> None:
    page = reader(DESK).opens(f"{address}#{state}")
    assert page.locator("#told").text_content() == said
    assert page.locator("img").count() == 0
    assert page.locator("#week-number").inner_text() == "week 22"


@sizes
def test_a_distance_is_told_in_metres_and_feet_and_escape_ends(
    reader: Any, address: str, size: ViewportSize
) -> None:
    page = reader(size).opens(address)
    page.locator("#measure").click()
    page.locator(".map").click(position={"x": 120, "y": 150})
    page.locator(".map").click(position={"x": 220, "y": 150})
    said = page.locator("#tool-says").inner_text().replace(",", "")
    metres, feet = (float(said.split(unit)[0].split("(")[-1]) for unit in (" m", " ft"))
    assert feet == pytest.approx(metres / 0.3048, abs=2)
    assert page.locator("path.tape").count() == 1
    assert page.locator("#detail h3").count() == 0
    page.keyboard.press("Escape")
    assert page.locator("path.tape").count() == 0
    assert page.locator("#measure").get_attribute("aria-pressed") == "false"


def test_a_scout_finds_the_own_place_with_its_accuracy(reader: Any, address: str) -> None:
    scout = reader(PHONE)
    page = scout.opens(address)
    page.evaluate(
        "() => { const at = JSON.parse(document.getElementById('data').textContent).traps.at[0];"
        "navigator.geolocation.getCurrentPosition = (found) => found({ coords: {"
        "latitude: at[0], longitude: at[1], accuracy: 5 } }); }"
    )
    assert page.locator("path.me").count() == 0
    page.locator("#locate").click()
    assert page.locator("#tool-says").inner_text() == "You are within 5 m (16 ft) of the dot."
    assert page.locator("path.me").count() == 1


def test_a_refused_position_is_said(reader: Any, address: str) -> None:
    page = reader(PHONE).opens(address)
    page.locator("#locate").click()
    page.wait_for_function("document.getElementById('tool-says').textContent.includes('refused')")


def test_a_speaker_gets_large_type_and_the_old_view_back(reader: Any, address: str) -> None:
    page = reader(WALL).opens(address)
    before = page.locator("path.zone").first.get_attribute("d")
    page.locator("#project").click()
    size = "e => parseFloat(getComputedStyle(e).fontSize)"
    for part in ("body", "#week-title", ".caption", ".letter", "#project", ".layers label"):
        assert page.locator(part).first.evaluate(size) >= 36
    (tick, *_), (sign, *_) = boxes(page, "[data-layer]"), boxes(page, ".map .place")
    assert min(tick["width"], sign["width"]) >= 36
    marked, judged = boxes(page, ".letter:not(.state)"), boxes(page, ".letter.state")
    beside = [one for one in marked if any(abs(one["left"] - it["left"]) < 1 for it in judged)]
    assert len(beside) >= 3
    for one in beside:
        assert all(
            abs(one["left"] - it["left"]) >= 1 or abs(one["top"] - it["top"]) >= one["height"] - 1
            for it in judged
        )
    page.keyboard.press("Escape")
    page.wait_for_function("!document.body.classList.contains('projected')")
    assert page.locator("path.zone").first.get_attribute("d") == before


@sizes
def test_the_first_printed_page_holds_sentences_map_and_key(
    reader: Any, address: str, size: ViewportSize
) -> None:
    page = reader(size).opens(f"{address}#zone=H05-RO")
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    shown = page.locator(".map").bounding_box()
    assert shown
    assert shown["width"] == pytest.approx(180 / 25.4 * 96, abs=1)
    zones = "all => all.map(p => p.getBoundingClientRect()).every(b => b.width > 0)"
    assert page.locator("path.zone").evaluate_all(zones)
    assert not page.locator(".tools").is_visible()
    page.evaluate("dispatchEvent(new Event('afterprint'))")


TOOLS = ["Whole site", "Where am I?", "Measure a distance", "Print on one page"]
TOOLS += ["Large view for a room"]
SMALL_PHONE: ViewportSize = {"width": 360, "height": 780}


def boxes(page: Page, places: str) -> list[dict[str, float]]:
    """Return where each shown thing stands, in px of the page."""
    found: list[dict[str, float]] = page.locator(places).evaluate_all(
        "all => all.map(one => [one, one.getBoundingClientRect()]).filter(([one, box]) =>"
        " box.width > 1 && one.checkVisibility()).map(([one, box]) => ({ name: one.outerHTML,"
        " left: box.left, right: box.right, top: box.top, bottom: box.bottom,"
        " width: box.width, height: box.height }))"
    )
    return found


@pytest.mark.parametrize("size", [DESK, WALL], ids=["desk", "wall"])
def test_the_buttons_stand_in_one_row(reader: Any, address: str, size: ViewportSize) -> None:
    page = reader(size).opens(address)
    assert page.locator(".tools button").all_inner_texts() == TOOLS
    row = boxes(page, ".tools button")
    assert len({round(box["top"]) for box in row}) == 1
    assert len({round(box["height"]) for box in row}) == 1
    gaps = [later["left"] - box["right"] for box, later in pairwise(row)]
    assert gaps == pytest.approx([8] * 4, abs=0.5)


@pytest.mark.parametrize("size", [PHONE, SMALL_PHONE], ids=["phone", "small"])
def test_the_buttons_of_a_phone_fill_a_grid(reader: Any, address: str, size: ViewportSize) -> None:
    page = reader(size, has_touch=True, is_mobile=True).opens(address)
    row = boxes(page, ".tools button")
    assert [round(box["left"]) for box in row[0:5:2]] == [14] * 3
    assert [round(row[k]["right"]) for k in (1, 3, 4)] == [size["width"] - 14] * 3
    assert row[0]["width"] == pytest.approx(row[1]["width"])
    page.locator("#measure").tap()
    assert page.evaluate("document.documentElement.scrollWidth") == size["width"]


@pytest.mark.parametrize("size", [PHONE, SMALL_PHONE], ids=["phone", "small"])
def test_a_thumb_hits_what_it_means(reader: Any, address: str, size: ViewportSize) -> None:
    """44 px for all that is pressed, but the signs on the map, which stand where their place is."""
    page = reader(size, has_touch=True, is_mobile=True).opens(f"{address}#zone=H05-RO")
    targets = boxes(
        page, "button, summary, input:not([type=checkbox]), .layers label, a:not(.skip)"
    )
    assert len(targets) > 100
    assert [box for box in targets if min(box["width"], box["height"]) < 43.9] == []
    signs = boxes(page, ".map .place.leaflet-marker-icon")
    assert [box for box in signs if min(box["width"], box["height"]) < 24] == []


@pytest.mark.parametrize("size", [PHONE, SMALL_PHONE], ids=["phone", "small"])
def test_a_phone_opens_with_the_sentence_and_the_map(
    reader: Any, address: str, size: ViewportSize
) -> None:
    """The sentences that say more follow the map; no reader of the screen loses any."""
    page = reader(size).opens(address)
    (lead,), (shown,) = boxes(page, ".lead"), boxes(page, ".map")
    (more,), (zones,) = boxes(page, ".say ul"), boxes(page, "#zones")
    assert lead["bottom"] < shown["top"] < size["height"] / 2
    assert shown["bottom"] < more["top"] < more["bottom"] < zones["top"]
    assert page.evaluate("document.documentElement.scrollWidth") == size["width"]


NEXT_PICTURE = "() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))"

DARK_ROUND = """(k) => {
  const map = window[document.querySelector('.map').id];
  const at = JSON.parse(document.getElementById('data').textContent).traps.at[k];
  const sheet = document.querySelector('.leaflet-traps-pane canvas');
  const point = map.latLngToContainerPoint(at), frame = map.getContainer().getBoundingClientRect();
  const box = sheet.getBoundingClientRect();
  const [x, y] = [frame.left + point.x - box.left, frame.top + point.y - box.top];
  const copy = new OffscreenCanvas(32, 32).getContext('2d', { willReadFrequently: true });
  const finer = sheet.width / box.width;
  copy.drawImage(sheet, (x - 16) * finer, (y - 16) * finer, 32 * finer, 32 * finer, 0, 0, 32, 32);
  const seen = copy.getImageData(0, 0, 32, 32).data;
  let dark = 0;
  for (let k = 0; k < seen.length; k += 4) dark += seen[k + 3] > 200 && seen[k] < 100 ? 1 : 0;
  return dark;
}"""
"""How many dark pixels the painted pane has within 16 px of a trap."""


@pytest.mark.parametrize(
    ("mark", "least", "most"),
    [("quiet_patch", 90, 400), ("lone_busy", 110, 400), ("lone_quiet", 95, 400), ("none", 0, 0)],
)
def test_a_large_network_is_painted_with_its_rings(
    reader: Any, tmp_path: Path, mark: str, least: int, most: int
) -> None:
    """Above 1,500 traps dots and rings are stamps; a dotted or broken ring is seen as well."""
    page = reader(DESK).opens(f"{large_map(tmp_path, mark)}#trap=T02")
    page.wait_for_function(f"({DARK_ROUND})(1) > 5")
    ringed = page.evaluate(DARK_ROUND, 1)
    page.locator("[data-layer=marks]").uncheck()
    page.evaluate(NEXT_PICTURE)
    bare = page.evaluate(DARK_ROUND, 1)
    assert bare > 5
    assert least <= ringed - bare <= most
    page.locator("[data-layer=marks]").check()
    page.evaluate(NEXT_PICTURE)
    assert page.evaluate(DARK_ROUND, 1) == ringed


def large_map(folder: Path, mark: str = "none") -> str:
    """Return the address of a map of 1,600 traps, the second one marked."""
    large = sketched_analysis(Sketch(columns=8, rows=6, traps=1600, weeks=2))
    west, south, east, north = large.zones.total_bounds
    rows = np.arange(1600) // 40
    places = gpd.points_from_xy(
        west + (np.arange(1600) % 40 + 0.3) * (east - west) / 40,
        south + (rows + 0.3) * (north - south) / 40,
        crs=large.traps.crs,
    )
    alone = large.marks["location_id"].eq(large.traps["location_id"].iloc[1])
    marks = large.marks.assign(mark=alone.map({True: mark, False: "none"}))
    path = folder / "large.html"
    path.write_text(
        activity_map(replace(large, marks=marks, traps=large.traps.set_geometry(places)), EN),
        encoding="utf-8",
    )
    return path.as_uri()


PLACE = """(k) => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const map = window[document.querySelector('.map').id];
  const frame = map.getContainer().getBoundingClientRect();
  const { x, y } = map.latLngToContainerPoint(data.traps.at[k]);
  return [frame.left + x, frame.top + y];
}"""
"""Where a trap is on the screen."""


def test_painted_dots_answer_the_pointer(reader: Any, tmp_path: Path) -> None:
    """A stamp is no shape of its own: the trap under the pointer is told, or the zone beside it."""
    page = reader(DESK).opens(f"{large_map(tmp_path)}#trap=T701")
    page.locator(".map").scroll_into_view_if_needed()
    here, next_one = page.evaluate(PLACE, 700), page.evaluate(PLACE, 701)
    for (x, y), name in ((here, "T701"), (next_one, "T702")):
        page.mouse.move(x, y)
        page.locator(".leaflet-tooltip", has_text=name).wait_for()
        page.wait_for_timeout(100)
    page.mouse.click(*next_one)
    assert page.locator("#detail h3").text_content() == "Trap T702"
    page.wait_for_timeout(100)
    (x, y), (beyond, _) = page.evaluate(PLACE, 701), page.evaluate(PLACE, 702)
    page.mouse.click((x + beyond) / 2, y)
    assert re.match(r"Zone Z\d\d", page.locator("#detail h3").text_content())


def test_a_long_story_has_the_key_beside_it(reader: Any, address: str) -> None:
    """No white field under the map; what is due comes after the story that was asked for."""
    page = reader(DESK).opens(f"{address}#zone=H05-RO")
    (tools,), (key,), (side,) = (boxes(page, place) for place in (".tools", ".key", ".side"))
    assert tools["bottom"] < key["top"] < tools["bottom"] + 40 < side["bottom"]
    (story,), (due,) = boxes(page, "#detail"), boxes(page, "#due-title")
    assert story["top"] < page.locator(".map").bounding_box()["y"] + 560
    assert due["top"] > story["bottom"]
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide == DESK["width"]


def test_a_wall_is_used(reader: Any, address: str) -> None:
    page = reader(WALL).opens(address)
    (shown,) = boxes(page, ".map")
    assert shown["width"] > WALL["width"] / 2
    assert shown["height"] > WALL["height"] / 2


@pytest.mark.parametrize("size", [DESK, PHONE, WALL], ids=["desk", "phone", "wall"])
@pytest.mark.parametrize("large", [False, True], ids=["usual", "large"])
def test_letters_lie_neither_on_signs_nor_on_each_other(
    reader: Any, address: str, size: ViewportSize, large: bool
) -> None:
    """But for the large letters on a phone, where two pairs have no free place."""
    page = reader(size).opens(address)
    if large:
        page.locator("#project").click()
    letters, signs = boxes(page, ".map .letter"), boxes(page, ".map .place.leaflet-marker-icon")
    assert len(letters) > 20
    overlaps = [
        (a, b)
        for k, a in enumerate(letters)
        for b in (*letters[:k], *signs)
        if min(a["right"], b["right"]) - max(a["left"], b["left"]) > 1
        and min(a["bottom"], b["bottom"]) - max(a["top"], b["top"]) > 1
    ]
    assert len(overlaps) <= (2 if size == PHONE and large else 0)
