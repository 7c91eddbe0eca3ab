"""Every defect that the fuzz run found, and every bound on what makes reading slow."""

from __future__ import annotations

import io
import json
import sqlite3
import zipfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shapely
from formats import kml, layer, ods, shapefile, trap_layer, without, xlsx, zipped
from sites import SOUTH, WEST, collection, feature, make_site, shape_layers

from data import files, geopackages, ground, layers, pairs, shapes, workbooks, xml_trees, zones
from data.checks import Draft
from data.findings import Finding, InputError
from data.reading import read_site
from data.set_aside import Account, account_of
from data.suggestions import MOST_SPELLED, close_names
from scripts.bench.fuzz_corpus import xlsx as with_shared_texts
from scripts.commands.check import report


def found(folder: Path) -> list[Finding]:
    """Read a site and return what was found, whether it could be used or not."""
    try:
        return list(read_site(folder).findings)
    except InputError as error:
        return list(error.findings)


def codes(folder: Path) -> set[str]:
    return {each.code for each in found(folder)}


def with_zones(folder: Path, name: str, content: bytes) -> Path:
    site = without(folder, "zones.geojson")
    (site / name).write_bytes(content)
    return site


def parquet(frame: gpd.GeoDataFrame) -> Any:
    buffer = io.BytesIO()
    frame.to_parquet(buffer)
    return pq.read_table(io.BytesIO(buffer.getvalue()))


def stored(table: Any) -> bytes:
    buffer = io.BytesIO()
    pq.write_table(table, buffer)
    return buffer.getvalue()


def geo(table: Any, change: dict[str, Any]) -> bytes:
    """Return the table with the metadata of its shapes changed."""
    metadata = json.loads(table.schema.metadata[b"geo"])
    metadata["columns"]["geometry"] |= change
    return stored(table.replace_schema_metadata({b"geo": json.dumps(metadata).encode()}))


# What the fuzz run found


def test_a_column_there_twice_in_parquet_is_told(tmp_path: Path) -> None:
    table = parquet(layer("zones"))
    doubled = table.append_column("use ", table.column("use"))
    site = with_zones(tmp_path / "site", "zones.parquet", stored(doubled))
    (twice,) = [each for each in found(site) if each.code == "IN-006"]
    assert twice.column == "use"
    assert twice.file == "zones.parquet"


@pytest.mark.parametrize("crs", [{"type": {"a": 1}}, {"type": "GeographicCRS"}, "EPSG:0", 7, []])
def test_a_crs_that_is_none_is_a_damaged_parquet_file(crs: object, tmp_path: Path) -> None:
    content = geo(parquet(layer("zones")), {"crs": crs})
    said = codes(with_zones(tmp_path / "site", "zones.parquet", content))
    assert said & {"IN-002", "IN-064"}


def test_metadata_without_end_are_a_damaged_parquet_file(tmp_path: Path) -> None:
    deep = b"[" * 100_000
    content = stored(parquet(layer("zones")).replace_schema_metadata({b"geo": deep}))
    assert "IN-002" in codes(with_zones(tmp_path / "site", "zones.parquet", content))


def test_a_crs_that_the_driver_trips_over_is_a_damaged_shapefile(tmp_path: Path) -> None:
    """Pyogrio 0.11 and 0.12 raise UnboundLocalError on it."""
    parts = shapefile(layer("zones"), tmp_path / "made", "zones")
    parts["zones.prj"] = b'LOCAL_CS["x",UNIT["m",1],AXIS["a",OTHER]]'
    content = zipped(parts)
    assert codes(with_zones(tmp_path / "site", "zones.zip", content)) & {"IN-002", "IN-064"}


def test_a_height_system_is_no_system_of_a_map(tmp_path: Path) -> None:
    frame = layer("zones").set_crs("EPSG:5703", allow_override=True)
    content = stored(parquet(frame))
    (said,) = [
        e for e in found(with_zones(tmp_path / "s", "zones.parquet", content)) if e.row is None
    ]
    assert said.code == "IN-064"
    assert "not on a map" in said.problem


def test_an_outline_on_which_geos_fails_is_not_valid(tmp_path: Path) -> None:
    """GEOS raises "Segment vertex does not intersect ring" on coordinates near 1e301."""
    zone = shape_layers()["zones.geojson"][0]
    far = np.array(zone["geometry"]["coordinates"]) * 1e300
    bowtie = far[:, [0, 2, 1, 3, 0]]
    for ring in (far, bowtie):
        spoiled = feature(zone["properties"], {"type": "Polygon", "coordinates": ring.tolist()})
        text = collection([spoiled, *shape_layers()["zones.geojson"][1:]])
        site = make_site(
            tmp_path / f"site{len(ring[0])}{ring is far}", files={"zones.geojson": text}
        )
        assert {e.row for e in found(site) if e.code in ("IN-062", "IN-050")} >= {1}


def test_a_failure_of_geos_spoils_only_its_own_shape(monkeypatch: pytest.MonkeyPatch) -> None:
    bad = shapely.Point(1, 1)
    real = shapely.is_valid

    def fail(given: Any) -> Any:
        if bad in list(np.atleast_1d(given)):
            raise shapely.GEOSException("IllegalArgumentException")
        return real(given)

    monkeypatch.setattr(shapely, "is_valid", fail)
    given = np.array([shapely.Point(0, 0), bad, shapely.Point(2, 2)])
    assert zones._invalid_reasons(given) == ["", "its outline cannot be followed", ""]


def test_half_a_character_is_refused(tmp_path: Path) -> None:
    text = collection(shape_layers()["zones.geojson"]).replace("Zone 1", "\\ud800")
    site = make_site(tmp_path / "site", files={"zones.geojson": text})
    assert next((e.code, e.file) for e in found(site)) == ("IN-002", "zones.geojson")


def test_an_escape_of_a_whole_character_is_read(tmp_path: Path) -> None:
    text = collection(shape_layers()["zones.geojson"]).replace(
        "Zone 1", "Gr\\u00fcn \\ud83d\\ude00"
    )
    site = make_site(tmp_path / "site", files={"zones.geojson": text})
    assert "Gr\u00fcn \U0001f600" in set(read_site(site).zones["name"])


@pytest.mark.parametrize("encoding", ["x", "utf-7", "euc-jp", "shift-jis"])
def test_an_encoding_that_xml_does_not_know_is_a_damaged_workbook(
    encoding: str, tmp_path: Path
) -> None:
    text = f'<?xml version="1.0" encoding="{encoding}"?><a/>'.encode()
    site = without(tmp_path / "site", "visits.csv")
    (site / "visits.ods").write_bytes(zipped({"mimetype": b"x", "content.xml": text}))
    assert "IN-002" in codes(site)


# Bounds on what makes reading slow or large


def circle(vertices: int, size: float = 0.0004) -> dict[str, Any]:
    turn = np.linspace(0, 2 * np.pi, vertices - 1, endpoint=False)
    ring = np.column_stack((WEST + size * (1 + np.cos(turn)), SOUTH + size * (1 + np.sin(turn))))
    return {"type": "Polygon", "coordinates": [[*ring.tolist(), ring[0].tolist()]]}


@pytest.mark.parametrize("form", ["geojson", "kml", "csv"])
def test_a_zone_of_too_many_vertices_is_set_aside(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("data.zones.MOST_VERTICES", 50)
    monkeypatch.setattr("data.placemarks.MOST_VERTICES", 50)
    given = shape_layers()["zones.geojson"]
    given[0]["geometry"] = circle(51)
    given[1]["geometry"] = circle(50)
    frame = gpd.GeoDataFrame.from_features(given, crs="EPSG:4326")
    table = pd.DataFrame(frame.drop(columns="geometry")).assign(wkt=frame.geometry.to_wkt())
    content = {
        "geojson": collection(given).encode(),
        "kml": kml(frame, "zone_id"),
        "csv": table.to_csv(index=False).encode(),
    }[form]
    site = with_zones(tmp_path / "site", f"zones.{form}", content)
    many = [each for each in found(site) if each.code == "IN-093"]
    assert [each.row for each in many] == [2 if form == "csv" else 1]
    assert "more than 50 vertices" in many[0].problem
    assert "simplify" in many[0].fix


def test_a_zone_of_two_hundred_thousand_vertices_is_still_read(tmp_path: Path) -> None:
    """The cap itself, on a shape that nobody draws by hand."""
    assert zones.MOST_VERTICES == 200_000
    given = shape_layers()["zones.geojson"]
    given[0]["geometry"] = circle(200_001)
    site = make_site(tmp_path / "site", files={"zones.geojson": collection(given)})
    assert [each.row for each in found(site) if each.code == "IN-093"] == [1]


def test_shapes_are_set_aside_once_all_have_too_many_vertices_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Six squares of five vertices: the fifth is the first one beyond 24."""
    monkeypatch.setattr("data.zones.MOST_VERTICES_TOGETHER", 24)
    many = [each for each in found(make_site(tmp_path / "site")) if each.code == "IN-094"]
    assert [each.row for each in many if each.file == "zones.geojson"] == [5, 6]


def test_a_shape_of_too_many_holes_is_set_aside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("data.zones.MOST_RINGS", 2)
    given = shape_layers()["zones.geojson"]
    hole = [[0.3, 0.3], [0.3, 0.4], [0.4, 0.4], [0.3, 0.3]]
    holes = [[[WEST + (x + n / 5) / 1000, SOUTH + y / 1000] for x, y in hole] for n in (0, 1)]
    given[0]["geometry"]["coordinates"] += holes
    site = make_site(tmp_path / "site", files={"zones.geojson": collection(given)})
    (torn,) = [each for each in found(site) if each.code == "IN-093"]
    assert torn.row == 1
    assert "outlines and holes" in torn.problem


def comb(teeth: int, upright: bool) -> shapely.Polygon:
    """Return a comb of four vertices a tooth; two across each other meet at every tooth."""
    x = np.repeat(np.arange(teeth) / teeth, 4) + np.tile([0, 0, 0.5 / teeth, 0.5 / teeth], teeth)
    y = np.tile([0.0, 1, 1, 0], teeth)
    x, y = np.concatenate([x, [1, 0, 0]]), np.concatenate([y, [-0.01, -0.01, 0]])
    around = np.column_stack((x, y) if upright else (y, x)) * 0.001 + [WEST, SOUTH + 0.01]
    return shapely.Polygon(around)


def test_outlines_that_cross_too_often_are_not_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two combs of 20 teeth cross 1,600 times; the other zones do not cross at all."""
    monkeypatch.setattr("data.pairs.MOST_CROSSINGS", 1000)
    combs = [
        feature({"zone_id": f"C{n}", "use": "lawn"}, shapely.geometry.mapping(comb(20, n == 1)))
        for n in (1, 2)
    ]
    text = collection([*shape_layers()["zones.geojson"], *combs])
    site = make_site(tmp_path / "site", files={"zones.geojson": text})
    (tangled,) = [each for each in found(site) if each.code == "IN-095"]
    assert (tangled.row, tangled.severity, tangled.value) == (8, "error", "C2")
    assert "zones 'C2' and 'C1' cross too often" in tangled.problem


def test_crossings_are_counted_without_overflow() -> None:
    """Two outlines of 100,003 vertices: their product does not fit in 32 bits."""
    one, other = comb(25_000, True), comb(25_000, False)
    assert list(pairs.cross_too_often(np.array([one]), np.array([other]))) == [True]


def test_pairs_are_the_same_in_one_query_and_in_many(monkeypatch: pytest.MonkeyPatch) -> None:
    points = shapely.points(np.random.default_rng(1).random((60, 2)))
    whole = pairs.meeting(points, points, "dwithin", 0.2)
    monkeypatch.setattr("data.pairs._AT_ONCE", 100)
    parts = pairs.meeting(points, points, "dwithin", 0.2)
    expected = {
        (a, b) for a in range(60) for b in range(60) if points[a].distance(points[b]) <= 0.2
    }
    for each in (whole, parts):
        assert each.complete
        assert set(zip(each.first.tolist(), each.second.tolist(), strict=True)) == expected


def test_too_many_zones_on_each_other_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("data.pairs.MOST_PAIRS", 5)
    many = [each for each in found(make_site(tmp_path / "site")) if each.code == "IN-095"]
    assert next(each.file for each in many if each.row is None) == "zones.geojson"


def test_traps_too_many_for_so_many_vertices_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ground, "MOST_POSITION_TESTS", 100)
    (much,) = [each for each in found(make_site(tmp_path / "site")) if each.code == "IN-095"]
    assert (much.file, much.row, much.severity) == ("traps.csv", None, "error")


def test_a_geojson_of_too_many_values_is_refused_before_it_is_parsed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shapes, "MOST_MARKS", 1000)
    padded = collection(shape_layers()["zones.geojson"]) + "[" * 1000
    site = make_site(tmp_path / "site", files={"zones.geojson": padded})
    assert "IN-094" in codes(site)


@pytest.mark.parametrize(("name", "value"), [("MOST_COLUMNS", 2), ("MOST_CELLS", 10)])
@pytest.mark.parametrize("form", ["geojson", "kml", "gpkg", "zip", "parquet"])
def test_a_layer_of_too_many_cells_or_columns_is_refused(
    name: str, value: int, form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(layers, name, value)
    frame = layer("zones")
    path = tmp_path / "zones.gpkg"
    frame.to_file(path, driver="GPKG")
    content = {
        "geojson": collection(shape_layers()["zones.geojson"]).encode(),
        "kml": kml(frame, "zone_id"),
        "gpkg": path.read_bytes(),
        "zip": zipped(shapefile(frame, tmp_path / "made", "zones")),
        "parquet": stored(parquet(frame)),
    }[form]
    assert "IN-094" in codes(with_zones(tmp_path / "site", f"zones.{form}", content))


def test_a_plain_table_of_too_many_separators_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "MOST_SEPARATORS", 300)
    said = {(each.code, each.file) for each in found(make_site(tmp_path / "site"))}
    assert ("IN-094", "visits.csv") in said
    assert ("IN-094", "traps.csv") not in said


def test_xml_of_too_many_elements_and_attributes_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(xml_trees, "MOST_PARTS", 4)
    assert xml_trees.parse_xml(b'<a b="1"><c/><c/></a>', "z.kml").tag == "a"
    with pytest.raises(InputError, match=r"more than 4 elements and attributes.*IN-094"):
        xml_trees.parse_xml(b'<a b="1"><c d="2"/><c/></a>', "z.kml")
    assert xml_trees.parse_xml(b'<a b="1"><c d="2"/><c/></a>', "z.kml", large=True).tag == "a"


def test_xml_of_too_much_text_is_refused_however_small_it_is_packed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(xml_trees, "LARGEST_XML_MB", 0)
    with pytest.raises(InputError, match=r"its text is more than 0 MB.*IN-017"):
        xml_trees.parse_xml(b"<a/>", "z.kml")


def test_a_placemark_inside_another_is_part_of_it(tmp_path: Path) -> None:
    text = kml(layer("zones"), "zone_id").decode()
    inner = text.replace("</Placemark>", "<Placemark><name>inner</name></Placemark></Placemark>", 1)
    site = with_zones(tmp_path / "site", "zones.kml", inner.encode())
    assert list(read_site(site).zones["zone_id"]) == [f"Z{n}" for n in range(1, 7)]


def test_a_workbook_cannot_repeat_a_long_shared_text_without_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workbooks, "LARGEST_TEXT_MB", 0.01)
    rows = [["trap_id", "note"], *([f"T{n}", "x" * 200] for n in range(100))]
    site = without(tmp_path / "site", "visits.csv")
    (site / "visits.xlsx").write_bytes(with_shared_texts({"visits": rows}))
    (said,) = [each for each in found(site) if each.code == "IN-017"]
    assert "MB of text" in said.problem


def test_few_cells_of_a_long_text_are_not_much_text() -> None:
    """One text of 1,000 letters in one cell, one of a letter in 99: 1,099 and their tags."""
    strings = b"<sst><si><t>" + b"x" * 1000 + b"</t></si><si><t>y</t></si></sst>"
    sheet = b'<c r="A1" t="s"><v>0</v></c>' + b'<c r="A2" t="s"><v>1</v></c>' * 99
    loose = workbooks._shared_bytes(sheet, strings)
    assert loose > 200_000
    exact = workbooks._named_bytes(sheet, strings)
    assert 1099 < exact < 4000


def test_a_text_in_repeated_cells_is_counted_as_often(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workbooks, "LARGEST_TEXT_MB", 0.01)
    content = ods({"visits": [["trap_id", "note"], ["T1", "long text"]]})
    site = without(tmp_path / "site", "visits.csv")
    (site / "visits.ods").write_bytes(content)
    assert "IN-017" not in codes(site)
    members = _members(content)
    once = b'<table:table-cell office:value-type="string"><text:p>long'
    often = once.replace(b"office:", b'table:number-columns-repeated="2000" office:', 1)
    members["content.xml"] = members["content.xml"].replace(once, often)
    (site / "visits.ods").write_bytes(zipped(members))
    assert "IN-017" in codes(site)


def test_blanks_between_repeated_cells_are_no_text() -> None:
    """Programs write one empty cell for all those to the right, and line breaks between."""
    meter = workbooks._OdsMeter()
    cell = {"table:number-columns-repeated": "16384"}
    for tag, given in (("table:table", {}), ("table:table-row", {}), ("table:table-cell", cell)):
        meter.start(tag, given)
    for tag in ("table:table-cell", "table:table-row"):
        meter.end(tag)
        meter.text("\n")
    meter.end("table:table")
    assert meter.extents[""].characters == 0


def test_a_sheet_of_too_many_attributes_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workbooks, "MOST_ATTRIBUTES", 2)
    site = without(tmp_path / "site", "visits.csv")
    (site / "visits.xlsx").write_bytes(xlsx({"visits": [["trap_id", "a"], ["T1", "attributes"]]}))
    assert "IN-094" in codes(site)


def test_an_index_that_names_one_record_often_is_refused(tmp_path: Path) -> None:
    parts = shapefile(layer("zones"), tmp_path / "made", "zones")
    index = parts["zones.shx"]
    parts["zones.shx"] = index[:100] + index[100:108] * 60
    site = with_zones(tmp_path / "site", "zones.zip", zipped(parts))
    (said,) = [each for each in found(site) if each.code == "IN-002"]
    assert "the .shx names more than the .shp holds" in said.problem


def test_a_text_that_parquet_stores_once_is_counted_in_every_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file has some kilobytes; its table has 2 MB of text."""
    text = pa.DictionaryArray.from_arrays(np.zeros(1000, dtype="int32"), pa.array(["x" * 2000]))
    content = stored(pa.table({"trap_id": text}))
    assert len(content) < 20_000
    monkeypatch.setattr("data.parquets.LARGEST_UNPACKED_MB", 1)
    site = without(tmp_path / "site", "visits.csv")
    (site / "visits.parquet").write_bytes(content)
    assert next((e.code, e.file) for e in found(site)) == ("IN-017", "visits.parquet")


def _package(folder: Path) -> bytes:
    layer("zones").to_file(folder / "made.gpkg", driver="GPKG")
    return (folder / "made.gpkg").read_bytes()


def test_a_geopackage_that_names_a_page_twice_is_refused(tmp_path: Path) -> None:
    database = sqlite3.connect(":memory:")
    database.deserialize(_package(tmp_path))
    database.execute("PRAGMA writable_schema = 1")
    database.execute(
        "UPDATE sqlite_master SET rootpage = (SELECT rootpage FROM sqlite_master "
        "WHERE name = 'gpkg_contents') WHERE name = 'gpkg_ogr_contents'"
    )
    database.commit()
    content = database.serialize()
    database.close()
    assert "IN-002" in codes(with_zones(tmp_path / "site", "zones.gpkg", content))


def test_the_check_of_a_geopackage_has_an_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = _package(tmp_path)
    monkeypatch.setattr(geopackages, "MOST_STEPS", 10)
    assert "IN-002" in codes(with_zones(tmp_path / "site", "zones.gpkg", content))


def _members(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_a_heading_as_long_as_a_line_is_reported() -> None:
    """A heading of 200 letters left no room for words, and the report broke."""
    wrong = Finding("IN-021", "visits.csv", "not a number", "mend it", row=14, column="x" * 200)
    lines = report([wrong], Account(), 80, 20)
    assert lines[1].endswith("x" * 200 + " ERROR")
    assert lines[2].strip() == "not a number; mend it [IN-021]"


def test_many_strange_names_are_not_compared_letter_by_letter() -> None:
    """The visits of another network: each name against each of ours took minutes."""
    strange = [f"Q{number}x" for number in range(MOST_SPELLED)]
    assert close_names([*strange, "T-1"], ["T01", "Q123y"])["T-1"] == "T01"
    assert "Q123x" in close_names(strange, ["T01", "Q123y"])
    assert close_names([*strange, "Qx", "T-1"], ["T01", "Q123y"]) == {"T-1": "T01"}


def test_rows_set_aside_are_looked_up_once() -> None:
    """Each row set aside read through all findings, so twice the rows took four times as long."""
    reads = Counter[str]()

    class Watched(tuple[Finding, ...]):
        def __iter__(self) -> Iterator[Finding]:
            reads["passes"] += 1
            return super().__iter__()

    text = pd.DataFrame({"zone_id": [str(row) for row in range(300)]}, index=range(2, 302))
    faults = Watched(Finding("IN-010", "zones.csv", "blank", "fill it", row=r) for r in text.index)
    draft = Draft("zones.csv", text, text, {"zone_id": "zone_id"}, faults)
    assert account_of([draft], {}).count == 300
    assert reads["passes"] < 10


def test_a_polygon_as_trap_is_a_finding_and_no_place(tmp_path: Path) -> None:
    """It was taken for a point far away, and looking for its swapped coordinates broke."""
    traps = trap_layer().head(4)
    polygon = gpd.GeoSeries([traps.geometry[0].buffer(0.001)], crs=4326)
    drawn = traps.set_geometry(pd.concat([polygon, traps.geometry[1:]]))
    folder = without(tmp_path / "site", "traps.csv")
    drawn.to_file(folder / "traps.geojson", driver="GeoJSON")
    assert ("IN-061", 1) in [(each.code, each.row) for each in found(folder)]
