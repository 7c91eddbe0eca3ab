"""Languages: one file holds every word, numbers and days follow the locale, faults are told."""

from __future__ import annotations

import ast
import html
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pypdf
import pytest
from analyses import HOSTILE
from click.testing import CliRunner
from committee_sites import STATES, state_site
from languages import (
    EN,
    language,
    plain_runs,
    pseudo,
    same,
    sentences_of,
    toml_of,
    translated,
    written,
)
from pptx import Presentation

from data.findings import SettingsError
from data.reading import read_site
from data.settings_file import parse_settings
from maps.catalogue import Catalogue
from maps.class_labels import class_labels
from maps.committee import CommitteePage, Findings, committee_page, short
from maps.committee_page import committee_html
from maps.committee_pdf import committee_pdf, fitting_size, unprintable
from maps.committee_slides import committee_slides
from maps.language_file import ENGLISH_FILE, read_catalogue
from scripts.commands import committee as module
from scripts.commands.committee import findings
from scripts.language_option import language_of, left_out_text

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Findings]:
    folder = tmp_path_factory.mktemp("states")
    return {each: findings(read_site(state_site(each, folder / each))) for each in STATES}


@pytest.fixture(scope="module")
def german(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    own = {
        "dates__day": "{day}. {month} {year}",
        "dates__same_month": "{first_day}. bis {last_day}. {month} {year}",
    }
    return language(tmp_path_factory.mktemp("de"), "de", translated("de", same, **own))


# What is shown: one place for every word.


def users_texts(told: Findings) -> set[str]:
    """Return what the user wrote: names, notes, sources, file names."""
    site = told.analysis.site
    names = {str(each) for each in (*told.analysis.zones["name"], site.settings.name)}
    notes = site.settings.committee
    texts = {notes.water, notes.pollinators, notes.players, notes.notes}
    sources = {each.source for each in site.settings.limits}
    every = {*names, *map(short, names), *texts, *sources, *site.hashes}
    return {" ".join(each.split()) for each in every if each.strip()}


def html_texts(page: CommitteePage) -> str:
    text = committee_html(page, "letter", fitting_size(page))
    body = re.sub(r"<style>.*?</style>", " ", text, flags=re.DOTALL)
    labels = re.findall(r'aria-label="([^"]*)"', body)
    return html.unescape(" \N{BULLET} ".join([*labels, re.sub(r"<[^>]+>", " \N{BULLET} ", body)]))


def pdf_texts(page: CommitteePage) -> str:
    reader = pypdf.PdfReader(io.BytesIO(committee_pdf(page)))
    title = str((reader.metadata or {}).get("/Title", ""))
    return " \N{BULLET} ".join([title, *(sheet.extract_text() for sheet in reader.pages)])


def slide_texts(page: CommitteePage) -> str:
    """Return what slides show, and the names of the shapes of the map."""
    deck = Presentation(io.BytesIO(committee_slides(page)))
    shapes = [shape for slide in deck.slides for shape in slide.shapes]
    shown = [shape.text_frame.text for shape in shapes if shape.has_text_frame]
    # The library numbers its text boxes; nobody sees that name.
    names = [shape.name for shape in shapes if not shape.name.startswith("TextBox ")]
    return " \N{BULLET} ".join([deck.core_properties.title, *shown, *names])


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("texts", [html_texts, pdf_texts, slide_texts])
def test_no_word_of_page_pdf_or_slides_bypasses_the_language_file(
    state: str, texts: object, found: dict[str, Findings], strange: Catalogue
) -> None:
    assert callable(texts)
    shown = texts(committee_page(found[state], strange))
    assert len(shown) > 2000
    assert plain_runs(shown, users_texts(found[state])) == []


@pytest.mark.parametrize("texts", [html_texts, pdf_texts, slide_texts])
def test_a_sentence_that_bypasses_it_is_seen(
    texts: object, found: dict[str, Findings], strange: Catalogue
) -> None:
    assert callable(texts)
    page = committee_page(found["few_traps"], strange)
    first, *others = page.sections
    first = replace(first, lines=(*first.lines, "Three traps of Z1 were gone."))
    shown = texts(replace(page, sections=(first, *others)))
    runs = plain_runs(shown, users_texts(found["few_traps"]))
    assert runs == ["Three traps of", "were gone"]
    english = texts(committee_page(found["few_traps"], EN))
    assert len(plain_runs(english, users_texts(found["few_traps"]))) > 50


NOT_SHOWN = {"the page needs  mm and has  mm"}
"""Errors, which the command turns into its own words."""

MODULES = [
    *sorted((ROOT / "maps").glob("committee*.py")),
    *sorted((ROOT / "maps").glob("review*.py")),
    *(ROOT / "maps" / name for name in ("catalogue.py", "method_words.py", "month_maps.py")),
]


@pytest.mark.parametrize("path", MODULES, ids=lambda each: each.name)
def test_no_module_of_the_page_holds_a_sentence(path: Path) -> None:
    """Also what none of the five states says comes from the language file."""
    assert sentences_of(ast.parse(path.read_text(encoding="utf-8"))) - NOT_SHOWN == set()


def test_a_sentence_in_a_module_is_seen() -> None:
    tree = ast.parse('"""No word of this."""\nA = "No word of it."\nB = f"{n} zones have no trap"')
    assert sentences_of(tree) == {"No word of it.", " zones have no trap"}


def test_every_message_is_used_somewhere() -> None:
    """Its key, or the last part of it, stands in the code as a word of its own."""
    folders = [ROOT / name for name in ("maps", "scripts", "spatial", "data")]
    paths = [path for folder in folders for path in folder.rglob("*.py")]
    paths += (ROOT / "maps" / "templates").iterdir()
    code = "\n".join(path.read_text(encoding="utf-8") for path in paths)
    built = {
        "left_",
        "topic_",
        "missed_",
        "planned_",
        "class_",
        "money_",
        "network_",
        "first_",
        "more_",
        "lacks_",
        "zoom_",
    }
    words = set(re.findall(r"\w+", code))
    unused = []
    for key in EN.messages:
        section, _, last = key.partition(".")
        ends = {last, last.partition(".")[0], *(last.removeprefix(each) for each in built)}
        if section != "uses" and not ends & words:
            unused.append(key)
    assert unused == []


# How it is written: by the locale.


def test_numbers_and_days_follow_the_locale(german: Catalogue) -> None:
    assert german.decimal(1234.5, 1) == "1.234,5"
    assert german.day(date(2026, 5, 31)) == "31. Mai 2026"
    assert german.span(date(2026, 5, 25), date(2026, 5, 31)) == "25. bis 31. Mai 2026"
    assert german.number(10_000) == "10.000"
    assert german.rate(0.346) == "0,35"


def test_a_page_follows_the_locale(found: dict[str, Findings], german: Catalogue) -> None:
    page = committee_page(found["busy"], german)
    said = " ".join([page.subtitle, *(line for each in page.sections for line in each.lines)])
    assert "31. Mai 2026" in said
    assert "In the week of 25. bis 31. Mai 2026" in said
    assert "1.556 adult billbugs" in said
    assert "2,8 acres" in said
    assert "1,3 now and 1,5 then" in said
    assert "$86,22" in said
    assert '<html lang="de"><head>' in committee_html(page, "letter", 8)
    reader = pypdf.PdfReader(io.BytesIO(committee_pdf(page)))
    assert reader.trailer["/Root"]["/Lang"] == "de"


def test_the_users_own_texts_stay_as_they_are(
    found: dict[str, Findings], strange: Catalogue
) -> None:
    page = committee_page(found["busy"], strange)
    notes = found["busy"].analysis.site.settings.committee
    assert [text for _, text in page.section("notes").items] == [
        notes.water, notes.pollinators, notes.players, notes.notes,
    ]  # fmt: skip
    assert "Hole 5 green surround" in " ".join(page.section("found").lines)
    assert found["busy"].analysis.site.settings.name in page.title


@pytest.mark.parametrize(
    ("number", "form"),
    [(0, "many"), (1, "one"), (2, "few"), (5, "many"), (22, "few"), (Decimal("1.5"), "other")],
)
def test_a_language_with_more_plural_forms_takes_the_right_one(
    number: int | Decimal, form: str, tmp_path: Path
) -> None:
    forms = {each: f"{each}: {{number}}" for each in ("one", "few", "many", "other")}
    own = {"unknown__no_nights": forms, "numbers__hectares": forms}
    polish = language(tmp_path, "pl", translated("pl", same, **own))
    assert polish.say("unknown.no_nights", number) == f"{form}: {str(number).replace('.', ',')}"
    assert polish.area(1.5, "metric") == "other: 1,5"
    assert polish.day(date(2026, 5, 31)) == "31 maja 2026"


def test_a_form_that_only_millions_take_is_not_asked_for(tmp_path: Path) -> None:
    french = language(tmp_path, "fr", translated("fr"))
    assert french.say("unknown.no_nights", 0).startswith("0 zone has")
    assert "zones have traps" in french.say("unknown.no_nights", 1_000_000)


def test_a_language_of_one_form_needs_one_line(tmp_path: Path) -> None:
    messages = translated("ja", same, unknown__no_nights="{number} :")
    japanese = language(tmp_path, "ja", messages)
    assert japanese.say("unknown.no_nights", 3) == "3 :"


def test_a_singular_may_say_its_number_in_a_word(tmp_path: Path) -> None:
    forms = {"one": "a single zone", "other": "{number} zones"}
    lang = language(tmp_path, "de", translated("de", same, unknown__no_nights=forms))
    assert [lang.say("unknown.no_nights", n) for n in (1, 2)] == ["a single zone", "2 zones"]


def test_the_english_file_is_a_language_file_and_writes_what_it_wrote(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(ENGLISH_FILE.read_bytes())
    mine = read_catalogue(path)
    assert mine.messages == EN.messages
    assert (mine.tag, mine.direction, mine.file) == ("en", "ltr", "mine.toml")


@pytest.mark.parametrize(
    ("breaks", "labels"),
    [
        ((), ["any"]),
        ((0.25,), ["under 0.25", "0.25 or more"]),
        ((10, 200), ["under 10", "10 to 200", "200 or more"]),
    ],
)
def test_classes_are_named_by_their_breaks(breaks: tuple[float, ...], labels: list[str]) -> None:
    assert class_labels(breaks, EN) == labels


# Other ways of writing.


@pytest.fixture(scope="module")
def hebrew(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return language(tmp_path_factory.mktemp("he"), "he", translated("he"))


def test_right_to_left_is_told_to_page_and_slides(
    found: dict[str, Findings], hebrew: Catalogue, strange: Catalogue
) -> None:
    page = committee_page(found["undecided"], hebrew)
    assert '<html lang="he" dir="rtl">' in committee_html(page, "letter", 8)
    assert "svg{direction:ltr}" in committee_html(page, "letter", 8)
    slides = Presentation(io.BytesIO(committee_slides(page))).slides
    ways = {
        paragraph._p.pPr.get("rtl")
        for slide in slides
        for shape in slide.shapes
        if shape.has_text_frame
        for paragraph in shape.text_frame.paragraphs
    }
    assert ways == {"1"}
    other = committee_html(committee_page(found["undecided"], strange), "letter", 8)
    assert 'dir="rtl"' not in other
    assert "svg{direction" not in other


def kana(text: str) -> str:
    return re.sub(r"\btraps?\b(?!\})", "\N{HIRAGANA LETTER A}", text)


def run(site: Path, out: Path, *options: str) -> tuple[int, str, set[str]]:
    result = CliRunner().invoke(module.command, [str(site), "--out", str(out), *options])
    names = {path.name for path in out.iterdir()} if out.is_dir() else set()
    return result.exit_code, result.output, names


@pytest.mark.parametrize(
    ("locale", "change", "said", "pdf"),
    [
        ("el", pseudo, "", True),
        ("he", same, "No PDF: its text runs from left to right only.", False),
        (
            "ja",
            kana,
            "its font lacks letters of ja.toml (\N{HIRAGANA LETTER A}",
            False,
        ),
    ],
)
def test_the_command_takes_a_language_and_says_what_it_cannot_write(
    locale: str, change: object, said: str, pdf: bool, tmp_path: Path
) -> None:
    assert callable(change)
    path = written(tmp_path / f"{locale}.toml", locale, translated(locale, change))
    site = state_site("undecided", tmp_path / "site")
    code, output, names = run(site, tmp_path / "out", "--language", str(path))
    assert code == 0, output
    assert said in output
    assert names == {"committee.html", "committee.pptx", *(["committee.pdf"] if pdf else [])}
    page = (tmp_path / "out" / "committee.html").read_text(encoding="utf-8")
    assert f'<html lang="{locale}"' in page


def test_a_faulty_file_stops_the_command_before_anything_is_written(tmp_path: Path) -> None:
    path = tmp_path / "de.toml"
    path.write_text('locale = "de"\n', encoding="utf-8")
    site = state_site("few_traps", tmp_path / "site")
    with pytest.raises(SettingsError, match=r"de\.toml, name: expected the name"):
        CliRunner().invoke(
            module.command,
            [str(site), "--out", str(tmp_path / "out"), "--language", str(path)],
            catch_exceptions=False,
            standalone_mode=False,
        )
    assert not (tmp_path / "out").exists()


def test_texts_too_long_for_a_sheet_are_told(found: dict[str, Findings], tmp_path: Path) -> None:
    long = translated("de", lambda text: f"{text} {'und noch etwas mehr ' * 12}")
    page = committee_page(found["busy"], language(tmp_path, "de", long))
    with pytest.raises(SettingsError, match=r"on one sheet; shorten .*messages of de\.toml"):
        module.committee_texts(page, "letter")


def test_letters_that_the_font_lacks_are_named(
    strange: Catalogue, german: Catalogue, tmp_path: Path
) -> None:
    assert unprintable(EN) == unprintable(german) == unprintable(strange) == ""
    # The months of the locale are letters of the page too.
    japanese = language(tmp_path, "ja", translated("ja"))
    assert unprintable(japanese) == "\N{CJK UNIFIED IDEOGRAPH-6708}"


def test_letters_that_the_font_lacks_are_given_room(
    found: dict[str, Findings], tmp_path: Path
) -> None:
    """Another font of the browser shows them, as wide as an em: twice a usual letter."""
    sizes = []
    for letter in ("o", "\N{HIRAGANA LETTER A}"):
        messages = translated("ja", lambda text, letter=letter: f"{text} {letter * 8}")
        page = committee_page(found["undecided"], language(tmp_path, "ja", messages))
        sizes.append(fitting_size(page))
    assert sizes[1] < sizes[0]


# Provenance, and a file that cannot do harm.


def test_the_language_file_stands_in_the_provenance(
    found: dict[str, Findings], german: Catalogue
) -> None:
    assert len(german.digest) == 64
    text = committee_page(found["few_traps"], german).method[-1]
    assert f"de.toml {german.digest[:8]}" in text
    english = committee_page(found["few_traps"], EN).method[-1]
    assert re.findall(r"([\w.]+) [0-9a-f]{8}", english) == sorted(
        found["few_traps"].analysis.site.hashes
    )


def test_the_order_of_a_file_changes_nothing(tmp_path: Path, found: dict[str, Findings]) -> None:
    messages = translated("de")
    first = language(tmp_path, "de", messages)
    second = language(tmp_path, "de", dict(reversed(messages.items())))
    assert list(first.messages) == list(second.messages)
    assert first.digest != second.digest
    pages = [committee_page(found["few_traps"], each) for each in (first, second)]
    assert pages[0].sections == pages[1].sections
    assert committee_pdf(pages[0]) == committee_pdf(pages[0])


@pytest.mark.parametrize("payload", HOSTILE[:4])
def test_a_hostile_message_is_shown_as_text(
    payload: str, found: dict[str, Findings], tmp_path: Path
) -> None:
    safe = re.sub(r"[\x00-\x1f\x7f-\x9f]", "", payload).replace("{", "(").replace("}", ")")
    lang = language(tmp_path, "de", translated("de", lambda text: f"{safe}{text}"))
    shown = committee_html(committee_page(found["few_traps"], lang), "letter", 8)
    usual = committee_html(committee_page(found["few_traps"], EN), "letter", 8)
    tags = [sorted(set(re.findall(r"<(\w+)", each))) for each in (shown, usual)]
    assert tags[0] == tags[1]
    assert html.escape(safe) in shown


def test_braces_in_the_users_texts_are_no_placeholders(found: dict[str, Findings]) -> None:
    analysis = found["busy"].analysis
    zones = analysis.zones.assign(name="{number} {0} {zones.__class__}")
    settings = replace(analysis.site.settings, name="{site} {}")
    told = replace(analysis, zones=zones, site=replace(analysis.site, settings=settings))
    page = committee_page(replace(found["busy"], analysis=told), EN)
    assert page.title == "Billbugs at {site} {}"
    assert "{number} {0} {zones.__class__}" in " ".join(page.section("found").lines)


# Faults.


def faults(folder: Path, text: str | bytes) -> list[str]:
    path = folder / "mine.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(SettingsError, match=r"^mine\.toml") as told:
        read_catalogue(path)
    return str(told.value).splitlines()


ZONES = "unknown.no_nights"
PLACES = "plan.check_zone"


def changed(locale: str = "de", **own: object) -> str:
    return toml_of(locale, translated(locale) | {k.replace("__", "."): v for k, v in own.items()})


def without(key: str, locale: str = "de") -> str:
    return toml_of(locale, {k: v for k, v in translated(locale).items() if k != key})


FAULTS: dict[str, tuple[str | bytes, str]] = {
    "TOML": (
        'locale = "de"\nname = Deutsch',
        r"is not valid TOML: .*line 2.*; every text stands between double quotes",
    ),
    "UTF-8": (b'locale = "\xff"', r"is not UTF-8 text; save it as UTF-8"),
    "locale": (
        changed().replace('"de"', '"klingon-xx"'),
        r"locale: expected the tag of a language .* found 'klingon-xx'; write it at the top",
    ),
    "locale with a modifier": (
        changed().replace('"de"', '"ca-ES@valencia"'),
        r"locale: expected the tag of a language .* found 'ca-ES@valencia'; write it at the top",
    ),
    "no locale": (changed().replace('locale = "de"', ""), r"locale: .* found nothing; write"),
    "locale is a number": (changed().replace('"de"', "3"), r"locale: .* found 3; write"),
    "name": (changed().replace("made up", " "), r"name: expected the name .* found ' '; write"),
    "unknown": (
        changed(plan__check_zon="x"),
        r"plan\.check_zon: expected a key of the English file; found plan\.check_zon; did you mean "
        r"'plan\.check_zone'\?",
    ),
    "no text": (
        changed(plan__check_zone=3),
        r"plan\.check_zone: expected a text; found 3; put it between",
    ),
    "blank": (
        changed(plan__check_zone=" "),
        r"plan\.check_zone: expected a text; found a blank one; trans",
    ),
    "two lines": (
        changed(plan__check_zone="{zones}\n."),
        r"plan\.check_zone: expected one line of text; ",
    ),
    "lost": (
        changed(plan__check_zone="There."),
        r"plan\.check_zone: expected \{zones\}; found no braces; keep what stands in braces",
    ),
    "misspelt": (
        changed(plan__check_zone="In {zonen}."),
        r"plan\.check_zone: expected \{zones\}; found \{zonen\}; keep what",
    ),
    "too many": (
        changed(plan__check_zone="{zones} {rate}"),
        r"plan\.check_zone: expected \{zones\}; found \{rate\}, \{zones\}; keep what",
    ),
    "open brace": (
        changed(plan__check_zone="In {zones"),
        r"plan\.check_zone: expected \{zones\}; found braces that cannot be read \(.*\); write",
    ),
    "layout": (
        changed(plan__check_zone="{zones:>99999999}"),
        r"plan\.check_zone: expected \{zones\}; found braces .*braces hold one name and nothing",
    ),
    "attribute": (
        changed(plan__check_zone="{zones.__class__}"),
        r"braces hold one name and nothing",
    ),
    "one text": (
        changed(unknown__no_nights="{number} zones"),
        r"unknown\.no_nights: expected a line for each of \.one, \.other; found one text; write",
    ),
    "missing form": (
        changed("pl", unknown__no_nights={"one": "{number}", "few": "{number}", "other": "x"}),
        r"unknown\.no_nights\.many: expected a line for each of \.one, \.few, \.many, \.other; "
        r"found nothing; write them all",
    ),
    "number lost in a form": (
        changed("pl", unknown__no_nights={"one": "x", "few": "x", "many": "x", "other": "x"}),
        r"unknown\.no_nights\.few: expected \{number\}; found no braces; keep",
    ),
    "form of another language": (
        changed(unknown__no_nights={"one": "{number}", "few": "{number}", "other": "{number}"}),
        r"unknown\.no_nights\.few: expected one of one, other; found few; take the line out",
    ),
    "form is no text": (
        changed(unknown__no_nights={"one": 1, "other": "{number}"}),
        r"unknown\.no_nights\.one: expected a text; found 1; put it between",
    ),
    "split without a number": (
        changed(plan__check_zone={"one": "{zones}", "other": "{zones}"}),
        r"plan\.check_zone: expected one text, as it holds no \{number\}; found several; write one",
    ),
}


@pytest.mark.parametrize("kind", FAULTS)
def test_each_fault_says_file_key_what_was_expected_and_how_to_mend_it(
    kind: str, tmp_path: Path
) -> None:
    text, told = FAULTS[kind]
    lines = faults(tmp_path, text)
    assert any(re.search(told, line) for line in lines), lines
    assert len(lines) <= 3


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    text = changed(
        plan__check_zone="x", plan__check_zon="x", unknown__no_nights="{number}"
    ).replace('"de"', '"de-XQ-bad-tag-here"')
    keys = [line.partition(", ")[2].partition(":")[0] for line in faults(tmp_path, text)]
    assert keys == ["locale", "plan.check_zone", "plan.check_zon"]


def test_a_file_of_something_else_is_refused(tmp_path: Path) -> None:
    lines = faults(tmp_path, 'locale = "de"\nname = "x"\n[found]\n')
    assert lines == ["mine.toml, messages: expected lines of the English file; found none; copy it"]


def test_what_a_file_leaves_out_stands_in_english_and_is_told(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(without(PLACES), encoding="utf-8")
    lang = read_catalogue(path)
    assert lang.left_out == (PLACES,)
    assert lang.messages[PLACES] == EN.messages[PLACES]
    told = "mine.toml leaves out 1 message, which stands in English: plan.check_zone."
    assert left_out_text(lang) == told


def test_the_language_of_a_site_is_named_in_its_settings(tmp_path: Path) -> None:
    written(tmp_path / "de.toml", "de", translated("de"))
    settings = parse_settings({"name": "Alder Flats", "language": "de.toml"})
    assert language_of(None, tmp_path, settings).tag == "de"
    other = written(tmp_path / "fr.toml", "fr", translated("fr"))
    assert language_of(other, tmp_path, settings).tag == "fr"
    assert language_of(None, tmp_path, parse_settings({"name": "Alder Flats"})) is EN
    with pytest.raises(SettingsError, match=r"language: expected the name of a language file"):
        parse_settings({"name": "Alder Flats", "language": " "})


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"^none\.toml cannot be read \(No such file"):
        read_catalogue(tmp_path / "none.toml")


def placeholders_of(message: object) -> Iterator[str]:
    texts = message.values() if isinstance(message, dict) else [message]
    for text in texts:
        yield from re.findall(r"\{(\w+)\}", str(text))


SILENT = {"found.limits", "found.busy", "found.busy_place", "marked.lone_busy", "marked.lone_quiet"}
SILENT |= {"network_said.move", "network_said.redundant"}


def test_every_plural_message_of_ours_has_one_and_other() -> None:
    split = {key: set(each) for key, each in EN.messages.items() if not isinstance(each, str)}
    assert len(split) > 20
    assert {key: forms for key, forms in split.items() if forms != {"one", "other"}} == {}
    # Few sentences do not tell how many.
    silent = {key for key in split if "number" not in set(placeholders_of(EN.messages[key]))}
    assert silent == SILENT
