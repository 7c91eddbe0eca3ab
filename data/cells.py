"""Typed cells of workbooks, layers and JSON as the text a person would type."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date, datetime, time
from typing import Any

import numpy as np
import pandas as pd

from data.settings import Decimal


def cell_text(value: Any, decimal: Decimal = ".") -> str:
    """Write one value as a person would type it.

    Parameters
    ----------
    value
        A value of a workbook, a layer or JSON.
    decimal
        The decimal mark that people of this site type.

    Examples
    --------
    >>> [cell_text(v) for v in (None, 7.0, 0.5, 1e-07, True, float("nan"), "a ")]
    ['', '7', '0.5', '0.0000001', 'true', '', 'a']
    >>> cell_text(date(2026, 5, 4)), cell_text(datetime(2026, 5, 4)), cell_text(2.5, ",")
    ('2026-05-04', '2026-05-04', '2,5')
    """
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, dict | list):
        return json.dumps(value)
    if not isinstance(value, np.ndarray | bytes) and pd.isna(value):
        return ""
    if isinstance(value, float | np.floating):
        return _number_text(float(value), decimal)
    return _plain_text(value)


def texts(values: Iterable[Any], decimal: Decimal = ".", *, strip: bool = True) -> list[str]:
    """Write many values; each one is written once, for a table repeats them.

    Parameters
    ----------
    values
        Values of a workbook, a layer or JSON.
    decimal
        The decimal mark that people of this site type.
    strip
        Whether the outer blanks of a text are taken off.

    Examples
    --------
    >>> texts([1, True, 1.5, 1.0, None])
    ['1', 'true', '1.5', '1', '']
    """
    known: dict[tuple[type, Any], str] = {}
    written = []
    for value in values:
        if isinstance(value, str):
            written.append(value.strip() if strip else value)
            continue
        if isinstance(value, dict | list | np.ndarray):
            written.append(cell_text(value, decimal))
            continue
        # 1, 1.0 and True are one key of a dict, but not one text.
        key = (type(value), value)
        if key not in known:
            known[key] = cell_text(value, decimal)
        written.append(known[key])
    return written


def _plain_text(value: Any) -> str:
    if isinstance(value, bool | np.bool_):
        return str(value).lower()
    if isinstance(value, datetime | date | time):
        # A date without a time of day is written as people write dates.
        return value.isoformat().removesuffix("T00:00:00")
    return str(value).strip()


def _number_text(value: float, decimal: Decimal) -> str:
    text = f"{value:.0f}" if value.is_integer() else np.format_float_positional(value, trim="-")
    return text.replace(".", decimal)
