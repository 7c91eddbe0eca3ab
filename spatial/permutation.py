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
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from spatial.arrays import AnyArray, FloatArray, IntArray, Links
from spatial.autocorrelation import row_standardised
from spatial.windows import Windows, standardising

Number = TypeVar("Number", np.float64, np.int64)

CHUNK_CELLS = 30_000
"""Maps are drawn in chunks of about this many values, which stay in the processor's cache; so the
memory does not grow with the number of maps."""


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
    standard = (values - values.mean()) / values.std()
    extremes = _Extremes.of(setting)
    found = [
        extremes.over(np.ascontiguousarray(drawn.T))
        for drawn in shuffled(standard, setting.design, permutations, seed)
    ]
    return Draws(*np.concatenate(found, axis=1))


@dataclass(frozen=True, slots=True)
class _Extremes:
    """The parts of the statistics that are the same for every map drawn."""

    windows: Links
    lag: Links

    @classmethod
    def of(cls, setting: Setting) -> _Extremes:
        return cls(standardising(setting.windows), row_standardised(setting.links))

    def over(self, drawn: FloatArray) -> FloatArray:
        """Return busiest, quietest, most unlike and global I of every map, shape (4, maps).

        `drawn` has shape (n, maps); every map has mean 0 and variance 1.
        """
        beyond = np.asarray(self.windows @ drawn)
        local = np.asarray(self.lag @ drawn)
        local *= drawn
        n = len(drawn)
        return np.stack(
            [
                beyond.max(axis=0, initial=-np.inf),
                -beyond.min(axis=0, initial=np.inf),
                -local.min(axis=0) * ((n - 1) / n),
                local.mean(axis=0),
            ]
        )


def shuffled(
    values: npt.NDArray[Number], design: npt.ArrayLike, permutations: int, seed: int
) -> Iterator[npt.NDArray[Number]]:
    """Yield the values handed to other places of the same design, again and again.

    Parameters
    ----------
    values
        Shape (n,).
    design
        Trap design of every place, shape (n,).
    permutations, seed
        Number of maps, and seed of the generator.

    Yields
    ------
    numpy.ndarray
        Chunks of maps, shape (maps, n).

    Examples
    --------
    Two cups change values only with each other:

    >>> maps = np.concatenate(list(shuffled(np.array([7, 8, 9]), ["cup", "linear", "cup"], 50, 0)))
    >>> sorted(set(map(tuple, maps.tolist())))
    [(7, 8, 9), (9, 8, 7)]
    """
    random = np.random.default_rng(seed)
    members = np.asarray(design)
    groups = [np.flatnonzero(members == name) for name in np.unique(members)]
    step = max(8, CHUNK_CELLS // len(values))
    for start in range(0, permutations, step):
        maps = np.broadcast_to(values, (min(step, permutations - start), len(values))).copy()
        for places in groups:
            maps[:, places] = random.permuted(maps[:, places], axis=1)
        yield maps


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
    """
    yield from shuffled(np.arange(np.size(design)), design, permutations, seed)
