"""Which season and week an analysis is about; weeks are ISO 8601."""

from __future__ import annotations

import re
from datetime import date, timedelta

import numpy as np
import pandas as pd

from data.findings import SettingsError
from data.settings import SeasonWindow
from spatial.arrays import BoolArray
from spatial.results import Season


def iso_week(days: pd.Series[pd.Timestamp]) -> pd.Series[str]:
    """Return the ISO 8601 week of each day, as ``"2026-W19"``.

    Examples
    --------
    Week 53 belongs to the year in which it starts:

    >>> iso_week(pd.Series(pd.to_datetime(["2021-01-03", "2024-12-30", "2023-01-01"]))).tolist()
    ['2020-W53', '2025-W01', '2022-W52']
    """
    parts = days.dt.isocalendar()
    return parts["year"].astype(str) + "-W" + parts["week"].astype(str).str.zfill(2)


def week_sunday(week: str) -> date:
    """Return the last day of an ISO week.

    Raises
    ------
    SettingsError
        If `week` is not a week that exists, written like ``2026-W19``.

    Examples
    --------
    >>> week_sunday("2026-W19")
    datetime.date(2026, 5, 10)
    """
    found = re.fullmatch(r"([1-9][0-9]{3})-W([0-9]{2})", week)
    try:
        if found is None:
            raise ValueError
        return date.fromisocalendar(int(found[1]), int(found[2]), 7)
    except ValueError:
        raise SettingsError(_no_week_message(week, well_written=found is not None)) from None


def season_bounds(day: date, window: SeasonWindow) -> tuple[date, date]:
    """Return first and last day of the season that holds `day`, or of the last one before it.

    Examples
    --------
    >>> season_bounds(date(2026, 5, 4), SeasonWindow("02-15", "08-31"))
    (datetime.date(2026, 2, 15), datetime.date(2026, 8, 31))
    >>> season_bounds(date(2027, 1, 9), SeasonWindow("10-01", "03-31"))
    (datetime.date(2026, 10, 1), datetime.date(2027, 3, 31))
    """
    year = day.year if day >= _day(day.year, window.start) else day.year - 1
    crosses_new_year = window.end < window.start
    return _day(year, window.start), _day(year + crosses_new_year, window.end)


def choose_season(
    checked_on: pd.Series[pd.Timestamp], window: SeasonWindow, week: str | None = None
) -> Season:
    """Choose the season and cut-off for a week.

    Parameters
    ----------
    checked_on
        Day of every visit of the site, any status.
    window
        The part of a year that is one season.
    week
        ISO week, or None for the last week with a visit.

    Raises
    ------
    SettingsError
        If `week` is malformed, lies outside the season, or no visit was made in its season by then.

    Examples
    --------
    >>> days = pd.Series(pd.to_datetime(["2026-04-27", "2026-05-04", "2026-05-11"]))
    >>> choose_season(days, SeasonWindow(), "2026-W19").weeks
    ('2026-W18', '2026-W19')
    """
    last_visit = checked_on.max()
    sunday = week_sunday(week or iso_week(pd.Series([last_visit])).iloc[0])
    day = last_visit.date() if week is None else _visited_day(checked_on, sunday)
    start, end = season_bounds(day, window)
    if day > end:
        message = (
            f"week {week} lies outside the season, which ran from {start} to {end}; "
            "choose a week inside it, or mend [season] in site.toml"
        )
        raise SettingsError(message)
    if sunday - timedelta(days=6) > last_visit.date():
        last = iso_week(pd.Series([last_visit])).iloc[0]
        raise SettingsError(f"no visit was made since week {last}; choose week {last} or earlier")
    cutoff = min(sunday, end)
    inside = checked_on[in_period(checked_on, start, cutoff)]
    if inside.empty:
        raise SettingsError(_no_visit_message(start, cutoff, checked_on))
    weeks = tuple(sorted(iso_week(inside).unique()))
    return Season(season_label(start, end), start, end, week or weeks[-1], cutoff, weeks)


def in_period(days: pd.Series[pd.Timestamp], first: date, last: date) -> BoolArray:
    """Tell which days lie in a period, both ends included."""
    return np.asarray((days >= pd.Timestamp(first)) & (days <= pd.Timestamp(last)), dtype=bool)


def _no_week_message(week: str, *, well_written: bool) -> str:
    if well_written:
        return f"there is no week {week!r}; a year has 52 ISO 8601 weeks, some have 53"
    return f"week {week!r} is not an ISO 8601 week; write it like 2026-W19"


def _day(year: int, month_day: str) -> date:
    month, day = (int(part) for part in month_day.split("-"))
    if (month, day) == (2, 29):
        return date(year, 3, 1) - timedelta(days=1)
    return date(year, month, day)


def season_label(start: date, end: date) -> str:
    """Return the name of a season by its first and last day.

    Examples
    --------
    >>> season_label(date(2026, 10, 1), date(2027, 3, 31))
    '2026/27'
    """
    return str(start.year) if start.year == end.year else f"{start.year}/{end.year % 100:02d}"


def _visited_day(checked_on: pd.Series[pd.Timestamp], sunday: date) -> date:
    """Return the last day of a week with a visit, else its Sunday: a season may end inside it."""
    monday = sunday - timedelta(days=6)
    visited = checked_on[in_period(checked_on, monday, sunday)]
    return sunday if visited.empty else visited.max().date()


def _no_visit_message(start: date, cutoff: date, checked_on: pd.Series[pd.Timestamp]) -> str:
    weeks = sorted(iso_week(checked_on).unique())
    return (
        f"no visit lies between {start} and {cutoff}; the visits run from {weeks[0]} to "
        f"{weeks[-1]}: choose a week of a season with visits"
    )
