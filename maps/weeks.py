"""ISO weeks and dates in words; English, whatever the machine's language is."""

from __future__ import annotations

from datetime import date, timedelta

_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def day_text(day: date) -> str:
    """Return a date in words.

    Examples
    --------
    >>> day_text(date(2026, 5, 31))
    '31 May 2026'
    """
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def span_text(first: date, last: date) -> str:
    """Return two days as prose, what they share said once.

    Examples
    --------
    >>> span_text(date(2026, 5, 4), date(2026, 5, 6)), span_text(date(2026, 5, 4), date(2026, 5, 4))
    ('4 to 6 May 2026', '4 May 2026')
    >>> span_text(date(2026, 5, 28), date(2026, 6, 3))
    '28 May to 3 June 2026'
    >>> span_text(date(2025, 12, 30), date(2026, 1, 2))
    '30 December 2025 to 2 January 2026'
    """
    if first == last:
        return day_text(first)
    shared = 1 if first.year != last.year else 2 + (first.month == last.month)
    begin = day_text(first).rsplit(" ", shared - 1)[0]
    return f"{begin} to {day_text(last)}"


def month_day_text(month_day: str) -> str:
    """Return a day of every year in words.

    Examples
    --------
    >>> month_day_text("05-15")
    '15 May'
    """
    month, day = month_day.split("-")
    return f"{int(day)} {_MONTHS[int(month) - 1]}"


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


def week_span(week: str) -> str:
    """Return the days of an ISO week in words.

    Examples
    --------
    >>> week_span("2026-W22"), week_span("2026-W18")
    ('25 to 31 May 2026', '27 April to 3 May 2026')
    """
    monday, sunday = week_days(week)
    if monday.month == sunday.month:
        return f"{monday.day} to {day_text(sunday)}"
    year = "" if monday.year == sunday.year else f" {monday.year}"
    return f"{monday.day} {_MONTHS[monday.month - 1]}{year} to {day_text(sunday)}"
