"""What is due when: dated windows, each with a range, what it rests on, and why it is there.

Three days carry everything: by which 10, 50 and 90 % of the season's adults have walked. The first
of these that holds gives them:

* the season is over, or nearly: what the traps caught (``observed``);
* the site's own relation of catch to degree-days, where it has proved better than the published
  one, with the season's weather so far and the courses it may take (``own_fit``);
* the site's own past seasons, same days of the year (``past_seasons``).

What was caught so far says nothing of them while adults walk: its middle moves with every round.
Where no beetle was caught by the day on which the first were due, nothing else is expected either.

First adults may also come from a model that the site names (``model``). All else is counted in days
from these; every number of days is one that is printed somewhere:

* larvae follow the adults by one to two weeks;
* adults are met as soon as they are active, before the middle of them has laid (Purdue Turf Tips,
  28 April 2015);
* the peak of larvae lies about two weeks after that of adults (mountain west, meeting abstract
  2015); cores are cut then, and again two weeks later (common practice, no source);
* young larvae live two to three weeks in the stems and then drop to crowns and roots (Iowa State
  2003), so that soil larvae begin that much after hatching.

A window says when a stage is likely to be there. Whether anything is to be done is not said here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import pandas as pd

from spatial.degree_day_sums import DegreeDaySum, reached
from spatial.results import Season
from spatial.season_dates import LARVAE_AFTER, SeasonDates
from spatial.season_fit import ShareCurve
from spatial.weather_ahead import range_of

WINDOWS = ("first_adults", "adult_middle", "adult_window", "larvae_due", "cores", "soil_larvae")
"""What has a window: first adults; the middle of the adults; adults active before most have laid;
larvae hatching; soil cores; larvae in the soil."""

BASES = ("observed", "own_fit", "past_seasons", "model")
"""What a window rests on."""

NEARLY_OVER = timedelta(days=7)
"""So near to its end a season is taken as over: its last round is done."""

CORES_AFTER = timedelta(days=14)
CORES_FOR = timedelta(days=14)
STEMS = (timedelta(days=14), timedelta(days=21))


def nearly_over(season: Season) -> bool:
    """Tell whether a season is over, or so nearly that no more is expected."""
    return season.cutoff >= season.end - NEARLY_OVER


@dataclass(frozen=True, slots=True)
class DueWindow:
    """One window.

    Parameters
    ----------
    what
        One of `WINDOWS`.
    first, last
        Its days.
    basis
        One of `BASES`.
    seasons
        Past seasons or courses of the weather behind it; 0 where none is.
    """

    what: str
    first: date
    last: date
    basis: str
    seasons: int = 0


@dataclass(frozen=True, slots=True)
class Ground:
    """What a calendar is made from.

    Parameters
    ----------
    season, dates
        This season; where a site has two generations, dates of the first one.
    past
        Dates of past seasons, by label; the same.
    courses
        Degree-days of this season under every course that its weather may take, by the named
        model's rule; empty without a named model or weather.
    curve
        The site's own relation, None where it makes no forecast.
    misses
        One of `spatial.season_fit.TRIED` -> least and most days by which the truth came after that
        relation's forecast in past seasons that were left out.
    """

    season: Season
    dates: SeasonDates
    past: Mapping[str, SeasonDates]
    courses: Sequence[DegreeDaySum] = ()
    curve: ShareCurve | None = None
    misses: Mapping[str, tuple[int, int]] = field(default_factory=dict)

    @property
    def over(self) -> bool:
        """Whether the season is over, or so nearly that no more is expected."""
        return nearly_over(self.season)


@dataclass(frozen=True, slots=True)
class _Range:
    first: date
    last: date
    basis: str
    seasons: int = 0


def calendar(ground: Ground) -> tuple[DueWindow, ...]:
    """Return the windows that can be given, in the order of `WINDOWS`; none without a ground.

    Parameters
    ----------
    ground
        What is known.

    Examples
    --------
    A season of which nothing is known but the last one, half of it caught by 10 May:

    >>> from spatial.season_dates import ShareDate
    >>> past = SeasonDates((date(2025, 4, 1), date(2025, 4, 8)), (
    ...     ShareDate(.1, date(2025, 4, 20), None, None), ShareDate(.5, date(2025, 5, 10), None,
    ...     None), ShareDate(.9, date(2025, 6, 9), None, None)), pd.DataFrame(), "")
    >>> nothing = SeasonDates(None, (), pd.DataFrame(), "no_visit")
    >>> season = Season("2026", date(2026, 2, 15), date(2026, 8, 31), "2026-W10",
    ...                 date(2026, 3, 8), ("2026-W10",))
    >>> for each in calendar(Ground(season, nothing, {"2025": past})):
    ...     print(each.what, each.first, each.last, each.basis)
    first_adults 2026-04-01 2026-04-08 past_seasons
    adult_middle 2026-05-10 2026-05-10 past_seasons
    adult_window 2026-04-20 2026-05-10 past_seasons
    larvae_due 2026-04-27 2026-06-23 past_seasons
    cores 2026-05-24 2026-06-07 past_seasons
    soil_larvae 2026-05-31 2026-06-14 past_seasons
    """
    first = _first_adults(ground)
    if first is not None and ground.dates.first_catch is None and _missed(ground, first):
        return ()
    windows = [] if first is None else [_window("first_adults", first, first.first, first.last)]
    shares = [_share(ground, name) for name in ("0.1", "0.5", "0.9")]
    if any(each is None for each in shares):
        return tuple(windows)
    ten, half, ninety = (each for each in shares if each is not None)
    return (
        *windows,
        _window("adult_middle", half, half.first, half.last),
        _window("adult_window", half, ten.first, half.last),
        _window("larvae_due", half, ten.first + LARVAE_AFTER[0], ninety.last + LARVAE_AFTER[1]),
        _window("cores", half, half.first + CORES_AFTER, half.last + CORES_AFTER + CORES_FOR),
        _window(
            "soil_larvae",
            half,
            half.first + LARVAE_AFTER[0] + STEMS[0],
            half.last + LARVAE_AFTER[1] + STEMS[1],
        ),
    )


def _window(what: str, ground: _Range, first: date, last: date) -> DueWindow:
    return DueWindow(what, first, last, ground.basis, ground.seasons)


def _missed(ground: Ground, first: _Range) -> bool:
    """Tell whether the first adults should have been there, or can no longer come."""
    return ground.over or ground.season.cutoff > first.last


def _first_adults(ground: Ground) -> _Range | None:
    if ground.dates.first_catch is not None:
        return _Range(*ground.dates.first_catch, "observed")
    return _own(ground, "first") or _of_model(ground) or _of_past(ground, "first")


def _share(ground: Ground, name: str) -> _Range | None:
    if ground.over:
        return _observed(ground, name)
    return _own(ground, name) or _of_past(ground, name)


def _observed(ground: Ground, name: str) -> _Range | None:
    for each in ground.dates.dates:
        if each.share == float(name):
            return _Range(each.low or each.day, each.high or each.day, "observed")
    return None


def _own(ground: Ground, name: str) -> _Range | None:
    if ground.curve is None or not ground.courses:
        return None
    days = [reached(each, ground.curve.amount(name)) for each in ground.courses]
    ends = range_of(days)
    if ends is None:
        return None
    # What has been reached no longer hangs on the weather to come.
    courses = len(days) if ends[1] > ground.season.cutoff else 0
    early, late = ground.misses.get(name, (0, 0))
    first, last = ends[0] + timedelta(days=min(early, 0)), ends[1] + timedelta(days=max(late, 0))
    return _Range(first, last, "own_fit", courses)


def _of_model(ground: Ground) -> _Range | None:
    if not ground.courses:
        return None
    for event in ground.courses[0].model.events:
        if event.event == "first_adults":
            low = range_of([reached(each, event.low) for each in ground.courses])
            high = range_of([reached(each, event.high) for each in ground.courses])
            if low is not None and high is not None:
                return _Range(low[0], high[1], "model", len(ground.courses))
    return None


def _of_past(ground: Ground, name: str) -> _Range | None:
    ranges = [found for each in ground.past.values() if (found := _past_range(each, name))]
    if not ranges:
        return None
    first = min(_this_year(ground, each[0]) for each in ranges)
    last = max(_this_year(ground, each[1]) for each in ranges)
    return _Range(first, last, "past_seasons", len(ranges))


def _past_range(dates: SeasonDates, name: str) -> tuple[date, date] | None:
    """Return the days of one of `spatial.season_fit.TRIED` in a past season."""
    if name == "first":
        return dates.first_catch
    days = [each.day for each in dates.dates if each.share == float(name)]
    return (days[0], days[0]) if days else None


def _this_year(ground: Ground, day: date) -> date:
    """Return the same day of the year in this season."""
    start = ground.season.start
    year = start.year + ((day.month, day.day) < (start.month, start.day))
    moved: date = (pd.Timestamp(day) + pd.DateOffset(years=year - day.year)).date()
    return moved
