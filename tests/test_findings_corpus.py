"""The corpus of mistaken inputs: every mistake is found where it is, and nothing else is."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from sites import LONG_SETTINGS, SETTINGS, long_visits, make_site

from data.findings import Finding, InputError
from data.reading import read_site

CASES: list[dict[str, Any]] = (
    json.loads(path.read_text("utf-8"))
    if (path := Path(__file__).parent / "bad_inputs" / "cases.json").is_file()
    else []
)

Place = tuple[str, str, int, str]


def all_findings(site: Path) -> list[Finding]:
    """Read a site and return what was found, whether it could be used or not."""
    try:
        return list(read_site(site).findings)
    except InputError as error:
        return list(error.findings)


def build(case: dict[str, Any], folder: Path) -> tuple[Path, int]:
    """Write the spoiled site; return it and the last row of its visits."""
    long = case.get("layout") == "long"
    text = long_visits() + "".join(f"{line}\n" for line in case.get("visits", []))
    files: dict[str, str | bytes | None] = {"visits.csv": text} if long else {}
    if "weather" in case:
        files["weather.csv"] = case["weather"]
    site = make_site(
        folder,
        settings=case.get("settings", "") + (LONG_SETTINGS if long else SETTINGS),
        cells={(file, row, column): value for file, row, column, value in case.get("cells", [])},
        more=case.get("more", {}),
        files=files,
    )
    return site, text.count("\n")


def outcome(case: dict[str, Any], folder: Path) -> tuple[list[Place], list[Place], list[Finding]]:
    """Return the places that must be found, those that were, and the findings."""
    site, last = build(case, folder / "site")
    found = all_findings(site)
    wanted = [
        (code, file, row if row >= 0 else last + 1 + row, column)
        for code, file, row, column in case["found"]
    ]
    got = [(each.code, each.file, each.row or 0, each.column or "") for each in found]
    return sorted(wanted), sorted(got), found


@pytest.mark.parametrize("case", CASES, ids=lambda case: str(case["name"])[:60])
def test_each_mistake_is_found_where_it_is_and_nothing_else(
    case: dict[str, Any], tmp_path: Path
) -> None:
    """Each problem and each fix is a plain phrase."""
    wanted, got, found = outcome(case, tmp_path)
    assert got == wanted
    assert all(each.problem.strip() and each.fix.strip() for each in found)


def test_the_corpus_is_as_large_as_promised() -> None:
    assert len(CASES) >= 150
    assert len({case["name"] for case in CASES}) == len(CASES)
