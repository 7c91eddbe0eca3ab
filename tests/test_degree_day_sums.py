"""Sums of degree-days: starts, units, gaps of 1, 3, 4 and 10 days, and events."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from data.degree_day_models import DegreeDayModel, ModelEvent, shipped_models
from spatial.degree_day_sums import (
    MOST_FILLED,
    DegreeDaySum,
    degree_day_sum,
    event_days,
    season_sum,
    start_for,
)

MODEL = DegreeDayModel(
    key="own",
    name="Own",
    region="here",
    source="own records",
    species=(),
    unit="C",
    base=10.0,
    upper=None,
    cut_off="none",
    method="simple",
    start="03-01",
    events=(ModelEvent("first_adults", 50.0, 100.0, "own records"),),
)


def weather(first: str = "2026-02-01", days: int = 120, low: float = 8.0) -> pd.DataFrame:
    """Lows rise by .1 a day; highs are 10 above."""
    index = pd.date_range(first, periods=days)
    lows = low + 0.1 * np.arange(days)
    return pd.DataFrame({"date": index, "tmin_c": lows, "tmax_c": lows + 10})


def without(table: pd.DataFrame, first: str, days: int) -> pd.DataFrame:
    gone = pd.date_range(first, periods=days)
    return table[~table["date"].isin(gone)]


def summed(table: pd.DataFrame, model: DegreeDayModel = MODEL) -> DegreeDaySum:
    return degree_day_sum(table, model, date(2026, 5, 1))


def test_the_sum_starts_on_the_models_day_and_holds_every_day() -> None:
    found = summed(weather())
    assert found.table["date"].iloc[[0, -1]].dt.date.tolist() == [
        date(2026, 3, 1),
        date(2026, 5, 1),
    ]
    # On 1 March, day 28 of the record, the mean is 8 + 2.8 + 5 = 15.8 C.
    assert found.table["degree_days"].iloc[0] == pytest.approx(5.8)
    assert found.table["total"].iloc[-1] == pytest.approx(found.table["degree_days"].sum())
    assert (found.reason, found.known_to, found.filled) == ("", date(2026, 5, 1), 0)


def test_fahrenheit_models_count_in_fahrenheit() -> None:
    celsius = summed(weather())
    fahrenheit = summed(weather(), replace(MODEL, unit="F", base=50.0))
    ratio = fahrenheit.table["total"] / celsius.table["total"]
    assert ratio.to_numpy() == pytest.approx(1.8)


@pytest.mark.parametrize("days", [1, MOST_FILLED])
@pytest.mark.parametrize("blank", [True, False])
def test_a_short_gap_is_filled_along_a_straight_line(days: int, blank: bool) -> None:
    """Temperatures rise evenly here, so that nothing changes at all."""
    whole, gone = weather(), pd.date_range("2026-04-10", periods=days)
    gap = whole.assign(tmin_c=whole["tmin_c"].mask(whole["date"].isin(gone)))
    found = summed(gap if blank else without(whole, "2026-04-10", days))
    assert found.table["total"].to_numpy() == pytest.approx(summed(whole).table["total"].to_numpy())
    assert found.filled == days
    assert found.reason == ""


@pytest.mark.parametrize("days", [MOST_FILLED + 1, 10])
def test_a_long_gap_ends_the_sum(days: int) -> None:
    found = summed(without(weather(), "2026-04-10", days))
    assert found.reason == "long_gap"
    assert found.known_to == date(2026, 4, 9)
    assert found.table["total"].iloc[-1] != found.table["total"].iloc[-1]
    assert found.filled == 0


def test_a_record_that_starts_late_or_ends_early_or_is_elsewhere_is_told() -> None:
    assert summed(weather("2026-03-20")).reason == "starts_late"
    assert summed(weather("2026-03-20")).known_to is None
    early = summed(weather(days=60))
    assert (early.reason, early.known_to) == ("ends_early", date(2026, 4, 1))
    assert summed(weather("2024-01-01")).reason == "no_weather"
    assert summed(weather().iloc[:0]).reason == "no_weather"


def test_a_season_in_the_south_runs_over_new_year_and_a_leap_day_counts() -> None:
    south = replace(MODEL, start="09-01")
    found = degree_day_sum(weather("2027-08-01", 300), south, date(2028, 3, 15))
    assert found.table["date"].iloc[0].date() == date(2027, 9, 1)
    assert pd.Timestamp("2028-02-29") in set(found.table["date"])
    assert found.reason == ""


def test_a_double_sine_takes_the_low_of_the_next_day_and_its_own_at_the_end() -> None:
    double = replace(MODEL, method="double_sine", base=18.0)
    longer, shorter = summed(weather(), double), summed(weather(days=90), double)
    assert longer.table["date"].iloc[-1] == shorter.table["date"].iloc[-1]
    assert shorter.reason == ""
    same = longer.table["degree_days"].to_numpy()[:-1]
    assert shorter.table["degree_days"].to_numpy()[:-1] == pytest.approx(same)
    assert longer.table["degree_days"].iloc[-1] > shorter.table["degree_days"].iloc[-1]


def test_events_are_the_days_on_which_the_sum_gets_there() -> None:
    found = summed(weather())
    first, last = event_days(found, MODEL.events[0])
    assert first is not None
    assert last is not None
    total = found.table.set_index("date")["total"]
    before = total[pd.Timestamp(first) - pd.Timedelta(days=1)]
    assert before < 50 <= total[pd.Timestamp(first)]
    assert first < last
    assert event_days(found, ModelEvent("larvae", 90.0, 9000.0, "own records"))[1] is None


def east() -> DegreeDayModel:
    return next(each for each in shipped_models() if each.key == "bluegrass_east_1march")


def test_a_sum_belongs_to_the_season_and_not_to_the_last_start_before_a_day() -> None:
    two = weather("2025-01-01", 800)
    early = season_sum(two, east(), date(2026, 2, 1), date(2026, 2, 22))
    assert (early.reason, early.known_to, len(early.table)) == ("not_started", None, 0)
    begun = season_sum(two, east(), date(2026, 2, 1), date(2026, 3, 20))
    assert begun.table["date"].iloc[0] == pd.Timestamp("2026-03-01")
    assert begun.reason == ""


@pytest.mark.parametrize("start", ["03-01", "01-13"])
def test_a_northern_model_says_nothing_of_a_southern_season(start: str) -> None:
    model = replace(east(), start=start)
    found = season_sum(weather("2025-01-01", 900), model, date(2026, 10, 11), date(2027, 3, 1))
    assert (found.reason, found.known_to) == ("other_season", None)
    assert event_days(found, model.events[0]) == (None, None)


@pytest.mark.parametrize(
    ("season", "start", "expected"),
    [
        (date(2026, 2, 15), "03-01", date(2026, 3, 1)),
        (date(2026, 4, 15), "03-01", date(2026, 3, 1)),
        (date(2026, 2, 15), "01-01", date(2026, 1, 1)),
        (date(2026, 1, 1), "01-01", date(2026, 1, 1)),
        (date(2026, 9, 1), "09-15", date(2026, 9, 15)),
        (date(2026, 1, 10), "09-15", date(2025, 9, 15)),
        (date(2026, 12, 15), "01-13", date(2027, 1, 13)),
        (date(2026, 9, 1), "03-01", None),
    ],
)
def test_the_start_near_a_season(season: date, start: str, expected: date | None) -> None:
    assert start_for(season, start) == expected
