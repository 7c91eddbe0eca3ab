"""The weekly map in another language: no word bypasses the file, whatever is pressed."""

from __future__ import annotations

import ast
import html
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from analyses import (
    judged_analysis,
    nine_trap_analysis,
    one_visit_analysis,
    usual_analysis,
    zero_analysis,
)
from languages import language, plain_runs, same, sentences_of, translated
from playwright.sync_api import Browser, Page

from data.reading import read_site
from maps.catalogue import Catalogue
from maps.page import activity_map
from spatial.analysis import analyse
from spatial.results import Analysis

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "data" / "demo" / "site"
MAKERS: dict[str, Callable[[], Analysis]] = {
    "usual": usual_analysis,
    "judged": judged_analysis,
    "nine": nine_trap_analysis,
    "single": one_visit_analysis,
    "zeros": zero_analysis,
}
SHOWN = """() => {
  const texts = [document.title];
  for (const each of document.querySelectorAll('body *')) {
    if (['SCRIPT', 'STYLE', 'NOSCRIPT'].includes(each.tagName)) continue;
    for (const name of ['title', 'aria-label', 'alt', 'placeholder', 'aria-valuetext'])
      if (each.hasAttribute(name)) texts.push(each.getAttribute(name));
    for (const node of each.childNodes) if (node.nodeType === 3) texts.push(node.textContent);
  }
  return texts.join(' \\u2022 ');
}"""
"""Every text of the page and its attributes, shown or not."""


@pytest.fixture(scope="module")
def demo() -> Analysis:
    return analyse(read_site(DEMO))


def users_texts(analysis: Analysis) -> set[str]:
    """Return what the user wrote."""
    site = analysis.site
    texts = {site.settings.name, *map(str, analysis.zones["name"]), *site.hashes}
    limits = [each.limits for each in analysis.decisions]
    texts |= {one.source for each in limits for one in (each.adults, each.larvae) if one}
    for table in (site.treatments, site.cores, site.refuges, site.obstacles):
        texts |= {
            str(each) for name in table.select_dtypes(exclude="number") for each in table[name]
        }
    return {" ".join(each.split()) for each in texts if each.strip()}


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(
        viewport={"width": 1440, "height": 900}, offline=True, reduced_motion="reduce"
    )
    yield context.new_page()
    context.close()


def using(page: Page) -> Iterator[str]:
    """Yield all that the page shows after each thing that a person can do with it."""
    yield page.evaluate(SHOWN)
    zones = page.locator("#zones tbody .pick")
    for place in range(0, zones.count(), max(1, zones.count() // 6)):
        zones.nth(place).click()
        yield page.evaluate(SHOWN)
        for trap in page.locator("#detail .picks .pick").all()[:1]:
            trap.click()
            yield page.evaluate(SHOWN)
    for sign in page.locator(".place.leaflet-marker-icon").all()[:2]:
        sign.dispatch_event("click")
        yield page.evaluate(SHOWN)
    for text in ("1", "no such place"):
        page.locator("#search").fill(text)
        yield page.evaluate(SHOWN)
    for control in ("#week-back", "#play", "#play", "#locate", "#measure", "#project"):
        if page.locator(control).is_enabled():
            page.locator(control).click()
        yield page.evaluate(SHOWN)
    page.evaluate("window.print = () => {}")
    page.locator("#print-one").dispatch_event("click")
    yield page.evaluate(SHOWN)
    page.goto(f"{page.url.partition('#')[0]}#week=99&zone=none&layers=none,zones")
    page.locator("#told:not(:empty)").wait_for(state="attached")
    yield page.evaluate(SHOWN)


@pytest.mark.browser
@pytest.mark.parametrize("name", [*MAKERS, "demo"])
def test_no_word_of_the_map_page_bypasses_the_language_file(
    name: str, demo: Analysis, strange: Catalogue, page: Page, tmp_path: Path
) -> None:
    analysis = demo if name == "demo" else MAKERS[name]()
    path = tmp_path / "map.html"
    path.write_text(activity_map(analysis, strange), encoding="utf-8")
    page.goto(path.as_uri())
    own = users_texts(analysis) | {"no such place"}
    states = list(using(page))
    assert len(states) > 15
    assert sorted({run for text in states for run in plain_runs(text, own)}) == []


@pytest.mark.browser
def test_a_word_that_bypasses_it_is_seen(strange: Catalogue, page: Page, tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    analysis = usual_analysis()
    own = users_texts(analysis) | {"no such place"}
    messages = {**strange.messages, "map_panel.no_cores": "No cores here"}
    path.write_text(activity_map(analysis, replace(strange, messages=messages)), "utf-8")
    page.goto(path.as_uri())
    found = {run for shown in using(page) for run in plain_runs(shown, own)}
    assert found == {"No cores here"}


MODULES = (
    "page",
    "payload",
    "words",
    "decision_words",
    "zone_states",
    "zone_story",
    "class_labels",
)
TEMPLATES = ("say", "shapes", "layers", "curve", "weeks", "detail", "table", "search", "state")
TEMPLATES += ("tools", "print")
NOT_SHOWN = {
    "a Drawing must be the child of a map on an OfflinePage",
    "week must be one of . Got  instead.",
}
"""Errors of the program itself."""

STRINGS = re.compile(r"'((?:[^'\\\n]|\\.)*)'|`((?:[^`\\]|\\.)*)`")
WORDS = re.compile(r"[A-Z][a-z]+ [a-z]{2,}|[a-z]{2,} [a-z]{2,} [a-z]{2,}")


def script_sentences(text: str) -> list[str]:
    """Return the strings of a script that read like a sentence."""
    code = "\n".join(line for line in text.splitlines() if not line.lstrip().startswith("//"))
    found = ["".join(groups) for groups in STRINGS.findall(code)]
    return [each for each in found if WORDS.search(re.sub(r"\$\{[^}]*\} ?", "", each))]


@pytest.mark.parametrize("name", MODULES)
def test_no_module_of_the_map_holds_a_sentence(name: str) -> None:
    text = (ROOT / "maps" / f"{name}.py").read_text(encoding="utf-8")
    assert sentences_of(ast.parse(text)) - NOT_SHOWN == set()


@pytest.mark.parametrize("name", TEMPLATES)
def test_no_script_of_the_map_holds_a_sentence(name: str) -> None:
    text = (ROOT / "maps" / "templates" / f"{name}.js").read_text(encoding="utf-8")
    assert script_sentences(text) == []


def test_a_sentence_in_a_script_is_seen() -> None:
    text = "// no word\nf('a b', `No ${n} trap here`, 'say.it', x ? 'in columns' : 'as it is')"
    assert script_sentences(text) == ["No ${n} trap here", "as it is"]


def test_the_map_page_follows_the_locale(tmp_path: Path) -> None:
    own = {"dates__day": "{day}. {month} {year}"}
    german = language(tmp_path, "de", translated("de", same, **own))
    text = html.unescape(activity_map(usual_analysis(), german))
    assert '<html lang="de" dir="ltr">' in text
    assert "Data up to 17. Mai 2026." in text
    assert "1.386 trap-nights" in text
    assert "2,5 acres" in text
    assert f"de.toml {german.digest[:8]}" in text


@pytest.mark.browser
def test_figures_in_the_panel_follow_the_locale(page: Page, tmp_path: Path) -> None:
    german = language(tmp_path, "de", translated("de", same))
    path = tmp_path / "map.html"
    path.write_text(activity_map(usual_analysis(), german), encoding="utf-8")
    page.goto(path.as_uri())
    page.locator("#zones tbody .pick").first.click()
    told = page.locator("#detail").inner_text()
    assert "12 per trap-week (95 % interval 8,6 to 18)" in told


@pytest.mark.browser
def test_a_page_from_right_to_left_says_so_and_fits_a_phone(
    browser: Browser, tmp_path: Path
) -> None:
    hebrew = language(tmp_path, "he", translated("he"))
    path = tmp_path / "map.html"
    path.write_text(activity_map(judged_analysis(), hebrew), encoding="utf-8")
    context = browser.new_context(viewport={"width": 390, "height": 844}, offline=True)
    phone = context.new_page()
    phone.goto(path.as_uri())
    assert phone.evaluate("document.documentElement.dir") == "rtl"
    assert phone.evaluate("document.documentElement.scrollWidth") == 390
    context.close()


@pytest.mark.browser
def test_a_hostile_message_is_shown_as_text(page: Page, tmp_path: Path) -> None:
    payload = "<img src=x onerror=alert(1)>"
    lang = language(tmp_path, "de", translated("de", lambda text: f"{payload}{text}"))
    path = tmp_path / "map.html"
    path.write_text(activity_map(judged_analysis(), lang), encoding="utf-8")
    page.goto(path.as_uri())
    states = list(using(page))
    assert all(payload in text for text in states)
    assert page.locator("img").count() == 0
