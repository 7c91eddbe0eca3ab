"""What more of trapping or coring would most cheaply decide an undecided zone.

Both answers are in closed form, without simulation, and take today's uncertainty for what it is:
the truth may lie anywhere that today's evidence allows. A plan is good enough when it is as likely
as not to decide, one way or the other (`WANTED`). More cannot be asked in earnest: a zone at its
limit needs 2.6 times the information it has for an even chance, and 12 times for a chance of .8.

Traps: the log rate of the zone is taken as normal now, with the standard deviation that the zone
model gives it; a trap with expected catch m adds ``k m / (k + m)`` to the precision of the log rate
(negative binomial information). More weeks at the same traps add ever less, more traps do not.
Beside simulated catches of new traps the chances are right to .06.

Cores: larvae of n more cores given those of the M cut so far are beta negative binomial, exactly so
for cores of one diameter (`spatial.larvae`). Without a core so far there is nothing to go on; the
number is then the one that tells half the limit from twice the limit, either with `RIGHT`.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, betaln, gammaln, ndtr, ndtri

from spatial.arrays import FloatArray, IntArray
from spatial.exposure import NIGHTS_PER_WEEK
from spatial.larvae import LarvalSample, chance_over

WANTED = 0.5
"""Chance that a plan decides (common practice, no source)."""

RIGHT = 0.8
"""Without a core so far: chance of the right decision at either density (common practice, no
source)."""

MOST_WEEKS = 8
MOST_TRAPS = 20
MOST_CORES = 200
"""Beyond these a plan is no plan (common practice, no source)."""

FOLD = 2.0
"""Without a core so far: densities this much under and over the limit must be told apart."""


@dataclass(frozen=True, slots=True)
class Cutoffs:
    """Chances of being over the limit from which a zone is above it, and up to which below it.

    Parameters
    ----------
    above, below
        ``below <= above``.
    """

    above: float = 0.8
    below: float = 0.2


@dataclass(frozen=True, slots=True)
class Trapping:
    """What the traps of one zone have told so far.

    Parameters
    ----------
    p_above
        Chance that the rate is over the limit, strictly between 0 and 1.
    log_sd
        Standard deviation of the log rate; see `log_sd_of`.
    limit
        Adults per trap-week.
    traps
        Traps with countable nights, at least 1.
    trap_weeks
        Their trap-weeks together.
    k
        Of the season's catch of a trap around the zone's rate.
    """

    p_above: float
    log_sd: float
    limit: float
    traps: int
    trap_weeks: float
    k: float


@dataclass(frozen=True, slots=True)
class MoreTrapping:
    """More trapping that would decide.

    Parameters
    ----------
    weeks
        Weeks more for the traps that are there, and for the new ones.
    new_traps
        Traps to add.
    visits, nights
        Visits to all of them, setting new ones included, and their trap-nights.
    chance
        Chance that it decides.
    minutes
        Visits times minutes per trap; None when not known.
    """

    weeks: int
    new_traps: int
    visits: int
    nights: int
    chance: float
    minutes: float | None


@dataclass(frozen=True, slots=True)
class MoreCoring:
    """More cores that would decide.

    Parameters
    ----------
    cores
        Cores to cut, on top of those that count.
    basis
        ``"expected"``: given the larvae found so far. ``"twofold"``: without a core so far, half
        the limit is told from twice the limit.
    chance
        Chance that they decide; for ``"twofold"`` the smaller of the two.
    minutes
        Cores times minutes per core; None when not known.
    """

    cores: int
    basis: str
    chance: float
    minutes: float | None


def log_sd_of(low: float, high: float, level: float = 0.8) -> float:
    """Return the standard deviation of a log rate from its interval.

    Examples
    --------
    >>> round(log_sd_of(1.0, 4.0, 0.95), 3)
    0.354
    """
    return (math.log(high) - math.log(low)) / (2 * float(ndtri((1 + level) / 2)))


def more_trapping(
    now: Trapping,
    cutoffs: Cutoffs,
    minutes_per_trap: float | None = None,
    *,
    most_weeks: int = MOST_WEEKS,
) -> MoreTrapping | None:
    """Return the fewest visits that are as likely as not to decide.

    Parameters
    ----------
    now
        What is known; assumes that traps were out about equally long, and that beetles go on
        walking as they have.
    cutoffs
        When a zone is decided.
    minutes_per_trap
        Of one visit.
    most_weeks
        Weeks that are left for it.

    Returns
    -------
    MoreTrapping or None
        None when `MOST_TRAPS` more for that long, and no longer than `MOST_WEEKS`, would not do.

    Examples
    --------
    Four traps of four weeks at a rate near the limit of 2:

    >>> now = Trapping(p_above=0.6, log_sd=0.5, limit=2.0, traps=4, trap_weeks=16.0, k=1.5)
    >>> plan = more_trapping(now, Cutoffs(), minutes_per_trap=3.0)
    >>> plan.new_traps, plan.weeks, plan.visits, plan.nights, plan.minutes
    (7, 1, 18, 77, 54.0)
    """
    weeks = np.arange(1, min(MOST_WEEKS, most_weeks) + 1)[:, None]
    new = np.arange(MOST_TRAPS + 1)[None, :]
    chance = chance_of_trapping(now, cutoffs, weeks, new)
    visits = np.where(chance >= WANTED, now.traps * weeks + new * (weeks + 1), np.inf)
    if not np.isfinite(visits).any():
        return None
    # Of equally many visits those with fewer new traps, which have to be dug in.
    best = np.lexsort((np.broadcast_to(new, visits.shape).ravel(), visits.ravel()))[0]
    row, column = divmod(int(best), visits.shape[1])
    count = int(visits[row, column])
    return MoreTrapping(
        weeks=row + 1,
        new_traps=column,
        visits=count,
        nights=int(NIGHTS_PER_WEEK) * (row + 1) * (now.traps + column),
        chance=float(chance[row, column]),
        minutes=None if minutes_per_trap is None else count * minutes_per_trap,
    )


def chance_of_trapping(
    now: Trapping, cutoffs: Cutoffs, weeks: IntArray, new_traps: IntArray
) -> FloatArray:
    """Return the chance that more trapping decides, in the shape of both numbers together.

    With variance s**2 of the log rate now and t**2 after, its mean moves by a normal amount of
    variance s**2 - t**2, and the chance of being over the limit after is that of a normal with
    the new mean and t.

    Examples
    --------
    >>> now = Trapping(p_above=0.6, log_sd=0.5, limit=2.0, traps=4, trap_weeks=16.0, k=1.5)
    >>> chance_of_trapping(now, Cutoffs(), np.array([1, 4]), np.array([0, 6])).round(2).tolist()
    [0.0, 0.57]
    """
    over = now.log_sd * float(ndtri(now.p_above))
    rate = now.limit * math.exp(over)
    so_far = rate * now.trap_weeks / now.traps
    more = np.asarray(rate * weeks, dtype=float)
    there = now.traps * (information(so_far + more, now.k) - information(so_far, now.k))
    gained = there + np.asarray(new_traps, dtype=float) * information(more, now.k)
    after = np.sqrt(1 / (now.log_sd**-2 + gained))
    moved = np.sqrt(np.maximum(now.log_sd**2 - after**2, 1e-12))
    above = ndtr((over - after * ndtri(cutoffs.above)) / moved)
    below = ndtr((after * ndtri(cutoffs.below) - over) / moved)
    return np.asarray(above + below, dtype=float)


def information(mean: npt.ArrayLike, k: float) -> FloatArray:
    """Return the information of one count about the log of its mean."""
    m = np.asarray(mean, dtype=float)
    return m if math.isinf(k) else np.asarray(k * m / (k + m), dtype=float)


@dataclass(frozen=True, slots=True)
class Coring:
    """What cores are to decide.

    Parameters
    ----------
    limit_per_m2
        Larvae per m2.
    k
        Of larvae per core, finite.
    core_area_m2
        Area of one core that is to be cut.
    min_cores
        Fewer cores in all decide nothing.
    """

    limit_per_m2: float
    k: float
    core_area_m2: float
    min_cores: int = 10


def more_coring(
    sample: LarvalSample | None,
    wanted: Coring,
    cutoffs: Cutoffs,
    minutes_per_core: float | None = None,
) -> MoreCoring | None:
    """Return the fewest more cores that are as likely as not to decide.

    Parameters
    ----------
    sample
        The cores that count so far, or None.
    wanted
        What they are to decide.
    cutoffs
        When a zone is decided.
    minutes_per_core
        To cut and search one.

    Returns
    -------
    MoreCoring or None
        None when `MOST_CORES` would not do. Numbers over 20 are rounded up to fives, over 50 to
        tens.

    Examples
    --------
    No core yet; a limit of 10 larvae per square foot (108 per m2), cup-cutter cores, k = 1:

    >>> plan = more_coring(None, Coring(107.6, 1.0, 0.009153), Cutoffs(), minutes_per_core=4.0)
    >>> plan.cores, plan.basis, plan.minutes
    (14, 'twofold', 56.0)
    """
    so_far = sample.cores if sample else 0
    basis = "expected" if sample else "twofold"

    def chance(more: int) -> float:
        if sample:
            return chance_of_coring(sample, more, wanted, cutoffs)
        return _twofold(more, wanted, cutoffs)

    found = _fewest(chance, max(1, wanted.min_cores - so_far), WANTED if sample else RIGHT)
    if found is None:
        return None
    minutes = None if minutes_per_core is None else found * minutes_per_core
    return MoreCoring(found, basis, chance(found), minutes)


def chance_of_coring(sample: LarvalSample, more: int, wanted: Coring, cutoffs: Cutoffs) -> float:
    """Return the chance that so many more cores decide, given the larvae found so far.

    Examples
    --------
    Eight larvae in ten cores, near the limit; ten more decide about every second time:

    >>> from datetime import date
    >>> so_far = LarvalSample(10, 8, 0.09153, date(2026, 6, 20), date(2026, 6, 20))
    >>> round(chance_of_coring(so_far, 10, Coring(107.6, 1.0, 0.009153), Cutoffs()), 2)
    0.51
    """
    size_now, size_new = wanted.k * sample.cores, wanted.k * more
    area = sample.area_m2 + more * wanted.core_area_m2
    above, below = _bounds(wanted.limit_per_m2 * area, size_now + size_new, cutoffs)
    first, last = above - sample.larvae, below - sample.larvae
    if first <= 0 or last >= first - 1:
        return 1.0
    new = np.arange(max(last + 1, 0), first)
    log_share = (
        gammaln(new + size_new)
        - gammaln(size_new)
        - gammaln(new + 1)
        + betaln(sample.larvae + 0.5 + new, size_now + size_new)
        - betaln(sample.larvae + 0.5, size_now)
    )
    return float(1 - np.exp(log_share).sum())


def _twofold(cores: int, wanted: Coring, cutoffs: Cutoffs) -> float:
    """Return the smaller chance of a right decision at half and at twice the limit."""
    size, at_limit = wanted.k * cores, wanted.limit_per_m2 * cores * wanted.core_area_m2
    above, below = _bounds(at_limit, size, cutoffs)
    low = _chance_up_to(below, at_limit / FOLD, size)
    high = 1 - _chance_up_to(above - 1, at_limit * FOLD, size)
    return min(low, high)


def _chance_up_to(count: int, mean: float, size: float) -> float:
    """Return the chance of at most so many, negative binomial."""
    return float(betainc(size, count + 1, size / (size + mean))) if count >= 0 else 0.0


def _bounds(mean: float, size: float, cutoffs: Cutoffs) -> tuple[int, int]:
    """Return the fewest larvae that are above a limit, and the most that are below it."""

    def chance(count: int) -> float:
        return chance_over(count, size, mean)

    # The chance of being over the limit rises with the larvae found.
    counts = range(math.ceil(mean + 20 * math.sqrt(mean + mean**2 / size)) + 20)
    first = bisect_left(counts, cutoffs.above, key=chance)
    return first, bisect_right(counts, cutoffs.below, key=chance) - 1


def _fewest(chance: Callable[[int], float], least: int, wanted: float) -> int | None:
    """Return the first number from `least` on whose chance is good enough."""
    tried = [*range(1, 20), *range(20, 50, 5), *range(50, MOST_CORES + 1, 10)]
    numbers = [least, *(number for number in tried if number > least)]
    return next((number for number in numbers if chance(number) >= wanted), None)
