"""Whether daily temperatures can be in the unit that their columns name.

Three things tell: how hot the days are, how hot they are in the cold months of the place, and how
far apart the lowest and the highest temperature of a day lie. The bars below are from memory and
leave a margin to what the hottest, the coldest and the driest places are known to have.
"""

from __future__ import annotations

import pandas as pd

from data.findings import Severity

FEWEST_DAYS = 5
"""Fewer days tell nothing about the unit."""

MONTHS_OF_DAYS = 90
"""So many days hold some warm ones wherever turf is kept (common practice, no source)."""

HOTTEST_MEDIAN_C = 45.0
"""No place on earth has a median daily maximum above this (from memory: the highest monthly means
of daily maxima are near 46 C)."""

HOTTEST_COLD_MONTHS_C = 30.0
"""Nor one above this in the five coldest months, outside the tropics (from memory: the warmest
means of March north of 25 degrees are near 28 C)."""

TROPICS_DEG = 25.0

WIDEST_RANGE_C = 25.0
"""Nor is the median range of a day wider than this (from memory: the widest monthly means are near
20 C)."""

NARROWEST_RANGE_C = 2.0
"""Nor is it narrower than this where turf is kept (common practice, no source)."""

COLDEST_UPPER_F = 45.0
"""Nine in ten daily maxima under this, through several months, are rather degrees Celsius."""

COLDEST_WARM_MONTHS_F = 50.0
"""A median under this in the five warmest months is rather in degrees Celsius."""

FROZEN_MEDIAN_F, FROZEN_RANGE_F = 25.0, 15.0
"""Days so cold are dry and clear, and their range is wider than this; degrees Celsius are not."""

_COLD_MONTHS, _WARM_MONTHS = (11, 12, 1, 2, 3), (5, 6, 7, 8, 9)

_LARGEST_F = 140.0

Slip = tuple[str, str, str, Severity]
"""Code, problem, fix and severity of a finding."""


def unit_slip(rows: pd.DataFrame, celsius: bool, latitude: float | None = None) -> Slip | None:
    """Return what is wrong with the unit of daily temperatures, or None.

    Parameters
    ----------
    rows
        `date`, `low` and `high` of each day, in the unit that the columns name.
    celsius
        Whether that is degrees Celsius; degrees Fahrenheit otherwise.
    latitude
        Of the place, in degrees; None when it is unknown.

    Examples
    --------
    >>> days = pd.date_range("2026-02-01", periods=60)
    >>> unit_slip(pd.DataFrame({"date": days, "low": 30.5, "high": 50.5}), True)[:2]
    ('IN-074', 'half of the highest temperatures are above 50.5: these are degrees Fahrenheit')
    >>> unit_slip(pd.DataFrame({"date": days, "low": -1.5, "high": 9.5}), True) is None
    True
    """
    rows = rows.dropna(subset="high")
    if len(rows) < FEWEST_DAYS:
        return None
    return _not_celsius(rows, latitude) if celsius else _not_fahrenheit(rows, latitude)


def _not_celsius(rows: pd.DataFrame, latitude: float | None) -> Slip | None:
    said = _too_hot_or_wide(rows, latitude)
    if said is None:
        return None
    spread = _range(rows)
    tenths = _is_whole(rows) and spread >= 10 * NARROWEST_RANGE_C
    upper = float(rows["high"].quantile(0.9))
    fahrenheit = upper <= _LARGEST_F and spread <= 1.8 * WIDEST_RANGE_C
    name = "name the columns tmin_f and tmax_f"
    if tenths and fahrenheit:
        problem = f"{said}: these are degrees Fahrenheit or tenths of a degree Celsius"
        return "IN-074", problem, f"if Fahrenheit, {name}; if tenths, divide them by ten", "error"
    if tenths or (_is_whole(rows) and not fahrenheit):
        return "IN-073", f"{said}: these are tenths of a degree", "divide them by ten", "error"
    return "IN-074", f"{said}: these are degrees Fahrenheit", name, "error"


def _too_hot_or_wide(rows: pd.DataFrame, latitude: float | None) -> str | None:
    """Say why temperatures cannot be degrees Celsius; None when they can."""
    middle = float(rows["high"].median())
    if middle > HOTTEST_MEDIAN_C:
        return f"half of the highest temperatures are above {middle:g}"
    cold = _in_months(rows, _COLD_MONTHS, latitude)["high"]
    if len(cold) >= FEWEST_DAYS and cold.median() > HOTTEST_COLD_MONTHS_C:
        return f"half of the highest temperatures of the cold months are above {cold.median():g}"
    spread = _range(rows)
    if spread > WIDEST_RANGE_C:
        return f"on half of the days highest and lowest are more than {spread:g} apart"
    return None


def _not_fahrenheit(rows: pd.DataFrame, latitude: float | None) -> Slip | None:
    highest, spread = rows["high"], _range(rows)
    middle, upper = float(highest.median()), float(highest.quantile(0.9))
    if _is_whole(rows) and (upper > 1.5 * _LARGEST_F or spread > 1.8 * WIDEST_RANGE_C):
        wide = f"on half of the days highest and lowest are more than {spread:g} apart"
        hot = f"half of the highest temperatures are above {middle:g}"
        said = wide if spread > 1.8 * WIDEST_RANGE_C else hot
        fix = "divide them by ten, and name the columns by their unit"
        return "IN-073", f"{said}: these are tenths of a degree", fix, "error"
    fix = "if they are degrees Celsius, name the columns tmin_c and tmax_c"
    if upper < COLDEST_UPPER_F and len(rows) >= MONTHS_OF_DAYS:
        problem = f"nine in ten of the highest temperatures are below {upper:g} F"
        return "IN-074", problem, fix, "warning"
    warm = _in_months(rows, _WARM_MONTHS, latitude)["high"]
    if len(warm) >= FEWEST_DAYS and warm.median() < COLDEST_WARM_MONTHS_F:
        problem = f"half of the highest temperatures of warm months are below {warm.median():g} F"
        return "IN-074", problem, fix, "warning"
    if middle < FROZEN_MEDIAN_F and spread < FROZEN_RANGE_F and upper < COLDEST_UPPER_F:
        problem = f"half of the days stay below {middle:g} F, within {spread:g} degrees"
        return "IN-074", problem, fix, "warning"
    return None


def _range(rows: pd.DataFrame) -> float:
    """Return the median range of a day, zero when no day has both temperatures."""
    ranges = (rows["high"] - rows["low"]).dropna()
    return float(ranges.median()) if len(ranges) else 0.0


def _is_whole(rows: pd.DataFrame) -> bool:
    values = pd.concat([rows["low"], rows["high"]]).dropna()
    return bool((values == values.round()).all())


def _in_months(
    rows: pd.DataFrame, northern: tuple[int, ...], latitude: float | None
) -> pd.DataFrame:
    """Return the days in months of the northern half, or of the same season in the southern."""
    if latitude is None or abs(latitude) < TROPICS_DEG:
        return rows.iloc[:0]
    months = [(month + 5) % 12 + 1 for month in northern] if latitude < 0 else list(northern)
    inside: pd.DataFrame = rows[rows["date"].dt.month.isin(months)]
    return inside
