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

REASONS = ("", "no_weather", "starts_late", "long_gap", "ends_early")
"""Why a sum stops before the last day asked for: the record has no day of it, begins after the
model's start, has a gap too long to fill, or ends."""


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


def degree_day_sum(weather: pd.DataFrame, model: DegreeDayModel, last: date) -> DegreeDaySum:
    """Return the sum from the model's last start up to a day.

    Parameters
    ----------
    weather
        `date`, `tmin_c`, `tmax_c` in Celsius, one row a day; gaps may be left out or NaN.
    model
        The model.
    last
        Last day.

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
    first = start_before(last, model.start)
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
