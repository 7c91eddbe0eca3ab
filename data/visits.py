"""Checking visits: dates, exposures, and whether each trap was there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from data.checks import Check, Draft, Fault, findings_at, quoted
from data.findings import Finding
from data.suggestions import did_you_mean
from data.traps import ALWAYS, STILL

LONGEST_EXPOSURE_NIGHTS = 14
"""A trap that stood longer was not looked after, or a check is missing from the table."""

VISIT_KEY = ["trap_id", "checked_on"]
"""What tells one visit from another."""


@dataclass(frozen=True, slots=True)
class KnownTraps:
    """What the visits are checked against.

    Parameters
    ----------
    ids
        Every trap id in the file of traps, also of rows set aside.
    set_aside
        Traps of which at least one row was set aside.
    file
        Name of the file of traps, for messages.
    locations
        The sound trap rows with their `location_id`; see `data.traps.locations`.
    """

    ids: frozenset[str]
    set_aside: frozenset[str]
    file: str
    locations: pd.DataFrame


def visit_checks(traps: KnownTraps) -> list[Check]:
    """Return the checks of visits that do not look at counts, in order.

    Parameters
    ----------
    traps
        The traps of the site. When `traps.ids` is empty the traps could not be read, and nothing
        is said about unknown ones.
    """

    def unknown(draft: Draft) -> list[Finding]:
        return _unknown_trap(draft, traps) if traps.ids else []

    def nowhere(draft: Draft) -> list[Finding]:
        return _nowhere(draft, traps) if traps.ids else []

    return [unknown, _set_after_checked, _too_long, nowhere, _overlapping]


def place_visits(visits: pd.DataFrame, locations: pd.DataFrame) -> pd.Series[str]:
    """Find the location at which each visit's trap stood.

    Parameters
    ----------
    visits
        With `trap_id`, `set_on` and `checked_on`.
    locations
        With `trap_id`, `location_id`, `installed` and `removed`.

    Returns
    -------
    pandas.Series
        `location_id` on the index of `visits`; blank where the trap was nowhere on those nights.

    Examples
    --------
    >>> day = pd.to_datetime
    >>> visits = pd.DataFrame({"trap_id": ["T1"], "set_on": day(["2026-05-01"]),
    ...                        "checked_on": day(["2026-05-08"])}, index=[2])
    >>> places = pd.DataFrame({"trap_id": ["T1", "T1"], "location_id": ["T1/1", "T1/2"],
    ...                        "installed": day([None, "2026-05-01"]),
    ...                        "removed": day(["2026-05-01", None])})
    >>> place_visits(visits, places).loc[2]
    'T1/2'
    """
    lives = pd.DataFrame(
        {
            "trap_id": locations["trap_id"],
            "location_id": locations["location_id"],
            "start": locations["installed"].fillna(ALWAYS),
            "end": locations["removed"].fillna(STILL),
        }
    )
    pairs = visits[["trap_id", "set_on", "checked_on"]].assign(row=visits.index)
    pairs = pairs.merge(lives, on="trap_id")
    there = (pairs["start"] <= pairs["set_on"]) & (pairs["checked_on"] <= pairs["end"])
    found = pairs[there].drop_duplicates("row").set_index("row")["location_id"]
    return found.reindex(visits.index).fillna("")


def _unknown_trap(draft: Draft, traps: KnownTraps) -> list[Finding]:
    ids = draft.typed["trap_id"]
    fault = Fault(
        "IN-040",
        (ids != "") & ~ids.isin(traps.ids),
        lambda cell: f"trap {quoted(cell)} is not in {traps.file}",
        lambda cell: did_you_mean(cell, traps.ids, f"add it to {traps.file}, or mend the id"),
        "trap_id",
    )
    return findings_at(draft, fault)


def _set_after_checked(draft: Draft) -> list[Finding]:
    visits = draft.typed
    fault = Fault(
        "IN-030",
        visits["set_on"] >= visits["checked_on"],
        lambda cell: f"the trap was set on {cell}, not before the day it was checked",
        "mend one of the two dates",
        "set_on",
    )
    return findings_at(draft, fault)


def _too_long(draft: Draft) -> list[Finding]:
    visits = draft.typed
    nights = (visits["checked_on"] - visits["set_on"]).dt.days
    fault = Fault(
        "IN-031",
        (visits["status"] == "ok") & (nights > LONGEST_EXPOSURE_NIGHTS),
        nights.map("the trap stood for {:.0f} nights".format),
        f"mend the dates, or add the checks between (most: {LONGEST_EXPOSURE_NIGHTS} nights)",
        "set_on",
    )
    return findings_at(draft, fault)


def _nowhere(draft: Draft, traps: KnownTraps) -> list[Finding]:
    """Report visits whose trap stood at no usable place; once for each trap set aside."""
    good = draft.typed[draft.good()]
    nowhere = good[place_visits(good, traps.locations) == ""]
    aside = nowhere["trap_id"].isin(traps.set_aside)
    fix = f"mend the dates here, or installed and removed in {traps.file}"
    homeless = "the trap was not in place for all of these nights"
    first = nowhere[aside].drop_duplicates("trap_id")
    orphans = "visits of trap {!r} cannot be placed, for a row of it was set aside".format
    faults = [
        Fault("IN-033", _rows(draft, nowhere.index[~aside]), homeless, fix, "checked_on"),
        Fault("IN-044", _rows(draft, first.index), orphans, f"mend it in {traps.file}", "trap_id"),
    ]
    return [finding for fault in faults for finding in findings_at(draft, fault)]


def _overlapping(draft: Draft) -> list[Finding]:
    """Report visits whose nights an earlier visit of the trap already covers.

    A trap that was not checked was not emptied: its nights belong to the next visit too.
    """
    visits = draft.typed[draft.good() & (draft.typed["status"] != "not_checked")]
    visits = visits.assign(row=visits.index).drop_duplicates(VISIT_KEY)
    visits = visits.sort_values(["trap_id", "set_on", "checked_on", "row"])
    ends = visits.groupby("trap_id")["checked_on"].cummax()
    clash = visits["set_on"] < ends.groupby(visits["trap_id"]).shift()
    suspects = visits[visits["trap_id"].isin(visits["trap_id"][clash])]
    later = [row for _, trap in suspects.groupby("trap_id") for row in _later_rows(trap)]
    fault = Fault(
        "IN-032",
        _rows(draft, later),
        lambda cell: f"on {cell} the trap was still set for an earlier visit",
        "mend the dates of one of the two visits",
        "set_on",
    )
    return findings_at(draft, fault)


def _later_rows(visits: pd.DataFrame) -> list[int]:
    """Return the rows that start before the last accepted row of their trap has ended."""
    later: list[int] = []
    end = ALWAYS
    for row, start, stop in zip(visits.index, visits["set_on"], visits["checked_on"], strict=True):
        if start < end:
            later.append(int(row))
        else:
            end = stop
    return later


def _rows(draft: Draft, rows: Iterable[int]) -> pd.Series[bool]:
    return pd.Series(draft.typed.index.isin(list(rows)), index=draft.typed.index)
