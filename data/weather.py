"""Checking daily temperatures and bringing them to degrees Celsius."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from data.checks import Draft, Fault, findings_at, quoted, rows_of, run_checks
from data.columns import missing_columns
from data.findings import Finding, InputError, Severity
from data.raw import NamedTable
from data.schemas import WEATHER, Column
from data.values import draft_of

FEWEST_DAYS = 5
"""Fewer days tell nothing about the unit."""

MONTHS_OF_DAYS = 90
"""So many days hold some warm ones wherever turf is kept (common practice, no source)."""

HOTTEST_MEDIAN_C = 45.0
"""No place on earth has a median daily maximum above this (from memory: the highest monthly means
of daily maxima are near 46 C)."""

COLDEST_UPPER_F = 45.0
"""Nine in ten daily maxima under this, through several months, are rather degrees Celsius."""

_CELSIUS = ("tmin_c", "tmax_c")
_FAHRENHEIT = ("tmin_f", "tmax_f")


def check_weather(named: NamedTable) -> Draft:
    """Check the weather of a site.

    Parameters
    ----------
    named
        The table under our column names; the unit is in the names of its two columns.

    Returns
    -------
    Draft
        With `date`, `tmin_c` and `tmax_c`.

    Raises
    ------
    InputError
        When neither pair of columns is there, or both are.
    """
    pair = _temperature_columns(named)

    def column(given: Column) -> Column:
        return replace(given, required=given.required or given.name in pair)

    table = replace(WEATHER, columns=tuple(column(given) for given in WEATHER.columns))
    draft = _with_unit(draft_of(named, table), pair)
    draft = run_checks(draft, [_one_row_a_day, _missing_days])
    draft = draft.with_findings(_crossed(draft, pair))
    low, high = (draft.typed[name] for name in pair)
    if pair == _FAHRENHEIT:
        low, high = fahrenheit_to_celsius(low), fahrenheit_to_celsius(high)
    typed = pd.DataFrame({"date": draft.typed["date"], "tmin_c": low, "tmax_c": high})
    return replace(draft, typed=typed)


def fahrenheit_to_celsius(degrees: pd.Series[float]) -> pd.Series[float]:
    """Convert temperatures, exactly: C = (F - 32) / 1.8.

    Examples
    --------
    >>> list(fahrenheit_to_celsius(pd.Series([32.0, 212.0])))
    [0.0, 100.0]
    """
    return (degrees - 32) / 1.8


def _temperature_columns(named: NamedTable) -> tuple[str, ...]:
    text, file = named.raw.text, named.raw.file
    pairs = [pair for pair in (_CELSIUS, _FAHRENHEIT) if any(name in text for name in pair)]
    if len(pairs) > 1:
        problem = "temperatures are there in two units"
        raise InputError([Finding("IN-009", file, problem, "keep one pair", row=1)])
    pair = pairs[0] if pairs else _CELSIUS
    missing = [name for name in pair if name not in text]
    if missing:
        raise missing_columns(named, missing)
    return pair


def _one_row_a_day(draft: Draft) -> list[Finding]:
    days = draft.typed["date"]
    fault = Fault(
        "IN-071",
        days.notna() & days.duplicated(),
        lambda cell: f"{quoted(cell)} is there twice",
        "keep one row for each day",
        "date",
    )
    return findings_at(draft, fault)


def _crossed(draft: Draft, pair: tuple[str, ...]) -> list[Finding]:
    low, high = pair
    fault = Fault(
        "IN-070",
        draft.typed[low] > draft.typed[high],
        lambda cell: f"{quoted(cell)} is above the highest temperature of the day",
        "check the two temperatures",
        low,
    )
    return findings_at(draft, fault)


def _missing_days(draft: Draft) -> list[Finding]:
    """Report each run of days that are not there, on the first row after it."""
    # A day whose own row has a mistake is there; only a wrong date may hide one.
    days = draft.typed["date"].dropna().drop_duplicates().sort_values()
    missing = days.diff().dt.days - 1
    gap = missing[missing > 0]
    wrong = draft.typed["date"].isna() | draft.typed["date"].duplicated()
    hidden = set(draft.typed.index[wrong])
    gap = gap[[not ({row - 1, row - n} & hidden) for row, n in gap.astype(int).items()]]
    fault = Fault(
        "IN-072",
        rows_of(draft, gap.index),
        gap.map("days missing before this one: {:.0f}".format),
        "add them; degree-days cannot be summed across missing days",
        "date",
        "warning",
    )
    return findings_at(draft, fault)


def _with_unit(draft: Draft, pair: tuple[str, ...]) -> Draft:
    """Say once, for the whole file, that its temperatures are in another unit than declared."""
    slip = _unit_slip(draft, pair)
    if slip is None:
        return draft
    code, problem, fix, severity = slip
    columns = {draft.headers.get(name) for name in pair}
    # The ranges of single cells would say the same on every row.
    kept = [f for f in draft.findings if not (f.code == "IN-013" and f.column in columns)]
    finding = Finding(
        code,
        draft.file,
        problem,
        fix,
        severity=severity,
        column=draft.headers[pair[1]],
    )
    return replace(draft, findings=(*kept, finding))


def _unit_slip(draft: Draft, pair: tuple[str, ...]) -> tuple[str, str, str, Severity] | None:
    highest = draft.typed[pair[1]].dropna()
    if len(highest) < FEWEST_DAYS:
        return None
    middle, upper = float(highest.median()), float(highest.quantile(0.9))
    celsius = pair == _CELSIUS
    whole = bool((highest == highest.round()).all())
    said = f"half of the highest temperatures are above {middle:g}"
    if whole and upper > (140 if celsius else 1.5 * 140):
        return "IN-073", f"{said}: these are tenths of a degree", "divide them by ten", "error"
    if celsius and middle > HOTTEST_MEDIAN_C:
        fix = "name the columns tmin_f and tmax_f"
        return "IN-074", f"{said}: these are degrees Fahrenheit, not Celsius", fix, "error"
    if not celsius and upper < COLDEST_UPPER_F and len(highest) >= MONTHS_OF_DAYS:
        problem = f"nine in ten of the highest temperatures are below {upper:g} F"
        fix = "if they are degrees Celsius, name the columns tmin_c and tmax_c"
        return "IN-074", problem, fix, "warning"
    return None
