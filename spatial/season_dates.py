"""When the season's adults walked: first catch, and the days by which 10, 50 and 90 % were caught.

The catch of a visit is spread evenly over its nights, and every night's rate is the catch over the
traps that were out, so that rounds with more traps count no more. Nights that no trap covers take
the rate that lies straight between the nights around them. Shares are of all that was caught up to
the cut-off: while the season lasts they move.

Intervals draw the traps again with replacement, since traps, not beetles, are the sample: what one
trap catches in one week and the next goes together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from spatial.arrays import BoolArray, FloatArray

SHARES = (0.1, 0.5, 0.9)
DRAWS = 1000
LEVEL = 0.9

FEWEST_TRAPS = 5
"""With fewer traps there is no interval: too few to draw from (common practice, no source)."""

FEWEST_BEETLES = 10
"""With fewer beetles there are no dates beyond the first catch (common practice, no source)."""

LARVAE_AFTER = (timedelta(days=7), timedelta(days=14))
"""Larvae follow the adults by one to two weeks (common practice, no source)."""

NO_DATES = ("no_visit", "no_catch", "few_beetles")


@dataclass(frozen=True, slots=True)
class ShareDate:
    """The day by which a share of the season was caught.

    Parameters
    ----------
    share
        Of all adults up to the cut-off, at equal effort.
    day
        The day.
    low, high
        Ends of the `LEVEL` interval; None with fewer than `FEWEST_TRAPS`.
    """

    share: float
    day: date
    low: date | None
    high: date | None


@dataclass(frozen=True, slots=True)
class SeasonDates:
    """When adults walked in one season.

    Parameters
    ----------
    first_catch
        First and last day between which the first beetle was caught: the visit that found it; None
        without one.
    dates
        One for each of `SHARES`; empty with a reason.
    nightly
        `date`, `rate` (adults per trap-week of the reference design), `share` (caught by then).
    reason
        ``""`` or one of `NO_DATES`.
    """

    first_catch: tuple[date, date] | None
    dates: tuple[ShareDate, ...]
    nightly: pd.DataFrame
    reason: str


def season_dates(visits: pd.DataFrame, *, seed: int = 0) -> SeasonDates:
    """Return the dates of one season.

    Parameters
    ----------
    visits
        Countable visits of the season: `location_id`, `set_on`, `checked_on`, `adults`, and
        `nights` (of the reference design).
    seed
        Of the draws.

    Examples
    --------
    Two rounds of a week, one beetle a trap in the first and three in the second: half of the season
    is caught a third into the second week.

    >>> days = pd.to_datetime(["2026-05-04", "2026-05-11"])
    >>> visits = pd.DataFrame({"location_id": np.repeat([f"T{n}" for n in range(6)], 2),
    ...     "set_on": list(days) * 6, "checked_on": list(days + pd.Timedelta(days=7)) * 6,
    ...     "adults": [1.0, 3.0] * 6, "nights": 7.0})
    >>> found = season_dates(visits)
    >>> found.dates[1].day, found.first_catch
    (datetime.date(2026, 5, 13), (datetime.date(2026, 5, 4), datetime.date(2026, 5, 11)))
    """
    empty = pd.DataFrame({"date": [], "rate": [], "share": []})
    if visits.empty:
        return SeasonDates(None, (), empty, "no_visit")
    first = _first_catch(visits)
    if first is None:
        return SeasonDates(None, (), empty, "no_catch")
    begin = visits["set_on"].min()
    catch, effort = _nightly(visits, begin)
    rate = _rates(catch.sum(axis=0, keepdims=True), effort.sum(axis=0, keepdims=True))[0]
    share = np.cumsum(rate) / rate.sum()
    nightly = pd.DataFrame(
        {"date": pd.date_range(begin, periods=len(rate)), "rate": 7 * rate, "share": share}
    )
    if visits["adults"].sum() < FEWEST_BEETLES:
        return SeasonDates(first, (), nightly, "few_beetles")
    low, high = _interval(catch, effort, seed)
    dates = tuple(
        ShareDate(each, _day(begin, place), _day_or_none(begin, a), _day_or_none(begin, b))
        for each, place, a, b in zip(SHARES, _places(rate[None])[0], low, high, strict=True)
    )
    return SeasonDates(first, dates, nightly, "")


def _first_catch(visits: pd.DataFrame) -> tuple[date, date] | None:
    caught = visits[visits["adults"] > 0].sort_values(["checked_on", "set_on"])
    if caught.empty:
        return None
    row = caught.iloc[0]
    return row["set_on"].date(), row["checked_on"].date()


def _nightly(visits: pd.DataFrame, begin: pd.Timestamp) -> tuple[FloatArray, FloatArray]:
    """Return catch and effort of every trap and night, each of shape (traps, nights)."""
    _, trap = np.unique(visits["location_id"].to_numpy(dtype=str), return_inverse=True)
    start = (visits["set_on"] - begin).dt.days.to_numpy()
    stop = (visits["checked_on"] - begin).dt.days.to_numpy()
    length = stop - start
    shape = (int(trap.max()) + 1, int(stop.max()))
    # Where each visit begins its share is added, where it ends it is taken away again.
    found = []
    for amount in (visits["adults"], visits["nights"]):
        steps = np.zeros((shape[0], shape[1] + 1))
        each = amount.to_numpy(dtype=float) / length
        np.add.at(steps, (trap, start), each)
        np.add.at(steps, (trap, stop), -each)
        found.append(np.maximum(np.cumsum(steps, axis=1)[:, :-1], 0.0))
    return found[0], found[1]


def _rates(catch: FloatArray, effort: FloatArray) -> FloatArray:
    """Return catch over effort of every night, shape (draws, nights); gaps filled straight."""
    out: BoolArray = effort > 1e-9
    rate = np.divide(catch, effort, out=np.zeros_like(catch), where=out)
    nights = np.arange(rate.shape[1])
    for row in np.flatnonzero(~out.all(axis=1) & out.any(axis=1)):
        rate[row] = np.interp(nights, nights[out[row]], rate[row][out[row]])
    return rate


def _places(rate: FloatArray) -> FloatArray:
    """Return by which place in the nights each share is caught, shape (draws, shares).

    A share is reached inside the first night by whose end it is there, never in a night that caught
    nothing.
    """
    whole = np.cumsum(rate, axis=1)
    places = np.full((len(rate), len(SHARES)), np.nan)
    for row in np.flatnonzero(whole[:, -1] > 0):
        wanted = np.array(SHARES) * whole[row, -1]
        night = np.searchsorted(whole[row], wanted * (1 - 1e-12))
        before = whole[row, night] - rate[row, night]
        places[row] = night + (wanted - before) / rate[row, night]
    return places


def _interval(catch: FloatArray, effort: FloatArray, seed: int) -> tuple[FloatArray, FloatArray]:
    if len(catch) < FEWEST_TRAPS:
        return np.full(len(SHARES), np.nan), np.full(len(SHARES), np.nan)
    random = np.random.default_rng(seed)
    times = random.multinomial(len(catch), np.full(len(catch), 1 / len(catch)), DRAWS)
    places = _places(_rates(times @ catch, times @ effort))
    low, high = np.nanquantile(places, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=0)
    return np.asarray(low, dtype=float), np.asarray(high, dtype=float)


def _day(begin: pd.Timestamp, place: float) -> date:
    """Return the day of the night in which a place lies; its end still belongs to it."""
    return begin.date() + timedelta(days=math.ceil(place - 1e-9) - 1)


def _day_or_none(begin: pd.Timestamp, place: float) -> date | None:
    return None if math.isnan(place) else _day(begin, place)
