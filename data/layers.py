"""What all readers of layers and sheets share: choosing one, and laying out its rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NoReturn

import geopandas as gpd
import pandas as pd
import pyproj
import shapely
from pyproj.exceptions import CRSError

from data.cells import texts
from data.files import SourceFile
from data.findings import Finding, InputError
from data.raw import NoSuchLayerError, RawTable


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
        When it has no rows, or shapes without a CRS.
    """
    if frame.empty:
        refuse("IN-004", label, "the layer has no rows", "add rows")
    index = pd.RangeIndex(1, len(frame) + 1)
    shapes: gpd.GeoSeries | None = None
    if isinstance(frame, gpd.GeoDataFrame):
        flat = shapely.force_2d(frame.geometry.to_numpy())
        shapes = gpd.GeoSeries(flat, index, crs=settled_crs(frame.crs, source, label))
        frame = pd.DataFrame(frame.drop(columns=frame.geometry.name))
    decimal = source.read.decimal
    cells = {str(name).strip(): texts(frame[name].tolist(), decimal) for name in frame}
    text = pd.DataFrame(cells, index=index, dtype=object)
    return RawTable(label, text, shapes, read=source.read, local_grid=source.local_grid)


def settled_crs(crs: Any, source: SourceFile, label: str) -> Any:
    """Return the CRS of a file, or the declared one where it names none.

    Raises
    ------
    InputError
        When there is neither, or both and they differ.
    """
    declared = source.read.crs
    if not _is_known(crs):
        if declared is None:
            fix = "set its CRS in your GIS and export it again, or set crs under [read.{}]"
            problem = "the layer does not say its coordinate system"
            refuse("IN-064", label, problem, fix.format(source.table))
        return declared
    if declared is not None and not _is_same(crs, declared):
        problem = f"site.toml says {declared}, but the file says {pyproj.CRS(crs).name}"
        refuse("IN-064", label, problem, f"take crs out of [read.{source.table}] in site.toml")
    return crs


def _is_known(crs: object) -> bool:
    try:
        return crs is not None and pyproj.CRS.from_user_input(crs).name.lower() != "unknown"
    except CRSError:
        return False


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
