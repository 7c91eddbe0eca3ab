"""What this network could see: how often it would find a patch of a given size and strength.

Nothing found means little when the network could not have found it. So patches are planted among
the site's own traps - their places, trap-nights, designs, level of catch and spread - and the
marks are made as always. The answer is a share of simulated maps, with its error.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from data.version import VERSION
from spatial.arrays import AnyArray, BoolArray, FloatArray
from spatial.dispersion import negative_binomial_k
from spatial.family import WEIGHTS
from spatial.neighbours import Neighbours
from spatial.patches import patches
from spatial.permutation import orders
from spatial.results import Chance
from spatial.standardise import standardised_within
from spatial.windows import Windows, outstanding

PATCH_SIZES = (3, 4, 6, 9, 12)
FOLDS = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
USUAL_PATCH = (4, 3.0)
"""Traps and fold of the patch that the weekly page speaks of."""

PERMUTATIONS = 199
"""Permutations that judge a simulated map: enough for a share of maps."""

WANTED = 0.8
"""A patch counts as one the network would find when it does so this often."""


@dataclass(frozen=True, slots=True)
class Watched:
    """The tested traps of a network, as far as they decide what it can find.

    Parameters
    ----------
    distance_m
        Walking distances, shape (n, n).
    windows
        Windows of the n traps.
    nights
        Trap-nights, shape (n,), all above zero.
    design
        Trap design, shape (n,).
    level
        Adults per trap-night that a trap of this design catches on average here, shape (n,).
    k
        Negative binomial k of trap totals; inf for no more spread than chance.
    cutoff_m
        Greatest walking distance within a patch.
    """

    distance_m: FloatArray
    windows: Windows
    nights: FloatArray
    design: AnyArray
    level: FloatArray
    k: float
    cutoff_m: float


def watched(traps: pd.DataFrame, graph: Neighbours, *, cutoff_m: float) -> Watched | None:
    """Take the tested traps of a network as they are; each design at its own average catch.

    The spread k is that of the traps round the average of their design: what differs between zones
    and uses is part of what a patch has to stand out from.

    Parameters
    ----------
    traps
        `adults`, `effort`, `design` and `reason` of every trap, as in `Analysis.traps`.
    graph
        Neighbours of the same traps.
    cutoff_m
        See `Watched`.

    Returns
    -------
    Watched or None
        None when no trap is tested or the spread is not known.
    """
    tested = traps["reason"].to_numpy() == ""
    if not tested.any():
        return None
    counts, nights = (traps[name].to_numpy(dtype=float)[tested] for name in ("adults", "effort"))
    design = traps["design"].to_numpy(dtype=str)[tested]
    level = np.empty(len(counts))
    for name in np.unique(design):
        own = design == name
        level[own] = counts[own].sum() / nights[own].sum()
    k = negative_binomial_k(counts, level * nights)
    if np.isnan(k):
        return None
    distance_m = graph.distance_m[np.ix_(tested, tested)]
    windows = graph.all_windows().among(tested)
    return Watched(distance_m, windows, nights, design, level, k, cutoff_m)


def chance_of_finding(
    network: Watched,
    traps: int,
    fold: float,
    *,
    alpha: float = 0.05,
    maps: int = 200,
    seed: int = 0,
) -> Chance:
    """Plant a patch again and again, and count how often it is marked.

    Parameters
    ----------
    network
        The network.
    traps, fold
        Size and strength of the patch: the traps nearest on foot to one drawn at random.
    alpha
        Error rate of the marks; the share of busy patches is spent.
    maps
        Maps to simulate; each is judged by `PERMUTATIONS` permutations.
    seed
        Seed of patches, catches and permutations.

    Examples
    --------
    Thirty traps in a row, four weeks each, .3 adults a night. Six of them at ten times the rest
    would be seen more often than three of them at twice the rest:

    >>> row = np.abs(np.subtract.outer(range(30), range(30))) * 10.0
    >>> from spatial.windows import windows_on_foot
    >>> network = Watched(
    ...     row, windows_on_foot(row, 5, 400), np.full(30, 28.0), np.zeros(30),
    ...     np.full(30, 0.3), k=1.0, cutoff_m=400,
    ... )
    >>> weak = chance_of_finding(network, 3, 2.0, maps=50).share
    >>> strong = chance_of_finding(network, 6, 10.0, maps=50).share
    >>> weak < 0.3 and strong > 0.8
    True
    """
    places = _patches_of(network, traps)
    if not len(places):
        return Chance(traps, fold, 0, 0)
    random = np.random.default_rng([seed, traps, round(fold * 10)])
    order = np.concatenate(list(orders(network.design, PERMUTATIONS, seed)))
    found = 0
    for _ in range(maps):
        patch = places[random.integers(len(places))]
        counts = _catches(random, network, np.where(patch, fold, 1.0))
        found += bool((_marked(network, counts, order, alpha) & patch).any())
    return Chance(traps, fold, found, maps)


def smallest_found(
    network: Watched, *, alpha: float = 0.05, maps: int = 200, seed: int = 0
) -> Iterator[Chance]:
    """Yield, for every size that fits, chances up to the weakest patch found `WANTED` often.

    The last one of each size is that patch, or the strongest looked at if even that is missed.
    Strengths are halved in on, since a stronger patch is found more often.
    """
    for traps in PATCH_SIZES:
        if traps > len(network.nights) // 3 or not len(_patches_of(network, traps)):
            continue
        yield from _halved(network, traps, alpha=alpha, maps=maps, seed=seed)


def fingerprint(network: Watched, *, alpha: float, maps: int, seed: int) -> str:
    """Return a text that is the same only where `smallest_found` would give the same answer."""
    members = network.windows.members
    parts = (
        network.distance_m,
        members.indices,
        members.indptr,
        network.windows.centre,
        network.nights,
        network.design,
        network.level,
        [network.k, network.cutoff_m, alpha, maps, seed],
    )
    digest = hashlib.sha256(
        repr((VERSION, PATCH_SIZES, FOLDS, WANTED, WEIGHTS, PERMUTATIONS)).encode()
    )
    for part in parts:
        digest.update(np.ascontiguousarray(np.asarray(part)).tobytes() + b"|")
    return digest.hexdigest()


def _halved(
    network: Watched, traps: int, *, alpha: float, maps: int, seed: int
) -> Sequence[Chance]:
    looked: dict[float, Chance] = {}
    low, high = 0, len(FOLDS) - 1
    while low <= high:
        middle = (low + high) // 2
        fold = FOLDS[middle]
        looked[fold] = chance_of_finding(network, traps, fold, alpha=alpha, maps=maps, seed=seed)
        if looked[fold].share >= WANTED:
            high = middle - 1
        else:
            low = middle + 1
    enough = [one.fold for one in looked.values() if one.share >= WANTED]
    last = min(enough) if enough else max(looked)
    return [one for one in looked.values() if one.fold != last] + [looked[last]]


def _patches_of(network: Watched, traps: int) -> BoolArray:
    """Return every patch of that many traps, one per centre that reaches enough others."""
    order = np.argsort(network.distance_m, axis=1, kind="stable")[:, :traps]
    rows = np.arange(len(order))[:, None]
    near = np.zeros(network.distance_m.shape, dtype=bool)
    near[rows, order] = True
    reached = network.distance_m[rows, order].max(axis=1) <= network.cutoff_m
    return np.asarray(near[reached], dtype=bool)


def _catches(random: np.random.Generator, network: Watched, fold: FloatArray) -> FloatArray:
    mean = network.level * network.nights * fold
    if np.isfinite(network.k):
        mean = random.gamma(network.k, mean / network.k)
    return np.asarray(random.poisson(mean), dtype=float)


def _marked(network: Watched, counts: FloatArray, order: AnyArray, alpha: float) -> BoolArray:
    activity = np.nan_to_num(standardised_within(counts, network.nights, network.design))
    if np.ptp(activity) == 0:
        return np.zeros(len(counts), dtype=bool)
    windows = network.windows
    highest = outstanding(np.ascontiguousarray(activity[order].T), windows).max(axis=0)
    beyond = outstanding(activity, windows)
    reached = (highest[:, None] >= beyond - 1e-9).sum(axis=0)
    telling = (reached + 1) / (len(order) + 1) <= alpha * WEIGHTS["busy"]
    return patches(activity, windows, beyond, telling & (beyond > 0)).patch
