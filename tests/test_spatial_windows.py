"""Windows, patches, the shared error rate, and what a network could see."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from libpysal.graph import Graph
from numpy.testing import assert_allclose
from scipy import sparse

from spatial.arrays import FloatArray
from spatial.autocorrelation import getis_ord
from spatial.clusters import local_clusters
from spatial.family import WEIGHTS, Family
from spatial.neighbours import Neighbours, nearest_on_foot
from spatial.patches import patches
from spatial.power import Watched, chance_of_finding, smallest_found, watched
from spatial.windows import (
    MIN_MEMBERS,
    SIZE_STEPS,
    Windows,
    closed_neighbourhoods,
    outstanding,
    windows_on_foot,
)


def scattered(size: int, seed: int = 1) -> FloatArray:
    """Return distances between places at random in a square of 500 m."""
    places = np.random.default_rng(seed).uniform(0, 500, size=(size, 2))
    return np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))


def test_windows_hold_the_centre_and_its_nearest() -> None:
    between = scattered(40)
    windows = windows_on_foot(between, 6, 10_000)
    assert sorted(set(windows.sizes)) == [6 + step + 1 for step in SIZE_STEPS]
    held = windows.members.toarray() > 0
    assert held[np.arange(80), windows.centre].all()
    for window, centre in enumerate(windows.centre):
        inside, outside = between[centre][held[window]], between[centre][~held[window]]
        assert inside.max() < outside.min()


def test_windows_keep_to_the_cut_off() -> None:
    between = scattered(40)
    held = windows_on_foot(between, 6, 60.0).members.toarray() > 0
    assert (np.vstack([between, between])[held] <= 60.0).all()


def test_the_window_statistic_is_gi_star_of_its_members() -> None:
    """On closed neighbourhoods the two are one: Ord & Getis 1995, as in spatial.autocorrelation."""
    graph = nearest_on_foot([str(number) for number in range(30)], scattered(30), 5, 10_000)
    values = np.random.default_rng(3).gamma(1.0, size=30)
    windows = closed_neighbourhoods(sparse.csr_array(graph.adjacency.astype(float)))
    assert_allclose(outstanding(values, windows), getis_ord(values, graph.adjacency), rtol=1e-12)


def test_untested_traps_leave_the_windows_and_small_ones_go() -> None:
    between = np.abs(np.subtract.outer(range(10), range(10))) * 10.0
    windows = windows_on_foot(between, 3, 10_000)
    tested = np.ones(10, dtype=bool)
    tested[[1, 2]] = False
    left = windows.among(tested)
    assert left.members.shape[1] == 8
    assert (left.sizes >= MIN_MEMBERS).all()
    assert (left.sizes < 8).all()


def window_of(*groups: list[int], traps: int) -> Windows:
    members = np.zeros((len(groups), traps))
    for row, group in enumerate(groups):
        members[row, group] = 1
    return Windows(sparse.csr_array(members), np.array([group[0] for group in groups]))


def test_one_big_catch_stands_alone_and_makes_no_patch() -> None:
    caught = np.array([60.0, 0, 1, 0, 3, 3, 3, 3])
    found = patches(caught, window_of([1, 0, 2, 3], traps=8), np.array([4.0]), np.array([True]))
    assert found.alone.tolist() == [0]
    assert found.telling_alone.tolist() == [0]
    assert not found.patch.any()


def test_a_weaker_window_over_the_same_traps_adds_its_centre_only() -> None:
    caught = np.array([9.0, 9, 9, 9, 8, 8, 0, 0, 0, 0, 0, 0])
    windows = window_of([0, 1, 2, 3], [4, 3, 2, 5], traps=12)
    found = patches(caught, windows, np.array([4.0, 3.0]), np.array([True, True]))
    assert np.flatnonzero(found.patch).tolist() == [0, 1, 2, 3, 4]
    assert found.chosen.tolist() == [True, False]


def test_equally_telling_windows_are_taken_together_whatever_their_order() -> None:
    caught = np.array([9.0, 9, 9, 9, 9, 0, 0, 0, 0, 0, 0, 0])
    for groups in ([0, 1, 2], [2, 3, 4]), ([2, 3, 4], [0, 1, 2]):
        found = patches(
            caught, window_of(*groups, traps=12), np.array([3.0, 3.0]), np.array([True, True])
        )
        assert np.flatnonzero(found.patch).tolist() == [0, 1, 2, 3, 4]


def test_the_shared_error_rate_is_kept_over_all_kinds_together() -> None:
    """Of 4,000 maps judged by 999 others, .05 plus or minus three standard errors are marked."""
    random = np.random.default_rng(5)
    family = Family.of({kind: random.exponential(size=999) for kind in WEIGHTS})
    lowest = np.minimum.reduce(
        [family.adjusted(kind, random.exponential(size=4000)) for kind in WEIGHTS]
    )
    judged = 0.05 + 3 * np.sqrt(0.05 * 0.95 * (1 / 4000 + 1 / 999))
    assert 0.05 - 3 * np.sqrt(0.05 * 0.95 * (1 / 4000 + 1 / 999)) <= np.mean(lowest <= 0.05)
    assert np.mean(lowest <= 0.05) <= judged


def test_what_a_kind_cannot_reach_is_left_to_the_others() -> None:
    """A quiet statistic that is the same on every map takes nothing from the busy share."""
    maps = np.arange(999.0)
    family = Family.of({"busy": maps, "quiet": maps * 0, "lone": maps * 0})
    reached = family.adjusted("busy", np.array([949.0]))[0]
    assert reached == pytest.approx(0.051)


def test_a_libpysal_graph_gives_the_marks_of_its_own_neighbourhoods() -> None:
    ids = [f"T{number:02d}" for number in range(30)]
    ours = nearest_on_foot(ids, scattered(30), 5, 10_000)
    counts = np.random.default_rng(2).negative_binomial(1, 0.2, size=30)
    counts[ours.adjacency[0]] += 30
    plain = Neighbours(ours.ids, ours.adjacency, ours.distance_m)
    by_graph = local_clusters(counts, [14] * 30, ours.to_graph(), permutations=499)
    by_links = local_clusters(counts, [14] * 30, plain, permutations=499)
    assert (by_graph.mark == by_links.mark).all()
    assert (by_graph.state == "busy").any()


def test_a_graph_with_other_weights_is_refused() -> None:
    graph = Graph.from_arrays([0, 1], [1, 0], [0.5, 0.5])
    with pytest.raises(ValueError, match=r"binary weights, found a weight of 0\.5"):
        local_clusters([1, 2], [7, 7], graph)


def test_counts_and_graph_of_different_traps_are_refused() -> None:
    graph = nearest_on_foot(["A", "B", "C"], scattered(3), 1, 10_000)
    with pytest.raises(ValueError, match=r"graph's 3 traps; found shapes \(2,\)"):
        local_clusters([1, 2], [7, 7], graph)


def network(k: float = 1.5) -> Watched:
    between = scattered(60, seed=8)
    return Watched(
        between,
        windows_on_foot(between, 5, 10_000),
        np.full(60, 28.0),
        np.repeat(["cup", "linear"], 30),
        np.repeat([0.3, 0.9], 30),
        k=k,
        cutoff_m=10_000,
    )


def test_stronger_patches_are_found_more_often() -> None:
    weak, strong = (chance_of_finding(network(), 6, fold, maps=60).share for fold in (2.0, 8.0))
    assert weak + 0.2 < strong


def test_without_a_patch_hardly_anything_is_found() -> None:
    """A "patch" no busier than the rest is marked in at most .05 of maps plus two s.e. (.028)."""
    assert chance_of_finding(network(), 6, 1.0, maps=60).share <= 0.05 + 2 * 0.028


def test_the_smallest_patch_found_is_bracketed() -> None:
    looked = list(smallest_found(network(), maps=40))
    for traps in {one.traps for one in looked}:
        of_size = [one for one in looked if one.traps == traps]
        last = of_size[-1]
        weaker = [one for one in of_size if one.fold < last.fold]
        assert all(one.share < 0.8 for one in weaker)
        assert last.share >= 0.8 or last.fold == max(one.fold for one in of_size)


def test_the_same_seed_gives_the_same_chance() -> None:
    assert chance_of_finding(network(), 4, 4.0, maps=30) == chance_of_finding(
        network(), 4, 4.0, maps=30
    )


def test_an_untested_network_has_no_chance_to_state() -> None:
    traps = pd.DataFrame({"adults": [1.0], "effort": [7.0], "design": ["cup"], "reason": ["x"]})
    graph = nearest_on_foot(["A"], np.zeros((1, 1)), 1, 100)
    assert watched(traps, graph, cutoff_m=100) is None
