"""How days are written in files: ISO, a declared format, or a time that names its day."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

ISO = "YYYY-MM-DD"

_TOKENS = {
    "YYYY": r"(?P<year>(?:19|20)[0-9]{2})",
    "YY": r"(?P<short>[0-9]{2})",
    "MM": r"(?P<month>[0-9]{1,2})",
    "M": r"(?P<month>[0-9]{1,2})",
    "DD": r"(?P<day>[0-9]{1,2})",
    "D": r"(?P<day>[0-9]{1,2})",
}
_FORMAT = re.compile(r"(YYYY|YY|MM?|DD?)([/. -])(YYYY|YY|MM?|DD?)\2(YYYY|YY|MM?|DD?)").fullmatch
_ISO_DAY = re.compile(r"(?:19|20)[0-9]{2}-[0-9]{2}-[0-9]{2}").fullmatch
_ISO_TIME = re.compile(
    r"((?:19|20)[0-9]{2}-[0-9]{2}-[0-9]{2})[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,9})?)?"
    r"(Z|[+-][0-9]{2}:?[0-9]{2})?"
).fullmatch


class NoSuchDayError(ValueError):
    """A date is written as it should be, but the calendar has no such day."""


class NoTimeZoneError(ValueError):
    """A time names its offset from UTC, and nothing says where the days are counted."""


def is_date_format(text: str) -> bool:
    """Return whether a text names year, month and day once each, e.g. ``"DD/MM/YYYY"``.

    Examples
    --------
    >>> is_date_format("DD/MM/YYYY"), is_date_format("M/D/YY"), is_date_format("DD/MM")
    (True, True, False)
    """
    match = _FORMAT(text)
    return match is not None and {part[0] for part in match.group(1, 3, 4)} == set("YMD")


def read_day(text: str, written: str = ISO, time_zone: str | None = None) -> date:
    """Return the day that a cell names.

    Parameters
    ----------
    text
        The cell as typed.
    written
        The declared format; a day or a time in ISO 8601 is read besides.
    time_zone
        Where the days are counted; needed for a time with an offset from UTC.

    Raises
    ------
    NoSuchDayError
        When it is written in one of these ways, but the month or the year has no such day.
    ValueError
        When it is written in none of them.
    NoTimeZoneError
        When a time with an offset needs a time zone.

    Examples
    --------
    >>> read_day("3/4/2026", "DD/MM/YYYY"), read_day("2026-04-03", "DD/MM/YYYY")
    (datetime.date(2026, 4, 3), datetime.date(2026, 4, 3))
    >>> read_day("2026-04-04T01:30:00Z", time_zone="America/Chicago")
    datetime.date(2026, 4, 3)
    """
    moment = _ISO_TIME(text)
    if moment is not None:
        return _local_day(text, moment, time_zone)
    match = _matcher(ISO if _ISO_DAY(text) else written)(text)
    if match is None:
        raise ValueError(text)
    parts = match.groupdict()
    year = int(parts["year"]) if "year" in parts else 2000 + int(parts["short"])
    try:
        return date(year, int(parts["month"]), int(parts["day"]))
    except ValueError:
        raise NoSuchDayError(text) from None


def _local_day(text: str, moment: re.Match[str], time_zone: str | None) -> date:
    day, offset = moment.groups()
    if offset is None:
        # A time without an offset is the time on the wall, so its day is the day.
        return date.fromisoformat(day)
    if time_zone is None:
        raise NoTimeZoneError(text)
    # Fractions of a second never change the day, and not every length of them is read.
    whole = re.sub(r"\.[0-9]+", "", text)
    local = datetime.fromisoformat(whole).astimezone(ZoneInfo(time_zone))
    return local.date()


@lru_cache(maxsize=64)
def _matcher(written: str) -> Callable[[str], re.Match[str] | None]:
    match = _FORMAT(written)
    if match is None:
        raise ValueError(written)
    first, mark, second, third = match.groups()
    pattern = re.escape(mark).join(_TOKENS[part] for part in (first, second, third))
    return re.compile(pattern).fullmatch
