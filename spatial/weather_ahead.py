"""Weather still to come: a forecast as far as it reaches, then each past year of the site in turn.

Nobody knows the rest of the season. What past years had on the same days tells how far its
degree-days may go: every past year gives one course, and what they agree on is what can be said.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd

FEW_COURSES = 5
"""With fewer courses than this a range holds all of them, else the middle `CENTRAL` of them
(common practice, no source)."""

CENTRAL = 0.8

LEAST_THERE = 0.9
"""Share of the days to come that a past year must have (common practice, no source)."""

_COLUMNS = ["date", "tmin_c", "tmax_c"]


def courses(
    weather: pd.DataFrame, forecast: pd.DataFrame, cutoff: date, end: date
) -> dict[str, pd.DataFrame]:
    """Return the courses that the season's weather may take, by the year they are taken from.

    Parameters
    ----------
    weather
        `date`, `tmin_c`, `tmax_c`; days after the cut-off are not looked at.
    forecast
        The same, of days to come; those that the weather has are left out; may be empty.
    cutoff, end
        Last day that is known, and last day wanted.

    Returns
    -------
    dict
        Year -> weather up to `end`; ``"forecast"`` alone where no past year has such days. Empty
        without either.

    Examples
    --------
    Two days of 2025 stand for the same days of 2026, the first of them is forecast:

    >>> days = pd.to_datetime(["2025-05-02", "2025-05-03", "2026-05-01"])
    >>> past = pd.DataFrame({"date": days, "tmin_c": [3.0, 4.0, 5.0], "tmax_c": 20.0})
    >>> told = pd.DataFrame({"date": [pd.Timestamp("2026-05-02")], "tmin_c": 9.0, "tmax_c": 20.0})
    >>> found = courses(past, told, date(2026, 5, 1), date(2026, 5, 3))
    >>> list(found), found["2025"]["tmin_c"].tolist()[2:]
    (['2025'], [5.0, 9.0, 4.0])
    """
    known = weather.loc[weather["date"] <= pd.Timestamp(cutoff), _COLUMNS]
    # The station may lag behind the cut-off, which is a Sunday: days to come begin after it.
    last_known = known["date"].max() if len(known) else pd.Timestamp(cutoff)
    told = forecast.loc[forecast["date"] > last_known, _COLUMNS]
    # A forecast may begin late or leave days out: those are taken from past years, too.
    untold = pd.date_range(last_known + timedelta(days=1), end).difference(
        pd.DatetimeIndex(told["date"])
    )
    found = {}
    for back in range(1, _years(known, cutoff) + 1) if len(untold) else ():
        then = known.assign(date=known["date"] + pd.DateOffset(years=back))
        rest = then[then["date"].isin(untold)]
        if len(rest) >= LEAST_THERE * len(untold):
            whole = pd.concat([known, told, rest]).drop_duplicates("date").sort_values("date")
            found[str(cutoff.year - back)] = whole.reset_index(drop=True)
    if not found and len(told):
        found["forecast"] = pd.concat([known, told], ignore_index=True)
    return found


def _years(known: pd.DataFrame, cutoff: date) -> int:
    return cutoff.year - known["date"].min().year if len(known) else 0


def range_of(days: Sequence[date | None]) -> tuple[date, date] | None:
    """Return the range of a day over all courses; None if any course does not reach it.

    Examples
    --------
    >>> range_of([date(2026, 5, 4), date(2026, 5, 1)])
    (datetime.date(2026, 5, 1), datetime.date(2026, 5, 4))
    >>> range_of([date(2026, 5, 4), None]) is None
    True
    """
    told = sorted(day for day in days if day is not None)
    if not told or len(told) < len(days):
        return None
    if len(told) < FEW_COURSES:
        return told[0], told[-1]
    # Ends are days of courses, never between two of them.
    ends = np.quantile(
        [day.toordinal() for day in told],
        [(1 - CENTRAL) / 2, (1 + CENTRAL) / 2],
        method="inverted_cdf",
    )
    return date.fromordinal(int(ends[0])), date.fromordinal(int(ends[1]))
