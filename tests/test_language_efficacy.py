"""The page of what treatments did in another language: every word, and nothing that harms."""

from __future__ import annotations

import ast
import html
import math
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from analyses import HOSTILE
from click.testing import CliRunner, Result
from languages import EN, Tags, language, pseudo, same, sentences_of, translated, written
from sites import SETTINGS, make_site

from data.reading import read_site
from data.version import VERSION
from maps.catalogue import Catalogue
from maps.efficacy_chart import efficacy_svg
from maps.efficacy_page import efficacy_html, efficacy_json
from maps.efficacy_words import efficacy_sentences
from scripts.commands import efficacy as module
from spatial.efficacy import CANNOT_TELL
from spatial.treatment_effects import TreatmentEffects, treatment_effects

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "data" / "demo" / "site"

ENDS = {
    "fewer": (0.4, 0.1, 0.7),
    "unsure": (0.4, -0.3, 0.7),
    "more": (-0.3, -1.09, -0.1),
}
"""Effects with their intervals, in the ways that they are said."""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, TreatmentEffects]:
    """Look at the demo, at each way in which an effect is told or not, and at bare sites."""
    demo = treatment_effects(read_site(DEMO))
    course = next(each for each in demo.courses if not each.effect.reason)
    made = {"demo": demo}
    for reason in CANNOT_TELL:
        unknown = {"efficacy": math.nan, "low": math.nan, "high": math.nan}
        effect = replace(course.effect, reason=reason, reference="", untreated=(), **unknown)
        made[reason] = replace(demo, courses=(replace(course, effect=effect),))
    for name, (share, low, high) in ENDS.items():
        for reference, group in (("same_use", "3A"), ("other_use", "")):
            effect = replace(
                course.effect,
                **{"efficacy": share, "low": low, "high": high},
                reference=reference,
                irac_group=group,
                untreated=tuple(f"U{n}" for n in range(9)),
            )
            courses = (replace(course, effect=effect),)
            made[f"{name}, {reference}"] = replace(demo, courses=courses)
    folder = tmp_path_factory.mktemp("efficacy")
    for name in ("weather.csv", "treatments.csv"):
        site = make_site(folder / name.partition(".")[0], files={name: None})
        made[f"no {name}"] = treatment_effects(read_site(site))
    return made


KINDS = (
    *("demo", *CANNOT_TELL, "no weather.csv", "no treatments.csv"),
    *(f"{name}, {reference}" for name in ENDS for reference in ("same_use", "other_use")),
)


# What is shown: one place for every word.


WORD = re.compile(r"(?<![^\W_])[A-Za-z]{2,}(?![^\W_])")


def latin_words(texts: list[str], found: TreatmentEffects) -> list[str]:
    """Return every word in Latin letters that is not the user's own, nor a code."""
    shown = " \N{BULLET} ".join(texts)
    users = {found.site.settings.name, *found.site.traps["design"].astype(str)}
    users |= set(found.site.zones["zone_id"].astype(str))
    for own in sorted(users, key=lambda each: (-len(each), each)):
        shown = shown.replace(own, "\N{BULLET}")
    return WORD.findall(shown)


def shown_texts(page: str) -> list[str]:
    """Return what a page shows or reads out: texts, title, letters in pictures, labels."""
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    labels = re.findall(r'\b(?:aria-label|title|alt|placeholder)="([^"]*)"', body)
    return [html.unescape(each) for each in (*labels, re.sub(r"<[^>]+>", " \N{BULLET} ", body))]


@pytest.mark.parametrize("kind", KINDS)
def test_no_word_of_the_page_bypasses_the_language_file(
    kind: str, found: Mapping[str, TreatmentEffects], strange: Catalogue
) -> None:
    told = found[kind]
    assert latin_words(shown_texts(efficacy_html(told, strange)), told) == []
    usual = latin_words(shown_texts(efficacy_html(told, EN)), told)
    assert len(usual) > (100 if told.courses else 30)


@pytest.mark.parametrize("kind", KINDS)
def test_no_sentence_that_the_command_prints_bypasses_it(
    kind: str, found: Mapping[str, TreatmentEffects], strange: Catalogue
) -> None:
    told = found[kind]
    assert latin_words(efficacy_sentences(told, strange), told) == []
    assert len(latin_words(efficacy_sentences(told, EN), told)) > 15


def test_every_message_of_the_page_is_said_by_one_of_these(
    found: Mapping[str, TreatmentEffects], tmp_path: Path
) -> None:
    """Each message is marked by its key, so that what no page here says is found."""
    messages = translated("de")
    marked = {key for key in messages if key.partition(".")[0].startswith("effect")}
    for key in marked:
        text = messages[key]
        messages[key] = (
            f"<{key}>{text}"
            if isinstance(text, str)
            else {form: f"<{key}>{each}" for form, each in text.items()}
        )
    lang = language(tmp_path, "de", messages)
    said = " ".join(
        text
        for told in found.values()
        for text in (html.unescape(efficacy_html(told, lang)), *efficacy_sentences(told, lang))
    )
    assert {key for key in marked if f"<{key}>" not in said} == set()


FONTS = "font-family="
"""In the one text of these modules that is for the browser."""

MODULES = ("efficacy_words", "efficacy_page", "efficacy_chart")


@pytest.mark.parametrize("name", MODULES)
def test_no_module_of_the_page_holds_a_sentence(name: str) -> None:
    tree = ast.parse((ROOT / "maps" / f"{name}.py").read_text(encoding="utf-8"))
    assert {text for text in sentences_of(tree) if FONTS not in text} == set()


# How it is written: by the locale.


def test_numbers_and_days_follow_the_locale(
    found: Mapping[str, TreatmentEffects], german: Catalogue
) -> None:
    page = efficacy_html(found["demo"], german)
    assert '<html lang="de"><head>' in page
    assert "Data to 31. Mai 2026. " in page
    assert re.search(r"<td>\d+,\d\d</td><td>\d+,\d\d</td>", page)
    assert re.search(r"went from \d+,\d\d to \d+,\d\d; ", page)
    said = " ".join(shown_texts(page)).replace(f"snoutline {VERSION}", "")
    assert re.findall(r"\d\.\d+", said) == []
    nights = replace(found["demo"].site.settings.treatment, cold_c=19.5)
    settings = replace(found["demo"].site.settings, treatment=nights)
    site = replace(found["demo"].site, settings=settings)
    assert "Nights under 19,5 C: " in efficacy_html(replace(found["demo"], site=site), german)


def test_treatments_are_counted_by_the_language(
    found: Mapping[str, TreatmentEffects], tmp_path: Path
) -> None:
    text = "{number} {day} {told}"
    forms = {each: f"{each}: {text}" for each in ("one", "few", "many", "other")}
    polish = language(tmp_path, "pl", translated("pl", same, effects__treatments=forms))
    said = [efficacy_sentences(found[kind], polish)[0] for kind in ("demo", "fewer, same_use")]
    assert said == ["many: 6 31 maja 2026 5", "one: 1 31 maja 2026 1"]


def test_rates_beside_the_picture_follow_the_locale(
    found: Mapping[str, TreatmentEffects], german: Catalogue
) -> None:
    course = found["demo"].courses[1]
    quiet = [each.assign(rate=each["rate"] / 20) for each in (course.treated, course.untreated)]
    picture = efficacy_svg(replace(course, treated=quiet[0], untreated=quiet[1]), german)
    assert re.search(r'text-anchor="end">0,\d</text>', picture)


@pytest.mark.parametrize(
    ("kind", "told"),
    [
        ("fewer, same_use", ": 40 % fewer than expected from the untreated zones (95 % interval"),
        ("fewer, same_use", "interval 10 % to 70 % fewer). Adults per trap-week went from"),
        ("unsure, other_use", "interval 30 % more to 70 % fewer; no effect is not ruled out)."),
        ("more, same_use", ": 30 % more than expected from the untreated zones"),
        ("more, same_use", "interval 109 % to 10 % more). Adults"),
        ("more, other_use", "in U0, U1, U2, U3, U4, U5 and 3 more from"),
        ("more, other_use", "(untreated zones of all uses, for those of its own caught too"),
    ],
)
def test_the_english_of_an_effect_is_that_of_its_numbers(
    kind: str, told: str, found: Mapping[str, TreatmentEffects]
) -> None:
    assert told in efficacy_sentences(found[kind], EN)[1]


# Right to left, long words, and a file that cannot do harm.


def test_right_to_left_is_told_to_the_page_and_pictures_keep_their_places(
    found: Mapping[str, TreatmentEffects], strange: Catalogue, tmp_path: Path
) -> None:
    hebrew = language(tmp_path, "he", translated("he"))
    page = efficacy_html(found["demo"], hebrew)
    assert '<html lang="he" dir="rtl">' in page
    assert "svg{direction:ltr}" in page
    other = efficacy_html(found["demo"], strange)
    assert "rtl" not in other
    assert "svg{direction" not in other


def test_a_long_name_in_the_legend_does_not_run_into_the_next(
    found: Mapping[str, TreatmentEffects], tmp_path: Path
) -> None:
    long = "w" * 24
    own = {"effect_picture__treated_zone": long, "effect_picture__untreated_zones": "others"}
    lang = language(tmp_path, "de", translated("de", same, **own))
    course = next(each for each in found["demo"].courses if not each.untreated.empty)
    picture = efficacy_svg(course, lang)
    first, second = (
        float(x) for x in re.findall(rf'<text x="([\d.]+)" y="19">(?:{long}|others)<', picture)
    )
    assert second - first >= 7 * len(long)


@pytest.mark.parametrize("payload", HOSTILE[:4])
def test_a_hostile_message_is_shown_as_text(
    payload: str, found: Mapping[str, TreatmentEffects], tmp_path: Path
) -> None:
    safe = re.sub(r"[\x00-\x1f\x7f-\x9f]", "", payload).replace("{", "(").replace("}", ")")
    hostile = language(tmp_path, "de", translated("de", lambda text: f"{safe}{text}"))
    for kind in ("demo", "no_traps", "no weather.csv", "no treatments.csv"):
        page = efficacy_html(found[kind], hostile)
        assert Tags(page).names == Tags(efficacy_html(found[kind], EN)).names
        assert html.unescape(page).count(safe) > 3


# The command: the page in the language, files for machines as they are.


def run(site: Path, out: Path, *options: str) -> Result:
    given = [str(site), "--out", str(out), *options]
    return CliRunner().invoke(module.command, given, catch_exceptions=False)


def test_the_command_takes_a_language_and_tables_stay_as_they_are(tmp_path: Path) -> None:
    path = written(tmp_path / "el.toml", "el", translated("el", pseudo))
    site = make_site(tmp_path / "site")
    assert run(site, tmp_path / "en").exit_code == 0
    done = run(site, tmp_path / "el", "--language", str(path))
    assert done.exit_code == 0, done.output
    lang = language(tmp_path, "el", translated("el", pseudo))
    for sentence in efficacy_sentences(treatment_effects(read_site(site)), lang):
        assert f"{sentence}\n" in done.output
    page = (tmp_path / "el" / "efficacy.html").read_text(encoding="utf-8")
    assert '<html lang="el"><head>' in page
    for name in ("efficacy.csv", "efficacy.json"):
        assert (tmp_path / "el" / name).read_bytes() == (tmp_path / "en" / name).read_bytes()


def test_the_language_may_be_named_in_site_toml(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", settings=f'language = "el.toml"\n{SETTINGS}')
    written(site / "el.toml", "el", translated("el", pseudo))
    assert run(site, tmp_path / "out", "--quiet").exit_code == 0
    page = (tmp_path / "out" / "efficacy.html").read_text(encoding="utf-8")
    assert '<html lang="el"><head>' in page


def test_the_facts_for_machines_are_in_english(found: Mapping[str, TreatmentEffects]) -> None:
    assert "6 treatments of a zone up to 31 May 2026" in efficacy_json(found["demo"])
