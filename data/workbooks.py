"""Reading one sheet of a workbook (XLSX or ODS), cells as they are typed."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import PurePosixPath
from xml.parsers import expat

import python_calamine as calamine

from data.archives import pack, unpack
from data.cells import texts
from data.files import SourceFile
from data.findings import Finding, InputError
from data.layers import chosen_layer, refuse
from data.raw import RawTable
from data.tables import lay_out
from data.xml_trees import parse_xml

MOST_CELLS = 5_000_000
"""Cells between the first and the last one used; the reader keeps a place for each of them."""

_MOST_REPEATS = 2**31

# A cell or a row names its own place: r="B12", r="12".
_COLUMNS = re.compile(rb"""\sr\s*=\s*["']([A-Za-z]{1,3})[0-9]""")
_ROWS = re.compile(rb"""\sr\s*=\s*["'][A-Za-z]{0,3}([0-9]{1,7})["']""")
_ODD_PLACE = re.compile(rb"""\sr\s*=\s*["'](?![A-Za-z]{0,3}[0-9]{1,7}["'])""")
_ERROR_CELL = re.compile(rb"""<c\s[^<>]*?\br="([A-Z]{1,3})([0-9]{1,7})"[^<>]*?\bt="e\"""")

_Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class _Extent:
    """What is known of a sheet before its cells are read; rows and columns count from 1."""

    rows: int = 0
    columns: int = 0
    errors: tuple[_Place, ...] = ()


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
    try:
        cells = book.reader.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    except (calamine.CalamineError, ValueError, OverflowError):
        refuse("IN-002", label, "the sheet is damaged", "save the workbook again")
    decimal = source.read.decimal
    rows = [texts(row, decimal) for row in cells]
    raw = lay_out(rows, source, label)
    return _with_errors(raw, book.extents[sheet], rows[0])


def _with_errors(raw: RawTable, extent: _Extent, header: list[str]) -> RawTable:
    """Add one error for each cell that the spreadsheet could not compute; it is read as blank."""
    fix = "mend the formula, or type the value"
    found = [
        Finding("IN-092", raw.file, "the cell holds a spreadsheet error", fix, row=row, column=name)
        for row, column in extent.errors
        if row in raw.text.index
        if (name := header[column - 1] if column <= len(header) else "")
    ]
    return replace(raw, findings=(*raw.findings, *found))


@lru_cache(maxsize=1)
def _opened(content: bytes, file: str, large: bool) -> _Book:
    """Open a workbook once for all its sheets; the driver sees a checked copy in memory."""
    members = unpack(content, file, _is_needed, large=large)
    measure = next((m for marker, m in _KINDS.items() if marker in members), None)
    if measure is None:
        refuse("IN-003", file, "it is not a workbook", "save it as .xlsx or .ods")
    extents = measure(members, file)
    most = MOST_CELLS * (10 if large else 1)
    for sheet, extent in extents.items():
        if extent.rows * extent.columns > most:
            problem = f"the sheet reaches to row {extent.rows:,}, column {extent.columns:,}"
            fix = "delete the stray cells far from the table"
            refuse("IN-091", f"{file} [{sheet}]", problem, fix)
    try:
        return _Book(calamine.CalamineWorkbook.from_filelike(io.BytesIO(pack(members))), extents)
    except (calamine.CalamineError, ValueError, OSError):
        refuse("IN-002", file, "the workbook is damaged", "save it again")


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
    # A sheet that nothing names is measured as well: who knows by which way it is found.
    return {**measured, **extents}


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
    columns = {_column_number(letters) for letters in set(_COLUMNS.findall(text))}
    rows = {int(digits) for digits in set(_ROWS.findall(text))}
    errors = tuple((int(row), _column_number(c)) for c, row in _ERROR_CELL.findall(text))
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
    errors: list[_Place] = field(default_factory=list)

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """Take in the start of an element."""
        if tag == "table:table":
            self.sheet, self.row, self.used_rows, self.width = (
                attributes.get("table:name", ""),
                0,
                0,
                0,
            )
            self.errors = []
        elif tag == "table:table-row":
            self.repeat = _repeats(attributes.get("table:number-rows-repeated"))
            self.column = self.used_columns = 0
        elif tag in ("table:table-cell", "table:covered-table-cell"):
            self._cell(attributes)

    def _cell(self, attributes: Mapping[str, str]) -> None:
        # An empty cell only counts when another one follows it.
        self.used_columns = max(self.used_columns, self.column)
        self.column += _repeats(attributes.get("table:number-columns-repeated"))
        if "office:value-type" in attributes or "table:formula" in attributes:
            self.used_columns = self.column
            self.used_rows = self.row + self.repeat
        if attributes.get("calcext:value-type") == "error":
            self.errors.append((self.row + 1, self.column))

    def end(self, tag: str) -> None:
        """Take in the end of an element."""
        if tag == "table:table-row":
            self.row += self.repeat
            self.width = max(self.width, self.used_columns)
        elif tag == "table:table":
            self.extents[self.sheet] = _Extent(self.used_rows, self.width, tuple(self.errors))


def _repeats(text: str | None) -> int:
    if text is None:
        return 1
    return min(int(text), _MOST_REPEATS) if text.isdigit() and len(text) < 12 else _MOST_REPEATS


def _measure_ods(members: Mapping[str, bytes], file: str) -> dict[str, _Extent]:
    meter = _OdsMeter()
    parser = expat.ParserCreate()

    def refuse_type(*_: object) -> None:
        problem = "the workbook declares a document type, which can hide a trap"
        raise InputError([Finding("IN-082", file, problem, "save it again")])

    parser.StartDoctypeDeclHandler = refuse_type
    parser.StartElementHandler = meter.start
    parser.EndElementHandler = meter.end
    try:
        parser.Parse(members["content.xml"], True)
    except expat.ExpatError:
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
