"""The network page in other languages: every word is a message, none is joined in code."""

from __future__ import annotations

import ast
import html
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from analyses import HOSTILE
from click.testing import CliRunner
from languages import (
    EN,
    language,
    plain_runs,
    pseudo,
    same,
    section,
    sentences_of,
    translated,
    written,
)
from sites import SETTINGS, make_site

from data.reading import read_site
from data.version import VERSION
from maps.catalogue import Catalogue
from maps.network_map import KEY
from maps.network_page import COLUMNS, HOW, network_csv, network_html, network_json, suggested_csv
from maps.network_words import network_sentences, place_sentences, verdict_text
from scripts.commands import network as module
from spatial.network_report import NetworkReport, NetworkWish, network_report
from spatial.results import Chance
from spatial.trap_plan import TrapPlan
from spatial.verdicts import REASONS, VERDICTS

ROOT = Path(__file__).resolve().parent.parent

QUICK = f"{SETTINGS}[marks]\npermutations = 999\n"
METRIC = f'units = "metric"\n{QUICK}[network]\nno_trap_uses = ["green"]\n'
REPORTS = ("moves", "metric", "nothing to add", "all is said", "no edge, no knee")


def all_is_said(report: NetworkReport) -> NetworkReport:
    """Return a report in which every kind of sentence has something to say."""
    traps = report.analysis.traps[report.analysis.traps["in_use"]]
    names = list(traps["trap_id"].astype(str))
    places = report.plan.suggestions.assign(edge_m=12.0)
    plan = replace(
        report.plan,
        suggestions=places,
        moved=tuple(traps["location_id"].astype(str)),
        curve_ha=np.array([2.5, 2.75, 2.8]),
        knee=2,
        next_season=False,
        weeks=1,
    )
    pairs = pd.DataFrame({"first": names[:2], "second": names[2:4], "distance_m": [3.0, 4.0]})
    told = Chance(traps=4, fold=3.0, found=38, maps=100)
    analysis = replace(report.analysis, chance=told)
    minutes = np.full(len(places), 1.0)
    return replace(
        report, analysis=analysis, plan=plan, pairs=pairs, redundant=tuple(names[:2]),
        minutes=minutes,
    )  # fmt: skip


def without_edge(plan: TrapPlan) -> TrapPlan:
    return replace(plan, suggestions=plan.suggestions.assign(edge_m=0.0), knee=0)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_site(tmp_path_factory.mktemp("network") / "site", settings=QUICK)


@pytest.fixture(scope="module")
def reports(site: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, NetworkReport]:
    metric = make_site(tmp_path_factory.mktemp("metric") / "site", settings=METRIC)
    moves = network_report(read_site(site), None, NetworkWish(4, 1))
    found = (
        moves,
        network_report(read_site(metric), None, NetworkWish(2, 0, next_season=True)),
        network_report(read_site(site), None, NetworkWish(0, 0)),
        all_is_said(moves),
        replace(moves, plan=without_edge(moves.plan)),
    )
    return dict(zip(REPORTS, found, strict=True))


def shown(page: str) -> str:
    """Return every text of a page: what it shows, its title, and what only machines read out."""
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    labels = re.findall(r'(?:aria-label|title|alt|placeholder)="([^"]*)"', body)
    return html.unescape(" \N{BULLET} ".join([*labels, re.sub(r"<[^>]+>", " \N{BULLET} ", body)]))


def users_texts(report: NetworkReport) -> set[str]:
    return {report.analysis.site.settings.name}


# What is shown: one place for every word.


@pytest.mark.parametrize("name", REPORTS)
def test_no_word_of_the_page_bypasses_the_language_file(
    name: str, reports: dict[str, NetworkReport], strange: Catalogue
) -> None:
    report = reports[name]
    text = shown(network_html(report, strange))
    assert len(text) > 2000
    assert plain_runs(text, users_texts(report)) == []
    assert len(plain_runs(shown(network_html(report, EN)), users_texts(report))) > 50


@pytest.mark.parametrize("name", REPORTS)
def test_nor_does_a_sentence_that_the_command_prints(
    name: str, reports: dict[str, NetworkReport], strange: Catalogue
) -> None:
    report = reports[name]
    said = [*network_sentences(report, strange), *place_sentences(report, strange)]
    assert len(said) >= 4
    assert plain_runs(" \N{BULLET} ".join(said), users_texts(report)) == []


MODULES = [
    *(ROOT / "maps" / f"network_{name}.py" for name in ("words", "page", "map")),
    ROOT / "scripts" / "commands" / "network.py",
]

NOT_SHOWN = (
    "give --week or --season, not both",
    "ISO week, e.g. ",
    "Plan for the next season,",
    "Traps to add.",
    "Most traps in use",
    "snoutline network my-course",
    "reading the site",
)
"""An error, the command's help and its progress, which stay English."""


@pytest.mark.parametrize("path", MODULES, ids=lambda each: each.name)
def test_no_module_of_the_page_holds_a_sentence(path: Path) -> None:
    found = sentences_of(ast.parse(path.read_text(encoding="utf-8")))
    assert {each for each in found if not any(part in each for part in NOT_SHOWN)} == set()


def test_every_verdict_and_reason_has_its_words(strange: Catalogue) -> None:
    codes = {code for each in REASONS.values() for code in each}
    assert codes == section("network_reasons").keys()
    for verdict in VERDICTS:
        for code in codes:
            said = verdict_text(verdict, 2.0, (code, code), strange)
            assert plain_runs(said, set()) == []


def test_every_message_of_the_page_is_said(
    reports: dict[str, NetworkReport], monkeypatch: pytest.MonkeyPatch
) -> None:
    said, say = set(), Catalogue.say

    def recorded(lang: Catalogue, key: str, *number: int, **values: str) -> str:
        said.add(key)
        return say(lang, key, *number, **values)

    monkeypatch.setattr(Catalogue, "say", recorded)
    for report in reports.values():
        network_html(report, EN)
    wanted = {each for each in EN.messages if each.startswith("network_")}
    reasons = {f"network_reasons.{code}" for code in section("network_reasons")}
    assert wanted - said - reasons == set()


def test_the_keys_of_lists_are_messages() -> None:
    messages = section("network_page").keys()
    assert {*COLUMNS, *HOW, *(key for _, key in KEY)} <= messages


# How it is written.


def test_numbers_and_days_follow_the_locale(
    reports: dict[str, NetworkReport], german: Catalogue
) -> None:
    page = network_html(reports["all is said"], german)
    text = shown(page)
    assert '<html lang="de"><head>' in page
    assert re.search(r"Season 2026, up to \d+\. Mai 2026: 16 traps in use\.", text)
    assert ">2,8</text>" in page
    assert re.search(r"worth more than \d+,\d\d times this one", text)
    assert re.search(r"<td>\d+,\d</td>", page)
    assert re.search(r"to settle \d+,\d+ acres in the 1 week left", text)
    # Digits after a point are those of versions alone, never of a number.
    assert not re.search(r"\d\.\d(?!\d\d)", text.replace(VERSION, ""))


def test_each_count_takes_its_plural_form(
    reports: dict[str, NetworkReport], tmp_path: Path
) -> None:
    forms = {
        each: f"{each}: {{number}} {{season}} {{day}}" for each in ("one", "few", "many", "other")
    }
    polish = language(tmp_path, "pl", translated("pl", same, network_page__about=forms))
    assert "many: 16 2026 " in network_html(reports["moves"], polish)


def test_right_to_left_is_told_and_pictures_stay(
    reports: dict[str, NetworkReport], german: Catalogue, tmp_path: Path
) -> None:
    hebrew = language(tmp_path, "he", translated("he"))
    page = network_html(reports["moves"], hebrew)
    assert '<html lang="he" dir="rtl">' in page
    assert "svg{direction:ltr}" in page
    # Numbers of the places stand at the start of their lines, whichever side that is.
    assert "padding-left" not in page
    other = network_html(reports["moves"], german)
    assert "dir=" not in other
    assert "svg{direction" not in other


# A file that cannot do harm, one that is named, and what stays as it is.


@pytest.mark.parametrize("payload", [*HOSTILE[:4], "\"'><img src=x onerror=alert(1)></svg>"])
def test_a_hostile_message_is_shown_as_text(
    payload: str, reports: dict[str, NetworkReport], tmp_path: Path
) -> None:
    safe = re.sub(r"[\x00-\x1f\x7f-\x9f]", "", payload).replace("{", "(").replace("}", ")")
    lang = language(tmp_path, "de", translated("de", lambda text: f"{safe}{text}"))
    for report in reports.values():
        hostile, usual = (network_html(report, each) for each in (lang, EN))
        tags = [re.findall(r"<([\w/]+)", each) for each in (hostile, usual)]
        assert tags[0] == tags[1]
        assert hostile.count(html.escape(safe)) > 50


def test_braces_in_the_users_texts_are_no_placeholders(
    reports: dict[str, NetworkReport],
) -> None:
    report = reports["moves"]
    site = report.analysis.site
    named = replace(site, settings=replace(site.settings, name="{site} {0}"))
    page = network_html(replace(report, analysis=replace(report.analysis, site=named)), EN)
    assert "What the trap network can carry: {site} {0}" in page


def test_the_language_file_stands_in_the_provenance(
    reports: dict[str, NetworkReport], german: Catalogue
) -> None:
    assert len(german.digest) == 64
    assert f"de.toml {german.digest[:12]}" in network_html(reports["moves"], german)
    assert ".toml " not in network_html(reports["moves"], EN).replace("site.toml ", "")


def test_tables_and_json_stay_english(reports: dict[str, NetworkReport]) -> None:
    report = reports["all is said"]
    facts = json.loads(network_json(report))
    assert facts["sentences"] == network_sentences(report, EN)
    assert place_sentences(report, EN)[0].split(":")[0] in suggested_csv(report)
    assert "none" in network_csv(report)


def test_the_command_takes_a_language_for_both_pages(site: Path, tmp_path: Path) -> None:
    path = written(tmp_path / "el.toml", "el", translated("el", pseudo))
    done = {}
    for folder, options in (("en", []), ("el", ["--language", str(path)])):
        asked = [str(site), "--out", str(tmp_path / folder), "--new", "2", *options]
        done[folder] = CliRunner().invoke(module.command, asked)
        assert done[folder].exit_code == 0, done[folder].output
    lines = done["el"].stdout.splitlines()
    said = [line for line in lines if not line.startswith(str(tmp_path))]
    assert len(said) > 5
    assert plain_runs(" \N{BULLET} ".join(said), {"Kestwick Green"}) == []
    names = {each.name for each in (tmp_path / "el").iterdir()}
    pages = {"network.html", "parts-and-holes.html"}
    assert pages <= names == {each.name for each in (tmp_path / "en").iterdir()}
    for name in pages:
        page = (tmp_path / "el" / name).read_text(encoding="utf-8")
        assert '<html lang="el">' in page
        assert plain_runs(shown(page), {"Kestwick Green"}) == []
    for name in names - pages:
        assert (tmp_path / "el" / name).read_bytes() == (tmp_path / "en" / name).read_bytes()
