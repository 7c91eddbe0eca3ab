"""`site.toml`: what it may say, and how every mistake in it is told."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest

from data.findings import SettingsError
from data.settings import (
    DesignSettings,
    MarkSettings,
    NetworkSettings,
    SeasonWindow,
    SiteSettings,
)
from data.settings_file import parse_settings, read_settings

FULL = """
name = " Kestwick Green "
crs = "EPSG:32624"
units = "metric"
target_species = ["Sphenophorus parvulus"]
bycatch_columns = ["carabids"]
[season]
start = "11-01"
end = "04-30"
[species_columns]
parvulus = "Sphenophorus parvulus"
[files]
visits = "tables/rounds.csv"
[columns.visits]
"Trap no." = "trap_id"
[designs.cup]
reference = true
[designs.linear]
ratio = 2.5
ratio_source = "own paired traps, 2025"
[map]
class_breaks = [1, 2.5, 5]
[marks]
neighbours = 5
alpha = 0.1
[network]
suggestions = 3
near_m = 5
no_trap_uses = ["green"]
"""


def parse(**given: Any) -> SiteSettings:
    """Parse settings with a name and what is given."""
    return parse_settings({"name": "K", **given})


def test_every_setting_is_read(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text(FULL, encoding="utf-8")
    settings, digest = read_settings(tmp_path)
    assert digest == hashlib.sha256(FULL.encode()).hexdigest()
    assert settings == SiteSettings(
        name="Kestwick Green",
        crs="EPSG:32624",
        units="metric",
        season=SeasonWindow("11-01", "04-30"),
        target_species=("Sphenophorus parvulus",),
        species_columns={"parvulus": "Sphenophorus parvulus"},
        bycatch_columns=("carabids",),
        aliases={"visits": {"Trap no.": "trap_id"}},
        files={"visits": "tables/rounds.csv"},
        designs=(
            DesignSettings("cup", reference=True),
            DesignSettings("linear", ratio=2.5, ratio_source="own paired traps, 2025"),
        ),
        class_breaks=(1.0, 2.5, 5.0),
        marks=MarkSettings(neighbours=5, alpha=0.1),
        network=NetworkSettings(suggestions=3, near_m=5.0, no_trap_uses=("green",)),
    )


def test_a_name_is_enough() -> None:
    assert parse_settings({"name": "K"}) == SiteSettings(name="K")


def test_whole_numbers_stay_whole_and_others_become_decimal() -> None:
    marks = parse(marks={"neighbours": 8, "cutoff_m": 300}).marks
    assert (type(marks.neighbours), type(marks.cutoff_m)) == (int, float)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"name": " "}, "site.toml, name: it is blank; give the site a name"),
        ({"name": 5}, "site.toml, name: expected text in quotation marks, found 5"),
        ({"crs": 32624}, "site.toml, crs: expected text in quotation marks, found 32624"),
        ({"crs": "UTM 24"}, 'site.toml, crs: expected an EPSG code like "EPSG:32617"'),
        ({"crs": "EPSG:4326"}, "site.toml, crs: EPSG:4326 (WGS 84) is not projected"),
        ({"crs": "EPSG:4978"}, "site.toml, crs: EPSG:4978 (WGS 84) is not projected"),
        ({"crs": "EPSG:2263"}, "site.toml, crs: EPSG:2263 is in US survey foot; use one in met"),
        ({"crs": "EPSG:99999"}, "site.toml, crs: EPSG:99999 is not a known coordinate system"),
        ({"units": "imperial"}, 'site.toml, units: expected "us" or "metric", found'),
        ({"seasons": {}}, "site.toml, seasons: there is no such setting; did you mean 'season'?"),
        ({"season": {"begin": "02-01"}}, "site.toml, season.begin: there is no such setting"),
        ({"season": {"start": "02-30"}}, 'season.start: expected month-day like "02-15", found'),
        ({"season": {"start": "02-29"}}, 'season.start: expected month-day like "02-15", found'),
        ({"season": {"start": "2-1"}}, 'season.start: expected month-day like "02-15", found'),
        ({"season": {"start": "03-01", "end": "03-01"}}, "season: start and end are the same"),
        ({"season": "spring"}, "site.toml, season: expected a table [season], found 'spring'"),
        ({"target_species": "S. venatus"}, "target_species: expected a list in square brackets"),
        ({"target_species": ["a", "a"]}, "target_species: an item is there twice"),
        ({"target_species": ["a", " "]}, "target_species: an item is blank"),
        ({"target_species": [1]}, "target_species, item 1: expected text in quotation marks"),
        (
            {"target_species": ["S. venata"], "species_columns": {"v": "S. venatus"}},
            "target_species: 'S. venata' has no column; did you mean 'S. venatus'?",
        ),
        (
            {"bycatch_columns": ["v"], "species_columns": {"v": "S. venatus"}},
            "bycatch_columns: 'v' is a species column too; keep one",
        ),
        ({"species_columns": {"v": ""}}, "species_columns.v: it names no species"),
        (
            {"bycatch_columns": ["v"], "other_columns": ["v"]},
            "other_columns: 'v' is a column of counts too; keep one",
        ),
        ({"weather": {"observed": 7}}, "weather.observed: expected one of 'midnight', 'evening',"),
        ({"weather": {"hour": "morning"}}, "weather.hour: there is no such setting"),
        ({"files": {"visit": "v.csv"}}, "files.visit: there is no such setting; did you mean"),
        ({"files": {"visits": "../v.csv"}}, "files.visits: '../v.csv' is not a file inside"),
        ({"columns": {"visits": {"Trap": "trap"}}}, "columns.visits.Trap: 'trap' is no column"),
        ({"columns": {"vists": {}}}, "columns.vists: there is no such setting; did you mean"),
        (
            {"designs": {"a": {"reference": True}, "b": {"reference": True}}},
            "designs: a and b are both the reference; keep one",
        ),
        ({"designs": {"a": {"ratio": 2}}}, "designs.a: a ratio needs its source"),
        ({"designs": {"a": {"ratio": 0, "ratio_source": "x"}}}, "designs.a.ratio: expected a num"),
        ({"designs": {"a": {"reference": 1}}}, "designs.a.reference: expected true or false"),
        (
            {"designs": {"a": {"reference": True, "ratio": 2, "ratio_source": "x"}}},
            "designs.a: the reference design cannot have a ratio",
        ),
        ({"map": {"class_breaks": [2, 1]}}, "map.class_breaks: expected 2 to 8 rates, each larg"),
        ({"map": {"class_breaks": [1]}}, "map.class_breaks: expected 2 to 8 rates, each larger"),
        ({"map": {"class_breaks": [1, "2"]}}, "map.class_breaks, item 2: expected a number from"),
        ({"marks": {"neighbors": 5}}, "marks.neighbors: there is no such setting; did you mean"),
        ({"marks": {"alpha": 5}}, "marks.alpha: expected a number from 1e-06 to 0.5, found 5"),
        ({"marks": {"alpha": True}}, "marks.alpha: expected a number from 1e-06 to 0.5, found Tr"),
        ({"marks": {"alpha": float("nan")}}, "marks.alpha: expected a number from 1e-06 to 0.5"),
        ({"marks": {"neighbours": 5.5}}, "marks.neighbours: expected a whole number, found 5.5"),
        ({"network": {"no_trap_uses": "tee"}}, "network.no_trap_uses: expected a list in square"),
    ],
)
def test_a_wrong_setting_is_told_in_one_line(given: dict[str, Any], message: str) -> None:
    with pytest.raises(SettingsError, match=r"\Asite\.toml, [^\n]+\Z") as raised:
        parse(**given)
    assert message in str(raised.value)


def test_all_wrong_settings_are_told_at_once() -> None:
    with pytest.raises(SettingsError, match="units") as raised:
        parse(units="x", crs="y", marks={"alpha": 9}, network={"near": 1})
    assert len(str(raised.value).splitlines()) == 4


def test_a_missing_name_is_told() -> None:
    with pytest.raises(SettingsError, match=r'^site\.toml, name: it is missing; add name = "\.'):
        parse_settings({})


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (None, r'^site\.toml is missing; add one with at least name = "\.\.\."$'),
        (b'name = "K', r"^site\.toml is not valid TOML: "),
        (b'name = "\xff"', r"^site\.toml is not UTF-8 text; save it as UTF-8$"),
        (b"a = " + b"[" * 5000, r"^site\.toml is not valid TOML: "),
    ],
)
def test_an_unreadable_file_is_told(content: bytes | None, message: str, tmp_path: Path) -> None:
    if content is not None:
        (tmp_path / "site.toml").write_bytes(content)
    with pytest.raises(SettingsError, match=message):
        read_settings(tmp_path)


def test_a_folder_that_is_not_there_is_told_without_its_full_path(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"^nowhere is not a folder; give the site's folder$"):
        read_settings(tmp_path / "nowhere")
