"""A season looked back on: where, when, what the treatments did, and what the traps could tell."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from data.site import Site
from spatial.exposure import catch_rate, season_visits
from spatial.network_report import NetworkReport, NetworkWish, network_report, week_of_season
from spatial.ratios import ratio_by_design
from spatial.results import Analysis
from spatial.season_report import SeasonReport, season_report
from spatial.seasons import iso_week
from spatial.treatment_effects import Course, treatment_effects

NEW_TRAPS = 5
"""Places for new traps that a review names at most."""

LEAST_LOST = 3
"""A trap is named for lost visits from so many on, if they are a quarter of its visits or more
(common practice, no source)."""


@dataclass(frozen=True, slots=True)
class RoundsKept:
    """How the traps were checked.

    Parameters
    ----------
    weeks
        ISO weeks with a visit.
    missed
        ISO weeks without one between the first and the last, in order.
    visits, counted
        Visits, and those that gave a count.
    losers
        `trap_id`, `lost`, `visits` of traps that gave no count in `LEAST_LOST` visits or more and
        in a quarter of them or more; most lost first.
    """

    weeks: int
    missed: tuple[str, ...]
    visits: int
    counted: int
    losers: pd.DataFrame


@dataclass(frozen=True, slots=True)
class EffectTally:
    """What can be said of the season's treatments.

    Parameters
    ----------
    treatments
        Treatments of a zone.
    less, more, unsure
        How often the catch was surely lower than in the untreated zones, surely higher, and
        neither.
    untold
        Reason (`spatial.efficacy.CANNOT_TELL`) -> how often nothing can be said.
    """

    treatments: int
    less: int
    more: int
    unsure: int
    untold: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class SeasonReview:
    """A whole season.

    Parameters
    ----------
    network
        What the traps could carry, and places for the next season; holds the analysis.
    when
        Its dates, beside earlier seasons.
    courses
        The treatments of the season, in the order of their days.
    effects
        What they did, counted.
    rounds
        How the traps were checked.
    months
        First day of a month -> `location_id`, `adults`, `nights`, `rate` (adults per trap-week of
        the reference design) of every trap with a countable visit whose middle lies in it.
    """

    network: NetworkReport
    when: SeasonReport
    courses: tuple[Course, ...]
    effects: EffectTally
    rounds: RoundsKept
    months: Mapping[date, pd.DataFrame]

    @property
    def analysis(self) -> Analysis:
        """Return what is known at the season's end."""
        return self.network.analysis


def season_review(site: Site, label: str) -> SeasonReview:
    """Return a season looked back on.

    Parameters
    ----------
    site
        The checked site.
    label
        Year in which the season starts, ``"2025"``.

    Raises
    ------
    data.findings.SettingsError
        If no visit lies in that season.
    """
    week = week_of_season(site, label)
    network = network_report(site, week, NetworkWish(NEW_TRAPS, next_season=True))
    season = network.analysis.season
    found = treatment_effects(site, week)
    courses = tuple(each for each in found.courses if each.effect.applied_on >= season.start)
    visits = season_visits(site.visits, season)
    names = site.traps.set_index("location_id")["trap_id"].astype(str)
    return SeasonReview(
        network=network,
        when=season_report(site, week, ()),
        courses=courses,
        effects=effect_tally(courses),
        rounds=rounds_kept(visits, names),
        months=month_catches(visits, _ratios(network.analysis)),
    )


def rounds_kept(visits: pd.DataFrame, names: pd.Series[str]) -> RoundsKept:
    """Return how the traps were checked.

    Parameters
    ----------
    visits
        From `spatial.exposure.season_visits`.
    names
        `trap_id` by location id.

    Examples
    --------
    >>> days = pd.to_datetime(["2026-05-03", "2026-05-17"] * 2)
    >>> seen = pd.DataFrame({"location_id": ["a", "a", "b", "b"], "checked_on": days,
    ...                      "status": ["ok", "ok", "ok", "flooded"]})
    >>> found = rounds_kept(seen, pd.Series({"a": "T1", "b": "T2"}))
    >>> found.weeks, found.missed, found.visits, found.counted
    (2, ('2026-W19',), 4, 3)
    """
    weeks = sorted(set(iso_week(visits["checked_on"])))
    first, last = visits["checked_on"].min(), visits["checked_on"].max()
    every = iso_week(pd.Series(pd.date_range(first, last)))
    seen = set(weeks)
    lost = visits["status"] != "ok"
    by_trap = lost.groupby(visits["location_id"].map(names)).agg(["sum", "size"])
    table = by_trap.rename_axis("trap_id").reset_index()
    table = table.rename(columns={"sum": "lost", "size": "visits"})
    named = (table["lost"] >= LEAST_LOST) & (table["lost"] >= table["visits"] / 4)
    return RoundsKept(
        weeks=len(weeks),
        missed=tuple(week for week in dict.fromkeys(every) if week not in seen),
        visits=len(visits),
        counted=int((~lost).sum()),
        losers=table[named].sort_values(
            ["lost", "trap_id"], ascending=[False, True], ignore_index=True
        ),
    )


def effect_tally(courses: Sequence[Course]) -> EffectTally:
    """Return what can be said of treatments, counted."""
    told = [each.effect for each in courses if not each.effect.reason]
    less = sum(each.low > 0 for each in told)
    more = sum(each.high < 0 for each in told)
    untold = Counter(each.effect.reason for each in courses if each.effect.reason)
    return EffectTally(len(courses), less, more, len(told) - less - more, dict(untold))


def month_catches(visits: pd.DataFrame, ratios: Mapping[str, float]) -> dict[date, pd.DataFrame]:
    """Return the catch of every trap by month; a visit counts in the month of its middle.

    Parameters
    ----------
    visits
        From `spatial.exposure.season_visits`.
    ratios
        Location id -> catch of its design relative to the reference; others are left out.

    Examples
    --------
    >>> days = pd.to_datetime(["2026-04-27", "2026-05-04"])
    >>> seen = pd.DataFrame({"location_id": "a", "set_on": days, "adults": [3.0, 5.0],
    ...                      "checked_on": days + pd.Timedelta(days=7), "nights": 7.0})
    >>> {str(day): table["rate"].tolist() for day, table in month_catches(seen, {"a": 2.0}).items()}
    {'2026-04-01': [1.5], '2026-05-01': [2.5]}
    """
    middle = visits["set_on"] + (visits["checked_on"] - visits["set_on"]) / 2
    month = middle.dt.to_period("M").dt.start_time
    nights = visits["nights"] * visits["location_id"].map(dict(ratios)).astype(float)
    kept = visits.assign(month=month, nights=nights)[nights > 0]
    sums = kept.groupby(["month", "location_id"])[["adults", "nights"]].sum().reset_index()
    sums = sums.assign(rate=catch_rate(sums["adults"], sums["nights"]))
    return {
        first.date(): sums[sums["month"] == first].drop(columns="month").reset_index(drop=True)
        for first in sorted(set(sums["month"]))
    }


def _ratios(analysis: Analysis) -> dict[str, float]:
    """Return the ratio of every trap whose design has one, by location."""
    known = ratio_by_design(analysis.ratios, analysis.reference_design)
    traps = analysis.traps
    return {
        str(location): known[design]
        for location, design in zip(traps["location_id"], traps["design"], strict=True)
        if design in known
    }
