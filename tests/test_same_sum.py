"""Days of past seasons with the degree-days of today: whole numbers by hand."""

from __future__ import annotations

from datetime import date

import pandas as pd
from languages import EN

from data.degree_day_models import shipped_models
from maps.season_words import stands_sentences
from spatial.degree_day_sums import DegreeDaySum, degree_day_sum
from spatial.model_seasons import ModelSeason
from spatial.season_dates import SeasonDates
from spatial.season_fit import PastSeason, own_fit

NOTHING = SeasonDates(None, (), pd.DataFrame(), "no_visit")
MODEL = next(each for each in shipped_models() if each.key == "bluegrass_east_1march")


def sums(year: int, mean_f: float, last: date) -> DegreeDaySum:
    """Degree-days over 50 F from 1 March in a year of equal days."""
    days = pd.date_range(f"{year}-01-01", f"{year}-12-31")
    mean_c = (mean_f - 32) / 1.8
    weather = pd.DataFrame({"date": days, "tmin_c": mean_c - 2, "tmax_c": mean_c + 2})
    return degree_day_sum(weather, MODEL, last)


def season(mean_f: float, *past: tuple[int, float]) -> ModelSeason:
    before = tuple(
        PastSeason(str(year), NOTHING, sums(year, f, date(year, 12, 31))) for year, f in past
    )
    today = sums(2026, mean_f, date(2026, 3, 20))
    return ModelSeason(today, (), {}, before, own_fit(before))


def test_twenty_days_of_15_are_like_thirty_of_10_and_fifteen_of_20() -> None:
    found = season(65, (2025, 60), (2024, 70))
    assert [found.same_sum(each) for each in found.past] == [date(2025, 3, 30), date(2024, 3, 15)]
    said = ["By these degree-days 20 March 2026 is like 30 March 2025 and 15 March 2024."]
    assert stands_sentences(found, EN) == said


def test_a_season_that_never_got_there_is_not_named() -> None:
    assert stands_sentences(season(65, (2025, 50)), EN) == []
    assert stands_sentences(season(65), EN) == []
