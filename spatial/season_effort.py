"""Effort that counts the season: a night at the peak is worth more than a night in winter.

A trap that was out in the best weeks only catches more a night than one that was out all season,
wherever it stands. So the nights of every week are weighted by that week's catch over the whole
site, and traps that stand for different parts of the season can be compared.
"""

from __future__ import annotations

import numpy as np

from spatial.arrays import AnyArray, FloatArray

HALF_A_BEETLE = 0.5
"""Added to the adults of every week, caught and expected, so that no week counts for nothing."""


def season_effort(adults: FloatArray, nights: FloatArray, design: AnyArray) -> FloatArray:
    """Return season-weighted trap-nights of every trap at the end of every week.

    Parameters
    ----------
    adults, nights
        Season-to-date sums, shape (weeks, n), as in `spatial.exposure.Totals`.
    design
        Trap design, shape (n,).

    Returns
    -------
    numpy.ndarray
        Shape (weeks, n): nights, each multiplied by the catch of its week relative to what the
        designs checked in it catch on average to date (indirect standardisation, all designs
        together). Traps that were checked in the same weeks keep equal effort.

    Examples
    --------
    Two traps over two weeks, the second of which catches three times as much; a third trap was
    out in that week only. A night of it counts for more:

    >>> adults = np.array([[10.0, 10, 0], [40, 40, 30]])
    >>> nights = np.array([[7.0, 7, 0], [14, 14, 7]])
    >>> season_effort(adults, nights, np.array(["cup", "cup", "cup"]))[-1].round(1)
    array([12.8, 12.8,  9.5])
    """
    caught, out = (np.diff(total, axis=0, prepend=0.0) for total in (adults, nights))
    return np.stack(
        [
            _weighted(caught[: end + 1], out[: end + 1], _level(adults[end], nights[end], design))
            for end in range(len(adults))
        ]
    )


def _level(adults: FloatArray, nights: FloatArray, design: AnyArray) -> FloatArray:
    """Return what each trap's design catches a night, over all of its traps."""
    level = np.zeros(len(adults))
    for name in np.unique(design):
        own = design == name
        if nights[own].sum() > 0:
            level[own] = adults[own].sum() / nights[own].sum()
    return level


def _weighted(caught: FloatArray, out: FloatArray, level: FloatArray) -> FloatArray:
    expected = out @ level
    index = (caught.sum(axis=1) + HALF_A_BEETLE) / (expected + HALF_A_BEETLE)
    return np.asarray(index @ out, dtype=float)
