"""Degree-days summed from a model's start, with a stated rule for days without a temperature.

Up to `MOST_FILLED` days in a row are filled: lows and highs are taken to run straight from the day
before to the day after. A longer gap, or one at the very start, ends the sum there: what follows is
not known, and is never a silent number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import cast

import numpy as np
import pandas as pd

from data.degree_day_models import DegreeDayModel, ModelEvent
from spatial.arrays import BoolArray, FloatArray
from spatial.degree_days import CutOff, DegreeDayRule, Method, degree_days

MOST_FILLED = 3
"""Days in a row that are filled (common practice, no source)."""

REASONS = ("", "no_weather", "starts_late", "long_gap", "ends_early", "not_started", "other_season")
"""Why a sum stops before the last day asked for: the record has no day of it, begins after the
model's start, has a gap too long to fill, or ends; the last day lies before the model's start; that
start lies near no season of the site."""

EARLIEST, LATEST = timedelta(days=150), timedelta(days=60)
"""A model belongs to a season that begins up to so long after its start, or before it (common
practice, no source)."""


@dataclass(frozen=True, slots=True)
class DegreeDaySum:
    """Degree-days of one season.

    Parameters
    ----------
    model
        By which they are counted.
    table
        One row a day from the start to the last day asked for: `date`, `degree_days`, `total` (in
        the model's unit; NaN from the day on that is not known), `filled`.
    reason
        One of `REASONS`.
    known_to
        Last day with a total; None without one.
    """

    model: DegreeDayModel
    table: pd.DataFrame
    reason: str
    known_to: date | None

    @property
    def filled(self) -> int:
        """Return how many days of the sum were filled."""
        return int((self.table["filled"] & self.table["total"].notna()).sum())


def start_before(day: date, start: str) -> date:
    """Return the last start of a model on or before a day.

    Examples
    --------
    >>> start_before(date(2026, 5, 1), "03-01"), start_before(date(2026, 2, 1), "03-01")
    (datetime.date(2026, 3, 1), datetime.date(2025, 3, 1))

    In the south a season starts in one year and is read in the next:

    >>> start_before(date(2027, 1, 15), "09-01")
    datetime.date(2026, 9, 1)
    """
    month, number = (int(part) for part in start.split("-"))
    this = date(day.year, month, number)
    return this if this <= day else date(day.year - 1, month, number)


def start_for(season_start: date, start: str) -> date | None:
    """Return the start of a model that belongs to a season; None where none lies near it.

    Parameters
    ----------
    season_start
        First day of the season's window.
    start
        Month and day, ``"03-01"``.

    Examples
    --------
    >>> start_for(date(2026, 2, 1), "03-01"), start_for(date(2026, 2, 15), "01-13")
    (datetime.date(2026, 3, 1), datetime.date(2026, 1, 13))

    One of 1 March says nothing of a season in the south:

    >>> start_for(date(2026, 9, 15), "03-01") is None
    True
    """
    around = (start_before(season_start + timedelta(days=days), start) for days in (0, LATEST.days))
    near = [each for each in around if each >= season_start - EARLIEST]
    return near[-1] if near else None


def rule_of(model: DegreeDayModel) -> DegreeDayRule:
    """Return the rule of a model, its names checked.

    Raises
    ------
    data.findings.SettingsError
        If its thresholds, method and cut-off do not fit together.
    """
    upper = math.inf if model.upper is None else model.upper
    return DegreeDayRule(
        model.base, cast("Method", model.method), upper, cast("CutOff", model.cut_off)
    )


def season_sum(
    weather: pd.DataFrame, model: DegreeDayModel, season_start: date, last: date
) -> DegreeDaySum:
    """Return the sum of a season up to a day; without a total where the model says nothing of it.

    Parameters
    ----------
    weather, model
        As in `degree_day_sum`.
    season_start
        First day of the season's window.
    last
        Last day.
    """
    first = start_for(season_start, model.start)
    if first is None or first > last:
        nothing = pd.DataFrame(
            {"date": pd.to_datetime([]), "degree_days": [], "total": [], "filled": []}
        )
        reason = "other_season" if first is None else "not_started"
        return DegreeDaySum(model, nothing.astype({"filled": bool}), reason, None)
    return degree_day_sum(weather, model, last, first)


def degree_day_sum(
    weather: pd.DataFrame, model: DegreeDayModel, last: date, first: date | None = None
) -> DegreeDaySum:
    """Return the sum from a start of the model up to a day.

    Parameters
    ----------
    weather
        `date`, `tmin_c`, `tmax_c` in Celsius, one row a day; gaps may be left out or NaN.
    model
        The model.
    last
        Last day.
    first
        First day; None for the model's last start before `last`.

    Examples
    --------
    Ten days of 5 to 25 C over a base of 50 F by the simple average: 9 F degree-days each.

    >>> from data.degree_day_models import shipped_models
    >>> days = pd.date_range("2026-03-01", periods=10)
    >>> weather = pd.DataFrame({"date": days, "tmin_c": 5.0, "tmax_c": 25.0})
    >>> east = next(each for each in shipped_models() if each.key == "bluegrass_east_1march")
    >>> found = degree_day_sum(weather, east, date(2026, 3, 10))
    >>> float(found.table["total"].iloc[-1]), found.reason
    (90.0, '')
    """
    first = first or start_before(last, model.start)
    days = pd.date_range(first, last)
    known = weather.drop_duplicates("date").set_index("date")[["tmin_c", "tmax_c"]]
    # One day more on either side, for gaps at the ends and for tomorrow's low.
    wide = pd.date_range(first - timedelta(days=1), last + timedelta(days=1))
    temperatures = known.reindex(wide)
    filled, missing = _filled(temperatures)
    scale, offset = (1.8, 32.0) if model.unit == "F" else (1.0, 0.0)
    low, high = (filled[name].to_numpy() * scale + offset for name in ("tmin_c", "tmax_c"))
    counted = degree_days(low, high, rule_of(model))[1:-1]
    if model.method.startswith("double") and np.isnan(low[-1]):
        # Without tomorrow the last day takes its own low again.
        counted[-1] = degree_days(low[1:-1], high[1:-1], rule_of(model))[-1]
    table = pd.DataFrame(
        {
            "date": days,
            "degree_days": counted,
            "total": _totals(counted),
            "filled": missing[1:-1] & ~np.isnan(counted),
        }
    )
    there = table["date"][table["total"].notna()]
    return DegreeDaySum(
        model, table, _reason(table, weather), there.iloc[-1].date() if len(there) else None
    )


def _filled(temperatures: pd.DataFrame) -> tuple[pd.DataFrame, BoolArray]:
    """Return temperatures with short gaps filled, and which days lacked one."""
    missing = temperatures.isna().any(axis=1)
    run = missing.groupby((~missing).cumsum()).transform("sum")
    straight = temperatures.mask(missing).interpolate(limit_area="inside")
    short = straight.where(~missing | (run <= MOST_FILLED))
    return short, missing.to_numpy(dtype=bool)


def _totals(counted: FloatArray) -> FloatArray:
    """Return running totals; NaN from the first day that is not known."""
    return np.asarray(np.cumsum(counted), dtype=float)


def _reason(table: pd.DataFrame, weather: pd.DataFrame) -> str:
    unknown = table["total"].isna()
    if not unknown.any():
        return ""
    days = weather.dropna(subset=["tmin_c", "tmax_c"])["date"]
    inside = days[(days >= table["date"].iloc[0]) & (days <= table["date"].iloc[-1])]
    if inside.empty:
        return "no_weather"
    if unknown.iloc[0]:
        return "starts_late"
    first = table["date"][unknown].iloc[0]
    return "long_gap" if (inside > first).any() else "ends_early"


def event_days(found: DegreeDaySum, event: ModelEvent) -> tuple[date | None, date | None]:
    """Return the days on which the sum reaches both ends of an event; None where it has not.

    Examples
    --------
    >>> from data.degree_day_models import shipped_models
    >>> days = pd.date_range("2026-03-01", periods=40)
    >>> weather = pd.DataFrame({"date": days, "tmin_c": 5.0, "tmax_c": 25.0})
    >>> east = next(each for each in shipped_models() if each.key == "bluegrass_east_1march")
    >>> found = degree_day_sum(weather, east, date(2026, 4, 9))
    >>> event_days(found, east.events[0])
    (datetime.date(2026, 4, 1), datetime.date(2026, 4, 9))
    """
    return reached(found, event.low), reached(found, event.high)


def reached(found: DegreeDaySum, amount: float) -> date | None:
    """Return the first day by which a sum has reached an amount; None where it has not."""
    there = found.table["date"][found.table["total"] >= amount - 1e-9]
    return there.iloc[0].date() if len(there) else None
