"""One degree-day model in one season: its sums, its events, what is still to come, and its past."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import pandas as pd

from data.degree_day_models import DegreeDayModel, ModelEvent
from data.site import Site
from spatial.degree_day_sums import DegreeDaySum, event_days, reached, season_sum
from spatial.results import Season
from spatial.season_dates import SeasonDates
from spatial.season_fit import OwnFit, PastSeason, own_fit
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
class SeasonBook:
    """What a model is held against.

    Parameters
    ----------
    site, season
        What is looked at.
    before
        Whole seasons before it, the latest first.
    past
        Their dates by label.
    forecast
        `date`, `tmin_c`, `tmax_c` of days to come; may be empty.
    """

    site: Site
    season: Season
    before: tuple[Season, ...]
    past: Mapping[str, SeasonDates]
    forecast: pd.DataFrame


def model_season(book: SeasonBook, model: DegreeDayModel) -> ModelSeason:
    """Return a model in the season of a book."""
    season, weather = book.season, book.site.weather
    sums = season_sum(weather, model, season.start, season.cutoff)
    if sums.reason == "other_season":
        unknown = tuple(EventDays(each, None, None) for each in model.events)
        return ModelSeason(sums, unknown, {}, (), own_fit(()))
    ahead = {
        year: season_sum(course, model, season.start, season.end)
        for year, course in courses(weather, book.forecast, season.cutoff, season.end).items()
    }
    past = tuple(
        PastSeason(
            each.label, book.past[each.label], season_sum(weather, model, each.start, each.end)
        )
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
