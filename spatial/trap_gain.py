"""What the next 1, 2, ... 20 traps in a zone buy: less undecided area, or a narrower interval.

In closed form, from what the zone model says today, as `spatial.more_evidence` does it and with its
assumptions. Where a zone has a limit, a trap buys expected undecided area: the zone's area times
the rise of the chance that the rest of the season decides. Where none is set there is nothing to
decide; then it buys a narrower interval of the zone's rate (posterior, of the log rate).

The chance to decide may rise slowly at first: a single trap at a rate near the limit decides hardly
ever, five do. A choice that looks one trap ahead would never begin; so `never_rising` spreads such
gains evenly over the traps that reach them, which overstates the first of them and no total that
is reached.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from spatial.arrays import FloatArray
from spatial.more_evidence import (
    MOST_TRAPS,
    Cutoffs,
    Trapping,
    chance_of_trapping,
    information,
)


@dataclass(frozen=True, slots=True)
class ZoneNow:
    """A zone as it stands.

    Parameters
    ----------
    trapping
        What its traps have told; for a zone without traps, what the model takes such a zone to
        be, with ``traps=0`` and ``trap_weeks=0``.
    area_ha
        Of the zone.
    weeks_left
        Whole weeks that new traps would be out this season; 0 buys nothing.
    """

    trapping: Trapping
    area_ha: float
    weeks_left: int


def undecided_curve(zone: ZoneNow, cutoffs: Cutoffs, most: int = MOST_TRAPS) -> FloatArray:
    """Return the expected undecided hectares of a zone with a limit at season's end.

    A zone without traps is undecided until it gets one, whatever the model takes it to be.

    Parameters
    ----------
    zone
        With the user's limit in `Trapping.limit`.
    cutoffs
        When a zone is decided.
    most
        Curve up to so many new traps.

    Examples
    --------
    A hectare with four traps out for four weeks, near its limit, with eight weeks to go:

    >>> now = Trapping(p_above=0.6, log_sd=0.5, limit=2.0, traps=4, trap_weeks=16.0, k=1.5)
    >>> found = undecided_curve(ZoneNow(now, area_ha=1.0, weeks_left=8), Cutoffs())
    >>> found[[0, 1, 5, 20]].round(2).tolist()
    [0.94, 0.73, 0.44, 0.24]
    """
    new = np.arange(most + 1)
    if zone.weeks_left < 1:
        return np.full(most + 1, zone.area_ha)
    if zone.trapping.traps > 0:
        chance = _chance(zone.trapping, cutoffs, zone.weeks_left, new)
    else:
        # The first new trap stands in for the trap that the formula starts from.
        first = replace(zone.trapping, traps=1, trap_weeks=0.0)
        later = _chance(first, cutoffs, zone.weeks_left, new[:-1])
        chance = np.concatenate([[0.0], later])
    return np.asarray(zone.area_ha * (1.0 - chance), dtype=float)


def width_curve(
    zone: ZoneNow, rate: float, level: float = 0.8, most: int = MOST_TRAPS
) -> FloatArray:
    """Return the expected width of the interval of a zone's rate, for zones without a limit.

    Parameters
    ----------
    zone
        Its limit and chance are not looked at.
    rate
        Adults per trap-week, as known now.
    level
        Of the interval.
    most
        Curve up to so many new traps.

    Returns
    -------
    ndarray
        In natural logs, with 0, 1, ... new traps: its exponential is upper over lower end.

    Examples
    --------
    >>> now = Trapping(p_above=0.5, log_sd=0.5, limit=1.0, traps=4, trap_weeks=16.0, k=1.5)
    >>> found = width_curve(ZoneNow(now, area_ha=1.0, weeks_left=8), rate=2.0)
    >>> np.exp(found[[0, 1, 20]]).round(2).tolist()
    [3.31, 2.86, 1.57]
    """
    now = zone.trapping
    new = np.arange(most + 1)
    more = rate * zone.weeks_left
    gained = new * information(more, now.k)
    if now.traps > 0:
        so_far = rate * now.trap_weeks / now.traps
        gained = gained + now.traps * (
            information(so_far + more, now.k) - information(so_far, now.k)
        )
    sd = 1 / np.sqrt(now.log_sd**-2 + gained)
    return np.asarray(2 * float(ndtri((1 + level) / 2)) * sd, dtype=float)


def never_rising(drop: npt.ArrayLike) -> FloatArray:
    """Return steps that never rise and never total less than a curve of gains.

    They are the steps of the lowest concave curve above it, from nothing at no trap; losses count
    as nothing.

    Parameters
    ----------
    drop
        What 1, 2, ... traps gain together, shape (n,).

    Examples
    --------
    The first trap gains nothing, two gain 4, three 5: the 4 are shared by the first two.

    >>> never_rising([0.0, 4.0, 5.0]).tolist()
    [2.0, 2.0, 1.0]
    """
    reached = np.maximum.accumulate(np.concatenate([[0.0], np.asarray(drop, dtype=float)]))
    corners = [0]
    while corners[-1] < len(reached) - 1:
        rest = np.arange(corners[-1] + 1, len(reached))
        slope = (reached[rest] - reached[corners[-1]]) / (rest - corners[-1])
        # Of equally steep ways the farthest, or rounding would make steps that rise.
        steepest = np.flatnonzero(slope >= slope.max() * (1 - 1e-12))[-1]
        corners.append(int(rest[steepest]))
    curve = np.interp(np.arange(len(reached)), corners, reached[corners])
    return np.minimum.accumulate(np.maximum(np.diff(curve), 0.0))


def _chance(now: Trapping, cutoffs: Cutoffs, weeks: int, new: npt.NDArray[np.int64]) -> FloatArray:
    if not (0 < now.p_above < 1 and now.log_sd > 0):
        message = (
            "expected p_above strictly between 0 and 1 and log_sd above 0, "
            f"found {now.p_above:g} and {now.log_sd:g}"
        )
        raise ValueError(message)
    chance = chance_of_trapping(now, cutoffs, np.array(weeks), new)
    return np.asarray(np.clip(chance, 0.0, 1.0), dtype=float)
