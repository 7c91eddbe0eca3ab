"""Reading plain tables: one reader per file suffix."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

import pandas as pd

from data.files import SourceFile
from data.findings import Finding, InputError
from data.raw import RawTable

LARGEST_TABLE_ROWS = 100_000


def read_csv(source: SourceFile) -> RawTable:
    r"""Read comma-separated UTF-8 text, with or without a byte-order mark.

    Every cell stays text. Blank rows are skipped, and the others keep their row number.

    Parameters
    ----------
    source
        The file.

    Returns
    -------
    RawTable
        Rows with more cells than the header are left out and reported.

    Raises
    ------
    InputError
        When the text is not UTF-8, not comma-separated, has no rows, or names a column twice.

    Examples
    --------
    >>> content = b"trap_id,design\n T01 ,cup\n\nNA,cup\n"
    >>> read_csv(SourceFile("traps", "traps.csv", content)).text
        trap_id design
    2     T01    cup
    4      NA    cup
    """
    rows = [[cell.strip() for cell in row] for row in _split(source)]
    header = _header(rows, source.name)
    body = {number: row for number, row in enumerate(rows[1:], start=2) if any(row)}
    if not body:
        raise _refusal("IN-004", source.name, "there is no row below the header", "add rows")
    if len(body) > LARGEST_TABLE_ROWS:
        fix = f"keep it under {LARGEST_TABLE_ROWS:,} rows"
        raise _refusal("IN-017", source.name, f"the table has {len(body):,} rows", fix)
    long = [number for number, row in body.items() if any(row[len(header) :])]
    width = len(header)
    cells = [(row + [""] * width)[:width] for number, row in body.items() if number not in long]
    index = [number for number in body if number not in long]
    text = pd.DataFrame(cells, index=index, columns=header, dtype=object)
    text = text.loc[:, [name for name in header if name]]
    return RawTable(source.name, text, findings=tuple(_too_long(source.name, n) for n in long))


def _split(source: SourceFile) -> list[list[str]]:
    try:
        text = source.content.decode("utf-8-sig")
        return list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except UnicodeDecodeError as error:
        problem = f"byte {error.start} is not UTF-8 text"
        fix = "save the table again as CSV UTF-8"
        raise _refusal("IN-002", source.name, problem, fix) from None
    except csv.Error as error:
        problem = f"the text is not comma-separated ({error})"
        raise _refusal("IN-002", source.name, problem, "close every quotation mark") from None


def _header(rows: list[list[str]], file: str) -> list[str]:
    header = rows[0] if rows else []
    if not any(header):
        raise _refusal("IN-004", file, "row 1 holds no column names", "put the names in row 1")
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        problem = "the columns are not separated by commas"
        raise _refusal("IN-002", file, problem, "save the table with commas")
    twice = sorted({name for name in header if name and header.count(name) > 1})
    if twice:
        raise InputError([_twice(file, name) for name in twice])
    return header


def _twice(file: str, name: str) -> Finding:
    problem = "the column is there twice"
    return Finding("IN-006", file, problem, "delete or rename one", row=1, column=name)


def _too_long(file: str, row: int) -> Finding:
    fix = "put a text that holds commas in quotation marks"
    return Finding("IN-007", file, "the row has more cells than the header", fix, row=row)


def _refusal(code: str, file: str, problem: str, fix: str) -> InputError:
    return InputError([Finding(code, file, problem, fix)])


TABLE_READERS: dict[str, Callable[[SourceFile], RawTable]] = {".csv": read_csv}
"""Suffix -> reader; a new kind of table file is one function and one line here."""
