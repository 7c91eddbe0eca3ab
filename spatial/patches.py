"""From telling windows to patches: which traps belong, and which stand alone.

A window says that a group of traps together catches more (or less) than chance allows. It does not
say that each of them does, and windows around one patch overlap and reach beyond it. So:

* the most telling window makes a patch, then the next one that shares no trap with it, and so on;
* a member belongs to the patch if its own activity is on the patch's side of the mean;
* the centre of any other telling window belongs as well, under the same condition;
* a window that tells only through its most extreme trap is no patch: that trap stands alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spatial.arrays import BoolArray, FloatArray, IntArray
from spatial.windows import Windows


@dataclass(frozen=True, slots=True)
class Side:
    """What the telling windows of one side (busy or quiet) say about the traps.

    Parameters
    ----------
    patch
        Traps that belong to a patch, shape (n,).
    alone, telling_alone
        Traps that made a window tell all by themselves, and those windows: pairs of positions.
    chosen
        Windows that make the patches, shape (windows,).
    """

    patch: BoolArray
    alone: IntArray
    telling_alone: IntArray
    chosen: BoolArray


def patches(values: FloatArray, windows: Windows, beyond: FloatArray, telling: BoolArray) -> Side:
    """Find the busy patches; with all signs turned, the quiet ones.

    Parameters
    ----------
    values
        Activity, shape (n,).
    windows
        Windows of the n traps.
    beyond
        How far each window stands out, shape (windows,).
    telling
        Windows beyond chance, shape (windows,).

    Examples
    --------
    Eight traps in a row; the window of the first four tells, and so does the one around the third.
    The second caught nothing and is no member; the third is centre and member:

    >>> from scipy import sparse
    >>> members = sparse.csr_array([[1.0, 1, 1, 1, 0, 0, 0, 0], [0, 1, 1, 1, 1, 0, 0, 0]])
    >>> caught = np.array([9.0, 0, 9, 9, 1, 0, 0, 0])
    >>> found = patches(
    ...     caught, Windows(members, np.array([0, 2])), np.array([3.0, 2.5]), np.array([True, True])
    ... )
    >>> found.patch.tolist()
    [True, False, True, True, False, False, False, False]
    """
    solid = telling & _without_their_best(values, windows)
    chosen = _apart(windows, beyond, solid)
    above = values > values.mean()
    belongs = _any_member(windows, chosen)
    belongs[windows.centre[solid]] = True
    alone, singled = _best_of(values, windows, telling & ~solid)
    kept = above[alone]
    return Side(belongs & above, alone[kept], singled[kept], chosen)


def _without_their_best(values: FloatArray, windows: Windows) -> BoolArray:
    """Return which windows are above the mean even without their most extreme trap."""
    rest = np.asarray(windows.members @ values) - _greatest(values, windows)
    return np.asarray(rest > values.mean() * (windows.sizes - 1))


def _greatest(values: FloatArray, windows: Windows) -> FloatArray:
    if not len(windows.centre):
        return np.zeros(0)
    rows = windows.members
    return np.asarray(np.maximum.reduceat(values[rows.indices], rows.indptr[:-1]), dtype=float)


def _best_of(values: FloatArray, windows: Windows, which: BoolArray) -> tuple[IntArray, IntArray]:
    """Return the most extreme traps of some windows, and their windows."""
    pairs = [(_inside(windows, window), window) for window in np.flatnonzero(which)]
    best = [
        (trap, window)
        for inside, window in pairs
        for trap in inside[values[inside] == values[inside].max()]
    ]
    found = np.array(best, dtype=np.int64).reshape(-1, 2)
    return found[:, 0], found[:, 1]


def _apart(windows: Windows, beyond: FloatArray, telling: BoolArray) -> BoolArray:
    """Return the most telling windows that share no trap with a more telling one.

    Windows that tell equally much are taken together, so that the order of the traps decides
    nothing.
    """
    chosen = np.zeros(len(beyond), dtype=bool)
    taken = np.zeros(windows.members.shape[1], dtype=bool)
    order = np.flatnonzero(telling)
    order = order[np.argsort(-beyond[order], kind="stable")]
    steps = np.flatnonzero(np.diff(beyond[order]) < -1e-9) + 1
    for group in np.split(order, steps):
        free = [window for window in group if not taken[_inside(windows, window)].any()]
        chosen[free] = True
        taken |= _any_member(windows, chosen)
    return chosen


def _any_member(windows: Windows, which: BoolArray) -> BoolArray:
    member = np.zeros(windows.members.shape[1], dtype=bool)
    for window in np.flatnonzero(which):
        member[_inside(windows, window)] = True
    return member


def _inside(windows: Windows, window: np.intp) -> IntArray:
    start, end = windows.members.indptr[window : window + 2]
    return np.asarray(windows.members.indices[start:end], dtype=np.int64)
