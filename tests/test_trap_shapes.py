"""Traps and zones as GPX and GeoJSON: the structure of the standards, and the same places back."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from pyproj import Transformer
from sites import make_site

from data.reading import read_site
from data.site import Site
from maps.records import Records, records_up_to
from maps.shapes_out import in_degrees, traps_geojson, traps_gpx, zones_geojson

GPX = "http://www.topografix.com/GPX/1/1"
HOSTILE = "\"'<b>&]]>\t\n\u2028\x00é\U0001f41e"

# Sequences of the GPX 1.1 schema (topografix.com/GPX/1/1/gpx.xsd), typed from memory: the schema
# itself cannot be had offline. Order counts, for both types are sequences.
GPX_TYPE = ("metadata", "wpt", "rte", "trk", "extensions")
METADATA_TYPE = (
    "name",
    "desc",
    "author",
    "copyright",
    "link",
    "time",
    "keywords",
    "bounds",
    "extensions",
)
WPT_TYPE = (
    "ele",
    "time",
    "magvar",
    "geoidheight",
    "name",
    "cmt",
    "desc",
    "src",
    "link",
    "sym",
    "type",
    "fix",
    "sat",
    "hdop",
    "vdop",
    "pdop",
    "ageofdgpsdata",
    "dgpsid",
    "extensions",
)


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Records:
    return records_up_to(read_site(make_site(tmp_path_factory.mktemp("shapes") / "site")))


def hostile(records: Records) -> Records:
    """Return the records with text in every field that could end a tag or a string."""
    site = records.site
    traps = site.traps.assign(
        **{name: site.traps[name] + HOSTILE for name in ("location_id", "trap_id", "note")},
        design=HOSTILE,
    )
    zones = site.zones.assign(**dict.fromkeys(("use", "name", "priority", "note"), HOSTILE))
    settings = replace(site.settings, name=HOSTILE)
    return replace(records, site=replace(site, settings=settings, traps=traps, zones=zones))


# --- GPX


def gpx_faults(text: str) -> list[str]:
    """Return everything in which a text breaks the structure of GPX 1.1."""
    root = ET.fromstring(text)
    found = []
    if root.tag != f"{{{GPX}}}gpx":
        found.append("the root is not gpx in its namespace")
    found += [f"gpx has no {name}" for name in ("version", "creator") if not root.get(name)]
    found += ["version is not 1.1"] * (root.get("version") != "1.1")
    found += order_faults(root, GPX_TYPE, repeated=("wpt", "rte", "trk"))
    for child in root:
        if child.tag == f"{{{GPX}}}metadata":
            found += order_faults(child, METADATA_TYPE, repeated=("link",))
        if child.tag == f"{{{GPX}}}wpt":
            found += order_faults(child, WPT_TYPE, repeated=("link",))
            found += [
                f"{name} is out of range" for name in ("lat", "lon") if not in_range(child, name)
            ]
            found += ["wpt has a strange attribute"] * (set(child.keys()) != {"lat", "lon"})
    return found


def order_faults(
    element: ET.Element, sequence: tuple[str, ...], repeated: tuple[str, ...]
) -> list[str]:
    names = [child.tag.removeprefix(f"{{{GPX}}}") for child in element]
    strange = [name for name in names if name not in sequence]
    if strange:
        return [f"{name} may not be here" for name in strange]
    found = ["elements are out of order"] * (names != sorted(names, key=sequence.index))
    twice = {name for name in names if names.count(name) > 1 and name not in repeated}
    return found + [f"{name} is there twice" for name in twice]


def in_range(waypoint: ET.Element, name: str) -> bool:
    """Latitude -90 to 90; longitude -180 up to, but not, 180; a plain xsd:decimal."""
    value = waypoint.get(name, "")
    if re.fullmatch(r"-?\d+(\.\d+)?", value) is None:
        return False
    return abs(float(value)) <= 90 if name == "lat" else -180 <= float(value) < 180


def test_traps_gpx_has_the_structure_of_gpx_1_1(records: Records) -> None:
    assert gpx_faults(traps_gpx(records)) == []
    assert gpx_faults(traps_gpx(hostile(records))) == []


@pytest.mark.parametrize(
    ("good", "bad", "fault"),
    [
        ("GPX/1/1", "GPX/1/0", "the root is not gpx"),
        ('version="1.1"', 'version="1.0"', "version is not 1.1"),
        ("<type>linear</type>", "<kind>trap</kind>", "kind may not be here"),
        ("<name>T01</name>", "<type>x</type><name>T01</name>", "out of order"),
        ("<name>T01</name>", "<name>T01</name><name>T01</name>", "name is there twice"),
        ('lat="40', 'lat="140', "lat is out of range"),
        ('lon="-38', 'lon="3.8e1" x="', "lon is out of range"),
    ],
)
def test_the_structure_check_sees_a_breach(
    records: Records, good: str, bad: str, fault: str
) -> None:
    text = traps_gpx(records)
    assert good in text
    assert any(fault in each for each in gpx_faults(text.replace(good, bad, 1)))


def test_gdal_reads_the_same_traps_at_the_same_places(records: Records, tmp_path: Path) -> None:
    """GDAL's own GPX driver; positions by pyproj from the site's metres."""
    path = tmp_path / "traps.gpx"
    site = records.site
    # Off the six decimals at which the tiny site's traps were typed.
    traps = site.traps.set_geometry(site.traps.geometry.translate(0.1234, 0.4321))
    moved = replace(records, site=replace(site, traps=traps))
    path.write_text(traps_gpx(moved), encoding="utf-8")
    read = pyogrio.read_dataframe(path, layer="waypoints")
    to_degrees = Transformer.from_crs(traps.crs, "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(traps.geometry.x, traps.geometry.y)
    assert list(read["name"]) == list(traps["location_id"])
    assert np.abs(read.geometry.x - longitude).max() <= 1e-7
    assert np.abs(read.geometry.y - latitude).max() <= 1e-7


def test_a_waypoint_tells_design_and_days(records: Records) -> None:
    root = ET.fromstring(traps_gpx(records))
    texts = {
        each.findtext(f"{{{GPX}}}name"): each.findtext(f"{{{GPX}}}desc")
        for each in root.findall(f"{{{GPX}}}wpt")
    }
    assert texts["T01"] == "cup, in place from 2026-04-06"
    assert texts["T16/1"] == "linear, in place from 2026-04-06 to 2026-04-20"
    assert texts["T16/2"] == "linear, in place from 2026-04-20"


def test_hostile_text_comes_back_as_it_was_but_for_what_xml_forbids(records: Records) -> None:
    spoiled = hostile(records)
    root = ET.fromstring(traps_gpx(spoiled))
    names = [each.text for each in root.findall(f"{{{GPX}}}wpt/{{{GPX}}}name")]
    assert names == [name.replace("\x00", "\ufffd") for name in spoiled.site.traps["location_id"]]
    assert [child.tag for child in root if child.tag.endswith("b")] == []


# --- GeoJSON


def positions(node: Any) -> Iterator[tuple[float, float]]:
    if isinstance(node[0], int | float):
        yield tuple(node)
    else:
        for each in node:
            yield from positions(each)


@pytest.mark.parametrize("draw", [traps_geojson, zones_geojson])
def test_geojson_is_wgs84_with_at_most_7_decimals_and_no_crs(records: Records, draw: Any) -> None:
    """RFC 7946, sections 4 and 11.2."""
    text = draw(records)
    parsed = json.loads(text)
    assert parsed["type"] == "FeatureCollection"
    assert "crs" not in parsed
    for feature in parsed["features"]:
        assert set(feature) == {"type", "geometry", "properties"}
        for longitude, latitude in positions(feature["geometry"]["coordinates"]):
            assert -39.1 < longitude < -38.9
            assert 39.9 < latitude < 40.1
    numbers = re.findall(r"-?\d+\.(\d+)", text)
    assert max(len(decimals) for decimals in numbers) <= 7


def test_rings_follow_the_right_hand_rule(records: Records) -> None:
    """RFC 7946, section 3.1.6: outer rings counter-clockwise, holes clockwise."""
    holed = records.site.zones.copy()
    box = shapely.box(*holed.geometry.iloc[0].bounds)
    hole = box.centroid.buffer(5)
    two = shapely.MultiPolygon([box.difference(hole), shapely.transform(box, lambda xy: xy + 500)])
    turned = shapely.reverse(shapely.orient_polygons(two))
    holed.loc[0, "geometry"] = turned
    spoiled = replace(records, site=replace(records.site, zones=holed))
    feature = json.loads(zones_geojson(spoiled))["features"][0]
    assert not shapely.is_ccw(turned.geoms[0].exterior)
    for outer, *holes in feature["geometry"]["coordinates"]:
        assert shapely.is_ccw(shapely.LinearRing(outer))
        assert not any(shapely.is_ccw(shapely.LinearRing(each)) for each in holes)
    assert sum(len(rings) - 1 for rings in feature["geometry"]["coordinates"]) == 1


def test_geojson_reads_back_as_the_same_site(records: Records, tmp_path: Path) -> None:
    """Positions move by 7 decimals at most, about 1 cm; everything else is equal."""
    files = {
        "traps.geojson": traps_geojson(records),
        "zones.geojson": zones_geojson(records),
        "traps.csv": None,
    }
    back = read_site(make_site(tmp_path / "back", files=files))
    assert back.findings == ()
    for name in ("traps", "zones"):
        before, after = getattr(records.site, name), getattr(back, name)
        pd.testing.assert_frame_equal(
            pd.DataFrame(after.drop(columns="geometry")),
            pd.DataFrame(before.drop(columns="geometry")),
        )
        moved = after.geometry.hausdorff_distance(before.geometry, align=False)
        assert moved.max() < 0.02
    pd.testing.assert_frame_equal(back.visits, records.site.visits)


@pytest.mark.parametrize("draw", [traps_geojson, zones_geojson])
def test_hostile_text_is_still_json(records: Records, draw: Any) -> None:
    spoiled = hostile(records)
    parsed = json.loads(draw(spoiled))
    expected = HOSTILE.replace("\x00", "\ufffd")
    assert parsed["provenance"]["site"] == expected
    assert all(feature["properties"]["note"].endswith(expected) for feature in parsed["features"])


def test_degrees_do_not_change_the_site(records: Records) -> None:
    site: Site = records.site
    before = site.zones.copy()
    in_degrees(site.zones)
    assert site.zones.geometry.geom_equals(before.geometry).all()
    assert site.zones.crs == before.crs
