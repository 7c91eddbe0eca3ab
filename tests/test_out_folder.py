"""Where the files of a run go: never into the current folder by a slip, never over another site."""

from __future__ import annotations

from pathlib import Path

import pytest
from sites import make_site

from scripts import cli
from scripts.out_folder import default_folder

COMMANDS = ("weekly", "sheet", "export", "check")


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Make an empty folder the current one."""
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.delenv("SNOUTLINE_DEBUG", raising=False)
    return folder


@pytest.mark.parametrize("blank", ["", "  "])
@pytest.mark.parametrize("command", COMMANDS)
def test_a_blank_folder_is_wrong_usage_and_nothing_is_written(
    command: str, blank: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(here / "north")
    assert cli.run([command, "north", "--out", blank]) == 2
    assert "name a folder, or leave --out away" in capsys.readouterr().err
    assert [path.name for path in here.iterdir()] == ["north"]


@pytest.mark.parametrize("command", ["sheet", "export", "check"])
def test_two_sites_of_one_folder_name_never_share_a_folder(
    command: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spoiled = {("visits.csv", 2, "parvulus"): "2l"}
    for folder in ("ann/north", "bob/north", "../north"):
        place = here / folder
        place.parent.mkdir(exist_ok=True)
        make_site(place, cells=spoiled)
        going = [] if command == "check" else ["--keep-going"]
        assert cli.run([command, folder, *going]) in (0, 3)
    out = capsys.readouterr().out
    written = sorted(path.parent for path in Path("snoutline-out").rglob("set-aside.csv"))
    assert len(set(written)) == 3
    assert all(str(folder) in out for folder in set(written))


def test_the_folder_repeats_the_path_of_the_site(here: Path) -> None:
    assert default_folder(Path("north")) == Path("snoutline-out/north")
    assert default_folder(here / "ann" / "north") == Path("snoutline-out/ann/north")
    assert default_folder(Path("ann/../ann/north")) == Path("snoutline-out/ann/north")


def test_a_site_elsewhere_is_told_apart_by_its_whole_path(here: Path) -> None:
    folders = {default_folder(Path(each)) for each in ("../north", "/north", "/a/north", "north")}
    assert len(folders) == 4
    assert default_folder(Path("../north")) == default_folder(here.parent / "north")


def test_the_site_may_be_the_current_folder(here: Path) -> None:
    """The folder of a site inside it, with the same name, is another one."""
    assert default_folder(Path()) != default_folder(Path("here"))
    assert default_folder(Path()).parts[1].startswith("here-")
