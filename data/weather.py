"""Checking daily temperatures and bringing them to degrees Celsius."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from data.checks import Draft, Fault, findings_at, quoted, run_checks
from data.columns import missing_columns
from data.findings import Finding, InputError
from data.raw import NamedTable
from data.schemas import WEATHER, Column
from data.values import draft_of

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
    draft = run_checks(draft_of(named, table), [_one_row_a_day])
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
