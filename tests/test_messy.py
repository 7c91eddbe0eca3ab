"""The messy twin of the demo: `check` finds every planted mistake and invents none."""

from __future__ import annotations

import json
from collections import Counter

from data.reading import read_site
from scripts import make_demo

MESSY = make_demo.DEMO / "messy"


def places() -> tuple[Counter[tuple[str, int, str, str]], Counter[tuple[str, int, str, str]]]:
    """Return what was planted and what was found: file, row, column, code."""
    planted = json.loads((MESSY / "planted.json").read_text("utf-8"))
    found = read_site(MESSY).findings
    return (
        Counter((each["file"], each["row"], each["column"], each["code"]) for each in planted),
        Counter((f.file, f.row or 0, f.column or "", f.code) for f in found),
    )


def test_every_planted_mistake_is_found_and_none_is_invented() -> None:
    planted, found = places()
    assert sorted(planted - found) == []
    assert sorted(found - planted) == []


def test_there_are_as_many_mistakes_of_as_many_kinds_as_promised() -> None:
    planted, _ = places()
    assert planted.total() >= 60
    assert len({code for *_, code in planted}) >= 25


def test_every_row_is_used_or_set_aside() -> None:
    account = read_site(MESSY).account
    for tally in account.tallies:
        if tally.file.endswith(".csv"):
            lines = (MESSY / tally.file).read_text("utf-8").count("\n") - 1
            assert tally.read == lines
        assert tally.read == tally.used + tally.set_aside + tally.out_of_season


def test_the_messy_files_are_what_the_generator_makes() -> None:
    made = make_demo.demo_files()
    assert {path.name for path in made if path.parent.name == "messy"} == {
        path.name for path in MESSY.iterdir()
    }
    assert make_demo.differing(made) == []
