"""An exported site: its folder reads back whatever the original files were like."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from formats import trap_layer
from hypothesis import given
from hypothesis import strategies as st
from sites import LONG_SETTINGS, SETTINGS, csv_tables, long_visits, make_site

from data.reading import read_site
from data.settings import SiteSettings
from data.site import Site
from maps.site_toml import SITE_TOML_MARK, site_toml, toml
from scripts import cli

TABLES = ("zones", "refuges", "obstacles", "traps", "visits", "catches", "bycatch", "weather")
LEFT_OUT = {"other_columns", "aliases", "files", "read", "read_tables", "local_grid"}
"""Settings about how the original files are typed."""


def tape_measured() -> str:
    """Return the traps in feet from a peg near the middle of the site."""
    header, *rows = csv_tables()["traps.csv"]
    lines = [",".join(["trap_id", "design", "x_m", "y_m", *header[4:]])]
    for n, row in enumerate(rows):
        x, y = 12.5 * (n % 6), 11.0 * (n // 6)
        lines.append(",".join([*row[:2], str(x), str(y), *row[4:]]))
    return "\n".join(lines) + "\n"


def projected() -> str:
    """Return the traps in eastings and northings of another zone."""
    points = trap_layer().to_crs("EPSG:32623").geometry
    header, *rows = csv_tables()["traps.csv"]
    lines = [",".join([*header[:2], "easting", "northing", *header[4:]])]
    for row, point in zip(rows, points, strict=True):
        lines.append(",".join([*row[:2], f"{point.x:.3f}", f"{point.y:.3f}", *row[4:]]))
    return "\n".join(lines) + "\n"


def german_visits() -> str:
    rows = csv_tables()["visits.csv"]
    names = ["Falle", "gestellt", "geleert", "Zustand", "Käfer", "venatus", "carabids", "Minuten"]
    rows[0][:8] = names
    for row in rows[1:]:
        row[1:3] = [".".join(reversed(day.split("-"))) for day in row[1:3]]
        row[7] = row[7].replace(".", ",")
    return "\n".join(";".join(row) for row in rows) + "\n"


GERMAN = (
    SETTINGS.replace("parvulus =", '"Käfer" =')
    + """
[files]
visits = "Fänge.csv"
[read.visits]
decimal = ","
date_format = "DD.MM.YYYY"
encoding = "windows-1252"
[columns.visits]
Falle = "trap_id"
gestellt = "set_on"
geleert = "checked_on"
Zustand = "status"
Minuten = "minutes"
[weather]
observed = "morning"
[round]
start_point = [-38.9999, 40.0001]
[designs.'a "new" one']
ratio = 2
ratio_source = "my own, 2025: 31 pairs"
"""
)

SITES: Mapping[str, tuple[str, dict[str, str | bytes | None]]] = {
    "plain": (SETTINGS, {}),
    "one row per species": (LONG_SETTINGS, {"visits.csv": long_visits()}),
    "own names and dates": (
        GERMAN,
        {"visits.csv": None, "Fänge.csv": german_visits().encode("windows-1252")},
    ),
    "another CRS": (SETTINGS + '[read.traps]\ncrs = "EPSG:32623"\n', {"traps.csv": projected()}),
    "tape measures": (
        SETTINGS + "[local_grid]\norigin = [-38.999, 40.0005]\n",
        {"traps.csv": tape_measured()},
    ),
    "its own CRS": ('crs = "EPSG:32624"\n' + SETTINGS, {}),
}


def plain(table: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(table.drop(columns=["geometry", "source_row"], errors="ignore"))


@pytest.mark.parametrize("name", SITES)
def test_the_folder_of_an_export_is_the_same_site_again(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`site.gpkg` alone did not, beside a site.toml with [files] or [read] crs."""
    settings, files = SITES[name]
    folder = make_site(tmp_path / "site", settings=settings, files=files)
    before = read_site(folder)
    assert [each for each in before.findings if each.severity == "error"] == []
    out = tmp_path / "out"
    assert cli.run(["export", str(folder), "--format", "gpkg", "--out", str(out)]) == 0
    capsys.readouterr()
    assert cli.run(["check", str(out / "site"), "--out", str(tmp_path / "checked")]) == 0
    after = read_site(out / "site")
    codes = [each.code for each in before.findings]
    assert [each.code for each in after.findings] == codes, capsys.readouterr().out
    assert_same(after, before)


def assert_same(after: Site, before: Site) -> None:
    for table in (*TABLES, "cores", "treatments"):
        pd.testing.assert_frame_equal(
            plain(getattr(after, table)), plain(getattr(before, table)), obj=table
        )
    for table in TABLES[:4]:
        one, other = getattr(after, table).geometry, getattr(before, table).geometry
        assert one.crs == other.crs
        assert one.geom_equals(other).all()
    kept = {each.name for each in fields(SiteSettings)} - LEFT_OUT - {"crs"}
    for name in kept:
        assert getattr(after.settings, name) == getattr(before.settings, name), name
    assert after.settings.crs == (before.settings.crs or str(before.zones.crs))


def test_what_no_setting_knows_yet_is_written_too() -> None:
    """The file is copied as TOML, so that a setting added later needs no line here."""
    own = {
        "name": 'Käfer "& Sons" \\ \x7f',
        "later": [1, 2.5, True, "x"],
        "limits": [{"use": "tee", "dated": date(2026, 3, 1)}, {"source": "own"}],
        "designs": {'a "new" one': {"ratio": 2}, "cup": {}, "x": {"y": {"deep": -0.5}}},
        "none": [],
        "mixed": [{"a": 1}, 2],
    }
    assert tomllib.loads(site_toml(own, "EPSG:32617")) == {**own, "crs": "EPSG:32617"}


def test_what_is_about_the_original_files_is_left_out_but_their_size() -> None:
    own = {
        "name": "K",
        "crs": "EPSG:32624",
        "other_columns": ["round"],
        "files": {"visits": "v.csv"},
        "columns": {"visits": {"T": "trap_id"}},
        "local_grid": {"origin": [0, 0]},
        "read": {"decimal": ",", "visits": {"allow_large": True}},
    }
    text = site_toml(own, "EPSG:32617")
    assert text.startswith(SITE_TOML_MARK)
    kept = {"name": "K", "crs": "EPSG:32624", "read": {"allow_large": True}}
    assert tomllib.loads(text) == kept


LEAVES = st.text() | st.booleans() | st.integers() | st.floats(allow_nan=False)
DOCUMENTS = st.dictionaries(
    st.text(alphabet=st.characters(exclude_characters="\x7f", codec="utf-8"), min_size=1),
    st.recursive(
        LEAVES,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.just("k"), inner),
        max_leaves=8,
    ),
    max_size=5,
)


@given(DOCUMENTS)
def test_any_document_is_written_so_that_toml_reads_it(document: dict[str, object]) -> None:
    assert tomllib.loads(toml(document)) == document
