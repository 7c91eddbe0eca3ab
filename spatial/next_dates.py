"""What comes next at a site, with its days: the next round, grubs due, an effect that can be told.

Only days that follow from the site's own files and settings are given. A plan has no day of its
own: when something is done is for people to say.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from spatial.results import Analysis
from spatial.seasons import season_bounds

KINDS = (
    "next_check",
    "season_over",
    "larvae_due",
    "cores_time",
    "cores_warmth",
    "effect_told",
    "plan_open",
)
"""What a date is of: the next round, the end of this season and the start of the next, the first
day on which larvae are due by the site's own settings, the time for soil cores by earlier
seasons or by the site's own relation to degree-days, the day from which the effect of the last
treatment can be told, and a plan without a day."""


@dataclass(frozen=True, slots=True)
class NextDate:
    """Something that comes next.

    Parameters
    ----------
    kind
        One of `KINDS`.
    first, last
        Its days; None where there is none. Of ``"season_over"``, first is the start of the next
        season and last the end of this one.
    seasons
        Earlier seasons behind it; 0 where it rests on none.
    """

    kind: str
    first: date | None = None
    last: date | None = None
    seasons: int = 0


def next_dates(analysis: Analysis, *, planned: bool) -> tuple[NextDate, ...]:
    """Return what comes next, in order of time; what has no day comes last.

    A new kind of date is one more list here, its code in `KINDS` and its words in
    `maps/languages/en.toml`.

    Parameters
    ----------
    analysis
        What one weekly run found.
    planned
        Whether there is a treatment plan that waits for a decision.
    """
    cores = _cores(analysis)
    found = [*_round(analysis), *(cores or _larvae(analysis)), *_effect(analysis)]
    dated = sorted(found, key=lambda each: each.first or each.last or date.max)
    return (*dated, *([NextDate("plan_open")] if planned else []))


def _round(analysis: Analysis) -> list[NextDate]:
    """Return the days of the next weekly round, or the end of the season and the next start."""
    season = analysis.season
    monday = season.cutoff + timedelta(days=7 - season.cutoff.weekday())
    if monday > season.end:
        bounds = season_bounds(season.start + timedelta(days=367), analysis.site.settings.season)
        return [NextDate("season_over", bounds[0], season.end)]
    return [NextDate("next_check", monday, min(monday + timedelta(days=6), season.end))]


def _larvae(analysis: Analysis) -> list[NextDate]:
    due = analysis.rule.due_from if analysis.rule else None
    wanted = any(each.limits.larvae for each in analysis.decisions)
    if due is None or not wanted or due <= analysis.season.cutoff:
        return []
    return [NextDate("larvae_due", due)]


def _cores(analysis: Analysis) -> list[NextDate]:
    """Return the time for soil cores, until it is over; not before larvae count by the settings."""
    windows = analysis.when.calendar if analysis.when else ()
    due = [each.first for each in _larvae(analysis) if each.first]
    kinds = {"own_fit": "cores_warmth", "past_seasons": "cores_time"}
    found = []
    for each in windows:
        first = max(each.first, *due) if due else each.first
        open_ = max(first, analysis.season.cutoff) < each.last
        if each.what == "cores" and each.basis in kinds and open_:
            seasons = each.seasons if each.basis == "past_seasons" else 0
            found.append(NextDate(kinds[each.basis], first, each.last, seasons))
    return found


def _effect(analysis: Analysis) -> list[NextDate]:
    """Return the end of the nights after the last treatment, where it is still to come."""
    table, cutoff = analysis.site.treatments, analysis.season.cutoff
    if table.empty:
        return []
    days = table.loc[table["applied_on"] <= pd.Timestamp(cutoff), "applied_on"]
    if days.empty:
        return []
    wait = timedelta(days=analysis.site.settings.treatment.after_nights)
    last = days.max().date() + wait
    return [NextDate("effect_told", None, last)] if last > cutoff else []
