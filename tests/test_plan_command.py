"""`snoutline plan`: what it writes, what it appends, and what it never changes."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from sites import SETTINGS, make_site
from test_treatment import inputs

from data.findings import SettingsError
from data.reading import read_site
from data.treatment_settings import TreatmentSettings
from scripts.commands import plan as module

FILES = {
    "work-order.html", "treatment-record.html", "plan.csv", "plan.gpkg", "plan-shapefile.zip",
    "plan.kml", "plan.geojson",
}  # fmt: skip


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    given = inputs()
    monkeypatch.setattr(module, "treatment_settings", lambda _: given)
    return make_site(tmp_path / "site", settings=f"{SETTINGS}[marks]\npermutations = 999\n")


def run(site: Path, *options: str) -> Result:
    out = site.parent / "out"
    arguments = [str(site), "--out", str(out), *options]
    return CliRunner().invoke(module.command, arguments, catch_exceptions=True)


def records(site: Path) -> Path:
    return site.parent / "out" / module.RECORDS


def test_it_writes_every_file_and_no_record(site: Path) -> None:
    before = {path.name: path.read_bytes() for path in site.iterdir()}
    result = run(site, "--zones", "Z1,Z6")
    assert result.exit_code == 0, result.output
    assert {path.name for path in (site.parent / "out").iterdir()} == FILES
    assert "Plan of week 2026-W19: 2 zones" in result.output
    assert "was of the same group, 3A." in result.output
    assert {path.name: path.read_bytes() for path in site.iterdir()} == before


def test_zones_may_be_named_in_any_order(site: Path) -> None:
    run(site, "--zones", "Z1,Z2,Z6")
    first = (site.parent / "out" / "plan.csv").read_bytes()
    run(site, "--zones", " Z6, Z1 ,Z2,Z1")
    assert (site.parent / "out" / "plan.csv").read_bytes() == first


def test_records_are_appended_and_old_rows_never_rewritten(site: Path) -> None:
    run(site, "--zones", "Z1", "--record", "2026-05-04", "--applicator", "A. Person")
    first = records(site).read_bytes()
    result = run(site, "--zones", "Z1,Z2", "--record", "2026-05-20", "--quiet")
    whole = records(site).read_bytes()
    assert whole.startswith(first)
    assert (
        "2 rows appended to treatment-records.csv. Keep the file at least 2 years" in result.output
    )
    assert "The record lacks: time, applicator, certification number." in result.output
    rows = list(csv.DictReader(whole.decode().splitlines()))
    assert (rows[0]["applied_on"], rows[0]["zone_id"]) == ("2026-05-04", "Z1")
    assert len(rows) == 3
    assert (rows[0]["applicator"], rows[1]["applicator"]) == ("A. Person", "")
    # The apostrophe keeps a spreadsheet from taking the number for a day.
    assert rows[0]["registration_number"] == "'000-1"


def test_the_same_record_is_not_written_twice(site: Path) -> None:
    run(site, "--zones", "Z1", "--record", "2026-05-04")
    first = records(site).read_bytes()
    result = run(site, "--zones", "Z1", "--record", "2026-05-04")
    assert records(site).read_bytes() == first
    assert "0 rows appended to treatment-records.csv; 1 were there already" in result.output


def test_a_treatment_recorded_again_with_another_detail_is_told(site: Path) -> None:
    run(site, "--zones", "Z1", "--record", "2026-05-04")
    result = run(site, "--zones", "Z1,Z2", "--record", "2026-05-04", "--applicator", "A. Person")
    assert "2 rows appended" in result.output
    assert "Recorded before, for the same day and product: Z1. Old rows are never" in result.output


@pytest.mark.parametrize(("day", "told"), [("2062-05-04", "days after"), ("2025-05-04", "before")])
def test_a_day_far_from_the_evidence_is_asked_about(site: Path, day: str, told: str) -> None:
    result = run(site, "--zones", "Z1", "--record", day)
    assert f"{told} the evidence of this plan; make sure that the day is right" in " ".join(
        result.output.split()
    )


def test_a_file_edited_without_a_last_line_end_is_continued_on_a_new_line(site: Path) -> None:
    run(site, "--zones", "Z1", "--record", "2026-05-04")
    edited = records(site).read_bytes().rstrip(b"\n")
    records(site).write_bytes(edited)
    run(site, "--zones", "Z2", "--record", "2026-05-05")
    assert records(site).read_bytes().startswith(edited + b"\n2026-05-05")


def test_records_of_other_columns_are_left_alone(tmp_path: Path) -> None:
    path = tmp_path / module.RECORDS
    path.write_text("day,what\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="it is left as it is"):
        module.append_records(path, "applied_on\n2026-05-04\n")
    assert path.read_text(encoding="utf-8") == "day,what\n"


def test_records_that_are_no_text_are_left_alone(tmp_path: Path) -> None:
    path = tmp_path / module.RECORDS
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(SettingsError, match="cannot be added to"):
        module.append_records(path, "applied_on\n2026-05-04\n")
    assert path.read_bytes() == b"\xff\xfe"


def test_a_tactic_is_named_when_there_is_not_exactly_one() -> None:
    adult = inputs().tactics["adult"]
    both = TreatmentSettings(tactics={"adult": adult, "larva": adult})
    with pytest.raises(SettingsError, match=r"name a tactic with --tactic .* holds adult, larva"):
        module.chosen_tactic(both, None)
    with pytest.raises(SettingsError, match=r"\[treatment\] holds none"):
        module.chosen_tactic(TreatmentSettings(), None)
    assert module.chosen_tactic(TreatmentSettings(), "larva") == "larva"


def test_without_zones_above_the_limit_there_is_no_plan(site: Path) -> None:
    with pytest.raises(SettingsError, match="no limit holds for any zone on this day"):
        module.planned(read_site(site), None, None, "adult")


def test_a_plan_with_no_ground_left_is_refused(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        module, "treatment_settings", lambda _: inputs(buffers={"water": "5000 ft"})
    )
    result = run(site, "--zones", "Z1")
    assert isinstance(result.exception, SettingsError)
    assert "nothing is left to treat" in str(result.exception)
    assert not (site.parent / "out").exists()
