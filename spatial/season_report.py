"""When: the season's dates, those before, what degree-days make of them, and what is due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from data.degree_day_models import DegreeDayModel
from data.site import Site
from spatial.busy_years import busy_years
from spatial.efficacy import countable_visits
from spatial.larvae_paired import LarvaePaired, larvae_paired
from spatial.model_seasons import ModelSeason, model_season
from spatial.results import Season
from spatial.season_calendar import DueWindow
from spatial.season_comparison import SeasonComparison, season_comparison
from spatial.season_curves import season_curves
from spatial.season_dates import SeasonDates, season_dates
from spatial.season_when import NO_WEATHER, generation_turn, inside, season_when
from spatial.seasons import choose_season, in_period
from spatial.site_ratios import site_ratios


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
    generations
        The same of the first and the second generation, where the site says when that begins.
    past
        Label -> dates of every earlier season, whole, the latest first.
    models
        Every model asked for.
    named
        Key of the model that the site names; blank where it names none, and nothing is forecast.
    curves
        Weekly catch by species and design, from `spatial.season_curves`.
    nights
        `date`, `cold`, `wet`, `rain_known` of every day of the season with temperatures.
    calendar
        What is due when.
    paired
        Larvae beside adults.
    compared
        Label -> this season beside every earlier one, matched traps and nights only.
    busy
        Zones busy year after year, from `spatial.busy_years`.
    """

    site: Site
    season: Season
    reference: str
    dates: SeasonDates
    generations: tuple[SeasonDates, ...]
    past: Mapping[str, SeasonDates]
    models: tuple[ModelSeason, ...]
    named: str
    curves: pd.DataFrame
    nights: pd.DataFrame
    calendar: tuple[DueWindow, ...]
    paired: LarvaePaired
    compared: Mapping[str, SeasonComparison]
    busy: pd.DataFrame


def season_report(
    site: Site,
    week: str | None,
    models: Sequence[DegreeDayModel],
    *,
    named: str = "",
    forecast: pd.DataFrame | None = None,
    seed: int = 0,
) -> SeasonReport:
    """Return when adults walked, this season and before, beside degree-day models.

    Parameters
    ----------
    site
        The checked site.
    week
        ISO week; None for the last with a visit.
    models
        Models to show.
    named
        Key of the one of them that the site names; blank: none is preferred.
    forecast
        `date`, `tmin_c`, `tmax_c` of days to come; None without one.
    seed
        Of intervals and permutations.

    Raises
    ------
    data.findings.SettingsError
        If `week` is no week with a season, or a model's parts do not fit together.
    """
    season = choose_season(site.visits["checked_on"], site.settings.season, week)
    scale = site_ratios(site, season)
    visits = countable_visits(site.visits, scale.traps, scale.by_design)
    visits = visits[visits["nights"] > 0]
    own = inside(visits, season.start, season.cutoff)
    model = next((each for each in models if each.key == named), None)
    told = forecast if forecast is not None else NO_WEATHER
    when = season_when(site, season, visits, model, forecast=told, seed=seed)
    before = when.book.before
    return SeasonReport(
        site=site,
        season=season,
        reference=scale.reference,
        dates=when.dates,
        generations=_generations(own, site, season, seed),
        past=when.past,
        models=tuple(model_season(when.book, each) for each in models),
        named=named,
        curves=season_curves(site, season),
        nights=_nights(site, season),
        calendar=when.calendar,
        paired=larvae_paired(own, _cores(site, season), season.start),
        compared={
            each.label: season_comparison(
                visits,
                site.treatments,
                (season.start, season.cutoff),
                (each.start, each.end),
                seed=seed,
            )
            for each in before
        },
        busy=busy_years(site, [season, *before], seed=seed),
    )


def _generations(
    own: pd.DataFrame, site: Site, season: Season, seed: int
) -> tuple[SeasonDates, ...]:
    """Return dates of both generations; a visit belongs to the one in which it was set."""
    given = site.settings.phenology.second_generation_from
    if given is None:
        return ()
    second = own["set_on"] >= generation_turn(season.start, given)
    return season_dates(own[~second], seed=seed), season_dates(own[second], seed=seed)


def _nights(site: Site, season: Season) -> pd.DataFrame:
    weather = site.weather[in_period(site.weather["date"], season.start, season.cutoff)]
    mean_c = (weather["tmin_c"] + weather["tmax_c"]) / 2
    rain = weather["rain_mm"]
    return pd.DataFrame(
        {
            "date": weather["date"],
            "cold": mean_c < site.settings.treatment.cold_c,
            "wet": rain >= site.settings.phenology.wet_mm,
            "rain_known": rain.notna(),
        }
    )[mean_c.notna()]


def _cores(site: Site, season: Season) -> pd.DataFrame:
    return site.cores[site.cores["sampled_on"] <= pd.Timestamp(season.cutoff)]
