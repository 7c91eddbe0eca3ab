"""Checking traps: their positions and the time each stood at its place."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import shapely

from data.checks import Draft, Fault, findings_at, quoted, rows_of, run_checks
from data.coordinates import coordinate_pair, point_shapes
from data.findings import Finding
from data.ids import id_checks
from data.places import Grid, as_array, point_findings, shapes_of
from data.raw import NamedTable
from data.schemas import TRAPS, Column, Table
from data.values import draft_of
from data.zones import PLACE_COLUMNS, in_metres, shape_checks, shape_draft

NEAREST_M = 5.0
"""Two traps nearer than this take beetles from each other, or are one trap entered twice (common
practice, no source)."""

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
        When there is more than one pair of coordinate columns, or tape measures have no origin.
    """
    draft = _with_shapes(named) if named.raw.geometry is not None else _with_points(named, grid)
    if grid is not None:
        draft = draft.with_findings(_positions(draft, grid))
    draft = run_checks(draft, [_removed_too_early, *id_checks("trap_id")])
    if grid is not None:
        draft = in_metres(draft, grid)
    return run_checks(draft, [_overlapping_lives])


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
    pair = coordinate_pair(named)
    draft = draft_of(named, _requiring(pair))
    points = point_shapes(draft.typed, pair, named, grid)
    return replace(draft, typed=draft.typed.assign(geometry=points))


def _requiring(names: tuple[str, ...]) -> Table:
    def column(given: Column) -> Column:
        return replace(given, required=given.required or given.name in names)

    return replace(TRAPS, columns=tuple(column(given) for given in TRAPS.columns))


def _positions(draft: Draft, grid: Grid) -> list[Finding]:
    placed = draft.good(*PLACE_COLUMNS)
    rows = set(placed.index[placed])
    return [finding for finding in point_findings(draft, grid) if finding.row in rows]


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
    """Report each row of a trap that starts before an earlier row of it has ended.

    One in the same place is a copy and is set aside alone.
    """
    # Bad dates are blank here; their rows are left out, or a slip would look like a second trap.
    wrong_life = {finding.row for finding in draft.findings if finding.code in ("IN-011", "IN-035")}
    rows = draft.typed[draft.good(*PLACE_COLUMNS)]
    rows = rows.loc[~rows.index.isin(list(wrong_life))]
    rows = rows[rows["trap_id"] != ""]
    rows = rows.assign(start=rows["installed"].fillna(ALWAYS), end=rows["removed"].fillna(STILL))
    rows = rows.assign(row=rows.index).sort_values(["trap_id", "start", "row"])
    before = rows.groupby("trap_id")["end"].cummax().groupby(rows["trap_id"]).shift()
    clash = rows.index[rows["start"] < before]
    twice = _in_one_place(draft, rows, clash)
    apart = _clashing(rows.drop(index=twice))
    faults = [
        Fault(
            "IN-041",
            rows_of(draft, twice),
            lambda cell: f"trap {quoted(cell)} is there twice, at one place and time",
            "delete one of the two rows",
            "trap_id",
        ),
        Fault(
            "IN-042",
            rows_of(draft, apart),
            lambda cell: f"trap {quoted(cell)} stands in another place at the same time",
            "give each trap its own id; for a moved trap, end one row before the next begins; "
            "while they clash, neither counts",
            "trap_id",
        ),
    ]
    return [finding for fault in faults for finding in findings_at(draft, fault)]


def _clashing(rows: pd.DataFrame) -> pd.Index[int]:
    """Return the rows whose time overlaps with another row of their trap.

    Which of them is right cannot be told from the file.

    Parameters
    ----------
    rows
        `trap_id`, `start` and `end`, in the order of trap and start.
    """
    before = rows.groupby("trap_id")["end"].cummax().groupby(rows["trap_id"]).shift()
    after = rows.groupby("trap_id")["start"].shift(-1)
    return rows.index[(rows["start"] < before) | (after < rows["end"])]


def _in_one_place(draft: Draft, rows: pd.DataFrame, clash: pd.Index[int]) -> pd.Index[int]:
    """Return the rows that repeat the place of their trap's first row."""
    shapes = shapes_of(draft)
    if shapes.crs is None or not shapes.crs.is_projected:
        return clash[:0]
    first = rows["row"].groupby(rows["trap_id"]).transform("first").loc[clash]
    places = pd.Series(as_array(shapes), shapes.index, dtype=object)
    metres = shapely.distance(places.loc[first].to_numpy(), places.loc[clash].to_numpy())
    return clash[metres <= NEAREST_M]
