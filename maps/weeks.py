"""ISO weeks: their number and their days."""

from __future__ import annotations

from datetime import date, timedelta


def week_number(week: str) -> int:
    """Return the number of an ISO week.

    Examples
    --------
    >>> week_number("2026-W09")
    9
    """
    return int(week.partition("-W")[2])


def week_days(week: str) -> tuple[date, date]:
    """Return Monday and Sunday of an ISO week (ISO 8601).

    Examples
    --------
    >>> [str(day) for day in week_days("2026-W22")]
    ['2026-05-25', '2026-05-31']
    """
    monday = date.fromisocalendar(int(week.partition("-W")[0]), week_number(week), 1)
    return monday, monday + timedelta(days=6)
