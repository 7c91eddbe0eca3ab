"""One season against the last: the same traps, on the same nights of the season.

Two seasons are alike only where the effort is: a trap that was moved, or that was out in May of one
year and in March of the other, would compare places or weeks, not years. So every visit's catch is
spread evenly over its nights, and a trap's night counts only where that trap was out, in order, on
the same night of both seasons, counted from the season's first day. Traps of a zone that was
treated in either season, or in between, are left out: a treated year is not compared with an
untreated one.

The interval draws the traps again with replacement, as that of `spatial.season_dates` does. It says
how far the ratio hangs on which traps there are. It knows nothing of the weather of the two years.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from data.site import Site
from spatial.arrays import FloatArray, NameArray
from spatial.efficacy import countable_visits
from spatial.results import Season
from spatial.season_dates import DRAWS, FEWEST_BEETLES, FEWEST_TRAPS, LEVEL
from spatial.seasons import season_bounds
from spatial.site_ratios import site_ratios

NOT_COMPARED = (
    "no_past_season",
    "treated_season",
    "few_traps",
    "few_beetles",
    "few_before",
    "few_now",
)
"""Why there is no ratio, the first that holds: no countable visit in the last season up to the same
day; fewer than `FEWEST_TRAPS` matched traps once those of treated zones are left out; fewer than
that in any case; fewer than `FEWEST_BEETLES` in both seasons together; fewer than that last season,
so that a ratio to them means nothing; fewer than that now, so that the ratio's interval is none."""


@dataclass(frozen=True, slots=True)
class SeasonComparison:
    """The catch of matched traps in this season and in the last.

    Parameters
    ----------
    past_start, past_day
        First day of the last season, and its last day that counts.
    traps, nights
        Traps matched, and their nights that count in each season.
    treated_traps
        Traps left out as their zone was treated.
    adults, past_adults
        Caught on those nights; a visit that is only partly matched gives a part of its catch.
    rate, past_rate
        Adults per trap-week of the reference design; NaN without a matched trap.
    ratio, low, high
        Of this season's rate to the last one's, with the ends of its `LEVEL` interval; `high` may
        be infinite; NaN with a reason.
    reason
        ``""`` or one of `NOT_COMPARED`.
    """

    past_start: date
    past_day: date
    traps: int = 0
    nights: int = 0
    treated_traps: int = 0
    adults: float = math.nan
    past_adults: float = math.nan
    rate: float = math.nan
    past_rate: float = math.nan
    ratio: float = math.nan
    low: float = math.nan
    high: float = math.nan
    reason: str = ""


def season_comparison(
    visits: pd.DataFrame,
    treatments: pd.DataFrame,
    this: tuple[date, date],
    past: tuple[date, date],
    *,
    seed: int = 0,
) -> SeasonComparison:
    """Return how this season's catch compares with the last one's.

    Parameters
    ----------
    visits
        Countable visits of both: `location_id`, `zone_id`, `set_on`, `checked_on`, `adults`, and
        `nights` of the reference design (`spatial.efficacy.countable_visits`).
    treatments
        `zone_id`, `applied_on`; may be empty.
    this
        First day of this season, and the last day that counts.
    past
        First and last day of the season before.
    seed
        Of the draws.

    Examples
    --------
    Six traps catch 2 beetles each in a week of May, and 4 in the same week of the year after:

    >>> days = pd.to_datetime(["2025-05-05", "2026-05-05"])
    >>> visits = pd.DataFrame({"location_id": np.repeat([f"T{n}" for n in range(6)], 2),
    ...     "zone_id": "A", "set_on": list(days) * 6, "adults": [2.0, 4.0] * 6, "nights": 7.0,
    ...     "checked_on": list(days + pd.Timedelta(days=7)) * 6})
    >>> none = pd.DataFrame({"zone_id": [], "applied_on": pd.to_datetime([])})
    >>> found = season_comparison(visits, none, (date(2026, 3, 1), date(2026, 5, 17)),
    ...                           (date(2025, 3, 1), date(2025, 8, 31)))
    >>> found.traps, found.past_rate, found.rate, found.ratio, found.low, found.high
    (6, 2.0, 4.0, 2.0, 2.0, 2.0)
    """
    length = (this[1] - this[0]).days
    past_day = min(past[0] + timedelta(days=length), past[1])
    found = SeasonComparison(past[0], past_day)
    if _inside(visits, past[0], past_day).empty:
        return replace(found, reason="no_past_season")
    treated = _treated(treatments, past[0], this[1])
    apart = visits["zone_id"].isin(treated)
    kept = _matched(visits[~apart], this, (past[0], past_day))
    left_out = len(_matched(visits[apart], this, (past[0], past_day))[0])
    return _compared(replace(found, treated_traps=left_out), kept, seed)


def site_comparison(site: Site, season: Season, *, seed: int = 0) -> SeasonComparison:
    """Return the same for a site, with all designs on the scale of the reference design.

    Parameters
    ----------
    site
        The checked site.
    season
        This season; its cut-off is the last day that counts.
    seed
        Of the draws.
    """
    scale = site_ratios(site, season)
    visits = countable_visits(site.visits, scale.traps, scale.by_design)
    past = season_bounds(season.start - timedelta(days=1), site.settings.season)
    this = (season.start, season.cutoff)
    return season_comparison(visits, site.treatments, this, past, seed=seed)


def _treated(treatments: pd.DataFrame, first: date, last: date) -> set[str]:
    if treatments.empty:
        return set()
    day = treatments["applied_on"]
    inside = (day >= pd.Timestamp(first)) & (day <= pd.Timestamp(last))
    return set(treatments.loc[inside, "zone_id"])


def _inside(visits: pd.DataFrame, first: date, last: date) -> pd.DataFrame:
    inside = (visits["set_on"] >= pd.Timestamp(first)) & (
        visits["checked_on"] <= pd.Timestamp(last)
    )
    return visits[inside & (visits["nights"] > 0)]


Matched = tuple[FloatArray, FloatArray, FloatArray]
"""By trap, adults and reference nights, shape (traps, 2: this season, the last), and nights that
match, shape (traps,)."""


def _matched(visits: pd.DataFrame, this: tuple[date, date], past: tuple[date, date]) -> Matched:
    """Return what every trap caught on the nights that it was out in both seasons."""
    names = np.unique(visits["location_id"].to_numpy(dtype=str))
    length = (this[1] - this[0]).days
    seasons = [
        _nightly(_inside(visits, *bounds), names, bounds[0], length) for bounds in (this, past)
    ]
    both = (seasons[0][1] > _NONE) & (seasons[1][1] > _NONE)
    sums = [[(part * both).sum(axis=1) for part in season] for season in seasons]
    adults, nights = (np.column_stack([season[k] for season in sums]) for k in (0, 1))
    matched = both.sum(axis=1).astype(float)
    there = matched > 0
    return adults[there], nights[there], matched[there]


_NONE = 1e-9
"""Effort of a night on which a trap was not out, but for rounding."""


def _nightly(
    visits: pd.DataFrame, names: NameArray, first: date, length: int
) -> tuple[FloatArray, FloatArray]:
    """Return catch and effort of every trap and night of a season, shape (traps, nights)."""
    trap = np.searchsorted(names, visits["location_id"].to_numpy(dtype=str))
    start = (visits["set_on"] - pd.Timestamp(first)).dt.days.to_numpy()
    stop = (visits["checked_on"] - pd.Timestamp(first)).dt.days.to_numpy()
    found = []
    for amount in ("adults", "nights"):
        each = visits[amount].to_numpy(dtype=float) / (stop - start)
        # Where each visit begins its share is added, where it ends it is taken away again.
        steps = np.zeros((len(names), length + 1))
        np.add.at(steps, (trap, start), each)
        np.add.at(steps, (trap, stop), -each)
        found.append(np.maximum(np.cumsum(steps, axis=1)[:, :-1], 0.0))
    return found[0], found[1]


def _compared(found: SeasonComparison, kept: Matched, seed: int) -> SeasonComparison:
    adults, nights, matched = kept
    if not len(adults):
        return replace(found, reason="treated_season" if found.treated_traps else "few_traps")
    caught = adults.sum(axis=0)
    rate = 7 * caught / nights.sum(axis=0)
    seen = replace(
        found,
        traps=len(adults),
        nights=round(float(matched.sum())),
        adults=float(caught[0]),
        past_adults=float(caught[1]),
        rate=float(rate[0]),
        past_rate=float(rate[1]),
    )
    reason = _reason(seen)
    if reason:
        return replace(seen, reason=reason)
    low, high = _interval(adults, nights, seed)
    return replace(seen, ratio=float(rate[0] / rate[1]), low=low, high=high)


def _reason(seen: SeasonComparison) -> str:
    if seen.traps < FEWEST_TRAPS:
        return "treated_season" if seen.treated_traps else "few_traps"
    if seen.adults + seen.past_adults < FEWEST_BEETLES:
        return "few_beetles"
    if seen.past_adults < FEWEST_BEETLES:
        return "few_before"
    return "few_now" if seen.adults < FEWEST_BEETLES else ""


def _interval(adults: FloatArray, nights: FloatArray, seed: int) -> tuple[float, float]:
    """Return the ends of the interval of the ratio; the upper one may be infinite."""
    random = np.random.default_rng(seed)
    times = random.multinomial(len(adults), np.full(len(adults), 1 / len(adults)), DRAWS)
    rates = (times @ adults) / (times @ nights)
    told = rates[rates.sum(axis=1) > 0]
    with np.errstate(divide="ignore"):
        ratios = told[:, 0] / told[:, 1]
    # No value between two draws is taken: one of them may be infinite.
    ends = np.quantile(ratios, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], method="inverted_cdf")
    return float(ends[0]), float(ends[1])
