"""Every format gives the tables that the plain files give, or says what is wrong with it."""

from __future__ import annotations

import datetime
import io
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import openpyxl
import pandas as pd
import pyogrio
import pytest
from formats import (
    ALL_FILES,
    gpx,
    kml,
    layer,
    ods,
    shapefile,
    trap_layer,
    without,
    xlsx,
    zipped,
)
from pandas.testing import assert_frame_equal
from sites import LONG_SETTINGS, SETTINGS, csv_tables, long_visits, make_site

from data.dates import is_date_format, read_day
from data.findings import Finding, InputError
from data.reading import read_site
from data.site import Site

SHAPES = ("zones", "refuges", "obstacles", "traps")
PLAIN = ("visits", "catches", "bycatch", "weather", "cores", "treatments")
VISITS = csv_tables()["visits.csv"]


def same(one: Site, other: Site, *left_out: str) -> None:
    """Check that all tables agree; positions to a tenth of a millimetre."""
    for name in (*SHAPES, *PLAIN):
        left, right = getattr(one, name), getattr(other, name)
        kept = [c for c in left.columns if c not in ("geometry", "source_row", *left_out)]
        assert_frame_equal(pd.DataFrame(left[kept]), pd.DataFrame(right[kept]), obj=name)
        if name in SHAPES:
            # A Shapefile turns its rings the other way round.
            one_way, other_way = left.geometry.normalize(), right.geometry.normalize()
            assert one_way.geom_equals_exact(other_way, tolerance=1e-4).all()


def codes(site: Site | InputError) -> list[tuple[str, str]]:
    """Return code and severity of every finding."""
    return [(finding.code, finding.severity) for finding in site.findings]


def refused(folder: Path, code: str) -> Finding:
    """Return the finding of that code which stops the reading of a site."""
    with pytest.raises(InputError, match=code) as raised:
        read_site(folder)
    return next(finding for finding in raised.value.findings if finding.code == code)


def csv_bytes(rows: list[list[str]], delimiter: str = ",") -> str:
    """Return rows as text, cells that hold the delimiter in quotation marks."""
    cells = [[f'"{cell}"' if delimiter in cell else cell for cell in row] for row in rows]
    return "\n".join(delimiter.join(row) for row in cells) + "\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_text_in_any_encoding_and_with_any_delimiter_is_read(
    encoding: str, delimiter: str, tmp_path: Path
) -> None:
    text = csv_bytes([*VISITS[:-1], [*VISITS[-1][:-1], "Grün, naß; ja"]], delimiter)
    # The bare little-endian form has no mark, so one is put before it.
    content = (("\ufeff" if encoding == "utf-16-le" else "") + text).encode(encoding)
    site = read_site(make_site(tmp_path / "site", files={"visits.csv": content}))
    assert site.findings == ()
    assert "Grün, naß; ja" in set(site.visits["note"])


@pytest.mark.parametrize(
    ("options", "expected"),
    [("", [("IN-083", "warning")]), ('[read]\nencoding = "windows-1252"\n', [])],
)
def test_windows_text_is_read_and_warned_of_unless_declared(
    options: str, expected: list[tuple[str, str]], tmp_path: Path
) -> None:
    text = csv_bytes([*VISITS[:-1], [*VISITS[-1][:-1], "Grün \u2013 naß"]])
    files = {"visits.csv": text.encode("cp1252")}
    site = read_site(make_site(tmp_path / "site", settings=SETTINGS + options, files=files))
    assert codes(site) == expected
    assert "Grün \u2013 naß" in set(site.visits["note"])


@pytest.mark.parametrize(
    ("content", "options", "message"),
    [
        (b"a,b\n\x81,1\n", "", "neither UTF-8 nor Windows-1252"),
        (b"a,b\n\xe9,1\n", 'encoding = "utf-8"', r"line 2 \(byte 4 of the file\) is not UTF-8"),
        ("a,b\n1,2\n".encode("utf-32"), "", "does not hold what .csv promises"),
        (b"\xff\xfea\0b", "", "UTF-16"),
    ],
)
def test_text_that_does_not_fit_its_encoding_is_refused(
    content: bytes, options: str, message: str, tmp_path: Path
) -> None:
    settings = SETTINGS + "[read.visits]\n" + options + "\n"
    folder = make_site(tmp_path / "s", settings=settings, files={"visits.csv": content})
    with pytest.raises(InputError, match=message):
        read_site(folder)


def test_an_unclear_delimiter_is_an_error_until_it_is_declared(tmp_path: Path) -> None:
    header = [*VISITS[0][:-1], "note, if any"]
    text = csv_bytes([header, *VISITS[1:]], ";")
    folder = make_site(tmp_path / "one", files={"visits.csv": text.replace('"', "")})
    assert "commas and semicolons" in refused(folder, "IN-084").problem
    settings = SETTINGS + '[read.visits]\ndelimiter = ";"\n'
    text = text.replace('"', "")
    site = read_site(make_site(tmp_path / "two", settings=settings, files={"visits.csv": text}))
    same(read_site(make_site(tmp_path / "plain")), site)


def test_a_declared_decimal_comma_is_read_and_a_point_is_then_told(tmp_path: Path) -> None:
    settings = SETTINGS + '[read.visits]\ndecimal = ","\n[read.weather]\ndecimal = ","\n'
    rows = [[cell.replace(".", ",") for cell in row] for row in csv_tables()["weather.csv"]]
    visits = [[cell.replace("2.5", "2,5") for cell in row] for row in VISITS]
    files = {"weather.csv": csv_bytes(rows, ";"), "visits.csv": csv_bytes(visits, ";")}
    good = read_site(make_site(tmp_path / "good", settings=settings, files=files))
    same(read_site(make_site(tmp_path / "plain")), good)
    bad = {**files, "visits.csv": csv_bytes(VISITS, ";")}
    found = read_site(make_site(tmp_path / "bad", settings=settings, files=bad)).findings
    seen = next(f for f in found if f.code == "IN-012")
    assert (seen.column, seen.value) == ("minutes", "2.5")
    assert seen.fix == "use digits and a decimal comma only; until then it is read as blank"


def _slashed(rows: list[list[str]]) -> str:
    def swap(cell: str) -> str:
        parts = cell.split("-")
        return "/".join(reversed(parts)) if len(parts) == 3 and len(parts[0]) == 4 else cell

    return csv_bytes([[swap(cell) for cell in row] for row in rows])


def test_a_slashed_date_lists_every_row_until_its_format_is_declared(tmp_path: Path) -> None:
    files = {"visits.csv": _slashed(VISITS)}
    folder = make_site(tmp_path / "one", files=files)
    with pytest.raises(InputError, match="IN-011") as raised:
        read_site(folder)
    rows = {f.row for f in raised.value.findings if f.code == "IN-011" and f.file == "visits.csv"}
    assert rows == set(range(2, len(VISITS) + 1))
    settings = SETTINGS + '[read.visits]\ndate_format = "DD/MM/YYYY"\n'
    site = read_site(make_site(tmp_path / "two", settings=settings, files=files))
    same(read_site(make_site(tmp_path / "plain")), site)


@pytest.mark.parametrize(
    ("written", "cell", "day"),
    [
        ("DD/MM/YYYY", "03/04/2026", "2026-04-03"),
        ("MM/DD/YYYY", "03/04/2026", "2026-03-04"),
        ("M/D/YY", "3/4/26", "2026-03-04"),
        ("DD.MM.YYYY", "3.4.2026", "2026-04-03"),
        ("DD/MM/YYYY", "2026-04-03", "2026-04-03"),
        ("YYYY-MM-DD", "2026-04-03T23:59", "2026-04-03"),
    ],
)
def test_a_day_is_read_in_the_declared_format(written: str, cell: str, day: str) -> None:
    assert is_date_format(written)
    assert str(read_day(cell, written)) == day


@pytest.mark.parametrize("cell", ["13/13/2026", "03-04-2026", "3/4", "31/02/2026", "03/04/1826"])
def test_a_cell_that_does_not_fit_the_format_names_no_day(cell: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        read_day(cell, "DD/MM/YYYY")


def test_a_time_in_utc_needs_a_time_zone(tmp_path: Path) -> None:
    rows = [[f"{c}T02:00:00Z" if c == "2026-04-13" else c for c in row] for row in VISITS]
    text = csv_bytes([row for row in rows if row[1] != "2026-04-13T02:00:00Z"])
    found = read_site(make_site(tmp_path / "one", files={"visits.csv": text})).findings
    assert [(f.row, f.column) for f in found if f.code == "IN-090"] == [
        (row, "checked_on") for row in range(2, 18)
    ]
    # Two in the morning in Greenwich is the evening before in Chicago.
    settings = SETTINGS + '[read]\ntime_zone = "America/Chicago"\n'
    site = read_site(make_site(tmp_path / "two", settings=settings, files={"visits.csv": text}))
    assert pd.Timestamp("2026-04-12") in set(site.visits["checked_on"])


def _typed(rows: list[list[str]]) -> list[list[object]]:
    """Return cells as a spreadsheet program holds them: days, numbers and text."""

    def value(cell: str) -> object:
        if len(cell) == 10 and cell[4] == "-" and cell[:4].isdigit():
            return datetime.date.fromisoformat(cell)
        try:
            return float(cell)
        except ValueError:
            return cell or None

    return [list(rows[0]), *([value(cell) for cell in row] for row in rows[1:])]


def _text_cells(rows: list[list[str]]) -> list[list[object]]:
    return [list(row) for row in rows]


WORKBOOKS: dict[str, Callable[..., bytes]] = {"xlsx": xlsx, "ods": ods}


@pytest.mark.parametrize("suffix", WORKBOOKS)
@pytest.mark.parametrize("table", ["visits", "traps", "weather", "cores", "treatments"])
def test_a_workbook_in_place_of_a_csv_gives_the_same_tables(
    suffix: str, table: str, tmp_path: Path
) -> None:
    rows = csv_tables()[f"{table}.csv"]
    cells = _typed(rows) if suffix == "xlsx" else _text_cells(rows)
    folder = without(tmp_path / "site", f"{table}.csv")
    (folder / f"{table}.{suffix}").write_bytes(WORKBOOKS[suffix]({"Sheet1": cells}))
    site = read_site(folder)
    assert site.findings == ()
    same(read_site(make_site(tmp_path / "plain")), site)


def _all_tables() -> dict[str, list[list[object]]]:
    sheets = {name.removesuffix(".csv"): _typed(rows) for name, rows in csv_tables().items()}
    for name in ("zones", "refuges", "obstacles"):
        frame = layer(name)
        wkt = pd.DataFrame(frame.drop(columns="geometry")).assign(wkt=frame.geometry.to_wkt())
        sheets[name] = [list(wkt.columns), *wkt.to_numpy(dtype=object).tolist()]
    return sheets


@pytest.mark.parametrize("named", [False, True])
def test_one_workbook_may_hold_every_table(named: bool, tmp_path: Path) -> None:
    settings = SETTINGS + ('[files]\nall = "season.xlsx"\n' if named else "")
    folder = make_site(tmp_path / "site", settings=settings, files=dict.fromkeys(ALL_FILES))
    (folder / "season.xlsx").write_bytes(xlsx({**_all_tables(), "scratch": [["x"], [1]]}))
    site = read_site(folder)
    assert site.findings == ()
    assert set(site.hashes) == {"site.toml", "season.xlsx"}
    same(read_site(make_site(tmp_path / "plain")), site)


def _season_geopackage(path: Path) -> None:
    for name in ("zones", "refuges", "obstacles"):
        layer(name).to_file(path, layer=name, driver="GPKG")
    for name, (header, *rows) in csv_tables().items():
        table = pd.DataFrame(rows, columns=header, dtype=object)
        pyogrio.write_dataframe(table, path, layer=name.removesuffix(".csv"), driver="GPKG")


def test_one_geopackage_may_hold_every_table(tmp_path: Path) -> None:
    folder = make_site(tmp_path / "site", files=dict.fromkeys(ALL_FILES))
    _season_geopackage(folder / "season.gpkg")
    before = sorted(folder.iterdir())
    site = read_site(folder)
    assert site.findings == ()
    same(read_site(make_site(tmp_path / "plain")), site)
    assert sorted(folder.iterdir()) == before


def test_an_own_file_goes_before_the_shared_one(tmp_path: Path) -> None:
    folder = without(tmp_path / "site", "traps.csv")
    sheets = {"traps": _typed(csv_tables()["traps.csv"]), "visits": [["not", "read"], [1, 2]]}
    (folder / "season.xlsx").write_bytes(xlsx(sheets))
    same(read_site(make_site(tmp_path / "plain")), read_site(folder))


def test_a_required_sheet_that_lacks_is_told(tmp_path: Path) -> None:
    folder = without(tmp_path / "site", "traps.csv", "visits.csv")
    content = xlsx({"visits": _typed(VISITS), "trap": [["trap_id"], ["T01"]]})
    (folder / "season.xlsx").write_bytes(content)
    found = refused(folder, "IN-088")
    assert found.problem == "it has no sheet 'traps' (found: visits, trap)"


def test_two_files_that_may_hold_all_tables_are_told(tmp_path: Path) -> None:
    folder = without(tmp_path / "site", "traps.csv")
    for name in ("a.xlsx", "b.xlsx"):
        (folder / name).write_bytes(xlsx({"traps": _typed(csv_tables()["traps.csv"])}))
    assert "a.xlsx, b.xlsx" in refused(folder, "IN-009").problem


def test_rows_and_sheet_of_a_finding_are_those_of_the_spreadsheet(tmp_path: Path) -> None:
    rows = _typed(VISITS)
    rows.insert(1, [None] * len(rows[0]))
    rows[4][VISITS[0].index("parvulus")] = -1.0
    folder = without(tmp_path / "site", "visits.csv")
    (folder / "visits.xlsx").write_bytes(xlsx({"Round book": rows, "empty": []}))
    found = [f for f in read_site(folder).findings if f.severity == "error"]
    assert [(f.code, f.file, f.row, f.column, f.value) for f in found] == [
        ("IN-022", "visits.xlsx [Round book]", 5, "parvulus", "-1")
    ]


def test_an_error_of_the_spreadsheet_is_not_a_blank(tmp_path: Path) -> None:
    folder = without(tmp_path / "site", "visits.csv")
    book = openpyxl.load_workbook(io.BytesIO(xlsx({"visits": _typed(VISITS)})))
    cell = book["visits"].cell(3, VISITS[0].index("minutes") + 1)
    cell.value = "#N/A"
    cell.data_type = "e"
    book.save(folder / "visits.xlsx")
    found = read_site(folder).findings
    assert [(f.code, f.row, f.column) for f in found] == [("IN-092", 3, "minutes")]


@pytest.mark.parametrize("form", ["csv", "xlsx", "ods", "gpkg", "geojson", "parquet"])
def test_long_visits_are_read_from_every_format(form: str, tmp_path: Path) -> None:
    plain = make_site(
        tmp_path / "plain", settings=LONG_SETTINGS, files={"visits.csv": long_visits()}
    )
    header, *rows = [line.split(",") for line in long_visits().splitlines()]
    folder = make_site(tmp_path / "site", settings=LONG_SETTINGS, files={"visits.csv": None})
    _write_plain(folder / f"visits.{form}", [header, *rows])
    same(read_site(plain), read_site(folder))


def _write_plain(path: Path, rows: list[list[str]]) -> None:
    frame = pd.DataFrame(rows[1:], columns=rows[0], dtype=object)
    if path.suffix == ".csv":
        path.write_text(csv_bytes(rows), encoding="utf-8")
    elif path.suffix in (".xlsx", ".ods"):
        path.write_bytes(WORKBOOKS[path.suffix[1:]]({"visits": _text_cells(rows)}))
    elif path.suffix == ".parquet":
        frame.astype(str).to_parquet(path)
    else:
        driver = {".gpkg": "GPKG", ".geojson": "GeoJSON"}[path.suffix]
        shaped = gpd.GeoDataFrame(frame, geometry=[None] * len(frame), crs="EPSG:4326")
        shaped.to_file(path, layer="visits", driver=driver)


@pytest.mark.parametrize("table", ["zones", "refuges", "obstacles", "traps"])
@pytest.mark.parametrize("form", ["shp", "zip", "kml", "kmz", "parquet", "gpkg"])
def test_every_format_of_shapes_gives_the_same_tables(
    form: str, table: str, tmp_path: Path
) -> None:
    frame = trap_layer() if table == "traps" else layer(table)
    if form in ("shp", "zip") and len(set(frame.geom_type)) > 1:
        pytest.skip("a Shapefile holds one kind of shape")
    own_id = {"zones": "zone_id", "traps": "trap_id"}.get(table, "id")
    folder = without(tmp_path / "site", f"{table}.geojson", f"{table}.csv")
    for name, content in _written(form, frame, table, own_id, tmp_path / "made").items():
        (folder / name).write_bytes(content)
    site = read_site(folder)
    assert site.findings == ()
    same(read_site(make_site(tmp_path / "plain")), site, *(["name"] if form[0] == "k" else []))


def _written(
    form: str, frame: gpd.GeoDataFrame, table: str, own_id: str, made: Path
) -> dict[str, bytes]:
    made.mkdir()
    path = made / f"{table}.{form}"
    if form in ("shp", "zip"):
        parts = shapefile(frame, made, table)
        return parts if form == "shp" else {path.name: zipped(parts)}
    if form in ("kml", "kmz"):
        text = kml(frame, own_id)
        return {path.name: text if form == "kml" else zipped({"doc.kml": text, "files/x": b"1"})}
    if form == "parquet":
        frame.to_parquet(path)
    else:
        frame.to_file(path, driver="GPKG")
    return {path.name: path.read_bytes()}


def test_waypoints_of_a_receiver_are_traps(tmp_path: Path) -> None:
    plain = make_site(tmp_path / "plain")
    folder = without(tmp_path / "site", "traps.csv", "visits.csv")
    frame = trap_layer().iloc[:15]
    (folder / "traps.gpx").write_bytes(gpx(frame))
    (folder / "visits.csv").write_text(
        csv_bytes([row for row in VISITS if row[0] != "T16"]), encoding="utf-8"
    )
    traps, expected = read_site(folder).traps, read_site(plain).traps.iloc[:15]
    assert list(traps["trap_id"]) == list(expected["trap_id"])
    assert list(traps["design"]) == list(expected["design"])
    assert traps.geometry.geom_equals_exact(expected.geometry, tolerance=1e-4).all()


def test_waypoints_without_a_type_take_the_declared_design(tmp_path: Path) -> None:
    frame = trap_layer().iloc[:1]
    content = gpx(frame).replace(b"<type>cup</type>", b"")
    visits = csv_bytes([row for row in VISITS if row[0] in ("trap_id", "T01")])
    files = {"traps.csv": None, "traps.gpx": content, "visits.csv": visits}
    refused(make_site(tmp_path / "one", files=files), "IN-005")
    settings = SETTINGS + '[read.traps]\ndesign = "cup"\n'
    site = read_site(make_site(tmp_path / "two", settings=settings, files=files))
    assert list(site.traps["design"]) == ["cup"]


@pytest.mark.parametrize("part", [".dbf", ".shx", ".prj"])
@pytest.mark.parametrize("form", ["shp", "zip"])
def test_a_missing_part_of_a_shapefile_is_told(form: str, part: str, tmp_path: Path) -> None:
    parts = shapefile(layer("zones"), tmp_path / "made", "zones")
    del parts[f"zones{part}"]
    folder = without(tmp_path / "site", "zones.geojson")
    for name, content in (parts if form == "shp" else {"zones.zip": zipped(parts)}).items():
        (folder / name).write_bytes(content)
    found = refused(folder, "IN-085")
    assert found.file == f"zones.{form}"
    assert f"the {part} is missing" in found.problem


def test_a_declared_crs_stands_in_for_a_missing_one_and_may_not_contradict(tmp_path: Path) -> None:
    parts = shapefile(layer("zones").to_crs("EPSG:32624"), tmp_path / "made", "zones")
    prj = parts.pop("zones.prj")
    settings = SETTINGS + '[read.zones]\ncrs = "EPSG:32624"\n'
    files = {**parts, "zones.geojson": None}
    site = read_site(make_site(tmp_path / "one", settings=settings, files=files))
    same(read_site(make_site(tmp_path / "plain")), site)
    other = settings.replace("32624", "32625")
    folder = make_site(tmp_path / "two", settings=other, files={**files, "zones.prj": prj})
    assert "but the file says" in refused(folder, "IN-064").problem


def test_without_its_package_a_parquet_file_says_how_to_install_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = without(tmp_path / "site", "zones.geojson")
    layer("zones").to_parquet(folder / "zones.parquet")
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    assert "pyarrow" in refused(folder, "IN-086").fix


def test_a_computed_layer_is_refused(tmp_path: Path) -> None:
    """A view can run for ever; here it is an endless recursion."""
    folder = without(tmp_path / "site", "zones.geojson")
    path = folder / "zones.gpkg"
    layer("zones").to_file(path, layer="stored", driver="GPKG")
    endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n"
    database = sqlite3.connect(path)
    database.execute(f"CREATE VIEW zones AS {endless}")
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier) "
        "VALUES ('zones', 'attributes', 'zones')"
    )
    database.commit()
    database.close()
    refused(folder, "IN-089")


def test_a_table_without_shapes_cannot_be_zones(tmp_path: Path) -> None:
    files = {"zones.geojson": None, "zones.csv": "zone_id,use\nZ1,tee\n"}
    assert "wkt" in refused(make_site(tmp_path / "site", files=files), "IN-060").fix


def test_allow_large_lifts_the_cap_of_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("data.tables.LARGEST_TABLE_ROWS", 10)
    assert "allow_large" in refused(make_site(tmp_path / "one"), "IN-017").fix
    settings = SETTINGS + "[read]\nallow_large = true\n"
    assert read_site(make_site(tmp_path / "two", settings=settings)).findings == ()
