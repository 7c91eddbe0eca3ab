"""Windows: the small groups of traps in which a patch is looked for.

A patch has a size nobody knows beforehand. Every trap is the centre of two windows, one a little
smaller than its neighbourhood and one clearly larger; the test takes the more telling of the two
and pays for looking twice. `scripts/bench/calibration.py` prints what that is worth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from spatial.arrays import BoolArray, FloatArray, IntArray, Links

SIZE_STEPS = (-1, 4)
"""Neighbours in the two windows of a trap, relative to the neighbours a trap has.

Measured on planted five-fold patches (scripts/bench/calibration.py, effort at random): against one
window of k neighbours, k - 1 and k + 4 found .46 / .71 / .97 in networks of 20 / 50 / 200 traps
(one window: .32 / .67 / .95). Three sizes, sizes closer together and farther apart did no better.
"""

MIN_MEMBERS = 3
"""Fewer traps than this are no patch: one big catch would carry it."""


@dataclass(frozen=True, slots=True)
class Windows:
    """Groups of traps, each around a centre.

    Parameters
    ----------
    members
        Shape (windows, n), 1 where a trap belongs to a window; the centre belongs to its own.
    centre
        Row of the centre of every window, shape (windows,).
    """

    members: Links
    centre: IntArray

    @property
    def sizes(self) -> IntArray:
        """Traps in every window, shape (windows,)."""
        return np.diff(self.members.indptr).astype(np.int64)

    def among(self, tested: BoolArray) -> Windows:
        """Return the windows whose centre is tested, without the traps that are not.

        Windows left with fewer than `MIN_MEMBERS` traps, or with every trap there is, are dropped:
        they tell nothing.

        Examples
        --------
        >>> row = closed_neighbourhoods(sparse.csr_array([[0, 1, 0], [1, 0, 1], [0, 1, 0]]))
        >>> row.among(np.array([True, True, True])).centre.tolist()
        []
        """
        kept = self.members[tested[self.centre]][:, tested]
        row = np.cumsum(tested) - 1
        left = Windows(sparse.csr_array(kept), row[self.centre[tested[self.centre]]])
        told = (left.sizes >= MIN_MEMBERS) & (left.sizes < int(tested.sum()))
        return Windows(sparse.csr_array(left.members[told]), left.centre[told])


def closed_neighbourhoods(links: Links) -> Windows:
    """Return one window per trap: itself and its neighbours.

    Parameters
    ----------
    links
        Binary neighbour links, shape (n, n), zero diagonal.

    Examples
    --------
    >>> pair = sparse.csr_array([[0.0, 1.0], [1.0, 0.0]])
    >>> closed_neighbourhoods(pair).members.toarray().tolist()
    [[1.0, 1.0], [1.0, 1.0]]
    """
    n = links.shape[0]
    return Windows(sparse.csr_array(links + sparse.eye_array(n)), np.arange(n))


def windows_on_foot(distance_m: npt.ArrayLike, neighbours: int, cutoff_m: float) -> Windows:
    """Return two windows per trap: its nearest traps on foot, few and more.

    Parameters
    ----------
    distance_m
        Walking distances in metres, shape (n, n); infinite where there is no way.
    neighbours
        Neighbours that a trap has in the network; the windows have `SIZE_STEPS` fewer or more.
    cutoff_m
        Traps farther than this on foot are never in a window.

    Examples
    --------
    Six traps in a row, 10 m apart; the windows of the first one for two neighbours:

    >>> row = np.abs(np.subtract.outer(range(6), range(6))) * 10.0
    >>> windows = windows_on_foot(row, neighbours=2, cutoff_m=30)
    >>> windows.members.toarray()[[0, 6]].astype(int).tolist()
    [[1, 1, 0, 0, 0, 0], [1, 1, 1, 1, 0, 0]]
    """
    between = np.asarray(distance_m, dtype=float)
    sizes = [max(1, neighbours + step) for step in SIZE_STEPS]
    groups = [nearest(between, size, cutoff_m) | np.eye(len(between), dtype=bool) for size in sizes]
    members = sparse.csr_array(np.concatenate(groups).astype(float))
    return Windows(members, np.tile(np.arange(len(between)), len(sizes)))


def nearest(distance_m: FloatArray, k: int, cutoff_m: float) -> BoolArray:
    """Return who are the `k` nearest of everyone: shape (n, n), the diagonal False.

    All that are as far as the k-th, to the millimetre, are taken, so that the answer depends
    neither on the order of the rows nor on how the map is turned.

    Examples
    --------
    >>> nearest(np.array([[0.0, 5.0, 5.0], [5.0, 0.0, 9.0], [5.0, 9.0, 0.0]]), 1, 100).tolist()
    [[False, True, True], [True, False, False], [True, False, False]]
    """
    others = np.round(np.array(distance_m, dtype=float), 3)
    np.fill_diagonal(others, np.inf)
    reach = np.full(len(others), np.inf)
    if len(others) > k:
        reach = np.partition(others, k - 1, axis=1)[:, k - 1]
    chosen: BoolArray = (others <= np.minimum(reach, cutoff_m)[:, None]) & np.isfinite(others)
    return chosen


def outstanding(values: FloatArray, windows: Windows) -> FloatArray:
    """Return how far the sum of every window is from its expectation, in standard deviations.

    The statistic is that of Gi* (Ord & Getis 1995) with the window as neighbourhood.

    Parameters
    ----------
    values
        Shape (n,) or (n, maps), not all equal within a map.
    windows
        Windows of the n traps.

    Returns
    -------
    numpy.ndarray
        Shape (windows,) or (windows, maps).

    Examples
    --------
    >>> chain = sparse.csr_array([[0, 1, 0, 0], [1, 0, 1, 0], [0, 1, 0, 1], [0, 0, 1, 0.0]])
    >>> outstanding(np.array([9.0, 9, 1, 1]), closed_neighbourhoods(chain)).round(3).tolist()
    [1.732, 1.0, -1.0, -1.732]
    """
    deviation: FloatArray = (values - values.mean(axis=0)) / values.std(axis=0)
    return np.asarray(standardising(windows) @ deviation, dtype=np.float64)


def standardising(windows: Windows) -> Links:
    """Return the weights that turn values of mean 0 and variance 1 into what `outstanding` gives.

    Parameters
    ----------
    windows
        Windows of n traps, none of which holds all of them.

    Returns
    -------
    scipy.sparse.csr_array
        Shape (windows, n): each row is 1 over the standard deviation of its window's sum.
    """
    n, size = windows.members.shape[1], windows.sizes.astype(float)
    spread = np.sqrt(size * (n - size) / (n - 1))
    return sparse.csr_array(sparse.diags_array(1.0 / spread) @ windows.members)
