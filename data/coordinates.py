"""Positions as people write them: degrees, projected metres or feet, a tape-measured grid, WKT."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyproj
import shapely

from data.findings import Finding, InputError
from data.places import Grid
from data.raw import NamedTable, RawTable
from data.schemas import Table
from data.settings import LocalGridSettings, ReadSettings
from data.toml_text import toml_text

WGS84 = "EPSG:4326"

DEGREES = ("longitude", "latitude")
METRES = ("easting", "northing")
TAPE = ("x_m", "y_m")

COORDINATE_PAIRS = (DEGREES, METRES, TAPE)
"""The pairs of columns that may hold positions; a file has one of them."""

_UNIT_NAMES = {"m": "metre", "ft": "foot", "us_survey_ft": "US survey foot"}

UNITS_M: Mapping[str, float] = {
    ours: pyproj.database.get_units_map()[theirs].conv_factor
    for ours, theirs in _UNIT_NAMES.items()
}
"""Length of each unit in metres, from PROJ's unit table: foot 0.3048, US survey 1200/3937."""

_FEET = re.compile(r"(x|y|easting|northing)[\s_.(-]*(?:ft|feet|foot)\)?", re.IGNORECASE).fullmatch

_LETTERS: Mapping[str, str] = {"longitude": "EW", "latitude": "NS"}

# Signs as keyboards, receivers and word processors make them; escapes tell them apart.
_MARK_DEG = "[d\u00b0\u00ba\u02da]"
_MARK_MIN = "['\u2032\u2019\u2018\u00b4]"
_MARK_SEC = f'(?:["\u2033\u201d\u201c]|{_MARK_MIN}{{2}})'
_MINUS = "\u2212-"
_ANGLE = re.compile(
    rf"(?P<before>[NSEW])?\s*(?P<sign>[+{_MINUS}])?\s*(?P<d>[0-9]{{1,3}}(?:\.[0-9]*)?)"
    rf"(?P<gap>\s*{_MARK_DEG}\s*|\s+|(?=[NSEW]|$))"
    rf"(?:(?P<m>[0-9]{{1,2}}(?:\.[0-9]*)?)(?:\s*{_MARK_MIN}\s*|\s+|(?=[NSEW]|$))"
    rf"(?:(?P<s>[0-9]{{1,2}}(?:\.[0-9]*)?)\s*{_MARK_SEC}?\s*)?)?"
    r"(?P<after>[NSEW])?",
    re.IGNORECASE,
).fullmatch


def degrees(text: str, axis: str) -> float:
    r"""Return an angle written in degrees, minutes and seconds as decimal degrees.

    Parameters
    ----------
    text
        With a degree sign or a letter N, S, E, W; minutes and seconds may be left out, and the last
        part may have decimals.
    axis
        ``"longitude"`` or ``"latitude"``.

    Raises
    ------
    ValueError
        Saying what is wrong.

    Examples
    --------
    >>> degrees("40\u00b0 26\u2032 46.2\u2033 N", "latitude"), degrees("80 0.5 W", "longitude")
    (40.44616666666666, -80.00833333333334)
    """
    match = _ANGLE(text)
    if match is None:
        raise ValueError("is not an angle in degrees, minutes and seconds")
    parts = match.groupdict()
    letter = ((parts["before"] or "") + (parts["after"] or "")).upper()
    _refuse_unclear(parts, letter, axis)
    whole, minutes, seconds = (float(parts[name] or 0) for name in "dms")
    value = whole + minutes / 60 + seconds / 3600
    return -value if letter in ("S", "W") or (parts["sign"] or "+") in _MINUS else value


def _refuse_unclear(parts: Mapping[str, str | None], letter: str, axis: str) -> None:
    d, m, s = (parts[name] for name in "dms")
    if not letter and not (parts["gap"] or "").strip():
        raise ValueError("has neither a degree sign nor a letter N, S, E or W")
    if len(letter) > 1 or (letter and parts["sign"]):
        raise ValueError("says its direction twice")
    if letter and letter not in _LETTERS[axis]:
        raise ValueError(f"is no {axis}, for it says {letter}")
    if (m and "." in str(d)) or (s and "." in str(m)):
        raise ValueError("has decimals before its last part")
    if float(m or 0) >= 60 or float(s or 0) >= 60:
        raise ValueError("has 60 or more minutes or seconds")


def coordinate_pair(named: NamedTable) -> tuple[str, str]:
    """Return the pair of columns that holds the positions; degrees when there is none.

    Raises
    ------
    InputError
        When more than one pair is there, or tape measures lack their grid.
    """
    file = named.raw.file
    pairs = _pairs_in([str(name) for name in named.raw.text])
    if len(pairs) > 1:
        listed = " and ".join(", ".join(pair) for pair in pairs)
        problem = f"{listed} are both there"
        raise InputError([Finding("IN-009", file, problem, "keep one of the two pairs", row=1)])
    pair = pairs[0] if pairs else DEGREES
    if pair == TAPE:
        _refuse_feet_called_metres(named)
    if pair == TAPE and named.raw.local_grid is None:
        fix = "add [local_grid] with origin = [longitude, latitude] and bearing_deg to site.toml"
        problem = "the positions x_m, y_m have no origin"
        raise InputError([Finding("IN-087", file, problem, fix, row=1)])
    return pair


def needed_positions(names: Collection[str]) -> dict[str, str]:
    """Return the columns of positions that a table must have -> how to mend a missing one.

    Parameters
    ----------
    names
        The columns that it has.

    Examples
    --------
    >>> list(needed_positions(["trap_id", "northing"])), needed_positions(["x_ft"])["x_m"]
    (['easting', 'northing'], 'write "x_ft" = "x_m" under [columns.traps] and units = "ft" under \
[read.traps] in site.toml')
    """
    pairs = _pairs_in(names)
    feet = {ours: next((n for n in names if _in_feet(n) == ours), "") for ours in (*TAPE, *METRES)}
    pair = next((each for each in (TAPE, METRES) if any(feet[name] for name in each)), DEGREES)
    if pairs:
        return dict.fromkeys(pairs[0], "")
    fix = 'write {} = "{}" under [columns.traps] and units = "ft" under [read.traps] in site.toml'
    return {
        name: fix.format(toml_text(feet[name]), name) if feet.get(name) else "" for name in pair
    }


def _pairs_in(names: Collection[str]) -> list[tuple[str, str]]:
    return [pair for pair in COORDINATE_PAIRS if any(name in names for name in pair)]


def _in_feet(name: str) -> str:
    """Return which of our columns a name like ``x_ft`` or ``Easting (feet)`` would be in metres."""
    match = _FEET(name)
    if match is None:
        return ""
    word = match[1].lower()
    return f"{word}_m" if word in ("x", "y") else word


def _refuse_feet_called_metres(named: NamedTable) -> None:
    """Refuse tape measures in feet under columns that the file itself calls x_m, y_m."""
    units = named.raw.read.units
    if units not in (None, "m") and any(named.headers.get(name) == name for name in TAPE):
        problem = f"the columns are called {', '.join(TAPE)}, but site.toml says units = {units!r}"
        fix = "rename them and map them under [columns.traps], or take units out of site.toml"
        raise InputError([Finding("IN-103", named.raw.file, problem, fix, row=1)])


def point_shapes(
    typed: pd.DataFrame, pair: tuple[str, str], named: NamedTable, grid: Grid | None
) -> gpd.GeoSeries:
    """Return the positions of a table as points, None where one of the two is blank.

    Parameters
    ----------
    typed
        The two columns as numbers.
    pair
        As `coordinate_pair` gives it.
    named
        The table they come from, with how it was written.
    grid
        The site's own; None when unknown.
    """
    x, y = (typed[name] for name in pair)
    there = x.notna() & y.notna()
    east, north = (series.fillna(0).to_numpy(dtype=float) for series in (x, y))
    crs: str | None = WGS84
    if pair == TAPE and named.raw.local_grid is not None:
        metres = UNITS_M[named.raw.read.units or "m"]
        east, north = from_tape(east * metres, north * metres, named.raw.local_grid)
    elif pair == METRES:
        crs = _projected(named.raw.read, grid)
        factor = unit_factor(named.raw.read.units, crs)
        east, north = east * factor, north * factor
    elif _is_geographic(named.raw.read.crs):
        crs = named.raw.read.crs
    return gpd.GeoSeries.from_xy(east, north, index=typed.index, crs=crs).where(there)


def from_tape(
    x_m: npt.NDArray[np.float64], y_m: npt.NDArray[np.float64], grid: LocalGridSettings
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return longitudes and latitudes of tape-measured positions.

    Parameters
    ----------
    x_m, y_m
        Metres to the right of the baseline and along it; shape (n,).
    grid
        Where the baseline starts and points.

    Returns
    -------
    longitude, latitude : ndarray, shape (n,)
        On WGS 84.

    Notes
    -----
    Each position is reached along the geodesic from the origin (Karney, C.F.F. 2013, Algorithms for
    geodesics, J. Geodesy 87:43-55), so its distance from the peg is the tape's.

    Examples
    --------
    >>> grid = LocalGridSettings((-80.0, 40.0), bearing_deg=90.0)
    >>> lon, lat = from_tape(np.array([0.0]), np.array([100.0]), grid)
    >>> round(float(lon[0]), 5), round(float(lat[0]), 5)
    (-79.99883, 40.0)
    """
    bearing = grid.bearing_deg + np.degrees(np.arctan2(x_m, y_m))
    start = (np.full(len(x_m), grid.origin[0]), np.full(len(x_m), grid.origin[1]))
    longitude, latitude, _ = pyproj.Geod(ellps="WGS84").fwd(*start, bearing, np.hypot(x_m, y_m))
    return np.asarray(longitude), np.asarray(latitude)


def unit_factor(units: str | None, crs: str | None) -> float:
    """Return what a coordinate is multiplied with to be in the unit of its CRS.

    Examples
    --------
    >>> round(unit_factor("us_survey_ft", "EPSG:32617"), 12), unit_factor(None, "EPSG:2263")
    (0.304800609601, 1.0)
    """
    if units is None:
        return 1.0
    axes = pyproj.CRS.from_user_input(crs).axis_info if crs else []
    own = axes[0].unit_conversion_factor if axes else 1.0
    return UNITS_M[units] / own


def with_shapes(named: NamedTable, table: Table) -> NamedTable:
    """Give a plain table of a shape layer its shapes, from its column `wkt`.

    Raises
    ------
    InputError
        When the table must have shapes, and has neither these nor, for traps, coordinates.
    """
    raw = named.raw
    if not table.shape or raw.geometry is not None:
        return named
    if "wkt" in raw.text:
        cells = raw.text["wkt"]
        # A collection is of the wrong kind anyway, and a deep one overflows the reader's stack.
        plain = cells.where(~cells.str.contains("COLLECTION", case=False)).replace("", None)
        shapes = shapely.force_2d(shapely.from_wkt(plain.to_numpy(dtype=object), "ignore"))
        geometry = gpd.GeoSeries(shapes, index=cells.index, crs=raw.read.crs or WGS84)
        return replace(named, raw=replace(raw, geometry=geometry))
    if table.shape == "point":
        return named
    fix = "save it as GeoJSON or GeoPackage, or add a column wkt"
    raise InputError([Finding("IN-060", raw.file, "the table has no shapes", fix)])


def with_design(raw: RawTable, table: Table, aliases: Mapping[str, str]) -> RawTable:
    """Fill in the declared design of traps for which the file names none, as a receiver's."""
    design = raw.read.design
    if design is None or table.shape != "point":
        return raw
    written = [str(name) for name in raw.text if aliases.get(str(name), str(name)) == "design"]
    if len(written) > 1:
        return raw
    name = written[0] if written else "design"
    cells = raw.text[name].replace("", design.strip()) if written else design.strip()
    return replace(raw, text=raw.text.assign(**{name: cells}))


def _projected(read: ReadSettings, grid: Grid | None) -> str | None:
    if read.crs is not None and not _is_geographic(read.crs):
        return read.crs
    return None if grid is None else grid.crs


def _is_geographic(crs: str | None) -> bool:
    return crs is not None and bool(pyproj.CRS.from_user_input(crs).is_geographic)
