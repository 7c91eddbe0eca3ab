"""Everything the cluster tests can say of one week: more than the weekly page has room for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.sparse.csgraph import connected_components

from spatial.arrays import NameArray
from spatial.clusters import LocalClusters, clusters_by
from spatial.global_tests import GlobalAutocorrelation, global_autocorrelation
from spatial.neighbours import Neighbours
from spatial.network import network_of, walked_m
from spatial.persistence import Persistence, persistence
from spatial.power import fingerprint, smallest_found, watched
from spatial.results import Analysis, Chance


@dataclass(frozen=True, slots=True)
class ClusterDetail:
    """What the cluster tests say beyond `Analysis`.

    Parameters
    ----------
    analysis
        The weekly analysis: season-to-date marks and second look are in its tables.
    components
        Which connected part of the neighbour graph each trap is in, from 1 by size; 0 for an
        isolate. Shape (n,).
    week
        The chosen week's own statistic: it says when, not where.
    overall
        Global Moran's I, Geary's C and General G, season to date.
    persistence
        Rank correlation of successive rounds.
    chances
        How often patches of several sizes and strengths would be found; see
        `spatial.power.smallest_found`.
    fingerprint
        Of the simulation: the same text, the same answer; empty without one.
    """

    analysis: Analysis
    components: NameArray
    week: LocalClusters
    overall: GlobalAutocorrelation
    persistence: Persistence
    chances: tuple[Chance, ...]
    fingerprint: str


def cluster_detail(
    analysis: Analysis,
    *,
    maps: int = 200,
    known: Mapping[str, tuple[Chance, ...]] | None = None,
    told: Callable[[str], None] = lambda _: None,
) -> ClusterDetail:
    """Work out what the weekly page leaves out.

    Parameters
    ----------
    analysis
        From `spatial.analysis.analyse`.
    maps
        Maps to simulate for each patch.
    known
        Fingerprint -> chances of an earlier run, which need no new simulation.
    told
        Called with what is being done, for a user who waits.
    """
    traps, rules, seed = analysis.traps, analysis.site.settings.marks, analysis.seed
    design = traps["design"].to_numpy(dtype=str)
    counts, nights = traps["adults"].to_numpy(dtype=float), traps["effort"].to_numpy(dtype=float)
    distance_m = walked_m(traps, analysis.site)
    graph = network_of(traps, nights, distance_m, rules)
    told("testing the week and the whole network")
    week_nights = traps["week_nights"].to_numpy(dtype=float)
    week = clusters_by(
        rules,
        traps["week_adults"].fillna(0).to_numpy(dtype=float),
        week_nights,
        network_of(traps, week_nights, distance_m, rules),
        design=design,
        seed=seed,
    )
    overall = global_autocorrelation(
        counts,
        nights,
        graph,
        design=design,
        permutations=rules.permutations,
        min_traps=rules.min_traps,
        seed=seed,
    )
    lasting = persistence(analysis.rounds, pd.Series(design, index=traps["location_id"].to_numpy()))
    key, chances = _chances(analysis, graph, maps, known or {}, told)
    parts = _components(graph)
    return ClusterDetail(analysis, parts, week, overall, lasting, chances, key)


def _components(graph: Neighbours) -> NameArray:
    """Return the number of the connected part of every trap, the largest first."""
    _, part = connected_components(graph.adjacency, directed=False)
    size = np.bincount(part)
    first = pd.Series(range(len(part))).groupby(part).min().to_numpy()
    rank = np.empty(len(size), dtype=int)
    rank[np.lexsort((first, -size))] = np.arange(1, len(size) + 1)
    rank[size == 1] = 0
    return rank[part].astype(object)


def _chances(
    analysis: Analysis,
    graph: Neighbours,
    maps: int,
    known: Mapping[str, tuple[Chance, ...]],
    told: Callable[[str], None],
) -> tuple[str, tuple[Chance, ...]]:
    rules, seed = analysis.site.settings.marks, analysis.seed
    network = watched(analysis.traps, graph, cutoff_m=rules.cutoff_m)
    if network is None:
        return "", ()
    key = fingerprint(network, alpha=rules.alpha, maps=maps, seed=seed)
    if key in known:
        return key, known[key]
    found = []
    for chance in smallest_found(network, alpha=rules.alpha, maps=maps, seed=seed):
        told(f"planted patches of {chance.traps} traps at {chance.fold:g} times the rest")
        found.append(chance)
    return key, tuple(found)
