"""`snoutline network`: what it writes, and that every file says the same."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
from click.testing import CliRunner, Result
from languages import EN, section
from sites import SETTINGS, make_site

from data.parts_settings import CupParts, LinearParts, parse_parts
from data.reading import read_site
from maps.columns import NETWORK, SUGGESTED
from maps.network_page import network_html, network_table
from maps.network_words import network_sentences
from scripts.commands import network as module
from spatial.network_report import NetworkReport, NetworkWish, network_report
from spatial.results import Chance
from spatial.verdicts import REASONS

FILES = {
    "network.html", "network.csv", "network.json", "suggested-traps.csv",
    "suggested-traps.geojson", "suggested-traps.gpx", "parts-and-holes.html",
}  # fmt: skip

QUICK = f"{SETTINGS}[marks]\npermutations = 999\n"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_site(tmp_path_factory.mktemp("network") / "site", settings=QUICK)


@pytest.fixture(scope="module")
def result(site: Path) -> Result:
    return run(site, "--new", "4", "--move", "1", folder="out")


@pytest.fixture(scope="module")
def report(site: Path) -> NetworkReport:
    return network_report(read_site(site), None, NetworkWish(4, 1))


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def run(site: Path, *options: str, folder: str = "other") -> Result:
    out = site.parent / folder
    return CliRunner().invoke(module.command, [str(site), "--out", str(out), *options])


def test_it_writes_every_file_and_says_where_the_next_traps_go(site: Path, result: Result) -> None:
    assert result.exit_code == 0, result.output
    assert {path.name for path in (site.parent / "out").iterdir()} == FILES
    assert "What each zone catches: 2 of 6 zones have enough traps" in result.output
    assert "1. Zone Z6, a linear trap along" in result.output
    assert "minutes to the round." in result.output


def test_every_file_puts_the_traps_in_the_same_places(site: Path, result: Result) -> None:
    out = site.parent / "out"
    rows = rows_of(out / "suggested-traps.csv")
    assert list(rows[0]) == [each.name for each in SUGGESTED]
    points = [(float(row["longitude"]), float(row["latitude"])) for row in rows]
    for read in (
        gpd.read_file(out / "suggested-traps.geojson"),
        pyogrio.read_dataframe(out / "suggested-traps.gpx", layer="waypoints"),
    ):
        assert read.geometry.x.tolist() == pytest.approx([x for x, _ in points], abs=1e-7)
        assert read.geometry.y.tolist() == pytest.approx([y for _, y in points], abs=1e-7)
    assert json.loads((out / "network.json").read_text())["new_places"] == len(rows)


def test_the_table_has_a_row_per_zone_and_every_column(
    site: Path, result: Result, report: NetworkReport
) -> None:
    rows = rows_of(site.parent / "out" / "network.csv")
    assert list(rows[0]) == [each.name for each in NETWORK]
    assert [row["zone_id"] for row in rows] == [f"Z{n}" for n in range(1, 7)]
    assert (rows[5]["evidence"], rows[5]["traps"], rows[5]["d"]) == ("none", "0", "")
    table = network_table(report)
    assert table["traps_per_ha"].to_numpy() == pytest.approx(
        table["traps"] / table["area_ha"], rel=1e-12
    )


def test_visits_lost_are_counted_by_hand(report: NetworkReport) -> None:
    """T03 is in Z1 (3 traps, 4 rounds), T09 in Z3, T12 in Z4: one void visit of 12 in each."""
    lost = report.zones.set_index("zone_id")["share_lost"]
    assert lost.loc[["Z1", "Z3", "Z4"]].tolist() == pytest.approx([1 / 12] * 3)
    assert lost.loc["Z2"] == 0


def test_the_page_asks_nothing_of_a_network_and_escapes_names(
    report: NetworkReport, tmp_path: Path
) -> None:
    page = network_html(report, EN)
    assert "://" not in page
    assert "<script" not in page
    for sentence in network_sentences(report, EN):
        assert sentence in page
    hostile = make_site(tmp_path, settings=QUICK, cells={("zones.geojson", 6, "zone_id"): "<b>x&y"})
    drawn = network_html(network_report(read_site(hostile), None, NetworkWish(2)), EN)
    assert "<b>x" not in drawn
    assert "&lt;b&gt;x&amp;y" in drawn


def test_every_reason_has_words_and_no_words_are_left_over() -> None:
    assert set(section("network_reasons")) == {code for codes in REASONS.values() for code in codes}


def test_the_patch_that_the_network_would_miss_is_said(report: NetworkReport) -> None:
    told = Chance(traps=4, fold=3.0, found=38, maps=100)
    said = network_sentences(replace(report, analysis=replace(report.analysis, chance=told)), EN)
    missed = "a patch of 4 traps at 3 times the rest would be missed 6 times in 10"
    assert any(missed in sentence for sentence in said)


def test_nothing_to_add_is_a_sentence(site: Path) -> None:
    found = run(site, "--new", "0")
    assert found.exit_code == 0
    assert "No place for another trap" in found.output


def test_a_season_and_a_week_exclude_each_other(site: Path) -> None:
    assert "not both" in str(run(site, "--season", "2026", "--week", "2026-W19").exception)
    assert "visits of 2026" in str(run(site, "--season", "2024").exception)


def test_last_seasons_data_plan_the_next(site: Path) -> None:
    found = run(site, "--season", "2026", "--new", "2")
    assert "in next season" in found.output
    assert json.loads((site.parent / "other" / "network.json").read_text())["next_season"] is True


def test_parts_are_the_users_and_wrong_ones_are_told(tmp_path: Path) -> None:
    text = f'{QUICK}[parts.cup]\nbore = "4 in"\n'
    settings = read_site(make_site(tmp_path, settings=text)).settings
    assert settings.parts.cup == CupParts(bore="4 in")
    assert settings.parts.linear == LinearParts()
    problems = parse_parts(
        {"lid": 1, "cup": {"bore": 4, "rim": "1 in", "staples": 2.5}, "linear": 3,
         "cup_designs": "cup"}
    )[1]  # fmt: skip
    assert [key for key, _ in problems] == [
        "lid", "cup_designs", "cup.bore", "cup.rim", "cup.staples", "linear"
    ]  # fmt: skip


def test_the_parts_sheet_lists_the_suggested_traps(site: Path, result: Result) -> None:
    page = (site.parent / "out" / "parts-and-holes.html").read_text(encoding="utf-8")
    assert page.count("Z6") >= 2
    assert "buried services" in page
