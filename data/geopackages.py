"""Reading one layer of a GeoPackage, as stored and not as computed."""

from __future__ import annotations

import contextlib
import re
import sqlite3
from collections.abc import Sequence
from functools import lru_cache

import pandas as pd
import pyogrio

from data.files import SourceFile
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

MOST_STEPS = 50_000_000
"""Steps of SQLite for its check of a file; a sound file of 50 MB needs a tenth."""

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
    with driver(source.name):
        _refuse_unsound(source.content, source.name)
        layers = _layers(source)
    layer = chosen_layer(layers, source)
    label = layer_label(layers, layer, source)
    with driver(label):
        _refuse_computed(source, layer, label)
        frame = _frame(source, layer, label)
    return laid_out(frame, source, label)


def _layers(source: SourceFile) -> Sequence[str]:
    return [str(name) for name in pyogrio.list_layers(source.content)[:, 0]]


def _frame(source: SourceFile, layer: str, label: str) -> pd.DataFrame:
    info = pyogrio.read_info(source.content, layer=layer, force_feature_count=True)
    rows = int(info["features"])
    refuse_many_rows(rows, source, label)
    refuse_many_cells(rows, len(info["fields"]), source, label)
    frame: pd.DataFrame = pyogrio.read_dataframe(source.content, layer=layer)
    return frame


@lru_cache(maxsize=1)
def _refuse_unsound(content: bytes, file: str) -> None:
    """Refuse a database whose pages are not each used once: what it holds could have no end.

    A page that is named twice can make a small file hold any number of large rows. The check is
    SQLite's own, stopped after so many steps that only a hostile file needs them.
    """
    with contextlib.closing(sqlite3.connect(":memory:")) as database:
        database.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, len(content) + 1_000_000)
        database.deserialize(content)
        database.set_progress_handler(lambda: 1, MOST_STEPS)
        ((said,),) = database.execute("PRAGMA quick_check(1)").fetchall()
    if said != "ok":
        refuse("IN-002", file, "the file is damaged", "export it again")


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
