"""GPX of a receiver: the type of a waypoint is a design only where none is declared."""

from __future__ import annotations

from pathlib import Path

import pytest
from sites import SETTINGS, csv_tables, make_site

from data.reading import read_site
from maps.records import records_up_to
from maps.shapes_out import traps_gpx

DECLARED = SETTINGS + '[read.traps]\ndesign = "cup"\n'


def gpx_of(types: dict[str, str]) -> str:
    """Return waypoints of the site's first traps with the given types; a blank one is left out."""
    header, *rows = csv_tables()["traps.csv"]
    place = {row[0]: dict(zip(header, row, strict=True)) for row in rows}
    marks = "".join(
        f'<wpt lat="{place[trap]["latitude"]}" lon="{place[trap]["longitude"]}"><name>{trap}</name>'
        + (f"<type>{kind}</type>" if kind else "")
        + "</wpt>"
        for trap, kind in types.items()
    )
    return f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{marks}</gpx>'


def designs(folder: Path, settings: str, types: dict[str, str]) -> dict[str, str]:
    header, *rows = csv_tables()["visits.csv"]
    visits = [header, *(row for row in rows if row[0] in types)]
    text = "\n".join(",".join(row) for row in visits) + "\n"
    files = {"traps.csv": None, "traps.gpx": gpx_of(types), "visits.csv": text}
    traps = read_site(make_site(folder, settings=settings, files=files)).traps
    return dict(zip(traps["trap_id"], traps["design"], strict=True))


@pytest.mark.parametrize("kind", ["user", "", "linear"])
def test_a_declared_design_is_surer_than_what_a_receiver_writes(tmp_path: Path, kind: str) -> None:
    """One waypoint with a type once gave that one a design `user`, and the others none."""
    found = designs(tmp_path / "site", DECLARED, {"T01": kind, "T02": "", "T03": "user"})
    assert found == {"T01": "cup", "T02": "cup", "T03": "cup"}


def test_without_a_declared_design_the_type_is_the_design(tmp_path: Path) -> None:
    assert designs(tmp_path / "site", SETTINGS, {"T01": "cup", "T04": "linear"}) == {
        "T01": "cup",
        "T04": "linear",
    }


def test_a_declared_design_fills_only_blank_cells_of_a_column(tmp_path: Path) -> None:
    cells = {("traps.csv", 2, "design"): "", ("traps.csv", 5, "design"): "linear"}
    site = read_site(make_site(tmp_path / "site", settings=DECLARED, cells=cells))
    found = dict(zip(site.traps["trap_id"], site.traps["design"], strict=True))
    assert (found["T01"], found["T04"]) == ("cup", "linear")
    assert [each for each in site.findings if each.severity == "error"] == []


def test_a_column_under_another_name_is_filled_too(tmp_path: Path) -> None:
    cells = {("traps.csv", 1, "design"): "Trap kind"}
    settings = DECLARED + '[columns.traps]\n"Trap kind" = "design"\n'
    folder = make_site(tmp_path / "site", settings=settings, cells=cells)
    text = (folder / "traps.csv").read_text().replace("T01,cup", "T01,", 1)
    (folder / "traps.csv").write_text(text)
    site = read_site(folder)
    assert site.traps.set_index("trap_id").loc["T01", "design"] == "cup"


def test_our_own_waypoints_read_back_with_the_right_designs(tmp_path: Path) -> None:
    """Of the traps that never moved, whose waypoints bear their names."""
    site = read_site(make_site(tmp_path / "site"))
    one_place = site.traps["trap_id"] == site.traps["location_id"]
    records = records_up_to(site)
    kept = traps_gpx(records)
    rows = csv_tables()["visits.csv"]
    visits = "\n".join(",".join(row) for row in rows if row[0] != "T16") + "\n"
    files = {"traps.csv": None, "traps.gpx": kept, "visits.csv": visits}
    back = read_site(make_site(tmp_path / "back", files=files)).traps.set_index("trap_id")
    expected = site.traps[one_place].set_index("trap_id")["design"]
    assert set(expected) == {"cup", "linear"}
    assert back.loc[expected.index, "design"].tolist() == expected.tolist()
