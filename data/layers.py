"""What all readers of layers and sheets share: choosing one, and laying out its rows."""

from __future__ import annotations

import contextlib
import warnings
from collections.abc import Iterator, Sequence
from typing import Any, NoReturn

import geopandas as gpd
import pandas as pd
import pyproj
import shapely
from pyproj.exceptions import CRSError, ProjError

from data.cells import texts
from data.coordinates import WGS84
from data.files import SourceFile
from data.findings import Finding, InputError
from data.raw import NoSuchLayerError, RawTable, WrittenRows

MOST_CELLS = 1_500_000
"""Cells of one layer or sheet; ten times as many with `[read] allow_large`."""


MOST_COLUMNS = 2000
"""Columns of one layer, as many as GeoPackage allows; their names are compared with each other."""


def chosen_layer(layers: Sequence[str], source: SourceFile, word: str = "layer") -> str:
    """Return the layer or sheet to read: the one named like the table, or the only one.

    Parameters
    ----------
    layers
        All names in the file.
    source
        The file; in one that holds other tables too, only the name counts.
    word
        What this kind of file calls them.

    Raises
    ------
    NoSuchLayerError
        When a file of several tables has none of that name.
    InputError
        When it is not clear which one is meant.

    Examples
    --------
    >>> chosen_layer(["Visits ", "notes"], SourceFile("visits", "season.xlsx", b""))
    'Visits '
    """
    fits = [name for name in layers if name == source.table]
    fits = fits or [name for name in layers if name.strip().lower() == source.table]
    if len(fits) == 1:
        return fits[0]
    found = ", ".join(layers) or "none"
    fix = f"name the {word} {source.table!r}"
    if source.shared and not fits:
        problem = f"it has no {word} {source.table!r} (found: {found})"
        raise NoSuchLayerError([Finding("IN-088", source.name, problem, fix)])
    if len(layers) != 1:
        problem = f"it is not clear which {word} to read ({found})"
        refuse("IN-009", source.name, problem, fix)
    return layers[0]


def layer_label(layers: Sequence[str], layer: str, source: SourceFile) -> str:
    """Return what findings call one layer: with its name when the file has several."""
    return f"{source.name} [{layer}]" if source.shared or len(layers) > 1 else source.name


@contextlib.contextmanager
def driver(label: str) -> Iterator[None]:
    """Turn whatever a driver raises on a damaged file into a refusal; its warnings are silent.

    What drivers raise is told nowhere, and a fuzz run found a dozen kinds, `UnboundLocalError`
    among them. Only calls of drivers belong inside; our own refusals go through.

    Parameters
    ----------
    label
        What findings call the file.

    Raises
    ------
    InputError
        When the driver fails.
    """
    try:
        with warnings.catch_warnings():
            # Drivers warn about details of the file; what matters is checked here.
            warnings.simplefilter("ignore")
            yield
    except InputError:
        raise
    except MemoryError:
        refuse("IN-002", label, "the file needs more memory than there is", "export it again")
    except Exception:
        refuse("IN-002", label, "the file is damaged", "export it again")


def refuse_many_cells(rows: int, columns: int, source: SourceFile, label: str) -> None:
    """Refuse a layer of more cells or columns than are read at a time.

    Raises
    ------
    InputError
        When there are too many.
    """
    if columns > MOST_COLUMNS:
        problem = f"it has {columns:,} columns, more than {MOST_COLUMNS:,}"
        refuse("IN-094", label, problem, "keep only the columns that are needed")
    if rows * columns > MOST_CELLS * (10 if source.read.allow_large else 1):
        problem = f"it has {rows:,} rows of {columns:,} columns, more than {MOST_CELLS:,} cells"
        refuse("IN-094", label, problem, "keep only the columns that are needed")


def laid_out(frame: pd.DataFrame, source: SourceFile, label: str) -> RawTable:
    """Lay out the rows of a layer, counted from 1, with their shapes in the layer's own CRS.

    Parameters
    ----------
    frame
        As a driver reads it; with shapes when it is a GeoDataFrame.
    source
        The file; its `read` may declare the CRS that the file does not name.
    label
        What findings call it.

    Raises
    ------
    InputError
        When it has no rows, a column twice, too many cells, or shapes without a CRS.
    """
    if frame.empty:
        refuse("IN-004", label, "the layer has no rows", "add rows")
    refuse_many_cells(*frame.shape, source, label)
    _refuse_twice(frame, label)
    index = pd.RangeIndex(1, len(frame) + 1)
    shapes: gpd.GeoSeries | None = None
    if isinstance(frame, gpd.GeoDataFrame):
        flat = shapely.force_2d(frame.geometry.to_numpy())
        shapes = gpd.GeoSeries(flat, index, crs=settled_crs(frame.crs, source, label))
        frame = pd.DataFrame(frame.drop(columns=frame.geometry.name))
    decimal = source.read.decimal
    names = [str(name).strip() for name in frame]
    typed = [texts(frame[name].tolist(), decimal, strip=False) for name in frame]
    cells = {n: [t.strip() for t in column] for n, column in zip(names, typed, strict=True)}
    text = pd.DataFrame(cells, index=index, dtype=object)
    written = WrittenRows([names, *zip(*typed, strict=True)], first=1)
    read, grid = source.read, source.local_grid
    return RawTable(label, text, shapes, read=read, local_grid=grid, written=written)


def _refuse_twice(frame: pd.DataFrame, label: str) -> None:
    names = [str(name).strip() for name in frame]
    twice = sorted({name for name in names if names.count(name) > 1})
    problem, fix = "the column is there twice", "delete or rename one"
    if twice:
        raise InputError([Finding("IN-006", label, problem, fix, column=name) for name in twice])


def settled_crs(crs: Any, source: SourceFile, label: str) -> Any:
    """Return the CRS of a file, or the declared one where it names none.

    Raises
    ------
    InputError
        When there is neither, or both and they differ, or it is not one of places on a map.
    """
    declared = source.read.crs
    if not _is_known(crs):
        if declared is None:
            fix = "set its CRS in your GIS and export it again, or set crs under [read.{}]"
            problem = "the layer does not say its coordinate system"
            refuse("IN-064", label, problem, fix.format(source.table))
        return declared
    if not _is_on_a_map(crs):
        problem = f"positions in the file's coordinate system ({pyproj.CRS(crs).name[:60]}) are"
        refuse("IN-064", label, f"{problem} not on a map", "export it again in WGS 84")
    if declared is not None and not _is_same(crs, declared):
        problem = f"site.toml says {declared}, but the file says {pyproj.CRS(crs).name}"
        fix = (
            f"take crs out of [read] or [read.{source.table}] in site.toml, wherever it stands; a "
            "file without a CRS can have it under [read.<its table>]"
        )
        refuse("IN-064", label, problem, fix)
    return crs


def _is_known(crs: object) -> bool:
    try:
        return crs is not None and pyproj.CRS.from_user_input(crs).name.lower() != "unknown"
    except CRSError:
        return False


def _is_on_a_map(crs: object) -> bool:
    """Return whether positions in a CRS can be turned into longitude and latitude."""
    try:
        known = pyproj.CRS.from_user_input(crs)
        if not (known.is_projected or known.is_geographic):
            return False
        pyproj.Transformer.from_crs(known, WGS84)
    except ProjError:
        return False
    return True


def _is_same(crs: object, declared: str) -> bool:
    one, other = pyproj.CRS.from_user_input(crs), pyproj.CRS.from_user_input(declared)
    return one.equals(other, ignore_axis_order=True) or one.to_epsg() == other.to_epsg()


def refuse(code: str, file: str, problem: str, fix: str) -> NoReturn:
    """Refuse a whole file.

    Raises
    ------
    InputError
        Always.
    """
    raise InputError([Finding(code, file, problem, fix)])
