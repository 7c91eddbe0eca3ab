"""What the options under `[read]` in site.toml may say."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from zoneinfo import ZoneInfo

import pyproj
from pyproj.exceptions import CRSError

from data.coordinates import UNITS_M
from data.dates import is_date_format
from data.encodings import ENCODINGS
from data.suggestions import did_you_mean

_EPSG = re.compile(r"EPSG:[0-9]{4,6}").fullmatch


def option_problem(option: str, value: object) -> str:
    """Say why an option cannot have a value; blank when it can.

    Parameters
    ----------
    option
        A field of `data.settings.ReadSettings`.
    value
        As a TOML parser reads it.

    Examples
    --------
    >>> option_problem("decimal", ","), option_problem("decimal", ":")
    ('', "expected '.' or ',', found ':'")
    """
    if option == "allow_large":
        return "" if isinstance(value, bool) else f"expected true or false, found {value!r}"
    if not isinstance(value, str):
        return f"expected text in quotation marks, found {value!r}"
    return _PROBLEMS[option](value)


def _one_of(*words: str) -> Callable[[str], str]:
    listed = " or ".join(map(repr, words))

    def problem(value: str) -> str:
        return "" if value in words else f"expected {listed}, found {value!r}"

    return problem


def _date_format(value: str) -> str:
    if is_date_format(value):
        return ""
    return f'expected a format like "DD/MM/YYYY" or "M/D/YY", found {value!r}'


def _encoding(value: str) -> str:
    if value.lower() in ENCODINGS:
        return ""
    hint = did_you_mean(value, ENCODINGS, "it may be one of " + ", ".join(ENCODINGS))
    return f"{value!r} is not an encoding that is read; {hint}"


def _crs(value: str) -> str:
    if not _EPSG(value):
        return f'expected an EPSG code like "EPSG:2263", found {value!r}'
    try:
        crs = pyproj.CRS.from_user_input(value)
    except CRSError:
        return f"{value} is not a known coordinate system; check the number"
    if crs.is_projected or (crs.is_geographic and len(crs.axis_info) == 2):
        return ""
    return f"{value} ({crs.name}) is not a system of positions on a map"


def _time_zone(value: str) -> str:
    try:
        ZoneInfo(value)
    except (ValueError, OSError, KeyError):
        return f'expected a time zone like "America/Chicago", found {value!r}'
    return ""


def _design(value: str) -> str:
    return "" if value.strip() else "it is blank; name the design, e.g. 'cup'"


_PROBLEMS: Mapping[str, Callable[[str], str]] = {
    "date_format": _date_format,
    "decimal": _one_of(".", ","),
    "encoding": _encoding,
    "delimiter": _one_of(",", ";", "\t"),
    "crs": _crs,
    "units": _one_of(*UNITS_M),
    "time_zone": _time_zone,
    "design": _design,
}
