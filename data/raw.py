"""A table as it was typed: text cells under our column names, with the rows of the file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import pandas as pd

from data.findings import Finding


@dataclass(frozen=True, slots=True)
class RawTable:
    """One table before any value is understood.

    Parameters
    ----------
    file
        File name relative to the site's folder.
    text
        Every cell as stripped text, ``""`` when blank; columns as the file names them; the index
        holds the row numbers a spreadsheet shows (features are counted from 1).
    geometry
        Shapes with their CRS, on the same index; None for a plain table.
    findings
        What was wrong with whole rows.
    """

    file: str
    text: pd.DataFrame
    geometry: gpd.GeoSeries | None = None
    findings: tuple[Finding, ...] = ()


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
