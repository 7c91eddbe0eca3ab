"""Reading shapes: one reader per file suffix."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NoReturn

import geopandas as gpd
import pandas as pd
import shapely

from data.cells import cell_text
from data.coordinates import WGS84
from data.files import SourceFile
from data.geopackages import read_geopackage
from data.layers import refuse, refuse_many_cells
from data.parquets import read_geoparquet
from data.placemarks import read_gpx, read_kml, read_kmz
from data.raw import RawTable, WrittenRows
from data.settings import Decimal
from data.shapefiles import read_shapefile, read_zipped_shapefile
from data.tables import refuse_many_rows

MOST_MARKS = 2_000_000
"""Brackets and commas of a GeoJSON file, ten times as many with `[read] allow_large`: each stands
for a value that takes some 60 bytes of memory, however short its text is."""

_WGS84_NAMES = ("crs84", "epsg:4326", "epsg::4326")

_Json = Mapping[str, Any]


def read_geojson(source: SourceFile) -> RawTable:
    """Read a GeoJSON feature collection, in WGS 84 as RFC 7946 requires.

    Parameters
    ----------
    source
        The file.

    Returns
    -------
    RawTable
        One row per feature, counted from 1; a shape that cannot be read is None.

    Raises
    ------
    InputError
        When the text is not JSON, not a feature collection, empty, or in another system.

    Examples
    --------
    >>> feature = '{"type": "Feature", "properties": {"zone_id": 7}, "geometry": null}'
    >>> text = '{"type": "FeatureCollection", "features": [' + feature + "]}"
    >>> read_geojson(SourceFile("zones", "zones.geojson", text.encode())).text
        zone_id
    1       7
    """
    features = _features(_json_object(source), source.name)
    refuse_many_rows(len(features), source, source.name)
    rows = [_properties(feature, source.read.decimal) for feature in features]
    refuse_many_cells(len(rows), len({name for row in rows for name in row}), source, source.name)
    index = range(1, len(rows) + 1)
    typed = pd.DataFrame(rows, index=index).fillna("").astype(object)
    written = WrittenRows(
        [typed.columns.astype(str).tolist(), *typed.itertuples(index=False, name=None)], first=1
    )
    geometries = [json.dumps(feature.get("geometry")) for feature in features]
    shapes = shapely.force_2d(shapely.from_geojson(geometries, on_invalid="ignore"))
    series = gpd.GeoSeries(shapes, index=index, crs=WGS84)
    text = typed.map(str.strip)
    read, grid = source.read, source.local_grid
    return RawTable(source.name, text, series, read=read, local_grid=grid, written=written)


def _json_object(source: SourceFile) -> _Json:
    def refuse_constant(name: str) -> NoReturn:
        raise ValueError(name)

    _refuse_many_values(source)
    try:
        parsed = json.loads(source.content.decode("utf-8-sig"), parse_constant=refuse_constant)
        if b"\\u" in source.content:
            # An escape may stand for half a character, which no text can hold.
            json.dumps(parsed, ensure_ascii=False).encode()
    except (ValueError, RecursionError):
        refuse("IN-002", source.name, "the text is not valid JSON", "export it again")
    if not isinstance(parsed, dict):
        refuse("IN-003", source.name, "the file is not a JSON object", "export it as GeoJSON")
    return parsed


def _refuse_many_values(source: SourceFile) -> None:
    marks = sum(source.content.count(mark) for mark in (b"[", b"{", b","))
    if marks > MOST_MARKS * (10 if source.read.allow_large else 1):
        fix = "simplify the outlines in your GIS; a vertex every half metre is plenty"
        refuse("IN-094", source.name, f"it holds {marks:,} values", fix)


def _features(parsed: _Json, file: str) -> Sequence[_Json]:
    features = parsed.get("features")
    if parsed.get("type") != "FeatureCollection" or not isinstance(features, list):
        refuse("IN-003", file, "it is not a FeatureCollection", "export it as GeoJSON")
    if not features:
        refuse("IN-004", file, "it has no features", "add rows")
    if parsed.get("crs") is not None and not json.dumps(parsed["crs"]).lower().rstrip(
        '"} '
    ).endswith(_WGS84_NAMES):
        fix = "export it in WGS 84 longitude and latitude, or as a GeoPackage"
        refuse("IN-064", file, "the file says it is not in WGS 84", fix)
    return [feature if isinstance(feature, dict) else {} for feature in features]


def _properties(feature: _Json, decimal: Decimal) -> dict[str, str]:
    properties = feature.get("properties")
    properties = properties if isinstance(properties, dict) else {}
    own_id = {"id": feature["id"]} if "id" in feature else {}
    cells = {**own_id, **properties}
    return {
        name.strip(): value if isinstance(value, str) else cell_text(value, decimal)
        for name, value in cells.items()
    }


SHAPE_READERS: dict[str, Callable[[SourceFile], RawTable]] = {
    ".geojson": read_geojson,
    ".gpkg": read_geopackage,
    ".shp": read_shapefile,
    ".zip": read_zipped_shapefile,
    ".kml": read_kml,
    ".kmz": read_kmz,
    ".gpx": read_gpx,
    ".parquet": read_geoparquet,
}
"""Suffix -> reader; a new kind of shape file is one function and one line here."""
