"""What a first check tells: all mistakes at once, with a mend that works, and nothing lost."""

from __future__ import annotations

import io
import tomllib
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pyogrio
import pytest
from formats import trap_layer, without, xlsx
from sites import LONG_SETTINGS, SETTINGS, csv_tables, long_visits, make_site, shape_layers, square
from sites import collection as features

from data.coordinates import UNITS_M
from data.findings import Finding
from data.reading import read_site
from data.set_aside import Account
from data.settings_file import parse_settings
from maps.geopackage import visits_table
from scripts.commands.check import checked

GRID = "[local_grid]\norigin = [-39.0, 40.0]\n"
VISITS = csv_tables()["visits.csv"]


def findings_of(folder: Path) -> list[Finding]:
    return list(checked(folder)[0])


def account_of(folder: Path) -> Account:
    return checked(folder)[1]


def only(found: list[Finding], code: str) -> Finding:
    (finding,) = [each for each in found if each.code == code]
    return finding


def spoilt(folder: Path, *cells: tuple[str, int, str, Any], **given: Any) -> Path:
    return make_site(folder, cells={(f, row, name): v for f, row, name, v in cells}, **given)


# Rows that are taken along


def test_a_second_entry_with_swapped_dates_leaves_the_first_one_alone(tmp_path: Path) -> None:
    more = {"visits.csv": ["T07,2026-05-11,2026-04-20,ok,0,0,0,1,"]}
    account = account_of(make_site(tmp_path / "site", more=more))
    assert [row.finding.code for row in account.rows] == ["IN-030"]


def test_each_row_taken_along_says_by_which_row(tmp_path: Path) -> None:
    text = long_visits() + "T01,2026-04-06,2026-04-13,ok,Sphenophorus minimus,x,\n"
    folder = make_site(tmp_path / "site", settings=LONG_SETTINGS, files={"visits.csv": text})
    along = [f for f in findings_of(folder) if f.code == "IN-044"]
    last = text.count("\n")
    assert [(f.row, f.problem) for f in along] == [
        (row, f"row {last}, of the same visit, is set aside") for row in (2, 3)
    ]
    assert len(account_of(folder).rows) == 3


# Tape measures


def tape(folder: Path, names: tuple[str, str], settings: str) -> Path:
    """Write the tiny site with its first trap 30 units right of the origin and 20 along."""
    header, *rows = csv_tables()["traps.csv"]
    lines = [",".join([*header[:2], *names])]
    lines += [f"{row[0]},{row[1]},{30 + 10 * n},20" for n, row in enumerate(rows[:16])]
    return make_site(folder, settings=settings, files={"traps.csv": "\n".join(lines) + "\n"})


@pytest.mark.parametrize("units", ["ft", "us_survey_ft"])
def test_a_tape_in_feet_is_not_read_as_metres(units: str, tmp_path: Path) -> None:
    columns = '[columns.traps]\n"x_ft" = "x_m"\n"y_ft" = "y_m"\n'
    mapped = SETTINGS + GRID + columns
    feet = read_site(
        tape(tmp_path / "ft", ("x_ft", "y_ft"), f'{mapped}[read.traps]\nunits = "{units}"\n')
    )
    metres = read_site(tape(tmp_path / "m", ("x_m", "y_m"), SETTINGS + GRID))
    short, long = (
        each.traps.geometry.iloc[0].distance(each.traps.geometry.iloc[9]) for each in (feet, metres)
    )
    assert short == pytest.approx(UNITS_M[units] * long, rel=1e-6)


def test_metres_by_name_and_feet_by_setting_are_refused(tmp_path: Path) -> None:
    settings = SETTINGS + GRID + '[read.traps]\nunits = "ft"\n'
    finding = only(findings_of(tape(tmp_path / "site", ("x_m", "y_m"), settings)), "IN-103")
    assert "map them under [columns.traps]" in finding.fix


def test_columns_in_feet_come_with_the_lines_that_read_them(tmp_path: Path) -> None:
    found = findings_of(tape(tmp_path / "site", ("x_ft", "y_ft"), SETTINGS + GRID))
    fixes = {f.column: f.fix for f in found if f.code == "IN-005"}
    assert fixes["x_m"] == (
        'write "x_ft" = "x_m" under [columns.traps] and units = "ft" under [read.traps] in '
        "site.toml"
    )
    assert set(fixes) == {"x_m", "y_m"}


# All mistakes at once


def test_all_missing_columns_are_told_at_once(tmp_path: Path) -> None:
    folder = spoilt(
        tmp_path / "site",
        ("traps.csv", 1, "design", "kind"),
        ("traps.csv", 1, "latitude", "Lat"),
        ("visits.csv", 1, "status", "found"),
        ("visits.csv", 1, "venatus", "venata"),
        ("weather.csv", 1, "date", "day of"),
        ("weather.csv", 1, "tmin_c", "low"),
    )
    missing = {(f.file, f.column) for f in findings_of(folder) if f.code == "IN-005"}
    assert missing == {
        ("traps.csv", "design"),
        ("traps.csv", "latitude"),
        ("visits.csv", "status"),
        ("visits.csv", "venatus"),
        ("weather.csv", "date"),
        ("weather.csv", "tmin_c"),
    }


def test_rows_per_species_miss_all_their_columns_at_once(tmp_path: Path) -> None:
    text = "trap_id,set_on,checked_on\nT01,2026-04-06,2026-04-13\n"
    folder = make_site(tmp_path / "site", settings=LONG_SETTINGS, files={"visits.csv": text})
    missing = [f.column for f in findings_of(folder) if f.code == "IN-005"]
    assert missing == ["adults", "carabids", "species", "status"]


def test_a_wrong_value_that_nothing_rests_on_costs_only_itself(tmp_path: Path) -> None:
    site = read_site(
        spoilt(
            tmp_path / "site",
            ("traps.csv", 5, "axis_deg", "400"),
            ("visits.csv", 24, "minutes", "ten"),
        )
    )
    assert {(f.code, f.severity) for f in site.findings} == {
        ("IN-012", "warning"),
        ("IN-013", "warning"),
    }
    assert len(site.traps) == 17
    assert site.traps.set_index("trap_id")["axis_deg"].isna()["T04"]
    assert len(site.visits) == 64
    assert site.account.count == 0


# Mends that work


@pytest.mark.parametrize(
    ("place", "typed", "code", "words"),
    [
        (("traps.csv", 1, "trap_id"), "Trap ID", "IN-005", '"Trap ID" = "trap_id"'),
        (("traps.csv", 1, "latitude"), "Lat", "IN-005", '"Lat" = "latitude"'),
        (("traps.csv", 1, "design"), "sort", "IN-005", 'design = "cup" under [read.traps]'),
        (("visits.csv", 1, "venatus"), "venata", "IN-005", "in [species_columns] of site.toml"),
        (("visits.csv", 1, "carabids"), "beetles", "IN-005", "in bycatch_columns of site.toml"),
        (("traps.csv", 3, "design"), "pitfall trap", "IN-047", 'add [designs."pitfall trap"]'),
        (("visits.csv", 24, "set_on"), "2026-04-31", "IN-011", "there is no day '2026-04-31'"),
        (("weather.csv", 5, "tmin_c"), '"2,5"', "IN-012", 'set decimal = "," under [read]'),
        (("visits.csv", 24, "trap_id"), "Total", "IN-040", "delete the row"),
    ],
)
def test_a_mend_can_be_followed(
    place: tuple[str, int, str], typed: str, code: str, words: str, tmp_path: Path
) -> None:
    found = [f for f in findings_of(spoilt(tmp_path / "site", (*place, typed))) if f.code == code]
    assert any(words in str(each) for each in found)


def test_what_a_missing_column_suggests_is_valid_and_mends_it(tmp_path: Path) -> None:
    cells = {("traps.csv", 1, "trap_id"): '"Trap ""ID"""'}
    finding = only(findings_of(make_site(tmp_path / "first", cells=cells)), "IN-005")
    line = finding.fix.removeprefix("add it, or write ").split(" under ")[0]
    settings = f"{SETTINGS}[columns.traps]\n{line}\n"
    assert findings_of(make_site(tmp_path / "second", settings=settings, cells=cells)) == []


def test_a_day_that_a_declared_format_cannot_have_is_told_as_such(tmp_path: Path) -> None:
    settings = SETTINGS + '[read.weather]\ndate_format = "MM/DD/YYYY"\n'
    folder = spoilt(tmp_path / "site", ("weather.csv", 5, "date", "13/04/2026"), settings=settings)
    finding = only(findings_of(folder), "IN-011")
    assert finding.problem == "there is no day '13/04/2026' in the calendar"
    assert "date_format under [read]" in finding.fix


def test_a_design_with_a_blank_in_the_settings_is_told_in_quotation_marks(tmp_path: Path) -> None:
    settings = SETTINGS + '[designs."ramp trap"]\n'
    finding = only(findings_of(make_site(tmp_path / "site", settings=settings)), "IN-098")
    assert finding.problem == 'no trap has the design of [designs."ramp trap"]'
    assert parse_settings(tomllib.loads(settings)).designs[-1].name == "ramp trap"


def test_a_file_that_names_its_crs_says_where_crs_may_stand(tmp_path: Path) -> None:
    folder = without(tmp_path / "site", "traps.csv")
    trap_layer().to_crs("EPSG:32624").to_file(folder / "traps.gpkg", driver="GPKG")
    (folder / "site.toml").write_text(SETTINGS + '[read]\ncrs = "EPSG:2263"\n', "utf-8")
    assert "[read] or [read.traps]" in only(findings_of(folder), "IN-064").fix


def test_waypoints_without_a_design_come_with_the_line_that_gives_one(tmp_path: Path) -> None:
    folder = without(tmp_path / "site", "traps.csv")
    points = zip(trap_layer()["trap_id"], trap_layer().geometry, strict=True)
    marks = [f'<wpt lon="{p.x}" lat="{p.y}"><name>{name}</name></wpt>' for name, p in points]
    text = f'<gpx xmlns="http://www.topografix.com/GPX/1/1">{"".join(marks)}</gpx>'
    (folder / "traps.gpx").write_text(text, "utf-8")
    assert 'design = "cup" under [read.traps]' in only(findings_of(folder), "IN-005").fix


def test_positions_that_are_all_far_away_are_in_another_system(tmp_path: Path) -> None:
    traps = [row[0] for row in csv_tables()["traps.csv"][1:17]]
    lines = ["trap_id,design,easting,northing"]
    lines += [f"{trap},cup,{900_000 + 10 * n},200000" for n, trap in enumerate(traps)]
    files = {"traps.csv": "\n".join(lines) + "\n"}
    found = findings_of(make_site(tmp_path / "site", files=files))
    fixes = {f.fix for f in found if f.code == "IN-052"}
    assert len(fixes) == 1
    assert "crs or units under [read.traps]" in fixes.pop()


# Text files


def test_an_open_quotation_mark_is_told_with_its_line(tmp_path: Path) -> None:
    lines = [",".join(row) for row in VISITS]
    lines[9] = lines[9].replace("T09", '"T09')
    text = "\n".join(lines) + "\n"
    finding = only(findings_of(make_site(tmp_path / "site", files={"visits.csv": text})), "IN-002")
    assert finding.problem.startswith("from line 10 to line 65 a quotation mark is open")
    assert finding.fix == "look for a stray or missing quotation mark in line 10"


def test_a_byte_that_does_not_fit_is_told_with_its_line(tmp_path: Path) -> None:
    content = b"trap_id,design\nT01,cup\nT\x8102,cup\n"
    found = findings_of(make_site(tmp_path / "site", files={"traps.csv": content}))
    assert "line 3 (byte 24 of the file)" in only(found, "IN-002").problem


@pytest.mark.parametrize("above", ["Round book 2026\n\n", "sep=,\n", "Rounds,2026,,\n"])
def test_a_title_above_the_names_is_seen(above: str, tmp_path: Path) -> None:
    text = above + "\n".join(",".join(row) for row in VISITS) + "\n"
    found = findings_of(make_site(tmp_path / "site", files={"visits.csv": text}))
    (finding,) = [f for f in found if f.file == "visits.csv"]
    assert (finding.code, finding.fix) == ("IN-005", "delete the rows above it")
    assert f"row {above.count(chr(10)) + 1} seems to" in finding.problem


def test_values_under_no_name_are_told_once(tmp_path: Path) -> None:
    folder = spoilt(tmp_path / "site", ("visits.csv", 1, "minutes", ""))
    finding = only(findings_of(folder), "IN-105")
    assert (finding.severity, finding.row) == ("warning", 1)
    assert finding.problem.startswith("column 8 of the table has no name")


def test_an_empty_column_without_a_name_is_nothing(tmp_path: Path) -> None:
    assert findings_of(spoilt(tmp_path / "site", ("visits.csv", 1, "note", ""))) == []


# Two of one name


def test_of_two_different_zones_of_one_id_neither_is_used(tmp_path: Path) -> None:
    site = read_site(spoilt(tmp_path / "site", ("zones.geojson", 6, "zone_id", "Z5")))
    assert "Z5" not in set(site.zones["zone_id"])


def test_a_copy_of_a_zone_is_set_aside_alone(tmp_path: Path) -> None:
    zones = shape_layers()["zones.geojson"]
    files = {"zones.geojson": features([*zones, zones[4]])}
    site = read_site(make_site(tmp_path / "site", files=files))
    finding = only(list(site.findings), "IN-041")
    assert (finding.row, finding.problem) == (7, "the zone is there twice, first in row 5")
    assert len(site.zones) == 6


def test_of_two_places_of_a_trap_at_one_time_neither_is_used(tmp_path: Path) -> None:
    more = {"traps.csv": ["T01,cup,-38.9992,40.0008,2026-04-20,,"]}
    site = read_site(make_site(tmp_path / "site", more=more))
    assert "T01" not in set(site.traps["trap_id"])
    # A row whose own position is wrong clashes with none.
    more = {"traps.csv": ["T01,cup,38.9992,40.0008,2026-04-20,,"]}
    site = read_site(make_site(tmp_path / "far", more=more))
    assert "T01" in set(site.traps["trap_id"])
    # A place that ended before the clash began stands.
    more = {"traps.csv": ["T16,cup,-38.9992,40.0008,2026-04-25,,"]}
    site = read_site(make_site(tmp_path / "other", more=more))
    assert list(site.traps["trap_id"]).count("T16") == 1


# Shapes and what is around


def test_a_geojson_whose_crs_is_null_is_read(tmp_path: Path) -> None:
    text = features(shape_layers()["zones.geojson"]).replace("{", '{"crs": null, ', 1)
    assert findings_of(make_site(tmp_path / "site", files={"zones.geojson": text})) == []


@pytest.mark.parametrize(
    ("kind", "stands_in_it"),
    [
        ("Pond", True),
        ("water hazard", True),
        ("buildings", True),
        ("Clubhouse", True),
        ("dry streambed, mown", False),
        ("dry pond", False),
        ("rainwater garden", False),
    ],
)
def test_only_whole_words_bar_a_trap(kind: str, stands_in_it: bool, tmp_path: Path) -> None:
    folder = spoilt(
        tmp_path / "site",
        ("obstacles.geojson", 1, "geometry", square(0, 0)),
        ("obstacles.geojson", 1, "kind", kind),
    )
    assert any(f.code == "IN-058" for f in findings_of(folder)) is stands_in_it


def test_the_plural_of_a_use_is_told_once(tmp_path: Path) -> None:
    folder = spoilt(
        tmp_path / "site",
        ("zones.geojson", 1, "use", "fairways"),
        ("zones.geojson", 4, "use", "fairways"),
    )
    finding = only(findings_of(folder), "IN-104")
    assert (finding.row, finding.severity) == (1, "warning")


# The other row


def test_overlapping_and_doubled_visits_name_the_other_row(tmp_path: Path) -> None:
    more = {"visits.csv": [",".join(VISITS[7]), "T08,2026-04-08,2026-04-15,ok,0,0,0,1,"]}
    found = findings_of(make_site(tmp_path / "site", more=more))
    assert only(found, "IN-034").problem == "this visit is there twice, first in row 8"
    clash = [f.problem for f in found if f.code == "IN-032"]
    assert clash[0].endswith("the trap was still set for the visit in row 9")


def test_a_genus_total_speaks_of_columns_where_there_are_columns(tmp_path: Path) -> None:
    settings = SETTINGS.replace(
        'venatus = "Sphenophorus venatus"', 'venatus = "Sphenophorus"'
    ).replace(', "Sphenophorus venatus"]', "]")
    cells = [("visits.csv", 24, "parvulus", "9"), ("visits.csv", 24, "venatus", "1")]
    found = findings_of(spoilt(tmp_path / "site", *cells, settings=settings))
    told = [f for f in found if f.code == "IN-027" and f.row == 24]
    assert told[0].fix.endswith("in a column of their own")


# What becomes of every row


def test_a_table_that_was_refused_is_in_the_totals(tmp_path: Path) -> None:
    account = account_of(spoilt(tmp_path / "site", ("cores.csv", 1, "larvae", "grubs")))
    tallies = {each.file: each for each in account.tallies}
    assert (tallies["cores.csv"].read, tallies["cores.csv"].set_aside) == (2, 2)
    assert [row.finding.code for row in account.rows] == ["IN-005"] * 2
    assert account.rows[0].cells["grubs"] == "7"


def test_a_file_that_cannot_be_read_is_in_the_totals(tmp_path: Path) -> None:
    account = account_of(make_site(tmp_path / "site", files={"zones.geojson": "{"}))
    assert next((t.file, t.read, t.used) for t in account.tallies) == ("zones.geojson", 0, 0)


def test_no_visit_is_used_at_a_site_without_traps(tmp_path: Path) -> None:
    account = account_of(make_site(tmp_path / "site", files={"traps.csv": None}))
    (visits,) = [each for each in account.tallies if each.file == "visits.csv"]
    assert (visits.read, visits.used, visits.set_aside) == (64, 0, 64)


@pytest.mark.parametrize("form", ["xlsx", "gpkg"])
def test_rows_set_aside_hold_their_cells_as_typed(form: str, tmp_path: Path) -> None:
    rows = [list(row) for row in VISITS]
    rows[5][VISITS[0].index("status")] = " OK "
    rows[5][VISITS[0].index("note")] = "  wet  "
    folder = without(tmp_path / "site", "visits.csv")
    if form == "xlsx":
        (folder / "visits.xlsx").write_bytes(xlsx({"visits": rows}))
    else:
        table = pd.DataFrame(rows[1:], columns=rows[0])
        pyogrio.write_dataframe(table, folder / "visits.gpkg", layer="visits", driver="GPKG")
    (row,) = account_of(folder).rows
    assert (row.cells["status"], row.cells["note"]) == (" OK ", "  wet  ")


def test_a_feature_set_aside_holds_its_cells_as_typed(tmp_path: Path) -> None:
    zones = shape_layers()["zones.geojson"]
    twin = zones[0] | {"properties": zones[0]["properties"] | {"note": "  wet  "}}
    content = features([*zones, twin])
    folder = make_site(tmp_path / "site", files={"zones.geojson": content})
    assert "  wet  " in [row.cells.get("note") for row in account_of(folder).rows]


def test_an_error_of_the_spreadsheet_comes_first_and_is_kept(tmp_path: Path) -> None:
    folder = without(tmp_path / "site", "visits.csv")
    book = openpyxl.load_workbook(io.BytesIO(xlsx({"visits": VISITS})))
    cell = book["visits"].cell(24, VISITS[0].index("parvulus") + 1)
    cell.value, cell.data_type = "#N/A", "e"
    book.save(folder / "visits.xlsx")
    found = findings_of(folder)
    assert [(f.code, f.row, f.column, f.value) for f in found] == [
        ("IN-092", 24, "parvulus", "#N/A")
    ]
    (row,) = account_of(folder).rows
    assert row.cells["parvulus"] == "#N/A"


# Columns that are kept


def test_observer_and_the_record_of_a_treatment_are_kept_and_exported(tmp_path: Path) -> None:
    given = {
        "product": "Example 4F",
        "registration_number": "000-0",
        "rate": "1.2 kg/ha",
        "amount": "3 kg",
        "applicator": "R. Loom",
    }
    header = ["zone_id", "applied_on", *given]
    treatments = f"{','.join(header)}\nZ1,2026-04-22,{','.join(given.values())}\n"
    visits = "\n".join(
        ",".join([*row, "observer" if n == 0 else "Ida Fern"]) for n, row in enumerate(VISITS)
    )
    files = {"treatments.csv": treatments, "visits.csv": visits + "\n"}
    site = read_site(make_site(tmp_path / "site", files=files))
    assert site.findings == ()
    assert dict(site.treatments.iloc[0][list(given)]) == given
    assert set(site.visits["observer"]) == {"Ida Fern"}
    assert set(visits_table(site)["observer"]) == {"Ida Fern"}


def test_the_observer_of_any_row_of_a_visit_is_kept(tmp_path: Path) -> None:
    lines = long_visits().splitlines()
    rows = [f"{lines[0]},observer"]
    rows += [f"{line},{'Ida Fern' if n % 2 else ''}" for n, line in enumerate(lines[1:])]
    files = {"visits.csv": "\n".join(rows) + "\n"}
    site = read_site(make_site(tmp_path / "site", settings=LONG_SETTINGS, files=files))
    ok = site.visits[site.visits["status"] == "ok"]
    assert set(ok["observer"].iloc[:6]) == {"Ida Fern"}
