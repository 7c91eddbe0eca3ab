"""`snoutline season`: what it says and writes, with weather and without."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result
from sites import make_site

from data.degree_day_models import EVENTS, shipped_models
from data.findings import SettingsError
from data.reading import read_site
from maps import season_words as words
from maps.columns import DEGREE_DAYS, SEASON
from maps.season_page import season_html
from scripts.commands import season as module
from spatial.degree_day_sums import REASONS
from spatial.degree_days import CUT_OFFS, METHODS
from spatial.season_dates import NO_DATES
from spatial.season_report import SeasonReport, season_report


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_site(tmp_path_factory.mktemp("season") / "site")


@pytest.fixture(scope="module")
def report(site: Path) -> SeasonReport:
    """Report the site with weather from January on; its own begins in April."""
    read = read_site(site)
    days = pd.date_range("2026-01-01", "2026-05-31")
    low = [-5 + 0.12 * number for number in range(len(days))]
    weather = pd.DataFrame({"date": days, "tmin_c": low, "tmax_c": [each + 12 for each in low]})
    object.__setattr__(read, "weather", weather)
    return season_report(read, None, shipped_models())


def run(site: Path, *options: str, folder: str = "out") -> Result:
    out = site.parent / folder
    return CliRunner().invoke(module.command, [str(site), "--out", str(out), *options])


def test_it_writes_every_file_and_says_when(site: Path) -> None:
    result = run(site)
    assert result.exit_code == 0, result.output
    out = site.parent / "out"
    assert {path.name for path in out.iterdir()} == {
        "season.html",
        "season.csv",
        "degree-days.csv",
    }
    assert "The first beetle was caught between 6 April 2026 and 13 April 2026." in result.output
    assert "Of all adults caught so far this season: 10 % by" in result.output
    for name, columns in (("season.csv", SEASON), ("degree-days.csv", DEGREE_DAYS)):
        rows = list(csv.DictReader((out / name).read_text(encoding="utf-8").splitlines()))
        assert list(rows[0]) == [each.name for each in columns]
    assert float(rows[-1]["total"] or 0) >= 0


def test_a_treated_season_says_that_it_mixes_before_and_after(site: Path) -> None:
    output = " ".join(run(site, folder="treated").output.split())
    assert "1 zone was treated this season, first on 22 April 2026: figures" in output


def test_weather_that_begins_after_a_models_start_sums_nothing(site: Path) -> None:
    output = " ".join(run(site, folder="late").output.split())
    assert output.count("the weather begins after the model's start, so nothing can be summed") == 1
    assert "first adults not known; 30 % of adults not known" in output
    assert "came earlier than that" not in output


def test_the_method_threshold_and_source_of_every_model_are_said(report: SeasonReport) -> None:
    said = words.season_sentences(report)
    for model in shipped_models():
        own = next(line for line in said if line.startswith(model.name))
        assert words.METHOD_TEXT[model.method] in own
        assert f"base {model.base:g} {model.unit}" in own
        assert model.source in own
        assert "first adults" in own


def test_the_page_asks_nothing_of_a_network_and_holds_a_table(report: SeasonReport) -> None:
    page = season_html(report)
    assert "://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "<script" not in page
    assert '<th scope="row">2026</th>' in page
    assert words.MODELS_NOTE in page


def test_a_users_own_model_is_read_and_an_unknown_name_refused(site: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(
        'name = "Own"\nregion = "here"\nsource = "own records"\nunit = "C"\nbase = 1\n'
        'method = "sine"\nstart = "04-10"\n[[events]]\nevent = "larvae"\nfrom = 30\nto = 60\n'
        'status = "own records"\n',
        encoding="utf-8",
    )
    result = run(site, "--model", str(own), folder="own")
    assert "Own: larvae and damage" in result.output
    assert "mountain west" not in result.output
    with pytest.raises(SettingsError, match="is neither a model that ships nor a file"):
        module.chosen_models(("east",))


def test_every_code_has_words_and_no_words_are_left_over() -> None:
    assert set(words.EVENT_TEXT) == set(EVENTS)
    assert set(words.METHOD_TEXT) == set(METHODS)
    assert set(words.CUT_OFF_TEXT) == set(CUT_OFFS)
    assert set(words.NO_DATES_TEXT) == set(NO_DATES)
    assert set(words.NO_SUM_TEXT) == set(REASONS) - {""}
