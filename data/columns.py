"""Bringing the columns of a file under our names, and saying which ones are missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from data.findings import Finding, InputError
from data.raw import NamedTable, RawTable
from data.schemas import Table
from data.suggestions import nearest


def name_columns(
    raw: RawTable, table: Table, aliases: Mapping[str, str], also: Sequence[str] = ()
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
        Columns that this file must have besides the required ones, under the file's names.

    Returns
    -------
    NamedTable
        The same rows; columns that are not ours keep their name.

    Raises
    ------
    InputError
        With one finding for each missing or doubled column.

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
    required = [column.name for column in table.columns if column.required]
    missing = [name for name in (*required, *also) if name not in ours]
    wrong = [
        Finding("IN-006", raw.file, "the column is there twice", "keep one", row=1, column=name)
        for name in twice
    ] + [missing_column(raw.file, name, written, aliases) for name in missing]
    if wrong:
        raise InputError(wrong)
    text = raw.text.set_axis(ours, axis=1)
    ignored = _ignored_columns(raw.file, table, ours, also)
    findings = (*raw.findings, *ignored)
    return NamedTable(
        replace(raw, text=text, findings=findings), dict(zip(ours, written, strict=True))
    )


def missing_column(
    file: str, name: str, written: Iterable[str], aliases: Mapping[str, str]
) -> Finding:
    """Say that a column is missing, and which one of the file may be meant.

    Examples
    --------
    >>> print(missing_column("traps.csv", "trap_id", ["Trap_ID", "design"], {}))
    traps.csv row 1, column trap_id: the column is missing; add it, or map yours under \
[columns.*] in site.toml (there is 'Trap_ID') [IN-005]
    """
    fix = "add it, or map yours under [columns.*] in site.toml"
    mapped = [source for source, target in aliases.items() if target == name]
    close = nearest(name, written)
    if mapped:
        fix = f"site.toml expects it as {mapped[0]!r}; mend the name there or in the file"
    elif close:
        fix += f" (there is {close!r})"
    return Finding("IN-005", file, "the column is missing", fix, row=1, column=name)


def missing_columns(named: NamedTable, names: Sequence[str]) -> InputError:
    """Return the refusal of a table that lacks columns which its layout needs."""
    written = list(named.headers.values())
    return InputError([missing_column(named.raw.file, name, written, {}) for name in names])


def _ignored_columns(
    file: str, table: Table, ours: Sequence[str], also: Sequence[str]
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
