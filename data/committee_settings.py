"""The `[committee]` section of `site.toml`: notes that only the user can write."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

MOST_LETTERS = 280
"""A longer note would push the rest off the one page."""


@dataclass(frozen=True, slots=True)
class CommitteeSettings:
    """What the committee page says in the user's own words; up to 280 letters each.

    Parameters
    ----------
    water
        How water is kept safe: ponds, drains, wells.
    pollinators
        How bees and other pollinators are kept safe, and who is told.
    players
        What it means for those who use the ground: closures, days, re-entry.
    notes
        Anything else.

    Examples
    --------
    >>> CommitteeSettings(water="25 ft are kept to the pond.").pollinators
    ''
    """

    water: str = ""
    pollinators: str = ""
    players: str = ""
    notes: str = ""


Problem = tuple[str, str]
"""Key inside `[committee]`, and what is wrong with its value."""


def parse_committee(table: Mapping[str, Any]) -> tuple[CommitteeSettings, list[Problem]]:
    """Check and type the `[committee]` table of a `site.toml`.

    Returns
    -------
    CommitteeSettings, list
        The settings, and every problem; with a problem the settings are not to be used.

    Examples
    --------
    >>> settings, problems = parse_committee({"players": "Hole 9 is closed until noon."})
    >>> settings.players, problems
    ('Hole 9 is closed until noon.', [])
    >>> parse_committee({"water": 25})[1]
    [('water', 'expected text in quotation marks, found 25')]
    """
    known = [each.name for each in fields(CommitteeSettings)]
    problems = [
        (key, f"there is no such setting; it may be one of {', '.join(known)}")
        for key in table
        if key not in known
    ]
    texts = {}
    for key in known:
        if key in table:
            problem = _problem(table[key])
            problems += [(key, problem)] if problem else []
            texts[key] = "" if problem else " ".join(table[key].split())
    return CommitteeSettings(**texts), problems


def _problem(value: object) -> str:
    if not isinstance(value, str):
        return f"expected text in quotation marks, found {value!r}"
    letters = len(" ".join(value.split()))
    if letters > MOST_LETTERS:
        return f"it has {letters} letters, and one page has room for {MOST_LETTERS}; shorten it"
    return ""
