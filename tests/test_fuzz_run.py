"""The fuzz run itself: it is the same each time, it spoils what it says, and it sees a defect."""

from __future__ import annotations

import json
import os
import random
import signal
import warnings
import zipfile
from pathlib import Path

import pytest

from data.archives import ZIP_START
from scripts.bench import fuzz_worker
from scripts.bench.fuzz import MOST_MB, MOST_SECONDS, Case, Reading, Tally, keep, made, table
from scripts.bench.fuzz_corpus import Seed, corpus
from scripts.bench.fuzz_files import _BY_SUFFIX

FORMS = {
    *("csv", "geojson", "gpkg", "gpx", "kml", "kmz", "ods", "parquet", "shp", "toml"),
    *("xlsx", "zip"),
}


@pytest.fixture(scope="module")
def seeds() -> list[Seed]:
    return corpus()


def grouped(seeds: list[Seed]) -> dict[str, list[Seed]]:
    return {form: [seed for seed in seeds if seed.form == form] for form in sorted(FORMS)}


def test_the_corpus_has_every_format_that_the_readers_take(seeds: list[Seed]) -> None:
    assert {seed.form for seed in seeds} == FORMS
    assert {seed.name.split()[0] for seed in seeds} == {"demo", "messy"}


@pytest.mark.parametrize("form", sorted(FORMS))
def test_a_seed_is_read_before_it_is_spoiled(form: str, seeds: list[Seed], tmp_path: Path) -> None:
    """Otherwise every input of the format would be refused at the door."""
    seed = next(each for each in seeds if each.form == form and each.name.startswith("demo"))
    for name, content in seed.files.items():
        (tmp_path / name).write_bytes(content)
    assert fuzz_worker.outcome(tmp_path) in ("clean", "findings")


def test_an_input_is_the_same_each_time_and_differs_from_the_next(seeds: list[Seed]) -> None:
    groups = grouped(seeds)
    for place in range(len(FORMS)):
        assert made(groups, 3, place) == made(groups, 3, place)
    assert made(groups, 3, 0) != made(groups, 4, 0)
    assert made(groups, 3, 0) != made(groups, 3, len(FORMS))


@pytest.mark.parametrize("suffix", sorted(_BY_SUFFIX))
def test_a_change_by_structure_works_and_changes_something(suffix: str, seeds: list[Seed]) -> None:
    """A change that always fails would leave only changed bytes, and nobody would notice."""
    wanted = {".xml": ".kml", ".rels": ".kml"}.get(suffix, suffix)
    content = next(
        text for seed in seeds for name, text in seed.files.items() if name.endswith(wanted)
    )
    spoiled = [_BY_SUFFIX[suffix](content, random.Random(number)) for number in range(30)]
    assert sum(each != content for each in spoiled) >= 20
    assert len(set(spoiled)) >= 15


def test_a_reading_is_a_defect_when_it_is_slow_large_or_ends_badly() -> None:
    assert Reading("findings", MOST_SECONDS, MOST_MB).faults == []
    assert Reading("InputError", 2.5, 0).faults == ["2.5 s"]
    assert Reading("clean", 0, 501).faults == ["501 MB"]
    assert Reading("KeyError", 0, 0).faults == ["KeyError"]
    assert Reading("crash (-11)", 0, 0).faults == ["crash (-11)"]


def test_the_table_counts_each_input_once() -> None:
    tally = Tally()
    for reading in (
        Reading("clean", 0.1, 3),
        Reading("findings", 2.5, 9),
        Reading("KeyError", 1, 1),
    ):
        tally.add(reading)
    head, row, total = table({"csv": tally})
    assert head.split()[:2] == ["format", "inputs"]
    assert row.split() == ["csv", "3", "1", "1", "0", "0", "2", "2.50", "9"]
    assert total.split()[1:] == row.split()[1:]


def test_a_defect_is_kept_whole(tmp_path: Path) -> None:
    case = Case("0-7-csv", "csv", {"site.toml": b"x", "traps.csv": b"\0\1"})
    line = keep(case, Reading("KeyError", 0, 0, "Trace\nKeyError: 'x'"), tmp_path / "kept")
    path = tmp_path / "kept" / "0-7-csv.zip"
    assert line == f"{path}: KeyError KeyError: 'x'"
    assert path.read_bytes().startswith(ZIP_START)
    with zipfile.ZipFile(path) as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == case.files


def test_a_crash_ends_only_its_child(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def crash(_folder: Path) -> str:
        os.kill(os.getpid(), signal.SIGKILL)
        return "clean"

    monkeypatch.setattr(fuzz_worker, "outcome", crash)
    with warnings.catch_warnings():
        # Python 3.12 warns of a fork beside threads; the child here ends at once.
        warnings.simplefilter("ignore", DeprecationWarning)
        answer = json.loads(fuzz_worker._in_child(tmp_path))
    assert answer["outcome"] == "crash (-9)"
    assert Reading(**answer).faults == ["crash (-9)"]


def test_an_exception_is_told_with_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_folder: Path) -> str:
        raise KeyError("zone_id")

    monkeypatch.setattr(fuzz_worker, "outcome", fail)
    reading = Reading(**fuzz_worker._timed(tmp_path))
    assert reading.faults == ["KeyError"]
    assert "in fail" in reading.detail
