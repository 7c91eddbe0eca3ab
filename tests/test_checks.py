"""Spoiled sites: every mistake is found, named by code, row and column, and told how to mend."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from sites import (
    LONG_SETTINGS,
    SETTINGS,
    collection,
    feature,
    long_visits,
    make_site,
    shape_layers,
    square,
    visit_row,
)

from data.findings import CODES, Finding, InputError, SettingsError
from data.reading import read_site

Place = tuple[str, str, int | None, str | None]
"""Code, file, row and column of a finding."""

BOWTIE = {
    "type": "Polygon",
    "coordinates": [
        [[-39.0, 40.0], [-38.999, 40.001], [-38.999, 40.0], [-39.0, 40.001], [-39.0, 40.0]]
    ],
}
OPEN_RING = {"type": "Polygon", "coordinates": [[[-39.0, 40.0], [-38.999, 40.0], [-38.999, 40.1]]]}
METRES = {
    "type": "Polygon",
    "coordinates": [
        [[500_000, 4_427_000], [500_100, 4_427_000], [500_100, 4_427_100], [500_000, 4_427_000]]
    ],
}
VRT = "<OGRVRTDataSource><OGRVRTLayer name='zones'/></OGRVRTDataSource>"


@dataclass(frozen=True)
class Spoiled:
    """A site with something wrong, and every finding that must come of it."""

    name: str
    found: tuple[Place, ...]
    settings: str = SETTINGS
    cells: Mapping[tuple[str, int, str], Any] = field(default_factory=dict)
    more: Mapping[str, list[str]] = field(default_factory=dict)
    files: Mapping[str, str | bytes | None] = field(default_factory=dict)

    def build(self, folder: Path) -> Path:
        """Write the site."""
        return make_site(
            folder, settings=self.settings, cells=self.cells, more=self.more, files=self.files
        )


def one_cell(
    name: str, place: tuple[str, int, str], value: object, code: str, column: str | None = None
) -> Spoiled:
    """Return a site with one wrong cell, found where it is unless another column is named."""
    file, row, spoiled = place
    found = (code, file, row, column or spoiled)
    return Spoiled(name, (found, *set_aside_with(file, row)), cells={place: value})


def one_value(name: str, place: tuple[str, int, str], value: object, code: str) -> Spoiled:
    """Return a site with one wrong cell that costs its row nothing else."""
    file, row, column = place
    return Spoiled(name, ((code, file, row, column),), cells={place: value})


def one_shape(name: str, file: str, geometry: object, code: str) -> Spoiled:
    """Return a site whose first shape of a file is wrong."""
    cells = {(file, 1, "geometry"): geometry}
    return Spoiled(name, ((code, file, 1, None), *set_aside_with(file, 1)), cells=cells)


def set_aside_with(file: str, row: int) -> tuple[Place, ...]:
    """Return what cannot be used either when a row is set aside: visits, cores, treatments."""
    if file == "traps.csv":
        # The first visit of the trap in row 7 of the traps is in row 7 of the visits.
        return (("IN-044", "visits.csv", row, "trap_id"),)
    followers = {
        ("zones.geojson", 1): (("cores.csv", 2), ("treatments.csv", 2)),
        ("zones.geojson", 2): (("cores.csv", 3),),
    }
    return tuple(("IN-044", name, at, "zone_id") for name, at in followers.get((file, row), ()))


T05_2 = visit_row("T05", 1)

WHOLE_FILE = [
    Spoiled("no zones", (("IN-001", "zones.geojson", None, None),), files={"zones.geojson": None}),
    Spoiled("no traps", (("IN-001", "traps.csv", None, None),), files={"traps.csv": None}),
    Spoiled("no visits", (("IN-001", "visits.csv", None, None),), files={"visits.csv": None}),
    Spoiled(
        "named file missing",
        (("IN-001", "mine.csv", None, None),),
        settings=SETTINGS + '[files]\nvisits = "mine.csv"\n',
    ),
    Spoiled(
        "UTF-16 table without a mark",
        (("IN-003", "visits.csv", None, None),),
        files={"visits.csv": "trap_id,set_on".encode("utf-16-le")},
    ),
    Spoiled(
        "table in no known encoding",
        (("IN-002", "visits.csv", None, None),),
        files={"visits.csv": b"trap_id,\x81\nT01,1\n"},
    ),
    Spoiled(
        "open quotation mark",
        (("IN-002", "traps.csv", None, None),),
        files={"traps.csv": 'trap_id,design\n"T01,cup\n'},
    ),
    Spoiled(
        "semicolons and a comma",
        (("IN-084", "traps.csv", 1, None),),
        files={"traps.csv": "trap_id;design;note, if any\nT01;cup;\n"},
    ),
    Spoiled(
        "VRT as GeoJSON", (("IN-003", "zones.geojson", None, None),), files={"zones.geojson": VRT}
    ),
    Spoiled(
        "text as GeoPackage",
        (("IN-003", "zones.gpkg", None, None),),
        files={"zones.geojson": None, "zones.gpkg": VRT},
    ),
    Spoiled(
        "half a GeoPackage",
        (("IN-002", "zones.gpkg", None, None),),
        files={
            "zones.geojson": None,
            "zones.gpkg": b"SQLite format 3\0" + b"\1" * 52 + b"GPKG" + b"\1" * 400,
        },
    ),
    Spoiled(
        "truncated GeoJSON",
        (("IN-002", "zones.geojson", None, None),),
        files={"zones.geojson": collection(shape_layers()["zones.geojson"])[:-40]},
    ),
    Spoiled(
        "deeply nested GeoJSON",
        (("IN-002", "zones.geojson", None, None),),
        files={"zones.geojson": '{"a":' * 100_000},
    ),
    Spoiled(
        "NaN in GeoJSON",
        (("IN-002", "zones.geojson", None, None),),
        files={"zones.geojson": '{"type": "FeatureCollection", "features": [NaN]}'},
    ),
    Spoiled(
        "a lone geometry",
        (("IN-003", "zones.geojson", None, None),),
        files={"zones.geojson": json.dumps(square(0, 0))},
    ),
    Spoiled(
        "no features",
        (("IN-004", "zones.geojson", None, None),),
        files={"zones.geojson": collection([])},
    ),
    Spoiled(
        "another CRS in GeoJSON",
        (("IN-064", "zones.geojson", None, None),),
        files={
            "zones.geojson": json.dumps(
                {
                    "type": "FeatureCollection",
                    "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32624"}},
                    "features": shape_layers()["zones.geojson"],
                }
            )
        },
    ),
    Spoiled("empty file", (("IN-004", "visits.csv", None, None),), files={"visits.csv": "\n"}),
    Spoiled(
        "header only",
        (("IN-004", "traps.csv", None, None),),
        files={"traps.csv": "trap_id,design,longitude,latitude\n"},
    ),
    Spoiled(
        "both kinds of zones",
        (("IN-009", "zones.geojson", None, None),),
        files={"zones.gpkg": b"SQLite format 3\0"},
    ),
    Spoiled(
        "old spreadsheet",
        (("IN-008", "visits.xls", None, None),),
        settings=SETTINGS + '[files]\nvisits = "visits.xls"\n',
        files={"visits.xls": b"PK"},
    ),
    Spoiled(
        "renamed column",
        (("IN-005", "traps.csv", 1, "trap_id"),),
        cells={("traps.csv", 1, "trap_id"): "Trap ID"},
    ),
    Spoiled(
        "no species column",
        (("IN-005", "visits.csv", 1, "venatus"),),
        cells={("visits.csv", 1, "venatus"): "venata"},
    ),
    Spoiled(
        "no species and no adults",
        (("IN-005", "visits.csv", 1, "adults"), ("IN-005", "visits.csv", 1, "species")),
        settings=LONG_SETTINGS,
    ),
    Spoiled(
        "half a position",
        (("IN-005", "traps.csv", 1, "latitude"),),
        cells={("traps.csv", 1, "latitude"): "lat"},
    ),
    Spoiled(
        "doubled column",
        (("IN-006", "traps.csv", 1, "design"),),
        cells={("traps.csv", 1, "axis_deg"): "design"},
    ),
]

ROWS = [
    Spoiled(
        "too many cells",
        (("IN-007", "cores.csv", 4, None),),
        more={"cores.csv": ["Z1,2026-05-05,10,4.25,in,7,1,,surplus"]},
    ),
    one_cell("blank trap", ("visits.csv", T05_2, "trap_id"), "", "IN-010"),
    one_cell("blank design", ("traps.csv", 4, "design"), "", "IN-010"),
    one_cell("blank use", ("zones.geojson", 2, "use"), None, "IN-010"),
    one_cell("blank position", ("traps.csv", 17, "latitude"), "", "IN-010"),
    one_cell("day first", ("visits.csv", T05_2, "set_on"), "13/04/2026", "IN-011"),
    one_cell("no such day", ("visits.csv", T05_2, "checked_on"), "2026-02-30", "IN-011"),
    one_cell("date with half a time", ("visits.csv", T05_2, "set_on"), "2026-04-13T07", "IN-011"),
    one_cell("two-digit year", ("visits.csv", T05_2, "set_on"), "26-04-13", "IN-011"),
    one_value("decimal comma", ("traps.csv", 2, "axis_deg"), '"9,5"', "IN-012"),
    one_cell("exponent", ("visits.csv", T05_2, "minutes"), "1e999", "IN-012"),
    one_value("axis of 400", ("traps.csv", 5, "axis_deg"), "400", "IN-013"),
    one_cell("no cores", ("cores.csv", 2, "cores"), "0", "IN-028"),
    one_cell("mistyped status", ("visits.csv", T05_2, "status"), "floded", "IN-014"),
    one_cell("large unit", ("cores.csv", 2, "diameter_unit"), "IN", "IN-014"),
    one_cell("blank count", ("visits.csv", T05_2, "venatus"), "", "IN-020"),
    Spoiled(
        "no count at all",
        (("IN-020", "visits.csv", T05_2, "parvulus"), ("IN-020", "visits.csv", T05_2, "venatus")),
        cells={
            ("visits.csv", T05_2, "parvulus"): "",
            ("visits.csv", T05_2, "venatus"): "",
        },
    ),
    one_cell("l for 1", ("visits.csv", T05_2, "parvulus"), "2l", "IN-021"),
    one_cell("below detection", ("visits.csv", T05_2, "parvulus"), "<1", "IN-021"),
    one_cell("half a beetle", ("visits.csv", T05_2, "parvulus"), "2.5", "IN-021"),
    one_cell("word for a count", ("visits.csv", T05_2, "parvulus"), "NA", "IN-021"),
    one_cell("bad by-catch", ("visits.csv", T05_2, "carabids"), "many", "IN-021"),
    one_cell("negative count", ("visits.csv", T05_2, "parvulus"), "-1", "IN-022"),
    one_cell("absurd count", ("visits.csv", T05_2, "parvulus"), "5001", "IN-023"),
    one_cell("zero on a void visit", ("visits.csv", visit_row("T03", 2), "venatus"), "0", "IN-024"),
    one_cell("set after check", ("visits.csv", T05_2, "set_on"), "2026-04-21", "IN-030"),
    one_cell("set on the day", ("visits.csv", T05_2, "set_on"), "2026-04-20", "IN-030"),
    one_cell("15 nights", ("visits.csv", visit_row("T05", 0), "set_on"), "2026-03-29", "IN-031"),
    one_cell("nights twice", ("visits.csv", T05_2, "set_on"), "2026-04-12", "IN-032"),
    one_cell(
        "before installation",
        ("visits.csv", visit_row("T05", 0), "set_on"),
        "2026-04-05",
        "IN-033",
        "checked_on",
    ),
    Spoiled(
        "visit across a move",
        (("IN-033", "visits.csv", visit_row("T16", 1), "checked_on"),),
        cells={
            ("traps.csv", 17, "removed"): "2026-04-19",
            ("traps.csv", 18, "installed"): "2026-04-19",
        },
    ),
    Spoiled(
        "visit twice",
        (("IN-034", "visits.csv", 66, "checked_on"),),
        more={"visits.csv": ["T05,2026-04-13,2026-04-20,ok,0,1,1,2.5,"]},
    ),
    Spoiled(
        "removed too early",
        (("IN-035", "traps.csv", 2, "removed"), *set_aside_with("traps.csv", 2)),
        cells={("traps.csv", 2, "removed"): "2026-04-06"},
    ),
    one_cell("unknown trap", ("visits.csv", T05_2, "trap_id"), "T99", "IN-040"),
    one_cell("O for 0", ("visits.csv", T05_2, "trap_id"), "TO5", "IN-040"),
    Spoiled(
        "zone id twice",
        (
            ("IN-041", "zones.geojson", 2, "zone_id"),
            ("IN-041", "zones.geojson", 3, "zone_id"),
            *set_aside_with("zones.geojson", 2),
        ),
        cells={("zones.geojson", 3, "zone_id"): "Z2"},
    ),
    one_cell("refuge id twice", ("refuges.geojson", 2, "id"), "R1", "IN-041"),
    Spoiled(
        "trap in two places",
        (
            ("IN-042", "traps.csv", 2, "trap_id"),
            ("IN-042", "traps.csv", 19, "trap_id"),
            *set_aside_with("traps.csv", 2),
        ),
        more={"traps.csv": ["T01,cup,-38.9995,40.0005,2026-04-20,,"]},
    ),
    one_cell("unknown zone of cores", ("cores.csv", 3, "zone_id"), "Z7", "IN-043"),
    one_cell("unknown treated zone", ("treatments.csv", 2, "zone_id"), "1", "IN-043"),
    one_cell("crossed temperatures", ("weather.csv", 5, "tmin_c"), "31", "IN-070"),
    one_cell("day twice", ("weather.csv", 5, "date"), "2026-03-03", "IN-071"),
    one_cell("Fahrenheit as Celsius", ("weather.csv", 5, "tmax_c"), "75", "IN-013"),
]

SHAPES = [
    one_shape("null zone", "zones.geojson", None, "IN-060"),
    one_shape("open ring", "zones.geojson", OPEN_RING, "IN-060"),
    one_shape(
        "text coordinates", "refuges.geojson", {"type": "Point", "coordinates": ["a", 1]}, "IN-060"
    ),
    one_shape("empty polygon", "zones.geojson", {"type": "Polygon", "coordinates": []}, "IN-060"),
    one_shape(
        "zone is a point", "zones.geojson", {"type": "Point", "coordinates": [-39, 40]}, "IN-061"
    ),
    one_shape(
        "obstacle is a point",
        "obstacles.geojson",
        {"type": "Point", "coordinates": [-39, 40]},
        "IN-061",
    ),
    one_shape("bow-tie", "zones.geojson", BOWTIE, "IN-062"),
    one_shape("metres", "obstacles.geojson", METRES, "IN-050"),
    one_shape("refuge far away", "refuges.geojson", square(2000, 0), "IN-052"),
    one_shape("zone far away", "zones.geojson", square(2000, 0), "IN-052"),
]

PLACES = [
    Spoiled(
        name,
        ((code, "traps.csv", 17, None), *set_aside_with("traps.csv", 17)),
        cells={("traps.csv", 17, "longitude"): x, ("traps.csv", 17, "latitude"): y},
    )
    for name, x, y, code in [
        ("latitude beyond the pole", "-39", "140", "IN-050"),
        ("origin", "0", "0", "IN-051"),
        ("swapped coordinates", "40.0", "-39.0", "IN-052"),
        ("lost minus sign", "39.0", "40.0", "IN-052"),
        ("southern twin", "-39.0", "-40.0", "IN-052"),
        ("sixty kilometres off", "-38.3", "40.0", "IN-052"),
    ]
]

CORPUS = [*WHOLE_FILE, *ROWS, *SHAPES, *PLACES]


def all_findings(site: Path) -> list[Finding]:
    """Read a site and return what was found, whether it could be used or not."""
    try:
        return list(read_site(site).findings)
    except InputError as error:
        return list(error.findings)


@pytest.mark.parametrize("spoiled", CORPUS, ids=lambda spoiled: spoiled.name)
def test_each_mistake_is_found_where_it_is_and_nothing_else(
    spoiled: Spoiled, tmp_path: Path
) -> None:
    found = all_findings(spoiled.build(tmp_path / "site"))
    assert sorted(map(str, spoiled.found)) == sorted(
        str((f.code, f.file, f.row, f.column)) for f in found
    )


def test_the_corpus_is_as_large_as_promised() -> None:
    assert len(CORPUS) >= 25
    assert len({spoiled.name for spoiled in CORPUS}) == len(CORPUS)


def only(findings: list[Finding], code: str) -> Finding:
    """Return the one finding with that code."""
    (finding,) = [finding for finding in findings if finding.code == code]
    return finding


@pytest.mark.parametrize(
    ("place", "typed", "code", "words"),
    [
        (("visits.csv", T05_2, "trap_id"), "TO5", "IN-040", "did you mean 'T05'?"),
        (("visits.csv", T05_2, "trap_id"), "t-5", "IN-040", "did you mean 'T05'?"),
        (("visits.csv", T05_2, "trap_id"), "T5", "IN-040", "did you mean 'T05'?"),
        (("visits.csv", T05_2, "trap_id"), "Q77", "IN-040", "add it to traps.csv, or mend the id"),
        (("visits.csv", T05_2, "status"), "OK", "IN-014", "did you mean 'ok'?"),
        (("visits.csv", T05_2, "status"), "rained", "IN-014", "use one of: ok, flooded"),
        (("visits.csv", T05_2, "set_on"), "4/13/26", "IN-011", "write the date like 2026-05-04"),
        (("cores.csv", 2, "zone_id"), "z 1", "IN-043", "did you mean 'Z1'?"),
        (("traps.csv", 1, "trap_id"), "Trap ID", "IN-005", 'write "Trap ID" = "trap_id" under'),
    ],
)
def test_a_finding_says_how_to_mend_the_mistake(
    place: tuple[str, int, str], typed: str, code: str, words: str, tmp_path: Path
) -> None:
    findings = all_findings(make_site(tmp_path / "site", cells={place: typed}))
    assert words in str(only(findings, code))


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        ("40.0", "-39.0", "the two coordinates look swapped"),
        ("39.0", "40.0", "the longitude seems to have lost or gained its minus sign"),
        ("-39.0", "-40.0", "the latitude seems to have lost or gained its minus sign"),
        ("40.0", "39.0", "the two coordinates look swapped, and a minus sign is missing"),
        ("-38.3", "40.0", "check the position"),
    ],
)
def test_a_far_position_comes_with_the_likely_slip(
    x: str, y: str, words: str, tmp_path: Path
) -> None:
    cells = {("traps.csv", 3, "longitude"): x, ("traps.csv", 3, "latitude"): y}
    finding = only(all_findings(make_site(tmp_path / "site", cells=cells)), "IN-052")
    assert finding.fix == words


def test_a_finding_keeps_the_value_as_typed(tmp_path: Path) -> None:
    cells = {("visits.csv", T05_2, "parvulus"): "2l"}
    finding = only(all_findings(make_site(tmp_path / "site", cells=cells)), "IN-021")
    assert finding.value == "2l"
    assert str(finding) == (
        f"visits.csv row {T05_2}, column parvulus: '2l' is not a whole number; "
        "type the count in digits [IN-021]"
    )


def test_a_finding_names_columns_as_the_file_does(tmp_path: Path) -> None:
    cells = {("visits.csv", 1, "trap_id"): "Trap no."}
    settings = SETTINGS + '[columns.visits]\n"Trap no." = "trap_id"\n'
    more = {"visits.csv": ["T99,2026-05-04,2026-05-11,ok,0,0,0,1,"]}
    site = make_site(tmp_path / "site", settings=settings, cells=cells, more=more)
    assert only(all_findings(site), "IN-040").column == "Trap no."


def test_all_mistakes_of_all_files_are_told_in_one_pass(tmp_path: Path) -> None:
    wrong = {
        (file, row, column): value
        for spoiled in ROWS[1:]
        if spoiled.settings == SETTINGS and not spoiled.more
        for (file, row, column), value in spoiled.cells.items()
        if file in ("cores.csv", "weather.csv", "treatments.csv")
    }
    counts = {("visits.csv", row, "parvulus"): "x" for row in range(2, 22)}
    found = all_findings(make_site(tmp_path / "site", cells={**wrong, **counts}))
    assert len([finding for finding in found if finding.code == "IN-021"]) == 20
    assert {finding.file for finding in found} == {
        "visits.csv",
        "cores.csv",
        "weather.csv",
        "treatments.csv",
    }


def test_an_unreadable_file_does_not_hide_mistakes_in_others(tmp_path: Path) -> None:
    site = make_site(
        tmp_path / "site",
        cells={("visits.csv", T05_2, "parvulus"): "x"},
        files={"zones.geojson": "{"},
    )
    with pytest.raises(InputError, match=r"zones\.geojson: the text is not valid JSON") as raised:
        read_site(site)
    assert {finding.code for finding in raised.value.findings} == {"IN-002", "IN-021"}


def test_a_row_with_an_error_is_set_aside_and_the_others_stay(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site", cells={("visits.csv", T05_2, "parvulus"): "x"}))
    assert len(site.visits) == 63
    assert T05_2 not in set(site.visits["source_row"])


def test_one_bad_species_row_sets_the_whole_visit_aside(tmp_path: Path) -> None:
    lines = long_visits().splitlines()
    lines[1] = lines[1].replace(",Sphenophorus parvulus,1,", ",Sphenophorus parvulus,one,")
    site = read_site(
        make_site(tmp_path / "site", settings=LONG_SETTINGS, files={"visits.csv": "\n".join(lines)})
    )
    assert [(f.code, f.row) for f in site.findings] == [("IN-021", 2), ("IN-044", 3)]
    assert only(list(site.findings), "IN-044").problem == "row 2, of the same visit, is set aside"
    assert len(site.visits) == 63
    assert "T01 2026-04-13" not in set(site.catches["visit_id"])


@pytest.mark.parametrize(
    ("line", "code", "column"),
    [
        ("T01,2026-04-06,2026-04-13,flooded,,,", "IN-036", "status"),
        ("T01,2026-04-07,2026-04-13,ok,Sphenophorus minimus,0,", "IN-036", "set_on"),
        ("T01,2026-04-06,2026-04-13,ok,Sphenophorus parvulus,1,1", "IN-034", "checked_on"),
        ("T01,2026-04-06,2026-04-13,ok,Sphenophorus minimus,0,2", "IN-036", "carabids"),
        ("T01,2026-04-06,2026-04-13,ok,,3,", "IN-010", "species"),
        ("T01,2026-04-06,2026-04-13,ok,Sphenophorus minimus,,", "IN-020", "adults"),
        ("T01,2026-04-06,2026-04-14,ok,Sphenophorus minimus,0,", "IN-032", "set_on"),
        ("T03,2026-04-20,2026-04-27,flooded,Sphenophorus minimus,1,", "IN-024", "adults"),
    ],
)
def test_mistakes_among_species_rows_are_found(
    line: str, code: str, column: str, tmp_path: Path
) -> None:
    text = long_visits() + line + "\n"
    site = make_site(tmp_path / "site", settings=LONG_SETTINGS, files={"visits.csv": text})
    last = text.count("\n")
    found = all_findings(site)
    places = {(f.code, f.row, f.column) for f in found if f.code != "IN-044"}
    # The other rows of the visit are taken along. A doubled row that cannot be told from the first
    # may be told of twice, on the same row.
    assert (code, last, column) in places
    assert {row for _, row, _ in places} == {last}


def test_a_target_species_that_no_visit_names_is_a_warning(tmp_path: Path) -> None:
    settings = LONG_SETTINGS.replace('"Sphenophorus venatus"]', '"Sphenophorus minimus"]')
    settings = settings.replace("[season]", 'bycatch_species = ["Sphenophorus venatus"]\n[season]')
    site = read_site(
        make_site(tmp_path / "site", settings=settings, files={"visits.csv": long_visits()})
    )
    (finding,) = site.findings
    assert (finding.code, finding.severity) == ("IN-037", "warning")
    # The other target and by-catch are no spelling of it.
    assert finding.fix == "check its spelling in site.toml and in the visits"
    assert set(site.bycatch["taxon"]) == {"carabids", "Sphenophorus venatus"}


@pytest.mark.parametrize(
    ("units", "area"), [("metric", "2,368."), ("us", "25,49")], ids=["metric", "us"]
)
def test_overlapping_zones_are_a_warning_on_the_later_row(
    tmp_path: Path, units: str, area: str
) -> None:
    """A square foot is 0.09290304 m2."""
    cells = {("zones.geojson", 2, "geometry"): square(0, 0, size=0.0005)}
    settings = f'units = "{units}"\n' + SETTINGS
    site = read_site(make_site(tmp_path / "site", settings=settings, cells=cells))
    finding = only(list(site.findings), "IN-063")
    assert (finding.code, finding.severity, finding.row) == ("IN-063", "warning", 2)
    assert f"zone 'Z2' overlaps zone 'Z1' by {area}" in finding.problem
    assert len(site.zones) == 6


def test_zones_that_share_an_edge_do_not_overlap(tmp_path: Path) -> None:
    cells = {("zones.geojson", 1, "geometry"): square(0, 0, size=0.0012)}
    assert read_site(make_site(tmp_path / "site", cells=cells)).findings == ()


def test_a_column_that_is_nearly_one_of_ours_is_a_warning(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site", cells={("traps.csv", 1, "removed"): "remove"}))
    finding = only(list(site.findings), "IN-015")
    assert (finding.severity, finding.column) == ("warning", "remove")


def test_zones_outside_the_area_of_the_crs_are_told_of_once(tmp_path: Path) -> None:
    settings = 'crs = "EPSG:32655"\n' + SETTINGS
    found = all_findings(make_site(tmp_path / "site", settings=settings))
    assert [f.code for f in found if f.file == "zones.geojson"] == ["IN-053", "IN-016"]


def test_a_crs_for_the_whole_world_is_refused(tmp_path: Path) -> None:
    settings = 'crs = "EPSG:3857"\n' + SETTINGS
    finding = only(all_findings(make_site(tmp_path / "site", settings=settings)), "IN-054")
    # Spherical Mercator stretches by 1 / cos(40 degrees) = 1.305.
    assert finding.problem == "EPSG:3857 changes distances at the zones by 31%"


def test_a_single_zone_outside_the_area_of_the_crs_is_named(tmp_path: Path) -> None:
    # The French grid of 1993 ends in the west at 9.86 degrees west (EPSG:2154, area of use).
    wests = (-10.80, -10.81, -10.90)
    zones = [
        feature({"zone_id": f"Z{n}", "use": "tee"}, _square_at(west, 45.0))
        for n, west in enumerate(wests, start=1)
    ]
    settings = 'crs = "EPSG:2154"\n' + SETTINGS
    site = make_site(
        tmp_path / "site", settings=settings, files={"zones.geojson": collection(zones)}
    )
    found = [f for f in all_findings(site) if f.file == "zones.geojson"]
    assert [(f.code, f.row) for f in found] == [("IN-053", 3)]


def _square_at(west: float, south: float) -> dict[str, Any]:
    ring = [[west, south], [west + 0.001, south], [west + 0.001, south + 0.001], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def test_a_site_whose_visits_are_all_wrong_is_refused(tmp_path: Path) -> None:
    lines = ["trap_id,set_on,checked_on,status,parvulus,venatus,carabids", "T01,a,b,ok,1,1,1"]
    site = make_site(tmp_path / "site", files={"visits.csv": "\n".join(lines)})
    with pytest.raises(InputError, match=r"no row is without an error.*\[IN-016\]"):
        read_site(site)


def test_a_table_with_too_many_rows_is_refused(tmp_path: Path) -> None:
    text = "date,tmin_c,tmax_c\n" + "2026-03-01,1,2\n" * 100_001
    found = all_findings(make_site(tmp_path / "site", files={"weather.csv": text}))
    assert only(found, "IN-017").file == "weather.csv"


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", files={"visits.csv": None})
    other = make_site(tmp_path / "other")
    (site / "visits.csv").symlink_to(other / "visits.csv")
    assert "outside the site's folder" in only(all_findings(site), "IN-002").problem


@pytest.mark.parametrize(
    "name", ["https://example.org/z.geojson", "/vsicurl/x.gpkg", "../zones.geojson", "/z.geojson"]
)
def test_a_file_name_that_leaves_the_folder_is_a_settings_error(name: str, tmp_path: Path) -> None:
    settings = SETTINGS + f'[files]\nzones = "{name}"\n'
    site = make_site(tmp_path / "site", settings=settings)
    with pytest.raises(SettingsError, match=re.escape(f"site.toml, files.zones: {name!r} is not")):
        read_site(site)


def _write_layer(path: Path, layer: str, crs: str | None = "EPSG:4326") -> None:
    frame = gpd.GeoDataFrame.from_features(shape_layers()["zones.geojson"], crs=crs)
    frame.to_file(path, layer=layer, driver="GPKG")


def test_a_geopackage_with_unclear_layers_is_refused(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", files={"zones.geojson": None})
    _write_layer(site / "zones.gpkg", "north")
    _write_layer(site / "zones.gpkg", "south")
    finding = only(all_findings(site), "IN-009")
    assert (finding.file, finding.fix) == ("zones.gpkg", "name the layer 'zones'")


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_geopackage_without_a_crs_is_refused(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", files={"zones.geojson": None})
    _write_layer(site / "zones.gpkg", "zones", crs=None)
    assert only(all_findings(site), "IN-064").file == "zones.gpkg"


def test_every_code_is_the_code_of_some_spoiled_site() -> None:
    """Each code has a test that names it, and no test names a code that does not exist."""
    texts = [
        path.read_text("utf-8")
        for suffix in ("py", "json")
        for path in Path(__file__).parent.rglob(f"*.{suffix}")
    ]
    named = set(re.findall(r"IN-\d{3}", "".join(texts)))
    assert named == set(CODES)
