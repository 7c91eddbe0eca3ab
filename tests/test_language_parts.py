"""The parts and hole sheet in other languages: every word is a message, sizes follow the locale."""

from __future__ import annotations

import ast
import html
import itertools
import re
from dataclasses import replace
from pathlib import Path

import pytest
from analyses import HOSTILE
from languages import EN, language, plain_runs, pseudo, same, section, sentences_of, translated

from data.parts_settings import CupParts, LinearParts, PartsSettings
from data.settings import Units
from maps.catalogue import Catalogue
from maps.parts_drawing import KEYS
from maps.parts_sheet import SheetHead, parts_sheet
from maps.parts_words import CAUTIONS, KINDS, SOURCES, STEPS, position_text, volume_text
from spatial.trap_parts import Chosen, trap_parts

ROOT = Path(__file__).resolve().parent.parent
SITE, PLACE, DESIGN = "Kestwick Green", "beside the old hedge", "deep pail"
USERS = {SITE, PLACE, DESIGN, "own use", "Week of ours", "made of ours"}

CUP = Chosen("N1", "cup", "H03-RO", "rough", PLACE, -39.0012345, 40.0123456)
PIPE = Chosen("N2", "linear", "Z2", "own_use", "", -39.002, 40.01, 272.6, 92.6, 0.01)
LISTS: dict[str, tuple[Chosen, ...]] = {
    "none": (),
    "cup": (CUP,),
    "pipe": (PIPE,),
    "all": (
        *(CUP, CUP, PIPE, Chosen("N4", DESIGN), Chosen("N5", "linear", axis_deg=12.0)),
        *(Chosen("N6", "linear"), Chosen("N7", "cup")),
    ),
}
SETTINGS = {
    "usual": PartsSettings(),
    "own": PartsSettings(cup=CupParts(cup="500 mL"), linear=LinearParts(fall=2.5, length="10 ft")),
    "flat": PartsSettings(linear=LinearParts(fall=0, length="14 in")),
}
ALL = list(itertools.product(LISTS, SETTINGS, ("us", "metric")))


def sheet(lang: Catalogue, of: str = "all", settings: str = "usual", units: Units = "us") -> str:
    own = SETTINGS[settings]
    head = SheetHead(SITE, units, "Week of ours", "made of ours")
    return parts_sheet(trap_parts(LISTS[of], own), own, head, lang)


def shown(page: str) -> str:
    """Return every text of a page: what it shows, its title, and what only machines read out."""
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    labels = re.findall(r'(?:aria-label|title|alt|placeholder)="([^"]*)"', body)
    return html.unescape(" \N{BULLET} ".join([*labels, re.sub(r"<[^>]+>", " \N{BULLET} ", body)]))


@pytest.fixture(scope="module")
def strange(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    """Make a language without a Latin letter (Greek)."""
    return language(tmp_path_factory.mktemp("el"), "el", translated("el", pseudo))


@pytest.fixture(scope="module")
def german(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return language(tmp_path_factory.mktemp("de"), "de", translated("de", same))


# What is shown: one place for every word.


@pytest.mark.parametrize(("of", "settings", "units"), ALL)
def test_no_word_of_the_sheet_bypasses_the_language_file(
    of: str, settings: str, units: Units, strange: Catalogue
) -> None:
    text = shown(sheet(strange, of, settings, units))
    assert len(text) > 1500
    assert plain_runs(text, USERS) == []
    assert len(plain_runs(shown(sheet(EN, of, settings, units)), USERS)) > 20


@pytest.mark.parametrize(("of", "settings", "units"), ALL)
def test_nor_does_a_single_word_or_unit(
    of: str, settings: str, units: Units, strange: Catalogue
) -> None:
    """Only what the user wrote has a Latin letter; even `in` and `x` between sizes have none."""
    text = shown(sheet(strange, of, settings, units))
    own = {*USERS, "H03-RO", "rough", "Z2", "cup", "linear", *(f"N{n}" for n in range(1, 8))}
    for each in sorted(own, key=len, reverse=True):
        text = text.replace(each, " ")
    assert re.findall(r"[A-Za-z]+", text) == []


MODULES = [ROOT / "maps" / f"parts_{name}.py" for name in ("words", "drawing", "sheet")]


@pytest.mark.parametrize("path", MODULES, ids=lambda each: each.name)
def test_no_module_of_the_sheet_holds_a_sentence(path: Path) -> None:
    assert sentences_of(ast.parse(path.read_text(encoding="utf-8"))) == set()


def test_every_list_names_all_messages_of_its_section() -> None:
    """What a list in the code leaves out would be translated in vain, cautions above all."""
    assert set(CAUTIONS) == section("parts_cautions").keys()
    assert set(KINDS) == section("parts_kinds").keys()
    for kind, keys in STEPS.items():
        assert set(keys) == section(f"parts_{kind}_steps").keys()
    for drawing, keys in KEYS.items():
        assert set(keys) == section(f"parts_{drawing}_key").keys()
    sources = {key for _, key in SOURCES.values()}
    assert {*sources, "yours"} == section("parts_sources").keys()


def test_every_message_of_the_sheet_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    said, say = set(), Catalogue.say

    def recorded(lang: Catalogue, key: str, *number: int, **values: str) -> str:
        said.add(key)
        return say(lang, key, *number, **values)

    monkeypatch.setattr(Catalogue, "say", recorded)
    for of, settings, units in ALL:
        sheet(EN, of, settings, units)
    # The command says these two.
    wanted = {each for each in EN.messages if each.startswith("parts_")}
    assert wanted - said == {"parts_sheet.about", "parts_sheet.source"}


def test_cautions_come_before_the_holes_in_any_language(strange: Catalogue) -> None:
    text = shown(sheet(strange))
    places = [text.index(pseudo(each)) for each in section("parts_cautions").values()]
    assert places == sorted(places)
    assert places[-1] < text.rindex(pseudo(EN.say("parts_sheet.holes")))


# How it is written.


def test_numbers_follow_the_locale(german: Catalogue) -> None:
    metric, us = (html.unescape(sheet(german, "all", "own", each)) for each in ("metric", "us"))
    assert '<html lang="de">' in metric
    assert "Pipe of 3.048 mm: 10 slots of 254 mm" in metric
    assert "Open slot in all (slot_m): 2,540 m." in metric
    assert "Fall 2,5 %: the cup end lies 76 mm" in metric
    assert ">3.048 mm</text>" in metric
    assert volume_text(2.5, "metric", german) == "2,5 L"
    assert "2 3/8 in at the cap" in us
    assert "fits a hole of 4 1/4 in" in us
    # What is typed into a phone keeps its points.
    assert position_text(CUP) == "40.012346, -39.001235"
    assert position_text(CUP) in metric


def test_each_count_takes_its_plural_form(tmp_path: Path) -> None:
    forms = {each: f"{each}: {{number}}" for each in ("one", "few", "many", "other")}
    whole = {each: f"{each}: {{number}} ({{kinds}})" for each in forms}
    own = {"parts_said__cup": forms, "parts_said__linear": forms, "parts_said__traps": whole}
    polish = language(tmp_path, "pl", translated("pl", same, **own))
    assert "many: 7 (few: 3, few: 3, 1 of another design)" in sheet(polish)
    assert "one: 1 (one: 1)" in sheet(polish, "cup")


def test_a_slot_alone_has_no_bridge() -> None:
    assert "1 slot of 10 in x 1/2 in, and 2 in left whole" in sheet(EN, "pipe", "flat")
    assert "bridges of 1 in between them, and 2 in left whole" in sheet(EN, "pipe")


def test_points_of_the_compass_are_those_of_the_language(tmp_path: Path) -> None:
    lang = language(tmp_path, "de", translated("de", same, compass__W="Westen"))
    assert "273\N{DEGREE SIGN} (Westen) from the cup" in sheet(lang, "pipe")


def test_right_to_left_is_told_and_drawings_stay(german: Catalogue, tmp_path: Path) -> None:
    hebrew = language(tmp_path, "he", translated("he"))
    page = sheet(hebrew)
    assert '<html lang="he" dir="rtl">' in page
    assert "svg{direction:ltr}" in page
    # Boxes to tick stand at the start of a line, whichever side that is.
    rules = re.findall(r"\.ticks [^}]*\}|\.ticks \{[^}]*\}", page)
    assert len(rules) > 4
    assert not any(re.search(r"\b(padding-left|left):", each) for each in rules)
    # Else the minus of a longitude would stand on its other side.
    assert f'<td class="num" dir="ltr">{position_text(CUP)}</td>' in page
    other = sheet(german)
    assert "dir=" not in other
    assert "svg{direction" not in other


# A file that cannot do harm, and what stays as it is.


@pytest.mark.parametrize("payload", [*HOSTILE[:4], "\"'><img src=x onerror=alert(1)></svg>"])
def test_a_hostile_message_is_shown_as_text(payload: str, tmp_path: Path) -> None:
    safe = re.sub(r"[\x00-\x1f\x7f-\x9f]", "", payload).replace("{", "(").replace("}", ")")
    lang = language(tmp_path, "de", translated("de", lambda text: f"{safe}{text}"))
    for of, units in itertools.product(LISTS, ("us", "metric")):
        hostile, usual = (sheet(each, of, units=units) for each in (lang, EN))
        tags = [re.findall(r"<([\w/]+)", each) for each in (hostile, usual)]
        assert tags[0] == tags[1]
        assert html.unescape(hostile).count(safe) > 20


def test_braces_in_the_users_texts_are_no_placeholders() -> None:
    trap = replace(CUP, zone_id="{number}", zone_use="{0}", place="{zone.__class__}", design="{x}")
    found = trap_parts([trap], PartsSettings())
    page = parts_sheet(found, PartsSettings(), SheetHead("{site} {}", "us"), EN)
    assert "Parts and holes: {site} {}" in page
    assert "{number}, {0}; {zone.__class__}" in page
    assert "No parts are known for {x}: name" in page
