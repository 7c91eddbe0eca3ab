"""The GeoPackage: one layer a table, read back as the same site, the same bytes at every run."""

from __future__ import annotations

import re
import sqlite3
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
from sites import LONG_SETTINGS, SETTINGS, csv_tables, long_visits, make_site, shape_layers

from data.reading import read_site
from data.schemas import TABLES
from data.site import Site
from maps.geopackage import PROVENANCE, geopackage, visits_table
from maps.records import provenance, records_up_to
from maps.shapes_out import traps_geojson, zones_geojson

LAYERS = [
    "zones",
    "refuges",
    "obstacles",
    "traps",
    "visits",
    "catches",
    "bycatch",
    "cores",
    "weather",
    "treatments",
    PROVENANCE,
]
SITE_TABLES = LAYERS[:-1]
HOSTILE = "\"'<b>&--;\t\n\u2028\x00é\U0001f41e); DROP TABLE visits"

# A genus counted in one sum beside its species, an open name, a by-catch species, a blank by-catch
# cell, and a visit on which nothing was found and no species named.
GENUS_VISITS = """trap_id,set_on,checked_on,status,species,adults,carabids
T01,2026-04-06,2026-04-13,ok,Sphenophorus,9,2
T01,2026-04-06,2026-04-13,ok,Sphenophorus parvulus,4,2
T01,2026-04-06,2026-04-13,ok,Sphenophorus cf. venatus,1,2
T01,2026-04-06,2026-04-13,ok,Listronotus maculicollis,3,2
T02,2026-04-06,2026-04-13,ok,,0,
T03,2026-04-06,2026-04-13,flooded,,,
"""


def one_target(second_column: str) -> str:
    """Return settings with one target species, and another name for the second column."""
    settings = SETTINGS.replace(', "Sphenophorus venatus"]', "]")
    return settings.replace('= "Sphenophorus venatus"', f'= "{second_column}"')


def written(site: Site, folder: Path, week: str | None = None) -> Path:
    path = folder / "out.gpkg"
    path.write_bytes(geopackage(records_up_to(site, week)))
    return path


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return read_site(make_site(tmp_path_factory.mktemp("gpkg") / "site"))


def plain(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table without shapes and without the rows of its file."""
    return pd.DataFrame(table.drop(columns=["geometry", "source_row"], errors="ignore"))


def test_every_table_is_a_layer(site: Site, tmp_path: Path) -> None:
    path = written(site, tmp_path)
    assert list(pyogrio.list_layers(path)[:, 0]) == LAYERS
    for name in SITE_TABLES[:4]:
        layer = pyogrio.read_dataframe(path, layer=name)
        assert layer.crs == site.zones.crs == "EPSG:32624"
        assert len(layer) == len(getattr(site, name))
    assert len(pyogrio.read_dataframe(path, layer="visits")) == len(site.visits) == 64


def test_a_table_without_rows_is_no_layer(tmp_path: Path) -> None:
    folder = make_site(
        tmp_path / "bare", files=dict.fromkeys(["cores.csv", "refuges.geojson", "treatments.csv"])
    )
    layers = set(pyogrio.list_layers(written(read_site(folder), tmp_path))[:, 0])
    assert set(LAYERS) - layers == {"cores", "refuges", "treatments"}


def test_columns_bear_the_names_of_the_schemas(site: Site, tmp_path: Path) -> None:
    """What is ours alone are the names of visits and locations, and the count columns."""
    path = written(site, tmp_path)
    ours = {"visit_id", "location_id", *site.settings.species_columns, "carabids"}
    for name, table in TABLES.items():
        columns = set(pyogrio.read_dataframe(path, layer=name).columns) - {"geometry"}
        assert columns - ours <= {column.name for column in table.columns}
        assert {column.name for column in table.columns if column.required} <= columns


@pytest.mark.parametrize(
    ("settings", "visits"),
    [
        (SETTINGS, None),
        (LONG_SETTINGS, long_visits()),
        (LONG_SETTINGS, GENUS_VISITS),
        (LONG_SETTINGS.replace('bycatch_columns = ["carabids"]', ""), GENUS_VISITS),
        (one_target("Sphenophorus"), None),
        (one_target("Sphenophorus parvulus"), None),
    ],
    ids=["wide", "long", "genus", "no by-catch", "genus column", "two columns"],
)
def test_it_reads_back_as_the_same_site(tmp_path: Path, settings: str, visits: str | None) -> None:
    files = {} if visits is None else {"visits.csv": visits}
    site = read_site(make_site(tmp_path / "site", settings=settings, files=files))
    assert len(site.visits) >= 2
    data = geopackage(records_up_to(site))
    absent = dict.fromkeys([*csv_tables(), *shape_layers()])
    folder = make_site(tmp_path / "b", settings=settings, files={**absent, "site.gpkg": data})
    back = read_site(folder)
    assert [each for each in back.findings if each.severity == "error"] == []
    for name in SITE_TABLES:
        before, after = getattr(site, name), getattr(back, name)
        pd.testing.assert_frame_equal(plain(after), plain(before))
        if isinstance(before, gpd.GeoDataFrame):
            assert after.geometry.geom_equals(before.geometry).all()
            assert after.crs == before.crs


DECLARED = """
[read]
date_format = "D.M.YYYY"
decimal = ","
delimiter = ";"
"""


def declared_files() -> dict[str, str]:
    """Return the plain tables as the settings `DECLARED` say they are typed."""
    return {
        name: "\n".join(";".join(_as_declared(cell) for cell in row) for row in rows) + "\n"
        for name, rows in csv_tables().items()
    }


def _as_declared(cell: str) -> str:
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", cell):
        year, month, day = cell.split("-")
        return f"{int(day)}.{int(month)}.{year}"
    return cell.replace(".", ",") if re.fullmatch(r"-?\d+\.\d+", cell) else cell


@pytest.mark.parametrize("form", ["gpkg", "geojson"])
def test_exports_read_back_whatever_the_settings_say_of_typed_files(
    tmp_path: Path, site: Site, form: str
) -> None:
    """Dates, decimal commas and semicolons are those of typed files; an export has its own."""
    settings = SETTINGS + DECLARED
    typed = read_site(make_site(tmp_path / "typed", settings=settings, files=declared_files()))
    assert typed.findings == ()
    for name in SITE_TABLES:
        pd.testing.assert_frame_equal(plain(getattr(typed, name)), plain(getattr(site, name)))
    records = records_up_to(typed)
    files: dict[str, str | bytes | None] = {**declared_files(), "traps.csv": None}
    if form == "gpkg":
        files |= dict.fromkeys([*csv_tables(), *shape_layers()])
        files["site.gpkg"] = geopackage(records)
    else:
        files |= {"traps.geojson": traps_geojson(records), "zones.geojson": zones_geojson(records)}
    back = read_site(make_site(tmp_path / "back", settings=settings, files=files))
    assert back.findings == ()
    for name in SITE_TABLES:
        pd.testing.assert_frame_equal(plain(getattr(back, name)), plain(getattr(site, name)))
    far = [back.traps.distance(site.traps).max(), back.zones.hausdorff_distance(site.zones).max()]
    # A GeoJSON has seven decimals of a degree, about a centimetre.
    assert max(far) <= (0 if form == "gpkg" else 0.02)


def test_positions_of_cores_and_areas_of_treatments_are_kept(tmp_path: Path) -> None:
    tables = csv_tables()
    header, *rows = tables["cores.csv"]
    lines = [[*header, "position"], *([*row, "left edge"] for row in rows)]
    cores = "\n".join(",".join(row) for row in lines) + "\n"
    cells = {("treatments.csv", 2, "area"): "0.4 acres"}
    folder = make_site(tmp_path / "site", cells=cells, files={"cores.csv": cores})
    kept = read_site(folder)
    assert kept.cores["position"].tolist() == ["left edge"] * 2
    assert kept.treatments["area"].tolist() == ["0.4 acres"]
    path = written(kept, tmp_path)
    assert set(pyogrio.read_dataframe(path, layer="cores")["position"]) == {"left edge"}
    assert set(pyogrio.read_dataframe(path, layer="treatments")["area"]) == {"0.4 acres"}


def test_a_visit_without_a_count_stays_blank(site: Site, tmp_path: Path) -> None:
    visits = pyogrio.read_dataframe(written(site, tmp_path), layer="visits")
    void = visits[visits["status"] != "ok"]
    counts = ["parvulus", "venatus", "carabids"]
    assert len(void) == 3
    assert void[counts].isna().all(axis=None)
    assert visits.loc[visits["status"] == "ok", counts].notna().all(axis=None)
    assert visits["parvulus"].sum() + visits["venatus"].sum() == site.visits["adults"].sum()


def test_days_are_dates(site: Site, tmp_path: Path) -> None:
    with sqlite3.connect(written(site, tmp_path)) as opened:
        kinds = {row[1]: row[2] for row in opened.execute("PRAGMA table_info(visits)")}
        days = opened.execute("SELECT DISTINCT checked_on FROM visits ORDER BY 1").fetchall()
    opened.close()
    assert kinds["checked_on"] == kinds["set_on"] == "DATE"
    assert days == [("2026-04-13",), ("2026-04-20",), ("2026-04-27",), ("2026-05-04",)]


def test_time_stamps_are_the_cut_off_and_bytes_the_same(site: Site, tmp_path: Path) -> None:
    path = written(site, tmp_path, "2026-W17")
    with sqlite3.connect(path) as opened:
        stamps = set(opened.execute("SELECT last_change FROM gpkg_contents"))
        made_for = opened.execute("PRAGMA application_id").fetchone()
    opened.close()
    # 0x47504B47 is "GPKG" (GeoPackage 1.3, requirement 2; from memory).
    assert made_for == (0x47504B47,)
    assert stamps == {("2026-04-26T00:00:00.000Z",)}
    assert geopackage(records_up_to(site, "2026-W17")) == path.read_bytes()


def test_the_clock_of_the_writer_is_put_back(site: Site) -> None:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    geopackage(records_up_to(site))
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == before


def test_a_week_leaves_out_what_is_later(site: Site, tmp_path: Path) -> None:
    path = written(site, tmp_path, "2026-W16")
    layers = set(pyogrio.list_layers(path)[:, 0])
    visits = pyogrio.read_dataframe(path, layer="visits")
    weather = pyogrio.read_dataframe(path, layer="weather")
    assert visits["checked_on"].max() == pd.Timestamp("2026-04-13")
    assert weather["date"].max() == pd.Timestamp("2026-04-19")
    assert {"cores", "treatments"} & layers == set()


def test_provenance_is_a_layer_of_keys_and_values(site: Site, tmp_path: Path) -> None:
    read = pyogrio.read_dataframe(written(site, tmp_path), layer=PROVENANCE)
    facts = dict(zip(read["key"], read["value"], strict=True))
    assert facts == provenance(records_up_to(site))
    # 64 visits, three of them void, seven nights each.
    assert facts["visits with a count"] == "61"
    assert facts["trap-nights"] == "427"
    assert facts["cutoff"] == "2026-05-04"
    assert (facts["rows read"], facts["rows set aside"]) == ("157", "0")
    assert facts["sha256 visits.csv"] == site.hashes["visits.csv"]


def test_hostile_text_is_stored_as_it_is(site: Site, tmp_path: Path) -> None:
    spoiled = replace(
        site,
        settings=replace(site.settings, name=HOSTILE),
        visits=site.visits.assign(note=HOSTILE),
        traps=site.traps.assign(note=HOSTILE, design=HOSTILE),
        zones=site.zones.assign(name=HOSTILE),
    )
    path = written(spoiled, tmp_path)
    expected = HOSTILE.replace("\x00", "\ufffd")
    for layer, column in (("visits", "note"), ("traps", "design"), ("zones", "name")):
        assert set(pyogrio.read_dataframe(path, layer=layer)[column]) == {expected}


def test_a_count_column_may_bear_a_name_of_the_writer(tmp_path: Path) -> None:
    """`fid` and `geom` are columns of GDAL's own in every GeoPackage."""
    settings = SETTINGS.replace('["carabids"]', '["fid", "geom"]')
    rows = csv_tables()["visits.csv"]
    header = [*rows[0], "fid", "geom"]
    lines = [[*row, "3", "4"] if row[3] == "ok" else [*row, "", ""] for row in rows[1:]]
    text = "\n".join(",".join(row) for row in [header, *lines]) + "\n"
    site = read_site(make_site(tmp_path / "odd", settings=settings, files={"visits.csv": text}))
    visits = pyogrio.read_dataframe(written(site, tmp_path), layer="visits")
    assert visits["fid"].dropna().unique().tolist() == [3]
    assert visits["geom"].dropna().unique().tolist() == [4]


def test_the_site_is_not_changed(site: Site) -> None:
    before = {name: getattr(site, name).copy() for name in SITE_TABLES}
    geopackage(records_up_to(site, "2026-W17"))
    visits_table(site)
    for name, table in before.items():
        pd.testing.assert_frame_equal(plain(getattr(site, name)), plain(table))
    assert np.array_equal(site.traps.geometry.x, before["traps"].geometry.x)
