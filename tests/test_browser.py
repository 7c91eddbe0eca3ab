"""The map page in a real browser with the network cut: every control, by mouse and by keyboard."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from analyses import (
    HOSTILE,
    hostile_analysis,
    judged_analysis,
    nine_trap_analysis,
    one_visit_analysis,
    quiet_analysis,
    usual_analysis,
    zero_analysis,
)
from languages import EN
from playwright.sync_api import Browser, Locator, Page, Request, ViewportSize

from maps.page import HIDDEN_AT_FIRST, LAYERS, activity_map
from spatial.results import Analysis

pytestmark = pytest.mark.browser

WIDE: ViewportSize = {"width": 1440, "height": 900}
NARROW: ViewportSize = {"width": 390, "height": 844}
NARROWEST: ViewportSize = {"width": 360, "height": 640}
MAKERS: dict[str, Callable[[], Analysis]] = {
    "usual": usual_analysis,
    "quiet": quiet_analysis,
    "zeros": zero_analysis,
    "nine": nine_trap_analysis,
    "single": one_visit_analysis,
    "hostile": hostile_analysis,
}
SHOWN = [key for key in LAYERS if key != "aerial"]
"""Layers of a site without a photo."""
both_sizes = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    paths = {}
    for name, make in MAKERS.items():
        paths[name] = folder / f"{name}.html"
        paths[name].write_bytes(activity_map(make(), EN).encode("utf-8"))
    return paths


class Visit:
    """One look at a page, with everything that it asked for or complained about."""

    def __init__(self, page: Page, path: Path) -> None:
        self.page = page
        self.asked: list[str] = []
        self.complaints: list[str] = []
        page.on("request", self._asked)
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", lambda dialog: self.complaints.append(dialog.message))
        self.own = path.as_uri()
        page.goto(self.own)

    def _asked(self, request: Request) -> None:
        if request.url != self.own and not request.url.startswith("data:"):
            self.asked.append(request.url)


Opener = Callable[..., Page]


@pytest.fixture
def opened(browser: Browser, files: dict[str, Path]) -> Iterator[Opener]:
    """Open pages with the network cut; at the end nothing was asked for and nothing went wrong."""
    visits: list[Visit] = []

    def open_page(
        name: str = "usual", size: ViewportSize = WIDE, *, clock: bool = False, calm: bool = True
    ) -> Page:
        motion = "reduce" if calm else "no-preference"
        context = browser.new_context(
            viewport=size, offline=True, reduced_motion="reduce" if calm else "no-preference"
        )
        page = context.new_page()
        if clock:
            page.clock.install(time=0)
        visits.append(Visit(page, files[name]))
        assert page.evaluate(f"matchMedia('(prefers-reduced-motion: {motion})').matches")
        return page

    yield open_page
    for visit in visits:
        visit.page.context.close()
    assert [visit.asked for visit in visits if visit.asked] == []
    assert [visit.complaints for visit in visits if visit.complaints] == []


def week_shown(page: Page) -> str:
    return page.locator("#week-number").inner_text().removeprefix("week ")


def drawing_of(page: Page, css: str) -> list[str]:
    """Return fill and outline of each drawn path, to tell one picture from another."""
    script = "all => all.map(p => p.getAttribute('fill') + ' ' + p.getAttribute('d'))"
    found: list[str] = page.locator(css).evaluate_all(script)
    return found


def click_zone(page: Page, zone: int) -> None:
    """Click near a zone's corner, where no trap stands in the hand-made analyses."""
    shape = page.locator("path.zone").nth(zone)
    box = shape.bounding_box()
    assert box
    shape.click(position={"x": box["width"] * 0.13, "y": box["height"] * 0.13})


def row_of(page: Page, zone: int) -> Locator:
    return page.locator(f'tr[data-zone="{zone}"]')


@both_sizes
@pytest.mark.parametrize("name", MAKERS)
def test_a_page_draws_all_zones_and_traps_without_a_request_or_an_error(
    opened: Opener, name: str, size: ViewportSize
) -> None:
    page, analysis = opened(name, size), MAKERS[name]()
    assert page.locator("path.zone").count() == len(analysis.zones)
    assert page.locator("path.trap").count() == len(analysis.traps)
    assert page.locator("tbody tr").count() == len(analysis.zones)
    assert page.locator("html").get_attribute("lang") == "en"


@pytest.mark.parametrize("size", [WIDE, NARROW, NARROWEST], ids=["1440", "390", "360"])
@pytest.mark.parametrize("name", ["usual", "hostile"])
def test_nothing_overflows_to_the_side(opened: Opener, name: str, size: ViewportSize) -> None:
    page = opened(name, size)
    assert page.evaluate("document.documentElement.scrollWidth") == size["width"]


@both_sizes
def test_the_slider_moves_the_week_by_keyboard(opened: Opener, size: ViewportSize) -> None:
    page = opened(size=size)
    dots, shades = drawing_of(page, "path.trap"), drawing_of(page, "path.zone")
    page.locator("#week").focus()
    page.keyboard.press("ArrowLeft")
    assert week_shown(page) == "19"
    page.keyboard.press("Home")
    assert week_shown(page) == "15"
    assert "catch of week 15 alone" in page.locator("#week-sentence").inner_text()
    assert "up to 12 April 2026" in page.locator("#week-sentence").inner_text()
    assert drawing_of(page, "path.trap") != dots
    assert drawing_of(page, "path.zone") != shades
    page.keyboard.press("End")
    assert drawing_of(page, "path.trap") == dots
    assert drawing_of(page, "path.zone") == shades


@both_sizes
def test_the_slider_moves_the_week_by_mouse(opened: Opener, size: ViewportSize) -> None:
    page = opened(size=size)
    page.locator("#week").click(position={"x": 6, "y": 20})
    assert week_shown(page) == "15"
    assert page.locator("#week").get_attribute("aria-valuetext") == "Week 15, 6 to 12 April 2026"


@both_sizes
def test_step_buttons_work_by_mouse_and_keyboard_and_stop_at_the_ends(
    opened: Opener, size: ViewportSize
) -> None:
    page = opened(size=size)
    assert page.locator("#week-on").is_disabled()
    page.locator("#week-back").click()
    assert week_shown(page) == "19"
    page.locator("#week-back").focus()
    page.keyboard.press("Enter")
    assert week_shown(page) == "18"
    page.locator("#week-on").focus()
    page.keyboard.press("Space")
    assert week_shown(page) == "19"
    page.locator("#week").press("Home")
    assert page.locator("#week-back").is_disabled()


@both_sizes
def test_play_runs_through_the_season_and_pauses(opened: Opener, size: ViewportSize) -> None:
    page = opened(size=size, clock=True)
    play = page.locator("#play")
    play.click()
    assert (week_shown(page), play.inner_text()) == ("15", "Pause")
    page.clock.run_for(1850)
    assert week_shown(page) == "17"
    play.focus()
    page.keyboard.press("Enter")
    assert play.get_attribute("aria-pressed") == "false"
    page.clock.run_for(5000)
    assert week_shown(page) == "17"
    page.keyboard.press("Space")
    page.clock.run_for(5000)
    assert (week_shown(page), play.inner_text()) == ("20", "Play")


def test_a_season_of_one_week_has_nothing_to_slide(opened: Opener) -> None:
    page = opened("single")
    for control in ("#week", "#week-back", "#week-on", "#play"):
        assert page.locator(control).is_disabled()


@both_sizes
def test_a_press_on_the_season_curve_chooses_the_week(opened: Opener, size: ViewportSize) -> None:
    page = opened(size=size)
    curve = page.locator("svg.curve")
    box = curve.bounding_box()
    assert box
    curve.click(position={"x": box["width"] * 0.2, "y": box["height"] * 0.5})
    assert week_shown(page) == "15"
    assert "week 17: 9.5" in (curve.get_attribute("aria-label") or "")


@both_sizes
@pytest.mark.parametrize(("layer", "on"), [(key, key != HIDDEN_AT_FIRST) for key in SHOWN])
def test_a_layer_goes_and_comes_by_mouse_and_keyboard(
    opened: Opener, layer: str, on: bool, size: ViewportSize
) -> None:
    page = opened(size=size)
    box = page.locator(f'[data-layer="{layer}"]')
    pane = page.locator(f".leaflet-{layer}-pane :is(path, .leaflet-marker-icon)")
    assert (box.is_checked(), pane.count() > 0) == (on, on)
    box.click()
    assert (pane.count() > 0) == (not on)
    box.focus()
    page.keyboard.press("Space")
    assert (pane.count() > 0) == on


@both_sizes
def test_search_finds_by_keyboard(opened: Opener, size: ViewportSize) -> None:
    page = opened(size=size)
    box = page.locator("#search")
    box.focus()
    page.keyboard.type("hole 1")
    assert page.locator("#search-count").inner_text() == "4 matches"
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.locator("#detail h3").inner_text() == "Zone Z10"
    assert "chosen" in (row_of(page, 9).get_attribute("class") or "")
    page.keyboard.type("t07")
    page.keyboard.press("Enter")
    assert page.locator("#detail h3").inner_text() == "Trap T07"
    page.keyboard.type("zzz")
    assert page.locator("#search-count").inner_text() == "No matches"
    page.keyboard.press("Escape")
    assert box.input_value() == ""


@both_sizes
def test_search_finds_by_mouse_and_the_map_goes_there(opened: Opener, size: ViewportSize) -> None:
    page = opened(size=size)
    before = drawing_of(page, "path.zone")
    page.locator("#search").fill("T02")
    page.locator("#found button").first.click()
    assert page.locator("path.halo").count() == 1
    assert drawing_of(page, "path.zone") != before
    detail = page.locator("#detail").inner_text()
    assert "cup" in detail
    assert "Quiet patch: a group of neighbouring traps" in detail


@both_sizes
def test_the_table_sorts_by_mouse_and_keyboard_with_blanks_last(
    opened: Opener, size: ViewportSize
) -> None:
    page = opened(size=size)
    rates = "rows => rows.map(r => r.cells[5].dataset.v)"
    head = page.locator("th", has=page.locator('[data-key="rate"]'))
    page.locator('[data-key="rate"]').click()
    assert head.get_attribute("aria-sort") == "descending"
    falling = page.locator("tbody tr").evaluate_all(rates)
    numbers = [float(value) for value in falling if value]
    assert numbers == sorted(numbers, reverse=True)
    assert falling[-3:] == ["", "", ""]
    page.locator('[data-key="rate"]').focus()
    page.keyboard.press("Enter")
    assert head.get_attribute("aria-sort") == "ascending"
    rising = page.locator("tbody tr").evaluate_all(rates)
    assert rising == [*reversed(falling[:-3]), "", "", ""]


@both_sizes
def test_a_row_shows_its_zone_on_the_map_by_mouse_and_keyboard(
    opened: Opener, size: ViewportSize
) -> None:
    page = opened(size=size)
    before = drawing_of(page, "path.zone")
    row_of(page, 4).locator(".pick").click()
    first = drawing_of(page, "path.halo")
    assert len(first) == 1
    assert drawing_of(page, "path.zone") != before
    assert row_of(page, 4).get_attribute("aria-selected") == "true"
    row_of(page, 6).locator(".pick").focus()
    page.keyboard.press("Enter")
    assert drawing_of(page, "path.halo") != first
    assert page.locator("tr.chosen").get_attribute("data-zone") == "6"
    assert page.locator(".map").evaluate(
        "m => { const b = m.getBoundingClientRect(); return b.top < innerHeight && b.bottom > 0; }"
    )
    page.locator("#whole").click()
    assert drawing_of(page, "path.zone") == before


@both_sizes
def test_a_zone_on_the_map_shows_its_row(opened: Opener, size: ViewportSize) -> None:
    page = opened(size=size)
    click_zone(page, 11)
    row = page.locator("tr.chosen")
    assert row.get_attribute("data-zone") == "11"
    assert "no traps" in page.locator("#detail").inner_text()
    seen = "r => { const a = r.getBoundingClientRect(), b = r.closest('#zones')"
    seen += ".getBoundingClientRect(); return a.top >= b.top && a.bottom <= b.bottom; }"
    assert row.evaluate(seen)
    page.locator("#detail button").click()
    assert page.evaluate("document.activeElement.closest('tr').dataset.zone") == "11"


@both_sizes
def test_a_trap_on_the_map_shows_its_facts_of_the_chosen_week(
    opened: Opener, size: ViewportSize
) -> None:
    page = opened(size=size)
    page.locator("path.trap").nth(15).click(force=True)
    assert page.locator("#detail h3").inner_text() == "Trap T16"
    assert "void: missing" not in page.locator("#detail dl").inner_text()
    page.locator("#week").press("Home")
    page.locator("#week").press("ArrowRight")
    assert "Week 16" in page.locator("#detail dl").inner_text()
    assert "void: missing" in page.locator("#detail dl").inner_text()


@both_sizes
def test_a_suggested_place_gives_its_reason_by_mouse_and_keyboard(
    opened: Opener, size: ViewportSize
) -> None:
    page = opened(size=size)
    markers = page.locator(".leaflet-suggestions-pane .place")
    markers.nth(1).click()
    assert page.locator("#detail h3").inner_text() == "Suggested place 2"
    assert "the zone has no traps" in page.locator("#detail").inner_text()
    markers.nth(0).focus()
    page.keyboard.press("Enter")
    assert page.locator("#detail h3").inner_text() == "Suggested place 1"


def test_the_map_moves_and_zooms_by_keyboard_and_by_its_buttons(opened: Opener) -> None:
    page = opened()
    seen = [drawing_of(page, "path.zone")]
    page.locator(".map").focus()
    for key in ("+", "-"):
        page.keyboard.press(key)
        seen.append(drawing_of(page, "path.zone"))
    assert seen[0] != seen[1]
    assert seen[1] != seen[2]
    page.locator(".leaflet-control-zoom-in").click()
    assert drawing_of(page, "path.zone") != seen[2]
    pane = page.locator(".leaflet-map-pane")
    before = pane.get_attribute("style")
    page.locator(".map").focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "before => document.querySelector('.leaflet-map-pane').getAttribute('style') !== before",
        arg=before,
    )


def test_every_control_is_reached_by_tab_and_shows_its_focus(opened: Opener) -> None:
    """Zones and traps are no tab stops: the table and the search box lead to them."""
    page = opened()
    focus = """() => { const e = document.activeElement, s = getComputedStyle(e);
      const { layer, key } = e.dataset;
      return [layer ? `show ${layer}` : key ? `sort ${key}` : e.id || e.className, e.tagName,
              s.outlineStyle, parseFloat(s.outlineWidth)]; }"""
    reached = []
    for _ in range(60):
        page.keyboard.press("Tab")
        name, tag, style, width = page.evaluate(focus)
        if tag == "BODY":
            break
        reached.append(name)
        assert (tag, style, width) == (tag, "solid", 3)
    assert tag == "BODY"
    layers = [f"show {key}" for key in SHOWN]
    assert [name for name in reached if name in layers] == layers
    steps = ["whole", "week-back", "week", "play", "search", "zones", "sort id", "sort gap"]
    assert [name for name in reached if name in steps] == steps
    assert reached.count("pick") == len(usual_analysis().zones)


def test_a_name_follows_the_pointer_as_text(opened: Opener) -> None:
    page = opened("hostile")
    page.locator("path.zone").nth(3).hover(position={"x": 20, "y": 20})
    assert page.locator(".leaflet-tooltip bdi").text_content() == (
        f"Z04 {HOSTILE[3]}: {HOSTILE[0]} 4"
    )


@both_sizes
def test_hostile_text_is_shown_as_it_is_and_never_lives(opened: Opener, size: ViewportSize) -> None:
    page = opened("hostile", size)
    assert page.locator("img, iframe, object, embed").count() == 0
    assert page.locator("[onerror], [onload], [onclick]").count() == 0
    for zone, text in enumerate(HOSTILE):
        row_of(page, zone).locator(".pick").click()
        assert page.locator("#detail h3 bdi").text_content() == f"Z{zone + 1:02d} {text}"
        assert row_of(page, zone).locator(".pick").text_content() == f"Z{zone + 1:02d} {text}"
    page.locator("#search").fill("<img")
    assert HOSTILE[0] in (page.locator("#found").text_content() or "")
    assert page.locator("img").count() == 0


def test_a_script_that_is_not_listed_does_not_run(browser: Browser, files: dict[str, Path]) -> None:
    page = browser.new_page()
    page.goto(files["usual"].as_uri())
    page.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.ran = 1';"
        " document.body.append(s); }"
    )
    assert page.evaluate("window.ran") is None
    page.close()


@both_sizes
def test_paper_gets_the_whole_site_and_the_screen_its_view_back(
    opened: Opener, size: ViewportSize
) -> None:
    page = opened(size=size)
    row_of(page, 4).locator(".pick").click()
    zoomed = drawing_of(page, "path.zone")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    inside = """() => { const m = document.querySelector('.map').getBoundingClientRect();
      return [...document.querySelectorAll('path.zone')].every(p => {
        const b = p.getBoundingClientRect();
        return b.left >= m.left && b.right <= m.right && b.top >= m.top && b.bottom <= m.bottom; })
      ? m.width : 0; }"""
    assert page.evaluate(inside) == pytest.approx(180 / 25.4 * 96, abs=1)
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert drawing_of(page, "path.zone") == zoomed


def test_the_print_hides_controls_and_keeps_key_and_table(opened: Opener) -> None:
    page = opened()
    page.emulate_media(media="print")
    for gone in ("#week", "#search", ".layers", ".leaflet-control-zoom"):
        assert not page.locator(gone).is_visible()
    for kept in (".key", "tbody tr:last-child", ".care", "svg.curve", "footer"):
        assert page.locator(kept).first.is_visible()


def test_motion_is_left_out_when_the_reader_asks_for_calm(opened: Opener) -> None:
    page = opened(calm=True)
    row_of(page, 4).locator(".pick").click()
    still = drawing_of(page, "path.zone")
    page.evaluate("() => new Promise(done => setTimeout(done, 400))")
    assert drawing_of(page, "path.zone") == still


def test_with_motion_the_map_glides_to_the_chosen_zone(opened: Opener) -> None:
    page = opened(calm=False)
    before = drawing_of(page, "path.zone")[0]
    row_of(page, 4).locator(".pick").click()
    page.wait_for_function(
        "before => { const p = document.querySelector('path.zone');"
        " return p.getAttribute('fill') + ' ' + p.getAttribute('d') !== before; }",
        arg=before,
    )
    assert page.locator("path.halo").count() == 1


def test_evidence_is_drawn_for_the_last_week_only(browser: Browser, tmp_path: Path) -> None:
    """Earlier weeks are shaded by catch rate and carry no letters; the caption says so."""
    path = tmp_path / "judged.html"
    path.write_text(activity_map(judged_analysis(), EN), encoding="utf-8")
    page = browser.new_page(offline=True, reduced_motion="reduce")
    page.goto(path.as_uri())
    fills = "all => all.map(p => p.getAttribute('fill'))"
    last = page.locator("path.zone").evaluate_all(fills)
    assert page.locator(".letter.state").all_inner_texts() == ["A", "U"]
    assert last[-1] == "url(#fill-t)"
    page.locator("#states .pick").first.click()
    assert "above your limit of 2 adults per trap-week" in page.locator("#detail").inner_text()
    page.locator("#week-back").click()
    assert page.locator("path.zone").evaluate_all(fills) != last
    assert page.locator(".letter.state").count() == 0
    assert "Shading: catch rate, as only week" in page.locator("#week-sentence").inner_text()
    page.context.close()
