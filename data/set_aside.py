"""Rows that were set aside, whole and as typed, and how many rows each table rests on."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import pandas as pd
import shapely

from data.checks import Draft
from data.findings import Finding
from data.raw import RawTable


@dataclass(frozen=True, slots=True)
class SetAsideRow:
    """One row that counts nowhere.

    Parameters
    ----------
    finding
        Why: its first error, or the error elsewhere that takes it along.
    cells
        Column of the file -> what was typed, outer blanks and surplus cells included; the shape of
        a feature is there as `wkt`, in the CRS of its file.
    trap_id
        The trap that the row would have placed; blank in other tables than the traps.
    """

    finding: Finding
    cells: Mapping[str, str]
    trap_id: str = ""


@dataclass(frozen=True, slots=True)
class Tally:
    """How many rows of one file count.

    Parameters
    ----------
    file
        File name, with its sheet or layer where it holds several.
    read, used, set_aside, out_of_season
        Rows; ``read = used + set_aside + out_of_season``. A visit out of season holds no mistake
        and is exported, but no figure rests on it.
    """

    file: str
    read: int
    used: int
    set_aside: int
    out_of_season: int = 0


@dataclass(frozen=True, slots=True)
class Account:
    """What became of every row of a site.

    Parameters
    ----------
    tallies
        One for each file, in the order in which they are read.
    rows
        Every row set aside, by file and row.
    """

    tallies: tuple[Tally, ...] = ()
    rows: tuple[SetAsideRow, ...] = ()

    @property
    def count(self) -> int:
        """Rows set aside, of all files."""
        return len(self.rows)

    @property
    def out_of_season(self) -> int:
        """Rows without a mistake that lie outside every season, of all files."""
        return sum(each.out_of_season for each in self.tallies)

    @property
    def traps(self) -> tuple[str, ...]:
        """Names of the traps of which a row was set aside, sorted."""
        return tuple(sorted({row.trap_id for row in self.rows} - {""}))


def account_of(
    drafts: Iterable[Draft | None],
    used: Mapping[str, Iterable[int]],
    raws: Mapping[str, RawTable] | None = None,
    unread: Mapping[str, Finding] | None = None,
) -> Account:
    """Tell what became of every row.

    Parameters
    ----------
    drafts
        The checked tables.
    used
        File -> rows that count, where that is not simply every row without an error.
    raws
        File -> its rows as they were read; of other files the text of the draft is kept.
    unread
        File that made no table -> why; none of its rows counts.

    Examples
    --------
    >>> import pandas as pd
    >>> text = pd.DataFrame({"trap_id": ["T01", "T99"]}, index=[2, 3])
    >>> wrong = Finding("IN-040", "visits.csv", "unknown", "mend it", row=3, column="Trap")
    >>> draft = Draft("visits.csv", text, text, {"trap_id": "Trap"}, (wrong,))
    >>> account = account_of([draft], {})
    >>> account.tallies
    (Tally(file='visits.csv', read=2, used=1, set_aside=1, out_of_season=0),)
    >>> account.rows[0].cells
    {'Trap': 'T99'}
    """
    raw = raws or {}
    parts = [
        _table(draft, used.get(draft.file), raw.get(draft.file))
        for draft in drafts
        if draft is not None
    ]
    parts += [_refused(file, raw.get(file), why) for file, why in (unread or {}).items()]
    return Account(
        tuple(tally for tally, _ in parts), tuple(row for _, rows in parts for row in rows)
    )


def unread_files(
    drafts: Iterable[Draft | None], files: Iterable[str], findings: Iterable[Finding]
) -> dict[str, Finding]:
    """Return the files of which no table was made -> the first error that says why.

    Parameters
    ----------
    drafts
        The tables that were made.
    files
        Names of the files that were found.
    findings
        Of all files.
    """
    made = {draft.file for draft in drafts if draft is not None}
    found = set(files)
    unread: dict[str, Finding] = {}
    for each in findings:
        # A layer is named behind its file.
        known = each.file in found or each.file.split(" [")[0] in found
        if each.severity == "error" and known and each.file not in made:
            unread.setdefault(each.file, each)
    return unread


def _refused(file: str, raw: RawTable | None, why: Finding) -> tuple[Tally, list[SetAsideRow]]:
    """Count the rows of a file that was refused as a whole; without a table none was read."""
    if raw is None:
        return Tally(file, 0, 0, 0), []
    cells = _cells_of(raw)
    rows = [int(row) for row in raw.text.index]
    aside = [SetAsideRow(replace(why, row=row), cells(row)) for row in rows]
    return Tally(file, len(rows), 0, len(rows)), aside


def _table(
    draft: Draft, used: Iterable[int] | None, raw: RawTable | None
) -> tuple[Tally, list[SetAsideRow]]:
    kept = set(draft.sound.index if used is None else used)
    first = _first_errors(draft)
    whole = next((e for e in draft.findings if e.severity == "error" and e.row is None), None)
    # A row with too many cells is in no table, yet it was read.
    # Row 1 is the header of a plain table, but the first feature of a layer.
    rows = sorted(set(draft.text.index) | (set(first) - {1}))
    lost = [row for row in rows if row not in kept]
    cells = _cells_in(draft) if raw is None else _cells_of(raw)
    aside = [_set_aside(draft, row, first.get(row, whole), cells(row)) for row in lost]
    outside = len(_out_of_season(draft) & kept)
    used_count = len(rows) - len(lost) - outside
    return Tally(draft.file, len(rows), used_count, len(lost), outside), aside


def _set_aside(draft: Draft, row: int, error: Finding | None, cells: dict[str, str]) -> SetAsideRow:
    # Of all tables with places only the traps name a trap.
    is_trap = "geometry" in draft.typed and "trap_id" in draft.headers
    trap = cells.get(draft.headers["trap_id"], "").strip() if is_trap else ""
    return SetAsideRow(error or _taken_along(draft.file, row), cells, trap)


def _out_of_season(draft: Draft) -> set[int]:
    return {
        finding.row
        for finding in draft.findings
        if finding.code == "IN-039" and finding.row is not None
    }


def _first_errors(draft: Draft) -> dict[int, Finding]:
    first: dict[int, Finding] = {}
    for each in draft.findings:
        if each.severity == "error" and each.row is not None:
            first.setdefault(each.row, each)
    return first


def _taken_along(file: str, row: int) -> Finding:
    """Return why a row counts nowhere though neither it nor its file has an error."""
    return Finding(
        "IN-044",
        file,
        "its trap has no usable row on these days",
        "mend the rows of the trap in the file of traps",
        row=row,
    )


def _cells_in(draft: Draft) -> Callable[[int], dict[str, str]]:
    """Return what tells the cells of a row of a checked table, under the names of its file."""
    return _rows_of(draft.text.rename(columns=draft.headers))


def _cells_of(raw: RawTable) -> Callable[[int], dict[str, str]]:
    """Return what tells the cells of a row as they were typed, with its shape if it has one."""
    written = _rows_of(raw.text) if raw.written is None else raw.written.cells
    shapes = {} if raw.geometry is None else dict(raw.geometry.items())

    def cells(row: int) -> dict[str, str]:
        shape = shapes.get(row)
        # A plain table has the shape in its cells; here it keeps all its decimals.
        wkt = {} if shape is None else {"wkt": shapely.to_wkt(shape, rounding_precision=-1)}
        return written(row) | wkt

    return cells


def _rows_of(text: pd.DataFrame) -> Callable[[int], dict[str, str]]:
    # Looking rows up in the table one by one took most of the time of a large file.
    names = [str(name) for name in text.columns]
    rows = dict(zip(text.index, text.itertuples(index=False, name=None), strict=True))
    return lambda row: dict(zip(names, rows[row], strict=True)) if row in rows else {}
