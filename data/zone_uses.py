"""Uses of zones that are written nearly like another one: rules for that one would pass them by."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence

from data.checks import Check, Draft, Fault, findings_at, quoted
from data.findings import Finding
from data.suggestions import reading

KNOWN_USES = (
    *("green", "tee", "fairway", "rough", "surround", "field", "sod block", "lawn", "bunker"),
)
"""The usual words; any other word is allowed."""

_CLOSE = 0.8
_SHORTEST = 4
_DIGITS = re.compile("[0-9]+")


def use_checks() -> list[Check]:
    """Return the checks of the uses of zones."""
    return [_misspelt_uses]


def _misspelt_uses(draft: Draft) -> list[Finding]:
    """Tell once of each use that differs by a slip from a usual word or a more frequent use."""
    uses = draft.typed["use"]
    counts = uses[uses != ""].value_counts()
    meant = {
        use: _meant(use, [name for name in counts.index if counts[name] > counts[use]])
        for use in counts.index
        if use not in KNOWN_USES
    }
    slips = {use: name for use, name in meant.items() if name is not None}
    fault = Fault(
        "IN-104",
        uses.isin(list(slips)) & ~uses.duplicated(),
        lambda cell: f"the use {quoted(cell)} is written nearly like {slips[cell]!r}",
        lambda cell: (
            f"if it is the same, write {slips[cell]!r}: uses are told apart by each letter"
        ),
        "use",
        "warning",
    )
    return findings_at(draft, fault)


def _meant(use: str, names: Sequence[str]) -> str | None:
    """Return the name that a use is a slip of; names that differ in a number are two.

    Examples
    --------
    >>> _meant("fariway", []), _meant("Tee", ["tee"]), _meant("tree", ["tee"]), _meant("Rough", [])
    ('fairway', 'tee', None, None)
    >>> _meant("block 1", ["block 2"]) is None
    True
    """
    alike = [name for name in names if _DIGITS.findall(name) == _DIGITS.findall(use)]
    same = [name for name in alike if reading(name) == reading(use)]
    if same or reading(use) in map(reading, KNOWN_USES):
        return next(iter(same), None)
    # Of short words a letter more or less makes another one.
    long = {name.lower(): name for name in (*reversed(alike), *KNOWN_USES) if len(name) > _SHORTEST}
    close = difflib.get_close_matches(use.lower(), sorted(long), n=1, cutoff=_CLOSE)
    return long[close[0]] if close else None
