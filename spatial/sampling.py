"""How patchy the counts of each class of zone are: variance over mean, k, Taylor, Iwao.

Scatter is measured within samples (one zone in one round), so that a zone which differs from its
neighbour, or a week from the next, does not look like patchiness.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from spatial.arrays import BoolArray, FloatArray
from spatial.common_k import CommonK, common_k
from spatial.variance_laws import IwaoLaw, Samples, TaylorLaw, iwao, samples_of, taylor

NIGHTS_TOLERANCE = 0.25
"""A visit whose trap-nights differ from the class's median by more than this share is left out:
variance does not scale with effort as the mean does (common practice, no source)."""

NO_DISPERSION = ("no_catch", "single_counts")
"""Why a class has no variance over mean: nothing was caught, or no sample has two counts."""


@dataclass(frozen=True, slots=True)
class ClassDispersion:
    """Patchiness of one class of zone.

    Parameters
    ----------
    use
        The class.
    counts, left_out
        Counts used, and those left out because their trap-nights were unusual.
    nights
        Median trap-nights of the class, to which all that follows belongs; NaN for cores.
    mean
        Mean count per unit.
    variance_to_mean, p
        Variance over mean within samples, and the chi-squared p of no more scatter than chance.
    k
        One k for all samples of the class.
    taylor, iwao
        The laws of the class's samples.
    samples
        Means and variances the laws were fitted to.
    reason
        Empty, or one of `NO_DISPERSION`.
    """

    use: str
    counts: int
    left_out: int
    nights: float
    mean: float
    variance_to_mean: float
    p: float
    k: CommonK
    taylor: TaylorLaw
    iwao: IwaoLaw
    samples: Samples
    reason: str = ""


def dispersion_by_class(
    counts: npt.ArrayLike,
    use: npt.ArrayLike,
    sample: npt.ArrayLike,
    nights: npt.ArrayLike | None = None,
) -> tuple[ClassDispersion, ...]:
    """Return the patchiness of every class, sorted by name.

    Parameters
    ----------
    counts
        Adults per trap-visit, or larvae per core, shape (n,).
    use
        Class of the zone, shape (n,).
    sample
        Sample: zone and round (and trap design, where there are several), shape (n,).
    nights
        Trap-nights of each visit, shape (n,); None for cores.

    Raises
    ------
    ValueError
        If the arrays differ in length, a count is not a whole number from 0, or trap-nights are
        not above 0.

    Examples
    --------
    A green where traps of one round differ, and a rough where they do not:

    >>> green, rough = dispersion_by_class(
    ...     [0, 1, 9, 0, 2, 12, 3, 3, 3, 2, 2, 2], ["green"] * 6 + ["rough"] * 6,
    ...     ["g1"] * 3 + ["g2"] * 3 + ["r1"] * 3 + ["r2"] * 3,
    ... )
    >>> round(green.variance_to_mean, 2), rough.variance_to_mean, rough.taylor.reason
    (8.08, 0.0, 'no_variance')
    """
    y, uses, samples = _checked(counts, use, sample)
    effort = np.full(len(y), np.nan) if nights is None else np.asarray(nights, dtype=float)
    if effort.shape != y.shape or (nights is not None and not (effort > 0).all()):
        raise ValueError(f"expected trap-nights above 0 for {len(y)} counts; found {effort}")
    found = []
    for name in sorted(set(uses)):
        own = uses == name
        found.append(_class(name, y[own], samples[own], effort[own]))
    return tuple(found)


def dispersion_table(classes: Sequence[ClassDispersion]) -> pd.DataFrame:
    """Return one row per class; numbers that do not exist are NaN and their reason is named.

    Examples
    --------
    >>> tees = dispersion_by_class([1, 4, 2, 9], ["tee"] * 4, ["a", "a", "b", "b"])
    >>> table = dispersion_table(tees)
    >>> table[["use", "counts", "mean", "variance_to_mean", "k_reason"]].round(2).to_dict("records")
    [{'use': 'tee', 'counts': 4, 'mean': 4.0, 'variance_to_mean': 3.13, 'k_reason': 'few_counts'}]
    """
    return pd.DataFrame([_row(each) for each in classes])


def _checked(
    counts: npt.ArrayLike, use: npt.ArrayLike, sample: npt.ArrayLike
) -> tuple[FloatArray, npt.NDArray[np.str_], npt.NDArray[np.str_]]:
    y, uses, samples = np.asarray(counts, float), np.asarray(use, str), np.asarray(sample, str)
    if not y.shape == uses.shape == samples.shape or y.ndim != 1:
        raise ValueError(
            "expected as many classes and samples as counts; "
            f"found shapes {y.shape}, {uses.shape} and {samples.shape}"
        )
    wrong = ~((y >= 0) & (y == np.floor(y)) & np.isfinite(y))
    if wrong.any():
        at = int(wrong.argmax())
        raise ValueError(f"expected whole counts from 0; found {y[at]:g} at place {at}")
    return y, uses, samples


def _class(
    use: str, counts: FloatArray, sample: npt.NDArray[np.str_], nights: FloatArray
) -> ClassDispersion:
    # The lower of two middle values is one that occurs, so at least one visit is kept.
    usual = float(np.quantile(nights, 0.5, method="lower"))
    kept = _comparable(nights, usual)
    y, own = counts[kept], sample[kept]
    samples = samples_of(y, own)
    ratio, p, reason = _variance_to_mean(samples)
    return ClassDispersion(
        use=use,
        counts=len(y),
        left_out=int((~kept).sum()),
        nights=usual,
        mean=float(y.mean()),
        variance_to_mean=ratio,
        p=p,
        k=common_k(y, own),
        taylor=taylor(samples.mean, samples.variance),
        iwao=iwao(samples.mean, samples.variance),
        samples=samples,
        reason=reason,
    )


def _comparable(nights: FloatArray, usual: float) -> BoolArray:
    if math.isnan(usual):
        return np.ones(len(nights), dtype=bool)
    return np.asarray(np.abs(nights - usual) <= NIGHTS_TOLERANCE * usual)


def _variance_to_mean(samples: Samples) -> tuple[float, float, str]:
    """Return the pooled index of dispersion of samples that caught something, and its p."""
    if not (samples.mean > 0).any():
        return math.nan, math.nan, "no_catch"
    usable = (samples.mean > 0) & (samples.units > 1)
    if not usable.any():
        return math.nan, math.nan, "single_counts"
    freedom = samples.units[usable] - 1
    chi2 = float((freedom * samples.variance[usable] / samples.mean[usable]).sum())
    return chi2 / int(freedom.sum()), float(stats.chi2.sf(chi2, int(freedom.sum()))), ""


def _row(found: ClassDispersion) -> dict[str, object]:
    estimate = found.k.adjusted
    return {
        "use": found.use,
        "counts": found.counts,
        "left_out": found.left_out,
        "nights": found.nights,
        "samples": len(found.samples.mean),
        "mean": found.mean,
        "variance_to_mean": found.variance_to_mean,
        "variance_to_mean_p": found.p,
        "dispersion_reason": found.reason,
        "k": estimate.k,
        "k_se": estimate.se,
        "k_low": estimate.low,
        "k_high": estimate.high,
        "k_plain": found.k.plain.k,
        "k_by_moments": found.k.by_moments,
        "k_differ_p": found.k.differ_p,
        "k_reason": estimate.reason,
        "taylor_a": found.taylor.a,
        "taylor_log_a_se": found.taylor.log_a_se,
        "taylor_b": found.taylor.b,
        "taylor_b_se": found.taylor.b_se,
        "taylor_reason": found.taylor.reason,
        "iwao_alpha": found.iwao.alpha,
        "iwao_alpha_se": found.iwao.alpha_se,
        "iwao_beta": found.iwao.beta,
        "iwao_beta_se": found.iwao.beta_se,
        "iwao_reason": found.iwao.reason,
    }
