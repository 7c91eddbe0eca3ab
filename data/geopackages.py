"""Reading one layer of a GeoPackage, as stored and not as computed."""

from __future__ import annotations

import contextlib
import re
import sqlite3
import warnings
from collections.abc import Sequence

import pandas as pd
import pyogrio
import shapely

from data.files import SourceFile
from data.layers import chosen_layer, laid_out, layer_label, refuse
from data.raw import RawTable
from data.tables import refuse_many_rows

_COMPUTED = re.compile(r"\bAS\s*\(", re.IGNORECASE)


def read_geopackage(source: SourceFile) -> RawTable:
    """Read one layer of a GeoPackage: the one named like the table, or the only one.

    Parameters
    ----------
    source
        The file.

    Returns
    -------
    RawTable
        One row per feature, counted from 1, in the layer's own CRS.

    Raises
    ------
    InputError
        When the file is damaged, the layer is not there or not clear, is computed by the file, or
        has no rows or no CRS.
    """
    try:
        layers = _layers(source)
        layer = chosen_layer(layers, source)
        label = layer_label(layers, layer, source)
        _refuse_computed(source, layer, label)
        frame = _frame(source, layer, label)
    except (RuntimeError, OSError, ValueError, sqlite3.Error, shapely.GEOSException):
        refuse("IN-002", source.name, "the file is damaged", "export it again")
    return laid_out(frame, source, label)


def _layers(source: SourceFile) -> Sequence[str]:
    with warnings.catch_warnings():
        # Drivers warn about details of the file; what matters is checked here.
        warnings.simplefilter("ignore")
        return [str(name) for name in pyogrio.list_layers(source.content)[:, 0]]


def _frame(source: SourceFile, layer: str, label: str) -> pd.DataFrame:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        info = pyogrio.read_info(source.content, layer=layer, force_feature_count=True)
        refuse_many_rows(int(info["features"]), source, label)
        frame: pd.DataFrame = pyogrio.read_dataframe(source.content, layer=layer)
        return frame


def _refuse_computed(source: SourceFile, layer: str, label: str) -> None:
    """Refuse a view, a virtual table or a computed column: they can take for ever, or all memory.

    The list of tables is text, so that looking at it computes nothing.
    """
    with contextlib.closing(sqlite3.connect(":memory:")) as database:
        database.deserialize(source.content)
        found = database.execute(
            "SELECT type, sql FROM sqlite_master WHERE lower(name) = lower(?)", (layer,)
        ).fetchall()
    for kind, sql in found:
        stored = kind == "table" and not str(sql).upper().startswith("CREATE VIRTUAL")
        if kind != "index" and (not stored or _COMPUTED.search(str(sql))):
            fix = "save the layer as a plain table in a new GeoPackage"
            refuse("IN-089", label, "the layer is computed, not stored", fix)
