"""When: the season's own dates, those of past seasons, and what degree-day models make of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from data.degree_day_models import DegreeDayModel, ModelEvent
from data.site import Site
from spatial.degree_day_sums import DegreeDaySum, degree_day_sum, event_days
from spatial.efficacy import countable_visits
from spatial.results import Season
from spatial.season_dates import SeasonDates, season_dates
from spatial.seasons import choose_season, in_period, season_bounds
from spatial.site_ratios import site_ratios


@dataclass(frozen=True, slots=True)
class EventDays:
    """When a model puts an event.

    Parameters
    ----------
    event
        The event.
    low, high
        Days on which the sum reached both ends; None where it has not by the cut-off.
    """

    event: ModelEvent
    low: date | None
    high: date | None


@dataclass(frozen=True, slots=True)
class ModelSeason:
    """One model in this season.

    Parameters
    ----------
    sums
        Its degree-days up to the cut-off.
    events
        Its events.
    """

    sums: DegreeDaySum
    events: tuple[EventDays, ...]


@dataclass(frozen=True, slots=True)
class SeasonReport:
    """When adults walked at a site.

    Parameters
    ----------
    site, season
        What was looked at.
    reference
        Design that rates refer to.
    dates
        Of this season up to the cut-off.
    past
        Label -> dates of every earlier season, whole, the latest first.
    models
        Every model asked for.
    """

    site: Site
    season: Season
    reference: str
    dates: SeasonDates
    past: dict[str, SeasonDates]
    models: tuple[ModelSeason, ...]


def season_report(
    site: Site, week: str | None, models: Sequence[DegreeDayModel], *, seed: int = 0
) -> SeasonReport:
    """Return when adults walked, this season and before, beside degree-day models.

    Parameters
    ----------
    site
        The checked site.
    week
        ISO week; None for the last with a visit.
    models
        Models to show; none of them is preferred.
    seed
        Of the intervals.

    Raises
    ------
    data.findings.SettingsError
        If `week` is no week with a season, or a model's parts do not fit together.
    """
    season = choose_season(site.visits["checked_on"], site.settings.season, week)
    scale = site_ratios(site, season)
    visits = countable_visits(site.visits, scale.traps, scale.by_design)
    visits = visits[visits["nights"] > 0]
    own = _inside(visits, season.start, season.cutoff)
    return SeasonReport(
        site=site,
        season=season,
        reference=scale.reference,
        dates=season_dates(own, seed=seed),
        past=_past(visits, site, season, seed),
        models=tuple(_model_season(site.weather, each, season.cutoff) for each in models),
    )


def _inside(visits: pd.DataFrame, first: date, last: date) -> pd.DataFrame:
    checked = in_period(visits["checked_on"], first, last)
    return visits[checked & in_period(visits["set_on"], first, last)]


def _past(visits: pd.DataFrame, site: Site, season: Season, seed: int) -> dict[str, SeasonDates]:
    window = site.settings.season
    before = visits[visits["checked_on"] < pd.Timestamp(season.start)]
    bounds = sorted({season_bounds(day.date(), window) for day in before["checked_on"]})
    found = {}
    for first, last in reversed(bounds):
        own = _inside(before, first, last)
        if len(own):
            label = str(first.year) if first.year == last.year else f"{first.year}/{last.year}"
            found[label] = season_dates(own, seed=seed)
    return found


def _model_season(weather: pd.DataFrame, model: DegreeDayModel, cutoff: date) -> ModelSeason:
    sums = degree_day_sum(weather, model, cutoff)
    events = tuple(EventDays(each, *event_days(sums, each)) for each in model.events)
    return ModelSeason(sums, events)
