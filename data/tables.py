"""Reading plain tables of text, and laying out rows of text cells from any kind of file."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence

import pandas as pd

from data.encodings import DecodedText, decode
from data.files import SourceFile
from data.findings import Finding, InputError
from data.raw import FIRST_ROW, RawTable, WrittenRows

LARGEST_TABLE_ROWS = 100_000
LARGEST_TABLE_ROWS_ALLOWED = 3_000_000
"""With `[read] allow_large`."""

_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}


def read_csv(source: SourceFile) -> RawTable:
    r"""Read text whose columns are separated by commas, semicolons or tabs.

    Every cell stays text. Blank rows are skipped, and the others keep their row number.

    Parameters
    ----------
    source
        The file; its `read` may declare the encoding and the delimiter.

    Returns
    -------
    RawTable
        Rows with more cells than the header are left out and reported.

    Raises
    ------
    InputError
        When the text cannot be decoded, its delimiter is not clear, it has no rows, or it names a
        column twice.

    Examples
    --------
    >>> content = b"trap_id,design\n T01 ,cup\n\nNA,cup\n"
    >>> read_csv(SourceFile("traps", "traps.csv", content)).text
        trap_id design
    2     T01    cup
    4      NA    cup
    """
    decoded = _decoded(source)
    rows = _split(decoded.text, source)
    warnings = [] if decoded.guessed_at is None else [_guessed(source.name, decoded.guessed_at)]
    return lay_out(rows, source, source.name, warnings)


def lay_out(
    rows: Sequence[list[str]], source: SourceFile, label: str, warnings: Sequence[Finding] = ()
) -> RawTable:
    """Make a table of rows of text cells, and take the outer blanks off every cell.

    Parameters
    ----------
    rows
        Every row of the file from the first, as typed, blank ones included.
    source
        The file they come from.
    label
        What findings call the file.
    warnings
        What is known to be odd about the file.

    Returns
    -------
    RawTable
        Rows with more cells than the header are left out and reported.

    Raises
    ------
    InputError
        When there is no header, no row, too many rows, or a column twice.
    """
    stripped = [[cell.strip() for cell in row] for row in rows]
    header = _header(stripped, label)
    body = {number: row for number, row in enumerate(stripped[1:], FIRST_ROW) if any(row)}
    if not body:
        raise _refusal("IN-004", label, "there is no row below the header", "add rows")
    refuse_many_rows(len(body), source, label)
    width = len(header)
    long = {number for number, row in body.items() if len(row) > width and any(row[width:])}
    cells = [(row + [""] * width)[:width] for number, row in body.items() if number not in long]
    index = [number for number in body if number not in long]
    text = pd.DataFrame(cells, index=index, columns=header, dtype=object)
    text = text.loc[:, [name for name in header if name]]
    unnamed = _unnamed_columns(label, header, cells)
    findings = (*warnings, *unnamed, *(_too_long(label, number) for number in sorted(long)))
    written, read, grid = WrittenRows(rows), source.read, source.local_grid
    return RawTable(label, text, None, findings, read, grid, written)


def refuse_many_rows(count: int, source: SourceFile, label: str) -> None:
    """Refuse a table of more rows than the settings allow.

    Raises
    ------
    InputError
        When there are too many.
    """
    large = source.read.allow_large
    most = LARGEST_TABLE_ROWS_ALLOWED if large else LARGEST_TABLE_ROWS
    if count > most:
        fix = f"keep it under {most:,} rows"
        fix += "" if large else ", or set allow_large = true under [read] in site.toml"
        raise _refusal("IN-017", label, f"the table has {count:,} rows", fix)


def _decoded(source: SourceFile) -> DecodedText:
    try:
        return decode(source.content, source.read.encoding)
    except ValueError as error:
        fix = "save the table again as CSV UTF-8, or set encoding under [read] in site.toml"
        raise _refusal("IN-002", source.name, str(error), fix) from None


def _split(text: str, source: SourceFile) -> list[list[str]]:
    delimiter = source.read.delimiter or _delimiter(text, source)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[list[str]] = []
    try:
        rows.extend(reader)
    except csv.Error as error:
        line = _first_line_after(rows, text, delimiter)
        problem = (
            f"from line {line} to line {reader.line_num} a quotation mark is open, or the text is "
            f"not separated by {_DELIMITERS[delimiter]} ({error})"
        )
        fix = f"look for a stray or missing quotation mark in line {line}"
        raise _refusal("IN-002", source.name, problem, fix) from None
    return rows


def _first_line_after(rows: Sequence[list[str]], text: str, delimiter: str) -> int:
    """Return the line in which the row begins that follows those that could be read."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    for _ in rows:
        next(reader)
    return reader.line_num + 1


def _delimiter(text: str, source: SourceFile) -> str:
    """Return the only delimiter that the header holds outside quotation marks."""
    if source.suffix == ".tsv":
        return "\t"
    head = text.lstrip("\r\n").splitlines()[:1]
    plain = "".join(head).split('"')[::2]
    found = [mark for mark in _DELIMITERS if any(mark in part for part in plain)]
    if len(found) > 1:
        listed = " and ".join(_DELIMITERS[mark] for mark in found)
        problem = f"the header holds {listed}, so it is not clear which one separates the columns"
        fix = 'set delimiter under [read] in site.toml, e.g. delimiter = ";"'
        raise InputError([Finding("IN-084", source.name, problem, fix, row=1)])
    return found[0] if found else ","


def _header(rows: Sequence[list[str]], file: str) -> list[str]:
    header = rows[0] if rows else []
    if not any(header):
        raise _refusal("IN-004", file, "row 1 holds no column names", "put the names in row 1")
    twice = sorted({name for name in header if name and header.count(name) > 1})
    if twice:
        raise InputError([_twice(file, name) for name in twice])
    return header


def _unnamed_columns(
    file: str, header: Sequence[str], cells: Sequence[Sequence[str]]
) -> list[Finding]:
    """Report each column that holds something under no name: nobody can say what it is."""
    return [
        Finding(
            "IN-105",
            file,
            f"column {place + 1} of the table has no name, so it is not read",
            "name it in row 1, or empty it",
            severity="warning",
            row=1,
        )
        for place, name in enumerate(header)
        if not name and any(row[place] for row in cells)
    ]


def _guessed(file: str, line: int) -> Finding:
    problem = f"line {line} is not UTF-8 text, so the file is read as Windows-1252"
    fix = 'save it as CSV UTF-8, or set encoding = "windows-1252" under [read] in site.toml'
    return Finding("IN-083", file, problem, fix, severity="warning")


def _twice(file: str, name: str) -> Finding:
    problem = "the column is there twice"
    return Finding("IN-006", file, problem, "delete or rename one", row=1, column=name)


def _too_long(file: str, row: int) -> Finding:
    fix = "put a text that holds the separator in quotation marks"
    return Finding("IN-007", file, "the row has more cells than the header", fix, row=row)


def _refusal(code: str, file: str, problem: str, fix: str) -> InputError:
    return InputError([Finding(code, file, problem, fix)])


TABLE_READERS: dict[str, Callable[[SourceFile], RawTable]] = {".csv": read_csv, ".tsv": read_csv}
"""Suffix -> reader; a new kind of table file is one function and one line here."""
