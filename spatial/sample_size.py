"""How many trap-visits or cores a precision takes, and the line at which to stop counting.

Precision D has two meanings that differ by a factor of 3.84 in work: the standard error over the
mean, or the half-width of the 95 % confidence interval over the mean. Every number here names its
own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import stats

from data.findings import SettingsError
from spatial.arrays import FloatArray, IntArray
from spatial.variance_laws import IwaoLaw, NegativeBinomial, Poisson, TaylorLaw, VarianceLaw

Meaning = Literal["se", "half_width"]

MEANINGS: tuple[Meaning, ...] = ("se", "half_width")
"""What D is: standard error / mean, or half-width of the confidence interval / mean."""

NO_SIZE = ("no_mean", "no_law", "k_inf", "no_variance_there")
"""Why there is no sample size: no mean above zero; the law itself has a reason; k is infinite, so
it would be chance alone; or the law gives no variance above zero at this mean."""

NO_LINE = ("no_law", "k_inf", "too_steep", "negative_start", "beyond_most")
"""Why there is no stop line: as in `NO_SIZE`; Taylor's b is 2 or more, so a higher count never
brings the end nearer; Iwao's alpha is -1 or less; or the line starts after the last unit."""

_SLACK = 1e-9
"""Rounding errors must not cost a whole unit."""


MOST_TOTAL = 1e6
"""A stop line never asks for a running total over this: no scout counts so many."""


@dataclass(frozen=True, slots=True)
class Precision:
    """A wanted precision.

    Parameters
    ----------
    d
        Wanted D, above 0: 0.25 is 25 % of the mean.
    meaning
        ``"se"`` or ``"half_width"``.
    level
        Confidence of the interval; used by ``"half_width"`` only.

    Raises
    ------
    SettingsError
        If a value is outside its range.

    Examples
    --------
    >>> Precision(0.25).relative_se, round(Precision(0.25, "half_width").relative_se, 4)
    (0.25, 0.1276)
    """

    d: float
    meaning: Meaning = "se"
    level: float = 0.95

    def __post_init__(self) -> None:
        if not 0 < self.d < math.inf:
            raise SettingsError(f"precision must be above 0, such as 0.25; got {self.d:g}")
        if not 0 < self.level < 1:
            raise SettingsError(f"level must lie between 0 and 1, such as 0.95; got {self.level:g}")
        if self.meaning not in MEANINGS:
            raise SettingsError(f'meaning must be "se" or "half_width"; got "{self.meaning}"')

    @property
    def z(self) -> float:
        """Standard errors in one D: 1, or the normal point of the level."""
        return 1.0 if self.meaning == "se" else float(stats.norm.ppf((1 + self.level) / 2))

    @property
    def relative_se(self) -> float:
        """Standard error over mean that D asks for."""
        return self.d / self.z


@dataclass(frozen=True, slots=True)
class SampleSize:
    """Units for a wanted precision.

    Parameters
    ----------
    units
        Exact number; NaN where there is none.
    whole
        The next whole number up; 0 where there is none.
    mean, precision
        What was asked.
    reason
        Empty, or one of `NO_SIZE`.
    """

    units: float
    whole: int
    mean: float
    precision: Precision
    reason: str = ""


def units_needed(
    mean: float,
    law: VarianceLaw,
    precision: Precision,
    *,
    available: int | None = None,
    design_effect: float = 1.0,
) -> SampleSize:
    """Return how many units estimate a mean with a wanted precision.

    n = variance / (mean**2 * relative_se**2), by Karandinos for the negative binomial,
    (1 / m + 1 / k) / D**2, by Taylor's law, a m**(b - 2) / D**2, and Iwao's line,
    ((alpha + 1) / m + beta - 1) / D**2; all times z**2 where D is a half-width. z is the normal
    point, so small answers are a little too small.

    Parameters
    ----------
    mean
        Expected count per unit: one trap-visit of the usual nights, or one core.
    law
        How the variance follows the mean.
    precision
        What is wanted.
    available
        Units that exist (traps in the zone); None for no end. n becomes n / (1 + n / N).
    design_effect
        At least 1: how much units that come in groups (several visits to one trap, cores side by
        side) repeat each other. The user's; 1 means that all are independent.

    Raises
    ------
    SettingsError
        If `available` or `design_effect` is below 1.

    References
    ----------
    Karandinos, M. G. (1976). Optimum sample size and comments on some published formulae.
    Bulletin of the Entomological Society of America 22, 417-421.

    Examples
    --------
    Two adults a visit, k 0.8, a quarter of the mean: as standard error, then as half-width.

    >>> law = NegativeBinomial(0.8)
    >>> units_needed(2, law, Precision(0.25)).whole
    28
    >>> units_needed(2, law, Precision(0.25, "half_width")).whole
    108
    """
    if design_effect < 1 or (available is not None and available < 1):
        raise SettingsError(
            "design_effect and available must be 1 or more; "
            f"got {design_effect:g} and {available or 0}"
        )
    reason = _no_size(mean, law)
    if reason:
        return SampleSize(math.nan, 0, mean, precision, reason)
    units = law.variance(mean) / (mean * precision.relative_se) ** 2 * design_effect
    if available is not None:
        units /= 1 + units / available
    return SampleSize(units, max(_whole(units), 1), mean, precision)


def precision_reached(
    units: int, mean: float, law: VarianceLaw, *, meaning: Meaning = "se", level: float = 0.95
) -> float:
    """Return the D that a number of units gives; NaN where the law says nothing.

    Examples
    --------
    >>> round(precision_reached(28, 2, NegativeBinomial(0.8)), 3)
    0.25
    """
    if _no_size(mean, law) or units < 1:
        return math.nan
    # `Precision(1)` only lends its z.
    return Precision(1.0, meaning, level).z * math.sqrt(law.variance(mean) / units) / mean


def _no_size(mean: float, law: VarianceLaw) -> str:
    if not 0 < mean < math.inf:
        return "no_mean"
    return _no_law(law) or ("" if law.variance(mean) > 0 else "no_variance_there")


def _no_law(law: VarianceLaw) -> str:
    if isinstance(law, NegativeBinomial):
        return "" if 0 < law.k < math.inf else "k_inf" if law.k == math.inf else "no_law"
    return "no_law" if not isinstance(law, Poisson) and law.reason else ""


def _whole(units: float) -> int:
    return math.ceil(units - _SLACK * max(units, 1.0))


@dataclass(frozen=True, slots=True)
class StopLine:
    """Count until the running total reaches the line; the mean then has the wanted precision.

    Parameters
    ----------
    units
        Numbers of units 1, 2, ... at which one may stop, shape (n,); empty without a line.
    total
        The line at these, shape (n,).
    most
        Last unit: stop there, and say that the precision was not reached.
    precision
        What is wanted.
    form
        ``"taylor"`` (Green), ``"iwao"`` (Kuno) or ``"nb"`` (Kuno with a common k).
    reason
        Empty, or one of `NO_LINE`.
    """

    units: IntArray
    total: FloatArray
    most: int
    precision: Precision
    form: str
    reason: str = ""

    @property
    def whole_total(self) -> IntArray:
        """Smallest whole running totals that reach the line."""
        return np.array([_whole(each) for each in self.total], dtype=np.int64)


def stop_line(
    law: TaylorLaw | IwaoLaw | NegativeBinomial,
    precision: Precision,
    *,
    most: int = 60,
    least: int = 2,
) -> StopLine:
    """Return the fixed-precision stop line of a law.

    Taylor: T = (D**2 / a)**(1 / (b - 2)) * n**((b - 1) / (b - 2)), by Green. Iwao:
    T = (alpha + 1) / (D**2 - (beta - 1) / n) where n > (beta - 1) / D**2, by Kuno; the negative
    binomial is alpha = 0, beta = 1 + 1 / k. D is `Precision.relative_se`.

    Parameters
    ----------
    law
        How the variance follows the mean.
    precision
        What is wanted.
    most, least
        Last unit, and the first at which one may stop.

    Raises
    ------
    SettingsError
        Unless 1 <= least < most.

    References
    ----------
    Green, R. H. (1970). On fixed precision level sequential sampling. Researches on Population
    Ecology 12, 249-251.
    Kuno, E. (1969). A new method of sequential sampling to obtain the population estimates with a
    fixed level of precision. Researches on Population Ecology 11, 127-136.

    Examples
    --------
    k 1, standard error a quarter of the mean: T = 1 / (1/16 - 1/n), for more than 16 visits.

    >>> line = stop_line(NegativeBinomial(1), Precision(0.25), most=40)
    >>> int(line.units[0]), float(line.total[-1].round(2)), int(line.whole_total[-1])
    (17, 26.67, 27)
    """
    if not 1 <= least < most:
        raise SettingsError(f"least must be 1 or more and below most; got {least} and {most}")
    units = np.arange(least, most + 1)
    form = "taylor" if isinstance(law, TaylorLaw) else "iwao" if isinstance(law, IwaoLaw) else "nb"
    reason = _no_law(law) or _no_line(law, precision, most)
    if reason:
        return StopLine(np.zeros(0, np.int64), np.zeros(0), most, precision, form, reason)
    d2 = precision.relative_se**2
    if isinstance(law, TaylorLaw):
        # In logarithms: close to b = 2 the totals leave every range of numbers.
        log_total = (math.log(d2 / law.a) + (law.b - 1) * np.log(units)) / (law.b - 2)
        near = log_total <= math.log(MOST_TOTAL)
        if not near[-1]:
            return StopLine(np.zeros(0, np.int64), np.zeros(0), most, precision, form, "too_steep")
        return StopLine(units[near], np.exp(log_total[near]), most, precision, form)
    alpha, beta = _kuno(law)
    units = units[units * d2 > beta - 1]
    return StopLine(units, (alpha + 1) / (d2 - (beta - 1) / units), most, precision, form)


def _kuno(law: IwaoLaw | NegativeBinomial) -> tuple[float, float]:
    if isinstance(law, NegativeBinomial):
        return 0.0, 1 + 1 / law.k
    return law.alpha, law.beta


def _no_line(law: TaylorLaw | IwaoLaw | NegativeBinomial, precision: Precision, most: int) -> str:
    if isinstance(law, TaylorLaw):
        return "too_steep" if law.b >= 2 else ""
    alpha, beta = _kuno(law)
    if alpha <= -1:
        return "negative_start"
    return "beyond_most" if most * precision.relative_se**2 <= beta - 1 else ""


@dataclass(frozen=True, slots=True)
class StopLineTrial:
    """What a stop line gave when used on simulated counts.

    Parameters
    ----------
    mean
        True mean per unit.
    units
        Average number of units counted.
    d
        D reached: spread of the estimates round the true mean, over the mean, in the meaning asked
        for (standard error, or times z).
    bias
        Average estimate over the true mean, less 1. Stopping on a high count makes it positive.
    unfinished
        Share of trials that had not reached the line at the last unit.
    runs
        Trials.
    """

    mean: float
    units: float
    d: float
    bias: float
    unfinished: float
    runs: int


def try_stop_line(
    line: StopLine, mean: float, k: float, *, runs: int = 2000, seed: int = 0
) -> StopLineTrial:
    """Use a stop line on simulated negative binomial counts.

    Parameters
    ----------
    line
        A line without a `reason`.
    mean, k
        The truth that is sampled; both finite and above zero.
    runs, seed
        Trials, and their seed.

    Raises
    ------
    ValueError
        If there is no line, or mean and k are not above zero and finite.

    Examples
    --------
    The line of k 1 promises a quarter of the mean, and keeps it nearly:

    >>> line = stop_line(NegativeBinomial(1), Precision(0.25), most=60)
    >>> 0.20 < try_stop_line(line, mean=4, k=1).d < 0.30
    True
    """
    if line.reason or not (0 < mean < math.inf and 0 < k < math.inf):
        raise ValueError(
            f"expected a line, and a mean and k above 0 and finite; "
            f"found reason {line.reason!r}, mean {mean:g}, k {k:g}"
        )
    random = np.random.default_rng([seed, runs, line.most])
    counts = random.negative_binomial(k, k / (k + mean), size=(runs, line.most))
    totals = counts.cumsum(axis=1)
    there = totals[:, line.units - 1] >= line.whole_total
    done = there.any(axis=1)
    units = np.where(done, line.units[there.argmax(axis=1)], line.most)
    estimate = totals[np.arange(runs), units - 1] / units
    spread = math.sqrt(float(((estimate - mean) ** 2).mean())) / mean
    return StopLineTrial(
        mean=mean,
        units=float(units.mean()),
        d=spread * line.precision.z,
        bias=float(estimate.mean() / mean - 1),
        unfinished=float(1 - done.mean()),
        runs=runs,
    )
