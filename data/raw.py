"""A table as it was typed: text cells under our column names, with the rows of the file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import pandas as pd

from data.findings import Finding, InputError
from data.settings import LocalGridSettings, ReadSettings


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
    """

    file: str
    text: pd.DataFrame
    geometry: gpd.GeoSeries | None = None
    findings: tuple[Finding, ...] = ()
    read: ReadSettings = field(default_factory=ReadSettings)
    local_grid: LocalGridSettings | None = None


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
