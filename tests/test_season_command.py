"""`snoutline season`: what it says and writes, with weather and without."""

from __future__ import annotations

import csv
import math
import re
import shutil
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result
from languages import EN
from sites import SETTINGS, VOID, make_site

from data.degree_day_models import EVENTS, shipped_models, site_models
from data.findings import InputError, SettingsError
from data.reading import read_forecast, read_site
from data.site import Site
from maps.columns import CALENDAR, DEGREE_DAYS, SEASON, SEASON_WEEKS
from maps.season_page import season_html
from maps.season_words import season_sentences
from scripts.commands import season as module
from spatial.degree_day_sums import REASONS
from spatial.degree_days import CUT_OFFS, METHODS
from spatial.larvae_paired import PAIRED_REASONS
from spatial.season_calendar import BASES, WINDOWS
from spatial.season_comparison import NOT_COMPARED
from spatial.season_dates import NO_DATES
from spatial.season_fit import FIT_REASONS
from spatial.season_report import SeasonReport, season_report

DEMO = Path(__file__).resolve().parent.parent / "data" / "demo" / "site"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_site(tmp_path_factory.mktemp("season") / "site")


@pytest.fixture(scope="module")
def report(site: Path) -> SeasonReport:
    """Report the site with weather from January on; its own begins in April."""
    read = read_site(site)
    days = pd.date_range("2026-01-01", "2026-05-31")
    low = [-5 + 0.12 * number for number in range(len(days))]
    weather = pd.DataFrame(
        {"date": days, "tmin_c": low, "tmax_c": [each + 12 for each in low], "rain_mm": math.nan}
    )
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
        "season-weeks.csv",
        "calendar.csv",
        "degree-days.csv",
    }
    assert "The first beetle was caught between 6 April 2026 and 13 April 2026." in result.output
    assert "Of all adults caught so far this season: 10 % by" in result.output
    for name, columns in (
        ("season.csv", SEASON),
        ("season-weeks.csv", SEASON_WEEKS),
        ("calendar.csv", CALENDAR),
        ("degree-days.csv", DEGREE_DAYS),
    ):
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
    said = season_sentences(report, EN)
    for model in shipped_models():
        own = next(line for line in said if line.startswith(model.name))
        assert EN.say(f"season_methods.{model.method}") in own
        assert f"base {model.base:g} {model.unit}" in own
        assert model.source in own
        assert "first adults" in own


def test_the_page_asks_nothing_of_a_network_and_holds_a_table(report: SeasonReport) -> None:
    page = season_html(report, EN)
    assert "://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "<script" not in page
    assert '<th scope="row">2026</th>' in page
    assert EN.say("season_notes.models") in page


@pytest.fixture(scope="module")
def demo() -> Site:
    return read_site(DEMO)


def test_rounds_that_caught_nothing_are_not_taken_for_no_round(demo: Site) -> None:
    page = season_html(season_report(demo, "2026-W12", shipped_models()), EN)
    assert "<h2>The curve</h2><p>No beetle was caught yet.</p>" in page
    assert "No trap was checked" not in page


def test_the_day_of_the_data_is_read_whole_at_the_seasons_end(demo: Site) -> None:
    page = season_html(season_report(demo, "2025-W35", shipped_models()), EN)
    said = "data to 31 August 2025"
    (middle,) = re.findall(rf'<text x="([\d.]+)" y="13.0" text-anchor="middle"[^>]*>{said}<', page)
    assert float(middle) + 3.5 * len(said) <= 516


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
        site_models(("east",), site)


CODES = {
    "season_events": EVENTS,
    "season_methods": METHODS,
    "season_cut_offs": CUT_OFFS,
    "season_no_dates": NO_DATES,
    "season_no_dates_yet": NO_DATES,
    "season_no_dates_past": NO_DATES,
    "season_sums": set(REASONS) - {""},
    "season_windows": WINDOWS,
    "season_window_heads": WINDOWS,
    "season_why": WINDOWS,
    "season_basis": {*BASES, "own_fit_weather", "model_weather"},
    "season_fit": {"forecasts", "near", "near_published", "near_last_year", *FIT_REASONS},
    "season_compared": {"ratio", "no_upper_end", *NOT_COMPARED},
    "season_paired": {"correlation", "cut", *PAIRED_REASONS},
}
"""Section of the language file -> the codes that it has words for."""


@pytest.mark.parametrize("section", CODES)
def test_every_code_has_words_and_no_words_are_left_over(section: str) -> None:
    keys = {key.partition(".")[2] for key in EN.messages if key.startswith(f"{section}.")}
    assert keys == set(CODES[section])


def test_weekly_catches_by_species_and_design_add_up_to_the_files(site: Path) -> None:
    run(site, folder="weeks")
    text = (site.parent / "weeks" / "season-weeks.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    read = read_site(site)
    for species in read.settings.target_species:
        own = [float(row["adults"]) for row in rows if row["species"] == species]
        caught = read.catches[read.catches["species"] == species]["adults"].sum()
        assert sum(own) == caught
    # Cups of the first round: every trap but each fourth and the void ones, parvulus n modulo 5.
    first = next(r for r in rows if r["design"] == "cup" and "parvulus" in r["species"])
    out = [n for n in range(1, 17) if n % 4 and (f"T{n:02d}", 0) not in VOID]
    assert float(first["adults"]) == sum(n % 5 for n in out)
    assert float(first["nights"]) == 7 * len(out)
    assert float(first["rate"]) == pytest.approx(sum(n % 5 for n in out) / len(out), abs=0.001)


def test_site_toml_names_a_model_and_a_second_generation(tmp_path: Path) -> None:
    settings = SETTINGS + (
        '[phenology]\nmodel = "mixed_mountain_west_2015"\nsecond_generation_from = "04-20"\n'
    )
    site = make_site(tmp_path / "site", settings=settings)
    output = run(site).output
    assert "mountain west" in output
    assert "eastern United States" not in output
    assert "First generation: 10 % by" in output
    assert "Second generation: 10 % by" in output
    assert "What is due is said of the first generation only." in output
    wrong = make_site(tmp_path / "wrong", settings=SETTINGS + '[phenology]\nmodel = "west"\n')
    with pytest.raises(SettingsError, match="'west' is neither a model that ships nor a file"):
        run_raw(wrong, tmp_path)
    later = SETTINGS + '[phenology]\nsecond_generation_from = "July"\n'
    with pytest.raises(SettingsError, match="second_generation_from: expected month-day"):
        read_site(make_site(tmp_path / "later", settings=later))


def run_raw(site: Path, folder: Path) -> None:
    """Run the command and let its error through."""
    arguments = [str(site), "--out", str(folder / "raw")]
    result = CliRunner().invoke(module.command, arguments)
    assert result.exception is not None
    raise result.exception


def test_rain_is_read_in_inches_and_marks_wet_nights(tmp_path: Path) -> None:
    days = pd.date_range("2026-04-06", periods=20)
    lines = [f"{day.date()},5.0,15.0,{0.1 if n == 3 else 0}" for n, day in enumerate(days)]
    text = "\n".join(["date,tmin_c,tmax_c,rain_in", *lines]) + "\n"
    site = make_site(tmp_path / "site", files={"weather.csv": text})
    read = read_site(site)
    assert read.weather["rain_mm"].max() == pytest.approx(2.54)
    assert run(site).exit_code == 0
    rows = list(csv.DictReader((tmp_path / "out" / "season.csv").read_text().splitlines()))
    assert [row["date"] for row in rows if row["wet"] == "true"] == ["2026-04-09"]
    assert {row["cold"] for row in rows[:20]} == {"true"}
    both = text.replace("rain_in", "rain_in,rain_mm").replace("15.0,", "15.0,1,")
    twice = make_site(tmp_path / "twice", files={"weather.csv": both})
    found = read_site(twice).findings
    assert any("rain is there in two units" in each.problem for each in found)


def test_a_forecast_is_read_and_a_wrong_one_refused(tmp_path: Path) -> None:
    days = pd.date_range("2026-05-04", periods=140)
    rows = [f"{day.date()},59,{95 if n < 5 else 86}" for n, day in enumerate(days)]
    forecast = tmp_path / "forecast.csv"
    forecast.write_text("\n".join(["date,tmin_f,tmax_f", *rows]) + "\n", encoding="utf-8")
    days = pd.date_range("2026-02-20", "2026-05-03")
    lines = [f"{day.date()},5,15" for day in days]
    text = "\n".join(["date,tmin_c,tmax_c", *lines]) + "\n"
    site = make_site(tmp_path / "site", files={"weather.csv": text})
    output = run(site, "--forecast", str(forecast), folder="told").output
    # No degree-days over 50 F before 4 May (mean 10 C), then 5 x 27 and 22.5 a day: 280 to 352 are
    # reached on the 12th and the 15th day.
    assert "first adults expected 15 to 18 May 2026" in output
    forecast.write_text("date,tmin_f,tmax_f\n2026-05-04,90,60\n", encoding="utf-8")
    with pytest.raises(InputError, match="above the highest temperature"):
        read_forecast(forecast, read_site(site).settings)


@pytest.mark.parametrize("week", ["2025-W24", "2026-W18"])
def test_nothing_after_the_week_is_looked_at(week: str, tmp_path: Path) -> None:
    """A whole site asked for a past week, and its files cut off at that week, give one page."""
    cut = tmp_path / "cut"
    shutil.copytree(DEMO, cut)
    last = date.fromisocalendar(int(week[:4]), int(week[6:]), 7).isoformat()
    for name, column in (
        ("visits.csv", "checked_on"),
        ("weather.csv", "date"),
        ("cores.csv", "sampled_on"),
        ("treatments.csv", "applied_on"),
    ):
        rows = list(csv.DictReader((DEMO / name).read_text(encoding="utf-8").splitlines()))
        kept = [row for row in rows if row[column] <= last]
        assert len(kept) < len(rows) or name == "treatments.csv"
        with (cut / name).open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(kept)
    for site, out in ((DEMO, "whole"), (cut, "cut_out")):
        arguments = [str(site), "--week", week, "--quiet", "--out", str(tmp_path / out)]
        assert CliRunner().invoke(module.command, arguments).exit_code == 0
    for name in ("season.html", "season.csv", "season-weeks.csv", "calendar.csv"):
        whole, short = ((tmp_path / out / name).read_bytes() for out in ("whole", "cut_out"))
        assert whole == short, name
