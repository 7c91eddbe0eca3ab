"""Reading Shapefiles, loose or zipped; the driver only ever sees a checked copy in memory."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePosixPath

import numpy as np
import pandas as pd
import pyogrio

from data.archives import pack, unpack
from data.encodings import decode
from data.files import SHAPEFILE_PARTS, SourceFile, is_shapefile
from data.findings import Finding, InputError
from data.layers import (
    chosen_layer,
    driver,
    laid_out,
    layer_label,
    refuse,
    refuse_many_cells,
)
from data.raw import RawTable
from data.tables import refuse_many_rows

_NAME = "layer"
"""Name of the members of the copy: nothing of the file's own names reaches the driver."""

_SHX_HEADER = 100

_DBF_VERSIONS = b"\x02\x03\x04\x05\x30\x31\x32\x43\x63\x83\x8b\x8c\xcb\xf5\xfb"

_WHAT = {
    ".dbf": "it holds the columns",
    ".shx": "it says where each shape starts",
    ".prj": "it says the coordinate system",
}


def read_shapefile(source: SourceFile) -> RawTable:
    """Read a loose Shapefile with the files beside it.

    Parameters
    ----------
    source
        The .shp, with its parts.

    Returns
    -------
    RawTable
        One row per feature, counted from 1.

    Raises
    ------
    InputError
        When a part is missing or damaged, or the coordinate system is not known.
    """
    return _read({".shp": source.content, **source.parts}, source, source.name)


def read_zipped_shapefile(source: SourceFile) -> RawTable:
    """Read a Shapefile in a zip archive: the one named like the table, or the only one.

    Raises
    ------
    InputError
        As `read_shapefile`, and when the archive is not safe or holds no Shapefile.
    """
    suffixes = (".shp", *SHAPEFILE_PARTS)

    def wanted(name: str) -> bool:
        # A Mac adds a folder of shadows of every file.
        path = PurePosixPath(name)
        return path.suffix.lower() in suffixes and "__MACOSX" not in path.parts

    members = unpack(source.content, source.name, wanted, large=source.read.allow_large)
    paths = {PurePosixPath(name): content for name, content in members.items()}
    stems = sorted({str(path.with_suffix("")) for path in paths if path.suffix.lower() == ".shp"})
    if not stems:
        refuse("IN-003", source.name, "it holds no .shp", "zip all files of the Shapefile")
    by_name = {PurePosixPath(stem).name: stem for stem in stems}
    name = chosen_layer(sorted(by_name), source)
    stem = by_name[name]
    parts = {
        path.suffix.lower(): content
        for path, content in paths.items()
        if str(path.with_suffix("")) == stem
    }
    return _read(parts, source, layer_label(stems, name, source))


def _read(parts: Mapping[str, bytes], source: SourceFile, label: str) -> RawTable:
    _refuse_incomplete(parts, source, label)
    if not is_shapefile(parts[".shp"]) or parts[".dbf"][:1] not in _bytes(_DBF_VERSIONS):
        refuse("IN-003", label, "a part does not hold what its suffix promises", "export it again")
    rows = int.from_bytes(parts[".dbf"][4:8], "little")
    refuse_many_rows(rows, source, label)
    # The header of a .dbf is 32 bytes, then 32 for each column (dBASE III, as GDAL reads it).
    columns = int.from_bytes(parts[".dbf"][8:10], "little") // 32 - 1
    refuse_many_cells(rows, columns, source, label)
    _refuse_shared_records(parts, label)
    copy = pack({_NAME + suffix: content for suffix, content in parts.items()})
    with driver(label):
        frame: pd.DataFrame = pyogrio.read_dataframe(copy, encoding=source.read.encoding)
    return laid_out(frame, source, label)


def _refuse_shared_records(parts: Mapping[str, bytes], label: str) -> None:
    """Refuse a .shx whose records are more than the .shp can hold without sharing any.

    Otherwise a small file could hold a large shape a hundred thousand times over. Lengths count
    words of two bytes, without the eight bytes before each record (ESRI 1998, pages 5 and 23).
    """
    index = parts[".shx"][_SHX_HEADER:]
    lengths = np.frombuffer(index[: len(index) // 8 * 8], dtype=">u4")[1::2].astype(np.int64)
    if int(lengths.sum()) * 2 + 8 * len(lengths) > len(parts[".shp"]):
        refuse("IN-002", label, "the .shx names more than the .shp holds", "export it again")


def _refuse_incomplete(parts: Mapping[str, bytes], source: SourceFile, label: str) -> None:
    needed = [suffix for suffix in _WHAT if suffix != ".prj" or source.read.crs is None]
    missing = [suffix for suffix in needed if not parts.get(suffix, b"").strip(b"\0 ")]
    if missing:
        raise InputError([_missing(label, suffix, source.table) for suffix in missing])
    if ".prj" in parts and not _is_plain(parts[".prj"]):
        refuse("IN-003", label, "its .prj is not text", "export it again")


def _is_plain(content: bytes) -> bool:
    try:
        return "\0" not in decode(content).text
    except ValueError:
        return False


def _missing(label: str, suffix: str, table: str) -> Finding:
    fix = f"copy the file of the same name with {suffix} beside it"
    if suffix == ".prj":
        fix += f', or set crs = "EPSG:..." under [read.{table}] in site.toml'
    return Finding("IN-085", label, f"the {suffix} is missing ({_WHAT[suffix]})", fix)


def _bytes(values: bytes) -> list[bytes]:
    return [bytes([value]) for value in values]
