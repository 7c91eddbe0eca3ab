"""Exported files: every column described, safe to open, and the same facts as the analysis."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from analyses import (
    hostile_analysis,
    nine_trap_analysis,
    one_visit_analysis,
    usual_analysis,
    zero_analysis,
)
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Transformer

from data.findings import Finding
from data.site import STATUSES
from maps import exports
from maps.columns import FILES, PROVENANCE, SUGGESTIONS, SUMMARY, TRAPS, ZONES, Column
from maps.exports import (
    cell,
    csv_text,
    quoted_text,
    suggested_traps_geojson,
    suggested_traps_gpx,
    traps_csv,
    zones_csv,
)
from maps.summary import summary, summary_json
from maps.write import WEEKLY_FILES
from spatial.results import GAP_REASONS, MARKS, Analysis

GPX = "{http://www.topografix.com/GPX/1/1}"
EVERY = (
    usual_analysis,
    zero_analysis,
    nine_trap_analysis,
    one_visit_analysis,
    hostile_analysis,
)
TEXT = Column("note", "text", "A note.")
NAMED = Column("trap_id", "id", "The trap.", is_id=True)

every_analysis = pytest.mark.parametrize("sketched", EVERY)
Sketched = Callable[[], Analysis]


def records(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def unquoted(text: str) -> str:
    """Undo the escaping of cells, as README tells the reader to."""
    return text.removeprefix("'")


def without_suggestions(analysis: Analysis) -> Analysis:
    return replace(analysis, suggestions=analysis.suggestions.iloc[:0])


# --- tables


@every_analysis
def test_tables_have_the_described_columns_and_a_row_for_each(sketched: Sketched) -> None:
    analysis = sketched()
    for text, columns, count in (
        (zones_csv(analysis), ZONES, len(analysis.zones)),
        (traps_csv(analysis), TRAPS, len(analysis.traps)),
    ):
        rows = records(text)
        assert list(rows[0]) == [each.name for each in columns]
        assert len(rows) == count
        assert "\r" not in text
        assert "nan" not in text.lower().replace("nan_", "")


@every_analysis
def test_ids_come_back_as_they_were(sketched: Sketched) -> None:
    analysis = sketched()
    zones = [unquoted(row["zone_id"]) for row in records(zones_csv(analysis))]
    traps = [unquoted(row["location_id"]) for row in records(traps_csv(analysis))]
    assert zones == list(analysis.zones["zone_id"])
    assert traps == list(analysis.traps["location_id"])


def test_a_zone_without_traps_has_a_blank_rate_and_never_zero() -> None:
    analysis = usual_analysis()
    empty = [row for row in records(zones_csv(analysis)) if row["gap"] == "no_traps"]
    assert len(empty) == 3
    assert {row["rate"] for row in empty} == {""}


def test_a_void_visit_has_a_blank_count_and_never_zero() -> None:
    rows = records(traps_csv(usual_analysis()))
    void = [row for row in rows if row["week_status"] != "ok"]
    assert void
    assert {row["week_adults"] for row in void} == {""}


def test_an_acre_is_the_international_acre() -> None:
    """An acre is 4840 square yards of 0.9144 m exactly (international yard, 1959; from memory)."""
    hectares = 1 / exports.ACRES_PER_HA
    assert hectares == pytest.approx(4840 * 0.9144**2 / 1e4, rel=1e-12)
    row = records(zones_csv(usual_analysis()))[0]
    assert (row["area_ha"], row["area_acres"]) == ("1.0000", "2.4711")


def test_positions_of_traps_are_those_of_pyproj() -> None:
    analysis = usual_analysis()
    back = Transformer.from_crs("EPSG:4326", analysis.traps.crs, always_xy=True)
    for row in records(traps_csv(analysis)):
        east, north = back.transform(float(row["longitude"]), float(row["latitude"]))
        assert east == pytest.approx(float(row["easting_m"]), abs=0.02)
        assert north == pytest.approx(float(row["northing_m"]), abs=0.02)


def test_rates_have_three_decimals() -> None:
    rates = [row["rate"] for row in records(traps_csv(usual_analysis())) if row["rate"]]
    assert all(re.fullmatch(r"\d+\.\d{3}", rate) for rate in rates)


def test_a_missing_column_is_named() -> None:
    with pytest.raises(KeyError, match="note"):
        csv_text(pd.DataFrame({"other": [1]}), [TEXT])


# --- cells

FORMULAS = (
    "=HYPERLINK(...)", "=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "-", "=",
    "\uff1d1+1", "\uff0b1", "\uff0d1", "\uff201", "'=1", "''", "=cmd|' /C calc'!A0",
    '=IMPORTXML("x")', "+A1", "-A1", "@A1", "=\"a\"", "==1", "=-1", "+-1",
)  # fmt: skip


@pytest.mark.parametrize("text", FORMULAS)
def test_text_that_starts_a_formula_gets_an_apostrophe(text: str) -> None:
    """The list of starts: OWASP, "CSV Injection" (read from memory), and the full-width forms."""
    assert cell(text, TEXT) == f"'{text}"
    assert cell(text, NAMED) == f"'{text}"


@pytest.mark.parametrize(
    "name",
    ["007", "1E5", "1e-5", "7/1", "2-3", "1/2/26", "12:30", "MAR1", "1-Dec", "sep", "2026-05",
     "1234567890123456", "7.10", "TRUE", "false"],
)  # fmt: skip
def test_a_name_that_a_spreadsheet_would_change_gets_an_apostrophe(name: str) -> None:
    assert cell(name, NAMED) == f"'{name}"
    assert cell(name, TEXT) == name


@pytest.mark.parametrize("name", ["T07", "T07/1", "12", "0", "A-3", "hole 7", "Marsh", "7a", "x=1"])
def test_a_harmless_name_stays_as_it_is(name: str) -> None:
    assert cell(name, NAMED) == name


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (-1.5, "-1.500"),
        (0, "0.000"),
        (-0.0001, "0.000"),
        (1e6, "1000000.000"),
        (np.float64(2), "2.000"),
        (np.int64(3), "3.000"),
        (np.nan, ""),
        (None, ""),
        (pd.NA, ""),
        (pd.NaT, ""),
    ],
)
def test_numbers_stay_numbers_and_the_unknown_is_blank(number: object, text: str) -> None:
    assert cell(number, Column("rate", "", "", 3)) == text


@given(st.text(max_size=40), st.booleans())
def test_removing_one_apostrophe_restores_any_text(text: str, is_id: bool) -> None:
    assert unquoted(quoted_text(text, is_id=is_id)) == text


@given(st.lists(st.text(st.characters(codec="utf-8"), max_size=20), min_size=1, max_size=5))
def test_any_text_survives_the_csv_file(texts: list[str]) -> None:
    text = csv_text(pd.DataFrame({"note": pd.Series(texts, dtype=object)}), [TEXT, TEXT])
    rows = list(csv.reader(io.StringIO(text, newline="")))[1:]
    assert [[unquoted(each) for each in row] for row in rows] == [[each, each] for each in texts]


# --- suggested traps


@every_analysis
def test_geojson_follows_rfc_7946(sketched: Sketched) -> None:
    """RFC 7946: sections 3.3 (collection), 4 (WGS 84, no crs), 11.2 (precision)."""
    analysis = sketched()
    document = json.loads(suggested_traps_geojson(analysis))
    assert document["type"] == "FeatureCollection"
    assert "crs" not in document
    assert len(document["features"]) == len(analysis.suggestions)
    for feature in document["features"]:
        assert feature["type"] == "Feature"
        longitude, latitude = feature["geometry"]["coordinates"]
        assert feature["geometry"]["type"] == "Point"
        assert -180 <= longitude <= 180
        assert -90 <= latitude <= 90
        assert max(len(str(each).split(".")[1]) for each in (longitude, latitude)) <= 7
        assert list(feature["properties"]) == [each.name for each in SUGGESTIONS]


def test_geojson_opens_in_a_geographic_library(tmp_path: Path) -> None:
    analysis = usual_analysis()
    path = tmp_path / "s.geojson"
    path.write_text(suggested_traps_geojson(analysis), encoding="utf-8")
    read = gpd.read_file(path).to_crs(analysis.suggestions.crs)
    assert read.geometry.distance(analysis.suggestions.geometry).max() < 0.02
    assert list(read["zone_id"]) == list(analysis.suggestions["zone_id"])


def test_gpx_opens_in_a_geographic_library(tmp_path: Path) -> None:
    analysis = hostile_analysis()
    path = tmp_path / "s.gpx"
    path.write_text(suggested_traps_gpx(analysis), encoding="utf-8")
    read = gpd.read_file(path, layer="waypoints").to_crs(analysis.suggestions.crs)
    assert read.geometry.distance(analysis.suggestions.geometry).max() < 0.02


def test_geojson_says_what_it_rests_on() -> None:
    document = json.loads(suggested_traps_geojson(usual_analysis()))
    assert [f"provenance.{key}" for key in document["provenance"]] == [e.name for e in PROVENANCE]
    assert document["provenance"]["cutoff"] == "2026-05-17"


@every_analysis
def test_gpx_has_the_elements_of_gpx_1_1_in_order(sketched: Sketched) -> None:
    """GPX 1.1 schema (wptType, metadataType): name before desc, lat and lon as attributes."""
    analysis = sketched()
    root = ET.fromstring(suggested_traps_gpx(analysis))
    assert root.tag == f"{GPX}gpx"
    assert root.attrib["version"] == "1.1"
    assert root.attrib["creator"].startswith("snoutline ")
    assert root[0].tag == f"{GPX}metadata"
    points = root.findall(f"{GPX}wpt")
    assert len(points) == len(analysis.suggestions)
    for point in points:
        assert [each.tag for each in point] == [f"{GPX}name", f"{GPX}desc"]
        assert set(point.attrib) == {"lat", "lon"}
    assert root.iter(f"{GPX}time") is not None
    assert list(root.iter(f"{GPX}time")) == []


def test_gpx_shows_hostile_names_as_text() -> None:
    analysis = hostile_analysis()
    root = ET.fromstring(suggested_traps_gpx(analysis))
    names = [each.findtext(f"{GPX}name") for each in root.findall(f"{GPX}wpt")]
    expected = [
        f"{rank} {zone}"
        for rank, zone in zip(
            analysis.suggestions["rank"], analysis.suggestions["zone_id"], strict=True
        )
    ]
    assert names == expected


def test_gpx_leaves_out_what_xml_cannot_hold() -> None:
    analysis = usual_analysis()
    suggestions = analysis.suggestions.assign(zone_id="a\x00b\x1bc")
    root = ET.fromstring(suggested_traps_gpx(replace(analysis, suggestions=suggestions)))
    name = root.findtext(f"{GPX}wpt/{GPX}name")
    assert name == "1 a\ufffdb\ufffdc"


def test_no_suggestion_gives_files_without_points() -> None:
    analysis = without_suggestions(usual_analysis())
    assert json.loads(suggested_traps_geojson(analysis))["features"] == []
    assert ET.fromstring(suggested_traps_gpx(analysis)).findall(f"{GPX}wpt") == []


# --- summary


def keys(value: object, prefix: str = "") -> set[str]:
    """Return the dotted names of all keys."""
    if not isinstance(value, dict):
        return {prefix}
    return {prefix} | {
        name for key, each in value.items() for name in keys(each, f"{prefix}.{key}".strip("."))
    }


@every_analysis
def test_every_key_of_the_summary_is_described_and_none_is_missing(sketched: Sketched) -> None:
    found = keys(summary(sketched()))
    described = {each.name for each in SUMMARY}
    parents = {name.rpartition(".")[0] for name in described}
    assert described - found == set()
    undescribed = {
        key
        for key in found - described - parents
        if not any(key.startswith(f"{name}.") for name in described)
    }
    assert undescribed == set()


@every_analysis
def test_the_summary_is_strict_json(sketched: Sketched) -> None:
    def refuse(word: str) -> None:
        raise AssertionError(word)

    text = summary_json(sketched())
    assert json.loads(text, parse_constant=refuse)["format"] == "snoutline summary 1"


def test_the_summary_counts_states_that_were_not_found_too() -> None:
    facts = json.loads(summary_json(usual_analysis()))
    assert list(facts["visits"]["by_status"]) == list(STATUSES)
    assert list(facts["marks"]["by_state"]) == list(MARKS)
    assert list(facts["zones"]["by_gap"]) == [*GAP_REASONS, "enough"]


@every_analysis
def test_the_counts_of_the_summary_add_up(sketched: Sketched) -> None:
    analysis = sketched()
    facts = json.loads(summary_json(analysis))
    assert sum(facts["marks"]["by_state"].values()) == len(analysis.traps)
    assert sum(facts["zones"]["by_gap"].values()) == len(analysis.zones)
    assert sum(facts["zones"]["by_mark"].values()) == len(analysis.zones)
    assert sum(facts["visits"]["by_status"].values()) == len(analysis.rounds)
    assert sum(facts["week_traps"]["by_status"].values()) == analysis.traps["in_use"].sum()
    assert len(facts["gaps"]) == sum(facts["zones"]["by_gap"][each] for each in GAP_REASONS)


def test_the_summary_says_why_there_is_no_test() -> None:
    facts = json.loads(summary_json(nine_trap_analysis()))
    assert facts["global_test"]["p"] is None
    assert facts["global_test"]["reason"] == "few_traps"
    assert facts["marks"]["not_testable"] == {"few_traps": 9}


@pytest.mark.parametrize(
    ("k", "written", "state"),
    [(1.2, 1.2, "estimated"), (np.inf, None, "not_overdispersed"), (np.nan, None, "not_estimable")],
)
def test_a_dispersion_without_a_value_says_which_kind(
    k: float, written: float | None, state: str
) -> None:
    facts = summary(replace(usual_analysis(), dispersion_k=k))
    assert facts["dispersion"] == {"k": written, "state": state}


def test_the_summary_holds_settings_seed_inputs_and_versions() -> None:
    analysis = usual_analysis()
    facts = json.loads(summary_json(analysis))
    assert facts["settings"]["marks"]["permutations"] == 9999
    assert facts["settings"]["marks"]["alpha"] == 0.05
    assert facts["seed"] == analysis.seed
    assert facts["inputs"] == dict(analysis.site.hashes)
    assert facts["versions"]["snoutline"] == "0.1.0"


def test_the_summary_counts_findings_by_code() -> None:
    analysis = usual_analysis()
    findings = (
        Finding("IN-021", "visits.csv", "not a number", "mend it"),
        Finding("IN-030", "traps.csv", "odd", "look", severity="warning"),
        Finding("IN-021", "visits.csv", "not a number", "mend it"),
    )
    facts = summary(replace(analysis, site=replace(analysis.site, findings=findings)))
    assert facts["findings"] == {
        "errors": 2,
        "warnings": 1,
        "by_code": {"IN-021": 2, "IN-030": 1},
        "rows_set_aside": 0,
    }


# --- all of them


@pytest.mark.parametrize("name", [name for name, _ in WEEKLY_FILES if not name.endswith("html")])
def test_no_export_holds_a_path_or_a_time(name: str) -> None:
    text = dict(WEEKLY_FILES)[name](usual_analysis())
    assert not re.search(r"/(home|root|Users|tmp|work)/|[A-Z]:\\\\", text)
    assert not re.search(r"\d\d:\d\d:\d\d", text)


@pytest.mark.parametrize(("file", "columns"), FILES)
def test_a_name_is_described_once_with_unit_and_meaning(
    file: str, columns: tuple[Column, ...]
) -> None:
    names = [each.name for each in columns]
    assert len(names) == len(set(names)), file
    assert all(each.unit and each.meaning.endswith(".") for each in columns)


@pytest.mark.parametrize(("file", "columns"), FILES)
def test_readme_describes_every_column_and_key(
    root: Path, file: str, columns: tuple[Column, ...]
) -> None:
    readme = (root / "README.md").read_text(encoding="utf-8")
    assert f"`{file}`" in readme
    assert [each.name for each in columns if f"`{each.name}`" not in readme] == []


def test_readme_names_every_weekly_file(root: Path) -> None:
    readme = (root / "README.md").read_text(encoding="utf-8")
    assert [name for name, _ in WEEKLY_FILES if name not in readme] == []
