"""One season against the last: matched traps and nights, by hand, and why there is no ratio."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from data.reading import read_site
from spatial.season_comparison import (
    NOT_COMPARED,
    SeasonComparison,
    season_comparison,
    site_comparison,
)
from spatial.seasons import choose_season

THIS, PAST = (date(2026, 3, 1), date(2026, 5, 17)), (date(2025, 3, 1), date(2025, 8, 31))
SITE = Path(__file__).resolve().parent.parent / "data" / "demo" / "site"

Row = tuple[str, str, str, float]
"""Trap, first and last day of a visit, adults."""


def table(rows: Iterable[Row], zone: str = "A", factor: float = 1.0) -> pd.DataFrame:
    found = pd.DataFrame(rows, columns=["location_id", "set_on", "checked_on", "adults"])
    found = found.assign(
        zone_id=zone,
        set_on=pd.to_datetime(found["set_on"]),
        checked_on=pd.to_datetime(found["checked_on"]),
    )
    nights = (found["checked_on"] - found["set_on"]).dt.days
    return found.assign(nights=factor * nights)


def treated(*days: str) -> pd.DataFrame:
    return pd.DataFrame({"zone_id": ["A"] * len(days), "applied_on": pd.to_datetime(list(days))})


def weeks(past: Iterable[float], this: Iterable[float]) -> list[Row]:
    """Return one week of May of every trap in both years."""
    rows = [(f"T{n}", "2025-05-05", "2025-05-12", adults) for n, adults in enumerate(past)]
    return rows + [(f"T{n}", "2026-05-05", "2026-05-12", adults) for n, adults in enumerate(this)]


def compared(visits: pd.DataFrame, treatments: pd.DataFrame | None = None) -> SeasonComparison:
    return season_comparison(visits, treated() if treatments is None else treatments, THIS, PAST)


def test_only_nights_that_were_trapped_in_both_years_count() -> None:
    """T0 stood a week in 2025 and two in 2026: half of its 10 beetles lie on the common nights."""
    rows = weeks([2, 3, 4, 5, 6], [0, 3, 4, 5, 6])
    rows[5] = ("T0", "2026-05-01", "2026-05-15", 10)
    found = compared(table(rows))
    assert (found.traps, found.nights) == (5, 35)
    assert (found.past_adults, found.adults) == pytest.approx((20, 5 + 18))
    assert (found.past_rate, found.rate) == pytest.approx((20 / 5, 23 / 5))
    assert found.ratio == pytest.approx(23 / 20)
    assert found.low < found.ratio < found.high
    assert found.reason == ""


def test_a_trap_of_one_year_and_a_trap_of_other_weeks_do_not_count() -> None:
    rows = weeks([2, 3, 4, 5, 6], [4, 6, 8, 10, 12])
    rows += [("T7", "2026-05-05", "2026-05-12", 500), ("T8", "2025-04-01", "2025-04-08", 90)]
    rows += [("T8", "2026-05-05", "2026-05-12", 90)]
    found = compared(table(rows))
    assert (found.traps, found.ratio) == (5, pytest.approx(2.0))
    assert (found.low, found.high) == pytest.approx((2.0, 2.0))


def test_nothing_after_the_same_day_of_the_last_season_counts() -> None:
    """Day 77 of the season of 2025 is 17 May; a later week would have changed everything."""
    rows = weeks([4] * 5, [2] * 5)
    rows += [(f"T{n}", "2025-05-12", "2025-05-19", 700) for n in range(5)]
    rows += [(f"T{n}", "2026-05-12", "2026-05-17", 1) for n in range(5)]
    found = compared(table(rows))
    assert found.past_day == date(2025, 5, 17)
    assert (found.nights, found.past_adults, found.ratio) == (35, 20, pytest.approx(0.5))


def test_rates_are_those_of_the_reference_design() -> None:
    found = compared(table(weeks([4] * 5, [2] * 5), factor=2.5))
    assert (found.past_rate, found.rate) == pytest.approx((4 / 2.5, 2 / 2.5))
    assert found.nights == 35


def test_the_interval_is_that_of_drawing_the_traps() -> None:
    """Of 20 traps three rose from 1 to 31, the rest stayed at 10; the draws of them are binomial.

    With k of them the ratio is (31 k + 10 (20 - k)) / (k + 10 (20 - k)). P(k = 0) = 0.039 and
    P(k <= 1) = 0.176, so the lower end is k = 1; P(k <= 5) = 0.933 and P(k <= 6) = 0.978, so the
    upper end is k = 6. An interval of 95 % would begin at k = 0.
    """
    found = compared(table(weeks([*[1] * 3, *[10] * 17], [*[31] * 3, *[10] * 17])))

    def ratio(k: int) -> float:
        return (31 * k + 10 * (20 - k)) / (k + 10 * (20 - k))

    assert found.ratio == pytest.approx(ratio(3))
    assert (found.low, found.high) == pytest.approx((ratio(1), ratio(6)))


def test_equal_input_gives_equal_output_and_rows_may_come_in_any_order() -> None:
    visits = table(weeks([2, 3, 4, 5, 6], [1, 6, 2, 9, 12]))
    assert compared(visits) == compared(visits.iloc[::-1].reset_index(drop=True))


NONE_BEFORE = weeks([0] * 6, [9] * 6)
REASONS = {
    "no_past_season": (weeks([], [3] * 6), ()),
    "few_traps": (weeks([5] * 4, [5] * 4), ()),
    "treated_season": (weeks([5] * 6, [5] * 6), ("2025-06-20",)),
    "few_beetles": (weeks([1] * 5, [0] * 5), ()),
    "few_before": (NONE_BEFORE, ()),
    "few_now": (weeks([9] * 6, [1] * 6), ()),
}


@pytest.mark.parametrize("reason", NOT_COMPARED)
def test_without_a_fair_comparison_there_is_a_reason_and_no_ratio(reason: str) -> None:
    rows, days = REASONS[reason]
    found = compared(table(rows), treated(*days))
    assert found.reason == reason
    assert math.isnan(found.ratio)
    assert math.isnan(found.low)


def test_a_treatment_before_the_last_season_or_after_the_day_changes_nothing() -> None:
    visits = table(weeks([4] * 5, [2] * 5))
    assert compared(visits, treated("2025-02-20", "2026-05-18")) == compared(visits)


def test_treated_zones_are_left_out_and_the_rest_compared() -> None:
    kept = table(weeks([4] * 5, [2] * 5), zone="B")
    gone = table([(f"X{trap}", *rest) for trap, *rest in weeks([50] * 3, [1] * 3)])
    found = compared(pd.concat([kept, gone], ignore_index=True), treated("2025-05-20"))
    assert found.treated_traps == 3
    assert replace(found, treated_traps=0) == compared(kept)


def test_where_hardly_a_trap_caught_last_year_the_upper_end_is_open() -> None:
    found = compared(table(weeks([12, 0, 0, 0, 0], [9] * 5)))
    assert found.ratio == pytest.approx(45 / 12)
    assert found.high == math.inf


def test_the_demo_site_is_compared_up_to_the_same_day() -> None:
    site = read_site(SITE)
    season = choose_season(site.visits["checked_on"], site.settings.season)
    found = site_comparison(site, season)
    assert (found.past_start, found.past_day) == (date(2025, 2, 15), date(2025, 5, 31))
    assert found.reason == ""
    assert found.treated_traps == 10
    assert 0.5 < found.low < found.ratio < found.high < 1.5
    last = choose_season(site.visits["checked_on"], site.settings.season, "2025-W22")
    assert site_comparison(site, last).reason == "no_past_season"
