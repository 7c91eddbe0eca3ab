"""Names that must agree: designs of site.toml with those of the traps, places with traps."""

from __future__ import annotations

from pathlib import Path

from sites import SETTINGS, csv_tables, make_site

from data.findings import Finding
from data.reading import read_site
from maps.darwin_core_rows import ArchiveChoice, archive_rows
from maps.records import records_up_to


def coded(site: Path, code: str) -> list[Finding]:
    return [each for each in read_site(site).findings if each.code == code]


def test_a_design_of_the_settings_that_no_trap_has_is_told_with_what_was_meant(
    tmp_path: Path,
) -> None:
    settings = SETTINGS.replace("[designs.linear]", "[designs.linaer]")
    site = read_site(make_site(tmp_path / "site", settings=settings))
    found = [each for each in site.findings if each.code == "IN-098"]
    assert [(each.file, each.row, each.severity) for each in found] == [
        ("site.toml", None, "warning")
    ]
    assert found[0].problem == "no trap has the design of [designs.linaer]"
    assert found[0].fix == "did you mean 'linear'?"
    # The traps' side of the same slip.
    assert sum(each.code == "IN-047" for each in site.findings) == 5
    assert len(site.traps) == 17


def test_a_design_that_is_like_none_is_told_too(tmp_path: Path) -> None:
    (finding,) = coded(
        make_site(tmp_path / "site", settings=SETTINGS + "[designs.barrier]\n"), "IN-098"
    )
    assert finding.fix == "mend its name, or delete it"


def test_designs_of_rows_set_aside_are_there(tmp_path: Path) -> None:
    cells = {("traps.csv", row, "latitude"): "0" for row in (5, 9, 13, 17, 18)}
    assert coded(make_site(tmp_path / "site", cells=cells), "IN-098") == []


def named_like_a_place(folder: Path) -> Path:
    """Make the site with trap T05 called T16/1, while T16 moved."""
    tables = {name: csv_tables()[name] for name in ("traps.csv", "visits.csv")}
    text = {
        name: "\n".join(",".join(row) for row in rows).replace("T05,", "T16/1,") + "\n"
        for name, rows in tables.items()
    }
    return make_site(folder, files=text)


def test_a_trap_named_like_a_place_of_a_moved_trap_is_an_error(tmp_path: Path) -> None:
    (finding,) = coded(named_like_a_place(tmp_path / "site"), "IN-099")
    assert (finding.file, finding.row, finding.column) == ("traps.csv", 6, "trap_id")
    assert finding.problem == "'T16/1' is also the name of a place of a trap that moved"


def test_places_and_events_have_one_name_each(tmp_path: Path) -> None:
    site = read_site(named_like_a_place(tmp_path / "site"))
    assert site.traps["location_id"].is_unique
    assert {"T16/1", "T16/2"} <= set(site.traps["location_id"])
    events = archive_rows(records_up_to(site), ArchiveChoice()).events
    assert len({event["eventID"] for event in events}) == len(events)
    aside = [row for row in site.account.rows if row.cells.get("trap_id") == "T16/1"]
    assert len(aside) == 1 + 4


def test_a_slash_in_a_name_alone_is_no_mistake(tmp_path: Path) -> None:
    tables = {name: csv_tables()[name] for name in ("traps.csv", "visits.csv")}
    text = {
        name: "\n".join(",".join(row) for row in rows).replace("T05,", "T04/1,") + "\n"
        for name, rows in tables.items()
    }
    assert read_site(make_site(tmp_path / "site", files=text)).findings == ()
