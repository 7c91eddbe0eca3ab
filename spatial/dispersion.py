"""Overdispersion of counts, and intervals that respect it: negative binomial, never Poisson."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import digamma, gammaln

from spatial.arrays import BoolArray, FloatArray, IntArray

K_RANGE = (1e-3, 1e4)
"""Search range of k; at the upper end the distribution cannot be told from Poisson."""

K_ASSUMED = 1.0
"""k where the counts cannot say (common practice, no source): trap catches have k near 1."""

MIN_COUNTS = 10
"""Fewer counts than this cannot estimate k."""

CHI2_95 = 3.841458820694124
"""95 % point of chi-squared with 1 degree of freedom."""


def negative_binomial_k(counts: npt.ArrayLike, means: npt.ArrayLike | None = None) -> float:
    """Return the maximum-likelihood k of counts around known means, variance ``m + m**2 / k``.

    Parameters
    ----------
    counts
        Counts, shape (n,).
    means
        Expected counts, shape (n,); None means the mean of the counts for all.

    Returns
    -------
    float
        k; ``inf`` when the counts vary no more than Poisson; NaN when all are zero or there are
        fewer than `MIN_COUNTS`.

    References
    ----------
    Bliss, C. I. & Fisher, R. A. (1953). Fitting the negative binomial distribution to biological
    data. Biometrics 9, 176-200.

    Examples
    --------
    Adult red mites on 150 apple leaves, from the paper (k = 1.0246 there):

    >>> mites = np.repeat(range(9), [70, 38, 17, 10, 9, 3, 2, 1, 0])
    >>> round(negative_binomial_k(mites), 4)
    1.0246
    """
    y = np.asarray(counts, dtype=float)
    mu = np.full(y.shape, y.mean()) if means is None else np.asarray(means, dtype=float)
    y, mu = y[mu > 0], mu[mu > 0]
    if len(y) < MIN_COUNTS or y.sum() == 0:
        return math.nan
    low, high = K_RANGE
    if _score(high, y, mu) >= 0:
        return math.inf
    if _score(low, y, mu) <= 0:
        return low
    return float(brentq(_score, low, high, args=(y, mu), xtol=1e-10))


def _score(k: float, y: FloatArray, mu: FloatArray) -> float:
    """Return the derivative of the log likelihood in k."""
    terms = digamma(y + k) - digamma(k) - np.log1p(mu / k) + (mu - y) / (mu + k)
    return float(terms.sum())


def log_likelihood(counts: npt.ArrayLike, mean: npt.ArrayLike, k: float) -> float:
    """Return the negative binomial log likelihood of counts.

    Examples
    --------
    >>> mites = np.repeat(range(9), [70, 38, 17, 10, 9, 3, 2, 1, 0])
    >>> round(log_likelihood(mites, mites.mean(), 1.024592), 4)
    -222.4372
    """
    y, mu = np.asarray(counts, dtype=float), np.asarray(mean, dtype=float)
    chosen = gammaln(y + k) - gammaln(k) - gammaln(y + 1)
    return float((chosen + k * np.log(k / (k + mu)) + y * np.log(mu / (k + mu))).sum())


def usable_k(k: float) -> float:
    """Return a k that intervals can be worked with: the assumed one where none was estimable.

    Examples
    --------
    >>> usable_k(math.nan), usable_k(math.inf), usable_k(0.7)
    (1.0, 10000.0, 0.7)
    """
    return K_ASSUMED if math.isnan(k) else min(k, K_RANGE[1])


def rate_intervals(
    counts: npt.ArrayLike, exposure: npt.ArrayLike, group: npt.ArrayLike, k: float
) -> tuple[FloatArray, FloatArray]:
    """Return the 95 % profile-likelihood interval of every group's rate per unit exposure.

    Each count is negative binomial around ``rate * exposure`` with a common, known k. The interval
    holds the rates whose log likelihood is within 1.92 of the best; it exists for zero catches too.
    Where effort is uneven, the crude rate (sum of counts over sum of exposure) that is shown beside
    it is not the best one; the interval is then widened to hold it.

    Parameters
    ----------
    counts, exposure
        Shape (n,); exposure above zero.
    group
        Group number 0..g-1 of every count, shape (n,); every group has at least one count.
    k
        From `negative_binomial_k` via `usable_k`.

    Returns
    -------
    low, high
        Each of shape (g,), per unit of exposure.

    Examples
    --------
    Ten traps together caught 20 in a week each; one trap alone caught 20 in ten weeks. The single
    trap says much less about its place, although catch and effort are the same:

    >>> counts, exposure, group = [2] * 10 + [20], [7] * 10 + [70], [0] * 10 + [1]
    >>> low, high = rate_intervals(counts, exposure, group, k=1.0)
    >>> low.round(2).tolist(), high.round(2).tolist()
    ([0.14, 0.06], [0.64, 5.12])
    """
    y, x = np.asarray(counts, dtype=float), np.asarray(exposure, dtype=float)
    groups = np.asarray(group, dtype=np.int64)
    profile = _Profile(y, x, groups, int(groups.max(initial=-1)) + 1, k)
    best = profile.best()
    silent = np.bincount(groups, weights=y, minlength=profile.size) == 0
    crude = profile.total / profile.effort
    low = np.where(silent, 0.0, np.exp(profile.crossing(best, -1.0)))
    high = np.exp(profile.crossing(best, +1.0))
    return np.minimum(low, crude), np.maximum(high, crude)


class _Profile:
    """Log likelihood of many groups' log rates at once."""

    STEPS = 80
    REACH = 30.0
    """A rate this far below one catch, in logarithms, is no rate; the ends of intervals lie within
    twice that of the best rate."""

    def __init__(self, y: FloatArray, x: FloatArray, group: IntArray, size: int, k: float) -> None:
        self.y, self.x, self.group, self.size, self.k = y, x, group, size, k
        self.total = self._sum(y)
        self.effort = self._sum(x)

    def _sum(self, values: FloatArray) -> FloatArray:
        return np.bincount(self.group, weights=values, minlength=self.size).astype(float)

    def _log_likelihood(self, log_rate: FloatArray) -> FloatArray:
        mean = np.exp(log_rate[self.group]) * self.x
        return self.total * log_rate - self._sum((self.y + self.k) * np.log(self.k + mean))

    def _slope(self, log_rate: FloatArray) -> FloatArray:
        mean = np.exp(log_rate[self.group]) * self.x
        return self.total - self._sum((self.y + self.k) * mean / (self.k + mean))

    def _bisect(
        self, positive: Callable[[FloatArray], BoolArray], low: FloatArray, high: FloatArray
    ) -> FloatArray:
        for _ in range(self.STEPS):
            middle = (low + high) / 2
            above = positive(middle)
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        return (low + high) / 2

    def best(self) -> FloatArray:
        """Return the log rate with the highest likelihood; far below zero for no catch at all."""
        crude = np.log(np.maximum(self.total, 1.0) / self.effort)
        lowest = np.where(self.total > 0, crude - 10.0, crude - self.REACH)
        return self._bisect(lambda rate: self._slope(rate) > 0, lowest, crude + 10.0)

    def crossing(self, best: FloatArray, side: float) -> FloatArray:
        """Return the log rate below (-1) or above (+1) the best where 1.92 is lost."""
        floor = self._log_likelihood(best) - CHI2_95 / 2
        near = best
        far = best + side * 2 * self.REACH
        inside = self._bisect(
            lambda step: self._log_likelihood(near + step * (far - near)) > floor,
            np.zeros(self.size),
            np.ones(self.size),
        )
        return near + inside * (far - near)
