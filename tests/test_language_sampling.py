"""The sampling page and its charts in other languages: every word is a message, none is joined."""

from __future__ import annotations

import ast
import html
import itertools
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from analyses import HOSTILE
from click.testing import CliRunner
from languages import EN, language, plain_runs, pseudo, same, sentences_of, translated, written
from sites import FIRST_SET, SETTINGS, make_site

from data.reading import read_site
from data.settings import LimitSettings
from data.site import Site
from data.version import VERSION
from maps.catalogue import Catalogue
from maps.sampling_chart import ChartLabel, chart_page
from maps.sampling_page import (
    chart_names,
    chart_pages,
    core_sentences,
    place_of,
    sampling_html,
    sampling_sentences,
)
from maps.sampling_words import (
    Unit,
    dispersion_sentences,
    line_sentences,
    size_sentence,
    trial_sentence,
)
from scripts.commands import sampling as module
from spatial import common_k, sequential
from spatial.class_sampling import SiteSampling, Wanted, site_sampling
from spatial.common_k import KEstimate
from spatial.sample_size import Precision, stop_line, try_stop_line, units_needed
from spatial.sampling import ClassDispersion
from spatial.sequential import around, decision_chart, performance
from spatial.variance_laws import NegativeBinomial

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "data" / "demo" / "site"
ADULTS = LimitSettings("own records", "2026", adults_per_trap_week=4)
LARVAE = LimitSettings("own records", "2026", larvae_per_ft2=0.5)
CORES = "zone_id,sampled_on,cores,diameter,diameter_unit,larvae,pupae,position\n"
VISITS = "trap_id,set_on,checked_on,status,parvulus,venatus,carabids,minutes,note\n"

SITES = ("demo", "early", "cores", "own k", "thin", "void", "other days", "no limit")


def changed(site: Site, *limits: LimitSettings) -> Site:
    return replace(site, settings=replace(site.settings, limits=limits))


def cored(folder: Path) -> Site:
    """Return a site with patchy cores in one zone, a single one elsewhere, and pooled ones."""
    larvae = [0, 0, 3, 1, 0, 0, 4, 0, 2, 0, 0, 1, 0, 5, 0, 0]
    rows = [f"Z1,{FIRST_SET},1,4.25,in,{number},," for number in larvae]
    rows += [f"Z2,{FIRST_SET},1,4.25,in,2,,", f"Z1,{FIRST_SET},3,4.25,in,2,,"]
    return read_site(make_site(folder, files={"cores.csv": CORES + "\n".join(rows) + "\n"}))


def thin(folder: Path, row: str) -> Site:
    return read_site(make_site(folder, files={"visits.csv": f"{VISITS}{row}\n"}))


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory) -> dict[str, SiteSampling]:
    """Make what was found on sites of all kinds."""
    folder, demo = tmp_path_factory.mktemp("sites"), read_site(DEMO)
    plain = read_site(make_site(folder / "plain"))
    one = thin(folder / "one", "T01,2026-04-06,2026-04-13,ok,2,0,0,,")
    void = thin(folder / "void", "T01,2026-04-06,2026-04-13,flooded,,,,,")
    winter = replace(ADULTS, first_day="02-16", last_day="02-17")
    fine = Wanted(d=0.05)
    found = (
        site_sampling(demo, cores=True, wanted=fine),
        site_sampling(demo, "2026-W12"),
        site_sampling(changed(cored(folder / "cores"), ADULTS, LARVAE), cores=True),
        site_sampling(changed(plain, ADULTS), wanted=Wanted(k=0.8)),
        site_sampling(changed(one, ADULTS)),
        site_sampling(changed(void, ADULTS), cores=True),
        site_sampling(changed(plain, winter)),
        site_sampling(plain),
    )
    return dict(zip(SITES, found, strict=True))


@pytest.fixture(scope="module")
def hebrew(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return language(tmp_path_factory.mktemp("he"), "he", translated("he"))


def pages(found: SiteSampling, lang: Catalogue) -> list[str]:
    """Return the page and its charts."""
    return [sampling_html(found, lang, cores=True), *chart_pages(found, lang).values()]


def shown(page: str) -> str:
    """Return every text of a page: what it shows, its title, and what only machines read out."""
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    labels = re.findall(r'(?:aria-label|title|alt|placeholder)="([^"]*)"', body)
    return html.unescape(" \N{BULLET} ".join([*labels, re.sub(r"<[^>]+>", " \N{BULLET} ", body)]))


def users_texts(found: SiteSampling) -> set[str]:
    settings = found.site.settings
    names = {settings.name, *(each.source for each in settings.limits)}
    return names | {each.design for each in found.traps}


# What is shown.


@pytest.mark.parametrize("name", SITES)
def test_no_word_of_page_or_charts_bypasses_the_language_file(
    name: str, sites: dict[str, SiteSampling], strange: Catalogue
) -> None:
    for page in pages(sites[name], strange):
        text = shown(page)
        assert len(text) > 300
        assert plain_runs(text, users_texts(sites[name])) == []


@pytest.mark.parametrize("name", SITES)
def test_no_sentence_for_the_terminal_bypasses_it(
    name: str, sites: dict[str, SiteSampling], strange: Catalogue
) -> None:
    found = sites[name]
    said = [*sampling_sentences(found, strange), *core_sentences(found, strange)]
    assert said
    assert plain_runs(" \N{BULLET} ".join(said), users_texts(found)) == []


def test_a_word_that_bypasses_it_is_seen(
    sites: dict[str, SiteSampling], strange: Catalogue
) -> None:
    for page in (sampling_html(sites["demo"], EN), *chart_pages(sites["demo"], EN).values()):
        assert len(plain_runs(shown(page), users_texts(sites["demo"]))) > 30
    (name, (found, chart)) = next(iter(chart_names(sites["demo"]).items()))
    label = ChartLabel("All greens", Unit("traps", 7), "today")
    page = chart_page(chart.chart, None, label, strange)
    assert name.startswith("chart-1-")
    assert found.told
    assert set(plain_runs(shown(page), set())) == {"All greens"}


MODULES = [ROOT / "maps" / f"sampling_{name}.py" for name in ("words", "page", "chart")]

NOT_SHOWN = ("expected a key of letters and digits", "font-family=", "table.lead tbody")
"""What reads like a sentence and is none that a reader sees."""


@pytest.mark.parametrize("path", MODULES, ids=lambda each: each.name)
def test_no_module_of_the_page_holds_a_sentence(path: Path) -> None:
    found = sentences_of(ast.parse(path.read_text(encoding="utf-8")))
    assert {each for each in found if not any(part in each for part in NOT_SHOWN)} == set()


# How it is written.


def test_numbers_and_days_follow_the_locale(
    sites: dict[str, SiteSampling], german: Catalogue
) -> None:
    page, *charts = pages(sites["demo"], german)
    assert '<html lang="de"><head>' in page
    assert "Season 2026 to 31. Mai 2026." in page
    assert "takes 3,84 times as many" in page
    # The line of a fine precision asks for thousands; the mean has a comma.
    assert re.search(r"<td>\d{1,2}\.\d{3}</td>", page)
    assert re.search(r"Taylor: variance = \d+,\d\d x mean\^\d+,\d\d ", page)
    assert not re.search(r"\d\.\d(?!\d\d)", shown(page).replace(VERSION, ""))
    assert len(charts) >= 3
    for chart in charts:
        assert "Made from data to 31. Mai 2026" in chart
        assert re.search(r'<th scope="row">\d+,\d\d</th>', chart)


def test_each_count_takes_its_plural_form(tmp_path: Path) -> None:
    forms = {each: f"{each}: {{number}}" for each in ("one", "few", "many", "other")}
    own = {"sampling_traps__across": forms, "sampling__charts": forms}
    polish = language(tmp_path, "pl", translated("pl", same, **own))
    assert [polish.say("sampling.charts", n) for n in (1, 3, 5)] == ["one: 1", "few: 3", "many: 5"]
    chart = decision_chart(around(3, 2), 1.2, most=20)
    for nights, said in ((1, "one: 1"), (7, "many: 7"), (6.5, "other: 6,5")):
        assert said in chart_page(chart, None, ChartLabel("", Unit("traps", nights), ""), polish)


def test_the_names_of_files_are_the_same_in_every_language(
    sites: dict[str, SiteSampling], strange: Catalogue
) -> None:
    names = list(chart_pages(sites["cores"], strange))
    assert names == list(chart_pages(sites["cores"], EN)) == list(chart_names(sites["cores"]))
    assert any(name.endswith("-fairway-cores-of-10-795-cm.html") for name in names)
    page = sampling_html(sites["cores"], strange)
    assert re.findall(r'href="([^"]+)"', page) == names


def test_right_to_left_is_told_and_pictures_stay(
    sites: dict[str, SiteSampling], hebrew: Catalogue, german: Catalogue
) -> None:
    for page in pages(sites["cores"], hebrew):
        assert '<html lang="he" dir="rtl">' in page
        assert "svg{direction:ltr}" in page
    for page in pages(sites["cores"], german):
        assert "dir=" not in page
        assert "svg{direction" not in page


def test_a_use_of_the_users_own_stands_as_it_is(
    sites: dict[str, SiteSampling], strange: Catalogue
) -> None:
    found = sites["demo"].traps[0]
    dispersion = replace(found.dispersion, use="PGA_course")
    assert place_of(replace(found, dispersion=dispersion), EN) == "PGA course, cup traps"
    assert "PGA course" in place_of(replace(found, dispersion=dispersion), strange)


# A file that cannot do harm, and one that is named.


@pytest.mark.parametrize("payload", HOSTILE[:4])
def test_a_hostile_message_is_shown_as_text(
    payload: str, sites: dict[str, SiteSampling], tmp_path: Path
) -> None:
    safe = re.sub(r"[\x00-\x1f\x7f-\x9f]", "", payload).replace("{", "(").replace("}", ")")
    lang = language(tmp_path, "de", translated("de", lambda text: f"{safe}{text}"))
    for hostile, usual in zip(pages(sites["cores"], lang), pages(sites["cores"], EN), strict=True):
        tags = [re.findall(r"<([\w/]+)", each) for each in (hostile, usual)]
        assert tags[0] == tags[1]
        assert hostile.count(html.escape(safe)) > 10


def test_braces_in_the_users_texts_are_no_placeholders() -> None:
    site = changed(read_site(DEMO), replace(ADULTS, source="{number} {0}", dated="{x.__class__}"))
    named = replace(site, settings=replace(site.settings, name="{site} {}"))
    page = sampling_html(site_sampling(named), EN)
    assert "How much sampling is enough? {site} {}" in page
    assert "({number} {0}, {x.__class__})" in page


def test_the_command_takes_a_language(tmp_path: Path) -> None:
    limit = '[[limits]]\nadults_per_trap_week = 4\nsource = "own records"\ndated = "2026"\n'
    site, out = make_site(tmp_path / "site", settings=SETTINGS + limit), tmp_path / "out"
    path = written(tmp_path / "el.toml", "el", translated("el", pseudo))
    asked = ["--k", "0.8", "--out", str(out), "--language", str(path)]
    done = CliRunner().invoke(module.command, [str(site), *asked])
    assert done.exit_code == 0, done.output
    said = [line for line in done.stdout.splitlines() if not line.startswith(str(out))]
    assert len(said) > 5
    assert plain_runs(" \N{BULLET} ".join(said), {"own records"}) == []
    made = sorted(out.glob("*.html"))
    assert len(made) > 2
    for each in made:
        assert '<html lang="el">' in each.read_text(encoding="utf-8")
    facts = json.loads((out / "sampling.json").read_text(encoding="utf-8"))
    assert plain_runs(" ".join(facts["classes"][0]["sentences"]), set()) != []


# Sentences that no site of these tests needs: filled in all the same.


def say_all_of_unit(unit: Unit) -> None:
    """Say everything that charts, lines and sizes can say about a kind of unit."""
    for end in sequential.AT_END:
        chart = decision_chart(around(3, 2), 1.2, most=20, at_end=end)
        for k in (1.2, 0.5):
            tried = performance(chart, k=k, runs=50)
            chart_page(chart, tried, ChartLabel("", unit, ""), EN)
    line = stop_line(NegativeBinomial(1), Precision(0.25), most=30)
    line_sentences(line, unit, EN)
    tried_line = try_stop_line(line, 40, 1, runs=50)
    for unfinished, units in ((0.1, 20.0), (0.9, 30.0), (0.9, 28.4)):
        trial = replace(tried_line, unfinished=unfinished, units=units)
        trial_sentence(trial, line, unit, EN)
    for k in (0.8, math.inf):
        size_sentence(units_needed(2, NegativeBinomial(k), Precision(0.25)), unit, EN)


def say_all_of_scatter(found: ClassDispersion) -> None:
    """Say everything that can be said of scatter, whatever the class really shows."""
    unit = Unit("traps", 7)
    told = (("", 0.4, math.inf), *((reason, 0.4, math.nan) for reason in common_k.NO_K))
    for p, (reason, low, high) in itertools.product((0.01, 0.99), told):
        k = KEstimate(0.8, 0.1, low, high, 40, reason)
        common = replace(found.k, adjusted=k, differ_p=0.01)
        dispersion_sentences(replace(found, p=p, k=common), unit, EN)


def test_every_message_with_braces_is_filled_in_somewhere(
    sites: dict[str, SiteSampling], monkeypatch: pytest.MonkeyPatch
) -> None:
    said, say = set(), Catalogue.say

    def recorded(lang: Catalogue, key: str, *number: int, **values: str) -> str:
        said.add(key)
        return say(lang, key, *number, **values)

    monkeypatch.setattr(Catalogue, "say", recorded)
    for found in sites.values():
        pages(found, EN)
        sampling_sentences(found, EN)
    for kind in ("traps", "cores"):
        say_all_of_unit(Unit(kind, 7))
    say_all_of_scatter(next(each for each in sites["demo"].traps if each.told).dispersion)
    ours = {key for key in EN.messages if key.startswith("sampling")}
    filled = {key for key in ours if "{" in str(EN.messages[key])}
    assert len(filled) > 60
    assert filled - said == set()
