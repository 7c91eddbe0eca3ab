"""Which days lie in a season; a season may cross New Year."""

from __future__ import annotations

import numpy as np
import pandas as pd

from data.settings import SeasonWindow


def season_years(days: pd.Series[pd.Timestamp], window: SeasonWindow) -> pd.Series[float]:
    """Return the year in which each day's season starts, NaN where it lies outside every season.

    Parameters
    ----------
    days
        Dates; blank ones give NaN.
    window
        First and last day of a season as month-day.

    Examples
    --------
    >>> days = pd.Series(pd.to_datetime(["2026-12-31", "2027-01-04", "2027-06-01"]))
    >>> list(season_years(days, SeasonWindow("10-01", "03-31")))
    [2026.0, 2026.0, nan]
    >>> list(season_years(days, SeasonWindow("02-15", "08-31")))
    [nan, nan, 2027.0]
    """
    year = days.dt.year.astype(float)
    day = days.dt.month * 100 + days.dt.day
    start, end = _number(window.start), _number(window.end)
    if start == 229:
        # In a year without 29 February the season starts on the 28th.
        leap = days.dt.is_leap_year
        started = day >= np.where(leap, 229, 228)
    else:
        started = day >= start
    if start <= end:
        return year.where(started & (day <= end))
    return year.where(started, year - 1).where(started | (day <= end))


def _number(month_day: str) -> int:
    month, day = month_day.split("-")
    return int(month) * 100 + int(day)
