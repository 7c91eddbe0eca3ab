"""A table as it was typed: text cells under our column names, with the rows of the file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import geopandas as gpd
import pandas as pd

from data.findings import Finding, InputError
from data.settings import LocalGridSettings, ReadSettings

FIRST_ROW = 2
"""Row of a plain table that follows its header."""


@dataclass(frozen=True, slots=True)
class WrittenRows:
    """The cells of a plain table exactly as its file holds them.

    Parameters
    ----------
    rows
        Every row from the first, the header included; a row may be shorter or longer than it.
    first
        Number of the row that follows the header; features are counted from 1.
    """

    rows: Sequence[Sequence[str]]
    first: int = FIRST_ROW

    def cells(self, row: int) -> dict[str, str]:
        """Return column -> what was typed in a row; empty when there is no such row.

        A cell under no name, or beyond the header, is named after its place.

        Examples
        --------
        >>> written = WrittenRows([["trap", " note "], [" T1", "wet", "too"], ["T2"]])
        >>> written.cells(2)
        {'trap': ' T1', 'note': 'wet', '(cell 3)': 'too'}
        >>> written.cells(3)
        {'trap': 'T2', 'note': ''}
        """
        place = row - self.first + 1
        if not 0 < place < len(self.rows):
            return {}
        names = [name.strip() for name in self.rows[0]]
        typed = self.rows[place]
        found: dict[str, str] = {}
        for number in range(max(len(names), len(typed))):
            name = names[number] if number < len(names) else ""
            cell = typed[number] if number < len(typed) else ""
            if name or cell:
                found[name or _place_name(number + 1, names)] = cell
        return found


@dataclass(frozen=True, slots=True)
class RawTable:
    """One table before any value is understood.

    Parameters
    ----------
    file
        File name relative to the site's folder, with the sheet or layer when the file has several.
    text
        Every cell as stripped text, ``""`` when blank; columns as the file names them; the index
        holds the row numbers a spreadsheet shows (features are counted from 1).
    geometry
        Shapes with their CRS, on the same index; None for a plain table.
    findings
        What was wrong with whole rows, or is worth knowing about the file.
    read
        How dates, numbers and positions are written.
    local_grid
        Where tape-measured positions start; None without them.
    written
        The cells before their outer blanks were taken off; None where a file has no such thing.
    """

    file: str
    text: pd.DataFrame
    geometry: gpd.GeoSeries | None = None
    findings: tuple[Finding, ...] = ()
    read: ReadSettings = field(default_factory=ReadSettings)
    local_grid: LocalGridSettings | None = None
    written: WrittenRows | None = None


@dataclass(frozen=True, slots=True)
class NamedTable:
    """A raw table under our column names.

    Parameters
    ----------
    raw
        The table; the columns of its text now bear our names.
    headers
        Our column -> the name in the file, for messages.
    """

    raw: RawTable
    headers: Mapping[str, str]


class NoSuchLayerError(InputError):
    """A file that holds several tables has no layer or sheet of the wanted name."""


def _place_name(number: int, names: Sequence[str]) -> str:
    """Return a name for a cell without one, which no column bears."""
    name = f"(cell {number})"
    while name in names:
        name = f"({name})"
    return name
