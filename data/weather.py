"""Checking daily temperatures and bringing them to degrees Celsius."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import pandas as pd

from data.checks import Draft, Fault, findings_at, quoted, rows_of, run_checks
from data.findings import Finding, InputError
from data.observation import observation_findings
from data.raw import NamedTable
from data.schemas import WEATHER, Column
from data.settings import Observed
from data.temperature_units import unit_slip
from data.values import draft_of

_CELSIUS = ("tmin_c", "tmax_c")
_FAHRENHEIT = ("tmin_f", "tmax_f")

MM_PER_INCH = 25.4


def check_weather(
    named: NamedTable, observed: Observed = "midnight", latitude: float | None = None
) -> Draft:
    """Check the weather of a site.

    Parameters
    ----------
    named
        The table under our column names; the unit is in the names of its two columns.
    observed
        When the station is read.
    latitude
        Of the site, in degrees; None when it is unknown.

    Returns
    -------
    Draft
        With `date`, `tmin_c`, `tmax_c`, `rain_mm` and `observed_at`, one row for each reading; the
        highs of a morning station are moved by `data.observation.to_days`.

    Raises
    ------
    InputError
        When both pairs of columns are there, or rain in two units.
    """
    _refuse_two_units(named)
    pair = temperature_columns(named.raw.text.columns)

    def column(given: Column) -> Column:
        return replace(given, required=given.required or given.name in pair)

    table = replace(WEATHER, columns=tuple(column(given) for given in WEATHER.columns))
    draft = _with_unit(draft_of(named, table), pair, latitude)
    draft = run_checks(draft, [_one_row_a_day, _missing_days])
    draft = draft.with_findings(_crossed(draft, pair))
    draft = draft.with_findings(observation_findings(draft, pair, observed))
    low, high = (draft.typed[name] for name in pair)
    if pair == _FAHRENHEIT:
        low, high = fahrenheit_to_celsius(low), fahrenheit_to_celsius(high)
    rain_mm = draft.typed["rain_mm"].fillna(MM_PER_INCH * draft.typed["rain_in"])
    typed = draft.typed[["date"]].assign(tmin_c=low, tmax_c=high, rain_mm=rain_mm)
    return replace(draft, typed=typed.assign(observed_at=draft.typed["observed_at"]))


def fahrenheit_to_celsius(degrees: pd.Series[float]) -> pd.Series[float]:
    """Convert temperatures, exactly: C = (F - 32) / 1.8.

    Examples
    --------
    >>> list(fahrenheit_to_celsius(pd.Series([32.0, 212.0])))
    [0.0, 100.0]
    """
    return (degrees - 32) / 1.8


def temperature_columns(names: Collection[str]) -> tuple[str, ...]:
    """Return the pair of columns that holds the temperatures; Celsius when there is none.

    Examples
    --------
    >>> temperature_columns(["date", "tmin_f"]), temperature_columns([])
    (('tmin_f', 'tmax_f'), ('tmin_c', 'tmax_c'))
    """
    found = [pair for pair in (_CELSIUS, _FAHRENHEIT) if any(name in names for name in pair)]
    return found[0] if found else _CELSIUS


def _refuse_two_units(named: NamedTable) -> None:
    text, file = named.raw.text, named.raw.file
    if all(any(name in text for name in pair) for pair in (_CELSIUS, _FAHRENHEIT)):
        problem = "temperatures are there in two units"
        raise InputError([Finding("IN-009", file, problem, "keep one pair", row=1)])
    if "rain_mm" in text and "rain_in" in text:
        problem = "rain is there in two units"
        raise InputError([Finding("IN-009", file, problem, "keep one of the two", row=1)])


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
        "add them; up to 3 in a row are filled, and no degree-days are summed across more",
        "date",
        "warning",
    )
    return findings_at(draft, fault)


def _with_unit(draft: Draft, pair: tuple[str, ...], latitude: float | None) -> Draft:
    """Say once, for the whole file, that its temperatures are in another unit than declared."""
    low, high = (draft.typed[name] for name in pair)
    readings = pd.DataFrame({"date": draft.typed["date"], "low": low, "high": high})
    slip = unit_slip(readings, pair == _CELSIUS, latitude)
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
