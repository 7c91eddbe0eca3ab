"""Reading shapes: one reader per file suffix."""

from __future__ import annotations

import json
import warnings
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NoReturn

import geopandas as gpd
import pandas as pd
import pyogrio
import pyproj
import shapely
from pyproj.exceptions import CRSError

from data.files import SourceFile
from data.findings import Finding, InputError
from data.raw import RawTable

WGS84 = "EPSG:4326"

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
    rows = [_properties(feature) for feature in features]
    index = range(1, len(rows) + 1)
    text = pd.DataFrame(rows, index=index).fillna("").astype(object)
    geometries = [json.dumps(feature.get("geometry")) for feature in features]
    shapes = shapely.force_2d(shapely.from_geojson(geometries, on_invalid="ignore"))
    return RawTable(source.name, text, gpd.GeoSeries(shapes, index=index, crs=WGS84))


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
        When the file is damaged, the layer is not there or not clear, has no rows or no CRS.
    """
    try:
        with warnings.catch_warnings():
            # Drivers warn about details of the file; what matters is checked below.
            warnings.simplefilter("ignore")
            layers = [str(name) for name in pyogrio.list_layers(source.content)[:, 0]]
            layer = _chosen_layer(layers, source)
            frame = pyogrio.read_dataframe(source.content, layer=layer)
    except (RuntimeError, OSError, ValueError, UnicodeDecodeError, shapely.GEOSException):
        _refuse("IN-002", source.name, "the file is damaged", "export it again")
    if not isinstance(frame, gpd.GeoDataFrame):
        _refuse("IN-060", source.name, "the layer has no shapes", "export the layer with shapes")
    if frame.empty:
        _refuse("IN-004", source.name, f"layer {layer!r} has no rows", "add rows")
    _refuse_unknown_crs(frame.crs, source.name)
    frame.index = pd.RangeIndex(1, len(frame) + 1)
    columns = frame.drop(columns=frame.geometry.name)
    text = columns.astype(object).map(_as_text).astype(object)
    shapes = gpd.GeoSeries(shapely.force_2d(frame.geometry.to_numpy()), frame.index, crs=frame.crs)
    return RawTable(source.name, text, shapes)


def _json_object(source: SourceFile) -> _Json:
    def refuse_constant(name: str) -> NoReturn:
        raise ValueError(name)

    try:
        parsed = json.loads(source.content.decode("utf-8-sig"), parse_constant=refuse_constant)
    except (ValueError, RecursionError):
        _refuse("IN-002", source.name, "the text is not valid JSON", "export it again")
    if not isinstance(parsed, dict):
        _refuse("IN-003", source.name, "the file is not a JSON object", "export it as GeoJSON")
    return parsed


def _features(parsed: _Json, file: str) -> Sequence[_Json]:
    features = parsed.get("features")
    if parsed.get("type") != "FeatureCollection" or not isinstance(features, list):
        _refuse("IN-003", file, "it is not a FeatureCollection", "export it as GeoJSON")
    if not features:
        _refuse("IN-004", file, "it has no features", "add rows")
    if "crs" in parsed and not json.dumps(parsed["crs"]).lower().rstrip('"} ').endswith(
        _WGS84_NAMES
    ):
        fix = "export it in WGS 84 longitude and latitude, or as a GeoPackage"
        _refuse("IN-064", file, "the file says it is not in WGS 84", fix)
    return [feature if isinstance(feature, dict) else {} for feature in features]


def _properties(feature: _Json) -> dict[str, str]:
    properties = feature.get("properties")
    properties = properties if isinstance(properties, dict) else {}
    own_id = {"id": feature["id"]} if "id" in feature else {}
    return {name.strip(): _as_text(value) for name, value in {**own_id, **properties}.items()}


def _as_text(value: Any) -> str:
    """Write one property as a person would type it.

    >>> [_as_text(v) for v in (None, 7.0, 0.5, True, float("nan"), "a ")]
    ['', '7', '0.5', 'true', '', 'a']
    """
    if isinstance(value, dict | list):
        return json.dumps(value)
    if pd.isna(value):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:.0f}" if value.is_integer() else repr(float(value))
    if isinstance(value, pd.Timestamp):
        # A date without a time of day is written as people write dates.
        return value.isoformat().removesuffix("T00:00:00")
    return str(value).strip()


def _chosen_layer(layers: Sequence[str], source: SourceFile) -> str:
    if source.table in layers:
        return source.table
    if len(layers) != 1:
        found = ", ".join(layers) or "none"
        fix = f"name the layer {source.table!r}"
        _refuse("IN-009", source.name, f"it is not clear which layer to read ({found})", fix)
    return layers[0]


def _refuse_unknown_crs(crs: object, file: str) -> None:
    try:
        known = crs is not None and pyproj.CRS.from_user_input(crs).name.lower() != "unknown"
    except CRSError:
        known = False
    if not known:
        fix = "set its CRS in your GIS and export it again"
        _refuse("IN-064", file, "the layer does not say its coordinate system", fix)


def _refuse(code: str, file: str, problem: str, fix: str) -> NoReturn:
    raise InputError([Finding(code, file, problem, fix)])


SHAPE_READERS: dict[str, Callable[[SourceFile], RawTable]] = {
    ".geojson": read_geojson,
    ".gpkg": read_geopackage,
}
"""Suffix -> reader; a new kind of shape file is one function and one line here."""
