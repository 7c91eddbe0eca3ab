"""Checking traps: their positions and the time each stood at its place."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import pandas as pd

from data.checks import Draft, Fault, findings_at, quoted, run_checks
from data.columns import missing_columns
from data.findings import Finding, InputError
from data.places import Grid, point_findings
from data.raw import NamedTable
from data.schemas import TRAPS, Column, Table
from data.shapes import WGS84
from data.values import draft_of
from data.zones import in_metres, shape_checks, shape_draft

_DEGREES = ("longitude", "latitude")
_METRES = ("easting", "northing")

ALWAYS = pd.Timestamp("1900-01-01")
"""Stands for a blank installed date."""

STILL = pd.Timestamp("2100-01-01")
"""Stands for a blank removed date."""


def check_traps(named: NamedTable, grid: Grid | None) -> Draft:
    """Check the traps and bring them into the site's CRS.

    Parameters
    ----------
    named
        The traps under our column names, with point shapes or coordinate columns.
    grid
        Where the zones are; None when unknown.

    Returns
    -------
    Draft
        With a point `geometry`.

    Raises
    ------
    InputError
        When there is no position, or more than one pair of coordinate columns.
    """
    draft = _with_shapes(named) if named.raw.geometry is not None else _with_points(named, grid)
    if grid is not None:
        draft = draft.with_findings(_positions(draft, grid))
    draft = run_checks(draft, [_removed_too_early, _overlapping_lives])
    return draft if grid is None else in_metres(draft, grid)


def locations(draft: Draft) -> pd.DataFrame:
    """Name the place of every sound trap row.

    Parameters
    ----------
    draft
        The checked traps.

    Returns
    -------
    pandas.DataFrame
        The sound rows sorted by `trap_id` and `installed`, with a `location_id`: the trap's id, or
        ``"T07/1"``, ``"T07/2"`` for a trap that moved.
    """
    rows = draft.sound.assign(first_day=lambda t: t["installed"].fillna(ALWAYS))
    rows = rows.sort_values(["trap_id", "first_day"], kind="stable").drop(columns="first_day")
    by_trap = rows.groupby("trap_id")
    moved = by_trap["trap_id"].transform("size") > 1
    numbers = by_trap.cumcount() + 1
    names = rows["trap_id"].where(~moved, rows["trap_id"] + "/" + numbers.astype(str))
    return rows.assign(location_id=names)


def _with_shapes(named: NamedTable) -> Draft:
    return run_checks(shape_draft(named, TRAPS), shape_checks(TRAPS))


def _with_points(named: NamedTable, grid: Grid | None) -> Draft:
    pair = _coordinate_columns(named)
    draft = draft_of(named, _requiring(pair))
    x, y = (draft.typed[name] for name in pair)
    crs = WGS84 if pair == _DEGREES else None if grid is None else grid.crs
    there = x.notna() & y.notna()
    points = gpd.GeoSeries.from_xy(x.fillna(0), y.fillna(0), index=x.index, crs=crs).where(there)
    return replace(draft, typed=draft.typed.assign(geometry=points))


def _coordinate_columns(named: NamedTable) -> tuple[str, ...]:
    text, file = named.raw.text, named.raw.file
    pairs = [pair for pair in (_DEGREES, _METRES) if any(name in text for name in pair)]
    if len(pairs) > 1:
        problem = "longitude, latitude and easting, northing are both there"
        raise InputError([Finding("IN-009", file, problem, "keep one of the two pairs", row=1)])
    pair = pairs[0] if pairs else _DEGREES
    missing = [name for name in pair if name not in text]
    if missing:
        raise missing_columns(named, missing)
    return pair


def _requiring(names: tuple[str, ...]) -> Table:
    def column(given: Column) -> Column:
        return replace(given, required=given.required or given.name in names)

    return replace(TRAPS, columns=tuple(column(given) for given in TRAPS.columns))


def _positions(draft: Draft, grid: Grid) -> list[Finding]:
    already = draft.bad_rows
    return [finding for finding in point_findings(draft, grid) if finding.row not in already]


def _removed_too_early(draft: Draft) -> list[Finding]:
    traps = draft.typed
    fault = Fault(
        "IN-035",
        traps["removed"] <= traps["installed"],
        lambda cell: f"{quoted(cell)} is not after the day the trap was installed",
        "mend one of the two dates",
        "removed",
    )
    return findings_at(draft, fault)


def _overlapping_lives(draft: Draft) -> list[Finding]:
    """Report each row of a trap that starts before an earlier row of it has ended."""
    # Bad dates are blank here; their rows are left out, or a slip would look like a second trap.
    wrong_life = {finding.row for finding in draft.findings if finding.code in ("IN-011", "IN-035")}
    rows = draft.typed.loc[~draft.typed.index.isin(list(wrong_life))]
    rows = rows[rows["trap_id"] != ""]
    rows = rows.assign(start=rows["installed"].fillna(ALWAYS), end=rows["removed"].fillna(STILL))
    rows = rows.assign(row=rows.index).sort_values(["trap_id", "start", "row"])
    before = rows.groupby("trap_id")["end"].cummax().groupby(rows["trap_id"]).shift()
    clash = (rows["start"] < before).reindex(draft.typed.index, fill_value=False)
    fault = Fault(
        "IN-042",
        clash,
        lambda cell: f"trap {quoted(cell)} stands in another place at the same time",
        "give each trap its own id; for a moved trap, end one row before the next begins",
        "trap_id",
    )
    return findings_at(draft, fault)
