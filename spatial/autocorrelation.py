"""Statistics of spatial autocorrelation on arrays: Moran's I, Getis-Ord Gi and Gi*, local Moran.

All take `values` of shape (n,) and `weights` of shape (n, n) with a zero diagonal. The inference
that snoutline's marks rest on is in `spatial.permutation`; the analytic moments here are for the
statistic's own scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from spatial.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class MoransI:
    """Moran's I with its moments under randomisation.

    Parameters
    ----------
    i, expected, variance, z
        Statistic, mean, variance and standardised value.
    """

    i: float
    expected: float
    variance: float
    z: float


def row_standardised(weights: npt.ArrayLike) -> FloatArray:
    """Return the weights divided by their row sums; a row of zeros stays zero.

    Examples
    --------
    >>> row_standardised([[0, 1, 1], [1, 0, 0], [0, 0, 0]]).tolist()
    [[0.0, 0.5, 0.5], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    """
    w = np.asarray(weights, dtype=float)
    total = w.sum(axis=1, keepdims=True)
    shares: FloatArray = np.divide(w, total, out=np.zeros_like(w), where=total > 0)
    return shares


def morans_i(values: npt.ArrayLike, weights: npt.ArrayLike) -> MoransI:
    """Return global Moran's I and its moments under the randomisation assumption.

    References
    ----------
    Cliff, A. D. & Ord, J. K. (1981). Spatial Processes: Models and Applications. Pion, p. 21.

    Examples
    --------
    High beside high and low beside low along a row of four:

    >>> chain = [[0, 1, 0, 0], [1, 0, 1, 0], [0, 1, 0, 1], [0, 0, 1, 0]]
    >>> round(morans_i([9, 9, 1, 1], chain).i, 3)
    0.333
    """
    x, w = np.asarray(values, dtype=float), np.asarray(weights, dtype=float)
    n, s0 = len(x), w.sum()
    deviation = x - x.mean()
    m2 = (deviation**2).mean()
    i = float(deviation @ w @ deviation / s0 / m2)
    expected = -1.0 / (n - 1)
    variance = _randomisation_variance(w, float((deviation**4).mean() / m2**2)) - expected**2
    return MoransI(i, expected, variance, (i - expected) / variance**0.5)


def _randomisation_variance(w: FloatArray, kurtosis: float) -> float:
    n, s0 = len(w), w.sum()
    s1 = ((w + w.T) ** 2).sum() / 2
    s2 = ((w.sum(axis=0) + w.sum(axis=1)) ** 2).sum()
    first = n * ((n**2 - 3 * n + 3) * s1 - n * s2 + 3 * s0**2)
    second = kurtosis * ((n**2 - n) * s1 - 2 * n * s2 + 6 * s0**2)
    return float((first - second) / ((n - 1) * (n - 2) * (n - 3) * s0**2))


def getis_ord(values: npt.ArrayLike, weights: npt.ArrayLike, *, star: bool = True) -> FloatArray:
    """Return the standardised local statistic Gi* (or Gi) of Ord & Getis (1995).

    Parameters
    ----------
    values, weights
        Values, shape (n,), and weights with a zero diagonal, shape (n, n).
    star
        True: the place itself belongs to its neighbourhood, with weight 1 (Gi*). False: it does
        not, and mean and variance are those of the other places (Gi).

    Returns
    -------
    numpy.ndarray
        Shape (n,); above zero where the neighbourhood holds more than its share; NaN for a place
        without neighbours and where all values are equal.

    References
    ----------
    Ord, J. K. & Getis, A. (1995). Local spatial autocorrelation statistics. Geographical Analysis
    27, 286-306. The variance uses n, as in the paper; Getis & Ord (1996, p. 267) print a value
    with n - 1, smaller by ``sqrt((n - 1) / n)``.

    Examples
    --------
    >>> chain = [[0, 1, 0, 0], [1, 0, 1, 0], [0, 1, 0, 1], [0, 0, 1, 0]]
    >>> getis_ord([9, 9, 1, 1], chain).round(3).tolist()
    [1.732, 1.0, -1.0, -1.732]
    """
    x, w = np.asarray(values, dtype=float), np.asarray(weights, dtype=float)
    if star:
        w = w + np.eye(len(x))
    count, mean, variance = _moments(x, star=star)
    total = w.sum(axis=1)
    scale = variance * (count * (w**2).sum(axis=1) - total**2) / (count - 1)
    neighbourless = (total - (1.0 if star else 0.0)) <= 0
    scale = np.where(neighbourless | (scale <= 0), np.nan, scale)
    standardised: FloatArray = (w @ x - mean * total) / np.sqrt(scale)
    return standardised


def _moments(x: FloatArray, *, star: bool) -> tuple[int, FloatArray, FloatArray]:
    n = len(x)
    if star:
        return n, np.full(n, x.mean()), np.full(n, x.var())
    mean = (x.sum() - x) / (n - 1)
    return n - 1, mean, ((x**2).sum() - x**2) / (n - 1) - mean**2


def local_moran(values: npt.ArrayLike, weights: npt.ArrayLike) -> FloatArray:
    """Return local Moran's I (Anselin 1995) with row-standardised weights.

    The values are scaled by their variance with n - 1; other programs use n, and their statistic
    is larger by ``n / (n - 1)``.

    Returns
    -------
    numpy.ndarray
        Shape (n,); below zero where a place differs from its neighbours; NaN for a place without
        neighbours and where all values are equal.

    References
    ----------
    Anselin, L. (1995). Local indicators of spatial association. Geographical Analysis 27, 93-115.

    Examples
    --------
    One high trap between low ones:

    >>> chain = [[0, 1, 0, 0], [1, 0, 1, 0], [0, 1, 0, 1], [0, 0, 1, 0]]
    >>> local_moran([1, 9, 1, 1], chain).round(3).tolist()
    [-0.75, -0.75, -0.25, 0.25]
    """
    x = np.asarray(values, dtype=float)
    w = row_standardised(weights)
    deviation = x - x.mean()
    variance = (deviation**2).sum() / (len(x) - 1)
    if variance == 0:
        return np.full(x.shape, np.nan)
    local = deviation * (w @ deviation) / variance
    return np.where(w.sum(axis=1) > 0, local, np.nan)
