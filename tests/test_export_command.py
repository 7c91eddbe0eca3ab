"""`snoutline export`: what is written where, and what is refused."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from sites import make_site

from scripts import cli

FILES = {
    "gpkg": ["site.gpkg"],
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
    assert err == ""
    assert sorted(path.name for path in folder.iterdir()) == sorted(ALL_FILES)
    assert {path.name: path.read_bytes() for path in site.iterdir()} == before


@pytest.mark.parametrize("name", FILES)
def test_one_format_writes_its_files_alone(site: Path, name: str) -> None:
    assert cli.run(["export", str(site), "--out", "given", "--format", name]) == 0
    assert sorted(path.name for path in Path("given").iterdir()) == sorted(FILES[name])


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


def test_a_row_set_aside_is_told_and_counted(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    visits = (site / "visits.csv").read_text()
    (site / "visits.csv").write_text(visits.replace("ok,1,1,1", "ok,2l,1,1", 1))
    assert cli.run(["export", str(site), "--format", "gpx"]) == 0
    assert "row set aside: visits.csv row 2, column parvulus" in capsys.readouterr().err
    assert "rows set aside 1" in Path("snoutline-out/north-course/traps.gpx").read_text()
