"""`snoutline export`: what is written where, and what is refused."""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path

import pytest
from sites import make_site

from scripts import cli

FILES = {
    "gpkg": ["site/site.toml", "site/site.gpkg"],
    "gpx": ["traps.gpx"],
    "geojson": ["traps.geojson", "zones.geojson"],
    "dwca": ["darwin-core.zip"],
}
ALL_FILES = [name for names in FILES.values() for name in names]


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Make a site; the current directory is above it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SNOUTLINE_DEBUG", raising=False)
    return make_site(tmp_path / "north-course")


def files_in(folder: Path) -> list[str]:
    """Return the files of a folder and of those below it."""
    below = (path for path in folder.rglob("*") if path.is_file())
    return sorted(path.relative_to(folder).as_posix() for path in below)


def events(path: Path) -> str:
    with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as archive:
        return archive.read("event.txt").decode()


def test_all_files_go_to_the_usual_folder_and_are_named(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = {path.name: path.read_bytes() for path in site.iterdir()}
    assert cli.run(["export", str(site)]) == 0
    out, err = capsys.readouterr()
    folder = Path("snoutline-out/north-course")
    assert out.splitlines() == [str(folder / name) for name in ALL_FILES]
    assert err == "snoutline: All 157 rows of the files are used.\n"
    assert files_in(folder) == sorted(ALL_FILES)
    assert {path.name: path.read_bytes() for path in site.iterdir()} == before


@pytest.mark.parametrize("name", FILES)
def test_one_format_writes_its_files_alone(site: Path, name: str) -> None:
    assert cli.run(["export", str(site), "--out", "given", "--format", name]) == 0
    assert files_in(Path("given")) == sorted(FILES[name])


def test_a_second_run_gives_the_same_bytes(site: Path) -> None:
    for folder in ("one", "two"):
        assert cli.run(["export", str(site), "--out", folder]) == 0
    for name in ALL_FILES:
        assert Path("one", name).read_bytes() == Path("two", name).read_bytes()


def test_the_options_of_the_archive_reach_it(site: Path) -> None:
    options = ["--coarsen-m", "100", "--absence-word", "absent", "--week", "2026-W16"]
    assert cli.run(["export", str(site), "--out", "o", "--format", "dwca", *options]) == 0
    text = events(Path("o/darwin-core.zip"))
    assert "100 m grid" in text
    assert "2026-04-13" in text
    assert "2026-04-20" not in text
    with zipfile.ZipFile("o/darwin-core.zip") as archive:
        occurrences = archive.read("occurrence.txt").decode()
    assert "\tabsent\t" in occurrences
    assert "notDetected" not in occurrences


def test_notes_are_in_the_archive_only_when_asked_for(site: Path) -> None:
    visits = (site / "visits.csv").read_text()
    (site / "visits.csv").write_text(visits.replace("2.5,\n", "2.5,ask Ann\n", 1))
    for folder, option in (("quiet", []), ("told", ["--with-notes"])):
        arguments = ["export", str(site), "--out", folder, "--format", "dwca", *option]
        assert cli.run(arguments) == 0
    assert "ask Ann" not in events(Path("quiet/darwin-core.zip"))
    assert "ask Ann" in events(Path("told/darwin-core.zip"))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--week", "2026-19"], "is not an ISO 8601 week"),
        (["--week", "2026-W02"], "no visit was made by 2026-W02; the first is in 2026-W16"),
        (["--format", "dbf"], "'dbf' is not one of"),
        (["--coarsen-m", "-5"], "-5"),
        (["--absence-word", "none"], "'none' is not one of"),
        (["--out", "north-course"], "whose files are only read"),
    ],
)
def test_a_wrong_option_ends_with_2_and_writes_nothing(
    site: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], message: str
) -> None:
    before = sorted(path.name for path in site.iterdir())
    assert cli.run(["export", str(site), *arguments]) == 2
    assert message in capsys.readouterr().err
    assert not Path("snoutline-out").exists()
    assert sorted(path.name for path in site.iterdir()) == before


def test_an_unwritable_folder_is_told_plainly(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("taken").write_text("a file, not a folder")
    assert cli.run(["export", str(site), "--out", "taken/deep"]) == 2
    assert "the folder taken/deep cannot be written to" in capsys.readouterr().err


def test_unreadable_input_ends_with_3_and_writes_nothing(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (site / "visits.csv").unlink()
    assert cli.run(["export", str(site)]) == 3
    assert "visits" in capsys.readouterr().err
    assert not Path("snoutline-out").exists()


def spoiled(site: Path) -> Path:
    """Put two mistakes into one row of the visits."""
    visits = (site / "visits.csv").read_text()
    (site / "visits.csv").write_text(visits.replace("ok,1,1,1", "ok,2l,-1,1", 1))
    return site


def test_errors_stop_the_export_and_nothing_is_written(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["export", str(spoiled(site))]) == 3
    err = capsys.readouterr().err
    assert "hold 2 errors; nothing was written" in err
    assert "--keep-going goes on without those rows" in err
    assert not Path("snoutline-out").exists()


def test_a_row_set_aside_is_told_once_kept_and_counted(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["export", str(spoiled(site)), "--keep-going"]) == 0
    out, err = capsys.readouterr()
    assert err.count("row set aside:") == 1
    assert "row set aside: visits.csv row 2, column parvulus: '2l' is not a whole number" in err
    assert "; also column venatus: '-1' is negative" in err
    assert "Of 157 rows in the files, 156 are used and 1 is set aside with a mistake" in err
    folder = Path("snoutline-out/north-course")
    assert out.splitlines()[-1] == str(folder / "set-aside.csv")
    assert "visits.csv,2,parvulus,2l,IN-021," in (folder / "set-aside.csv").read_text()
    assert "rows read 157; rows set aside 1;" in (folder / "traps.gpx").read_text()


def test_the_provenance_counts_every_row_that_is_left_out(site: Path) -> None:
    """A trap takes its visits along: they hold no mistake of their own."""
    traps = (site / "traps.csv").read_text()
    (site / "traps.csv").write_text(traps.replace("T05,cup,", "T05,,", 1))
    assert cli.run(["export", str(site), "--keep-going", "--format", "gpx", "--out", "o"]) == 0
    with Path("o/set-aside.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 1 + 4
    assert f"rows set aside {len(rows)};" in Path("o/traps.gpx").read_text()


def test_the_folder_site_is_never_mixed_with_someone_elses(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither the site's own, nor another site, nor a lone table; an older export is renewed."""
    own = make_site(Path("own/site"))
    before = files_in(Path("own"))
    assert cli.run(["export", str(own), "--out", "own"]) == 2
    assert "holds other files" in capsys.readouterr().err
    assert cli.run(["export", str(site), "--out", "own"]) == 2
    assert files_in(Path("own")) == before
    Path("lone/site").mkdir(parents=True)
    Path("lone/site/zones.geojson").write_text("{}")
    assert cli.run(["export", str(site), "--out", "lone"]) == 2
    for _ in range(2):
        assert cli.run(["export", str(site), "--out", "again"]) == 0
    Path("again/site/site.gpkg-wal").write_bytes(b"")
    assert cli.run(["export", str(site), "--out", "again"]) == 0
    Path("again/site/traps.csv").write_text("mine")
    assert cli.run(["export", str(site), "--out", "again"]) == 2
