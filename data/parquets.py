"""Reading GeoParquet and plain Parquet, where the package for it is installed."""

from __future__ import annotations

import importlib
import io
import json
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from data.archives import LARGEST_UNPACKED_MB
from data.coordinates import WGS84
from data.files import SourceFile
from data.layers import laid_out, refuse
from data.raw import RawTable
from data.tables import refuse_many_rows

_COLLECTION = 7
"""Type number of a geometry collection in well-known binary (OGC 06-103r4)."""


def read_geoparquet(source: SourceFile) -> RawTable:
    """Read a Parquet file; shapes as GeoParquet 1.0 or 1.1 stores them, in well-known binary.

    Parameters
    ----------
    source
        The file.

    Returns
    -------
    RawTable
        One row per feature, counted from 1, in the file's own CRS.

    Raises
    ------
    InputError
        When pyarrow is not installed, or the file is damaged, too large or without a CRS.
    """
    try:
        parquet: Any = importlib.import_module("pyarrow.parquet")
    except ImportError:
        fix = "install the package pyarrow (pip install 'snoutline[parquet]')"
        refuse("IN-086", source.name, "Parquet files cannot be read here", fix)
    try:
        opened = parquet.ParquetFile(io.BytesIO(source.content))
        _refuse_large(opened.metadata, source)
        table = opened.read(use_threads=False)
        frame = _with_shapes(table.to_pandas(ignore_metadata=True), _geo(table.schema.metadata))
    except (OSError, ValueError, TypeError, KeyError, AttributeError, NotImplementedError):
        refuse("IN-002", source.name, "the file is damaged", "export it again")
    except shapely.GEOSException:
        refuse("IN-002", source.name, "a shape of the file is damaged", "export it again")
    return laid_out(frame, source, source.name)


def _refuse_large(metadata: Any, source: SourceFile) -> None:
    refuse_many_rows(metadata.num_rows, source, source.name)
    sizes = [metadata.row_group(n).total_byte_size for n in range(metadata.num_row_groups)]
    if sum(sizes) > LARGEST_UNPACKED_MB * 1_000_000 * (5 if source.read.allow_large else 1):
        problem = f"it unpacks to more than {LARGEST_UNPACKED_MB} MB"
        refuse("IN-017", source.name, problem, "keep only the columns that are needed")


def _geo(metadata: dict[bytes, bytes] | None) -> dict[str, Any]:
    parsed = json.loads((metadata or {}).get(b"geo", b"{}"))
    if not isinstance(parsed, dict):
        raise TypeError("the metadata are not an object")
    return parsed


def _with_shapes(frame: pd.DataFrame, geo: dict[str, Any]) -> pd.DataFrame:
    if not geo:
        return frame
    name = geo["primary_column"]
    column = geo["columns"][name]
    if column["encoding"] != "WKB":
        raise ValueError("the shapes are not in well-known binary")
    binary = [_single(value) for value in frame[name]]
    shapes = shapely.from_wkb(np.array(binary, dtype=object), on_invalid="ignore")
    crs = column.get("crs", WGS84)
    # By the standard a missing CRS is WGS 84, and a null one is unknown.
    rest = frame.drop(columns=name)
    return gpd.GeoDataFrame(rest, geometry=gpd.GeoSeries(shapes, index=rest.index, crs=crs))


def _single(value: bytes | None) -> bytes | None:
    """Return the shape unless it is a collection, whose depth could overflow the reader's stack."""
    if value is None or len(value) < 5:
        return None
    number = int.from_bytes(value[1:5], "little" if value[0] == 1 else "big")
    # Heights and measures are added as thousands or as high bits.
    return None if (number & 0xFFFF) % 1000 == _COLLECTION else value
