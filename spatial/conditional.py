"""Conditional permutation for all places at once: the cost of the draws, not places x draws.

Hold the value of a place fixed and deal the others out again (Anselin 1995): its k neighbours then
are any k of the other n - 1 values with equal chance. Gi, Gi* and local Moran's I with equal
weights all rise with the sum over the neighbours, so that one sum answers for the three of them.

Dealing anew for every place costs n x R draws of k values. But the law of the sum depends on the
place only through k and through which value is held. So R sequences of different places are drawn
once, for all places:

1. The sums of the first k of a sequence serve every place with k neighbours.
2. A sequence that holds the place itself among its first k is no draw of *other* places; there, the
   last of the sequence, which no k reaches, takes its turn.

**Why 2 is exact.** Let place i have k neighbours, and let d(1), ..., d(m), m > k, be drawn from all
n places without putting back. The result of 1 and 2 is the set D of the first k, with i replaced by
d(m) if it is among them: always k different places, none of them i. Rename the other n - 1 places
in any way: the chance of every sequence stays the same, and D is renamed along. Hence sets that
renaming turns into each other have the same chance, and renaming turns any k-set of the others into
any other: D is uniform. The same sequences serve every place, so the p of two places are not
independent of each other; each one alone is what it would be with draws of its own.

**Within designs** the values are dealt out among traps of the same design only. The neighbours of
a place are then k(a) of design a, k(b) of design b and so on, independently: one sequence is drawn
from each design, the sum is the sum of their first k(a), k(b), ... and only the sequence of the
place's own design can hold the place itself. What was "every k" becomes "every mixture of designs
that occurs": never more than there are places, and few, since neighbourhoods are small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from spatial.arrays import BoolArray, FloatArray, IntArray, Links

CHUNK = 4096
"""Sequences worked at a time: memory does not grow with the number of permutations."""

TIE = 1e-9
"""Sums closer than this share of the values' scale are ties: rounding must not decide a p."""


@dataclass(frozen=True, slots=True)
class ConditionalCounts:
    """How the neighbour sums drawn compare with the one observed, own value held fixed.

    Parameters
    ----------
    upper, lower
        Permutations with a sum at least, or at most, the observed one; ties count in both, and a
        place without neighbours ties with all. Shape (n,).
    """

    upper: IntArray
    lower: IntArray


def conditional_counts(
    values: npt.ArrayLike,
    links: npt.ArrayLike | Links,
    permutations: int,
    seed: int,
    *,
    design: npt.ArrayLike | None = None,
) -> ConditionalCounts:
    """Compare every place's neighbour sum with those of conditional permutations.

    Parameters
    ----------
    values
        Shape (n,), finite.
    links
        Who neighbours whom, shape (n, n), zero diagonal, as an array or sparse; need not be
        symmetric. The links of one place weigh the same, as binary or row-standardised.
    permutations
        Number of permutations R.
    seed
        Seed of the generator; the same seed gives the same counts.
    design
        Trap design, shape (n,): values are dealt out within it. None when there is one.

    Returns
    -------
    ConditionalCounts

    Raises
    ------
    ValueError
        If shapes do not fit, a value is not finite, a place is its own neighbour, or the links of
        a place weigh differently.

    References
    ----------
    Anselin, L. (1995). Local indicators of spatial association. Geographical Analysis 27, 93-115.

    Examples
    --------
    A high value at the end of a row of four. Its neighbour is one of three equal ones: all tie.
    The second has neighbours 9 and 1, which come up in two of the three pairs of 9, 1, 1:

    >>> row = [[0, 1, 0, 0], [1, 0, 1, 0], [0, 1, 0, 1], [0, 0, 1, 0]]
    >>> found = conditional_counts([9, 1, 1, 1], row, 999, seed=0)
    >>> found.upper[0], found.lower[0]
    (np.int64(999), np.int64(999))
    >>> bool(abs(found.upper[1] - 666) < 60), found.lower[1]
    (True, np.int64(999))
    """
    deal = _Deal.of(values, links, design)
    groups = [_Group.of(deal, members) for members in deal.same_mixture()]
    upper, lower = np.zeros((2, len(deal.values)), dtype=np.int64)
    random = np.random.default_rng(seed)
    for start in range(0, permutations, CHUNK):
        dealt = [
            _sequences(places, length, min(CHUNK, permutations - start), random)
            for places, length in zip(deal.members, deal.lengths(), strict=True)
        ]
        sums = [_sums_of_first(deal.values[drawn]) for drawn in dealt]
        for group in groups:
            group.count(sums)
        for stratum, drawn in enumerate(dealt):
            _swap_own_place(deal, stratum, drawn, sums, (upper, lower))
    for group in groups:
        group.add_to(upper, lower)
    return ConditionalCounts(upper, lower)


@dataclass(frozen=True, slots=True)
class _Deal:
    """What is dealt out, to whom, and what must be beaten.

    Parameters
    ----------
    values
        Shape (n,).
    members
        The places of each design.
    k
        Neighbours in each design of every place, shape (designs, n).
    floor, ceiling
        Observed neighbour sum of every place, less and plus the tolerance of ties.
    """

    values: FloatArray
    members: tuple[IntArray, ...]
    k: IntArray
    floor: FloatArray
    ceiling: FloatArray

    @classmethod
    def of(
        cls, values: npt.ArrayLike, links: npt.ArrayLike | Links, design: npt.ArrayLike | None
    ) -> _Deal:
        x, near = _checked(values, links)
        kinds = np.zeros(len(x), dtype=np.int64) if design is None else np.asarray(design)
        names, stratum = np.unique(kinds, return_inverse=True)
        belongs = np.arange(len(names))[:, None] == stratum
        k = np.stack([np.asarray(near @ one.astype(float)) for one in belongs]).astype(np.int64)
        largest = max(1.0, float(np.abs(x).max(initial=0.0)))
        tolerance = TIE * largest * float(k.sum(axis=0).max(initial=0))
        observed = np.asarray(near @ x, dtype=np.float64)
        members = tuple(np.flatnonzero(one) for one in belongs)
        return cls(x, members, k, observed - tolerance, observed + tolerance)

    def lengths(self) -> list[int]:
        """Return how many places of each design to draw: one to spare wherever one is needed."""
        needed = self.k.max(axis=1, initial=0) + 1
        return [min(len(m), int(most)) for m, most in zip(self.members, needed, strict=True)]

    def same_mixture(self) -> list[IntArray]:
        """Return the places in groups that have equally many neighbours of every design."""
        mixture = np.zeros(self.k.shape[1], dtype=np.int64)
        for k in self.k:
            mixture = np.unique(mixture * (k.max(initial=0) + 1) + k, return_inverse=True)[1]
        order = np.argsort(mixture, kind="stable")
        return np.split(order, np.flatnonzero(np.diff(mixture[order])) + 1)


@dataclass(frozen=True, slots=True)
class _Group:
    """Places that share the sums drawn, in the order of their observed sums.

    Sorting the places once, not the draws for every place, makes one draw cost log(places).
    """

    places: IntArray
    k: IntArray
    floor: FloatArray
    ceiling: FloatArray
    reached: IntArray
    passed: IntArray

    @classmethod
    def of(cls, deal: _Deal, members: IntArray) -> _Group:
        places = members[np.lexsort((deal.ceiling[members], deal.floor[members]))]
        none = np.zeros((2, len(places) + 1), dtype=np.int64)
        return cls(places, deal.k[:, places[0]], deal.floor[places], deal.ceiling[places], *none)

    def count(self, sums: list[FloatArray]) -> None:
        """Add the sums of one chunk: how many floors each reaches, how many ceilings it passes."""
        total = np.sort(_added([of[k] for of, k in zip(sums, self.k, strict=True)]))
        size = len(self.places) + 1
        self.reached[:] += np.bincount(np.searchsorted(self.floor, total, "right"), minlength=size)
        self.passed[:] += np.bincount(np.searchsorted(self.ceiling, total, "left"), minlength=size)

    def add_to(self, upper: IntArray, lower: IntArray) -> None:
        """Add what was counted to the counts of the places."""
        upper[self.places] += self.reached[::-1].cumsum()[-2::-1]
        lower[self.places] += self.passed.cumsum()[:-1]


def _swap_own_place(
    deal: _Deal,
    stratum: int,
    drawn: IntArray,
    sums: list[FloatArray],
    counts: tuple[IntArray, IntArray],
) -> None:
    """Correct the counts where a place was drawn as its own neighbour: see the module's step 2.

    Every place drawn, but for the last of a sequence, is looked at as the one that is held.
    """
    own, turns, sequences = drawn[:-1], len(drawn) - 1, drawn.shape[1]
    among_first = np.arange(turns)[:, None] < deal.k[stratum].take(own)
    column = np.arange(sequences)
    before = _added(
        [
            of.ravel().take(k.take(own) * sequences + column)
            for of, k in zip(sums, deal.k, strict=True)
        ]
    )
    after = before - deal.values.take(own) + deal.values.take(drawn[-1])
    floor, ceiling = deal.floor.take(own), deal.ceiling.take(own)
    upper, lower = counts
    _recount(upper, own, among_first & (before >= floor), among_first & (after >= floor))
    _recount(lower, own, among_first & (before <= ceiling), among_first & (after <= ceiling))


def _recount(count: IntArray, places: IntArray, before: BoolArray, after: BoolArray) -> None:
    """Take from the count of every place what held before, and add what holds after."""
    changed = np.flatnonzero(before != after)
    np.add.at(count, places.ravel()[changed], np.where(after.ravel()[changed], 1, -1))


def _added(parts: list[FloatArray]) -> FloatArray:
    """Add design by design, always in the same order: the same sum must round the same way."""
    total = parts[0]
    for part in parts[1:]:
        total = total + part
    return total


def _sums_of_first(drawn: FloatArray) -> FloatArray:
    """Return the sum of the first 0, 1, 2, ... values of every sequence, one row each."""
    sums = np.zeros((len(drawn) + 1, drawn.shape[1]))
    for turn, values in enumerate(drawn):
        np.add(sums[turn], values, out=sums[turn + 1])
    return sums


def _sequences(places: IntArray, length: int, count: int, random: np.random.Generator) -> IntArray:
    """Return `count` sequences of `length` different places, shape (length, count).

    Every pick is one of those that are left, counted from the smallest: it moves up by one for
    every earlier pick that is not above it. Nothing is drawn in vain, and the cost does not depend
    on the number of places.
    """
    drawn = np.empty((length, count), dtype=np.int32)
    ascending = np.empty_like(drawn)
    for turn in range(length):
        pick = random.integers(len(places) - turn, size=count, dtype=np.int32)
        for earlier in ascending[:turn]:
            pick += pick >= earlier
        drawn[turn] = pick
        for earlier in ascending[:turn]:
            above = np.maximum(earlier, pick)
            np.minimum(earlier, pick, out=earlier)
            pick = above
        ascending[turn] = pick
    return places[drawn]


def _checked(values: npt.ArrayLike, links: npt.ArrayLike | Links) -> tuple[FloatArray, Links]:
    x = np.asarray(values, dtype=float)
    if sparse.issparse(links):
        near: Links = sparse.csr_array(links).astype(np.float64)
    else:
        near = sparse.csr_array(np.array(links, dtype=np.float64, ndmin=2))
    near.eliminate_zeros()
    if x.ndim != 1 or near.shape != (len(x), len(x)):
        raise ValueError(
            f"expected n values and n x n links; found shapes {x.shape} and {near.shape}"
        )
    if near.diagonal().any():
        raise ValueError("expected links with a zero diagonal; found a place beside itself")
    if not np.isfinite(x).all():
        raise ValueError(
            f"expected a number at every place; found none at {int((~np.isfinite(x)).sum())}: "
            "leave these places out first"
        )
    links_of = np.diff(near.indptr)
    mean = np.asarray(near.sum(axis=1)) / np.maximum(links_of, 1)
    if (near.data <= 0).any() or not np.allclose(near.data, np.repeat(mean, links_of), atol=0):
        raise ValueError(
            "expected links of one place to weigh the same, above zero; found unequal ones: "
            "a sum of unequal weights has another law for every place"
        )
    near.data[:] = 1.0
    return x, near
