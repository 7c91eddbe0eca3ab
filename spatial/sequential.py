"""A chart that says after each trap-visit or core: below the limit, above it, or go on.

Wald's sequential probability ratio test between two negative binomial means on either side of a
limit, with a common k. Two straight lines bound the running total. Because Wald's formulas ignore
that counts are whole, that one stops at a last unit, and that one starts with a least number, what
the chart really does is simulated and shown beside them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from data.findings import SettingsError
from spatial.arrays import FloatArray, IntArray
from spatial.cores import larvae_per_ft2

AtEnd = Literal["undecided", "nearer"]

AT_END: tuple[AtEnd, ...] = ("undecided", "nearer")
"""What is said at the last unit when no line was reached: undecided, or the state whose line is
nearer (half-way between them is above)."""

DECISIONS = ("below", "above", "go_on", "undecided")
"""What the chart says at a unit; `undecided` only at the last."""

NO_CHART = ("no_k", "k_inf", "too_few_units")
"""Why there is no chart: k is not known; it is infinite, so the chart would be that of chance alone
and too sure of itself; or not even a count of nothing at all could say "below" by the last unit."""

_SLACK = 1e-9
"""Rounding errors must not move a line across a whole number."""


@dataclass(frozen=True, slots=True)
class Hypotheses:
    """The two means that are told apart, and how often one may err.

    Parameters
    ----------
    low_mean, high_mean
        Counts per unit that are clearly below and clearly above the limit.
    alpha
        Chance of "above" where the mean is `low_mean`.
    beta
        Chance of "below" where the mean is `high_mean`.
    limit
        The limit they stand round, per unit; NaN where it was not given.

    Raises
    ------
    SettingsError
        Unless 0 < low_mean < high_mean, both errors lie between 0 and 0.5, and the limit, if
        given, lies between the means.
    """

    low_mean: float
    high_mean: float
    alpha: float = 0.1
    beta: float = 0.1
    limit: float = math.nan

    def __post_init__(self) -> None:
        if not 0 < self.low_mean < self.high_mean < math.inf:
            raise SettingsError(
                "the lower mean must be above 0 and below the upper one; "
                f"got {self.low_mean:g} and {self.high_mean:g}"
            )
        if not (0 < self.alpha < 0.5 and 0 < self.beta < 0.5):
            raise SettingsError(
                f"alpha and beta must lie between 0 and 0.5; got {self.alpha:g} and {self.beta:g}"
            )
        if not (math.isnan(self.limit) or self.low_mean <= self.limit <= self.high_mean):
            raise SettingsError(
                f"the limit must lie between the two means; got {self.limit:g} for "
                f"{self.low_mean:g} and {self.high_mean:g}"
            )


def around(limit: float, fold: float = 1.5, *, alpha: float = 0.1, beta: float = 0.1) -> Hypotheses:
    """Return the means limit / fold and limit x fold.

    Parameters
    ----------
    limit
        Counts per unit that the zone may carry: the user's; see `limit_per_visit` and
        `limit_per_core`.
    fold
        Above 1. Nearer to 1 needs many more units (1.5 is common practice, no source).
    alpha, beta
        See `Hypotheses`.

    Raises
    ------
    SettingsError
        If `limit` is not above 0 or `fold` not above 1.

    Examples
    --------
    >>> means = around(3, 2)
    >>> means.low_mean, means.high_mean
    (1.5, 6)
    """
    if not (0 < limit < math.inf and 1 < fold < math.inf):
        raise SettingsError(
            f"the limit must be above 0 and fold above 1; got {limit:g} and {fold:g}"
        )
    return Hypotheses(limit / fold, limit * fold, alpha, beta, limit)


def limit_per_visit(rate: float, nights: float) -> float:
    """Return a limit in adults per trap-week as adults per trap-visit of some nights.

    Examples
    --------
    >>> limit_per_visit(7.0, nights=3)
    3.0
    """
    return rate * nights / 7


def limit_per_core(per_ft2: float, diameter_cm: float) -> float:
    """Return a limit in larvae per square foot as larvae per core.

    Examples
    --------
    Five a square foot is one larva in every second core of a 4.25-inch cup cutter:

    >>> round(limit_per_core(5, 10.795), 2)
    0.49
    """
    return per_ft2 / larvae_per_ft2(1, 1, diameter_cm)


@dataclass(frozen=True, slots=True)
class DecisionChart:
    """Two lines for the running total T after n units, and what is said at the last unit.

    T <= lower + slope n says "below"; T >= upper + slope n says "above".

    Parameters
    ----------
    means
        What is told apart.
    k
        Common k.
    slope, lower, upper
        The lines; NaN where there is no chart.
    least, most
        First unit at which the chart may speak, and the last.
    at_end
        One of `AT_END`.
    reason
        Empty, or one of `NO_CHART`.
    """

    means: Hypotheses
    k: float
    slope: float
    lower: float
    upper: float
    least: int
    most: int
    at_end: AtEnd
    reason: str = ""

    @property
    def units(self) -> IntArray:
        """Units 1 to `most`."""
        return np.arange(1, self.most + 1)

    @property
    def below_at_most(self) -> IntArray:
        """Largest running total that says "below" at each unit, shape (most,); -1 for none."""
        line = np.floor(self.lower + self.slope * self.units + _SLACK)
        return np.where(self.units < self.least, -1, np.maximum(line, -1)).astype(np.int64)

    @property
    def above_at_least(self) -> IntArray:
        """Smallest running total that says "above" at each unit, shape (most,); -1 for none."""
        line = np.ceil(self.upper + self.slope * self.units - _SLACK)
        return np.where(self.units < self.least, -1, line).astype(np.int64)

    @property
    def middle(self) -> int:
        """Smallest running total at the last unit that is nearer to "above"."""
        return math.ceil(self.slope * self.most + (self.lower + self.upper) / 2 - _SLACK)

    def decision(self, units: int, total: float) -> str:
        """Return one of `DECISIONS` for a running total.

        Raises
        ------
        ValueError
            If `units` is not one of the chart's, or there is no chart.
        """
        if self.reason or not 1 <= units <= self.most:
            raise ValueError(
                f"expected a chart and 1 to {self.most} units; "
                f"found reason {self.reason!r} and {units} units"
            )
        above, below = self.above_at_least[units - 1], self.below_at_most[units - 1]
        if above >= 0 and total >= above:
            return "above"
        if total <= below:
            return "below"
        if units < self.most:
            return "go_on"
        if self.at_end == "undecided":
            return "undecided"
        return "above" if total >= self.middle else "below"


def decision_chart(
    means: Hypotheses, k: float, *, least: int = 1, most: int = 30, at_end: AtEnd = "undecided"
) -> DecisionChart:
    """Return Wald's lines for negative binomial counts with a common k.

    With d = ln(m1 (m0 + k) / (m0 (m1 + k))): slope k ln((m1 + k) / (m0 + k)) / d, lower intercept
    ln(beta / (1 - alpha)) / d, upper intercept ln((1 - beta) / alpha) / d.

    Parameters
    ----------
    means
        What is told apart, m0 below m1.
    k
        Common k; take the low end of its interval to be on the safe side.
    least, most
        First unit at which the chart may speak, and the last.
    at_end
        What is said at the last unit without a line reached, one of `AT_END`.

    Raises
    ------
    SettingsError
        Unless 1 <= least <= most and `at_end` is known.

    References
    ----------
    Wald, A. (1947). Sequential analysis. Wiley, New York.

    Examples
    --------
    Two against four per unit, k 4.6. Counts 2, 5, 6, 2, 7 are above at the fifth:

    >>> chart = decision_chart(Hypotheses(2, 4), 4.6)
    >>> round(chart.slope, 6), round(chart.lower, 6), round(chart.upper, 6)
    (2.841808, -5.128255, 5.128255)
    >>> [chart.decision(n + 1, total) for n, total in enumerate([2, 7, 13, 15, 22])]
    ['go_on', 'go_on', 'go_on', 'go_on', 'above']
    """
    if not 1 <= least <= most or at_end not in AT_END:
        raise SettingsError(
            "least must be 1 or more and not above most, and at_end one of "
            f'{", ".join(AT_END)}; got {least}, {most} and "{at_end}"'
        )
    if not 0 < k < math.inf:
        reason = "k_inf" if k == math.inf else "no_k"
        return DecisionChart(means, k, *(math.nan,) * 3, least, most, at_end, reason)
    rise, fall = _log_ratios(means, k)
    lower = math.log(means.beta / (1 - means.alpha)) / rise
    upper = math.log((1 - means.beta) / means.alpha) / rise
    slope = -k * fall / rise
    # "Above" can always be reached by a high enough count; "below" needs the line above zero.
    reason = "" if lower + slope * most + _SLACK >= 0 else "too_few_units"
    return DecisionChart(means, k, slope, lower, upper, least, most, at_end, reason)


def _log_ratios(means: Hypotheses, k: float) -> tuple[float, float]:
    """Return ln of the ratios, high to low, of m / (m + k) (above 0) and of k / (m + k)."""
    fall = math.log((means.low_mean + k) / (means.high_mean + k))
    return math.log(means.high_mean / means.low_mean) + fall, fall


@dataclass(frozen=True, slots=True)
class Performance:
    """What a chart does at each true mean.

    Parameters
    ----------
    mean
        True means per unit, shape (m,).
    below, above, undecided
        Simulated shares of each verdict, shape (m,); `below` is the operating characteristic.
    units
        Simulated average sample number, shape (m,).
    wald_below, wald_units
        Wald's approximations of the two, for the chart's own k and no last unit, shape (m,).
    k
        k of the simulated counts.
    runs
        Trials per mean.
    """

    mean: FloatArray
    below: FloatArray
    above: FloatArray
    undecided: FloatArray
    units: FloatArray
    wald_below: FloatArray
    wald_units: FloatArray
    k: float
    runs: int


def performance(
    chart: DecisionChart,
    means: npt.ArrayLike | None = None,
    *,
    k: float | None = None,
    runs: int = 4000,
    seed: int = 0,
) -> Performance:
    """Simulate what a chart decides, and after how many units.

    Parameters
    ----------
    chart
        A chart without a `reason`.
    means
        True means per unit, above zero; None takes eleven from a quarter of the low mean to twice
        the high one, with both and the limit (or slope) among them.
    k
        k of the simulated counts; None takes the chart's. Another one shows what the chart does
        where beetles are patchier than it was made for.
    runs, seed
        Trials per mean (the standard error of a share is at most 0.5 / sqrt(runs)), and the seed.

    Raises
    ------
    ValueError
        If there is no chart, or a mean or k is not above zero and finite.

    Examples
    --------
    >>> chart = decision_chart(Hypotheses(2, 4), 4.6, most=60)
    >>> found = performance(chart, [1, 2, 4, 8])
    >>> bool(found.below[0] > 0.99), bool(found.above[1] < 0.12), bool(found.above[3] > 0.99)
    (True, True, True)
    """
    true = usual_means(chart) if means is None else np.asarray(means, dtype=float)
    real_k = chart.k if k is None else k
    wanted = bool((true > 0).all() and np.isfinite(true).all() and 0 < real_k < math.inf)
    if chart.reason or not wanted:
        raise ValueError(
            "expected a chart, and means and k above 0 and finite; "
            f"found reason {chart.reason!r}, k {real_k:g}, means {true.tolist()}"
        )
    trials = [_trial(chart, m, real_k, runs, [seed, index]) for index, m in enumerate(true)]
    below, above, units = np.array(trials).reshape(-1, 3).T
    return Performance(
        mean=true,
        below=below,
        above=above,
        undecided=np.maximum(1 - below - above, 0.0),
        units=units,
        wald_below=np.array([wald_below(chart, m) for m in true]),
        wald_units=np.array([wald_units(chart, m) for m in true]),
        k=real_k,
        runs=runs,
    )


def usual_means(chart: DecisionChart) -> FloatArray:
    """Return eleven means from a quarter of the low mean to twice the high one.

    Examples
    --------
    >>> usual_means(decision_chart(Hypotheses(2, 4, limit=3), 1)).round(2).tolist()
    [0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.33, 6.67, 8.0]
    """
    low, high = chart.means.low_mean, chart.means.high_mean
    turn = chart.slope if math.isnan(chart.means.limit) else chart.means.limit
    between = np.array([(low + turn) / 2, turn, (turn + high) / 2])
    return np.concatenate([np.linspace(low / 4, low, 4), between, np.linspace(high, 2 * high, 4)])


def wald_below(chart: DecisionChart, mean: float) -> float:
    """Return Wald's approximate chance of "below" at a true mean.

    References
    ----------
    Wald, A. (1947). Sequential analysis. Wiley, New York, chapter 3 and its appendix.

    Examples
    --------
    By construction 1 - alpha at the low mean and beta at the high one:

    >>> chart = decision_chart(Hypotheses(2, 4), 4.6)
    >>> round(wald_below(chart, 2), 6), round(wald_below(chart, 4), 6)
    (0.9, 0.1)
    """
    h = _exponent(chart, mean)
    rise, _ = _log_ratios(chart.means, chart.k)
    up, down = chart.upper * rise, chart.lower * rise
    if abs(h) < 1e-6:
        return up / (up - down)
    # Divided through by the larger power, so that a large h cannot overflow.
    if h > 0:
        return -math.expm1(-h * up) / (1 - math.exp(h * (down - up)))
    return -math.exp(-h * down) * math.expm1(h * up) / (1 - math.exp(h * (up - down)))


def wald_units(chart: DecisionChart, mean: float) -> float:
    """Return Wald's approximate average number of units at a true mean, with no last unit.

    Examples
    --------
    Near the slope the walk has no drift, so it is longest:

    >>> chart = decision_chart(Hypotheses(2, 4), 4.6)
    >>> [round(wald_units(chart, mean), 1) for mean in (1, chart.slope, 8)]
    [2.8, 5.7, 1.0]
    """
    drift = mean - chart.slope
    if abs(drift) < 1e-6 * chart.slope:
        return -chart.lower * chart.upper / (mean + mean**2 / chart.k)
    below = wald_below(chart, mean)
    return (below * chart.lower + (1 - below) * chart.upper) / drift


def _exponent(chart: DecisionChart, mean: float) -> float:
    """Return h for which the likelihood ratio to the power h has mean 1; 1 at m0, -1 at m1."""
    rise, fall = _log_ratios(chart.means, chart.k)

    def mean_at(h: float) -> float:
        if abs(h) < 1e-9:
            return chart.slope
        return -chart.k * math.expm1(h * fall) / math.expm1(h * rise)

    edge = 1.0
    while edge < 600 / max(rise, -fall) and not mean_at(edge) < mean < mean_at(-edge):
        edge *= 2
    if not mean_at(edge) < mean < mean_at(-edge):
        return edge if mean < chart.slope else -edge
    return float(brentq(lambda h: mean_at(h) - mean, -edge, edge, xtol=1e-12))


def _trial(
    chart: DecisionChart, mean: float, k: float, runs: int, seed: list[int]
) -> tuple[float, float, float]:
    """Return the shares of "below" and "above", and the average number of units."""
    random = np.random.default_rng(seed)
    totals = random.negative_binomial(k, k / (k + mean), size=(runs, chart.most)).cumsum(axis=1)
    high = chart.above_at_least
    above, below = (totals >= high) & (high >= 0), totals <= chart.below_at_most
    stopped = above | below
    done = stopped.any(axis=1)
    at = np.where(done, stopped.argmax(axis=1), chart.most - 1)
    row = np.arange(runs)
    is_above, is_below = above[row, at], below[row, at]
    if chart.at_end == "nearer":
        nearer = totals[:, -1] >= chart.middle
        is_above, is_below = is_above | (~done & nearer), is_below | (~done & ~nearer)
    return float(is_below.mean()), float(is_above.mean()), float((at + 1).mean())
