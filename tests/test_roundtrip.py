"""Whatever valid rows are written, in every format, the same cells are read back."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from formats import kml, ods, shapefile, xlsx, zipped
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from data.files import SHAPEFILE_PARTS, SourceFile
from data.reading import READERS

HEADER = ["trap_id", "set_on", "checked_on", "status", "adults", "minutes", "note"]

# No control characters and no surrogates: XML cannot hold them, so no spreadsheet can.
LETTERS = st.characters(min_codepoint=33, max_codepoint=0x2FFF, exclude_categories=["C", "Z"])
WORDS = st.text(LETTERS, min_size=1, max_size=8)
DAYS = st.dates(pd.Timestamp("2020-01-01").date(), pd.Timestamp("2035-12-31").date()).map(str)
COUNTS = st.integers(0, 5000).map(str)
IDS = WORDS | st.sampled_from(["NA", "007", "1E5", "5-Jan", "null", "=1+1", "-1", "true", "nan"])
ROWS = st.lists(
    st.tuples(
        *(IDS, DAYS, DAYS, st.sampled_from(["ok", "flooded"]), st.just("") | COUNTS),
        *(st.sampled_from(["", "2.5", "0"]), st.just("") | WORDS),
    ),
    min_size=1,
    max_size=6,
)
EVERY = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def _csv(rows: list[list[str]], _folder: Path) -> bytes:
    buffer = io.StringIO(newline="")
    csv.writer(buffer).writerows(rows)
    return buffer.getvalue().encode()


def _tsv(rows: list[list[str]], _folder: Path) -> bytes:
    buffer = io.StringIO(newline="")
    csv.writer(buffer, delimiter="\t").writerows(rows)
    return buffer.getvalue().encode("utf-16")


def _frame(rows: list[list[str]]) -> pd.DataFrame:
    return pd.DataFrame(rows[1:], columns=rows[0], dtype=object)


def _gpkg(rows: list[list[str]], folder: Path) -> bytes:
    path = folder / "visits.gpkg"
    path.unlink(missing_ok=True)
    pyogrio.write_dataframe(_frame(rows), path, layer="visits", driver="GPKG")
    return path.read_bytes()


def _geojson(rows: list[list[str]], _folder: Path) -> bytes:
    blank = gpd.GeoDataFrame(_frame(rows), geometry=[None] * (len(rows) - 1), crs="EPSG:4326")
    return str(blank.to_json()).encode()


def _parquet(rows: list[list[str]], _folder: Path) -> bytes:
    buffer = io.BytesIO()
    _frame(rows).to_parquet(buffer)
    return buffer.getvalue()


TABLES: dict[str, Callable[[list[list[str]], Path], bytes]] = {
    ".csv": _csv,
    ".tsv": _tsv,
    ".xlsx": lambda rows, _: xlsx({"visits": rows}),
    ".ods": lambda rows, _: ods({"visits": rows}),
    ".gpkg": _gpkg,
    ".geojson": _geojson,
    ".parquet": _parquet,
}


@pytest.mark.parametrize("suffix", TABLES)
@EVERY
@given(rows=ROWS)
def test_rows_of_a_table_read_back_equal(
    suffix: str, rows: list[tuple[str, ...]], tmp_path: Path
) -> None:
    written = [HEADER, *(list(row) for row in rows)]
    content = TABLES[suffix](written, tmp_path)
    raw = READERS[suffix](SourceFile("visits", f"visits{suffix}", content))
    assert raw.text[HEADER].to_numpy().tolist() == written[1:]
    assert raw.findings == ()


DEGREES = st.integers(-80_000_000, 80_000_000).map(lambda n: n / 1_000_000)
SHAPES = st.lists(st.tuples(IDS, WORDS, DEGREES, DEGREES), min_size=1, max_size=5)


def _shapes(rows: list[tuple[str, str, float, float]]) -> gpd.GeoDataFrame:
    squares = [shapely.box(x, y, x + 0.001, y + 0.001) for _, _, x, y in rows]
    table = {"zone_id": [row[0] for row in rows], "use": [row[1] for row in rows]}
    return gpd.GeoDataFrame(table, geometry=squares, crs="EPSG:4326")


@pytest.mark.parametrize(
    "suffix", [".geojson", ".gpkg", ".shp", ".zip", ".kml", ".kmz", ".parquet"]
)
@EVERY
@given(rows=SHAPES)
def test_shapes_and_their_cells_read_back_equal(
    suffix: str, rows: list[tuple[str, str, float, float]], tmp_path: Path
) -> None:
    frame = _shapes(rows)
    source = _source(suffix, frame, tmp_path)
    raw = READERS[suffix](source)
    assert raw.text[["zone_id", "use"]].to_numpy().tolist() == [[row[0], row[1]] for row in rows]
    assert raw.geometry is not None
    one, other = raw.geometry.normalize(), frame.geometry.normalize()
    assert one.reset_index(drop=True).geom_equals_exact(other, tolerance=1e-9).all()


def _source(suffix: str, frame: gpd.GeoDataFrame, folder: Path) -> SourceFile:
    name = f"zones{suffix}"
    if suffix in (".shp", ".zip"):
        parts = shapefile(frame, folder / "shapes", "zones")
        if suffix == ".zip":
            return SourceFile("zones", name, zipped(parts))
        beside = {s: parts[f"zones{s}"] for s in SHAPEFILE_PARTS}
        return SourceFile("zones", name, parts["zones.shp"], beside)
    if suffix in (".kml", ".kmz"):
        text = kml(frame, "zone_id")
        return SourceFile("zones", name, text if suffix == ".kml" else zipped({"doc.kml": text}))
    if suffix == ".geojson":
        return SourceFile("zones", name, str(frame.to_json()).encode())
    path = folder / name
    path.unlink(missing_ok=True)
    if suffix == ".parquet":
        frame.to_parquet(path)
    else:
        frame.to_file(path, layer="zones", driver="GPKG")
    return SourceFile("zones", name, path.read_bytes())
