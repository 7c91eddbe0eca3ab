"""Reading a site: the same tables from every allowed form of the files, and nothing else."""

from __future__ import annotations

import contextlib
import hashlib
import json
import random
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyproj
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from sites import (
    LONG_SETTINGS,
    SETTINGS,
    SPECIES,
    VOID,
    collection,
    count,
    csv_tables,
    long_visits,
    make_site,
    shape_layers,
    square,
    visit_row,
)

from data.findings import InputError, SettingsError
from data.reading import read_site
from data.settings import SiteSettings
from data.site import Site

SHAPES = ("zones", "refuges", "obstacles", "traps")
PLAIN = ("visits", "catches", "bycatch", "weather", "cores", "treatments")

COLUMNS = {
    "zones": ["zone_id", "use", "name", "priority", "note", "geometry"],
    "refuges": ["refuge_id", "kind", "note", "geometry"],
    "obstacles": ["obstacle_id", "kind", "note", "geometry"],
    "traps": [
        *("location_id", "trap_id", "design", "installed", "removed"),
        *("axis_deg", "slot_m", "elevation_m", "note", "geometry"),
    ],
    "visits": [
        *("visit_id", "location_id", "trap_id", "set_on", "checked_on", "status"),
        *("adults", "minutes", "observer", "note", "source_row"),
    ],
    "catches": ["visit_id", "species", "adults"],
    "bycatch": ["visit_id", "taxon", "count"],
    "weather": ["date", "tmin_c", "tmax_c", "rain_mm", "observed_at"],
    "cores": ["zone_id", "sampled_on", "cores", "diameter_cm", "larvae", "pupae", "position"],
    "treatments": [
        *("zone_id", "applied_on", "tactic", "irac_group", "product", "registration_number"),
        *("rate", "amount", "area", "applicator", "note"),
    ],
}


def assert_same_tables(one: Site, other: Site, drop: tuple[str, ...] = ("source_row",)) -> None:
    """Check that all tables of two sites agree, but for the columns dropped."""
    for name in (*SHAPES, *PLAIN):
        left, right = getattr(one, name), getattr(other, name)
        kept = [column for column in left.columns if column not in (*drop, "geometry")]
        assert_frame_equal(pd.DataFrame(left[kept]), pd.DataFrame(right[kept]), obj=name)
        if name in SHAPES:
            # A tenth of a millimetre: the last digit of seven decimals of a degree is 1 cm.
            assert left.geometry.geom_equals_exact(right.geometry, tolerance=1e-4).all()


def test_a_valid_site_has_no_findings(tmp_path: Path) -> None:
    assert read_site(make_site(tmp_path / "site")).findings == ()


def test_the_demo_site_has_no_errors(root: Path) -> None:
    found = read_site(root / "data" / "demo" / "site").findings
    assert [str(finding) for finding in found if finding.severity == "error"] == []


@pytest.mark.parametrize("name", COLUMNS)
def test_tables_have_the_columns_promised(name: str, tmp_path: Path) -> None:
    table = getattr(read_site(make_site(tmp_path / "site")), name)
    assert list(table.columns) == COLUMNS[name]
    assert isinstance(table.index, pd.RangeIndex)


@pytest.mark.parametrize("name", ["refuges", "obstacles", "weather", "cores", "treatments"])
def test_an_optional_table_left_out_is_empty_with_the_same_types(name: str, tmp_path: Path) -> None:
    file = f"{name}.geojson" if name in SHAPES else f"{name}.csv"
    without = getattr(read_site(make_site(tmp_path / "one", files={file: None})), name)
    full = getattr(read_site(make_site(tmp_path / "two")), name)
    assert len(without) == 0
    assert dict(without.dtypes) == dict(full.dtypes)


def test_shapes_are_in_the_utm_zone_of_the_zones(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site"))
    # 39 degrees west is the central meridian of zone 24 (42 to 36 degrees west).
    assert {getattr(site, name).crs.to_epsg() for name in SHAPES} == {32624}


def test_the_crs_of_the_settings_is_used(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site", settings='crs = "EPSG:32424"\n' + SETTINGS))
    # 32424 is the same UTM zone on the datum WGS 72 BE.
    assert {getattr(site, name).crs.to_epsg() for name in SHAPES} == {32424}


def test_areas_agree_with_the_ellipsoid(tmp_path: Path) -> None:
    """The geodesic area of pyproj (Karney 2013) times the square of UTM's scale factor 0.9996."""
    zone = read_site(make_site(tmp_path / "site")).zones.iloc[0]
    ring = square(0, 0)["coordinates"][0]
    geodesic, _ = pyproj.Geod(ellps="WGS84").polygon_area_perimeter(*zip(*ring, strict=True))
    assert zone.geometry.area == pytest.approx(geodesic * 0.9996**2, rel=1e-6)


def test_visits_carry_the_counts_of_the_target_species_together(tmp_path: Path) -> None:
    visits = read_site(make_site(tmp_path / "site")).visits.set_index("visit_id")
    # Trap 7 in its third round: 21 % 5 = 1 and 21 % 3 = 0.
    assert visits.loc["T07 2026-04-27", "adults"] == 1.0
    expected = sum(
        count(f"T{n:02d}", week, species)
        for n in range(1, 17)
        for week in range(4)
        for species in SPECIES
        if (f"T{n:02d}", week) not in VOID
    )
    assert visits["adults"].sum() == expected


def test_void_visits_carry_no_count(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site"))
    void = site.visits[site.visits["status"] != "ok"]
    assert sorted(void["status"]) == ["disturbed", "flooded", "missing"]
    assert void["adults"].isna().all()
    assert not site.catches["visit_id"].isin(void["visit_id"]).any()
    assert not site.bycatch["visit_id"].isin(void["visit_id"]).any()


def test_a_moved_trap_has_two_locations_and_each_visit_its_own(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site"))
    moved = site.traps[site.traps["trap_id"] == "T16"]
    assert list(moved["location_id"]) == ["T16/1", "T16/2"]
    visits = site.visits[site.visits["trap_id"] == "T16"]
    assert list(visits["location_id"]) == ["T16/1", "T16/1", "T16/2", "T16/2"]


def test_species_that_are_not_targets_are_bycatch(tmp_path: Path) -> None:
    targets = 'target_species = ["Sphenophorus parvulus", "Sphenophorus venatus"]'
    settings = SETTINGS.replace(targets, 'target_species = ["Sphenophorus parvulus"]')
    site = read_site(make_site(tmp_path / "site", settings=settings))
    assert set(site.catches["species"]) == {"Sphenophorus parvulus"}
    assert set(site.bycatch["taxon"]) == {"carabids", "Sphenophorus venatus"}
    adults = site.visits.set_index("visit_id")["adults"]
    # Trap 2 in its first round: 2 % 5 = 2 parvulus; its 2 % 3 = 2 venatus are not counted.
    assert adults["T02 2026-04-13"] == 2.0


def test_without_target_species_every_species_counts(tmp_path: Path) -> None:
    targets = 'target_species = ["Sphenophorus parvulus", "Sphenophorus venatus"]'
    some = read_site(make_site(tmp_path / "some"))
    every = read_site(make_site(tmp_path / "every", settings=SETTINGS.replace(targets, "")))
    assert_same_tables(some, every)


def test_a_blank_bycatch_count_is_not_a_zero(tmp_path: Path) -> None:
    cells = {("visits.csv", visit_row("T01", 0), "carabids"): ""}
    site = read_site(make_site(tmp_path / "site", cells=cells))
    assert site.findings == ()
    assert "T01 2026-04-13" not in set(site.bycatch["visit_id"])


def test_rows_per_species_give_the_same_tables_as_columns(tmp_path: Path) -> None:
    wide = read_site(make_site(tmp_path / "wide"))
    long = read_site(
        make_site(tmp_path / "long", settings=LONG_SETTINGS, files={"visits.csv": long_visits()})
    )
    assert_same_tables(wide, long, drop=("source_row", "minutes"))


def test_one_column_of_adults_can_be_named_after_its_species(tmp_path: Path) -> None:
    text = "trap_id,set_on,checked_on,status,adults\nT01,2026-04-06,2026-04-13,ok,3\n"
    settings = 'name = "K"\n[species_columns]\nadults = "Sphenophorus"\n'
    site = read_site(make_site(tmp_path / "site", settings=settings, files={"visits.csv": text}))
    assert list(site.visits["adults"]) == [3.0]
    assert site.catches.to_dict("records") == [
        {"visit_id": "T01 2026-04-13", "species": "Sphenophorus", "adults": 3}
    ]


def test_nights_of_an_unchecked_trap_belong_to_its_next_visit(tmp_path: Path) -> None:
    row = visit_row("T05", 1)
    blank = {("visits.csv", row, name): "" for name in (*SPECIES, "carabids", "minutes")}
    longer = {("visits.csv", visit_row("T05", 2), "set_on"): "2026-04-13"}
    cells = {**blank, **longer, ("visits.csv", row, "status"): "not_checked"}
    site = read_site(make_site(tmp_path / "site", cells=cells))
    assert site.findings == ()
    visit = site.visits.set_index("visit_id").loc["T05 2026-04-27"]
    assert (visit["checked_on"] - visit["set_on"]).days == 14


def _shuffled(folder: Path, seed: int) -> Path:
    shuffle = random.Random(seed).shuffle
    files: dict[str, str | bytes | None] = {}
    for name, (header, *rows) in csv_tables().items():
        shuffle(rows)
        files[name] = "\n".join(",".join(row) for row in [header, *rows])
    for name, features in shape_layers().items():
        shuffle(features)
        files[name] = collection(features)
    return make_site(folder, files=files)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_order_of_rows_makes_no_difference(seed: int, tmp_path: Path) -> None:
    given_order = read_site(make_site(tmp_path / "given"))
    assert_same_tables(given_order, read_site(_shuffled(tmp_path / "shuffled", seed)))


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace(",ok,", " , ok ,"),
        lambda text: text.replace(",ok,", ',"ok",'),
        lambda text: text + "\n,,,\n\n",
    ],
    ids=["byte-order mark", "Windows line ends", "spaces", "quotation marks", "blank rows"],
)
def test_small_differences_between_spreadsheets_do_not_matter(
    change: Callable[[str], str], tmp_path: Path
) -> None:
    plain = make_site(tmp_path / "plain")
    text = change((plain / "visits.csv").read_text(encoding="utf-8"))
    other = make_site(tmp_path / "other", files={"visits.csv": text})
    assert_same_tables(read_site(plain), read_site(other), drop=())


def test_row_numbers_are_those_of_the_spreadsheet_after_blank_rows_and_broken_lines(
    tmp_path: Path,
) -> None:
    rows = ['T01,2026-04-06,2026-04-13,ok,1,1,1,2,"two\nlines"', "", "T01,x,2026-04-20,ok,1,1,1,2,"]
    header = ",".join(csv_tables()["visits.csv"][0])
    site = read_site(make_site(tmp_path / "site", files={"visits.csv": "\n".join([header, *rows])}))
    assert [(finding.code, finding.row) for finding in site.findings] == [("IN-011", 4)]


def test_an_id_that_looks_like_a_number_or_a_blank_stays_text(tmp_path: Path) -> None:
    cells = {
        ("zones.geojson", 6, "zone_id"): 7,
        ("zones.geojson", 5, "zone_id"): "NA",
        ("zones.geojson", 4, "zone_id"): "007",
    }
    site = read_site(make_site(tmp_path / "site", cells=cells))
    assert list(site.zones["zone_id"]) == ["007", "7", "NA", "Z1", "Z2", "Z3"]


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:32624", "EPSG:3857", "EPSG:2263"])
@pytest.mark.parametrize("layers", [["zones"], ["other", "zones"]])
def test_a_geopackage_in_any_crs_is_brought_into_the_sites(
    crs: str, layers: list[str], tmp_path: Path
) -> None:
    plain = make_site(tmp_path / "plain")
    other = make_site(tmp_path / "other", files={"zones.geojson": None})
    zones = gpd.read_file(plain / "zones.geojson").to_crs(crs)
    for layer in layers:
        frame = zones if layer == "zones" else zones.iloc[:1]
        frame.to_file(other / "zones.gpkg", layer=layer, driver="GPKG")
    assert_same_tables(read_site(plain), read_site(other))


def test_a_lone_layer_of_another_name_is_read(tmp_path: Path) -> None:
    plain = make_site(tmp_path / "plain")
    other = make_site(tmp_path / "other", files={"zones.geojson": None})
    gpd.read_file(plain / "zones.geojson").to_file(other / "zones.gpkg", layer="areas")
    assert_same_tables(read_site(plain), read_site(other))


def test_reading_a_geopackage_leaves_no_trace(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", files={"zones.geojson": None})
    plain = make_site(tmp_path / "plain")
    gpd.read_file(plain / "zones.geojson").to_file(site / "zones.gpkg", layer="zones")
    before = {path.name: path.read_bytes() for path in site.iterdir()}
    read_site(site)
    assert {path.name: path.read_bytes() for path in site.iterdir()} == before


def _point_layer(site: Site) -> gpd.GeoDataFrame:
    days = {name: site.traps[name].dt.strftime("%Y-%m-%d") for name in ("installed", "removed")}
    return site.traps.assign(**days).drop(columns="location_id")


@pytest.mark.parametrize("suffix", ["geojson", "gpkg"])
def test_traps_may_be_a_layer_of_points(suffix: str, tmp_path: Path) -> None:
    plain = read_site(make_site(tmp_path / "plain"))
    other = make_site(tmp_path / "other", files={"traps.csv": None})
    layer = _point_layer(plain).to_crs("EPSG:4326")
    driver = {"geojson": "GeoJSON", "gpkg": "GPKG"}[suffix]
    options = {"COORDINATE_PRECISION": "12"} if suffix == "geojson" else {}
    layer.to_file(other / f"traps.{suffix}", driver=driver, engine="pyogrio", **options)
    assert_same_tables(plain, read_site(other))


def test_dates_of_a_geopackage_are_dates(tmp_path: Path) -> None:
    plain = read_site(make_site(tmp_path / "plain"))
    other = make_site(tmp_path / "other", files={"traps.csv": None})
    layer = plain.traps.drop(columns="location_id")
    layer.to_file(other / "traps.gpkg", driver="GPKG")
    assert_same_tables(plain, read_site(other))


def test_traps_may_have_eastings_and_northings(tmp_path: Path) -> None:
    plain = read_site(make_site(tmp_path / "plain"))
    table = pd.DataFrame(_point_layer(plain).drop(columns="geometry"))
    table = table.assign(easting=plain.traps.geometry.x, northing=plain.traps.geometry.y)
    other = make_site(tmp_path / "other", files={"traps.csv": table.to_csv(index=False)})
    assert_same_tables(plain, read_site(other))


def test_two_pairs_of_coordinates_are_refused(tmp_path: Path) -> None:
    text = "trap_id,design,longitude,latitude,easting,northing\nT01,cup,-39,40,1,1\n"
    site = make_site(tmp_path / "site", files={"traps.csv": text})
    with pytest.raises(InputError, match=r"are both there; keep one of the two pairs \[IN-009\]"):
        read_site(site)


def test_a_zone_of_several_parts_is_kept_whole(tmp_path: Path) -> None:
    parts = [square(0, 0)["coordinates"], square(0, 5)["coordinates"]]
    cells = {("zones.geojson", 1, "geometry"): {"type": "MultiPolygon", "coordinates": parts}}
    site = read_site(make_site(tmp_path / "site", cells=cells))
    assert [finding.code for finding in site.findings] == ["IN-066"]
    assert len(site.zones.geometry.iloc[0].geoms) == 2


def test_heights_are_dropped(tmp_path: Path) -> None:
    high = square(0, 0)
    high["coordinates"] = [[[*point, 12.5] for point in high["coordinates"][0]]]
    site = read_site(make_site(tmp_path / "site", cells={("zones.geojson", 1, "geometry"): high}))
    assert not site.zones.geometry.has_z.any()


def test_refuges_without_an_id_are_numbered(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site", cells={("refuges.geojson", 2, "id"): None}))
    assert list(site.refuges["refuge_id"]) == ["R1", "refuges-2"]


def test_core_diameters_are_in_centimetres(tmp_path: Path) -> None:
    cores = read_site(make_site(tmp_path / "site")).cores
    # 4.25 in x 2.54 cm/in = 10.795 cm: the inch is exactly 25.4 mm (agreement of 1959).
    assert list(cores["diameter_cm"]) == [pytest.approx(10.795), 10.0]


def test_fahrenheit_is_brought_to_celsius(tmp_path: Path) -> None:
    text = "date,tmin_f,tmax_f\n2026-03-02,41,68\n2026-03-01,32,50\n"
    weather = read_site(make_site(tmp_path / "site", files={"weather.csv": text})).weather
    assert list(weather["tmin_c"]) == pytest.approx([0.0, 5.0])
    assert list(weather["tmax_c"]) == pytest.approx([10.0, 20.0])


def test_hashes_are_of_the_bytes_of_every_file_read(tmp_path: Path) -> None:
    folder = make_site(tmp_path / "site")
    expected = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()
    }
    hashes = read_site(folder).hashes
    assert hashes == expected
    assert list(hashes) == sorted(hashes)


def test_other_files_of_the_folder_are_not_read(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", files={"notes.csv": b"\xff\0 not a table"})
    assert "notes.csv" not in read_site(site).hashes


def test_reading_twice_gives_equal_sites(tmp_path: Path) -> None:
    folder = make_site(tmp_path / "site")
    one, two = read_site(folder), read_site(folder)
    assert_same_tables(one, two, drop=())
    assert isinstance(one.settings, SiteSettings)
    same = {field.name for field in fields(Site)} - {*SHAPES, *PLAIN}
    assert all(getattr(one, name) == getattr(two, name) for name in same)


@settings(max_examples=30)
@given(
    file=st.sampled_from(["visits.csv", "traps.csv", "zones.geojson", "weather.csv", "site.toml"]),
    place=st.integers(0, 2000),
    new=st.binary(max_size=12),
    length=st.integers(0, 40),
)
def test_no_damage_to_a_file_gives_anything_but_a_finding(
    tmp_path_factory: pytest.TempPathFactory, file: str, place: int, new: bytes, length: int
) -> None:
    folder = make_site(tmp_path_factory.mktemp("fuzz"))
    content = (folder / file).read_bytes()
    start = place % len(content)
    (folder / file).write_bytes(content[:start] + new + content[start + length :])
    # Any other exception fails the test.
    with contextlib.suppress(InputError, SettingsError):
        read_site(folder)


@settings(max_examples=30)
@given(
    geometry=st.recursive(
        st.none() | st.booleans() | st.floats(-200, 200) | st.text(max_size=3),
        lambda inner: st.lists(inner, max_size=4),
        max_leaves=12,
    ),
    kind=st.sampled_from(["Polygon", "MultiPolygon", "Point", "LineString", "GeometryCollection"]),
)
def test_no_geometry_gives_anything_but_a_finding(
    tmp_path_factory: pytest.TempPathFactory, geometry: object, kind: str
) -> None:
    shape = {"type": kind, "coordinates": geometry, "geometries": geometry}
    cells = {("zones.geojson", 1, "geometry"): json.loads(json.dumps(shape))}
    site = read_site(make_site(tmp_path_factory.mktemp("fuzz"), cells=cells))
    assert {f.row for f in site.findings if f.file == "zones.geojson"} == {1}
