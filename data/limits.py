"""Limits: reading `[[limits]]` of `site.toml`, and finding the one that holds for a zone on a day.

A limit is the user's own number, with its source and date; none ships switched on, since no limit
for the catch of a trap has been published. Numbers that others have printed can be copied from
`data/limits_examples.toml`, which nothing reads.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from typing import Any

from data.settings import LimitSettings, Stage
from data.suggestions import did_you_mean

MEASURES = ("adults_per_trap_week", "larvae_per_m2", "larvae_per_ft2")
"""What a limit can be a number of."""

_KEYS = ("zone", "use", "from", "to", *MEASURES, "source", "dated")

_RANGE = (0.001, 1_000_000.0)

_EXAMPLE_SOURCE = 'add source = "...": who set it, or where it is printed'
_EXAMPLE_DATED = 'add dated = "2026-03-01", the day it was set or last reviewed'


@dataclass(frozen=True, slots=True)
class ZoneLimits:
    """The limits that hold for one zone on one day.

    Parameters
    ----------
    adults, larvae
        The limit of each stage, or None.
    """

    adults: LimitSettings | None = None
    larvae: LimitSettings | None = None


def limits_of(limits: Iterable[LimitSettings], zone_id: str, use: str, day: date) -> ZoneLimits:
    """Return the limits that hold for a zone on a day.

    The most specific one wins: a limit of the zone before one of its use before one of every zone;
    where that is the same, one with days before one without.

    Examples
    --------
    >>> every = LimitSettings("own records", "2026", adults_per_trap_week=4)
    >>> greens = LimitSettings("own records", "2026", use="green", adults_per_trap_week=1)
    >>> found = limits_of([every, greens], "H01-GR", "green", date(2026, 5, 1))
    >>> found.adults.adults_per_trap_week, found.larvae
    (1, None)
    """
    held = [limit for limit in limits if _holds(limit, zone_id, use, day)]
    return ZoneLimits(_narrowest(held, "adults"), _narrowest(held, "larvae"))


def unknown_places(
    limits: Iterable[LimitSettings], zone_ids: Iterable[str], uses: Iterable[str]
) -> tuple[tuple[str, str], ...]:
    """Return problem and fix of every limit that names a zone or use that the site does not have.

    Examples
    --------
    >>> limit = LimitSettings("own records", "2026", use="greens", adults_per_trap_week=1)
    >>> unknown_places([limit], ["H01-GR"], ["green", "tee"])
    (("limits, item 1: no zone has the use 'greens'", "did you mean 'green'?"),)
    """
    known = {"zone": sorted(set(zone_ids)), "use": sorted(set(uses))}
    said = {"zone": "there is no zone", "use": "no zone has the use"}
    return tuple(
        (
            f"limits, item {number}: {said[key]} {name!r}",
            did_you_mean(name, known[key], f"it may be one of {', '.join(known[key])}"),
        )
        for number, limit in enumerate(limits, 1)
        for key, name in (("zone", limit.zone), ("use", limit.use))
        if name is not None and name not in known[key]
    )


def read_limits(given: object) -> tuple[tuple[LimitSettings, ...], tuple[tuple[str, str], ...]]:
    """Read the `[[limits]]` of a site.

    Parameters
    ----------
    given
        What a TOML parser made of them.

    Returns
    -------
    limits, problems
        The limits, in the order of the file; and of every problem the key and what is wrong. With
        problems the limits are not complete.

    Examples
    --------
    >>> read_limits([{"adults_per_trap_week": 4, "source": "own records", "dated": "2026-03-01"}])
    ((LimitSettings(source='own records', dated='2026-03-01', zone=None, use=None, first_day=None, \
last_day=None, adults_per_trap_week=4.0, larvae_per_m2=None, larvae_per_ft2=None),), ())
    >>> for key, problem in read_limits([{"adults_per_trap_week": 4, "dated": "2026"}])[1]:
    ...     print(f"{key}: {problem}")
    limits, item 1: a limit needs its source; add source = "...": who set it, or where it is printed
    """
    if not isinstance(given, list) or not all(isinstance(entry, dict) for entry in given):
        return (), (("limits", f"expected tables that start with [[limits]], found {given!r}"),)
    problems: list[tuple[str, str]] = []
    numbered: dict[int, LimitSettings] = {}
    for number, entry in enumerate(given, 1):
        found = [
            (f"limits, item {number}{key and f', {key}'}", told) for key, told in _wrong(entry)
        ]
        if not found:
            numbered[number] = _limit(entry)
        problems += found
    problems += _equally_specific(numbered)
    return tuple(numbered.values()), tuple(problems)


def is_month_day(text: str) -> bool:
    """Tell whether a text is a day of every year, as ``"02-15"``.

    Examples
    --------
    >>> is_month_day("02-15"), is_month_day("02-29"), is_month_day("2-15")
    (True, False, False)
    """
    if not re.fullmatch(r"[0-9]{2}-[0-9]{2}", text):
        return False
    try:
        # 2001 has no 29 February, so a window never depends on leap years.
        date.fromisoformat(f"2001-{text}")
    except ValueError:
        return False
    return True


def _holds(limit: LimitSettings, zone_id: str, use: str, day: date) -> bool:
    if limit.zone not in (None, zone_id) or limit.use not in (None, use):
        return False
    return _day_number(day) in _days(limit)


def _narrowest(limits: Sequence[LimitSettings], stage: Stage) -> LimitSettings | None:
    return max((each for each in limits if each.stage == stage), key=_narrowness, default=None)


def _narrowness(limit: LimitSettings) -> tuple[bool, bool, bool]:
    return limit.zone is not None, limit.use is not None, limit.first_day is not None


def _day_number(day: date) -> int:
    """Return the number of a day in a year without 29 February, which counts as the 28th."""
    kept = 28 if (day.month, day.day) == (2, 29) else day.day
    return date(2001, day.month, kept).timetuple().tm_yday


def _days(limit: LimitSettings) -> frozenset[int]:
    """Return the numbers of the days on which a limit holds."""
    if limit.first_day is None or limit.last_day is None:
        return frozenset(range(1, 366))
    first, last = (
        _day_number(date.fromisoformat(f"2001-{day}")) for day in (limit.first_day, limit.last_day)
    )
    if first <= last:
        return frozenset(range(first, last + 1))
    return frozenset((*range(first, 366), *range(1, last + 1)))


def _limit(entry: Mapping[str, Any]) -> LimitSettings:
    texts = {key: str(entry[key]).strip() for key in _KEYS if key in entry and key not in MEASURES}
    return LimitSettings(
        source=texts["source"],
        dated=texts["dated"],
        zone=texts.get("zone"),
        use=texts.get("use"),
        first_day=texts.get("from"),
        last_day=texts.get("to"),
        **{key: float(entry[key]) for key in MEASURES if key in entry},
    )


def _wrong(entry: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield every problem of one entry: the key, blank for the entry itself, and what is wrong."""
    for key in entry:
        if key not in _KEYS:
            hint = did_you_mean(key, _KEYS, "it may be one of " + ", ".join(_KEYS))
            yield key, f"there is no such setting; {hint}"
    for key in ("zone", "use", "source"):
        if key in entry and not (isinstance(entry[key], str) and entry[key].strip()):
            yield key, f"expected text in quotation marks, found {entry[key]!r}"
    if "source" not in entry:
        yield "", f"a limit needs its source; {_EXAMPLE_SOURCE}"
    if "zone" in entry and "use" in entry:
        yield "", "it names a zone and a use; keep one"
    yield from _wrong_date(entry)
    yield from _wrong_days(entry)
    yield from _wrong_number(entry)


def _wrong_date(entry: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if "dated" not in entry:
        yield "", f"a limit needs its date; {_EXAMPLE_DATED}"
    elif not _is_dated(entry["dated"]):
        yield (
            "dated",
            (
                'expected a year, month or day like "2026", "2026-03" or "2026-03-01", '
                f"found {entry['dated']!r}"
            ),
        )


def _is_dated(value: object) -> bool:
    """Tell whether a value is a date of TOML, or a text with a year, month or day."""
    if not isinstance(value, str | date) or not re.fullmatch(
        r"[0-9]{4}(-[0-9]{2}){0,2}", str(value).strip()
    ):
        return False
    try:
        date.fromisoformat((str(value).strip() + "-01-01")[:10])
    except ValueError:
        return False
    return True


def _wrong_days(entry: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    given = {key: entry[key] for key in ("from", "to") if key in entry}
    for key, day in given.items():
        if not isinstance(day, str) or not is_month_day(day):
            yield key, f'expected month-day like "05-15", found {day!r}'
    if len(given) == 1:
        other = "to" if "from" in given else "from"
        yield "", f"it has no {other}; give both days, or neither for the whole year"
    elif given and given["from"] == given["to"]:
        yield "", "from and to are the same day; leave both out for the whole year"


def _wrong_number(entry: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    given = [key for key in MEASURES if key in entry]
    if not given:
        yield "", f"it has no number; add one of {', '.join(MEASURES)}"
    elif len(given) > 1:
        yield "", f"it has {' and '.join(given)}; keep one, and write another [[limits]] for more"
    low, high = _RANGE
    for key in given:
        value = entry[key]
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not (number and low <= value <= high):
            yield key, f"expected a number from {low:g} to {high:,.0f}, found {value!r}"


def _equally_specific(numbered: Mapping[int, LimitSettings]) -> Iterator[tuple[str, str]]:
    """Yield every pair of limits of which neither goes before the other on some day."""
    groups: dict[tuple[Stage, str | None, str | None, bool], list[int]] = {}
    for number, limit in numbered.items():
        key = (limit.stage, limit.zone, limit.use, limit.first_day is None)
        groups.setdefault(key, []).append(number)
    for numbers in groups.values():
        for one, other in combinations(numbers, 2):
            if _days(numbered[one]) & _days(numbered[other]):
                yield f"limits, items {one} and {other}", _overlap(numbered[one], numbered[other])


def _overlap(one: LimitSettings, other: LimitSettings) -> str:
    place = f"zone {one.zone!r}" if one.zone else f"use {one.use!r}" if one.use else "every zone"
    days = " and ".join(f"{limit.first_day} to {limit.last_day}" for limit in (one, other))
    when = "the whole year" if one.first_day is None else f"days that overlap, {days}"
    return (
        f"both are for {one.stage} in {place} and {when}; keep one, or part them by zone, use "
        "or days"
    )
