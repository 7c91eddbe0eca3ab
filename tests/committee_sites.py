"""Sites in the five states that the committee page must read well in."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import numpy as np
from sites import SETTINGS, SPECIES, csv_tables, make_site

from data.reading import read_site
from maps.committee import CommitteePage, committee_page
from maps.language_file import english
from scripts.commands.committee import findings

DEMO = Path(__file__).resolve().parent.parent / "data" / "demo" / "site"
STATES = ("busy", "quiet", "undecided", "few_traps", "no_limit")

LIMIT = """
[[limits]]
adults_per_trap_week = {limit}
source = "grounds committee"
dated = "2026-03-01"
"""

NOTES = """
[committee]
water = "The pond at hole 9 keeps a strip of 25 ft. No drain lies in the zones."
pollinators = "Clover is mown the day before. The beekeeper next door hears of it two days ahead."
players = "Holes 5 and 10 open at noon on the day. A sign stands at the first tee."
notes = "The sod blocks are cut in June."

[treatment]
currency = "$"
exclusion_uses = ["green"]
[treatment.buffers]
water = "25 ft"
[treatment.adult]
rate = "0.5 fl oz/1000 ft2"
price = "62/gal"
application_cost = "20/acre"
"""

Rows = list[list[str]]


def state_site(state: str, folder: Path) -> Path:
    """Write the site of a state and return its folder."""
    makers = {
        "busy": _busy,
        "quiet": _quiet,
        "undecided": _undecided,
        "few_traps": _few_traps,
        "no_limit": _no_limit,
    }
    return makers[state](folder)


def state_page(state: str, folder: Path) -> CommitteePage:
    """Return the page of a state, in English."""
    return committee_page(findings(read_site(state_site(state, folder))), english())


def _copied(folder: Path) -> Path:
    shutil.copytree(DEMO, folder)
    return folder


def _busy(folder: Path) -> Path:
    toml = _copied(folder) / "site.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + NOTES, encoding="utf-8")
    return folder


def _quiet(folder: Path) -> Path:
    """Return the demo with few beetles that know nothing of places, or of years."""
    path = _copied(folder) / "visits.csv"
    random = np.random.default_rng(11)
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    columns = [rows[0].index(name) for name in ("parvulus", "venatus", "cicatristriatus")]
    for row in rows[1:]:
        for column in columns:
            if row[column]:
                row[column] = str(random.negative_binomial(1, 0.85))
    path.write_text("\n".join(map(",".join, rows)) + "\n", encoding="utf-8")
    return folder


def _no_limit(folder: Path) -> Path:
    toml = _copied(folder) / "site.toml"
    before, _, rest = toml.read_text(encoding="utf-8").partition("# What an invented committee")
    decision = rest.partition("[decision]")[2]
    toml.write_text(f"{before}\n[decision]{decision}", encoding="utf-8")
    return folder


def _undecided(folder: Path) -> Path:
    return make_site(folder, settings=SETTINGS + LIMIT.format(limit=3.4))


def _few_traps(folder: Path) -> Path:
    """Return the tiny site with nine of its traps."""
    kept = {f"T{n:02d}" for n in range(1, 10)} | {"trap_id"}
    tables = csv_tables()
    texts: dict[str, str | bytes | None] = {
        name: "\n".join(",".join(row) for row in tables[name] if row[0] in kept) + "\n"
        for name in ("traps.csv", "visits.csv")
    }
    return make_site(folder, settings=SETTINGS + LIMIT.format(limit=12), files=texts)


__all__ = ["DEMO", "NOTES", "SPECIES", "STATES", "state_page", "state_site"]
