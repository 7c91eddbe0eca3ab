"""Ways to mark traps that are compared: ours, and what the library gives.

Every recipe takes a simulated network and returns which traps it calls busy and which quiet.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse
from scipy.stats import false_discovery_control

from data.settings import MarkSettings
from scripts.bench.simulated import NEIGHBOURS, Network
from spatial.arrays import BoolArray, FloatArray
from spatial.clusters import clusters_by
from spatial.neighbours import Neighbours, nearest_on_foot
from spatial.permutation import two_sided
from spatial.windows import closed_neighbourhoods

if TYPE_CHECKING:
    from esda import G_Local

ALPHA = 0.05
NO_CUTOFF_M = 10_000.0


@dataclass(frozen=True, slots=True)
class Marked:
    """Which traps a recipe marks, shape (n,) each."""

    busy: BoolArray
    quiet: BoolArray


Recipe = Callable[[Network, int, int], Marked]
"""From a network, a number of permutations and a seed to the marks."""


def snoutline(network: Network, permutations: int, seed: int) -> Marked:
    """Mark as the weekly map does: two windows a trap, members marked."""
    return _ours(network, _graph(network), permutations, seed)


def one_window(network: Network, permutations: int, seed: int) -> Marked:
    """Mark with the same error rate over one window a trap: its k nearest."""
    graph = _graph(network)
    near = sparse.csr_array(_directed(network).astype(float))
    return _ours(network, replace(graph, windows=closed_neighbourhoods(near)), permutations, seed)


def library_raw_p(network: Network, permutations: int, seed: int) -> Marked:
    """Mark where the library's own p of Gi* on rates is below .05."""
    found = _library(network, permutations, seed)
    telling = found.p_sim < ALPHA
    return Marked(telling & (found.Zs > 0), telling & (found.Zs < 0))


def library_two_sided_fdr(network: Network, permutations: int, seed: int) -> Marked:
    """Mark by Benjamini-Hochberg on the two-sided, tie-safe p of the library's simulations."""
    found = _library(network, permutations, seed)
    tolerance = 1e-9 * found.Gs.max()
    above = found.rGs.T - found.Gs
    upper, lower = (above >= -tolerance).sum(axis=0), (above <= tolerance).sum(axis=0)
    telling = false_discovery_control(two_sided(upper, lower, permutations)) <= ALPHA
    return Marked(telling & (found.Zs > 0), telling & (found.Zs < 0))


RECIPES: Mapping[str, Recipe] = {
    "snoutline": snoutline,
    "max over one window": one_window,
    "library p < .05": library_raw_p,
    "library, two-sided, FDR": library_two_sided_fdr,
}


def _graph(network: Network) -> Neighbours:
    names = tuple(str(number) for number in range(len(network.counts)))
    seen = network.nights > 0
    between = np.where(seen[:, None] & seen[None, :], network.distance_m, np.inf)
    return nearest_on_foot(names, between, NEIGHBOURS[len(names)], NO_CUTOFF_M)


def _directed(network: Network) -> BoolArray:
    n = len(network.counts)
    order = np.argsort(network.distance_m, axis=1, kind="stable")
    near = np.zeros((n, n), dtype=bool)
    near[np.arange(n)[:, None], order[:, 1 : NEIGHBOURS[n] + 1]] = True
    return near


def _ours(network: Network, graph: Neighbours, permutations: int, seed: int) -> Marked:
    rules = MarkSettings(permutations=permutations, alpha=ALPHA)
    found = clusters_by(
        rules, network.counts, network.nights, graph, design=network.design, seed=seed
    )
    return Marked(found.state == "busy", found.state == "quiet")


def _rates(network: Network) -> FloatArray:
    return np.where(network.nights > 0, network.counts / np.maximum(network.nights, 1.0), 0.0)


def _library(network: Network, permutations: int, seed: int) -> G_Local:
    """Return esda's Gi* on rates, binary weights, simulated values kept."""
    from esda import G_Local  # noqa: PLC0415 - slow to load, and not every run compares
    from libpysal.graph import Graph  # noqa: PLC0415

    focal, neighbor = np.nonzero(_directed(network))
    graph = Graph.from_arrays(focal, neighbor, np.ones(len(focal)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return G_Local(
            _rates(network),
            graph.to_W(),
            transform="B",
            permutations=permutations,
            star=True,
            n_jobs=1,
            seed=seed,
        )
