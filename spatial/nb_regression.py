"""Negative binomial regression of counts on anything, with log effort as offset."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

from spatial.arrays import FloatArray
from spatial.dispersion import log_likelihood, negative_binomial_k

MAX_ROUNDS = 500
TOLERANCE = 1e-10
"""The fit has converged when means and k change by less than this share."""

FARTHEST = 15.0
"""A mean this many logarithms from the overall rate is on its way to zero or to infinity."""


@dataclass(frozen=True, slots=True)
class Regression:
    """A negative binomial regression, or the reason why there is none.

    Parameters
    ----------
    coefficients, covariance
        On the log scale, shapes (p,) and (p, p); the covariance is that of the expected
        information with k held fixed, as in R's MASS::glm.nb.
    mean
        Expected counts, shape (n,).
    k
        Variance ``mean + mean**2 / k``; inf where the counts vary no more than Poisson, and then
        the fit is the Poisson one.
    log_likelihood
        At the fit.
    reason
        ``""``, or ``"few_counts"`` (fewer than `spatial.dispersion.MIN_COUNTS`), ``"all_zero"``,
        ``"collinear"``, ``"separated"`` (some counts can be fitted as exactly zero, so a
        coefficient has no finite estimate) or ``"no_convergence"``; then everything else is NaN.
    """

    coefficients: FloatArray
    covariance: FloatArray
    mean: FloatArray
    k: float
    log_likelihood: float
    reason: str = ""


def regression(
    counts: npt.ArrayLike, exposure: npt.ArrayLike, columns: npt.ArrayLike
) -> Regression:
    """Fit ``log(mean) = log(exposure) + columns @ coefficients`` with negative binomial counts.

    Parameters
    ----------
    counts, exposure
        Counts and effort, shape (n,); effort above zero.
    columns
        Covariates, shape (n, p); a level needs a column of ones, or columns that sum to it.

    Notes
    -----
    Fitted by alternating iteratively reweighted least squares for the coefficients with maximum
    likelihood for k, as in Venables & Ripley (2002), Modern Applied Statistics with S, section 7.4.
    Checked in the tests against R's MASS::glm.nb and statsmodels, which is not used here because
    loading it takes as long as the rest of the weekly run together.

    Examples
    --------
    Eight traps near a hedge and eight far from it, a week each; 48 adults against 16:

    >>> near, far = [2, 0, 19, 5, 4, 13, 0, 5], [1, 0, 5, 2, 0, 3, 1, 4]
    >>> is_near = np.repeat([1.0, 0.0], 8)
    >>> fit = regression(near + far, [7] * 16, np.column_stack([np.ones(16), is_near]))
    >>> fit.mean[[0, -1]].round(2).tolist(), round(float(np.exp(fit.coefficients[1])), 2)
    ([6.0, 2.0], 3.0)
    """
    y, x = np.asarray(counts, dtype=float), np.asarray(exposure, dtype=float)
    matrix = np.asarray(columns, dtype=float).reshape(len(y), -1)
    if y.sum() == 0:
        return _failed(matrix, "all_zero")
    if np.linalg.matrix_rank(matrix) < matrix.shape[1]:
        return _failed(matrix, "collinear")
    return _iterated(y, x, matrix)


def _failed(matrix: FloatArray, reason: str) -> Regression:
    n, p = matrix.shape
    blank = np.full(p, np.nan)
    return Regression(
        blank, np.full((p, p), np.nan), np.full(n, np.nan), math.nan, math.nan, reason
    )


def _iterated(y: FloatArray, x: FloatArray, matrix: FloatArray) -> Regression:
    k, mean = 1.0, np.maximum(y, 0.5)
    overall = y.sum() / x.sum()
    for _ in range(MAX_ROUNDS):
        before_k, before = k, mean
        beta = _weighted_least_squares(y, x, matrix, mean, k)
        log_rate = np.clip(matrix @ beta, -30, 30)
        mean = x * np.exp(log_rate)
        k = negative_binomial_k(y, mean)
        if math.isnan(k):
            return _failed(matrix, "few_counts")
        steady = np.max(np.abs(mean - before) / before) <= TOLERANCE
        if steady and (k == before_k or abs(k - before_k) <= TOLERANCE * k):
            if np.abs(log_rate - math.log(overall)).max() > FARTHEST:
                return _failed(matrix, "separated")
            return _result(y, matrix, beta, mean, k)
        # Means that run away never settle: name the cause while it can be told.
        if log_rate.min() < math.log(overall) - FARTHEST and np.abs(log_rate).max() >= 30:
            return _failed(matrix, "separated")
    return _failed(matrix, "no_convergence")


def _weighted_least_squares(
    y: FloatArray, x: FloatArray, matrix: FloatArray, mean: FloatArray, k: float
) -> FloatArray:
    weight = np.sqrt(mean / (1 + mean / k))
    working = np.log(mean / x) + (y - mean) / mean
    beta, *_ = np.linalg.lstsq(matrix * weight[:, None], working * weight, rcond=None)
    return np.asarray(beta, dtype=float)


def _result(
    y: FloatArray, matrix: FloatArray, beta: FloatArray, mean: FloatArray, k: float
) -> Regression:
    information = matrix.T @ (matrix * (mean / (1 + mean / k))[:, None])
    covariance = np.asarray(np.linalg.pinv(information), dtype=float)
    return Regression(beta, covariance, mean, k, _height(y, mean, k))


def _height(y: FloatArray, mean: FloatArray, k: float) -> float:
    """Return the log likelihood, that of Poisson where k is infinite."""
    if math.isfinite(k):
        return log_likelihood(y, mean, k)
    return float((y * np.log(mean) - mean - gammaln(y + 1)).sum())
