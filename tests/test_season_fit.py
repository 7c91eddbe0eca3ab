"""The site's own relation of catch to degree-days: recovered, tried on the past, and refused."""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from data.degree_day_models import DegreeDayModel, ModelEvent
from spatial.degree_day_sums import degree_day_sum
from spatial.season_dates import SHARES, SeasonDates, ShareDate
from spatial.season_fit import (
    FEWEST_SEASONS,
    OwnFit,
    PastSeason,
    ShareCurve,
    gompertz,
    happened,
    logistic,
    own_fit,
    share_curve,
)

PUBLISHED = ModelEvent("adults_30", 560.0, 600.0, "read")


def model(*events: ModelEvent) -> DegreeDayModel:
    return DegreeDayModel(
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
        events=events,
    )


def season(year: int, warmth: float, *events: ModelEvent, half: float = 300.0) -> PastSeason:
    """Return a season whose catch is a logistic of degree-days; days are warmer by `warmth`."""
    days = pd.date_range(f"{year}-03-01", f"{year}-08-31")
    mean = 8 + 0.12 * np.arange(len(days)) + warmth
    weather = pd.DataFrame({"date": days, "tmin_c": mean - 5, "tmax_c": mean + 5})
    sums = degree_day_sum(weather, model(*events), date(year, 8, 31))
    share = logistic(sums.table["total"].to_numpy(), half, 60.0)
    nightly = pd.DataFrame({"date": days, "rate": 1.0, "share": share})
    dates = tuple(
        ShareDate(each, days[int(np.argmax(share >= each))].date(), None, None) for each in SHARES
    )
    first = days[int(np.argmax(share >= 0.02))].date()
    return PastSeason(
        str(year), SeasonDates((first, first + timedelta(days=6)), dates, nightly, ""), sums
    )


def test_the_curve_that_made_the_seasons_is_found_again() -> None:
    found = share_curve([season(2023, 0.0), season(2024, 2.0)])
    assert found is not None
    assert found.shape == "logistic"
    assert (found.middle, found.scale) == (pytest.approx(300, abs=0.1), pytest.approx(60, abs=0.1))


@pytest.mark.parametrize(("name", "shape"), [("logistic", logistic), ("gompertz", gompertz)])
def test_amounts_are_the_inverse_of_both_shapes(name: str, shape: object) -> None:
    curve = ShareCurve(name, 300.0, 60.0, first=100.0)
    for share in ("0.1", "0.5", "0.9"):
        assert callable(shape)
        amount = np.array([curve.amount(share)])
        assert shape(amount, 300.0, 60.0)[0] == pytest.approx(float(share))


def test_a_site_that_follows_degree_days_is_forecast_and_published_numbers_miss() -> None:
    past = [season(2021 + n, warmth, PUBLISHED) for n, warmth in enumerate((0.0, 2.5, -1.0, 1.0))]
    found = own_fit(past)
    assert (found.reason, found.seasons) == ("", 4)
    assert found.mean_error("own_days") < 1.0
    assert found.mean_error("published_days") > 10
    assert found.mean_error("last_year_days", "own_days") > 5
    # The first season has no year before it.
    first = found.errors[found.errors["season"] == "2021"]
    assert first["last_year_days"].isna().all()


def test_a_date_that_the_relation_never_reaches_is_charged_the_seasons_last_day() -> None:
    cold = season(2023, -10.2, PUBLISHED, half=120.0)
    total = float(cold.sums.table["total"].iloc[-1])
    assert 252 < total < 430, "nine in ten are there at 252, and forecast at 432"
    found = own_fit([season(2021, 0.0, PUBLISHED), season(2022, 2.0, PUBLISHED), cold])
    errors = found.errors[(found.errors["season"] == "2023") & (found.errors["tried"] == "0.9")]
    truth = happened(cold.dates, "0.9")
    assert truth is not None
    assert errors["own_days"].tolist() == [(date(2023, 8, 31) - truth).days]


def test_misses_are_how_much_later_the_truth_came() -> None:
    table = pd.DataFrame({"tried": ["0.5", "0.5", "0.9"], "own_days": [3.0, -2.0, math.nan]})
    assert OwnFit(None, 3, table, "").misses() == {"0.5": (-3, 2)}


def test_last_year_is_off_by_the_days_between_the_two_dates() -> None:
    past = [season(2021, 0.0), season(2022, 2.0), season(2023, 0.0)]
    errors = own_fit(past).errors
    row = errors[(errors["season"] == "2022") & (errors["tried"] == "0.5")].iloc[0]
    half = [each.dates.dates[1].day for each in past]
    assert row["last_year_days"] == (half[0].replace(year=2022) - half[1]).days


def test_what_comes_no_nearer_than_the_published_numbers_makes_no_forecast() -> None:
    near = ModelEvent("adults_30", 249.0, 249.3, "read")
    past = [season(2021, 0.0, near), season(2022, 2.0, near), season(2023, 1.0, near, half=500.0)]
    assert own_fit(past).reason == "not_better"


def test_two_seasons_are_too_few_and_a_season_without_weather_takes_no_part() -> None:
    found = own_fit([season(2021, 0.0), season(2022, 1.0)])
    assert (found.reason, found.seasons) == ("few_seasons", FEWEST_SEASONS - 1)
    bare = season(2023, 0.0)
    late = degree_day_sum(
        pd.DataFrame({"date": [], "tmin_c": [], "tmax_c": []}).astype({"date": "datetime64[ns]"}),
        model(),
        date(2023, 8, 31),
    )
    more = [season(2021, 0.0), season(2022, 1.0), PastSeason("2023", bare.dates, late)]
    assert own_fit(more).seasons == 2
    assert math.isnan(own_fit([]).mean_error("own_days"))
