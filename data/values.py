"""Turning text cells into dates, numbers, counts and words; blank stays blank, never zero."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import pandas as pd

from data.checks import Draft, Fault, findings_at, quoted
from data.coordinates import degrees
from data.dates import ISO, NoSuchDayError, NoTimeZoneError, read_day
from data.raw import NamedTable
from data.schemas import Column, Table
from data.settings import ReadSettings
from data.suggestions import asked_back, close_names

_NUMBERS = {
    ".": re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)").fullmatch,
    ",": re.compile(r"[+-]?(?:[0-9]+,?[0-9]*|,[0-9]+)").fullmatch,
}
_WHOLES = {
    ".": re.compile(r"[+-]?[0-9]+(?:\.0*)?").fullmatch,
    ",": re.compile(r"[+-]?[0-9]+(?:,0*)?").fullmatch,
}
"""Decimal mark -> how numbers are written."""

_SLASHED = re.compile(r"[0-9]{1,2}[/.-][0-9]{1,2}[/.-](?:[0-9]{2}){1,2}").fullmatch
_ANGLE_SIGNS = re.compile("[0-9].*[^0-9.,eE+-]|[NSEWnsew].*[0-9]").search

_MARK_WORDS = {".": "point", ",": "comma"}

_Matcher = Callable[[str], re.Match[str] | None]
_Parsed = tuple[pd.Series, list[Fault]]


def draft_of(named: NamedTable, table: Table, extra: Sequence[Column] = ()) -> Draft:
    """Understand every cell of a table.

    Parameters
    ----------
    named
        The table under our column names.
    table
        What its columns mean.
    extra
        Columns that only this site has, e.g. its species columns.

    Returns
    -------
    Draft
        With one value column for each column of `table` and `extra`; columns that the file does
        not have are blank throughout.

    Examples
    --------
    >>> from data.raw import RawTable
    >>> from data.schemas import WEATHER
    >>> text = pd.DataFrame({"date": ["2026-03-01", "3/1/26"], "tmin_c": ["2", "1,5"]}, [2, 3])
    >>> named = NamedTable(RawTable("w.csv", text), {"date": "date", "tmin_c": "tmin_c"})
    >>> for finding in draft_of(named, WEATHER).findings:
    ...     print(finding)
    w.csv row 3, column date: '3/1/26' is not a date YYYY-MM-DD; write the date like 2026-05-04, \
or declare date_format under [read] in site.toml [IN-011]
    w.csv row 3, column tmin_c: '1,5' is not a number; use digits and a decimal point only, or set \
decimal = "," under [read] in site.toml [IN-012]
    """
    text = named.raw.text
    columns = (*table.columns, *extra)
    parsed = {column.name: _parse(text, column, named.raw.read) for column in columns}
    values = pd.DataFrame({name: series for name, (series, _) in parsed.items()}, index=text.index)
    draft = Draft(named.raw.file, text, values, named.headers, named.raw.findings)
    faults = [fault for _, found in parsed.values() for fault in found]
    return draft.with_findings([f for fault in faults for f in findings_at(draft, fault)])


def _parse(table: pd.DataFrame, column: Column, read: ReadSettings) -> _Parsed:
    if column.name not in table:
        nothing, dtype = _BLANKS[column.kind]
        return pd.Series([nothing] * len(table), index=table.index, dtype=dtype), []
    text = table[column.name]
    values, faults = _PARSERS[column.kind](text, column, read)
    if column.minor:
        for fault in faults:
            values = values.mask(fault.bad)
        faults = [
            replace(fault, severity="warning", fix=_or_left_blank(fault.fix)) for fault in faults
        ]
    if column.required:
        blank = text == ""
        faults.insert(0, Fault("IN-010", blank, "it is blank", "fill it in", column.name))
    return values, faults


def _or_left_blank(fix: str | Callable[[str], str] | pd.Series[str]) -> Callable[[str], str]:
    words = fix if callable(fix) else lambda _: str(fix)
    return lambda cell: f"{words(cell)}; until then it is read as blank"


def _text(text: pd.Series[str], _column: Column, _read: ReadSettings) -> _Parsed:
    return text, []


def _word(text: pd.Series[str], column: Column, _read: ReadSettings) -> _Parsed:
    unknown = (text != "") & ~text.isin(column.words)
    words = "use one of: " + ", ".join(column.words)
    close = close_names(text[unknown], column.words)
    fault = Fault(
        "IN-014",
        unknown,
        lambda cell: f"{quoted(cell)} is not a known {column.name}",
        lambda cell: asked_back(close.get(cell), words),
        column.name,
    )
    return text, [fault]


def _date(text: pd.Series[str], column: Column, read: ReadSettings) -> _Parsed:
    # A table names each day many times: every spelling is read once.
    codes, spellings = pd.factorize(text)
    days = _days(spellings, read)
    stamps = pd.to_datetime(pd.Series(days.days, dtype=object), errors="coerce")
    stamps = stamps.astype("datetime64[ns]")
    values = pd.Series(stamps.to_numpy()[codes], index=text.index)
    placeless = text.isin(days.no_zone)
    unread = Fault(
        "IN-011",
        (text != "") & values.isna() & ~placeless,
        lambda cell: (
            f"there is no day {quoted(cell)} in the calendar"
            if cell in days.no_day
            else f"{quoted(cell)} is not a date {read.date_format}"
        ),
        lambda cell: _no_day_fix(read) if cell in days.no_day else _date_fix(cell, read),
        column.name,
    )
    unplaced = Fault(
        "IN-090",
        placeless,
        lambda cell: f"{quoted(cell)} names its offset from UTC, so its day depends on the place",
        'set time_zone under [read] in site.toml, e.g. "America/Chicago"',
        column.name,
    )
    return values, [unread, unplaced]


@dataclass(slots=True)
class _Days:
    """The day of each spelling, those that need a time zone, and those of no day at all."""

    days: list[date | None] = field(default_factory=list)
    no_zone: list[str] = field(default_factory=list)
    no_day: set[str] = field(default_factory=set)


def _days(spellings: Iterable[str], read: ReadSettings) -> _Days:
    found = _Days()
    for cell in spellings:
        day = None
        try:
            day = read_day(cell, read.date_format, read.time_zone)
        except NoTimeZoneError:
            found.no_zone.append(cell)
        except NoSuchDayError:
            found.no_day.add(cell)
        except (ValueError, OverflowError):
            pass
        found.days.append(day)
    return found


def _no_day_fix(read: ReadSettings) -> str:
    if read.date_format == ISO:
        return "mend the day or the month"
    return f"mend it, or date_format under [read] in site.toml, now {read.date_format!r}"


def _date_fix(cell: str, read: ReadSettings) -> str:
    if read.date_format != ISO:
        return f"write the date like {read.date_format}, or like 2026-05-04"
    declare = ", or declare date_format under [read] in site.toml" if _SLASHED(cell) else ""
    return f"write the date like 2026-05-04{declare}"


def _number(text: pd.Series[str], column: Column, read: ReadSettings) -> _Parsed:
    floats = _as_float(text, _NUMBERS, read)
    values = floats.where(floats.abs() != float("inf"))
    wrong = Fault(
        "IN-012",
        (text != "") & values.isna(),
        lambda cell: f"{quoted(cell)} is not a number",
        lambda cell: _number_fix(cell, read),
        column.name,
    )
    return values, [wrong, _out_of_range(values, column)]


def _number_fix(cell: str, read: ReadSettings) -> str:
    fix = f"use digits and a decimal {_MARK_WORDS[read.decimal]} only"
    if read.decimal == "," or not _NUMBERS[","](cell):
        return fix
    return f'{fix}, or set decimal = "," under [read] in site.toml'


def _angle(text: pd.Series[str], column: Column, read: ReadSettings) -> _Parsed:
    """Read decimal degrees, or degrees with minutes and seconds."""
    marked = text.map(lambda cell: _ANGLE_SIGNS(cell) is not None).astype(bool)
    values, faults = _number(text.where(~marked, ""), column, read)
    problems: dict[str, str] = {}
    angles: dict[str, float] = {}
    for cell in set(text[marked]):
        try:
            angles[cell] = degrees(cell.replace(read.decimal, "."), column.name)
        except ValueError as error:
            problems[cell] = str(error)
    unread = Fault(
        "IN-080",
        text.isin(list(problems)),
        lambda cell: f"{quoted(cell)} {problems[cell]}",
        "write it like -80.0125, or like 80° 0' 45\" W",
        column.name,
    )
    return values.where(~marked, text.map(angles)).astype("float64"), [*faults, unread]


def _count(text: pd.Series[str], column: Column, read: ReadSettings) -> _Parsed:
    values = _as_float(text, _WHOLES, read)
    wrong = Fault(
        "IN-021",
        (text != "") & values.isna(),
        lambda cell: f"{quoted(cell)} is not a whole number",
        "type the count in digits",
        column.name,
    )
    negative = Fault(
        "IN-022",
        values < 0,
        lambda cell: f"{quoted(cell)} is negative",
        "type the count, or leave it blank on a void visit",
        column.name,
    )
    absurd = Fault(
        "IN-023",
        values > column.high,
        lambda cell: f"{quoted(cell)} is more than {column.high:,.0f}",
        "check the count",
        column.name,
    )
    few = Fault(
        "IN-013",
        (values >= 0) & (values < column.low),
        lambda cell: f"{quoted(cell)} is less than {column.low:.0f}",
        "check the count, or delete the row",
        column.name,
    )
    return values, [wrong, negative, absurd, few]


def _out_of_range(values: pd.Series[float], column: Column) -> Fault:
    return Fault(
        "IN-013",
        (values < column.low) | (values > column.high),
        lambda cell: f"{quoted(cell)} is not between {column.low:g} and {column.high:g}",
        "check the value and its unit",
        column.name,
    )


def _as_float(
    text: pd.Series[str], patterns: Mapping[str, _Matcher], read: ReadSettings
) -> pd.Series[float]:
    # Counts repeat: every spelling is read once.
    cells = text.tolist()
    fits, mark = patterns[read.decimal], read.decimal
    known = {
        cell: float(cell.replace(mark, ".")) if fits(cell) else float("nan") for cell in set(cells)
    }
    return pd.Series([known[cell] for cell in cells], index=text.index, dtype="float64")


_PARSERS: dict[str, Callable[[pd.Series[str], Column, ReadSettings], _Parsed]] = {
    "id": _text,
    "text": _text,
    "word": _word,
    "date": _date,
    "number": _number,
    "angle": _angle,
    "count": _count,
}

_BLANKS: dict[str, tuple[object, str]] = {
    "id": ("", "object"),
    "text": ("", "object"),
    "word": ("", "object"),
    "date": (pd.NaT, "datetime64[ns]"),
    "number": (float("nan"), "float64"),
    "angle": (float("nan"), "float64"),
    "count": (float("nan"), "float64"),
}
"""What a column holds that the file does not have."""
