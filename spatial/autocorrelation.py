"""Statistics of spatial autocorrelation: Moran's I, Geary's C, Getis-Ord G, Gi, Gi*, local Moran.

All take `values` of shape (n,) and `weights` of shape (n, n) with a zero diagonal, as an array or
as any `scipy.sparse` matrix; the weights given are never changed. The inference that snoutline's
marks rest on is in `spatial.permutation`; the moments here are for the statistic's own scale.

A place without neighbours counts in n, in the mean and in the moments, as in esda and in R's spdep
with ``adjust.n = FALSE``. By default spdep takes it out of n alone, so that its I is smaller by the
share of places that have neighbours. Where all values are equal there is nothing to test, and every
statistic is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias, overload

import numpy as np
import numpy.typing as npt
from scipy import sparse

from spatial.arrays import FloatArray, Links

Weights: TypeAlias = npt.ArrayLike | Links


@dataclass(frozen=True, slots=True)
class MoransI:
    """Moran's I with its moments under randomisation.

    Parameters
    ----------
    i, expected, variance, z
        Statistic, mean, variance and standardised value; z is above zero where like values are
        neighbours.
    """

    i: float
    expected: float
    variance: float
    z: float


@dataclass(frozen=True, slots=True)
class GearysC:
    """Geary's C with its moments under randomisation.

    Parameters
    ----------
    c, expected, variance, z
        Statistic, mean (1), variance and standardised value; z is **below** zero where like values
        are neighbours.
    """

    c: float
    expected: float
    variance: float
    z: float


@dataclass(frozen=True, slots=True)
class GeneralG:
    """Getis-Ord general G with its moments under randomisation.

    Parameters
    ----------
    g, expected, variance, z
        Statistic, mean, variance and standardised value; z is above zero where high values are
        neighbours, below where low ones are.
    """

    g: float
    expected: float
    variance: float
    z: float


@overload
def row_standardised(weights: Links) -> Links: ...
@overload
def row_standardised(weights: npt.ArrayLike) -> FloatArray: ...
def row_standardised(weights: Weights) -> Links | FloatArray:
    """Return the weights divided by their row sums; a row of zeros stays zero.

    Sparse weights give sparse weights, an array gives an array.

    Examples
    --------
    >>> row_standardised([[0, 1, 1], [1, 0, 0], [0, 0, 0]]).tolist()
    [[0.0, 0.5, 0.5], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    """
    if sparse.issparse(weights):
        links = _links(weights)
        links.data = links.data / np.repeat(_row_sums(links), np.diff(links.indptr))
        return links
    w = np.asarray(weights, dtype=float)
    total = w.sum(axis=1, keepdims=True)
    shares: FloatArray = np.divide(w, total, out=np.zeros_like(w), where=total > 0)
    return shares


def morans_i(values: npt.ArrayLike, weights: Weights) -> MoransI:
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
    x, w = _paired(values, weights)
    n, expected = len(x), -1.0 / (len(x) - 1)
    if _constant(x):
        return MoransI(np.nan, expected, np.nan, np.nan)
    s0, s1, s2 = _weight_sums(w)
    deviation = x - x.mean()
    i = float(deviation @ (w @ deviation) / s0 / (deviation**2).mean())
    first = n * ((n**2 - 3 * n + 3) * s1 - n * s2 + 3 * s0**2)
    second = _kurtosis(deviation) * ((n**2 - n) * s1 - 2 * n * s2 + 6 * s0**2)
    variance = (first - second) / ((n - 1) * (n - 2) * (n - 3) * s0**2) - expected**2
    return MoransI(i, expected, variance, (i - expected) / variance**0.5)


def gearys_c(values: npt.ArrayLike, weights: Weights) -> GearysC:
    """Return Geary's C and its moments under the randomisation assumption.

    References
    ----------
    Cliff, A. D. & Ord, J. K. (1981). Spatial Processes: Models and Applications. Pion, p. 21.

    Examples
    --------
    One of the three links along the row joins unlike values. By hand, C is 3 times the six directed
    squared differences 0, 0, 64, 64, 0, 0 over 2 x 6 x 64:

    >>> chain = [[0, 1, 0, 0], [1, 0, 1, 0], [0, 1, 0, 1], [0, 0, 1, 0]]
    >>> gearys_c([9, 9, 1, 1], chain).c
    0.5
    """
    x, w = _paired(values, weights)
    n = len(x)
    if _constant(x):
        return GearysC(np.nan, 1.0, np.nan, np.nan)
    s0, s1, s2 = _weight_sums(w)
    deviation = x - x.mean()
    apart = float(_ends(w) @ deviation**2 - 2 * (deviation @ (w @ deviation)))
    c = (n - 1) * apart / (2 * s0 * float((deviation**2).sum()))
    k = _kurtosis(deviation)
    first = (n - 1) * s1 * (n**2 - 3 * n + 3 - (n - 1) * k)
    second = (n - 1) * s2 * (n**2 + 3 * n - 6 - (n**2 - n + 2) * k) / 4
    third = s0**2 * (n**2 - 3 - (n - 1) ** 2 * k)
    variance = (first - second + third) / (n * (n - 2) * (n - 3) * s0**2)
    return GearysC(c, 1.0, variance, (c - 1.0) / variance**0.5)


def general_g(values: npt.ArrayLike, weights: Weights) -> GeneralG:
    """Return the Getis-Ord general G and its moments under the randomisation assumption.

    Parameters
    ----------
    values
        None below zero, shape (n,): a catch or a rate, not a standardised activity.
    weights
        Shape (n, n), zero diagonal.

    Raises
    ------
    ValueError
        If a value is below zero: the products that G adds up would then mean nothing.

    References
    ----------
    Getis, A. & Ord, J. K. (1992). The analysis of spatial association by use of distance
    statistics. Geographical Analysis 24, 189-206.

    Examples
    --------
    The links along the row hold 2 x (81 + 9 + 1) of all 2 x (81 + 4 x 9 + 1):

    >>> chain = [[0, 1, 0, 0], [1, 0, 1, 0], [0, 1, 0, 1], [0, 0, 1, 0]]
    >>> general_g([9, 9, 1, 1], chain).g == 91 / 118
    True
    """
    x, w = _paired(values, weights)
    n = len(x)
    if (x < 0).any():
        raise ValueError(f"general G expects no value below zero; found {x.min():g}")
    sums = _weight_sums(w)
    expected = sums[0] / (n * (n - 1))
    if _constant(x):
        return GeneralG(np.nan, expected, np.nan, np.nan)
    pairs = float(x.sum() ** 2 - (x**2).sum())
    if pairs <= 0:  # one place holds everything: no pair has a product
        return GeneralG(np.nan, expected, np.nan, np.nan)
    g = float(x @ np.asarray(w @ x, dtype=np.float64)) / pairs
    variance = _second_moment_of_g(x, sums) / pairs**2 - expected**2
    return GeneralG(g, expected, variance, (g - expected) / variance**0.5)


def _second_moment_of_g(x: FloatArray, sums: tuple[float, float, float]) -> float:
    """Return E of the square of G's numerator (Getis & Ord 1992, appendix)."""
    s0, s1, s2 = sums
    n = len(x)
    m1, m2, m3, m4 = (float((x**power).sum()) for power in (1, 2, 3, 4))
    terms = (
        ((n**2 - 3 * n + 3) * s1 - n * s2 + 3 * s0**2) * m2**2,
        -((n**2 - n) * s1 - 2 * n * s2 + 6 * s0**2) * m4,
        -(2 * n * s1 - (n + 3) * s2 + 6 * s0**2) * m1**2 * m2,
        (4 * (n - 1) * s1 - 2 * (n + 1) * s2 + 8 * s0**2) * m1 * m3,
        (s1 - s2 + s0**2) * m1**4,
    )
    return sum(terms) / (n * (n - 1) * (n - 2) * (n - 3))


def getis_ord(values: npt.ArrayLike, weights: Weights, *, star: bool = True) -> FloatArray:
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
    x, w = _paired(values, weights)
    if _constant(x):
        return np.full(x.shape, np.nan)
    total, squares, around = _row_sums(w), _row_sums(w**2), np.asarray(w @ x)
    alone = total <= 0
    if star:
        total, squares, around = total + 1, squares + 1, around + x
    count, mean, variance = _moments(x, star=star)
    scale = variance * (count * squares - total**2) / (count - 1)
    scale = np.where(alone | (scale <= 0), np.nan, scale)
    standardised: FloatArray = (around - mean * total) / np.sqrt(scale)
    return standardised


def _moments(x: FloatArray, *, star: bool) -> tuple[int, FloatArray, FloatArray]:
    n = len(x)
    if star:
        return n, np.full(n, x.mean()), np.full(n, x.var())
    mean = (x.sum() - x) / (n - 1)
    return n - 1, mean, ((x**2).sum() - x**2) / (n - 1) - mean**2


def local_moran(values: npt.ArrayLike, weights: Weights) -> FloatArray:
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
    x, w = _paired(values, weights)
    if _constant(x):
        return np.full(x.shape, np.nan)
    deviation = x - x.mean()
    variance = (deviation**2).sum() / (len(x) - 1)
    local = deviation * (row_standardised(w) @ deviation) / variance
    return np.where(_row_sums(w) > 0, local, np.nan)


def _paired(values: npt.ArrayLike, weights: Weights) -> tuple[FloatArray, Links]:
    """Return values and weights ready to multiply, or say what does not fit."""
    x, w = np.asarray(values, dtype=float), _links(weights)
    if x.ndim != 1 or w.shape != (len(x), len(x)):
        raise ValueError(
            f"expected n values and n x n weights; found shapes {x.shape} and {w.shape}"
        )
    if w.diagonal().any():
        raise ValueError("expected weights with a zero diagonal; found a place beside itself")
    return x, w


def _links(weights: Weights) -> Links:
    """Return a copy of the weights as sparse rows."""
    if sparse.issparse(weights):
        return sparse.csr_array(weights).astype(np.float64)
    return sparse.csr_array(np.array(weights, dtype=np.float64, ndmin=2))


def _constant(x: FloatArray) -> bool:
    """Tell whether all values are the same; their variance may still be above zero by rounding."""
    return bool(np.ptp(x) == 0)


def _row_sums(w: Links) -> FloatArray:
    return np.asarray(w.sum(axis=1), dtype=np.float64)


def _ends(w: Links) -> FloatArray:
    """Return the weights that touch every place, in its row and in its column."""
    return _row_sums(w) + np.asarray(w.sum(axis=0), dtype=np.float64)


def _weight_sums(w: Links) -> tuple[float, float, float]:
    """Return S0, S1 and S2 of Cliff & Ord (1981, p. 19)."""
    mutual: Links = w.multiply(w.T).tocsr()
    s1 = float((w.data**2).sum() + mutual.data.sum())
    return float(w.data.sum()), s1, float((_ends(w) ** 2).sum())


def _kurtosis(deviation: FloatArray) -> float:
    return float((deviation**4).mean() / (deviation**2).mean() ** 2)
