"""Checking visits: dates, exposures, and whether each trap was there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from data.checks import Check, Draft, Fault, findings_at, quoted, rows_of
from data.findings import Finding
from data.ids import unknown_fix
from data.settings import SeasonWindow
from data.suggestions import close_names
from data.traps import ALWAYS, STILL
from data.windows import season_years

LONGEST_EXPOSURE_NIGHTS = 14
"""A trap that stood longer was not looked after, or a check is missing from the table."""

LARGEST_SILENCE_DAYS = 730
"""Visits this far from all others, and few, are in the wrong year (common practice, no source)."""

SMALLEST_SHARE = 0.05
"""Share of all visits up to which such visits are few."""

VISIT_KEY = ["trap_id", "checked_on"]
"""What tells one visit from another."""

_EXPOSURE = ("trap_id", "set_on", "checked_on")
"""Columns that say which nights of which trap a visit covers."""


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


def visit_checks(traps: KnownTraps, season: SeasonWindow | None = None) -> list[Check]:
    """Return the checks of visits that do not look at counts, in order.

    Parameters
    ----------
    traps
        The traps of the site. When `traps.ids` is empty the traps could not be read, and nothing
        is said about unknown ones.
    season
        The part of a year that is one season; None says nothing about seasons and gaps.
    """

    def unknown(draft: Draft) -> list[Finding]:
        return _unknown_trap(draft, traps) if traps.ids else []

    def nowhere(draft: Draft) -> list[Finding]:
        return _nowhere(draft, traps) if traps.ids else []

    def unused(draft: Draft) -> list[Finding]:
        return [] if season is None else _outside_seasons(draft, season)

    def gaps(draft: Draft) -> list[Finding]:
        return [] if season is None else _gaps(draft, season, traps)

    return [
        unknown,
        _set_after_checked,
        _too_long,
        _odd_year,
        nowhere,
        _overlapping,
        unused,
        gaps,
    ]


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
    unknown = (ids != "") & ~ids.isin(traps.ids)
    fault = Fault(
        "IN-040",
        unknown,
        lambda cell: f"trap {quoted(cell)} is not in {traps.file}",
        unknown_fix(draft.text["trap_id"][unknown], traps.ids, traps.file),
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
    good = draft.typed[draft.good(*_EXPOSURE)]
    nowhere = good[place_visits(good, traps.locations) == ""]
    aside = nowhere["trap_id"].isin(traps.set_aside)
    fix = f"mend the dates here, or installed and removed in {traps.file}"
    homeless = "the trap was not in place for all of these nights"
    first = nowhere[aside].drop_duplicates("trap_id")
    orphans = "visits of trap {!r} cannot be placed, for a row of it was set aside".format
    faults = [
        Fault("IN-033", rows_of(draft, nowhere.index[~aside]), homeless, fix, "checked_on"),
        Fault(
            "IN-044", rows_of(draft, first.index), orphans, f"mend it in {traps.file}", "trap_id"
        ),
    ]
    return [finding for fault in faults for finding in findings_at(draft, fault)]


def _overlapping(draft: Draft) -> list[Finding]:
    """Report visits whose nights an earlier visit of the trap already covers.

    A trap that was not checked was not emptied: its nights belong to the next visit too.
    """
    checked = draft.good(*_EXPOSURE, "status") & (draft.typed["status"] != "not_checked")
    visits = draft.typed[checked]
    visits = visits.assign(row=visits.index).drop_duplicates(VISIT_KEY)
    visits = visits.sort_values(["trap_id", "set_on", "checked_on", "row"])
    ends = visits.groupby("trap_id")["checked_on"].cummax()
    clash = visits["set_on"] < ends.groupby(visits["trap_id"]).shift()
    suspects = visits[visits["trap_id"].isin(visits["trap_id"][clash])]
    later = pd.Series(
        {row: at for _, trap in suspects.groupby("trap_id") for row, at in _later_rows(trap)},
        dtype=object,
    )
    told = draft.text["set_on"].loc[later.index].map("on {} the trap was still set for ".format)
    fault = Fault(
        "IN-032",
        rows_of(draft, later.index),
        told + later.map("the visit in row {}".format),
        "mend the dates of one of the two visits",
        "set_on",
    )
    return findings_at(draft, fault)


def _later_rows(visits: pd.DataFrame) -> list[tuple[int, int]]:
    """Return the rows that start before the last accepted row of their trap has ended, and it."""
    later: list[tuple[int, int]] = []
    end, accepted = ALWAYS, 0
    for row, start, stop in zip(visits.index, visits["set_on"], visits["checked_on"], strict=True):
        if start < end:
            later.append((int(row), accepted))
        else:
            end, accepted = stop, int(row)
    return later


def _odd_year(draft: Draft) -> list[Finding]:
    """Report the few visits that lie years from all others: they would set the default week."""
    good = draft.typed[draft.good("set_on", "checked_on")]
    days = good["checked_on"].dropna().sort_values()
    block = (days.diff() > pd.Timedelta(days=LARGEST_SILENCE_DAYS)).cumsum()
    share = block.groupby(block).transform("size") / max(len(block), 1)
    fault = Fault(
        "IN-048",
        rows_of(draft, share.index[share <= SMALLEST_SHARE]),
        lambda cell: f"{cell} is more than two years from nearly all other visits",
        "check the year of both dates",
        "checked_on",
    )
    return findings_at(draft, fault)


def _outside_seasons(draft: Draft, season: SeasonWindow) -> list[Finding]:
    days = draft.typed["checked_on"]
    outside = draft.good(*_EXPOSURE) & days.notna() & season_years(days, season).isna()
    fault = Fault(
        "IN-039",
        outside,
        lambda cell: f"{cell} lies outside the season, {season.start} to {season.end}",
        "it is used nowhere; if it should be, widen [season] in site.toml",
        "checked_on",
        "warning",
    )
    return findings_at(draft, fault)


def _gaps(draft: Draft, season: SeasonWindow, traps: KnownTraps) -> list[Finding]:
    """Report nights of a season between two visits of a trap that neither of them covers.

    Rows with another mistake still tell where the trap was; a row whose own dates are wrong, or
    that names a trap nearly right, may well be the missing one.
    """
    visits = _meant_visits(draft, traps).assign(row=draft.typed.index)
    # Dates in the wrong year are as good as none.
    days = ["set_on", "checked_on"]
    visits[days] = visits[days].mask(rows_of(draft, _coded(draft, "IN-048")))
    visits = visits.assign(season=season_years(visits["set_on"], season))
    broken = ~(visits["set_on"] < visits["checked_on"])
    sound = visits[~broken & visits["season"].notna()]
    sound = sound.sort_values(["place", "season", "set_on", "checked_on", "row"])
    keys = [sound["place"], sound["season"]]
    ends = sound.groupby(["place", "season"])["checked_on"].cummax().groupby(keys).shift()
    gaps = sound.assign(end=ends)[sound["set_on"] > ends]
    stray = ~broken & ~visits["trap_id"].isin(traps.ids) & bool(traps.ids)
    gaps = gaps[~_excused(gaps, visits[broken]) & ~_filled(gaps, visits[stray])]
    nights = (gaps["set_on"] - gaps["end"]).dt.days
    told = nights.map("{:.0f} nights before this visit are in no visit".format)
    fault = Fault(
        "IN-038",
        rows_of(draft, gaps.index),
        told,
        "add the missing visit, with status not_checked if the trap was closed; or mend set_on",
        "set_on",
        "warning",
    )
    return findings_at(draft, fault)


def _meant_visits(draft: Draft, traps: KnownTraps) -> pd.DataFrame:
    """Return trap, place and dates of every row, with the trap that a mistyped id stands for."""
    visits = draft.typed[["trap_id", "set_on", "checked_on"]]
    if not traps.ids:
        return visits.assign(place=visits["trap_id"])
    meant = close_names(set(visits["trap_id"]) - traps.ids, traps.ids)
    visits = visits.assign(trap_id=visits["trap_id"].map(lambda name: meant.get(name, name)))
    return visits.assign(place=place_visits(visits, traps.locations).to_numpy())


def _excused(gaps: pd.DataFrame, broken: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Return True on gaps that a row of the trap with wrong dates may fill."""
    found = np.zeros(len(gaps), dtype=bool)
    suspects = set(broken["trap_id"])
    for place in np.flatnonzero(gaps["trap_id"].isin(suspects)):
        gap = gaps.iloc[place]
        rows = broken[broken["trap_id"] == gap["trap_id"]]
        days = pd.concat([rows["set_on"], rows["checked_on"]])
        near = days.between(gap["end"], gap["set_on"])
        found[place] = bool(near.any() or rows[["set_on", "checked_on"]].isna().any(axis=None))
    return found


def _filled(gaps: pd.DataFrame, stray: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Return True on gaps in whose nights a trap that nobody knows was visited."""
    starts = np.sort(stray["set_on"].to_numpy())
    ends = np.sort(stray["checked_on"].to_numpy())
    begun = np.searchsorted(starts, gaps["set_on"].to_numpy(), side="left")
    over = np.searchsorted(ends, gaps["end"].to_numpy(), side="right")
    return np.asarray(begun > over, dtype=bool)


def _coded(draft: Draft, code: str) -> list[int]:
    return [each.row for each in draft.findings if each.code == code and each.row is not None]
