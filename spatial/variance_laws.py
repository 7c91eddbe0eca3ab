"""How the variance of counts rises with their mean: chance, negative binomial, Taylor, Iwao.

A law says how much counts of one round in one zone scatter at any mean. Sample sizes and stop lines
are built on it, so each says how well it is known, and when there is none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from spatial.arrays import BoolArray, FloatArray, IntArray

NO_LAW = ("few_samples", "one_mean", "no_variance", "not_rising")
"""Why there is no law: under `MIN_SAMPLES` samples that can be used; all means the same; no sample
with counts that differ; or a slope of zero or less. Only the last still shows its numbers."""

LAW_CAUTIONS = ("few_means", "narrow_means", "samples_left_out")
"""What weakens a law that there is."""

MIN_SAMPLES = 3
"""Two points fit any line exactly; a standard error needs one more."""

FEW_MEANS = 10
"""Fewer samples than this make a shaky law (common practice, no source)."""

NARROW_MEANS = 5.0
"""A highest mean under this many times the lowest hardly shows a slope (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class Samples:
    """Mean and variance of every sample: the counts of one zone in one round.

    Parameters
    ----------
    mean, variance
        Shape (g,), the variance with n - 1; NaN for the variance of a single count.
    units
        Counts in each sample, shape (g,).
    """

    mean: FloatArray
    variance: FloatArray
    units: IntArray


@dataclass(frozen=True, slots=True)
class Poisson:
    """Variance = mean: chance alone. Trap catches scatter more, so it is only a lower bound."""

    def variance(self, mean: float) -> float:
        """Return the variance at a mean."""
        return mean


@dataclass(frozen=True, slots=True)
class NegativeBinomial:
    """Variance = m + m**2 / k.

    Examples
    --------
    >>> NegativeBinomial(0.8).variance(2.0)
    7.0
    """

    k: float

    def variance(self, mean: float) -> float:
        """Return the variance at a mean."""
        return mean + mean**2 / self.k


@dataclass(frozen=True, slots=True)
class TaylorLaw:
    """Variance = a m**b.

    Parameters
    ----------
    a, b
        a is exp(intercept) of the log-log regression.
    log_a_se, b_se
        Standard errors of ln a and b.
    residual_sd
        Residual standard deviation of ln variance, which is what `a_mean_factor` is made of.
    samples, left_out
        Samples used, and those without a variance above zero.
    reason
        Empty, or one of `NO_LAW`.
    cautions
        Some of `LAW_CAUTIONS`.
    """

    a: float
    b: float
    log_a_se: float
    b_se: float
    residual_sd: float
    samples: int
    left_out: int
    reason: str = ""
    cautions: tuple[str, ...] = ()

    def variance(self, mean: float) -> float:
        """Return the variance at a mean: the median one, see `a_mean_factor`."""
        return float(self.a * mean**self.b)

    @property
    def a_mean_factor(self) -> float:
        """What a must be multiplied by to give the mean variance, not the median one.

        exp(residual variance / 2) for log-normal scatter. From memory: Sprugel, D. G. (1983).
        Correcting for bias in log-transformed allometric equations. Ecology 64, 209-210.
        """
        return math.exp(self.residual_sd**2 / 2)


@dataclass(frozen=True, slots=True)
class IwaoLaw:
    """Mean crowding = alpha + beta m, so variance = (alpha + 1) m + (beta - 1) m**2.

    Parameters
    ----------
    alpha, beta, alpha_se, beta_se
        Ordinary least squares of mean crowding m + s2 / m - 1 on m, with standard errors.
    samples, left_out, reason, cautions
        As in `TaylorLaw`; left out are samples that caught nothing or are one count.
    """

    alpha: float
    beta: float
    alpha_se: float
    beta_se: float
    samples: int
    left_out: int
    reason: str = ""
    cautions: tuple[str, ...] = ()

    def variance(self, mean: float) -> float:
        """Return the variance at a mean; it can fall below zero where the line does not hold."""
        return (self.alpha + 1) * mean + (self.beta - 1) * mean**2


VarianceLaw: TypeAlias = Poisson | NegativeBinomial | TaylorLaw | IwaoLaw


@dataclass(frozen=True, slots=True)
class TaylorBias:
    """How far the regression misses a law that holds, with samples as many and as small as these.

    Parameters
    ----------
    log_a, b
        Mean error of ln a and of b: estimate minus truth.
    log_a_error, b_error
        Monte Carlo standard errors of the two.
    fitted, runs
        Simulated seasons that could be fitted, of all.
    """

    log_a: float
    b: float
    log_a_error: float
    b_error: float
    fitted: int
    runs: int


def samples_of(counts: npt.ArrayLike, sample: npt.ArrayLike) -> Samples:
    """Return mean and variance of each sample, in the order of the sorted sample names.

    Parameters
    ----------
    counts
        Shape (n,).
    sample
        Name or number of the sample of every count, shape (n,): one zone in one round, of one
        design and with the same trap-nights.

    Examples
    --------
    >>> found = samples_of([1, 3, 5, 5, 9], ["a", "a", "b", "b", "c"])
    >>> found.mean.tolist(), found.variance.tolist(), found.units.tolist()
    ([2.0, 5.0, 9.0], [2.0, 0.0, nan], [2, 2, 1])
    """
    y = np.asarray(counts, dtype=float)
    _, group = np.unique(np.asarray(sample), return_inverse=True)
    units = np.bincount(group)
    mean = np.bincount(group, weights=y) / units
    squares = np.bincount(group, weights=(y - mean[group]) ** 2)
    variance = np.where(units > 1, squares / np.maximum(units - 1, 1), np.nan)
    return Samples(mean, variance, units.astype(np.int64))


def taylor(mean: npt.ArrayLike, variance: npt.ArrayLike) -> TaylorLaw:
    """Fit Taylor's law by ordinary regression of ln variance on ln mean.

    The method is biased, and says so rather than hiding it. Samples without variance (or catch)
    have no logarithm and are left out, which lifts the line at low means; ln of a variance from few
    counts is on average below ln of the true one, which lowers a; and mean and variance of one
    patchy sample are high together, which moves b. `taylor_bias` measures all three together.

    Parameters
    ----------
    mean, variance
        Of every sample, shape (g,); NaN where there is none.

    References
    ----------
    Taylor, L. R. (1961). Aggregation, variance and the mean. Nature 189, 732-735.

    Examples
    --------
    Variances that are exactly 2 m**1.5:

    >>> law = taylor([1, 4, 9, 16], [2, 16, 54, 128])
    >>> round(law.a, 6), round(law.b, 6), law.cautions
    (2.0, 1.5, ('few_means',))
    """
    m, s2 = np.asarray(mean, dtype=float), np.asarray(variance, dtype=float)
    usable = (m > 0) & (s2 > 0)
    left_out = int((~usable).sum())
    reason = _no_line(m, s2, usable)
    if reason:
        nan = math.nan
        return TaylorLaw(nan, nan, nan, nan, nan, int(usable.sum()), left_out, reason)
    line = _fit(np.log(m[usable]), np.log(s2[usable]))
    return TaylorLaw(
        a=math.exp(line.intercept),
        b=line.slope,
        log_a_se=line.intercept_se,
        b_se=line.slope_se,
        residual_sd=line.residual_sd,
        samples=int(usable.sum()),
        left_out=left_out,
        reason="" if line.slope > 0 else "not_rising",
        cautions=_cautions(m[usable], left_out),
    )


def iwao(mean: npt.ArrayLike, variance: npt.ArrayLike) -> IwaoLaw:
    """Fit Iwao's line of Lloyd's mean crowding on the mean.

    Samples that caught nothing have no crowding; samples without variance are kept (crowding
    m - 1). The points scatter more at high means, which ordinary regression ignores: the standard
    errors are a guide. For a turf beetle the line did not fit and Taylor's law was used instead
    (Allsopp et al. 1995, Pedobiologia 39, 126-131).

    Parameters
    ----------
    mean, variance
        Of every sample, shape (g,); NaN where there is none.

    References
    ----------
    Iwao, S. (1968). A new regression method for analyzing the aggregation pattern of animal
    populations. Researches on Population Ecology 10, 1-20.

    Examples
    --------
    Variances that are exactly 1.5 m + 0.5 m**2, so alpha = .5 and beta = 1.5:

    >>> law = iwao([1, 2, 4, 8], [2, 5, 14, 44])
    >>> round(law.alpha, 6), round(law.beta, 6)
    (0.5, 1.5)
    """
    m, s2 = np.asarray(mean, dtype=float), np.asarray(variance, dtype=float)
    usable = (m > 0) & ~np.isnan(s2)
    left_out = int((~usable).sum())
    reason = _no_line(m, s2, usable)
    if reason:
        nan = math.nan
        return IwaoLaw(nan, nan, nan, nan, int(usable.sum()), left_out, reason)
    x = m[usable]
    line = _fit(x, x + s2[usable] / x - 1)
    return IwaoLaw(
        alpha=line.intercept,
        beta=line.slope,
        alpha_se=line.intercept_se,
        beta_se=line.slope_se,
        samples=int(usable.sum()),
        left_out=left_out,
        reason="" if line.slope > 0 else "not_rising",
        cautions=_cautions(x, left_out),
    )


def taylor_bias(law: TaylorLaw, samples: Samples, *, runs: int = 400, seed: int = 0) -> TaylorBias:
    """Simulate seasons in which the law holds, fit each, and return how far the fits are off.

    Counts are negative binomial with the variance that the law says, or Poisson where it says less
    than the mean.

    Parameters
    ----------
    law
        The law taken as true; it must have no `reason`.
    samples
        Their means and numbers of counts.
    runs, seed
        Simulated seasons, and the seed.

    Raises
    ------
    ValueError
        If `law` has a reason why it is none.

    Examples
    --------
    Twelve samples of four counts. The law found is too low by a third or so (ln a by -.3 to -.6):

    >>> means = np.geomspace(0.5, 20, 12)
    >>> few = Samples(means, np.full(12, np.nan), np.full(12, 4))
    >>> true = taylor(means, 2.0 * means**1.4)
    >>> -0.6 < taylor_bias(true, few, runs=200).log_a < -0.3
    True
    """
    if law.reason:
        raise ValueError(f"expected a law that holds; found one that does not: {law.reason}")
    random = np.random.default_rng([seed, runs])
    group = np.repeat(np.arange(len(samples.mean)), samples.units)
    mean = samples.mean[group]
    extra = np.array([law.variance(each) for each in samples.mean])[group] - mean
    found = [taylor_of(_counts(random, mean, extra), group) for _ in range(runs)]
    fits = np.array([(fit.a, fit.b) for fit in found if not math.isnan(fit.b)]).reshape(-1, 2)
    if len(fits) < 2:
        return TaylorBias(math.nan, math.nan, math.nan, math.nan, len(fits), runs)
    off = np.column_stack([np.log(fits[:, 0] / law.a), fits[:, 1] - law.b])
    bias, error = off.mean(axis=0), off.std(axis=0, ddof=1) / math.sqrt(len(fits))
    return TaylorBias(
        log_a=float(bias[0]),
        b=float(bias[1]),
        log_a_error=float(error[0]),
        b_error=float(error[1]),
        fitted=len(fits),
        runs=runs,
    )


def taylor_of(counts: npt.ArrayLike, sample: npt.ArrayLike) -> TaylorLaw:
    """Fit Taylor's law to counts in samples; see `samples_of` and `taylor`."""
    found = samples_of(counts, sample)
    return taylor(found.mean, found.variance)


@dataclass(frozen=True, slots=True)
class _Line:
    intercept: float
    slope: float
    intercept_se: float
    slope_se: float
    residual_sd: float


def _fit(x: FloatArray, y: FloatArray) -> _Line:
    """Fit a straight line by least squares, with standard errors on n - 2 degrees of freedom."""
    middle = x.mean()
    spread = float(((x - middle) ** 2).sum())
    slope = float(((x - middle) * (y - y.mean())).sum()) / spread
    intercept = float(y.mean() - slope * middle)
    residual = y - intercept - slope * x
    sd = math.sqrt(float((residual**2).sum()) / (len(x) - 2))
    intercept_se = sd * math.sqrt(1 / len(x) + middle**2 / spread)
    return _Line(intercept, slope, intercept_se, sd / math.sqrt(spread), sd)


def _no_line(mean: FloatArray, variance: FloatArray, usable: BoolArray) -> str:
    if not (variance > 0).any():
        return "no_variance"
    if usable.sum() < MIN_SAMPLES:
        return "few_samples"
    chosen = mean[usable]
    return "one_mean" if np.ptp(chosen) <= 1e-9 * chosen.max() else ""


def _cautions(mean: FloatArray, left_out: int) -> tuple[str, ...]:
    found = {
        "few_means": len(mean) < FEW_MEANS,
        "narrow_means": mean.max() < NARROW_MEANS * mean.min(),
        "samples_left_out": left_out > 0,
    }
    return tuple(code for code in LAW_CAUTIONS if found[code])


def _counts(random: np.random.Generator, mean: FloatArray, extra: FloatArray) -> FloatArray:
    """Draw counts with variance mean + extra; extra of zero or less is Poisson."""
    spread = extra > 0
    shape = np.where(spread, mean**2 / np.where(spread, extra, 1.0), 1.0)
    level = np.where(spread, random.gamma(shape, mean / np.where(shape > 0, shape, 1.0)), mean)
    return random.poisson(level).astype(float)
