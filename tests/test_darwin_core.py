"""The Darwin Core archive: terms, cardinalities, values, and the records back out of it."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from xml.etree import ElementTree as ET

import pandas as pd
import pytest
from dwca.darwincore.terms import TERMS
from dwca.read import DwCAReader
from pyproj import Geod
from sites import LONG_SETTINGS, ROUNDS, SETTINGS, VOID, long_visits, make_site

from data.reading import read_site
from data.site import Site
from maps.darwin_core import EML, cell_text, darwin_core_archive, table_text
from maps.darwin_core_rows import ArchiveChoice, taxon_terms
from maps.darwin_core_terms import EVENTS, FILES, HUMBOLDT, OCCURRENCES, PAIRS, Term
from maps.records import records_up_to

Table = list[dict[str, str]]
Tables = dict[str, Table]
TEXT_GUIDE = "{http://rs.tdwg.org/dwc/text/}"
HOSTILE = "\"'<b>&]]>\t\r\n\u2028\x00=1+1 ué\U0001f41e"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return read_site(make_site(tmp_path_factory.mktemp("archive") / "site"))


def archive_of(site: Site, choice: ArchiveChoice | None = None, week: str | None = None) -> bytes:
    return darwin_core_archive(records_up_to(site, week), choice or ArchiveChoice())


def members(archive: bytes) -> dict[str, str]:
    with zipfile.ZipFile(io.BytesIO(archive)) as opened:
        return {name: opened.read(name).decode("utf-8") for name in opened.namelist()}


def tables_of(archive: bytes) -> Tables:
    texts = members(archive)
    return {each.name: rows_of(texts[each.name]) for each in FILES}


def rows_of(text: str) -> Table:
    header, *lines = [line.split("\t") for line in text.removesuffix("\n").split("\n")]
    return [dict(zip(header, line, strict=True)) for line in lines]


def hostile_site(site: Site) -> Site:
    """Return the site with text in every field that could end a cell, a line or a tag."""

    def spoiled(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
        return table.assign(**{name: table[name].astype(object) + HOSTILE for name in columns})

    return replace(
        site,
        settings=replace(site.settings, name="Green" + HOSTILE),
        zones=spoiled(site.zones, "zone_id", "use", "name", "note"),
        traps=spoiled(site.traps, "location_id", "trap_id", "design", "note"),
        visits=spoiled(site.visits, "visit_id", "location_id", "trap_id", "note"),
        catches=spoiled(site.catches, "visit_id", "species"),
        bycatch=spoiled(site.bycatch, "visit_id", "taxon"),
        cores=spoiled(site.cores, "zone_id"),
        hashes={"visits" + HOSTILE: "0"},
    )


# --- what an archive must obey


def faults(tables: Tables) -> list[str]:
    """Return everything in which an archive breaks the rules of its terms."""
    found: list[str] = []
    for file in FILES:
        rules = {term.name: term for term in file.terms}
        for row in tables[file.name]:
            found += [f"{name} is no term" for name in row.keys() - rules.keys()]
            found += [
                f"{file.name} {name} {value!r} is not {rules[name].rule}"
                for name, value in row.items()
                if name in rules and not fits(value, rules[name])
            ]
            found += [f"{a} without {b}" for a, b in PAIRS if bool(row.get(a)) != bool(row.get(b))]
    return [*found, *broken_links(tables), *broken_values(tables)]


def fits(value: str, term: Term) -> bool:
    if value == "":
        return not term.needed
    whole = re.fullmatch(r"0|[1-9]\d*", value) is not None
    return {
        "text": lambda: True,
        "id": lambda: value == value.strip(),
        "words": lambda: value in term.words,
        "days": lambda: is_interval(value),
        "whole": lambda: whole,
        "number": lambda: float(value) == float(value),
        "above zero": lambda: float(value) > 0,
        "true/false": lambda: value in {"true", "false"},
    }[term.rule]()


def is_interval(value: str) -> bool:
    if re.fullmatch(r"\d{4}-\d\d-\d\d/\d{4}-\d\d-\d\d", value) is None:
        return False
    first, last = (date.fromisoformat(day) for day in value.split("/"))
    return first <= last


def broken_links(tables: Tables) -> list[str]:
    events = [row["eventID"] for row in tables["event.txt"]]
    kinds = {row["eventID"]: row["eventType"] for row in tables["event.txt"]}
    occurrences = [row["occurrenceID"] for row in tables["occurrence.txt"]]
    found = [f"{name} is there twice" for name in {e for e in events if events.count(e) > 1}]
    found += ["an occurrenceID is there twice"] * (len(set(occurrences)) != len(occurrences))
    for row in tables["event.txt"]:
        parent = row["parentEventID"]
        if row["eventType"] == "season":
            found += ["a season has a parent"] * bool(parent)
        elif kinds.get(parent) != "season":
            found.append(f"{row['eventID']} has no season")
    inventories = sorted(row["eventID"] for row in tables["humboldt.txt"])
    found += ["not one inventory for each event"] * (inventories != sorted(events))
    strays = {row["eventID"] for row in tables["occurrence.txt"]} - set(events)
    return found + [f"{name} has occurrences but is no event" for name in strays]


def broken_values(tables: Tables) -> list[str]:
    found = []
    for row in tables["event.txt"]:
        if not is_interval(row["eventDate"]):
            continue
        first, last = (date.fromisoformat(day) for day in row["eventDate"].split("/"))
        days = [str(day.timetuple().tm_yday) for day in (first, last)]
        if [row["startDayOfYear"], row["endDayOfYear"]] != days:
            found.append("days of the year differ from eventDate")
        if row["decimalLatitude"] and not (
            abs(float(row["decimalLatitude"])) <= 90 and abs(float(row["decimalLongitude"])) <= 180
        ):
            found.append("a position is not on Earth")
    for row in tables["occurrence.txt"]:
        if row["individualCount"] != row["organismQuantity"]:
            found.append("two counts of one occurrence differ")
        if (row["organismQuantity"] == "0") != (
            row["occurrenceStatus"] in ("notDetected", "absent")
        ):
            found.append("occurrenceStatus does not fit the count")
    return found


def test_an_archive_obeys_the_rules_of_its_terms(site: Site) -> None:
    assert faults(tables_of(archive_of(site))) == []


def test_an_archive_of_hostile_text_obeys_them_too(site: Site) -> None:
    choice = ArchiveChoice(coarsen_m=100, absence_word="absent", notes=True)
    assert faults(tables_of(archive_of(hostile_site(site), choice))) == []


@pytest.mark.parametrize(
    ("file", "row", "column", "value", "fault"),
    [
        ("event.txt", 3, "eventDate", "2026-04-13/2026-04-06", "is not days"),
        ("event.txt", 3, "eventDate", "2026-04-06", "is not days"),
        ("event.txt", 3, "startDayOfYear", "1", "days of the year"),
        ("event.txt", 3, "parentEventID", "season/1999", "has no season"),
        ("event.txt", 3, "eventID", "visit/none", "not one inventory"),
        ("event.txt", 3, "coordinateUncertaintyInMeters", "0", "is not above zero"),
        ("event.txt", 3, "sampleSizeUnit", "", "sampleSizeValue without sampleSizeUnit"),
        ("event.txt", 3, "decimalLatitude", "95", "not on Earth"),
        ("event.txt", 3, "recordedBy", "someone", "recordedBy is no term"),
        ("occurrence.txt", 3, "eventID", "visit/none", "is no event"),
        ("occurrence.txt", 3, "organismQuantity", "1.5", "is not whole"),
        ("occurrence.txt", 3, "individualCount", "77", "counts of one occurrence differ"),
        ("occurrence.txt", 3, "occurrenceStatus", "maybe", "is not words"),
        ("occurrence.txt", 3, "occurrenceID", "", "is not id"),
        ("humboldt.txt", 3, "isAbsenceReported", "yes", "is not true/false"),
        ("humboldt.txt", 3, "samplingEffortUnit", "", "without samplingEffortUnit"),
    ],
)
def test_the_rules_see_a_breach(
    site: Site, file: str, row: int, column: str, value: str, fault: str
) -> None:
    tables = tables_of(archive_of(site))
    tables[file][row][column] = value
    assert any(fault in each for each in faults(tables))


def test_the_rules_see_an_id_that_is_there_twice(site: Site) -> None:
    tables = tables_of(archive_of(site))
    tables["event.txt"].append(tables["event.txt"][3])
    tables["occurrence.txt"].append(tables["occurrence.txt"][3])
    found = faults(tables)
    assert "an occurrenceID is there twice" in found
    assert any("is there twice" in each and "visit/" in each for each in found)


# --- terms


def test_terms_are_those_of_the_standard() -> None:
    """Every Darwin Core term is in the list of python-dwca-reader 0.17, or younger than that list.

    The younger ones, as well as all Humboldt terms, were compared once with the list of
    dwcahandler 1.1.5, which follows the register of September 2026: all are there.
    """
    younger = {
        "eventType",
        "verbatimIdentification",
        "organismQuantity",
        "organismQuantityType",
    }
    terms = [term for file in (EVENTS, OCCURRENCES) for term in file.terms]
    assert {term.name for term in terms if term.uri not in TERMS} == younger
    assert {file.row_type for file in (EVENTS, OCCURRENCES)} == {
        "http://rs.tdwg.org/dwc/terms/Event",
        "http://rs.tdwg.org/dwc/terms/Occurrence",
    }
    assert HUMBOLDT.row_type == "http://rs.tdwg.org/eco/terms/Event"
    assert {term.namespace for term in HUMBOLDT.terms[1:]} == {"http://rs.tdwg.org/eco/terms/"}


def test_the_descriptor_names_every_column_in_order(site: Site) -> None:
    """Elements and attributes as in the Darwin Core text guide (from memory)."""
    texts = members(archive_of(site))
    root = ET.fromstring(texts["meta.xml"])
    assert root.tag == f"{TEXT_GUIDE}archive"
    assert root.attrib == {"metadata": "eml.xml"}
    assert [child.tag for child in root] == [
        f"{TEXT_GUIDE}{kind}" for kind in ("core", "extension", "extension")
    ]
    for element, file in zip(root, FILES, strict=True):
        header = texts[file.name].splitlines()[0].split("\t")
        fields = element.findall(f"{TEXT_GUIDE}field")
        assert element.findtext(f"{TEXT_GUIDE}files/{TEXT_GUIDE}location") == file.name
        assert [field.get("index") for field in fields] == [str(n) for n in range(len(header))]
        assert [str(field.get("term")).rpartition("/")[2] for field in fields] == header
        key = element.find(f"{TEXT_GUIDE}{'id' if file is EVENTS else 'coreid'}")
        assert key is not None
        assert key.get("index") == "0"


@pytest.mark.parametrize("spoil", [lambda site: site, hostile_site])
def test_another_reader_finds_the_same_rows(
    site: Site, tmp_path: Path, spoil: Callable[[Site], Site]
) -> None:
    """python-dwca-reader 0.17 opens the archive by its descriptor alone."""
    archive = archive_of(spoil(site), ArchiveChoice(notes=True))
    tables = tables_of(archive)
    path = tmp_path / "a.zip"
    path.write_bytes(archive)
    with DwCAReader(str(path)) as reader:
        rows = list(reader.rows)
        assert reader.descriptor.core.type == EVENTS.row_type
        assert [row.id for row in rows] == [row["eventID"] for row in tables["event.txt"]]
        assert reader.metadata is not None
        for row, ours in zip(rows, tables["event.txt"], strict=True):
            assert row.data == {term.uri: ours[term.name] for term in EVENTS.terms}
            kinds = [each.rowtype for each in row.extensions]
            mine = [each for each in tables["occurrence.txt"] if each["eventID"] == row.id]
            assert kinds.count(OCCURRENCES.row_type) == len(mine)
            assert kinds.count(HUMBOLDT.row_type) == 1


# --- what was recorded


def test_visits_and_catches_come_back_out_of_the_archive(site: Site) -> None:
    tables = tables_of(archive_of(site, ArchiveChoice(notes=True)))
    visits = pd.DataFrame([visit_of(row) for row in events(tables, "trapVisit")])
    # Who made a visit is a person's name, and stays at home.
    expected = site.visits.drop(columns=["adults", "source_row", "observer"], errors="ignore")
    pd.testing.assert_frame_equal(
        visits.reset_index(drop=True)[list(expected)], expected, check_dtype=False
    )
    assert counts_of(tables, "catch") == counted(site.catches)
    assert counts_of(tables, "bycatch") == counted(site.bycatch)


def visit_of(row: dict[str, str]) -> dict[str, object]:
    set_on, checked_on = (pd.Timestamp(day) for day in row["eventDate"].split("/"))
    minutes = re.search(r"([\d.]+) minutes", row["samplingEffort"])
    status = re.match(r"status (\w+)", row["eventRemarks"])
    assert status is not None
    return {
        "visit_id": row["eventID"].removeprefix("visit/"),
        "location_id": row["locationID"].removeprefix("trap/"),
        "trap_id": row["fieldNumber"],
        "set_on": set_on,
        "checked_on": checked_on,
        "status": status[1],
        "minutes": float(minutes[1]) if minutes else float("nan"),
        "note": row["fieldNotes"],
    }


def events(tables: Tables, kind: str) -> Table:
    return [row for row in tables["event.txt"] if row["eventType"] == kind]


def counts_of(tables: Tables, kind: str) -> set[tuple[str, str, int]]:
    return {
        (
            row["eventID"].removeprefix("visit/"),
            row["verbatimIdentification"],
            int(row["organismQuantity"]),
        )
        for row in tables["occurrence.txt"]
        if row["occurrenceID"].startswith(f"{row['eventID']}/{kind}/")
    }


def counted(table: pd.DataFrame) -> set[tuple[str, str, int]]:
    return set(table.itertuples(index=False, name=None))


def test_a_void_visit_has_no_occurrence_and_says_why(site: Site) -> None:
    tables = tables_of(archive_of(site))
    void = [row for row in events(tables, "trapVisit") if "status ok" not in row["eventRemarks"]]
    inventories = {row["eventID"]: row for row in tables["humboldt.txt"]}
    seen = {row["eventID"] for row in tables["occurrence.txt"]}
    assert len(void) == len(VOID) == 3
    for row in void:
        inventory = inventories[row["eventID"]]
        assert row["eventID"] not in seen
        assert "no count, which is not a zero" in row["eventRemarks"]
        assert inventory["reportedExtremeConditions"] in {
            f"trap {status}" for status in VOID.values()
        }
        assert inventory["isSamplingEffortReported"] == "false"
        assert inventory["isAbsenceReported"] == inventory["samplingEffortValue"] == ""


@pytest.mark.parametrize(
    ("word", "words"),
    [("notDetected", {"detected", "notDetected"}), ("absent", {"present", "absent"})],
)
def test_a_zero_is_a_row_with_the_chosen_word(site: Site, word: str, words: set[str]) -> None:
    """Vocabulary of occurrenceStatus since 2026-05-26, and the one before it."""
    tables = tables_of(archive_of(site, ArchiveChoice(absence_word=word)))
    rows = tables["occurrence.txt"]
    zeros = [row for row in rows if row["organismQuantity"] == "0"]
    expected = int((site.catches["adults"] == 0).sum() + (site.bycatch["count"] == 0).sum())
    # T01 to T16 in four rounds, 61 of 64 visits with a count, both species: 0 is common.
    assert len([row for row in zeros if "/catch/" in row["occurrenceID"]]) > 20
    assert {row["occurrenceStatus"] for row in zeros} == {word}
    assert {row["occurrenceStatus"] for row in rows} == words
    pupae_and_larvae = [row for row in zeros if row["eventID"].startswith("cores/")]
    assert len(zeros) - len(pupae_and_larvae) == expected


def test_a_visit_without_any_beetle_row_is_a_zero_for_each_target(tmp_path: Path) -> None:
    visits = long_visits().splitlines()
    # The first visit of T05: both rows become one, 0 adults of no species.
    kept = [line for line in visits if not line.startswith("T05,2026-04-06")]
    kept.append("T05,2026-04-06,2026-04-13,ok,,0,1")
    folder = make_site(
        tmp_path / "long", settings=LONG_SETTINGS, files={"visits.csv": "\n".join(kept) + "\n"}
    )
    tables = tables_of(archive_of(read_site(folder)))
    rows = [r for r in tables["occurrence.txt"] if r["eventID"] == "visit/T05 2026-04-13"]
    catches = [row for row in rows if "/catch/" in row["occurrenceID"]]
    assert faults(tables) == []
    assert [(row["scientificName"], row["organismQuantity"]) for row in catches] == [
        ("Sphenophorus parvulus", "0"),
        ("Sphenophorus venatus", "0"),
    ]


def test_a_season_is_the_parent_and_sums_up_its_events(site: Site) -> None:
    tables = tables_of(archive_of(site))
    (season,) = events(tables, "season")
    assert season["eventID"] == "season/2026-02-15"
    # First set 2026-04-06; four rounds end on 2026-05-04, the day of the corings.
    assert season["eventDate"] == "2026-04-06/2026-05-04"
    assert {row["parentEventID"] for row in tables["event.txt"][1:]} == {season["eventID"]}
    assert len(events(tables, "trapVisit")) == 16 * ROUNDS


def test_a_season_across_new_year_has_one_parent(tmp_path: Path) -> None:
    settings = make_settings('start = "10-01"\nend = "06-30"')
    site = read_site(make_site(tmp_path / "winter", settings=settings))
    early = site.visits["checked_on"] - pd.Timedelta(days=110)
    moved = replace(
        site,
        visits=site.visits.assign(
            checked_on=early, set_on=site.visits["set_on"] - pd.Timedelta(days=110)
        ),
    )
    tables = tables_of(archive_of(moved))
    assert [row["eventID"] for row in events(tables, "season")] == ["season/2025-10-01"]
    crossing = [row for row in tables["event.txt"] if row["year"] == ""]
    assert {row["eventDate"][:4] for row in crossing} == {"2025"}
    assert faults(tables) == []


def make_settings(season: str) -> str:
    return SETTINGS.replace('start = "02-15"\nend = "08-31"', season)


def test_effort_is_told_in_both_vocabularies(site: Site) -> None:
    tables = tables_of(archive_of(site))
    event = next(row for row in events(tables, "trapVisit") if row["fieldNumber"] == "T01")
    inventory = next(r for r in tables["humboldt.txt"] if r["eventID"] == event["eventID"])
    assert event["samplingEffort"] == "7 trap-nights; 2.5 minutes"
    assert (event["sampleSizeValue"], event["sampleSizeUnit"]) == ("7", "day")
    assert event["habitat"] == "fairway"
    assert event["samplingProtocol"] == "pitfall trap, cup"
    assert (inventory["samplingEffortValue"], inventory["samplingEffortUnit"]) == ("7", "trapDays")
    assert (inventory["inventoryTypes"], inventory["protocolNames"]) == (
        "restrictedSearch",
        "pitfallTrapping",
    )
    assert inventory["targetTaxonomicScope"] == "Sphenophorus parvulus | Sphenophorus venatus"
    assert inventory["isTaxonomicScopeFullyReported"] == "true"
    assert (inventory["hasNonTargetTaxa"], inventory["nonTargetTaxa"]) == ("true", "carabids")


def test_the_slot_of_a_linear_trap_is_its_sample_size(site: Site) -> None:
    traps = site.traps.assign(slot_m=0.914)
    tables = tables_of(archive_of(replace(site, traps=traps)))
    sizes = {(r["sampleSizeValue"], r["sampleSizeUnit"]) for r in events(tables, "trapVisit")}
    assert sizes == {("0.914", "metre")}


def test_cores_are_events_with_the_area_that_was_cut(site: Site) -> None:
    """A 4.25-inch core has 91.52 cm2 (pi d2 / 4); ten of them 0.091524 m2."""
    tables = tables_of(archive_of(site))
    first, second = events(tables, "soilCores")
    larvae = [r for r in tables["occurrence.txt"] if r["eventID"].startswith("cores/")]
    assert first["samplingProtocol"] == "soil core, 10.795 cm (4.25 in)"
    assert (first["sampleSizeValue"], first["sampleSizeUnit"]) == ("0.091524", "square metre")
    assert second["sampleSizeValue"] == "0.07854"
    assert first["footprintWKT"].startswith("POLYGON ((")
    # The pupae of the second coring are blank, which is not a zero.
    assert [(row["lifeStage"], row["organismQuantity"]) for row in larvae] == [
        ("larva", "7"),
        ("pupa", "1"),
        ("larva", "2"),
    ]
    assert {row["scientificName"] for row in larvae} == {"Sphenophorus"}
    assert {row["taxonRank"] for row in larvae} == {"genus"}


# --- what is kept back


@pytest.mark.parametrize("side_m", [50, 100, 1000])
def test_coarse_positions_lie_within_their_uncertainty(site: Site, side_m: int) -> None:
    fine, coarse = (
        events(tables_of(archive_of(site, ArchiveChoice(coarsen_m=each))), "trapVisit")
        for each in (0, side_m)
    )
    geod = Geod(ellps="WGS84")
    moved = []
    for before, after in zip(fine, coarse, strict=True):
        ends = [float(row[f"decimal{axis}"]) for row in (before, after) for axis in LONLAT]
        moved.append(geod.inv(*ends)[2])
        assert before["coordinateUncertaintyInMeters"] == "30"
        assert moved[-1] + 30 <= float(after["coordinateUncertaintyInMeters"])
        assert f"{side_m} m grid" in after["dataGeneralizations"]
        assert before["dataGeneralizations"] == ""
    assert max(moved) > side_m / 10


LONLAT = ("Longitude", "Latitude")


def test_traps_of_one_cell_share_one_position_and_outlines_are_left_out(site: Site) -> None:
    archive = archive_of(site, ArchiveChoice(coarsen_m=1000))
    tables = tables_of(archive)
    places = {
        (row["decimalLongitude"], row["decimalLatitude"]) for row in events(tables, "trapVisit")
    }
    assert len(places) <= 4
    assert {row["footprintWKT"] for row in tables["event.txt"]} == {""}
    box = ET.fromstring(members(archive)["eml.xml"]).find(".//boundingCoordinates")
    assert box is not None
    written = {float(row["decimalLongitude"]) for row in tables["event.txt"] if row["habitat"]}
    assert float(str(box.findtext("westBoundingCoordinate"))) == min(written)
    assert float(str(box.findtext("eastBoundingCoordinate"))) == max(written)


def test_notes_stay_at_home_unless_asked_for(site: Site) -> None:
    noted = replace(site, visits=site.visits.assign(note="call Ann at the gate"))
    quiet, told = (archive_of(noted, ArchiveChoice(notes=notes)) for notes in (False, True))
    assert not any("Ann" in text for text in members(quiet).values())
    assert "call Ann at the gate" in members(told)["event.txt"]
    assert "recordedBy" not in members(told)["meta.xml"]


def test_the_observers_stay_at_home(site: Site) -> None:
    known = replace(site, visits=site.visits.assign(observer="Ann Ardent"))
    archive = members(archive_of(known, ArchiveChoice(notes=True)))
    assert not any("Ardent" in text for text in archive.values())


def test_the_abstract_counts_one_season_as_one(site: Site) -> None:
    root = ET.fromstring(members(archive_of(site))["eml.xml"])
    abstract = str(root.findtext("dataset/abstract/para"))
    assert "64 visits and 2 corings in 1 season, with " in abstract


def test_the_metadata_names_the_site_and_no_person(site: Site) -> None:
    root = ET.fromstring(members(archive_of(site))["eml.xml"])
    assert root.tag == f"{{{EML}}}eml"
    assert root.find(".//individualName") is None
    dataset = root.find("dataset")
    assert dataset is not None
    # The order of EML 2.2.0's dataset (from memory); a creator and a contact must be there.
    assert [child.tag for child in dataset] == [
        "title",
        "creator",
        "language",
        "abstract",
        "additionalInfo",
        "intellectualRights",
        "coverage",
        "contact",
    ]
    assert dataset.findtext("creator/organizationName") == "Kestwick Green"


# --- files


def test_the_same_records_give_the_same_bytes(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    first = archive_of(site)
    monkeypatch.setattr("time.time", lambda: 4e9)
    monkeypatch.setattr("time.localtime", lambda *_: (2040, 1, 2, 3, 4, 5, 0, 1, 0))
    assert archive_of(site) == first
    with zipfile.ZipFile(io.BytesIO(first)) as opened:
        assert {each.date_time for each in opened.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_the_order_of_rows_in_the_files_makes_no_difference(site: Site, tmp_path: Path) -> None:
    folder = make_site(tmp_path / "turned")
    header, *lines = (folder / "visits.csv").read_text().splitlines()
    (folder / "visits.csv").write_text("\n".join([header, *reversed(lines)]) + "\n")
    turned = members(archive_of(read_site(folder)))
    ours = members(archive_of(site))
    assert [turned[name] == ours[name] for name in ("event.txt", "occurrence.txt")] == [True, True]


def test_a_week_leaves_out_what_is_later(site: Site) -> None:
    tables = tables_of(archive_of(site, week="2026-W16"))
    # Rounds were checked on 13 and 20 April, ...: 2026-W16 ends on Sunday 19 April.
    assert len(events(tables, "trapVisit")) == 16
    assert events(tables, "soilCores") == []
    assert faults(tables) == []


def test_hostile_ids_stay_apart() -> None:
    term = Term("locationID", "id")
    cells = {cell_text(text, term) for text in ("T\t1", "T\n1", "T\r1", "T 1")}
    assert len(cells) == 4
    assert not any(set("\t\r\n") & set(cell) for cell in cells)


def test_a_column_that_no_file_has_is_a_defect() -> None:
    with pytest.raises(KeyError, match=r"event\.txt has no column recordedBy"):
        table_text(EVENTS, [{"recordedBy": "someone"}])


@pytest.mark.parametrize(
    ("name", "scientific", "rank"),
    [
        ("Sphenophorus parvulus", "Sphenophorus parvulus", "species"),
        (
            "Sphenophorus parvulus Gyllenhal, 1838",
            "Sphenophorus parvulus Gyllenhal, 1838",
            "species",
        ),
        ("Sphenophorus venatus vestitus", "Sphenophorus venatus vestitus", "subspecies"),
        ("Sphenophorus", "Sphenophorus", "genus"),
        ("Sphenophorus sp.", "Sphenophorus", "genus"),
        ("Listronotus spp", "Listronotus", "genus"),
        ("Sphenophorus cf. venatus", "Sphenophorus", "genus"),
        ("Carabidae", "Carabidae", "family"),
        ("Spiders", None, None),
        ("unknown", None, None),
        ("S. parvulus", None, None),
    ],
)
def test_a_name_is_taken_apart_and_nothing_made_up(
    name: str, scientific: str | None, rank: str | None
) -> None:
    row = taxon_terms(name)
    assert (row.get("scientificName"), row.get("taxonRank")) == (scientific, rank)
    assert row["verbatimIdentification"] == name
    assert ("vernacularName" in row) == (scientific is None)
