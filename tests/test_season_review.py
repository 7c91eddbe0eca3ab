"""A season looked back on: rounds, effects and months against sums straight from the files."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from data.findings import SettingsError
from data.reading import read_site
from data.settings import SeasonWindow
from maps.month_maps import COLUMNS, DiscScale, month_maps_svg
from spatial.network_report import week_of_season
from spatial.season_review import LEAST_LOST, SeasonReview, rounds_kept, season_review
from spatial.treatment_effects import treatment_effects

DEMO = Path(__file__).resolve().parent.parent / "data" / "demo" / "site"


@pytest.fixture(scope="module")
def review() -> SeasonReview:
    return season_review(read_site(DEMO), "2025")


@pytest.fixture(scope="module")
def rows() -> pd.DataFrame:
    """Read the demo's visits of season 2025 as they stand in the file."""
    table = pd.read_csv(DEMO / "visits.csv", parse_dates=["set_on", "checked_on"])
    return table[table["checked_on"].between("2025-02-15", "2025-08-31")]


def test_rounds_are_those_of_the_file(review: SeasonReview, rows: pd.DataFrame) -> None:
    kept = review.rounds
    assert (kept.visits, kept.counted) == (len(rows), int((rows["status"] == "ok").sum()))
    weeks = rows["checked_on"].dt.isocalendar()
    assert kept.weeks == len(set(zip(weeks["year"], weeks["week"], strict=True)))
    assert kept.missed == ()


def test_a_trap_that_loses_a_quarter_and_a_week_without_a_round_are_named() -> None:
    days = pd.to_datetime(["2026-04-05", "2026-04-12", "2026-05-03", "2026-05-10"])
    seen = pd.concat(
        pd.DataFrame({"location_id": name, "checked_on": days, "status": statuses})
        for name, statuses in (
            ("a", ["ok", "flooded", "missing", "covered"]),
            ("b", ["ok", "ok", "flooded", "flooded"]),
        )
    )
    kept = rounds_kept(seen, pd.Series({"a": "T1", "b": "T2"}))
    assert kept.losers.to_dict("list") == {"trap_id": ["T1"], "lost": [3], "visits": [4]}
    assert kept.missed == ("2026-W16", "2026-W17")
    assert LEAST_LOST == 3


def test_three_lost_of_many_are_too_few_to_name() -> None:
    seen = pd.DataFrame(
        {
            "location_id": "a",
            "checked_on": pd.date_range("2026-03-01", periods=13, freq="7D"),
            "status": ["flooded"] * 3 + ["ok"] * 10,
        }
    )
    assert rounds_kept(seen, pd.Series({"a": "T1"})).losers.empty


def test_effects_are_those_of_the_season_only(review: SeasonReview) -> None:
    found = treatment_effects(read_site(DEMO))
    own = [each.effect for each in found.courses if each.effect.applied_on.year == 2025]
    tally = review.effects
    assert tally.treatments == len(own) == len(review.courses)
    assert tally.less == sum(each.low > 0 for each in own)
    assert tally.less + tally.more + tally.unsure + sum(tally.untold.values()) == len(own)


def test_months_hold_every_beetle_and_night(review: SeasonReview, rows: pd.DataFrame) -> None:
    ok = rows[rows["status"] == "ok"]
    caught = float(ok[["parvulus", "venatus", "cicatristriatus"]].to_numpy().sum())
    assert sum(table["adults"].sum() for table in review.months.values()) == pytest.approx(caught)
    middle = ok["set_on"] + (ok["checked_on"] - ok["set_on"]) / 2
    assert {month.month for month in review.months} == set(middle.dt.month)
    may = ok[middle.dt.month == 5]
    assert len(review.months[date(2025, 5, 1)]) == may["trap_id"].nunique()


def test_a_season_without_a_visit_is_refused() -> None:
    with pytest.raises(SettingsError, match="no visit lies in season '2019'"):
        season_review(read_site(DEMO), "2019")


def test_a_season_over_new_year_is_asked_for_by_its_first_year_or_its_name() -> None:
    site = read_site(DEMO)
    window = SeasonWindow("10-01", "05-31")
    across = replace(site, settings=replace(site.settings, season=window))
    assert week_of_season(across, "2025/26") == week_of_season(across, "2025")
    with pytest.raises(SettingsError, match=r"season ''; there are visits of .*2025/26"):
        week_of_season(across, "")


def test_a_trap_far_outside_lies_on_no_other_month(review: SeasonReview) -> None:
    names = {each: f"{each:%B}" for each in review.months}
    svg = month_maps_svg(review, names, "By month", "x")
    assert svg.count('clip-path="url(#panel)"') == len(review.months)
    assert svg.count('<clipPath id="panel">') == 1


def test_every_trap_of_a_month_is_drawn_once(review: SeasonReview) -> None:
    svg = month_maps_svg(review, {each: f"{each:%B}" for each in review.months}, "By month", "x")
    drawn = sum(len(table) for table in review.months.values())
    key = 1 + len(DiscScale(1.0).steps())
    assert svg.count("<circle") == drawn + key
    assert svg.count('<use href="#grounds"/>') == len(review.months) == 7
    assert COLUMNS == 4
    assert ">May</text>" in svg
    assert 'aria-label="By month"' in svg


def test_the_area_of_a_disc_grows_with_the_catch() -> None:
    scale = DiscScale(9.0)
    assert scale.radius_mm(9) ** 2 / scale.radius_mm(1) ** 2 == pytest.approx(9)
    assert scale.steps() == [1.0, 5.0]
    assert DiscScale(0.0).steps() == []
    assert DiscScale(0.0).radius_mm(0.0) == 0
