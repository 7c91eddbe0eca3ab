"""When adults walked: dates by hand, and the intervals of simulated seasons."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from spatial.season_dates import FEWEST_TRAPS, SHARES, season_dates

MONDAY = pd.Timestamp("2026-03-02")


def visits(adults: np.ndarray, nights: float = 7.0) -> pd.DataFrame:
    """Weekly visits from an array of shape (traps, weeks); NaN for none."""
    trap, week = np.nonzero(~np.isnan(adults))
    set_on = MONDAY + pd.to_timedelta(7 * week, unit="D")
    return pd.DataFrame(
        {
            "location_id": [f"T{n:02d}" for n in trap],
            "set_on": set_on,
            "checked_on": set_on + pd.Timedelta(days=7),
            "adults": adults[trap, week],
            "nights": nights,
        }
    )


def test_an_even_season_is_half_caught_in_its_middle() -> None:
    found = season_dates(visits(np.full((6, 10), 2.0)))
    days = [each.day for each in found.dates]
    # The 7th, the 35th and the 63rd night, as their `share` in the table has it.
    assert days == [date(2026, 3, 8), date(2026, 4, 5), date(2026, 5, 3)]
    table = found.nightly
    told = [table["date"][table["share"] >= share - 1e-9].iloc[0].date() for share in SHARES]
    assert days == told
    assert [each.share for each in found.dates] == list(SHARES)
    assert found.nightly["share"].iloc[-1] == pytest.approx(1.0)
    assert found.nightly["rate"].to_numpy() == pytest.approx(2.0)


def test_no_share_is_reached_in_a_night_that_caught_nothing() -> None:
    late = np.zeros((6, 9))
    late[:, 8] = 5.0
    days = [(each.low, each.day, each.high) for each in season_dates(visits(late)).dates]
    # The ninth round begins on 27 April: a tenth of seven even nights lies in its first.
    assert days[0] == (date(2026, 4, 27),) * 3
    assert days[1][1] == date(2026, 4, 30)
    two = np.zeros((6, 14))
    two[:, 3], two[:, 12] = 4.9, 5.1
    half = season_dates(visits(two)).dates[1]
    assert (half.low, half.day, half.high) == (date(2026, 5, 25),) * 3


def test_more_traps_in_a_round_do_not_move_the_dates() -> None:
    few = np.full((6, 10), 2.0)
    many = np.vstack([few, np.full((30, 10), np.nan)])
    many[6:, 7:] = 2.0
    assert [each.day for each in season_dates(visits(many)).dates] == [
        each.day for each in season_dates(visits(few)).dates
    ]


def test_a_round_left_out_is_bridged_and_makes_no_zero() -> None:
    gap = np.full((6, 10), 2.0)
    gap[:, 4] = np.nan
    found = season_dates(visits(gap))
    assert found.nightly["rate"].to_numpy() == pytest.approx(2.0)


def test_the_first_catch_is_the_visit_that_found_it() -> None:
    adults = np.zeros((6, 10))
    adults[3, 4] = 1.0
    adults[:, 6:] = 5.0
    found = season_dates(visits(adults))
    assert found.first_catch == (date(2026, 3, 30), date(2026, 4, 6))


def test_what_cannot_be_said_has_its_reason() -> None:
    assert season_dates(visits(np.zeros((0, 0)))).reason == "no_visit"
    assert season_dates(visits(np.zeros((6, 4)))).reason == "no_catch"
    lone = np.zeros((6, 4))
    lone[0, 2] = 3.0
    few = season_dates(visits(lone))
    assert (few.reason, few.dates) == ("few_beetles", ())
    assert few.first_catch is not None
    small = season_dates(visits(np.full((FEWEST_TRAPS - 1, 10), 3.0)))
    assert all(each.low is None and each.high is None for each in small.dates)


def test_ninety_per_cent_intervals_hold_the_date_that_often() -> None:
    """80 seasons of 40 traps with lasting luck: binomial 2.5 % points of 80 x .9 are 66 and 77."""
    weeks = 24
    level = np.exp(-0.5 * ((np.arange(7 * weeks) / 7 - 11) / 3) ** 2) * 0.3
    whole = np.concatenate([[0.0], np.cumsum(level)]) / level.sum()
    truth = [int(np.interp(share, whole, np.arange(len(whole)))) for share in SHARES]
    held = np.zeros(len(SHARES))
    for number in range(80):
        random = np.random.default_rng(number)
        mean = np.exp(random.normal(0, 0.8, 40))[:, None] * level.reshape(-1, 7).sum(axis=1)
        found = season_dates(visits(random.poisson(random.gamma(1.5, mean / 1.5)).astype(float)))
        for place, each in enumerate(found.dates):
            day = MONDAY.date() + pd.Timedelta(days=truth[place]).to_pytimedelta()
            assert each.low is not None
            assert each.high is not None
            held[place] += each.low <= day <= each.high
    assert (held >= 66).all()
