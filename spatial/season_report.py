"""When: the season's dates, those before, what degree-days make of them, and what is due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from data.degree_day_models import DegreeDayModel, ModelEvent
from data.site import Site
from spatial.busy_years import busy_years
from spatial.degree_day_sums import DegreeDaySum, degree_day_sum, event_days, reached
from spatial.efficacy import countable_visits
from spatial.larvae_paired import LarvaePaired, larvae_paired
from spatial.results import Season
from spatial.season_calendar import DueWindow, Ground, calendar
from spatial.season_comparison import SeasonComparison, season_comparison
from spatial.season_curves import season_curves
from spatial.season_dates import SeasonDates, season_dates
from spatial.season_fit import OwnFit, PastSeason, own_fit
from spatial.seasons import choose_season, in_period, iso_week, season_bounds, season_label
from spatial.site_ratios import site_ratios
from spatial.weather_ahead import courses, range_of


@dataclass(frozen=True, slots=True)
class EventDays:
    """When a model puts an event.

    Parameters
    ----------
    event
        The event.
    low, high
        Days on which the sum reached both ends; None where it has not by the cut-off.
    ahead
        Where an end is still to come: the days between which the event lies under the courses that
        the weather may take; None where that cannot be said.
    """

    event: ModelEvent
    low: date | None
    high: date | None
    ahead: tuple[date, date] | None = None


@dataclass(frozen=True, slots=True)
class ModelSeason:
    """One model in this season.

    Parameters
    ----------
    sums
        Its degree-days up to the cut-off.
    events
        Its events.
    ahead
        Its degree-days up to the end of the season under every course of the weather, by the year
        that the course is taken from.
    past
        Past seasons with their degree-days, the latest first.
    fit
        The site's own relation of catch to its degree-days.
    """

    sums: DegreeDaySum
    events: tuple[EventDays, ...]
    ahead: Mapping[str, DegreeDaySum]
    past: tuple[PastSeason, ...]
    fit: OwnFit

    def same_sum(self, season: PastSeason) -> date | None:
        """Return the day on which a past season had the degree-days of this one's cut-off."""
        known = self.sums.table["total"].dropna()
        return reached(season.sums, float(known.iloc[-1])) if len(known) else None


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
    own = _inside(visits, season.start, season.cutoff)
    dates = season_dates(own, seed=seed)
    before = past_seasons(site, season)
    past = {
        each.label: season_dates(_inside(visits, each.start, each.end), seed=seed)
        for each in before
    }
    book = _Book(site, season, before, past, forecast if forecast is not None else _NO_WEATHER)
    found = tuple(_model_season(book, each) for each in models)
    return SeasonReport(
        site=site,
        season=season,
        reference=scale.reference,
        dates=dates,
        generations=_generations(own, site, season, seed),
        past=past,
        models=found,
        named=named,
        curves=season_curves(site, season),
        nights=_nights(site, season),
        calendar=calendar(_ground(season, dates, past, found, named)),
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


_NO_WEATHER = pd.DataFrame({"date": pd.to_datetime([]), "tmin_c": [], "tmax_c": []})


@dataclass(frozen=True, slots=True)
class _Book:
    """What a model is held against."""

    site: Site
    season: Season
    before: tuple[Season, ...]
    past: Mapping[str, SeasonDates]
    forecast: pd.DataFrame


def _inside(visits: pd.DataFrame, first: date, last: date) -> pd.DataFrame:
    checked = in_period(visits["checked_on"], first, last)
    return visits[checked & in_period(visits["set_on"], first, last)]


def past_seasons(site: Site, season: Season) -> tuple[Season, ...]:
    """Return every whole season before this one with a visit, the latest first."""
    window = site.settings.season
    days = site.visits["checked_on"]
    days = days[days < pd.Timestamp(season.start)]
    found = []
    for first, last in sorted({season_bounds(day.date(), window) for day in days}, reverse=True):
        inside = days[in_period(days, first, last)]
        if len(inside):
            weeks = tuple(sorted(iso_week(inside).unique()))
            label = season_label(first, last)
            found.append(Season(label, first, last, weeks[-1], last, weeks))
    return tuple(found)


def _generations(
    own: pd.DataFrame, site: Site, season: Season, seed: int
) -> tuple[SeasonDates, ...]:
    """Return dates of both generations; a visit belongs to the one in which it was set."""
    given = site.settings.phenology.second_generation_from
    if given is None:
        return ()
    month, day = (int(part) for part in given.split("-"))
    year = season.start.year + ((month, day) < (season.start.month, season.start.day))
    # 29 February is the day before 1 March in a year without one.
    turn = pd.Timestamp(year, month, 1) + timedelta(days=day - 1)
    second = own["set_on"] >= turn
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


def _model_season(book: _Book, model: DegreeDayModel) -> ModelSeason:
    season, weather = book.season, book.site.weather
    sums = degree_day_sum(weather, model, season.cutoff)
    ahead = {
        year: degree_day_sum(course, model, season.end)
        for year, course in courses(weather, book.forecast, season.cutoff, season.end).items()
    }
    past = tuple(
        PastSeason(each.label, book.past[each.label], degree_day_sum(weather, model, each.end))
        for each in book.before
    )
    events = tuple(_event(sums, ahead, each) for each in model.events)
    return ModelSeason(sums, events, ahead, past, own_fit(past))


def _event(sums: DegreeDaySum, ahead: Mapping[str, DegreeDaySum], event: ModelEvent) -> EventDays:
    low, high = event_days(sums, event)
    if high is not None or not ahead:
        return EventDays(event, low, high)
    begins = (low, low) if low else range_of([reached(each, event.low) for each in ahead.values()])
    ends = range_of([reached(each, event.high) for each in ahead.values()])
    told = None if begins is None or ends is None else (begins[0], ends[1])
    return EventDays(event, low, high, told)


def _ground(
    season: Season,
    dates: SeasonDates,
    past: Mapping[str, SeasonDates],
    models: Sequence[ModelSeason],
    named: str,
) -> Ground:
    model = next((each for each in models if each.sums.model.key == named), None)
    if model is None:
        return Ground(season, dates, past)
    curve = None if model.fit.reason else model.fit.curve
    return Ground(season, dates, past, tuple(model.ahead.values()), curve)
