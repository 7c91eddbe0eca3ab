"""`snoutline check` and `weekly --keep-going`: everything is told, nothing is lost."""

from __future__ import annotations

import csv
import hashlib
import json
from itertools import pairwise
from pathlib import Path

import pytest
from sites import LONG_SETTINGS, SETTINGS, long_visits, make_site, visit_row

from data.reading import read_site
from scripts import cli
from scripts.commands.check import SHOWN_ALIKE

ROW = visit_row("T05", 1)
SPOILED = {("visits.csv", ROW, "parvulus"): "2l", ("cores.csv", 3, "zone_id"): "z 2"}


def set_aside(folder: Path) -> list[dict[str, str]]:
    with (folder / "set-aside.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def hashes(site: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in site.iterdir()}


def test_a_clean_site_gives_0_and_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = make_site(tmp_path / "site")
    assert cli.run(["check", str(site), "--out", str(tmp_path / "out")]) == 0
    assert "no errors, no warnings" in capsys.readouterr().out
    assert not (tmp_path / "out").exists()


def test_warnings_alone_give_0(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", cells={("traps.csv", 2, "design"): "CUP"})
    assert cli.run(["check", str(site), "--out", str(tmp_path / "out")]) == 0


def test_errors_give_3_and_rows_are_kept_whole_as_typed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = make_site(tmp_path / "site", cells=SPOILED)
    before = hashes(site)
    assert cli.run(["check", str(site), "--out", str(tmp_path / "out")]) == 3
    out = capsys.readouterr().out
    assert "'2l' is not a whole number" in out
    assert "did you mean 'Z2'?" in " ".join(out.split())
    assert "2 errors, 0 warnings; 2 rows set aside and counted nowhere" in out
    assert max(map(len, out.splitlines()[:-1])) <= 80
    rows = {row["file"]: row for row in set_aside(tmp_path / "out")}
    assert (rows["visits.csv"]["row"], rows["visits.csv"]["code"]) == (str(ROW), "IN-021")
    assert json.loads(rows["visits.csv"]["cells"]) == {
        "trap_id": "T05",
        "set_on": "2026-04-13",
        "checked_on": "2026-04-20",
        "status": "ok",
        "parvulus": "2l",
        "venatus": "1",
        "carabids": "1",
        "minutes": "2.5",
        "note": "",
    }
    assert hashes(site) == before


def test_json_says_the_same_for_programs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = make_site(tmp_path / "site", cells=SPOILED)
    assert cli.run(["check", str(site), "--json", "--out", str(tmp_path / "out")]) == 3
    told = json.loads(capsys.readouterr().out)
    assert (told["format"], told["errors"], told["warnings"]) == ("snoutline check 1", 2, 0)
    tally = {"file": "visits.csv", "read": 64, "used": 63, "set_aside": 1, "out_of_season": 0}
    assert tally in told["files"]
    assert told["rows"]["read"] == told["rows"]["used"] + told["rows"]["set_aside"]
    assert {each["code"] for each in told["findings"]} == {"IN-021", "IN-043"}


def test_a_site_without_readable_zones_still_lists_all_findings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = make_site(tmp_path / "site", cells=SPOILED, files={"zones.geojson": None})
    assert cli.run(["check", str(site), "--json", "--out", str(tmp_path / "out")]) == 3
    told = json.loads(capsys.readouterr().out)
    assert {each["code"] for each in told["findings"]} == {"IN-001", "IN-021"}


def test_wrong_settings_give_2(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", settings="name = 3\n")
    assert cli.run(["check", str(site), "--out", str(tmp_path / "out")]) == 2


@pytest.mark.parametrize(("every", "lines"), [(False, SHOWN_ALIKE), (True, 64)])
def test_many_findings_from_one_file_come_in_one_run(
    every: bool, lines: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cells = {("visits.csv", row, "carabids"): "x" for row in range(2, 66)}
    site = make_site(tmp_path / "site", cells=cells)
    more = ["--all"] if every else []
    assert cli.run(["check", str(site), *more, "--out", str(tmp_path / "out")]) == 3
    out = capsys.readouterr().out
    assert out.count("ERROR") >= lines
    assert (f"and {64 - SHOWN_ALIKE} more of IN-021" in out) != every
    assert len(set_aside(tmp_path / "out")) == 64


def test_every_visit_of_a_trap_set_aside_is_kept(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site", cells={("traps.csv", 2, "latitude"): "0"}))
    visits = [row for row in site.account.rows if row.finding.file == "visits.csv"]
    assert [row.cells["trap_id"] for row in visits] == ["T01"] * 4
    assert {row.finding.code for row in visits} == {"IN-044"}
    for tally in site.account.tallies:
        assert tally.read == tally.used + tally.set_aside


def test_a_row_of_too_many_cells_is_counted_as_set_aside(tmp_path: Path) -> None:
    more = {"cores.csv": ["Z1,2026-05-05,10,4.25,in,7,1,,surplus"]}
    site = read_site(make_site(tmp_path / "site", more=more))
    tally = next(each for each in site.account.tallies if each.file == "cores.csv")
    assert (tally.read, tally.used, tally.set_aside) == (3, 2, 1)


def test_a_formula_typed_as_a_count_is_not_live_in_the_file(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", cells={("visits.csv", ROW, "parvulus"): "=1+1"})
    assert cli.run(["check", str(site), "--out", str(tmp_path / "out")]) == 3
    assert set_aside(tmp_path / "out")[0]["value"] == "'=1+1"


def test_an_older_list_is_emptied_when_the_mistakes_are_mended(tmp_path: Path) -> None:
    out = ["--out", str(tmp_path / "out")]
    assert cli.run(["check", str(make_site(tmp_path / "site", cells=SPOILED)), *out]) == 3
    assert cli.run(["check", str(make_site(tmp_path / "site")), *out]) == 0
    assert set_aside(tmp_path / "out") == []


def test_weekly_refuses_errors_unless_it_may_keep_going(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site, out = make_site(tmp_path / "site", cells=SPOILED), tmp_path / "out"
    assert cli.run(["weekly", str(site), "--out", str(out)]) == 3
    err = capsys.readouterr().err
    assert "2 errors; nothing was written" in err
    assert "--keep-going" in err
    assert not out.exists()
    assert cli.run(["weekly", str(site), "--out", str(out), "--keep-going"]) == 0
    assert "2 rows of the files were set aside" in capsys.readouterr().out
    assert len(set_aside(out)) == 2
    summary = json.loads((out / "summary.json").read_text("utf-8"))
    assert summary["findings"]["rows_set_aside"] == 2


def test_a_genus_row_is_a_total_and_no_beetle_counts_twice(tmp_path: Path) -> None:
    visit = "T07,2026-05-04,2026-05-11,ok"
    names = {"Sphenophorus parvulus": 2, "Sphenophorus sp.": 1, "Sphenophorus": 5}
    names |= {"unknown": 1, "Carabidae": 9}
    lines = "".join(f"{visit},{name},{adults},\n" for name, adults in names.items())
    site = read_site(
        make_site(
            tmp_path / "site",
            settings=LONG_SETTINGS,
            files={"visits.csv": long_visits() + lines},
        )
    )
    adults = site.visits.set_index("visit_id").loc["T07 2026-05-11", "adults"]
    # The total of 5 holds the 3 named ones; the unknown beetle is added; Carabidae are by-catch.
    assert adults == 6
    caught = site.catches[site.catches["visit_id"] == "T07 2026-05-11"]
    assert dict(zip(caught["species"], caught["adults"], strict=True)) == {
        "Sphenophorus": 2,
        "Sphenophorus parvulus": 2,
        "Sphenophorus sp.": 1,
        "unknown": 1,
    }


def test_a_season_across_new_year_and_week_53_is_read_without_a_finding(tmp_path: Path) -> None:
    settings = (
        'name = "Kestwick Green"\n[season]\nstart = "10-01"\nend = "03-31"\n'
        '[species_columns]\nparvulus = "Sphenophorus parvulus"\n'
    )
    lines = ["trap_id,set_on,checked_on,status,parvulus"]
    days = ["2026-12-21", "2026-12-28", "2027-01-03", "2027-01-10"]
    lines += [f"T01,{a},{b},ok,1" for a, b in pairwise(days)]
    site = read_site(
        make_site(
            tmp_path / "site", settings=settings, files={"visits.csv": "\n".join(lines) + "\n"}
        )
    )
    assert site.findings == ()
    # 2027-01-03 is the Sunday of ISO week 53 of 2026.
    assert site.visits["checked_on"].dt.isocalendar().week.tolist() == [53, 53, 1]


def cells_of(site: Path, file: str) -> dict[str, str]:
    """Return the cells of the one row of a file that was set aside."""
    rows = [row for row in read_site(site).account.rows if row.finding.file == file]
    assert len(rows) == 1
    return dict(rows[0].cells)


def test_a_row_of_too_many_cells_keeps_every_cell(tmp_path: Path) -> None:
    more = {"cores.csv": ["Z1,2026-05-05,10,4.25,in,7,1, sur plus ,,last"]}
    cells = cells_of(make_site(tmp_path / "site", more=more), "cores.csv")
    assert cells == {
        "zone_id": "Z1",
        "sampled_on": "2026-05-05",
        "cores": "10",
        "diameter": "4.25",
        "diameter_unit": "in",
        "larvae": "7",
        "pupae": "1",
        "(cell 8)": " sur plus ",
        "(cell 10)": "last",
    }


def test_outer_blanks_of_a_row_set_aside_are_kept_as_typed(tmp_path: Path) -> None:
    spoiled = {("visits.csv", ROW, "parvulus"): " 2l\t", ("visits.csv", ROW, "status"): " ok "}
    spoiled |= {("visits.csv", 4, "status"): " ok"}
    site = make_site(tmp_path / "site", cells=spoiled)
    cells = cells_of(site, "visits.csv")
    assert (cells["parvulus"], cells["status"], cells["trap_id"]) == (" 2l\t", " ok ", "T05")
    # Blanks around a good value are no mistake.
    assert [each.code for each in read_site(site).findings] == ["IN-021"]


def test_a_feature_set_aside_keeps_its_shape(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", cells={("zones.geojson", 6, "use"): ""})
    cells = cells_of(site, "zones.geojson")
    assert cells["zone_id"] == "Z6"
    assert cells["wkt"].startswith("POLYGON ((-38.9976 40.0012, ")


def test_a_column_named_as_no_count_is_not_warned_of(tmp_path: Path) -> None:
    cells = {("visits.csv", 1, "note"): "crew", ("visits.csv", 5, "crew"): "3"}
    found = read_site(make_site(tmp_path / "plain", cells=cells)).findings
    assert [(each.code, each.column, each.severity) for each in found] == [
        ("IN-097", "crew", "warning")
    ]
    settings = 'other_columns = ["crew"]\n' + SETTINGS
    assert read_site(make_site(tmp_path / "told", settings=settings, cells=cells)).findings == ()


def test_a_column_of_words_with_a_number_in_it_is_not_warned_of(tmp_path: Path) -> None:
    cells = {("visits.csv", 5, "note"): "3", ("visits.csv", 9, "note"): "a few"}
    site = make_site(
        tmp_path / "site",
        cells={("visits.csv", 1, "note"): "other"}
        | {(file, row, "other"): text for (file, row, _), text in cells.items()},
    )
    assert read_site(site).findings == ()


def test_two_visits_of_one_day_that_disagree_count_neither_and_name_each_other(
    tmp_path: Path,
) -> None:
    more = {"visits.csv": ["T05,2026-04-13,2026-04-20,ok,9,1,1,2.5,"]}
    site = read_site(make_site(tmp_path / "site", more=more))
    assert [(each.row, each.problem) for each in site.findings] == [
        (ROW, "this visit is there twice and differs from row 66"),
        (66, f"this visit is there twice and differs from row {ROW}"),
    ]
    assert "T05 2026-04-20" not in set(site.visits["visit_id"])
    assert [row.cells["parvulus"] for row in site.account.rows] == ["0", "9"]


def test_visits_outside_every_season_do_not_count_as_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The season begins before the last of four rounds; one row of the others holds a mistake."""
    settings = SETTINGS.replace('start = "02-15"', 'start = "05-01"')
    site = make_site(tmp_path / "site", settings=settings, cells=SPOILED)
    out = ["--out", str(tmp_path / "out")]
    assert cli.run(["check", str(site), *out]) == 3
    said = capsys.readouterr().out
    assert "rows                    read       used  set aside  out of season" in said
    assert "visits.csv                64         16          1             47" in said
    assert "2 rows set aside and counted nowhere; 47 rows out of season\n" in said
    assert cli.run(["check", str(site), "--json", *out]) == 3
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert rows["out_of_season"] == 47
    assert rows["read"] == rows["used"] + rows["set_aside"] + rows["out_of_season"]


def test_sentences_of_set_aside_csv_carry_no_apostrophe_that_is_not_theirs(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", cells={("visits.csv", ROW, "status"): "'OK"})
    assert cli.run(["check", str(site), "--out", str(tmp_path / "out")]) == 3
    (row,) = set_aside(tmp_path / "out")
    assert row["problem"].startswith('the value "\'OK" is not ')
    # What was typed is kept so that taking off one apostrophe restores it.
    assert row["value"] == "''OK"
    site = make_site(tmp_path / "other", cells={("visits.csv", ROW, "status"): "okk"})
    assert cli.run(["check", str(site), "--out", str(tmp_path / "two")]) == 3
    (row,) = set_aside(tmp_path / "two")
    assert row["problem"].startswith("the value 'okk' is not ")
