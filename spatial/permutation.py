"""Permutation inference for the whole map: what chance alone does to the same network.

Every permutation hands the observed activities to other places, within each trap design, so
unequal designs never make a pattern. One set of permutations serves two questions:

* the busiest and quietest window, and the trap most unlike its neighbours, anywhere on the map
  (the maximum statistics of Westfall & Young 1993, Resampling-Based Multiple Testing);
* global Moran's I.

The p of one place, its own value held fixed, is in `spatial.conditional`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from spatial.arrays import AnyArray, FloatArray, IntArray, Links
from spatial.windows import Windows, outstanding

CHUNK_CELLS = 1_000_000
"""Permutations are worked in chunks of this many cells: memory does not grow with their number."""

KEPT_CELLS = 20_000_000
"""Orders of up to this many cells are kept for the next call, larger ones are made again."""


@dataclass(frozen=True, slots=True)
class Draws:
    """What the permutations gave.

    Parameters
    ----------
    busy, quiet
        Most extreme window of each map drawn, upwards and downwards, as a positive number of
        standard deviations; shape (permutations,).
    lone
        Greatest unlikeness of each map drawn: minus the smallest local Moran's I.
    global_i
        Global Moran's I of each map drawn.
    """

    busy: FloatArray
    quiet: FloatArray
    lone: FloatArray
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


@dataclass(frozen=True, slots=True)
class Setting:
    """Where values are permuted: the places, and what they have to do with each other.

    Parameters
    ----------
    links
        Binary neighbour links, shape (n, n), symmetric, zero diagonal, no isolates.
    windows
        Windows of the same places.
    design
        Trap design of every place, shape (n,); values change places within a design only.
    """

    links: Links
    windows: Windows
    design: AnyArray


def draw(values: FloatArray, setting: Setting, permutations: int, seed: int) -> Draws:
    """Permute the values over the places, within design, and keep what the inference needs.

    Parameters
    ----------
    values
        Standardised activity, shape (n,), not all equal.
    setting
        The places.
    permutations
        Number of permutations R.
    seed
        Seed of the generator; the same seed gives the same draws.
    """
    extremes = [
        _extremes(np.ascontiguousarray(values[order].T), setting)
        for order in orders(setting.design, permutations, seed)
    ]
    return Draws(*np.concatenate(extremes, axis=1))


def _extremes(drawn: FloatArray, setting: Setting) -> FloatArray:
    """Return busiest, quietest, most unlike and global I of every map, shape (4, maps)."""
    n, maps = drawn.shape
    variance = drawn.var(axis=0)
    local = _products(drawn, setting.links)
    beyond = outstanding(drawn, setting.windows)
    return np.stack(
        [
            beyond.max(axis=0, initial=-np.inf),
            -beyond.min(axis=0, initial=np.inf),
            -local.min(axis=0) / (variance * n / (n - 1)),
            local.mean(axis=0) / variance,
        ]
    ).reshape(4, maps)


def _products(values: FloatArray, links: Links) -> FloatArray:
    """Return own deviation times mean deviation of the neighbours, shape as `values`."""
    k = np.diff(links.indptr).astype(float)
    deviation = values - values.mean(axis=0)
    around = np.asarray(links @ deviation)
    products: FloatArray = deviation * (around.T / k).T
    return products


def orders(design: npt.ArrayLike, permutations: int, seed: int) -> Iterator[IntArray]:
    """Yield orders of the places, each shuffled within its design, in chunks of whole orders.

    Parameters
    ----------
    design
        Trap design of every place, shape (n,).
    permutations, seed
        Number of orders, and seed of the generator.

    Yields
    ------
    numpy.ndarray
        Shape (orders, n): which place's value each place receives.

    Examples
    --------
    Two cups change places only with each other:

    >>> [chunk] = orders(["cup", "linear", "cup"], permutations=50, seed=0)
    >>> sorted(set(map(tuple, chunk.tolist())))
    [(0, 1, 2), (2, 1, 0)]
    """
    strata = tuple(np.unique(np.asarray(design), return_inverse=True)[1].tolist())
    keep = len(strata) * permutations <= KEPT_CELLS
    made = _kept_orders(strata, permutations, seed) if keep else _chunks(strata, permutations, seed)
    for order in made:
        yield order.astype(np.int64)


@lru_cache(maxsize=4)
def _kept_orders(
    strata: tuple[int, ...], permutations: int, seed: int
) -> tuple[npt.NDArray[np.int32], ...]:
    """Return the orders; kept because successive weeks of one season mostly test the same traps."""
    return tuple(_chunks(strata, permutations, seed))


def _chunks(
    strata: tuple[int, ...], permutations: int, seed: int
) -> Iterator[npt.NDArray[np.int32]]:
    random = np.random.default_rng(seed)
    members = np.asarray(strata)
    groups = [np.flatnonzero(members == one).astype(np.int32) for one in np.unique(members)]
    step = max(1, CHUNK_CELLS // len(members))
    for start in range(0, permutations, step):
        order = np.empty((min(step, permutations - start), len(members)), dtype=np.int32)
        for places in groups:
            order[:, places] = random.permuted(np.tile(places, (len(order), 1)), axis=1)
        yield order
