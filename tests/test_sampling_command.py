"""`snoutline sampling`: sizes, stop lines and charts of the demo and of thin sites."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from languages import EN, section
from sites import FIRST_SET, SETTINGS, make_site

from data.reading import read_site
from data.settings import LimitSettings
from data.site import Site
from maps.columns import SAMPLING
from maps.sampling_page import (
    chart_pages,
    class_sentences,
    core_sentences,
    place_of,
    sampling_csv,
    sampling_html,
    sampling_sentences,
    untold_sentences,
)
from scripts.cli import cli, run
from spatial.class_sampling import NO_LIMIT, SiteSampling, Wanted, site_sampling
from spatial.sample_size import Precision, stop_line
from spatial.variance_laws import taylor

SITE = Path(__file__).parents[1] / "data" / "demo" / "site"
ADULTS = LimitSettings("own records", "2026", adults_per_trap_week=4)
LARVAE = LimitSettings("own records", "2026", larvae_per_ft2=5)


@cache
def demo() -> Site:
    return read_site(SITE)


def limited(*limits: LimitSettings, site: Site | None = None) -> Site:
    base = site or demo()
    return replace(base, settings=replace(base.settings, limits=limits))


@cache
def with_limit() -> SiteSampling:
    return site_sampling(limited(ADULTS))


def test_every_code_has_words() -> None:
    assert set(section("sampling_no_limit")) == set(NO_LIMIT)


def test_both_meanings_of_precision_are_named_and_differ_by_z_squared() -> None:
    """Source: 1.959964 squared = 3.8415 (trade facts: the usual confusion)."""
    for each in with_limit().traps:
        se, half = each.sizes
        if not se.reason:
            assert half.units / se.units == pytest.approx(3.8415, abs=1e-3)
            text = " ".join(class_sentences(each, "today", EN))
            assert "a standard error of 25 % of the mean takes" in text
            assert "a 95 % interval of plus or minus 25 % of the mean takes" in text


def test_the_limit_becomes_a_count_per_visit_of_each_design() -> None:
    charts = [(each, chart) for each in with_limit().traps for chart in each.charts]
    assert charts
    for each, chart in charts:
        if each.design == "cup":
            expected = 4 * each.dispersion.nights / 7
            assert chart.chart.means.limit == pytest.approx(expected)
        else:
            assert chart.chart.means.limit > 2 * 4 * each.dispersion.nights / 7 * 0.8


def test_every_chart_made_is_simulated_beside_wald() -> None:
    made = [c for each in with_limit().traps for c in each.charts if not c.chart.reason]
    assert len(made) == len(chart_pages(with_limit(), EN)) >= 3
    for chart in made:
        tried = chart.performance
        assert tried is not None
        at_low = int(np.argmin(abs(tried.mean - chart.chart.means.low_mean)))
        assert tried.above[at_low] < 0.2
        assert np.isfinite(tried.wald_units).all()


def test_a_chart_is_one_page_with_picture_table_and_performance() -> None:
    for page in chart_pages(with_limit(), EN).values():
        assert page.count("<svg") == 1
        assert "Running total" in page
        assert "Wald&#x27;s formula" in page
        assert "://" not in page.replace("http://www.w3.org/2000/svg", "")


def test_without_a_limit_it_is_said_why_and_how() -> None:
    found = site_sampling(limited())
    assert not chart_pages(found, EN)
    assert "add [[limits]] with adults_per_trap_week" in sampling_html(found, EN)
    assert "add [[limits]]" in " ".join(sampling_sentences(found, EN))


def test_a_limit_of_other_days_makes_no_chart() -> None:
    limit = replace(ADULTS, first_day="02-16", last_day="02-17")
    found = site_sampling(limited(limit))
    assert {each.no_limit for each in found.traps} == {"other_days"}
    assert "do not hold on" in sampling_html(found, EN)


def test_a_design_without_a_ratio_has_no_limit(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site"))
    found = site_sampling(limited(ADULTS, site=site))
    linear = [each for each in found.traps if each.design == "linear"]
    assert linear
    assert {each.no_limit for each in linear} == {"no_ratio"}


def test_pooled_cores_say_nothing_about_scatter() -> None:
    found = site_sampling(demo(), cores=True)
    assert not found.cores
    assert "one row per core" in " ".join(core_sentences(found, EN))


def test_cores_one_by_one_make_a_chart(tmp_path: Path) -> None:
    larvae = [0, 0, 3, 1, 0, 0, 4, 0, 2, 0, 0, 1, 0, 5, 0, 0]
    rows = [f"Z1,{FIRST_SET},1,4.25,in,{number},," for number in larvae]
    text = "zone_id,sampled_on,cores,diameter,diameter_unit,larvae,pupae,position\n"
    files = {"cores.csv": text + "\n".join(rows) + "\n"}
    site = read_site(make_site(tmp_path / "site", files=files))
    (found,) = site_sampling(limited(LARVAE, site=site), cores=True).cores
    assert found.dispersion.counts == 16
    (chart,) = found.charts
    assert chart.chart.means.limit == pytest.approx(0.4927, abs=1e-3)
    assert not chart.chart.reason


def test_one_visit_says_that_nothing_is_known(tmp_path: Path) -> None:
    row = "T01,2026-04-06,2026-04-13,ok,2,0,0,,\n"
    head = "trap_id,set_on,checked_on,status,parvulus,venatus,carabids,minutes,note\n"
    site = read_site(make_site(tmp_path / "site", files={"visits.csv": head + row}))
    found = site_sampling(limited(ADULTS, site=site))
    assert "no zone has two counts in one round" in sampling_html(found, EN)
    assert not chart_pages(found, EN)


def test_the_table_has_every_described_column_and_class() -> None:
    lines = sampling_csv(with_limit()).splitlines()
    assert lines[0].split(",") == [each.name for each in SAMPLING]
    assert len(lines) == len(with_limit().traps) + 1


def test_a_steep_taylor_law_has_no_line_that_nobody_could_reach() -> None:
    """With b = 1.99 and D = 0.02 the line asks for over a million beetles."""
    mean = np.array([0.5, 1.0, 2.0, 4.0, 8.0])
    law = taylor(mean, 3 * mean**1.99)
    assert stop_line(law, Precision(0.02)).reason == "too_steep"


def test_the_command_writes_its_files(tmp_path: Path) -> None:
    limit = '[[limits]]\nadults_per_trap_week = 4\nsource = "own records"\ndated = "2026"\n'
    site, out = make_site(tmp_path / "site", settings=SETTINGS + limit), tmp_path / "out"
    asked = ["--cores", "--k", "0.8", "--out", str(out)]
    done = CliRunner().invoke(cli, ["sampling", str(site), *asked])
    assert done.exit_code == 0, done.output
    found = site_sampling(read_site(site), wanted=Wanted(k=0.8), cores=True)
    charts = set(chart_pages(found, EN))
    assert charts
    written = {path.name for path in out.iterdir()}
    assert written == charts | {"sampling.html", "sampling.csv", "sampling.json"}
    facts = json.loads((out / "sampling.json").read_text(encoding="utf-8"))
    assert len(facts["classes"]) == len(found.traps)
    assert facts["k"] == 0.8


def test_the_page_leads_with_a_row_per_class_that_can_be_told() -> None:
    page = sampling_html(with_limit(), EN)
    table = page[page.index('<table class="lead">') :].partition("</table>")[0]
    told = [each for each in with_limit().traps if each.told]
    assert table.count("<tr>") == len(told) + 1
    assert page.index("<h2") > page.index("</table>")
    for each in told:
        assert f'<td class="">{each.sizes[1].whole}</td>' in table
        assert page.count(place_of(each, EN)) == 3, "row, heading, label of the picture"


def test_classes_that_cannot_be_told_share_one_sentence_with_its_remedy() -> None:
    untold = [each for each in with_limit().traps if not each.told]
    (said,) = untold_sentences(untold, EN)
    assert len(untold) == 7
    assert all(place_of(each, EN) in said for each in untold)
    assert said.endswith("Two traps in one zone, checked in the same round, would change that.")
    assert sampling_html(with_limit(), EN).count(said) == 1


def test_a_k_of_the_user_is_used_only_where_the_counts_tell_none_and_is_said() -> None:
    """Source: n = (1 / m + 1 / k) / D**2."""
    found = site_sampling(limited(ADULTS), wanted=Wanted(k=0.8))
    page = sampling_html(found, EN)
    measured = {place_of(each, EN): each for each in with_limit().traps}
    assert all(each.told for each in found.traps)
    given = [each for each in found.traps if each.given_k == 0.8]
    assert len(given) == 7
    assert page.count(EN.say("sampling.given_k", k="0.8")) == page.count("0.8 (yours)") == 7
    for each in given:
        expected = (1 / each.dispersion.mean + 1 / 0.8) / 0.25**2
        assert each.sizes[0].units == pytest.approx(expected)
        assert all(c.chart.k == 0.8 and c.patchier is None for c in each.charts)
    for each in found.traps:
        if each not in given:
            assert each.sizes == measured[place_of(each, EN)].sizes
    assert sampling_csv(found).count(",0.8000,") == 7


def test_a_k_out_of_range_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["sampling", str(SITE), "--k", "0"]) == 2
    assert "--k" in capsys.readouterr().err


def test_a_precision_out_of_range_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["sampling", str(SITE), "--precision", "7"]) == 2
    assert "--precision" in capsys.readouterr().err
