"""Reading GeoParquet and plain Parquet, where the package for it is installed."""

from __future__ import annotations

import importlib
import io
import json
from typing import Any, NoReturn

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from data.archives import LARGEST_UNPACKED_MB
from data.coordinates import WGS84
from data.files import SourceFile
from data.layers import driver, laid_out, refuse, refuse_many_cells
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
    with driver(source.name):
        table = _table(parquet.ParquetFile(io.BytesIO(source.content)), parquet, source)
        frame = _with_shapes(table.to_pandas(ignore_metadata=True), _geo(table.schema.metadata))
    return laid_out(frame, source, source.name)


def _table(opened: Any, parquet: Any, source: SourceFile) -> Any:
    """Return the table once it is known that its values are not too many or too large.

    The file may write a value once and name it often; so texts are first read as it stores them.
    """
    schema = opened.schema_arrow
    _refuse_large(opened.metadata, source)
    stored = parquet.ParquetFile(io.BytesIO(source.content), read_dictionary=schema.names)
    table = stored.read(use_threads=False)
    if sum(_unpacked_bytes(column) for column in table.columns) > _largest(source):
        _refuse_unpacked(source)
    return opened.read(use_threads=False)


def _unpacked_bytes(column: Any) -> int:
    """Return how many bytes a column has when each row has its own value."""
    compute: Any = importlib.import_module("pyarrow.compute")
    total = 0
    for chunk in column.chunks:
        if not hasattr(chunk, "dictionary"):
            total += chunk.nbytes
            continue
        lengths = compute.binary_length(chunk.dictionary)
        total += compute.sum(compute.take(lengths, chunk.indices)).as_py() or 0
    return total


def _refuse_large(metadata: Any, source: SourceFile) -> None:
    refuse_many_rows(metadata.num_rows, source, source.name)
    groups = [metadata.row_group(n) for n in range(metadata.num_row_groups)]
    # A list holds more values than the table has rows.
    values = sum(g.column(n).num_values for g in groups for n in range(g.num_columns))
    refuse_many_cells(values, 1, source, source.name)
    if sum(group.total_byte_size for group in groups) > _largest(source):
        _refuse_unpacked(source)


def _largest(source: SourceFile) -> int:
    return LARGEST_UNPACKED_MB * 1_000_000 * (5 if source.read.allow_large else 1)


def _refuse_unpacked(source: SourceFile) -> NoReturn:
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
