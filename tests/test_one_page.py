"""The weekly map on one sheet: the button beside the map, against the browser's own print."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator

import pytest
from committee_sites import DEMO, state_site
from languages import EN
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

from data.reading import read_site
from maps.page import activity_map
from spatial.analysis import analyse

pytestmark = pytest.mark.browser

papers = pytest.mark.parametrize("paper", ["Letter", "A4"])
sites = pytest.mark.parametrize("site", ["demo", "no_limit"])


@pytest.fixture(scope="module")
def addresses(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("one_page")
    found = {"demo": DEMO, "no_limit": state_site("no_limit", folder / "no_limit")}
    for name, site in found.items():
        (folder / f"{name}.html").write_text(activity_map(analyse(read_site(site)), EN), "utf-8")
    return {name: (folder / f"{name}.html").as_uri() for name in found}


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    # Without a person there is no print dialog; that the page asks for it is counted instead.
    context = browser.new_context(viewport={"width": 1440, "height": 900}, offline=True)
    context.add_init_script("window.asked = 0; window.print = () => { window.asked += 1; };")
    yield context.new_page()
    context.close()


def printed(page: Page, paper: str) -> list[str]:
    """Return the text of each page of paper."""
    pages = PdfReader(io.BytesIO(page.pdf(format=paper, print_background=True))).pages
    return [squeezed(each.extract_text()) for each in pages]


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def text_of(page: Page, place: str) -> str:
    return squeezed(page.locator(place).first.text_content() or "")


@papers
@sites
def test_one_sheet_holds_sentence_map_key_and_the_worst_zones(
    page: Page, addresses: dict[str, str], paper: str, site: str
) -> None:
    page.goto(addresses[site])
    page.locator("#print-one").click()
    assert page.evaluate("window.asked") == 1
    worst = [squeezed(row) for row in page.locator(".worst tbody th").all_text_contents()]
    sheets = printed(page, paper)
    assert len(sheets) == 1
    for place in (".site", ".lead", ".caption", ".key-traps h3", ".key-marks h3", "footer"):
        assert text_of(page, place)[:60] in sheets[0]
    shown = [zone in sheets[0] for zone in worst]
    # All of the demo's zones above their limit; that some rows are missing is said.
    assert shown.index(False) >= 4
    assert "asmanyas" in sheets[0]
    assert not any(shown[shown.index(False) :])
    assert "Takecare" not in sheets[0]


@pytest.mark.parametrize(("site", "column"), [("demo", 6), ("no_limit", 5)])
def test_the_worst_zones_come_first(
    page: Page, addresses: dict[str, str], site: str, column: int
) -> None:
    page.goto(addresses[site])
    page.locator("#print-one").click()
    names = page.locator(".worst tbody th > bdi").all_text_contents()
    values = page.locator("#zones tbody tr").evaluate_all(
        "(rows, k) => rows.map(row => [row.cells[0].querySelector('bdi').textContent,"
        " row.cells[k].dataset.v === '' ? -1 : Number(row.cells[k].dataset.v)])",
        column,
    )
    worth = dict(values)
    listed = [worth[name] for name in names]
    assert len(listed) == 20
    assert listed == sorted(worth.values(), reverse=True)[:20]


@papers
def test_the_whole_site_is_on_the_map_of_the_sheet(
    page: Page, addresses: dict[str, str], paper: str
) -> None:
    page.goto(f"{addresses['demo']}#zone=H05-RO")
    page.locator("#print-one").click()
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    box = page.locator(".map").bounding_box()
    assert box
    assert box["width"] == pytest.approx(117 / 25.4 * 96, abs=1)
    inside = (
        "(all, box) => all.map(one => one.getBoundingClientRect()).every(one => one.width > 0"
        " && one.left >= box.x && one.right <= box.x + box.width"
        " && one.top >= box.y && one.bottom <= box.y + box.height)"
    )
    for shapes in ("path.zone", "path.trap", "span.place, div.place"):
        assert page.locator(f".map {shapes}").evaluate_all(inside, box)


@papers
def test_the_browsers_own_print_stays_all_of_it(
    page: Page, addresses: dict[str, str], paper: str
) -> None:
    page.goto(addresses["demo"])
    before = printed(page, paper)
    page.locator("#print-one").click()
    assert len(printed(page, paper)) == 1
    after = printed(page, paper)
    assert len(before) > 3
    assert after == before
    assert "Takecare" in "".join(after)
    # A print dialog that never came leaves nothing behind either.
    page.locator("#print-one").click()
    page.keyboard.press("Control")
    assert printed(page, paper) == before


@papers
def test_the_browsers_own_print_cuts_no_column(
    page: Page, addresses: dict[str, str], paper: str
) -> None:
    page.goto(addresses["demo"])
    inner_mm = {"Letter": 215.9, "A4": 210.0}[paper] - 2 * 13
    page.set_viewport_size({"width": int(inner_mm / 25.4 * 96), "height": 900})
    page.emulate_media(media="print")
    for place in ("#zones", "#states"):
        table = page.locator(place)
        assert table.evaluate("all => all.scrollWidth - document.body.clientWidth") <= 0
    words = page.locator("#zones td:last-child")
    assert (
        words.evaluate_all("all => all.filter(each => each.scrollWidth > each.clientWidth)") == []
    )


@papers
def test_much_text_is_cut_and_never_makes_a_second_sheet(
    page: Page, addresses: dict[str, str], paper: str
) -> None:
    page.goto(addresses["demo"])
    page.evaluate(
        "() => { const lead = document.querySelector('.lead bdi');"
        "lead.textContent = lead.textContent + ' and one more sentence'.repeat(300);"
        "const list = document.querySelector('.key-around ul');"
        "for (let k = 0; k < 80; k += 1) list.append(list.children[0].cloneNode(true)); }"
    )
    page.locator("#print-one").click()
    sheets = printed(page, paper)
    assert len(sheets) == 1
    assert text_of(page, ".site") in sheets[0]
    assert "65of70trapschecked" in sheets[0]


def test_an_earlier_week_is_printed_with_its_own_key(page: Page, addresses: dict[str, str]) -> None:
    page.goto(f"{addresses['demo']}#week=18")
    page.locator("#print-one").click()
    (sheet,) = printed(page, "A4")
    assert "catchofweek18alone" in sheet
    assert "earlierweeks:adultspertrap-week" in sheet
    assert "A:aboveyourlimit" not in sheet


def test_a_large_view_prints_like_the_small_one(page: Page, addresses: dict[str, str]) -> None:
    page.goto(addresses["demo"])
    page.locator("#print-one").click()
    small = printed(page, "A4")
    everything = printed(page, "A4")
    page.locator("#project").click()
    page.wait_for_function("document.body.classList.contains('projected')")
    page.locator("#print-one").click()
    assert printed(page, "A4") == small
    assert page.evaluate("document.body.classList.contains('projected')")
    assert printed(page, "A4") == everything
