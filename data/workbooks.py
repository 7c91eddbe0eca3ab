"""Reading one sheet of a workbook (XLSX or ODS), cells as they are typed."""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import PurePosixPath
from xml.parsers import expat

import numpy as np
import numpy.typing as npt
import python_calamine as calamine

from data.archives import pack, unpack
from data.cells import texts
from data.files import SourceFile
from data.findings import Finding, InputError
from data.layers import MOST_CELLS, chosen_layer, driver, refuse
from data.raw import RawTable, WrittenRows
from data.tables import lay_out
from data.xml_trees import parse_xml

LARGEST_TEXT_MB = 50
"""Text of all cells; a workbook may write a text once and name it, or repeat it, often."""

MOST_ATTRIBUTES = 8_000_000
"""Attributes of the cells of one sheet: four for each cell it may have."""

MOST_TAGS = 10_000_000
"""Tags of an OpenDocument workbook: a start, an end and a text in each cell, and some to spare."""

_ODS_CELLS = ("table:table-cell", "table:covered-table-cell")
_MOST_REPEATS = 2**31

# A cell or a row names its own place: r="B12", r="12".
_COLUMNS = re.compile(rb"""\sr\s*=\s*["']([A-Za-z]{1,3})[0-9]""")
_ROWS = re.compile(rb"""\sr\s*=\s*["'][A-Za-z]{0,3}([0-9]{1,7})["']""")
_ODD_PLACE = re.compile(rb"""\sr\s*=\s*["'](?![A-Za-z]{0,3}[0-9]{1,7}["'])""")
_STRING_START = re.compile(rb"<(?:\w+:)?si[\s/>]")
_STRING_CELL = re.compile(
    rb"""<(?:\w+:)?c\s[^<>]*?\bt\s*=\s*["']s["'][^<>]*>.*?<(?:\w+:)?v[^<>]*>\s*([0-9]+)""",
    re.DOTALL,
)
_ERROR_CELL = re.compile(
    rb"""<c\s[^<>]*?\br="([A-Z]{1,3})([0-9]{1,7})"[^<>]*?\bt="e"[^<>]*>"""
    rb"""(?:<f[^<>]*>(?:[^<>]*</f>)?)?(?:<v>([^<>]{1,40})</v>)?"""
)

_NO_TEXT = "#ERROR!"
"""Stands for a spreadsheet error whose own text the file does not keep."""


@dataclass(frozen=True, slots=True)
class _Error:
    """A cell that the spreadsheet could not compute, and what it shows there."""

    row: int
    column: int
    text: str


@dataclass(frozen=True, slots=True)
class _Extent:
    """What is known of a sheet before its cells are read; rows and columns count from 1."""

    rows: int = 0
    columns: int = 0
    errors: tuple[_Error, ...] = ()
    characters: int = 0


@dataclass(frozen=True, slots=True)
class _Book:
    reader: calamine.CalamineWorkbook
    extents: Mapping[str, _Extent]


def read_workbook(source: SourceFile) -> RawTable:
    """Read one sheet of a workbook: the one named like the table, or the only one in use.

    A date becomes ISO text and a whole number loses its decimals; rows are numbered as the
    spreadsheet shows them.

    Parameters
    ----------
    source
        The file.

    Returns
    -------
    RawTable
        Rows with an error of the spreadsheet (``#N/A``) are reported.

    Raises
    ------
    InputError
        When the workbook is damaged or not safe, or the sheet is not there or not clear.
    """
    book = _opened(source.content, source.name, source.read.allow_large)
    used = [name for name in book.reader.sheet_names if book.extents.get(name, _Extent()).rows]
    sheet = chosen_layer(used, source, "sheet")
    label = f"{source.name} [{sheet}]"
    with driver(label):
        cells = book.reader.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    decimal = source.read.decimal
    rows = [texts(row, decimal, strip=False) for row in cells]
    return _with_errors(lay_out(rows, source, label), book.extents[sheet])


def _with_errors(raw: RawTable, extent: _Extent) -> RawTable:
    """Add one error for each cell that the spreadsheet could not compute; it is read as blank."""
    rows = [list(row) for row in raw.written.rows] if raw.written else []
    header = [name.strip() for name in rows[0]] if rows else []
    found = []
    for error in extent.errors:
        place = error.column - 1
        if error.row not in raw.text.index or place >= len(header) or not header[place]:
            continue
        rows[error.row - 1][place] = error.text
        found.append(_uncomputed(raw.file, error, header[place]))
    return replace(raw, findings=(*raw.findings, *found), written=WrittenRows(rows))


def _uncomputed(file: str, error: _Error, column: str) -> Finding:
    return Finding(
        "IN-092",
        file,
        f"the cell holds the spreadsheet error {error.text}",
        "mend the formula, or type the value",
        row=error.row,
        column=column,
        value=error.text,
    )


@lru_cache(maxsize=1)
def _opened(content: bytes, file: str, large: bool) -> _Book:
    """Open a workbook once for all its sheets; the driver sees a checked copy in memory."""
    members = unpack(content, file, _is_needed, large=large)
    measure = next((m for marker, m in _KINDS.items() if marker in members), None)
    if measure is None:
        refuse("IN-003", file, "it is not a workbook", "save it as .xlsx or .ods")
    extents = measure(members, file)
    # The reader keeps a place for each cell between the first and the last one used.
    most = MOST_CELLS * (10 if large else 1)
    for sheet, extent in extents.items():
        if extent.rows * extent.columns > most:
            problem = f"the sheet reaches to row {extent.rows:,}, column {extent.columns:,}"
            fix = "delete the stray cells far from the table"
            refuse("IN-091", f"{file} [{sheet}]", problem, fix)
        if extent.characters > LARGEST_TEXT_MB * 1_000_000 * (5 if large else 1):
            problem = f"the cells hold more than {LARGEST_TEXT_MB} MB of text"
            refuse("IN-017", f"{file} [{sheet}]", problem, "shorten the longest texts")
    with driver(file):
        return _Book(calamine.CalamineWorkbook.from_filelike(io.BytesIO(pack(members))), extents)


def _is_needed(name: str) -> bool:
    return name == "mimetype" or name.endswith((".xml", ".rels"))


def _measure_xlsx(members: Mapping[str, bytes], file: str) -> dict[str, _Extent]:
    """Measure the sheets of an Office Open XML workbook (ECMA-376 part 1, section 18)."""
    links = {
        each.get("Id", ""): each.get("Target", "")
        for each in parse_xml(members.get("xl/_rels/workbook.xml.rels", b"<a/>"), file)
    }
    extents = {}
    for each in parse_xml(members["xl/workbook.xml"], file).iter():
        if each.tag.rpartition("}")[2] == "sheet":
            ids = [value for key, value in each.attrib.items() if key.endswith("}id")]
            target = links.get(ids[0] if ids else "", "")
            name = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
            extents[each.get("name", "")] = _measure_sheet(members.get(name, b""), file)
    measured = {name: _measure_sheet(text, file) for name, text in _sheets(members).items()}
    # The reader finds it whatever the case of its name.
    strings = b"".join(m for n, m in members.items() if n.lower() == "xl/sharedstrings.xml")
    for name, text in _sheets(members).items():
        measured[name] = replace(measured[name], characters=_shared_bytes(text, strings))
    # A sheet that nothing names is measured as well: who knows by which way it is found.
    return {**measured, **extents}


def _shared_bytes(sheet: bytes, strings: bytes) -> int:
    """Return at most how many bytes the shared texts of a sheet have when each cell has its own."""
    most = int(_sizes(strings).max(initial=0)) * sheet.count(b"=")
    return most if most <= LARGEST_TEXT_MB * 1_000_000 else _named_bytes(sheet, strings)


def _named_bytes(sheet: bytes, strings: bytes) -> int:
    """Return it exactly, tags included, which takes longer."""
    sizes = _sizes(strings)
    named = Counter(int(match[1][:9]) for match in _STRING_CELL.finditer(sheet))
    return sum(int(sizes[n]) * times for n, times in named.items() if n < len(sizes))


def _sizes(strings: bytes) -> npt.NDArray[np.int64]:
    starts = [match.start() for match in _STRING_START.finditer(strings)]
    ends = [*starts[1:], len(strings)]
    return np.asarray(ends[: len(starts)], dtype=np.int64) - np.asarray(starts, dtype=np.int64)


def _sheets(members: Mapping[str, bytes]) -> dict[str, bytes]:
    return {
        name: text
        for name, text in members.items()
        if PurePosixPath(name).parent.name == "worksheets"
    }


@lru_cache(maxsize=64)
def _measure_sheet(text: bytes, file: str) -> _Extent:
    if b"\0" in text or _ODD_PLACE.search(text):
        refuse("IN-002", file, "a sheet is damaged", "save the workbook again")
    if text.count(b"=") > MOST_ATTRIBUTES:
        problem = f"a sheet has more than {MOST_ATTRIBUTES:,} attributes"
        refuse("IN-094", file, problem, "keep only the cells that are needed")
    columns = {_column_number(letters) for letters in set(_COLUMNS.findall(text))}
    rows = {int(digits) for digits in set(_ROWS.findall(text))}
    errors = tuple(
        _Error(int(row), _column_number(letters), shown.decode("utf-8", "replace") or _NO_TEXT)
        for letters, row, shown in _ERROR_CELL.findall(text)
    )
    # A cell that does not name its place stands behind the one before it.
    unnamed = text.count(b"<c>") + text.count(b"<c ")
    wide = max(columns, default=0) or unnamed
    return _Extent(max(rows, default=0) or text.count(b"<row"), wide, errors)


def _column_number(letters: bytes) -> int:
    """Return the number of a column from its letters.

    >>> _column_number(b"A"), _column_number(b"Z"), _column_number(b"AA")
    (1, 26, 27)
    """
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


@dataclass(slots=True)
class _OdsMeter:
    """Where the cells of an OpenDocument sheet stand, counting the repeated ones (OASIS 1.2)."""

    extents: dict[str, _Extent] = field(default_factory=dict)
    sheet: str = ""
    row: int = 0
    repeat: int = 1
    column: int = 0
    used_columns: int = 0
    used_rows: int = 0
    width: int = 0
    cell_repeat: int = 0
    row_characters: int = 0
    characters: int = 0
    in_error: bool = False
    errors: list[_Error] = field(default_factory=list)

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """Take in the start of an element."""
        if tag == "table:table":
            self.sheet = attributes.get("table:name", "")
            self.row = self.used_rows = self.width = self.characters = 0
            self.errors = []
        elif tag == "table:table-row":
            self.repeat = _repeats(attributes.get("table:number-rows-repeated"))
            self.column = self.used_columns = self.row_characters = 0
        elif tag in _ODS_CELLS:
            self._cell(attributes)

    def _cell(self, attributes: Mapping[str, str]) -> None:
        # An empty cell only counts when another one follows it.
        self.used_columns = max(self.used_columns, self.column)
        self.cell_repeat = _repeats(attributes.get("table:number-columns-repeated"))
        self.column += self.cell_repeat
        self.text(attributes.get("office:string-value", ""))
        if "office:value-type" in attributes or "table:formula" in attributes:
            self.used_columns = self.column
            self.used_rows = self.row + self.repeat
        if attributes.get("calcext:value-type") == "error":
            self.errors.append(_Error(self.row + 1, self.column, _NO_TEXT))
            self.in_error = True

    def text(self, text: str) -> None:
        """Take in some text; in a repeated cell it stands as often."""
        self.row_characters += len(text) * self.cell_repeat
        if self.in_error and text.strip():
            self.errors[-1] = replace(self.errors[-1], text=text.strip()[:40])
            self.in_error = False

    def end(self, tag: str) -> None:
        """Take in the end of an element."""
        if tag in _ODS_CELLS:
            self.cell_repeat = 0
            self.in_error = False
        elif tag == "table:table-row":
            self.row += self.repeat
            self.characters += self.row_characters * self.repeat
            self.width = max(self.width, self.used_columns)
        elif tag == "table:table":
            errors = tuple(self.errors)
            extent = _Extent(self.used_rows, self.width, errors, self.characters)
            self.extents[self.sheet] = extent


def _repeats(text: str | None) -> int:
    if text is None:
        return 1
    return min(int(text), _MOST_REPEATS) if text.isdigit() and len(text) < 12 else _MOST_REPEATS


def _measure_ods(members: Mapping[str, bytes], file: str) -> dict[str, _Extent]:
    if members["content.xml"].count(b"<") > MOST_TAGS:
        problem = f"the workbook holds more than {MOST_TAGS:,} tags"
        refuse("IN-094", file, problem, "keep only the sheets that are needed")
    meter = _OdsMeter()
    parser = expat.ParserCreate()

    def refuse_type(*_: object) -> None:
        problem = "the workbook declares a document type, which can hide a trap"
        raise InputError([Finding("IN-082", file, problem, "save it again")])

    parser.StartDoctypeDeclHandler = refuse_type
    parser.StartElementHandler = meter.start
    parser.EndElementHandler = meter.end
    parser.CharacterDataHandler = meter.text
    parser.buffer_text = True
    try:
        parser.Parse(members["content.xml"], True)
    except (expat.ExpatError, ValueError, LookupError):
        # The two others tell of an encoding that the parser does not know.
        refuse("IN-002", file, "the workbook is damaged", "save it again")
    return meter.extents


_KINDS: Mapping[str, Callable[[Mapping[str, bytes], str], dict[str, _Extent]]] = {
    "xl/workbook.xml": _measure_xlsx,
    "content.xml": _measure_ods,
}
"""Member that tells the kind -> how its sheets are measured."""

WORKBOOK_READERS: dict[str, Callable[[SourceFile], RawTable]] = {
    ".xlsx": read_workbook,
    ".ods": read_workbook,
}
"""Suffix -> reader."""
