"""Courses of the weather still to come: what past years had, and a forecast before them."""

from __future__ import annotations

from datetime import date

import pandas as pd

from spatial.weather_ahead import FEW_COURSES, courses, range_of

NOTHING = pd.DataFrame({"date": pd.to_datetime([]), "tmin_c": [], "tmax_c": []})


def weather(first: str, last: str, low: float = 5.0) -> pd.DataFrame:
    days = pd.date_range(first, last)
    return pd.DataFrame({"date": days, "tmin_c": low, "tmax_c": low + 10})


def test_each_past_year_gives_a_course_and_this_years_own_future_is_not_looked_at() -> None:
    whole = pd.concat(
        [weather("2024-01-01", "2024-12-31", 1.0), weather("2025-01-01", "2025-12-31", 2.0),
         weather("2026-01-01", "2026-12-31", 9.0)],
        ignore_index=True,
    )  # fmt: skip
    found = courses(whole, NOTHING, date(2026, 4, 30), date(2026, 6, 30))
    assert list(found) == ["2025", "2024"]
    for year, low in (("2025", 2.0), ("2024", 1.0)):
        rest = found[year].set_index("date")["tmin_c"]["2026-05-01":]
        assert (rest == low).all()
        assert len(rest) == 61


def test_a_year_that_lacks_the_days_to_come_gives_no_course() -> None:
    past = pd.concat([weather("2025-01-01", "2025-05-31"), weather("2026-01-01", "2026-04-30")])
    assert courses(past, NOTHING, date(2026, 4, 30), date(2026, 8, 31)) == {}
    assert courses(NOTHING, NOTHING, date(2026, 4, 30), date(2026, 8, 31)) == {}


def test_days_to_come_begin_where_the_station_ends() -> None:
    past = pd.concat(
        [weather("2025-01-01", "2025-12-31", 2.0), weather("2026-01-01", "2026-04-26")]
    )
    told = weather("2026-04-25", "2026-04-28", 20.0)
    found = courses(past, told, date(2026, 4, 30), date(2026, 5, 31))["2025"].set_index("date")
    assert found["tmin_c"]["2026-04-25":"2026-04-30"].tolist() == [5.0, 5.0, 20.0, 20.0, 2.0, 2.0]


def test_a_forecast_goes_before_past_years_and_stands_alone_without_them() -> None:
    past = pd.concat([weather("2025-01-01", "2025-12-31"), weather("2026-01-01", "2026-04-30")])
    told = weather("2026-04-25", "2026-05-05", 20.0)
    found = courses(past, told, date(2026, 4, 30), date(2026, 5, 31))["2025"].set_index("date")
    assert (found["tmin_c"]["2026-04-25":"2026-04-30"] == 5.0).all()
    assert (found["tmin_c"]["2026-05-01":"2026-05-05"] == 20.0).all()
    assert (found["tmin_c"]["2026-05-06":"2026-05-31"] == 5.0).all()
    alone = courses(weather("2026-01-01", "2026-04-30"), told, date(2026, 4, 30), date(2026, 5, 31))
    assert list(alone) == ["forecast"]
    assert alone["forecast"]["date"].max() == pd.Timestamp("2026-05-05")


def test_a_forecast_that_begins_late_is_filled_up_from_past_years() -> None:
    past = pd.concat(
        [weather("2025-01-01", "2025-12-31", 2.0), weather("2026-01-01", "2026-05-31")]
    )
    told = weather("2026-06-09", "2026-06-12", 20.0)
    found = courses(past, told, date(2026, 5, 31), date(2026, 6, 30))["2025"].set_index("date")
    assert found.index.is_monotonic_increasing
    assert len(found["2026-06-01":]) == 30
    assert (found["tmin_c"]["2026-06-01":"2026-06-08"] == 2.0).all()
    assert (found["tmin_c"]["2026-06-09":"2026-06-12"] == 20.0).all()


def test_a_leap_day_of_a_past_year_makes_no_day_twice() -> None:
    past = pd.concat([weather("2024-01-01", "2024-12-31"), weather("2025-01-01", "2025-02-10")])
    found = courses(past, NOTHING, date(2025, 2, 10), date(2025, 3, 31))["2024"]
    assert found["date"].is_unique
    assert len(found[found["date"] > "2025-02-10"]) == 49


def test_ranges_hold_all_of_few_courses_and_the_middle_of_many() -> None:
    days: list[date | None] = [date(2026, 5, n) for n in range(1, 12)]
    assert range_of(days[: FEW_COURSES - 1]) == (date(2026, 5, 1), date(2026, 5, 4))
    assert range_of(days) == (date(2026, 5, 2), date(2026, 5, 10))
    assert range_of([]) is None
