"""Bringing the columns of a file under our names, and saying which ones are missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from data.findings import Finding, InputError
from data.raw import NamedTable, RawTable
from data.schemas import Table
from data.suggestions import nearest
from data.toml_text import toml_text

_LAST_TITLE_ROW = 10
"""Rows from the first that may be titles above the names of the columns."""

_SHORTEST_BEGINNING = 3

_FEWEST_NAMES = 2
"""So many of the wanted names in one row are no chance."""


def name_columns(
    raw: RawTable, table: Table, aliases: Mapping[str, str], also: Mapping[str, str] | None = None
) -> NamedTable:
    """Give the columns of a file our names.

    Parameters
    ----------
    raw
        The table as typed.
    table
        What it should hold.
    aliases
        Column of the file -> our column.
    also
        Columns that this file must have besides the required ones -> how to mend it when one is
        missing; blank: as with any other.

    Returns
    -------
    NamedTable
        The same rows; columns that are not ours keep their name.

    Raises
    ------
    InputError
        With one finding for each missing or doubled column, or one for all when the names stand in
        a later row.

    Examples
    --------
    >>> import pandas as pd
    >>> from data.schemas import TREATMENTS
    >>> text = pd.DataFrame({"Zone": ["Z1"], "applied_on": ["2026-05-04"]}, index=[2], dtype=str)
    >>> named = name_columns(RawTable("t.csv", text), TREATMENTS, {"Zone": "zone_id"})
    >>> list(named.raw.text), named.headers["zone_id"]
    (['zone_id', 'applied_on'], 'Zone')
    """
    written = list(raw.text.columns)
    ours = [aliases.get(name, name) for name in written]
    twice = sorted({name for name in ours if ours.count(name) > 1})
    fixes = also or {}
    required = [column.name for column in table.columns if column.required]
    wanted = list(dict.fromkeys((*required, *fixes)))
    missing = [name for name in wanted if name not in ours]
    if missing:
        _refuse_late_names(raw, {aliases.get(name, name): name for name in (*wanted, *aliases)})
    wrong = [
        Finding("IN-006", raw.file, "the column is there twice", "keep one", row=1, column=name)
        for name in twice
    ] + [
        missing_column(raw.file, table.name, name, written, aliases, fixes.get(name, ""))
        for name in missing
    ]
    if wrong:
        raise InputError(wrong)
    text = raw.text.set_axis(ours, axis=1)
    ignored = _ignored_columns(raw.file, table, ours, fixes)
    findings = (*raw.findings, *ignored)
    return NamedTable(
        replace(raw, text=text, findings=findings), dict(zip(ours, written, strict=True))
    )


def missing_column(
    file: str,
    table: str,
    name: str,
    written: Iterable[str],
    aliases: Mapping[str, str],
    fix: str = "",
) -> Finding:
    """Say that a column is missing, and which one of the file may be meant.

    Examples
    --------
    >>> print(missing_column("traps.csv", "traps", "trap_id", ["Trap_ID", "design"], {}))
    traps.csv row 1, column trap_id: the column is missing; add it, or write "Trap_ID" = "trap_id" \
under [columns.traps] in site.toml [IN-005]
    """
    mapped = [source for source, target in aliases.items() if target == name]
    names = list(written)
    close = nearest(name, names) or _shortened(name, names)
    if fix:
        fix += f" (there is {close!r})" if close else ""
    elif mapped:
        fix = f"site.toml expects it as {mapped[0]!r}; mend the name there or in the file"
    else:
        yours = toml_text(close or "your name")
        fix = f"add it, or write {yours} = {toml_text(name)} under [columns.{table}] in site.toml"
        fix += _FIXES.get((table, name), "")
    return Finding("IN-005", file, "the column is missing", fix, row=1, column=name)


def _shortened(name: str, written: Iterable[str]) -> str | None:
    """Return a name of the file that is the beginning of ours, e.g. Lat for latitude."""
    short = (each for each in written if len(each) >= _SHORTEST_BEGINNING)
    return next((each for each in short if name.startswith(each.lower())), None)


_FIXES = {
    ("traps", "design"): (
        '; if all traps are of one design, design = "cup" under [read.traps] in site.toml is enough'
    )
}
"""What else mends a column that is missing."""


def _refuse_late_names(raw: RawTable, names: Mapping[str, str]) -> None:
    """Refuse a table with a title above its names, and say in which row they seem to be."""
    rows = [] if raw.written is None or raw.geometry is not None else raw.written.rows
    wanted = {*names, *names.values()}
    for number, row in enumerate(rows[1:_LAST_TITLE_ROW], 2):
        if len(wanted.intersection(cell.strip() for cell in row)) >= _FEWEST_NAMES:
            problem = f"row 1 does not hold the names of the columns; row {number} seems to"
            raise InputError(
                [Finding("IN-005", raw.file, problem, "delete the rows above it", row=1)]
            )


def _ignored_columns(
    file: str, table: Table, ours: Sequence[str], also: Iterable[str]
) -> list[Finding]:
    absent = [column.name for column in table.columns if column.name not in ours]
    known = {column.name for column in table.columns} | set(also)
    strangers = [name for name in ours if name not in known]
    close = [(name, nearest(name, absent)) for name in strangers]
    return [
        Finding(
            "IN-015",
            file,
            "the column is not read",
            f"if {meant!r} is meant, name it so",
            severity="warning",
            row=1,
            column=name,
        )
        for name, meant in close
        if meant is not None
    ]
