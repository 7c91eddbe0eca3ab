"""`snoutline sampling`: sizes, stop lines and charts of the demo and of thin sites."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from data.reading import read_site
from data.settings import LimitSettings
from data.site import Site
from maps.columns import SAMPLING
from maps.sampling_page import (
    NO_LIMIT_TEXT,
    chart_pages,
    class_sentences,
    core_sentences,
    sampling_csv,
    sampling_html,
    sampling_sentences,
)
from scripts.cli import cli, run
from spatial.class_sampling import NO_LIMIT, SiteSampling, site_sampling
from spatial.sample_size import Precision, stop_line
from spatial.variance_laws import taylor
from tests.sites import FIRST_SET, make_site

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
    assert set(NO_LIMIT_TEXT) == set(NO_LIMIT)


def test_both_meanings_of_precision_are_named_and_differ_by_z_squared() -> None:
    """Source: 1.959964 squared = 3.8415 (trade facts: the usual confusion)."""
    for each in with_limit().traps:
        se, half = each.sizes
        if not se.reason:
            assert half.units / se.units == pytest.approx(3.8415, abs=1e-3)
            text = " ".join(class_sentences(each, "today"))
            assert "a standard error of 25% of the mean takes" in text
            assert "a 95% interval of plus or minus 25% of the mean takes" in text


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
    assert len(made) == len(chart_pages(with_limit())) >= 3
    for chart in made:
        tried = chart.performance
        assert tried is not None
        at_low = int(np.argmin(abs(tried.mean - chart.chart.means.low_mean)))
        assert tried.above[at_low] < 0.2
        assert np.isfinite(tried.wald_units).all()


def test_a_chart_is_one_page_with_picture_table_and_performance() -> None:
    for page in chart_pages(with_limit()).values():
        assert page.count("<svg") == 1
        assert "Running total" in page
        assert "Wald&#x27;s formula" in page
        assert "http" not in page.replace("http://www.w3.org/2000/svg", "")


def test_without_a_limit_it_is_said_why_and_how() -> None:
    found = site_sampling(limited())
    assert not chart_pages(found)
    assert "add [[limits]] with adults_per_trap_week" in sampling_html(found)
    assert "add [[limits]]" in " ".join(sampling_sentences(found))


def test_a_limit_of_other_days_makes_no_chart() -> None:
    limit = replace(ADULTS, first_day="02-16", last_day="02-17")
    found = site_sampling(limited(limit))
    assert {each.no_limit for each in found.traps} == {"other_days"}
    assert "do not hold on" in sampling_html(found)


def test_a_design_without_a_ratio_has_no_limit(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site"))
    found = site_sampling(limited(ADULTS, site=site))
    linear = [each for each in found.traps if each.design == "linear"]
    assert linear
    assert {each.no_limit for each in linear} == {"no_ratio"}


def test_pooled_cores_say_nothing_about_scatter() -> None:
    found = site_sampling(demo(), cores=True)
    assert not found.cores
    assert "one row per core" in " ".join(core_sentences(found))


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
    assert "No zone has two counts in one round" in sampling_html(found)
    assert not chart_pages(found)


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
    done = CliRunner().invoke(cli, ["sampling", str(SITE), "--cores", "--out", str(tmp_path)])
    assert done.exit_code == 0, done.output
    names = {"sampling.html", "sampling.csv", "sampling.json"}
    written = {path.name for path in tmp_path.iterdir()}
    assert written == names | set(chart_pages(site_sampling(demo())))
    facts = json.loads((tmp_path / "sampling.json").read_text(encoding="utf-8"))
    assert len(facts["classes"]) == len(site_sampling(demo()).traps)


def test_a_precision_out_of_range_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["sampling", str(SITE), "--precision", "7"]) == 2
    assert "--precision" in capsys.readouterr().err
