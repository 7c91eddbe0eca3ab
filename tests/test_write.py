"""Files appear whole or not at all."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path

import pytest
from analyses import hostile_analysis, usual_analysis
from languages import EN

from maps.write import atomic_write, weekly_texts, write_texts


def test_text_is_written_as_utf8_with_its_own_line_ends(tmp_path: Path) -> None:
    atomic_write(tmp_path / "a.txt", "käfer\n\r\n")
    assert (tmp_path / "a.txt").read_bytes() == b"k\xc3\xa4fer\n\r\n"


def test_an_old_file_is_replaced(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    atomic_write(path, b"old and long")
    atomic_write(path, b"new")
    assert path.read_bytes() == b"new"
    assert os.listdir(tmp_path) == ["a.bin"]


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_failure_keeps_the_old_file_and_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def full(*arguments: object) -> None:
        raise OSError(28, "No space left on device")

    path = tmp_path / "a.csv"
    atomic_write(path, "old")
    monkeypatch.setattr(os, step, full)
    with pytest.raises(OSError, match="No space left"):
        atomic_write(path, "new")
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["a.csv"]


def test_being_stopped_half_way_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(descriptor: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        atomic_write(tmp_path / "a.csv", "new")
    assert os.listdir(tmp_path) == []


def test_a_missing_folder_is_an_error_of_the_system(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="no-such-folder"):
        atomic_write(tmp_path / "no-such-folder" / "a.csv", "x")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such permission bits")
def test_others_may_read_what_the_user_lets_them(tmp_path: Path) -> None:
    """The file has the usual permissions, not the private ones of a temporary file."""
    old = os.umask(0o022)
    try:
        atomic_write(tmp_path / "a.csv", "x")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a.csv").stat().st_mode) == 0o644


def test_a_folder_is_made_and_paths_come_in_order(tmp_path: Path) -> None:
    folder = tmp_path / "made" / "here"
    paths = write_texts({"b.txt": "1", "a.txt": "2"}, folder)
    assert paths == [folder / "b.txt", folder / "a.txt"]
    assert [path.read_text() for path in paths] == ["1", "2"]


def test_a_weekly_run_has_these_files() -> None:
    assert list(weekly_texts(usual_analysis(), EN)) == [
        "activity-map.html",
        "zones.csv",
        "traps.csv",
        "suggested-traps.geojson",
        "suggested-traps.gpx",
        "summary.json",
    ]


@pytest.mark.parametrize("sketched", [usual_analysis, hostile_analysis])
def test_the_same_analysis_gives_the_same_bytes(sketched) -> None:
    assert weekly_texts(sketched(), EN) == weekly_texts(sketched(), EN)
