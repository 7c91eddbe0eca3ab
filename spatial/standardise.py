"""Empirical-Bayes standardised activity: counts made comparable across unequal effort."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from spatial.arrays import FloatArray


def eb_standardised(counts: npt.ArrayLike, exposure: npt.ArrayLike) -> FloatArray:
    """Return the empirical-Bayes standardised rates of Assunção & Reis (1999).

    With rates ``p = y / x``, overall rate ``b``, exposure-weighted variance ``s2`` and mean
    exposure ``xbar``: ``a = max(0, s2 - b / xbar)`` is the variance between traps beyond chance,
    and ``z = (p - b) / sqrt(a + b / x)``. The floor at zero is the one change to the paper: a
    negative variance is no variance.

    Parameters
    ----------
    counts
        Adults per trap, shape (n,).
    exposure
        Trap-nights per trap, shape (n,), all above zero, within one trap design.

    Returns
    -------
    numpy.ndarray
        Shape (n,); all NaN when nothing was caught at all.

    References
    ----------
    Assunção, R. M. & Reis, E. A. (1999). A new proposal to adjust Moran's I for population
    density. Statistics in Medicine 18, 2147-2162.

    Examples
    --------
    Two adults in one night stand out less than fourteen in seven:

    >>> eb_standardised([2, 14, 0, 7], [1, 7, 7, 7]).round(2).tolist()
    [0.77, 1.19, -1.31, -0.06]
    """
    y = np.asarray(counts, dtype=float)
    x = np.asarray(exposure, dtype=float)
    overall = y.sum() / x.sum()
    if overall == 0:
        return np.full(y.shape, np.nan)
    rates = y / x
    spread = (x * (rates - overall) ** 2).sum() / x.sum()
    between = max(0.0, spread - overall / x.mean())
    standardised: FloatArray = (rates - overall) / np.sqrt(between + overall / x)
    return standardised


def standardised_within(
    counts: npt.ArrayLike, exposure: npt.ArrayLike, design: npt.ArrayLike
) -> FloatArray:
    """Return `eb_standardised` computed separately within each trap design.

    Examples
    --------
    The third trap is a big linear one; within its design it is ordinary:

    >>> designs = ["cup", "cup", "linear", "linear"]
    >>> standardised_within([1, 3, 30, 30], [7, 7, 7, 7], designs).round(3).tolist()
    [-0.707, 0.707, 0.0, 0.0]
    """
    y, x, d = np.asarray(counts, dtype=float), np.asarray(exposure, dtype=float), np.asarray(design)
    activity = np.full(y.shape, np.nan)
    for name in np.unique(d):
        members = d == name
        activity[members] = eb_standardised(y[members], x[members])
    return activity
