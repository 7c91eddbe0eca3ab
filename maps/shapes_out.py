"""Traps and zones as GPX and GeoJSON, in WGS 84 longitude and latitude."""

from __future__ import annotations

import json
from collections.abc import Sequence
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from maps.exports import WGS84, number_text, rounded
from maps.records import Records, day_text, provenance, short_provenance
from maps.xml_text import add_text, document, xml_text

DEGREE_DECIMALS = 7
"""About 1 cm; RFC 7946, section 11.2, finds 6 enough."""

TRAP_COLUMNS = (
    "trap_id",
    "design",
    "installed",
    "removed",
    "axis_deg",
    "slot_m",
    "elevation_m",
    "note",
    "location_id",
)
ZONE_COLUMNS = ("zone_id", "use", "name", "priority", "note")


def traps_gpx(records: Records) -> str:
    """Return `traps.gpx` (GPX 1.1): one waypoint per trap location, for a hand-held receiver.

    Elements follow the order of the schema: name, cmt (the note), desc (design and the days in
    place), type (the design). Days are in the text, for a GPX time is a moment in UTC, which no
    trap has.
    """
    traps = in_degrees(records.site.traps)
    root = ET.Element(
        "gpx",
        {
            "version": "1.1",
            "creator": f"snoutline {provenance(records)['snoutline']}",
            "xmlns": "http://www.topografix.com/GPX/1/1",
        },
    )
    about = ET.SubElement(root, "metadata")
    add_text(about, "name", f"Traps, {records.site.settings.name}, {records.week}")
    add_text(about, "desc", short_provenance(records))
    for position in range(len(traps)):
        _add_waypoint(root, traps.iloc[position])
    return document(root)


def traps_geojson(records: Records) -> str:
    """Return `traps.geojson` (RFC 7946): one point per trap location, columns `TRAP_COLUMNS`."""
    return _collection(records, records.site.traps, TRAP_COLUMNS)


def zones_geojson(records: Records) -> str:
    """Return `zones.geojson` (RFC 7946): outer rings run counter-clockwise, holes clockwise."""
    return _collection(records, records.site.zones, ZONE_COLUMNS)


def in_degrees(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return a table in WGS 84, rounded to 7 decimals, with right-hand rings (RFC 7946, 3.1.6).

    Examples
    --------
    >>> clockwise = shapely.Polygon([(0, 0), (0, 1), (1, 1), (1, 0)])
    >>> table = gpd.GeoDataFrame(geometry=[clockwise], crs="EPSG:4326")
    >>> in_degrees(table).geometry.iloc[0].exterior.is_ccw
    True
    """
    shapes = table.geometry.to_crs(WGS84).to_numpy()
    # Adding 0.0 turns a negative zero into zero.
    near = shapely.transform(shapes, lambda xy: np.round(xy, DEGREE_DECIMALS) + 0.0)
    return table.set_geometry(gpd.GeoSeries(shapely.orient_polygons(near), table.index, crs=WGS84))


def _add_waypoint(root: ET.Element, trap: pd.Series) -> None:
    place = {
        "lat": number_text(trap["geometry"].y, DEGREE_DECIMALS),
        "lon": number_text(trap["geometry"].x, DEGREE_DECIMALS),
    }
    waypoint = ET.SubElement(root, "wpt", place)
    add_text(waypoint, "name", str(trap["location_id"]))
    if trap["note"]:
        add_text(waypoint, "cmt", str(trap["note"]))
    add_text(waypoint, "desc", f"{trap['design']}, {life_text(trap)}")
    # A reader of receivers' files, ours too, takes the type for the design.
    add_text(waypoint, "type", str(trap["design"]))


def life_text(trap: pd.Series) -> str:
    """Return the days a trap stood at its place, in words.

    Examples
    --------
    >>> trap = pd.Series({"installed": pd.Timestamp("2026-04-06"), "removed": pd.NaT})
    >>> life_text(trap)
    'in place from 2026-04-06'
    """
    first, last = day_text(trap["installed"]), day_text(trap["removed"])
    days = " ".join([f"from {first}"] * bool(first) + [f"to {last}"] * bool(last))
    return f"in place {days}" if days else "in place all along"


def _collection(records: Records, table: gpd.GeoDataFrame, columns: Sequence[str]) -> str:
    degrees = in_degrees(table)
    features = [_feature(degrees.iloc[position], columns) for position in range(len(degrees))]
    whole = {
        "type": "FeatureCollection",
        "provenance": provenance(records),
        "features": features,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _feature(row: pd.Series, columns: Sequence[str]) -> dict[str, object]:
    return {
        "type": "Feature",
        "geometry": shapely.geometry.mapping(row["geometry"]),
        "properties": {name: _property(row[name]) for name in columns},
    }


def _property(value: object) -> object:
    if isinstance(value, pd.Timestamp):
        return day_text(value)
    if isinstance(value, str):
        return xml_text(value)
    return rounded(value, 6)
