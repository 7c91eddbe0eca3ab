"""Permutation p against exact answers that draw nothing."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reference.tables import Network, network, table
from scipy import sparse

from spatial.autocorrelation import row_standardised
from spatial.clusters import local_clusters
from spatial.conditional import ConditionalCounts, conditional_counts
from spatial.exact import exact_tails
from spatial.neighbours import Neighbours
from spatial.permutation import Draws, Setting, draw, orders, two_sided
from spatial.standardise import eb_standardised
from spatial.windows import closed_neighbourhoods

EXACT = ("fir", "orchardsprays")
PERMUTATIONS = 9999


def graph_of(stored: Network) -> Neighbours:
    ids = tuple(f"T{number:03d}" for number in range(len(stored.values)))
    return Neighbours(ids, stored.adjacency, np.where(stored.adjacency, 10.0, np.inf))


def held(stored: Network, *, seed: int = 0) -> ConditionalCounts:
    return conditional_counts(stored.values, stored.adjacency, PERMUTATIONS, seed)


def drawn(stored: Network) -> Draws:
    links = sparse.csr_array(stored.adjacency.astype(float))
    n = len(stored.values)
    windows = closed_neighbourhoods(links).among(np.ones(n, dtype=bool))
    return draw(stored.values, Setting(links, windows, np.zeros(n)), PERMUTATIONS, 0)


def within_chance(hits: np.ndarray, exact: np.ndarray, draws: int) -> np.ndarray:
    """Tell where a drawn share lies within 4 binomial standard errors, and one draw, of a p."""
    error = 4 * np.sqrt(exact * (1 - exact) / draws) + 1 / draws
    return np.asarray(np.abs(hits / draws - exact) <= error)


@pytest.mark.parametrize("name", EXACT)
def test_exact_tails_equal_the_reference(name: str) -> None:
    """Source: `*_exact.csv`, conditional-permutation p by k-subset sums (tests/reference)."""
    stored, exact = network(name), table(f"{name}_exact")
    upper, lower = exact_tails(stored.values, stored.adjacency)
    assert_allclose(stored.adjacency @ stored.values, exact["S"])
    assert_allclose(upper, exact["upper"], rtol=0, atol=1e-12)
    assert_allclose(lower, exact["lower"], rtol=0, atol=1e-12)


@pytest.mark.parametrize("name", EXACT)
def test_marks_use_the_exact_p_under_equal_effort(name: str) -> None:
    """Source: column `two` of `*_exact.csv`; one design, one week each, whole counts."""
    stored = network(name)
    found = local_clusters(stored.values, np.full(len(stored.values), 7.0), graph_of(stored))
    assert_allclose(found.p, table(f"{name}_exact")["two"], rtol=0, atol=1e-12)


@pytest.mark.parametrize("name", EXACT)
@pytest.mark.parametrize("seed", [0, 1])
def test_drawn_tails_lie_within_chance_of_the_exact_ones(name: str, seed: int) -> None:
    """Source: `*_exact.csv`; 4 binomial standard errors of 9,999 permutations at every place."""
    stored, exact = network(name), table(f"{name}_exact")
    draws = held(stored, seed=seed)
    assert within_chance(draws.upper, exact["upper"].to_numpy(), PERMUTATIONS).all()
    assert within_chance(draws.lower, exact["lower"].to_numpy(), PERMUTATIONS).all()


@pytest.mark.parametrize("name", EXACT)
def test_drawn_tails_of_standardised_activity_are_those_of_the_counts(name: str) -> None:
    """Under equal effort the standardised activity only rescales the counts."""
    stored = network(name)
    n = len(stored.values)
    activity = eb_standardised(stored.values, np.full(n, 7.0))
    of_activity = conditional_counts(activity, stored.adjacency, PERMUTATIONS, 0)
    of_counts = held(stored)
    assert (of_activity.upper == of_counts.upper).all()
    assert (of_activity.lower == of_counts.lower).all()


@pytest.mark.parametrize("counts", [[2, 0, 0, 5, 1, 1, 0, 9, 0, 3], [0, 0, 0, 0, 0, 0, 0, 4, 4, 1]])
def test_exact_tails_equal_counting_every_choice(counts: list[int]) -> None:
    """Source: brute force, every choice of neighbours' catches for each of ten places."""
    y = np.array(counts)
    steps = np.abs(np.subtract.outer(np.arange(10), np.arange(10)))
    near = (steps > 0) & (steps <= 2)
    upper, lower = exact_tails(y, near)
    for place in range(10):
        others, k = np.delete(y, place), int(near[place].sum())
        sums = np.array([sum(chosen) for chosen in combinations(others.tolist(), k)])
        observed = y[near[place]].sum()
        assert upper[place] == pytest.approx((sums >= observed).mean(), abs=1e-14)
        assert lower[place] == pytest.approx((sums <= observed).mean(), abs=1e-14)


def test_draws_stay_within_design() -> None:
    """Source: brute force. Two designs on a ring of ten, permuted only among their own."""
    values = np.array([2.0, 0, 0, 5, 1, -1, 0.5, 9, 0.25, 3])
    design = np.array([0, 0, 0, 0, 0, 1, 1, 1, 1, 1])
    steps = np.abs(np.subtract.outer(np.arange(10), np.arange(10)))
    near = (steps == 1) | (steps == 9)
    draws = conditional_counts(values, near, PERMUTATIONS, 0, design=design)
    # Place 0 has neighbours 1, of its design, and 9, of the other: 4 x 5 equal chances.
    sums = np.add.outer(values[1:5], values[5:]).ravel()
    exact = np.array([(sums >= values[1] + values[9] - 1e-9).mean()])
    assert within_chance(draws.upper[:1], exact, PERMUTATIONS).all()


def test_global_permutations_have_the_mean_and_variance_of_the_theory() -> None:
    """Source: R spdep 1.2-7 on columbus CRIME, against 9,999 draws.

    I = .500188557183 at z = 5.58938267504 gives the standard deviation (within 4 %), and the mean
    is -1 / (n - 1) (within 4 standard errors).
    """
    stored = network("columbus")
    overall = drawn(stored).global_i
    deviation = (0.500188557183 + 1 / 48) / 5.58938267504
    assert abs(overall.mean() + 1 / 48) < 4 * deviation / np.sqrt(PERMUTATIONS)
    assert overall.std() == pytest.approx(deviation, rel=0.04)


def test_whole_maps_are_permuted_within_design_only() -> None:
    """Source: by hand. Each design keeps its own values in every order drawn."""
    design = np.array(["cup"] * 7 + ["linear"] * 3)
    for order in orders(design, 200, 1):
        assert (np.sort(order[:, :7], axis=1) == np.arange(7)).all()
        assert (np.sort(order[:, 7:], axis=1) == np.arange(7, 10)).all()
    assert {row[0] for order in orders(design, 200, 1) for row in order.tolist()} == set(range(7))


def test_every_drawn_extreme_is_a_statistic_of_that_map() -> None:
    """Global I of the draws cannot lie outside what the weights allow.

    Source: de Jong, Sprenger & van Veen 1984, Geographical Analysis 16, 17-24 (from memory): the
    bounds are the extreme eigenvalues of the centred, symmetrised weights, times n / S0 (here 1).
    """
    stored = network("fir")
    weights = row_standardised(stored.adjacency)
    n = len(stored.values)
    centring = np.eye(n) - 1 / n
    values = np.linalg.eigvalsh(centring @ (weights + weights.T) @ centring / 2)
    overall = drawn(stored).global_i
    assert values.min() <= overall.min() <= overall.max() <= values.max()


@pytest.mark.parametrize(
    ("upper", "lower", "permutations", "p"),
    [(0, 999, 999, 0.002), (0, 9999, 9999, 0.0002), (999, 999, 999, 1.0), (400, 600, 999, 0.802)],
)
def test_two_sided_p_is_twice_the_smaller_tail(
    upper: int, lower: int, permutations: int, p: float
) -> None:
    """Source: min(1, 2 (min tail + 1) / (R + 1)), by hand; the smallest p is 2 / (R + 1)."""
    assert two_sided(upper, lower, permutations) == pytest.approx(p, abs=1e-15)


def test_marks_of_the_same_seed_are_the_same() -> None:
    """Unequal effort makes every p a drawn one; the seed alone settles it."""
    stored = network("fir")
    effort = np.tile([7.0, 14.0], 25)
    runs = [
        local_clusters(stored.values, effort, graph_of(stored), permutations=499, seed=seed)
        for seed in (3, 3, 4)
    ]
    assert (runs[0].p == runs[1].p).all()
    assert (runs[0].p_patch == runs[1].p_patch).all()
    assert (runs[0].p != runs[2].p).any()
