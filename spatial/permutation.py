"""Permutation inference for the local statistics: what chance alone does to the same network.

Every permutation hands the observed activities to other places, within each trap design, so
unequal designs never make a pattern. One set of permutations serves three questions:

* the conditional p of one place, its own value held fixed (Anselin 1995);
* the largest and smallest Gi*, and the smallest local Moran, anywhere on the map (the single-step
  maximum-statistic adjustment of Westfall & Young 1993, Resampling-Based Multiple Testing);
* global Moran's I.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from spatial.arrays import BoolArray, FloatArray, IntArray

CHUNK_CELLS = 2_000_000
"""Permutations are worked in chunks of this many cells: memory does not grow with their number."""

TIE = 1e-9
"""Sums closer than this share of the values' scale are ties: rounding must not decide a p."""


@dataclass(frozen=True, slots=True)
class Draws:
    """What the permutations gave.

    Parameters
    ----------
    upper, lower
        Permutations with a neighbour sum at least, or at most, the observed one, own value held
        fixed; ties count in both. Shape (n,).
    highest_gi, lowest_gi, lowest_moran
        Most extreme statistic of each map drawn, shape (permutations,), sorted upwards.
    global_i
        Global Moran's I of each map drawn, shape (permutations,), sorted upwards.
    """

    upper: IntArray
    lower: IntArray
    highest_gi: FloatArray
    lowest_gi: FloatArray
    lowest_moran: FloatArray
    global_i: FloatArray


def two_sided(upper: npt.ArrayLike, lower: npt.ArrayLike, permutations: int) -> FloatArray:
    """Return ``min(1, 2 (min(upper, lower) + 1) / (R + 1))``: twice the smaller tail, ties counted.

    Parameters
    ----------
    upper, lower
        Permutations at least, or at most, as large as what was observed.
    permutations
        Their number R.

    Examples
    --------
    Four of 999 as large or larger; and a constant field, where every permutation ties:

    >>> two_sided([4, 999], [995, 999], 999).tolist()
    [0.01, 1.0]
    """
    tail = np.minimum(np.asarray(upper), np.asarray(lower))
    p: FloatArray = np.minimum(1.0, 2.0 * (tail + 1.0) / (permutations + 1.0))
    return p


def draw(
    values: FloatArray,
    adjacency: BoolArray,
    design: npt.ArrayLike,
    permutations: int,
    seed: int,
) -> Draws:
    """Permute the values over the places, within design, and keep what the inference needs.

    Parameters
    ----------
    values
        Standardised activity, shape (n,), not all equal.
    adjacency
        Neighbours, shape (n, n), symmetric, diagonal False, no isolates.
    design
        Trap design of every place, shape (n,).
    permutations
        Number of permutations R.
    seed
        Seed of the generator; the same seed gives the same draws.
    """
    field = _Field.of(values, adjacency)
    tolerance = TIE * max(1.0, float(np.abs(values).max())) * float(field.k.max())
    observed = adjacency @ values
    upper, lower = np.zeros(len(values), dtype=np.int64), np.zeros(len(values), dtype=np.int64)
    extremes: list[FloatArray] = []
    strata = tuple(np.unique(np.asarray(design), return_inverse=True)[1].tolist())
    for order in _chunks(_orders(strata, permutations, seed), len(values)):
        drawn = values[order]
        around = drawn @ field.weights
        extremes.append(field.extremes(drawn, around))
        held = around + _own_value_held(order, values, adjacency)
        upper += (held >= observed - tolerance).sum(axis=0)
        lower += (held <= observed + tolerance).sum(axis=0)
    high, low, moran, overall = np.sort(np.concatenate(extremes, axis=1), axis=1)
    return Draws(upper, lower, high, low, moran, overall)


@dataclass(frozen=True, slots=True)
class _Field:
    """The parts of the statistics that no permutation changes."""

    weights: FloatArray
    k: FloatArray
    mean: float
    deviation: float

    @classmethod
    def of(cls, values: FloatArray, adjacency: BoolArray) -> _Field:
        weights = adjacency.astype(float)
        return cls(weights, weights.sum(axis=1), float(values.mean()), float(values.std()))

    def extremes(self, drawn: FloatArray, around: FloatArray) -> FloatArray:
        """Return highest Gi*, lowest Gi*, lowest local Moran and global I, shape (4, chunk)."""
        n, size = len(self.k), self.k + 1
        scale = self.deviation * np.sqrt((n * size - size**2) / (n - 1))
        gi = (around + drawn - self.mean * size) / np.where(scale > 0, scale, np.inf)
        local = (drawn - self.mean) * (around / self.k - self.mean)
        variance = self.deviation**2
        return np.stack(
            [
                gi.max(axis=1),
                gi.min(axis=1),
                local.min(axis=1) / (variance * n / (n - 1)),
                local.mean(axis=1) / variance,
            ]
        )


def _own_value_held(order: IntArray, values: FloatArray, adjacency: BoolArray) -> FloatArray:
    """Return the change in neighbour sums when every place swaps its own value back to itself.

    Swapping turns a permutation into one that leaves the place alone, with equal chance for each
    of those: the conditional permutation, from the same draw.
    """
    rows, n = np.arange(len(order))[:, None], order.shape[1]
    went_to = np.empty_like(order)
    went_to[rows, order] = np.arange(n)
    beside = adjacency[np.arange(n), went_to]
    return np.where(beside, values[order] - values, 0.0)


def _chunks(order: npt.NDArray[np.int32], n: int) -> Iterator[IntArray]:
    step = max(1, CHUNK_CELLS // n)
    for start in range(0, len(order), step):
        yield order[start : start + step].astype(np.int64)


@lru_cache(maxsize=4)
def _orders(strata: tuple[int, ...], permutations: int, seed: int) -> npt.NDArray[np.int32]:
    """Return `permutations` orders of the places, each shuffled within its stratum.

    Kept because successive weeks of one season mostly test the same traps.
    """
    random = np.random.default_rng(seed)
    members = np.asarray(strata)
    order = np.empty((permutations, len(members)), dtype=np.int32)
    for stratum in np.unique(members):
        places = np.flatnonzero(members == stratum).astype(np.int32)
        order[:, places] = random.permuted(np.tile(places, (permutations, 1)), axis=1)
    return order
