"""Reading the places of KML, KMZ and GPX: a name is an id, and positions are on WGS 84."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any
from xml.etree.ElementTree import Element

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from data.archives import unpack
from data.coordinates import WGS84
from data.files import SourceFile
from data.layers import refuse, refuse_many_cells
from data.raw import RawTable
from data.tables import refuse_many_rows
from data.xml_trees import parse_xml
from data.zones import MOST_VERTICES

_IDS = {"zones": "zone_id", "traps": "trap_id", "refuges": "id", "obstacles": "id"}
"""Table -> the column that the name of a place fills when the file has no such column."""

_Place = tuple[dict[str, str], BaseGeometry | None]


def read_kml(source: SourceFile) -> RawTable:
    """Read the placemarks of a KML file (OGC 07-147r2), of all its folders.

    Parameters
    ----------
    source
        The file.

    Returns
    -------
    RawTable
        One row per placemark, counted from 1. Its extended data are columns; its name is the id
        where they hold none.

    Raises
    ------
    InputError
        When the text is not XML or not safe, or has no placemarks.
    """
    root = parse_xml(source.content, source.name, large=source.read.allow_large)
    if _local(root) != "kml":
        refuse("IN-003", source.name, "it is not KML", "export it as KML")
    return _table([_placemark(each) for each in _placemarks(root)], source)


def read_kmz(source: SourceFile) -> RawTable:
    """Read the first KML file of a KMZ archive.

    Raises
    ------
    InputError
        As `read_kml`, and when the archive is not safe or holds no KML.
    """
    members = unpack(
        source.content,
        source.name,
        lambda name: name.lower().endswith(".kml"),
        large=source.read.allow_large,
    )
    if not members:
        refuse("IN-003", source.name, "it holds no .kml", "export it as KMZ")
    # By the standard the main file is the first one at the top.
    name = min(members, key=lambda name: name.count("/"))
    root = parse_xml(members[name], source.name, large=source.read.allow_large)
    return _table([_placemark(each) for each in _placemarks(root)], source)


def read_gpx(source: SourceFile) -> RawTable:
    """Read the waypoints of a GPX file (GPX 1.1 schema); tracks and routes are not read.

    Returns
    -------
    RawTable
        One row per waypoint, counted from 1: its name is the id, and its type the design unless
        `[read]` declares one.

    Raises
    ------
    InputError
        When the text is not XML or not safe, or has no waypoints.
    """
    root = parse_xml(source.content, source.name, large=source.read.allow_large)
    if _local(root) != "gpx":
        refuse("IN-003", source.name, "it is not GPX", "export it as GPX")
    # What a receiver writes for the type may be "user"; a declared design is surer.
    typed = source.read.design is None
    places = [_waypoint(each, typed=typed) for each in root if _local(each) == "wpt"]
    return _table(places, source)


def _table(places: Sequence[_Place], source: SourceFile) -> RawTable:
    if not places:
        refuse("IN-004", source.name, "it has no places", "add placemarks or waypoints")
    refuse_many_rows(len(places), source, source.name)
    names = {name for cells, _ in places for name in cells}
    refuse_many_cells(len(places), len(names), source, source.name)
    index = pd.RangeIndex(1, len(places) + 1)
    text = pd.DataFrame([cells for cells, _ in places], index=index, dtype=object).fillna("")
    own_id = _IDS.get(source.table, "name")
    for ours, theirs in ((own_id, "name"), ("note", "description")):
        if ours not in text and theirs in text:
            text[ours] = text[theirs]
    shapes = gpd.GeoSeries(np.array([s for _, s in places], dtype=object), index=index, crs=WGS84)
    return RawTable(source.name, text, shapes, read=source.read, local_grid=source.local_grid)


def _placemarks(root: Element) -> Iterator[Element]:
    """Return the placemarks in the order of the file; there is none inside another."""
    waiting = [root]
    while waiting:
        element = waiting.pop()
        if _local(element) == "Placemark":
            yield element
        else:
            waiting.extend(reversed(element))


def _placemark(place: Element) -> _Place:
    cells = {"name": _text(place, "name"), "description": _text(place, "description")}
    for data in place.iter():
        kind = _local(data)
        if kind == "Data":
            cells[data.get("name", "").strip()] = _text(data, "value")
        elif kind == "SimpleData":
            cells[data.get("name", "").strip()] = (data.text or "").strip()
    cells.pop("", None)
    shapes = [shape for each in place if (shape := _shape(each)) is not None]
    return cells, shapes[0] if len(shapes) == 1 else None


def _waypoint(place: Element, *, typed: bool) -> _Place:
    cells = {"name": _text(place, "name"), "note": _text(place, "desc") or _text(place, "cmt")}
    design = _text(place, "type")
    if design:
        cells["design" if typed else "type"] = design
    try:
        point = shapely.Point(float(place.get("lon", "")), float(place.get("lat", "")))
    except ValueError:
        return cells, None
    return cells, point


def _shape(element: Element) -> BaseGeometry | None:
    make = _SHAPES.get(_local(element))
    try:
        return None if make is None else make(element)
    except (ValueError, shapely.GEOSException):
        return None


def _point(element: Element) -> BaseGeometry | None:
    positions = _positions(element)
    return shapely.Point(positions[0]) if len(positions) == 1 else None


def _line(element: Element) -> BaseGeometry:
    return shapely.LineString(_positions(element))


def _polygon(element: Element) -> BaseGeometry | None:
    outer = [_positions(each) for each in element if _local(each) == "outerBoundaryIs"]
    inner = [_positions(each) for each in element if _local(each) == "innerBoundaryIs"]
    return shapely.Polygon(outer[0], inner) if len(outer) == 1 else None


def _several(element: Element) -> BaseGeometry | None:
    parts = [_shape(each) for each in element if _local(each) in _SHAPES]
    known = [part for part in parts if part is not None]
    kinds = {part.geom_type for part in known}
    if len(known) < len(parts) or len(kinds) != 1:
        return None
    if len(known) == 1:
        return known[0]
    join = _JOINED.get(kinds.pop())
    joined: BaseGeometry | None = None if join is None else join(known)
    return joined


def _positions(element: Element) -> list[tuple[float, float]]:
    """Return longitude and latitude of every position; a height behind them is dropped.

    One more than a shape may have is enough to refuse it for its number of vertices later.
    """
    texts = [each.text or "" for each in element.iter() if _local(each) == "coordinates"]
    most = MOST_VERTICES + 1
    found = [p.split(",", 2) for text in texts for p in text.split(maxsplit=most)[:most]]
    if any(len(position) < 2 for position in found):
        raise ValueError("a position without a latitude")
    return [(float(position[0]), float(position[1])) for position in found]


def _text(element: Element, tag: str) -> str:
    found: Iterable[Element] = (each for each in element if _local(each) == tag)
    return next((each.text or "" for each in found), "").strip()


def _local(element: Element) -> str:
    """Return the tag without its namespace: the version of the standard makes no difference."""
    return str(element.tag).rpartition("}")[2]


_SHAPES: dict[str, Callable[[Element], BaseGeometry | None]] = {
    "Point": _point,
    "LineString": _line,
    "Polygon": _polygon,
    "MultiGeometry": _several,
}

_JOINED: dict[str, Callable[[Sequence[Any]], Any]] = {
    "Point": shapely.multipoints,
    "LineString": shapely.multilinestrings,
    "Polygon": shapely.multipolygons,
}
