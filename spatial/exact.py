"""Exact conditional-permutation p for whole counts under equal effort."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from spatial.arrays import BoolArray, FloatArray, IntArray

MAX_STEPS = 1e8
"""Above this many additions (about a tenth of a second) p is drawn and not worked out."""

MAX_WAYS = 1e300
"""More choices of neighbours than this cannot be counted in floating point."""


def exact_tails(counts: npt.ArrayLike, adjacency: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Return P(S >= s) and P(S <= s) of every place's neighbour sum, its own count held fixed.

    Under the null hypothesis the k neighbours of a place are any k of the other n - 1 counts with
    equal chance. The number of such choices for every sum follows from a generating function over
    the counts, without drawing anything; Gi, Gi* and local Moran's I all rise with that sum, so
    the same tails serve all three.

    Parameters
    ----------
    counts
        Whole numbers, shape (n,), caught with equal effort.
    adjacency
        Neighbours, shape (n, n), diagonal False.

    Returns
    -------
    upper, lower
        Each of shape (n,); 1 for a place without neighbours.

    References
    ----------
    Pagano, M. & Tritchler, D. (1983). On obtaining permutation distributions in polynomial time.
    Journal of the American Statistical Association 78, 435-440 (cited from memory).

    Examples
    --------
    Three places in a row caught 2, 0 and 0. The first has one neighbour, and both possible
    neighbours caught 0; the last two have their low and high neighbour by a chance of one in two:

    >>> row = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 0]], dtype=bool)
    >>> [tail.tolist() for tail in exact_tails([2, 0, 0], row)]
    [[1.0, 0.5, 1.0], [1.0, 1.0, 1.0]]
    """
    y = np.asarray(counts, dtype=np.int64)
    k = adjacency.sum(axis=1)
    sums = adjacency @ y
    upper, lower = np.ones(len(y)), np.ones(len(y))
    for value in np.unique(y):
        places = np.flatnonzero((y == value) & (k > 0))
        if not len(places):
            continue
        others = np.delete(y, np.flatnonzero(y == value)[0])
        ways = _ways(others, int(k[places].max()))
        for place in places:
            share = ways[k[place]] / math.comb(len(others), int(k[place]))
            upper[place] = share[sums[place] :].sum()
            lower[place] = share[: sums[place] + 1].sum()
    return np.clip(upper, 0, 1), np.clip(lower, 0, 1)


def exact_is_cheap(counts: npt.ArrayLike, adjacency: BoolArray) -> bool:
    """Tell whether `exact_tails` is quick and can be worked out at all.

    Examples
    --------
    >>> exact_is_cheap([3, 0, 1], np.eye(3, k=1, dtype=bool))
    True
    """
    y = np.asarray(counts, dtype=float)
    neighbours = int(adjacency.sum(axis=1).max(initial=0))
    largest = float(np.sort(y)[len(y) - neighbours :].sum())
    steps = float(len(np.unique(y)) * len(y) * neighbours) * largest
    few_ways = math.comb(max(0, len(y) - 1), neighbours) <= MAX_WAYS
    return steps <= MAX_STEPS and few_ways


def _ways(others: IntArray, k: int) -> FloatArray:
    """Return how many ways 0..k of the others add up to each sum that k of them can have."""
    largest = _largest(others, k)
    ways = np.zeros((k + 1, largest + 1))
    ways[0, 0] = 1.0
    for count in others:
        if count <= largest:
            ways[1:, count:] += ways[:-1, : largest + 1 - count]
    return ways


def _largest(counts: IntArray, k: int) -> int:
    return int(np.sort(counts)[len(counts) - k :].sum())
