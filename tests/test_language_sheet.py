"""The round sheet and the record of a treatment in other languages: no word bypasses the file."""

from __future__ import annotations

import ast
import html
import io
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from analyses import HOSTILE
from languages import EN, language, plain_runs, pseudo, same, sentences_of, translated, written
from openpyxl import load_workbook
from phones import NO_STORAGE, Phones, opened_phones, saved, small_plan
from playwright.sync_api import Browser, Locator, Page
from sites import LONG_SETTINGS, SETTINGS, long_visits, make_site
from test_treatment import planned

from data.reading import read_site
from data.site import STATUSES
from maps.catalogue import Catalogue
from maps.record_form import RECORD_COLUMNS, record_form
from maps.sheet import round_sheet
from maps.sheet_words import leg_texts, route_notes, route_sentence
from maps.xlsform import form_sheets, round_form
from scripts import cli
from spatial.round_plan import RoundPlan, plan_round

ROOT = Path(__file__).resolve().parent.parent
TEMPLATES = ROOT / "maps" / "templates"

USERS = {"Kestwick Green", "Sphenophorus parvulus", "Sphenophorus venatus", "parvulus", "venatus"}
USERS |= {"carabids", "cup", "linear", "visits-2026-W20.csv", "visits-2026-W19.csv"}
"""What the user named, and the name of the saved file."""

TOLD = ("sheet_trap", "sheet_void", "sheet_doubt", "sheet_open", "sheet_kept")
"""Sections that only the script says."""


@pytest.fixture(scope="module")
def german(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    own = {
        "dates__same_month": "{first_day}. bis {last_day}. {month} {year}",
        "dates__short_day": "{day}. {month}",
        "sheet_doubt__day": "{day}.{month}.{year}",
    }
    return language(tmp_path_factory.mktemp("de"), "de", translated("de", same, **own))


@pytest.fixture(scope="module")
def hebrew(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return language(tmp_path_factory.mktemp("he"), "he", translated("he"))


@pytest.fixture
def phones(browser: Browser, tmp_path: Path) -> Iterator[Phones]:
    with opened_phones(browser, tmp_path) as used:
        yield used


def english_left(text: str) -> list[str]:
    """Return every word in Latin letters that is not the user's own: stricter than a run of two."""
    for own in sorted(USERS, key=len, reverse=True):
        text = text.replace(own, "\N{BULLET}")
    return re.findall(r"(?<!\w)[A-Za-z]{2,}(?!\w)", text)


# The page of the phone: every view and control, and the paper in the same document.

TEXTS = """() => {
    const found = [document.title];
    for (const each of document.querySelectorAll('body, body *')) {
        if (['SCRIPT', 'STYLE'].includes(each.tagName)) continue;
        for (const node of each.childNodes) if (node.nodeType === 3) found.push(node.data);
        for (const name of ['aria-label', 'title', 'alt', 'placeholder']) {
            if (each.hasAttribute(name)) found.push(each.getAttribute(name));
        }
    }
    return found.map((text) => text.replace(/\\s+/g, ' ').trim()).filter(Boolean);
}"""
"""Every text of the document, shown or hidden, and the names of its controls."""

VIEWS = ("trap", "list", "plan", "file")


class Seen:
    """Every text that a page shows while it is used."""

    def __init__(self) -> None:
        self.texts: set[str] = set()

    def look(self, page: Page) -> None:
        self.texts |= set(page.evaluate(TEXTS))

    def do(self, page: Page, control: Locator, text: str | None = None) -> None:
        """Tap a control or fill a field, and look."""
        if text is None:
            control.tap()
        else:
            control.fill(text)
        self.look(page)


def use_trap(page: Page, seen: Seen) -> None:
    """Fill the fields of the first trap with what can be wrong about them."""
    seen.look(page)
    seen.do(page, page.locator("#note"), "1")
    see_views(page, seen)
    seen.do(page, page.locator("#zero"))
    for field, text in (
        ("#set-on", "2026-04-20"),
        ("#checked-on", "2026-05-20"),
        ("#checked-on", "2026-04-20"),
        ("#set-on", ""),
    ):
        seen.do(page, page.locator(field), text)
        see_views(page, seen)
    seen.do(page, page.locator("#set-on"), "2026-05-10")
    seen.do(page, page.locator("#checked-on"), "")
    see_views(page, seen)
    seen.do(page, page.locator("#checked-on"), "2026-05-11")
    seen.do(page, page.locator("#wipe"))
    seen.do(page, page.locator("#wipe"))
    seen.do(page, page.locator("#minutes-row .more"))
    seen.do(page, page.locator("#minutes-row .less"))
    seen.do(page, page.locator("#minutes"), "..")
    see_views(page, seen)
    seen.do(page, page.locator("#minutes"), "2")


def use_statuses(page: Page, seen: Seen) -> None:
    """Go on from trap to trap and find each in another state, with and without a count."""
    for status in STATUSES:
        page.tap("#next")
        seen.do(page, page.locator(f'[data-status="{status}"]'))
        seen.do(page, page.locator('[data-counter="0"] input'), "many") if status == "ok" else None
        see_views(page, seen)
    page.tap("#next")
    seen.do(page, page.locator('[data-counter="0"] .more'))
    seen.do(page, page.locator('[data-counter="0"] .less'))
    seen.do(page, page.locator('[data-status="covered"]'))
    seen.do(page, page.locator("#back"))
    page.tap('[data-go="list"]')
    page.locator("#stops button").last.tap()
    seen.look(page)


def see_views(page: Page, seen: Seen) -> None:
    for view in (*VIEWS[1:], "trap"):
        page.tap(f'[data-go="{view}"]')
        seen.look(page)


def use_file(page: Page, seen: Seen) -> None:
    page.tap('[data-go="file"]')
    seen.do(page, page.locator("#bycatch"))
    seen.do(page, page.locator("#bycatch"))
    saved(page)
    seen.look(page)
    for done in ("Promise.resolve()", "Promise.reject()"):
        page.evaluate(
            f"navigator.clipboard.writeText = () => {done}; document.execCommand = () => false"
        )
        page.evaluate("document.getElementById('told').textContent = ''")
        page.tap("#copy")
        page.wait_for_function("document.getElementById('told').textContent !== ''")
        seen.look(page)
    seen.do(page, page.locator("#erase"))
    seen.do(page, page.locator("#erase-no"))
    seen.do(page, page.locator("#erase"))
    seen.do(page, page.locator("#erase-yes"))


def store_of(page: Page) -> str:
    key: str = page.evaluate("Object.keys(localStorage).find((key) => !/unreadable/.test(key))")
    return key


def use_stored(page: Page, seen: Seen) -> None:
    """Open a round with entries of traps that are gone, and one that cannot be read."""
    page.tap('[data-go="trap"]')
    page.tap("#zero")
    key = store_of(page)
    for strangers in (["trap X1"], ["trap X1", "trap X2"]):
        page.evaluate(
            """([key, names]) => {
                const kept = JSON.parse(localStorage[key]);
                const entry = { status: 'ok', counts: {}, minutes: '', note: '' };
                for (const name of names) kept.traps[name] = entry;
                localStorage[key] = JSON.stringify(kept);
            }""",
            [key, strangers],
        )
        page.reload()
        see_views(page, seen)
    page.evaluate("([key]) => { localStorage[key] = '{broken'; }", [key])
    page.reload()
    seen.look(page)


def odd_plans(folder: Path) -> dict[str, RoundPlan]:
    """Return rounds in which the less usual sentences are said."""
    moved = {("traps.csv", row, "removed"): "2026-05-12" for row in range(2, 17)}
    moved[("traps.csv", 2, "installed")] = "2026-05-06"
    plan = plan_round(read_site(make_site(folder / "moved", cells=moved)))
    left = {("traps.csv", 6, "design"): ""}
    lacking = plan_round(read_site(make_site(folder / "left", cells=left)))
    metric = SETTINGS.replace("target_species", 'units = "metric"\ntarget_species', 1)
    walked = read_site(make_site(folder / "walked", settings=metric))
    stops = lacking.stops.assign(reachable=lacking.stops["trap_id"] != "T09", zone_id=pd.NA)
    return {
        "moved": replace(plan, start_trap="", minutes=48.0),
        "lacking": replace(lacking, stops=stops, blocked_start=True, minutes=120.0),
        "walked": plan_round(walked, "2026-W19"),
    }


def seen_in(phones: Phones, folder: Path, lang: Catalogue) -> set[str]:
    """Return every text that the sheet of a phone shows through every view and control."""
    seen = Seen()
    page = phones.open(small_plan(folder / "site"), lang=lang)
    for use in (use_trap, use_statuses, use_file, use_stored):
        use(page, seen)
    for plan in odd_plans(folder).values():
        page = phones.open(plan, lang=lang)
        page.tap("#zero")
        seen.do(page, page.locator("#checked-on"), "2026-05-13")
        seen.do(page, page.locator("#set-on"), "2026-04-01")
        see_views(page, seen)
    seen.look(phones.open(one_trap(folder), lang=lang))
    seen.look(phones.open(small_plan(folder / "again"), script=NO_STORAGE, lang=lang))
    return seen.texts


def one_trap(folder: Path) -> RoundPlan:
    plan = small_plan(folder / "one")
    return replace(plan, stops=plan.stops.iloc[:1])


@pytest.mark.browser
def test_no_word_of_the_phone_or_the_paper_bypasses_the_language_file(
    phones: Phones, tmp_path: Path, strange: Catalogue
) -> None:
    texts = seen_in(phones, tmp_path, strange)
    assert len(texts) > 150
    own = "Counting needs JavaScript"
    assert not any(own in text for text in texts)
    plain = [re.sub(r"<p class=\"loud\">|</p>", "", text) for text in texts]
    assert {text for text in plain if english_left(text)} == set()
    assert plain_runs(" \N{BULLET} ".join(plain), USERS) == []
    assert unsaid(plain, strange) == []


def unsaid(texts: list[str], lang: Catalogue) -> list[str]:
    """Return the messages of the script that no text holds: a control was not used."""
    joined = "\n".join(texts)
    lacking = []
    for key, message in lang.messages.items():
        if key.partition(".")[0] in TOLD:
            forms = [message] if isinstance(message, str) else message.values()
            marks = ["(?:.*)".join(map(re.escape, re.split(r"\{\w+\}", each))) for each in forms]
            if not any(re.search(mark, joined) for mark in marks):
                lacking.append(key)
    return lacking


@pytest.mark.browser
def test_english_words_would_be_seen(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    texts = page.evaluate(TEXTS)
    assert "Walking" in english_left(" \N{BULLET} ".join(texts))
    assert "unfinished" in english_left("T01 unfinished")
    assert english_left("T01, cup, Z1 2026-W20 Kestwick Green") == []


@pytest.mark.parametrize("name", ["sheet.html", "record_form.html"])
def test_the_templates_hold_no_word_of_their_own(name: str) -> None:
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    said = re.findall(r"say\('([\w.]+)'[,)]", text)
    assert len(said) > 10
    assert set(said) <= set(EN.messages)
    labels = re.findall(r'(?:aria-label|title|alt|placeholder)="([^"]*)"', text)
    bare = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", " ", text, flags=re.DOTALL)
    shown = re.sub(r"<[^>]*>|&\w+;", " ", bare)
    named = [re.sub(r"\{\{.*?\}\}|&\w+;", "", each) for each in labels]
    assert len(named) > 1
    assert re.findall(r"[A-Za-z]{2,}", " ".join([shown, *named])) == []


def test_the_script_holds_no_sentence_and_says_only_what_there_is() -> None:
    text = (TEMPLATES / "sheet.js").read_text(encoding="utf-8")
    said = set(re.findall(r"'(sheet_\w+\.\w+)'", text))
    assert len(said) > 20
    assert said <= set(EN.messages)
    code = re.sub(r"/\*.*?\*/|^\s*//.*$", "", text, flags=re.DOTALL | re.MULTILINE)
    strings = re.findall(r"'([^'\n]*)'|`([^`]*)`", code)
    own = {"snoutline round ", "use strict", "no traps", "#stops button", "#stops [aria-current]"}
    own |= {".plan .stop", ".plan .here", "trap "}
    words = {each for pair in strings for each in pair if re.search(r"[A-Za-z]+ [A-Za-z]*", each)}
    assert {each for each in words - own if re.search(r"[A-Za-z]{2,} ", each)} == set()


NOT_SHOWN = {
    "site.toml: no species to count; name them in target_species, for no visit names one",
    "an XLSForm is built and validated with pyxform, which is not installed; "
    "install it with: pip install 'snoutline[xlsform]'",
    "pyxform does not accept the form: ",
    *(column.meaning for column in RECORD_COLUMNS),
}
"""Errors, and columns of a table as README explains them."""


@pytest.mark.parametrize(
    "name", ["sheet.py", "sheet_words.py", "sheet_plan.py", "xlsform.py", "record_form.py"]
)
def test_no_module_of_these_pages_holds_a_sentence(name: str) -> None:
    text = (ROOT / "maps" / name).read_text(encoding="utf-8")
    assert sentences_of(ast.parse(text)) - NOT_SHOWN == set()


# The terminal, the form for other programs, and the record of a treatment.


def test_the_command_takes_a_language_and_says_its_sentences_in_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path / "el.toml", "el", translated("el", pseudo))
    site, out = make_site(tmp_path / "site"), tmp_path / "out"
    options = ["--language", str(path), "--xlsform", "--week", "2026-W19", "--out", str(out)]
    assert cli.run(["sheet", str(site), *options]) == 0
    told = capsys.readouterr().out.splitlines()
    sentences = [each for each in told if not each.startswith(("  ", str(tmp_path)))]
    assert len(sentences) == 3
    assert [english_left(each.replace("2026-W19", "")) for each in sentences] == [[], [], []]
    assert '<html lang="el">' in (out / "round-sheet.html").read_text(encoding="utf-8")
    assert '  parvulus = "Sphenophorus parvulus"' in told


def test_route_notes_and_legs_have_no_word_of_their_own(tmp_path: Path, strange: Catalogue) -> None:
    plans = odd_plans(tmp_path)
    said = [route_sentence(each, strange) for each in plans.values()]
    said += [text for each in plans.values() for text in route_notes(each, strange)]
    said += [text for each in plans.values() for text in leg_texts(each, strange)]
    assert len(said) > 50
    assert [text for text in said if english_left(text)] == []


READ = ("label", "hint", "constraint_message", "form_title")
"""Cells of the form that people read."""


def cells(sheets: dict[str, list[dict[str, str]]], *, read: bool) -> list[str]:
    return [
        text
        for rows in sheets.values()
        for row in rows
        for name, text in row.items()
        if (name in READ) == read
    ]


@pytest.mark.parametrize("long", [False, True], ids=["wide", "long"])
def test_the_form_changes_what_is_read_and_no_name_or_code(
    tmp_path: Path, strange: Catalogue, long: bool
) -> None:
    settings = LONG_SETTINGS if long else SETTINGS
    files: dict[str, Any] = {"visits.csv": long_visits()} if long else {}
    plan = plan_round(read_site(make_site(tmp_path / "s", settings=settings, files=files)))
    made, usual = form_sheets(plan, strange), form_sheets(plan, EN)
    assert cells(made, read=False) == cells(usual, read=False)
    texts = [each.replace("2026-W20", "") for each in cells(made, read=True)]
    assert len(texts) > 30
    assert [text for text in texts if english_left(text)] == []


def test_no_message_is_a_reference_in_the_form(tmp_path: Path) -> None:
    """Two braces in a language file are one, and a dollar before it names a question."""
    messages = translated("de", lambda text: f"${{{{trap_id}}}} {text}")
    lang = language(tmp_path, "de", messages)
    content = round_form(small_plan(tmp_path / "site"), lang)
    book = load_workbook(io.BytesIO(content))
    header, *rows = list(book["survey"].values)
    place = header.index("label")
    assert {str(row[place])[:11] for row in rows if row[place] and "{" in str(row[place])} == {
        "$ {trap_id}"
    }


def test_no_word_of_the_record_bypasses_the_language_file(
    tmp_path: Path, strange: Catalogue
) -> None:
    plan = planned(read_site(make_site(tmp_path / "site")))
    made = record_form(plan, strange)
    assert '<html lang="el">' in made
    parts = [*re.findall(r'aria-label="([^"]*)"', made), made]
    flat = re.sub(r"<style>.*?</style>", " ", " \N{BULLET} ".join(parts), flags=re.DOTALL)
    text = html.unescape(re.sub(r"<[^>]*>", " \N{BULLET} ", flat))
    tactic = plan.tactic
    users = {"Kestwick Green", plan.settings.customer, tactic.product, tactic.target_pest}
    users |= {tactic.rate, tactic.re_entry, tactic.notification}
    hashes = {**plan.site.hashes, strange.file: strange.digest}
    users |= {f"{name} {digest[:12]}" for name, digest in hashes.items()}
    # Units stand as labels write them.
    users |= {str(plan.site.zones.crs), "fl oz", "gal"}
    for own in sorted(users, key=len, reverse=True):
        text = text.replace(own, "\N{BULLET}")
    assert len(text) > 1000
    assert english_left(text) == []


# Numbers and days by the locale.


def test_the_sheet_follows_the_locale(tmp_path: Path, german: Catalogue) -> None:
    plan = plan_round(read_site(make_site(tmp_path / "site")), "2026-W22")
    settings = replace(plan.site.settings, units="metric")
    told = replace(plan, site=replace(plan.site, settings=settings), length_m=1_234_500.0)
    assert "1.234,5 km on foot" in route_sentence(told, german)
    made = round_sheet(plan, ",", german)
    assert '<html lang="de">' in made
    assert "round of week 22, 25. bis 31. Mai 2026" in made
    assert '<td class="set">27. Apr.</td>' in made or '<td class="set">4. Mai</td>' in made
    assert "2,5 mph" in made


def test_the_record_follows_the_locale(tmp_path: Path, german: Catalogue) -> None:
    plan = planned(read_site(make_site(tmp_path / "site")))
    made, usual = record_form(plan, german), record_form(plan, EN)
    acres = [re.findall(r'<td class="num">([\d.,]+)</td>', each) for each in (made, usual)]
    swap = str.maketrans(",.", ".,")
    assert len(acres[0]) > 8
    assert acres[0] == [each.translate(swap) for each in acres[1]]
    assert acres[0] != acres[1]


@pytest.mark.browser
def test_the_script_follows_the_locale_and_the_file_does_not(
    phones: Phones, tmp_path: Path, german: Catalogue
) -> None:
    leaves = {("traps.csv", row, "removed"): "2026-05-12" for row in range(2, 17)}
    site = make_site(tmp_path / "site", cells=leaves)
    texts = []
    for lang in (german, EN):
        page = phones.open(plan_round(read_site(site)), lang=lang)
        page.fill("#count-0", "1234")
        page.tap("#zero")
        page.fill("#minutes", "2,5")
        page.fill("#checked-on", "2026-05-13")
        told = page.locator("#doubt").inner_text()
        page.tap('[data-go="list"]')
        found = page.locator("#stops em").first.inner_text()
        assert ("1.234" if lang is german else "1,234") in found
        assert ("12.05.2026" if lang is german else "2026-05-12") in told
        texts.append(saved(page))
    assert texts[0] == texts[1]
    assert ",2026-05-13,ok,1234,0,0,2.5," in texts[0]


# Other ways of writing.


@pytest.mark.browser
@pytest.mark.parametrize("way", ["rtl", "long"])
def test_the_sheet_fits_the_phone_in_other_languages(
    phones: Phones, tmp_path: Path, hebrew: Catalogue, way: str
) -> None:
    """From right to left, and in a language whose texts are half as long again."""
    longer = translated("de", lambda text: f"{text}{'n' * (len(re.sub('{.*?}', '', text)) // 2)}")
    lang = hebrew if way == "rtl" else language(tmp_path, "de", longer)
    page = phones.open(small_plan(tmp_path / "site"), lang=lang)
    assert page.locator("html").get_attribute("dir") == ("rtl" if way == "rtl" else None)
    page.tap("#zero")
    page.tap("#next")
    page.tap('[data-counter="0"] .more')
    for view in VIEWS:
        page.tap(f'[data-go="{view}"]')
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, view
        small = page.evaluate(
            """() => [...document.querySelectorAll('button')].map(e => e.getBoundingClientRect())
                .filter(r => r.width && (r.width < 44 || r.height < 44 || r.left < 0
                    || r.right > innerWidth)).length"""
        )
        assert small == 0, view
    assert page.evaluate("getComputedStyle(document.getElementById('csv')).direction") == "ltr"
    assert page.evaluate("getComputedStyle(document.querySelector('svg')).direction") == "ltr"


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_the_paper_fits_from_right_to_left(
    phones: Phones, tmp_path: Path, hebrew: Catalogue, paper: str
) -> None:
    page = phones.open(small_plan(tmp_path / "site"), lang=hebrew)
    width_mm = {"Letter": 215.9, "A4": 210.0}[paper]
    room = round((width_mm - 20) * 96 / 25.4)
    page.set_viewport_size({"width": room, "height": 900})
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= room
    row = page.locator("table.paper tbody tr").first
    first, last = row.locator("td").first.bounding_box(), row.locator("td").last.bounding_box()
    assert first is not None
    assert last is not None
    assert first["x"] > last["x"]


# What is typed is safe in every language, and a file can do no harm.

KEPT_BEFORE = {
    "at": 2,
    "day": {"date": "2026-05-12", "chosenOn": "2026-05-11"},
    "bycatch": True,
    "traps": {
        "trap T01": {
            "status": "ok",
            "counts": {"column parvulus": "3", "column venatus": "0", "bycatch carabids": "7"},
            "minutes": "2.5",
            "note": "first, found",
            "checked": "2026-05-11",
            "set": "2026-05-04",
        },
        "trap T02": {
            "status": "not_checked",
            "counts": {},
            "minutes": "",
            "note": "",
            "checked": "2026-05-12",
            "set": "2026-05-04",
        },
    },
}
"""Entries as the sheets kept them before they had a language."""


@pytest.mark.browser
def test_entries_kept_by_an_earlier_sheet_are_read_in_every_language(
    phones: Phones, tmp_path: Path, strange: Catalogue, hebrew: Catalogue
) -> None:
    plan = small_plan(tmp_path / "site")
    texts = []
    for lang in (EN, strange, hebrew):
        page = phones.open(plan, lang=lang)
        page.evaluate(
            "([key, kept]) => localStorage.setItem(key, kept)",
            ["snoutline round Kestwick Green 2026-W20", json.dumps(KEPT_BEFORE)],
        )
        page.reload()
        assert page.locator("#loud").is_hidden()
        assert page.locator("#checked-on").input_value() == "2026-05-12"
        texts.append(saved(page))
        assert page.evaluate("Object.keys(localStorage)") == [
            "snoutline round Kestwick Green 2026-W20"
        ]
    assert sorted(texts[0].splitlines()[1:]) == [
        'T01,2026-05-04,2026-05-11,ok,3,0,7,2.5,"first, found"',
        "T02,2026-05-04,2026-05-12,not_checked,,,,,",
    ]
    assert texts == [texts[0]] * 3


@pytest.mark.browser
def test_a_state_that_no_sheet_knows_loses_nothing(phones: Phones, tmp_path: Path) -> None:
    """Whoever changed the kept entries by hand still sees them, and can mend them."""
    plan = small_plan(tmp_path / "site")
    page = phones.open(plan)
    page.tap("#zero")
    key = store_of(page)
    page.evaluate(
        """([key]) => {
            localStorage[key] = localStorage[key].replace('"status":"ok"', '"status":"stolen"');
        }""",
        [key],
    )
    page.reload()
    assert "stolen" in page.locator("#void").inner_text()
    page.tap('[data-status="ok"]')
    assert page.locator("#progress").inner_text() == "1 of 16"


@pytest.mark.browser
@pytest.mark.parametrize("payload", HOSTILE[:4])
def test_a_hostile_message_is_shown_as_text(phones: Phones, tmp_path: Path, payload: str) -> None:
    safe = re.sub(r"[\x00-\x1f\x7f-\x9f]", "", payload).replace("{", "(").replace("}", ")")
    lang = language(tmp_path, "de", translated("de", lambda text: f"{safe}{text}"))
    plan = small_plan(tmp_path / "site")
    assert round_sheet(plan, ",", lang).count("<script") == 2
    pages = [phones.open(plan, lang=each) for each in (lang, EN)]
    seen = Seen()
    tags = []
    for page in pages:
        # The texts are so long that a finger would meet one button on top of another.
        page.locator("#zero").dispatch_event("click")
        page.fill("#set-on", "2026-05-20")
        for view in VIEWS:
            page.locator(f'[data-go="{view}"]').dispatch_event("click")
            seen.look(page)
        found = "[...new Set([...document.querySelectorAll('*')].map(e => e.tagName))].sort()"
        tags.append(page.evaluate(found))
    assert tags[0] == tags[1]
    shown = " ".join(safe.split())
    assert sum(shown in text for text in seen.texts) > 50


@pytest.mark.parametrize("payload", HOSTILE[:4])
def test_a_hostile_message_is_text_in_the_record(tmp_path: Path, payload: str) -> None:
    safe = re.sub(r"[\x00-\x1f\x7f-\x9f]", "", payload).replace("{", "(").replace("}", ")")
    lang = language(tmp_path, "he", translated("he", lambda text: f"{safe}{text}"))
    plan = planned(read_site(make_site(tmp_path / "site")))
    made, usual = record_form(plan, lang), record_form(plan, EN)
    assert '<html lang="he" dir="rtl">' in made
    tags = [re.findall(r"<(\w+)", each) for each in (made, usual)]
    assert tags[0] == tags[1]
    assert 'dir="rtl"' not in usual
    assert safe in html.unescape(made)
