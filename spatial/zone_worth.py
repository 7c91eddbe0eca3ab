"""What the 1st, 2nd, ... trap of every zone is worth: hectares that it is expected to settle.

In a zone with a limit, a trap settles the zone's area times the rise of the chance that the season
decides (`spatial.trap_gain.undecided_curve`). In a zone without one there is nothing to decide;
there, a hectare is as unsettled as the error of its log rate is large, `SD_UNKNOWN` being a hectare
of which nothing is known. Both are hectares, so that traps can be compared between zones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from spatial.arrays import FloatArray
from spatial.more_evidence import Cutoffs, Trapping, information
from spatial.trap_gain import ZoneNow, never_rising, undecided_curve, width_curve

SD_UNKNOWN = 1.0
"""Standard deviation of the log rate of a zone of which only its use is known: 0.14 to 7 times what
its use catches (common practice, no source)."""

SD_YEARS = 0.5
"""Standard deviation that a year adds to the log rate of a zone (common practice, no source)."""

MOST = 6
"""New traps in one zone that are weighed."""

_CERTAIN = 1e-6


@dataclass(frozen=True, slots=True)
class ZoneStand:
    """What is known of a zone's catch, and what is still to come.

    Parameters
    ----------
    area_ha
        Of the zone.
    rate
        Expected adults per trap-week of the reference design; above 0.
    limit
        The limit for adults; NaN without one.
    p_above
        Chance that the rate is over it; NaN if no model says so.
    log_sd
        Standard deviation of the log rate; NaN if nothing was counted (see `error_of_counts`).
    traps
        Spots in use.
    trap_weeks
        Their trap-weeks so far.
    k
        Of a trap's catch around its zone's rate.
    """

    area_ha: float
    rate: float
    limit: float
    p_above: float
    log_sd: float
    traps: int
    trap_weeks: float
    k: float


def unsettled_ha(
    zone: ZoneStand, cutoffs: Cutoffs, weeks: int, *, next_season: bool = False
) -> FloatArray:
    """Return the hectares that are expected to stay unsettled with 0, 1, ... traps from now on.

    Parameters
    ----------
    zone
        The zone.
    cutoffs
        When a zone is decided.
    weeks
        Whole weeks that the traps will be out.
    next_season
        Whether these are weeks of the next season, for which this one is only a hint.

    Returns
    -------
    ndarray
        Shape (traps + `MOST` + 1,): the traps that stand today come first.

    Examples
    --------
    A hectare near its limit with two traps out for four weeks, and eight weeks to go; then the same
    hectare without a trap:

    >>> zone = ZoneStand(1.0, 2.2, 2.0, 0.6, 0.5, traps=2, trap_weeks=8.0, k=1.5)
    >>> unsettled_ha(zone, Cutoffs(), weeks=8).round(2)[:5].tolist()
    [1.0, 1.0, 0.99, 0.76, 0.63]
    >>> bare = replace(zone, traps=0, trap_weeks=0.0, p_above=math.nan, log_sd=math.nan)
    >>> unsettled_ha(bare, Cutoffs(), weeks=8).round(2)[:4].tolist()
    [1.0, 0.52, 0.39, 0.32]
    """
    now = _known(zone, next_season=next_season)
    if math.isnan(zone.limit):
        return _by_error(zone, now, weeks)
    told = not math.isnan(zone.p_above) and not next_season
    decided = told and (zone.p_above >= cutoffs.above or zone.p_above <= cutoffs.below)
    # Without any trap from now on it stays as it is, be it by traps that are gone.
    none = 0.0 if decided else zone.area_ha
    some = [_with(zone, now, count, cutoffs, weeks) for count in range(1, now.traps)]
    later = undecided_curve(ZoneNow(now, zone.area_ha, weeks), cutoffs, MOST)
    left = [none, *some, *later] if now.traps else [none, *later[1:]]
    return np.minimum.accumulate(np.asarray(left, dtype=float))


def worth_steps(left: Sequence[FloatArray], standing: Sequence[int]) -> FloatArray:
    """Return what every trap settles, never rising: `spatial.trap_ground.Ground.steps`.

    New traps that only settle something together share it (`spatial.trap_gain.never_rising`), but
    never with traps that stand. One that stands counts at least as much as the first new one, so
    that traps are not moved out of zones that want more.

    Parameters
    ----------
    left
        `unsettled_ha` of every zone.
    standing
        Traps that stand in it today.

    Examples
    --------
    >>> worth_steps([np.array([1.0, 0.4, 0.3]), np.array([2.0, 2.0])], [0, 0]).round(2).tolist()
    [[0.6, 0.1], [0.0, 0.0]]

    Two traps stand that settle nothing yet; two new ones settle .6 together:

    >>> worth_steps([np.array([1.0, 1.0, 1.0, 0.9, 0.4])], [2]).round(2).tolist()
    [[0.3, 0.3, 0.3, 0.3]]
    """
    steps = [_steps(each, count) for each, count in zip(left, standing, strict=True)]
    table = np.zeros((len(steps), max((len(each) for each in steps), default=0)))
    for row, each in enumerate(steps):
        table[row, : len(each)] = each
    return table


def error_of_counts(expected: FloatArray, k: float) -> float:
    """Return the standard deviation of a zone's log rate from its counts alone.

    Parameters
    ----------
    expected
        Expected catch of every trap to date, those that are gone included.
    k
        Of a trap's catch.

    Examples
    --------
    >>> round(error_of_counts(np.array([10.0, 10.0]), 1.5), 3)
    0.526
    """
    told = float(np.sum(information(expected, k)))
    return float((SD_UNKNOWN**-2 + told) ** -0.5)


def _steps(left: FloatArray, standing: int) -> FloatArray:
    new = never_rising(left[standing] - left[standing + 1 :])
    there = never_rising(left[0] - left[1 : standing + 1])
    least = new[0] if len(new) else 0.0
    return np.concatenate([np.maximum(there, least), new])


def _known(zone: ZoneStand, *, next_season: bool) -> Trapping:
    """Return what is known now; a vague guess where nothing is."""
    log_sd = SD_UNKNOWN if math.isnan(zone.log_sd) else zone.log_sd
    log_sd = math.hypot(log_sd, SD_YEARS) if next_season else log_sd
    p_above = zone.p_above
    if not math.isnan(zone.limit) and (math.isnan(p_above) or next_season):
        p_above = float(ndtr(math.log(zone.rate / zone.limit) / log_sd))
    weeks = 0.0 if next_season else zone.trap_weeks
    sure = min(max(0.5 if math.isnan(p_above) else p_above, _CERTAIN), 1 - _CERTAIN)
    limit = 1.0 if math.isnan(zone.limit) else zone.limit
    return Trapping(sure, log_sd, limit, zone.traps, weeks, zone.k)


def _with(zone: ZoneStand, now: Trapping, count: int, cutoffs: Cutoffs, weeks: int) -> float:
    """Return what stays unsettled if only so many of the traps of today go on."""
    some = replace(now, traps=count, trap_weeks=now.trap_weeks * count / now.traps)
    return float(undecided_curve(ZoneNow(some, zone.area_ha, weeks), cutoffs, 0)[0])


def _by_error(zone: ZoneStand, now: Trapping, weeks: int) -> FloatArray:
    def error(count: int, most: int) -> FloatArray:
        share = count / max(now.traps, 1)
        some = replace(now, traps=count, trap_weeks=now.trap_weeks * share)
        # The width is that of the interval that holds 2 standard deviations in all.
        return width_curve(ZoneNow(some, zone.area_ha, weeks), zone.rate, _ONE_SD, most) / 2

    left = [error(count, 0)[0] for count in range(now.traps)]
    share = np.concatenate([left, error(now.traps, MOST)]) / SD_UNKNOWN
    return np.asarray(zone.area_ha * np.minimum(share, 1.0), dtype=float)


_ONE_SD = float(2 * ndtr(1.0) - 1)
"""Level of the interval one standard deviation either way."""
