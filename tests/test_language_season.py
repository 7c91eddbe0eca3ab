"""The season page in another language: every word, number and day of it, and nothing that harms."""

from __future__ import annotations

import ast
import html
import re
from collections.abc import Mapping
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import get_args

import pandas as pd
import pytest
from click.testing import CliRunner
from languages import EN, language, plain_runs, pseudo, same, sentences_of, translated, written
from sites import SETTINGS, make_site

from data.degree_day_models import shipped_models
from data.reading import read_site
from data.site import Site
from maps.catalogue import Catalogue
from maps.season_models import ModelText, model_text
from maps.season_page import season_html
from maps.season_words import season_sentences, when_sentences
from scripts.commands import season as module
from spatial.analysis import analyse
from spatial.season_report import SeasonReport, season_report

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "data" / "demo" / "site"

OWN_MODEL = """
name = "Own model of these grounds"
region = "here and nowhere else"
source = "our own note book"
unit = "C"
base = 1
method = "sine"
method_note = "Counted by hand."
start = "03-01"
[[events]]
event = "larvae"
from = 30
to = 60
status = "own records"
"""


def rainy_site(folder: Path) -> Path:
    """Write a site with two generations, rain, metric units and a model of its own."""
    days = pd.date_range("2026-03-01", periods=60)
    rows = [f"{day.date()},5.0,15.0,{n % 4}" for n, day in enumerate(days)]
    settings = f'units = "metric"\n{SETTINGS}[phenology]\nmodel = "own.toml"\n'
    settings += 'second_generation_from = "04-20"\n'
    files = {
        "weather.csv": "\n".join(["date,tmin_c,tmax_c,rain_mm", *rows]) + "\n",
        "own.toml": OWN_MODEL,
    }
    return make_site(folder, settings=settings, files=files)


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, SeasonReport]:
    """Report a whole network beside last year, its first week, and the small site."""
    folder = tmp_path_factory.mktemp("season")
    demo, rainy = read_site(DEMO), read_site(rainy_site(folder / "rainy"))
    bare = read_site(make_site(folder / "bare", files=dict.fromkeys(BARE)))
    assert rainy.model is not None
    own = (rainy.model,)
    return {
        "demo": season_report(demo, None, shipped_models()),
        "first week": season_report(demo, "2026-W09", shipped_models()),
        "rainy": season_report(rainy, None, own, named=rainy.model.key),
        "bare": season_report(bare, None, shipped_models()),
    }


BARE = ("weather.csv", "cores.csv", "treatments.csv")
PAGES = ("demo", "first week", "rainy", "bare")


# What is shown: one place for every word.


def users_texts(site: Site) -> set[str]:
    """Return what the user wrote: the site's name, species, and texts of the own model."""
    texts = {site.settings.name, *site.settings.target_species}
    if site.model is not None:
        texts |= {site.model.name, site.model.source, site.model.method_note}
    return texts


def shown_texts(page: str) -> str:
    """Return what a page shows or reads out: texts, title, letters in pictures, labels."""
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    labels = re.findall(r'\b(?:aria-label|title|alt|placeholder)="([^"]*)"', body)
    return html.unescape(" \N{BULLET} ".join([*labels, re.sub(r"<[^>]+>", " \N{BULLET} ", body)]))


@pytest.mark.parametrize("name", PAGES)
def test_no_word_of_the_page_bypasses_the_language_file(
    name: str, reports: Mapping[str, SeasonReport], strange: Catalogue
) -> None:
    report = reports[name]
    shown = shown_texts(season_html(report, strange))
    assert plain_runs(shown, users_texts(report.site)) == []
    assert len(plain_runs(shown_texts(season_html(report, EN)), users_texts(report.site))) > 80


@pytest.mark.parametrize("name", PAGES)
def test_no_sentence_that_the_command_prints_bypasses_it(
    name: str, reports: Mapping[str, SeasonReport], strange: Catalogue
) -> None:
    report = reports[name]
    said = " \N{BULLET} ".join(season_sentences(report, strange))
    assert plain_runs(said, users_texts(report.site)) == []
    assert plain_runs(" ".join(season_sentences(report, EN)), users_texts(report.site)) != []


def test_nor_does_what_the_map_says_of_the_season(
    reports: Mapping[str, SeasonReport], strange: Catalogue
) -> None:
    analysis = analyse(reports["demo"].site)
    assert analysis.when is not None
    said = when_sentences(analysis.when, analysis.season.cutoff, strange)
    assert len(said) == 4
    assert plain_runs(" \N{BULLET} ".join(said), set()) == []


FONTS = "font-family="
"""In the one text of these modules that is for the browser."""

MODULES = ("season_words", "season_page", "season_charts", "season_models", "chart_parts")


@pytest.mark.parametrize("name", MODULES)
def test_no_module_of_the_page_holds_a_sentence(name: str) -> None:
    """Also what none of the four sites says comes from the language file."""
    tree = ast.parse((ROOT / "maps" / f"{name}.py").read_text(encoding="utf-8"))
    assert {text for text in sentences_of(tree) if FONTS not in text} == set()


# Texts of models: ours are translated, the user's stand as they are.


@pytest.mark.parametrize("part", get_args(ModelText))
def test_the_english_file_says_of_the_models_what_their_files_say(part: ModelText) -> None:
    for model in shipped_models():
        assert EN.say(f"season_models.{model.key}.{part}") == getattr(model, part)


def test_a_users_model_under_a_name_of_ours_keeps_its_own_texts(strange: Catalogue) -> None:
    ours = shipped_models()[0]
    theirs = replace(ours, source="own records of 2025")
    assert model_text(theirs, "source", strange) == "own records of 2025"
    assert model_text(ours, "source", strange) == pseudo(ours.source)
    assert model_text(replace(ours, key="own"), "name", strange) == ours.name


# How it is written: by the locale.


def test_numbers_and_days_follow_the_locale(
    reports: Mapping[str, SeasonReport], german: Catalogue
) -> None:
    page = season_html(reports["demo"], german)
    assert '<html lang="de"><head>' in page
    assert "<td>506</td><td>4.791</td>" in page
    assert "925 to 1.035 F" in page
    assert "up to 31. Mai 2026." in page
    assert "data to 31. Mai 2026</text>" in page
    assert re.search(r"\d,\d adults per trap-week now, \d,\d then; ", page)
    assert re.search(r"ratio 0,\d\d \(90 % interval 0,\d\d to 0,\d\d\)", page)
    assert ">3.000</text>" in page
    assert ">Feb</text>" not in page
    assert ">M\N{LATIN SMALL LETTER A WITH DIAERESIS}r</text>" in page


def test_plural_forms_are_those_of_the_language(
    reports: Mapping[str, SeasonReport], tmp_path: Path
) -> None:
    forms = {each: f"{each}: {{cut}} {{number}}" for each in ("one", "few", "many", "other")}
    polish = language(tmp_path, "pl", translated("pl", same, season_paired__cut=forms))
    report = reports["bare"]
    assert len(report.paired.due) == 5
    assert "<p>many: 0 5</p>" in season_html(report, polish)
    fewer = replace(report.paired, due=report.paired.due.head(2))
    assert "<p>few: 0 2</p>" in season_html(replace(report, paired=fewer), polish)


def test_right_to_left_is_told_to_the_page_and_pictures_keep_their_places(
    reports: Mapping[str, SeasonReport], strange: Catalogue, tmp_path: Path
) -> None:
    hebrew = language(tmp_path, "he", translated("he"))
    page = season_html(reports["rainy"], hebrew)
    assert '<html lang="he" dir="rtl">' in page
    assert "svg{direction:ltr}" in page
    other = season_html(reports["rainy"], strange)
    assert "rtl" not in other
    assert "svg{direction" not in other


def test_a_long_name_in_the_calendar_stays_inside_the_picture(
    reports: Mapping[str, SeasonReport], tmp_path: Path
) -> None:
    long = "w" * 90
    lang = language(tmp_path, "de", translated("de", same, season_windows__soil_larvae=long))
    page = season_html(reports["demo"], lang)
    places = re.findall(rf'<text x="([-\d.]+)"[^>]*>{long}</text>', page)
    assert places == ["4.0"]


# A file that cannot do harm, and what stays as it is.


class Tags(HTMLParser):
    """The tags and attributes of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names |= {tag, *(name for name, _ in attrs)}


HOSTILE = "\"'><img src=x onerror=alert(1)></svg></title></style>"


@pytest.mark.parametrize("name", PAGES)
def test_a_hostile_message_is_shown_as_text(
    name: str, reports: Mapping[str, SeasonReport], tmp_path: Path
) -> None:
    hostile = language(tmp_path, "de", translated("de", lambda text: f"{HOSTILE}{text}"))
    page = season_html(reports[name], hostile)
    assert Tags(page).names == Tags(season_html(reports[name], EN)).names
    assert page.count(html.escape(HOSTILE)) > 60
    assert "<img" not in page


def test_the_command_takes_a_language_and_tables_stay_as_they_are(tmp_path: Path) -> None:
    path = written(tmp_path / "el.toml", "el", translated("el", pseudo))
    site = rainy_site(tmp_path / "site")
    for folder, options in (("en", []), ("el", ["--language", str(path)])):
        given = [str(site), "--out", str(tmp_path / folder), *options]
        done = CliRunner().invoke(module.command, given)
        assert done.exit_code == 0, done.output
    page = (tmp_path / "el" / "season.html").read_text(encoding="utf-8")
    assert '<html lang="el"><head>' in page
    assert EN.say("season_heads.curve") not in page
    assert pseudo("What is due is said of the first generation only.") in done.output
    names = {each.name for each in (tmp_path / "el").iterdir()}
    assert names == {each.name for each in (tmp_path / "en").iterdir()}
    for name in names - {"season.html"}:
        assert (tmp_path / "el" / name).read_bytes() == (tmp_path / "en" / name).read_bytes()


def test_the_language_may_be_named_in_site_toml(tmp_path: Path) -> None:
    site = rainy_site(tmp_path / "site")
    written(site / "el.toml", "el", translated("el", pseudo))
    toml = site / "site.toml"
    toml.write_text(f'language = "el.toml"\n{toml.read_text(encoding="utf-8")}', encoding="utf-8")
    given = [str(site), "--out", str(tmp_path / "out"), "--quiet"]
    assert CliRunner().invoke(module.command, given).exit_code == 0
    assert '<html lang="el">' in (tmp_path / "out" / "season.html").read_text(encoding="utf-8")
