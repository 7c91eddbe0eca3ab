"""What every treatment of a site did, with the weeks and the cold nights around it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd

from data.site import Site
from spatial.efficacy import Efficacy, countable_visits, efficacies, night_means_c
from spatial.exposure import catch_rate
from spatial.results import DesignRatio, Season
from spatial.seasons import choose_season
from spatial.site_ratios import site_ratios


@dataclass(frozen=True, slots=True)
class Course:
    """The weeks around one treatment.

    Parameters
    ----------
    effect
        What the treatment did.
    treated, untreated
        `checked_on`, `rate` (adults per trap-week of the reference design), `adults`, by day, of
        the treated zone and of the untreated ones.
    cold
        Nights of the window that were colder than the user's limit.
    """

    effect: Efficacy
    treated: pd.DataFrame
    untreated: pd.DataFrame
    cold: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class TreatmentEffects:
    """The effect of every treatment up to the cut-off.

    Parameters
    ----------
    site, season
        What was looked at.
    reference, ratios
        The design that rates refer to, and what the others catch relative to it.
    courses
        One per treated zone and day.
    """

    site: Site
    season: Season
    reference: str
    ratios: tuple[DesignRatio, ...]
    courses: tuple[Course, ...]


def treatment_effects(site: Site, week: str | None = None) -> TreatmentEffects:
    """Return what every treatment up to the end of a week did; earlier seasons are included.

    Parameters
    ----------
    site
        The checked site.
    week
        ISO week; None for the last with a visit.

    Raises
    ------
    data.findings.SettingsError
        If `week` is no ISO week or lies outside every season with visits.
    """
    season = choose_season(site.visits["checked_on"], site.settings.season, week)
    scale = site_ratios(site, season)
    visits = countable_visits(site.visits, scale.traps, scale.by_design)
    found = efficacies(
        visits,
        site.treatments,
        site.weather,
        site.zones.set_index("zone_id")["use"],
        season.cutoff,
        site.settings.treatment,
    )
    courses = tuple(_course(effect, visits, site) for effect in found)
    return TreatmentEffects(site, season, scale.reference, scale.ratios, courses)


def _course(effect: Efficacy, visits: pd.DataFrame, site: Site) -> Course:
    applied = pd.Timestamp(effect.applied_on)
    near = visits[
        (visits["set_on"] >= pd.Timestamp(effect.first))
        & (visits["checked_on"] <= pd.Timestamp(effect.last))
    ]
    # A visit that spans the treatment belongs to neither side and would draw a false slope; a trap
    # of one side only is not in the rates either.
    before, after = near["checked_on"] <= applied, near["set_on"] >= applied
    both = set(near.loc[before, "location_id"]) & set(near.loc[after, "location_id"])
    near = near[(before | after) & near["location_id"].isin(both)]
    others = near["zone_id"].isin(effect.untreated)
    return Course(
        effect,
        _by_day(near[near["zone_id"] == effect.zone_id]),
        _by_day(near[others]),
        _cold_nights(effect, site),
    )


def _by_day(visits: pd.DataFrame) -> pd.DataFrame:
    """Return the catch rate of the visits of every ISO week, at their median day."""
    week = visits["checked_on"].dt.to_period("W-SUN")
    sums = visits.groupby(week).agg(
        checked_on=("checked_on", "median"), adults=("adults", "sum"), nights=("nights", "sum")
    )
    return sums.assign(rate=catch_rate(sums["adults"], sums["nights"])).reset_index(drop=True)


def _cold_nights(effect: Efficacy, site: Site) -> tuple[date, ...]:
    mean_c = night_means_c(site.weather, effect.first, effect.last)
    cold = mean_c.index[mean_c < site.settings.treatment.cold_c]
    return tuple(day.date() for day in cold)
