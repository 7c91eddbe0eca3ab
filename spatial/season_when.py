"""When, in short: the season's dates, those of earlier seasons, and what is due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import pandas as pd

from data.degree_day_models import DegreeDayModel
from data.site import Site
from spatial.model_seasons import ModelSeason, SeasonBook, model_season
from spatial.results import Season
from spatial.season_calendar import DueWindow, Ground, calendar
from spatial.season_dates import SeasonDates, season_dates
from spatial.seasons import in_period, iso_week, season_bounds, season_label

NO_WEATHER = pd.DataFrame({"date": pd.to_datetime([]), "tmin_c": [], "tmax_c": []})
"""No forecast."""


@dataclass(frozen=True, slots=True)
class SeasonWhen:
    """When adults walk.

    Parameters
    ----------
    dates
        Of this season up to the cut-off.
    past
        Label -> dates of every earlier season, whole, the latest first.
    book
        What models are held against.
    calendar
        What is due when; from the site's own seasons, and from the named model if there is one.
    """

    dates: SeasonDates
    past: Mapping[str, SeasonDates]
    book: SeasonBook
    calendar: tuple[DueWindow, ...]


def season_when(
    site: Site,
    season: Season,
    visits: pd.DataFrame,
    model: DegreeDayModel | None,
    *,
    forecast: pd.DataFrame = NO_WEATHER,
    seed: int = 0,
) -> SeasonWhen:
    """Return when adults walk.

    Parameters
    ----------
    site, season
        What is looked at.
    visits
        Countable visits of all seasons, from `spatial.efficacy.countable_visits`, with nights.
    model
        The model that the site names; None: nothing is forecast by degree-days.
    forecast
        `date`, `tmin_c`, `tmax_c` of days to come.
    seed
        Of the intervals.
    """
    dates = season_dates(inside(visits, season.start, season.cutoff), seed=seed)
    before = past_seasons(site, season)
    past = {
        each.label: season_dates(inside(visits, each.start, each.end), seed=seed) for each in before
    }
    book = SeasonBook(site, season, before, past, forecast)
    found = None if model is None else model_season(book, model)
    ground = _ground(season, dates, past, found)
    given = site.settings.phenology.second_generation_from
    if given is not None:
        ground = _first_generation(ground, visits, before, given, seed)
    return SeasonWhen(dates, past, book, calendar(ground))


def generation_turn(start: date, given: str) -> pd.Timestamp:
    """Return the first day of the second generation.

    Parameters
    ----------
    start
        First day of the season.
    given
        Month and day of the settings.

    Examples
    --------
    >>> generation_turn(date(2026, 2, 15), "07-15"), generation_turn(date(2026, 9, 1), "01-10")
    (Timestamp('2026-07-15 00:00:00'), Timestamp('2027-01-10 00:00:00'))
    """
    month, day = (int(part) for part in given.split("-"))
    year = start.year + ((month, day) < (start.month, start.day))
    # 29 February is the day before 1 March in a year without one.
    return pd.Timestamp(year, month, 1) + timedelta(days=day - 1)


def _first_generation(
    ground: Ground, visits: pd.DataFrame, before: tuple[Season, ...], given: str, seed: int
) -> Ground:
    """Return the ground of the first generation alone: the middle of both lies between them.

    The site's own relation goes through whole seasons, so it says nothing of one generation.
    """

    def dates(season: Season) -> SeasonDates:
        first = visits["set_on"] < generation_turn(season.start, given)
        return season_dates(inside(visits[first], season.start, season.cutoff), seed=seed)

    past = {each.label: dates(each) for each in before}
    return replace(ground, dates=dates(ground.season), past=past, curve=None)


def inside(visits: pd.DataFrame, first: date, last: date) -> pd.DataFrame:
    """Return the visits that were set and checked in a period, both ends included."""
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


def _ground(
    season: Season,
    dates: SeasonDates,
    past: Mapping[str, SeasonDates],
    model: ModelSeason | None,
) -> Ground:
    if model is None:
        return Ground(season, dates, past)
    curve = None if model.fit.reason else model.fit.curve
    return Ground(season, dates, past, tuple(model.ahead.values()), curve, model.fit.misses())
