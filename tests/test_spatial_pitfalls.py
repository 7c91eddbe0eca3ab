"""Traps and networks that make careless cluster statistics lie.

Each case is one that other software was measured to get wrong; the numbers beside the checks are
exact or worked by hand.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.testing import assert_allclose

from data.settings import MarkSettings
from spatial.autocorrelation import getis_ord, local_moran
from spatial.clusters import LocalClusters, clusters_by, local_clusters
from spatial.exact import exact_tails
from spatial.neighbours import Neighbours

FEW = MarkSettings(permutations=999, min_traps=5)


def ring(size: int, reach: int = 1) -> Neighbours:
    """Return traps in a ring, neighbours up to `reach` places on."""
    steps = np.abs(np.subtract.outer(np.arange(size), np.arange(size)))
    steps = np.minimum(steps, size - steps)
    ids = tuple(f"T{number:02d}" for number in range(size))
    return Neighbours(ids, (steps > 0) & (steps <= reach), steps * 10.0)


def marks_of(counts: Sequence[float], graph: Neighbours, *, nights: float = 7.0) -> LocalClusters:
    return clusters_by(FEW, counts, [nights] * len(counts), graph)


ZERO_RICH = [0] * 9 + [4, 6, 3]
UPPER = [0.490909, 1, 1, 1, 1, 1, 1, 1, 0.345455, 0.181818, 0.018182, 0.181818]
LOWER = [0.654545, *[0.509091] * 7, 0.8, 0.981818, 1, 0.981818]


def test_neighbours_that_are_all_zero_are_no_rarity() -> None:
    """Source: exact hypergeometric tails on a ring of twelve, P(S <= 0) = 28/55.

    A tail that leaves ties out gives the traps among zeros the smallest p there is.
    """
    upper, lower = exact_tails(ZERO_RICH, ring(12).adjacency)
    assert_allclose(upper, UPPER, atol=6e-7)
    assert_allclose(lower, LOWER, atol=6e-7)
    assert lower[1] == pytest.approx(28 / 55, abs=1e-12)


def test_a_trap_among_zeros_is_not_a_quiet_patch() -> None:
    """Source: as above; two-sided p of the traps among zeros is 1, and no mark is made there."""
    found = marks_of(ZERO_RICH, ring(12))
    assert_allclose(found.p, np.minimum(1, 2 * np.minimum(UPPER, LOWER)), atol=2e-6)
    assert (found.mark[1:8] == "none").all()


def test_a_trap_at_the_mean_is_not_marked() -> None:
    """Source: by hand. Trap 0 catches just the mean of 4: its local Moran is 0 in every map drawn.

    Software that asks for maps at least as extreme, without ties, calls that significant.
    """
    counts: list[float] = [4, 0, 8, 1, 7, 2, 6, 3, 5, 4, 4, 4, 4, 4]
    assert np.mean(counts) == 4
    found = marks_of(counts, ring(14))
    at_mean = np.array(counts) == 4
    assert_allclose(found.local_moran[at_mean], 0, atol=1e-15)
    assert (found.p_lone[at_mean] > 0.05).all()
    assert (found.mark[at_mean] == "none").all()


def test_an_isolated_trap_is_not_testable() -> None:
    """Source: convention of R's spdep, which gives NA; a trap without neighbours has no p."""
    graph = ring(14)
    near = np.zeros((15, 15), dtype=bool)
    near[:14, :14] = graph.adjacency
    island = Neighbours((*graph.ids, "T14"), near, np.where(near, 10.0, np.inf))
    counts = [3, 1, 0, 5, 2, 2, 7, 0, 1, 4, 0, 2, 6, 1, 99]
    found = marks_of(counts, island)
    assert found.mark[14] == "not_testable"
    assert found.reason[14] == "no_neighbours"
    assert np.isnan([found.p[14], found.gi_star[14], found.p_patch[14]]).all()
    assert np.isnan(getis_ord(counts, near)[14])
    assert np.isnan(local_moran(counts, near)[14])


@pytest.mark.parametrize("count", [0.0, 4.0])
def test_a_constant_field_is_not_testable(count: float) -> None:
    """Source: by hand; equal catches everywhere cannot be clustered."""
    found = marks_of([count] * 14, ring(14))
    assert set(found.mark) == {"not_testable"}
    assert set(found.reason) == {"no_variation"}
    assert found.overall.reason == "no_variation"
    assert math.isnan(found.overall.p)


def test_equal_rates_under_unequal_effort_are_a_constant_field() -> None:
    """Source: by hand; 3 in one week and 6 in two are the same rate."""
    nights = np.tile([7.0, 14.0], 7)
    found = clusters_by(FEW, nights * 3 / 7, nights, ring(14))
    assert set(found.reason) == {"no_variation"}


def test_a_trap_without_exposure_is_not_testable() -> None:
    counts, nights = np.tile([0.0, 3.0, 5.0], 5), np.full(15, 7.0)
    nights[3], counts[3] = 0.0, 0.0
    found = clusters_by(FEW, counts, nights, ring(15, 2))
    assert found.reason[3] == "no_nights"
    assert math.isnan(found.p[3])
    assert (found.reason[np.arange(15) != 3] == "").all()


@pytest.mark.parametrize("missing", ["counts", "nights"])
def test_a_missing_number_never_makes_the_smallest_p(missing: str) -> None:
    """Source: by hand; comparisons with NaN are all false, so every permutation looks beaten.

    A missing number must be refused with a message, or leave the other traps as they are.
    """
    counts, nights = np.tile([0.0, 3.0, 5.0], 5), np.tile([7.0, 14.0, 21.0, 7.0, 7.0], 3)
    {"counts": counts, "nights": nights}[missing][3] = math.nan
    try:
        found = clusters_by(FEW, counts, nights, ring(15, 2))
    except ValueError:
        return
    assert found.mark[3] == "not_testable"
    assert math.isnan(found.p[3])
    others = np.arange(15) != 3
    assert np.isfinite(found.gi_star[others]).all()
    assert math.isfinite(found.overall.i)


def test_whole_counts_and_decimal_counts_give_the_same_marks() -> None:
    """A count column of integers is worked like one of floats."""
    counts = [14, 17, 15, 16, 1, 0, 2, 1, 0, 1, 2, 0, 1, 1]
    nights = [7, 14] * 7
    whole = clusters_by(FEW, np.array(counts), np.array(nights), ring(14, 2))
    decimal = clusters_by(FEW, np.array(counts, float), nights, ring(14, 2))
    assert (whole.p_patch == decimal.p_patch).all()
    assert (whole.mark == decimal.mark).all()


def test_the_smallest_p_of_drawn_maps_is_two_in_permutations_plus_one() -> None:
    """Source: min(1, 2 (min tail + 1) / (R + 1)), by hand: .002 with 999 permutations."""
    counts = [90, 95, 99, 93, 97] + [0, 1] * 12
    nights = [7.0, 14.0] * 14 + [7.0]
    found = clusters_by(FEW, counts, nights, ring(29, 2))
    assert found.p.min() == pytest.approx(0.002, abs=1e-12)


def test_gi_and_gi_star_share_their_conditional_p() -> None:
    """Source: both rise with the neighbour sum when the own value is held; their z differ."""
    counts = [2, 0, 0, 5, 1, 1, 0, 9, 0, 3, 4, 0, 0, 1]
    found = marks_of([float(count) for count in counts], ring(14, 2))
    upper, lower = exact_tails(counts, ring(14, 2).adjacency)
    assert_allclose(found.p, np.minimum(1, 2 * np.minimum(upper, lower)), atol=1e-12)
    star = getis_ord(counts, ring(14, 2).adjacency)
    plain = getis_ord(counts, ring(14, 2).adjacency, star=False)
    assert np.abs(star - plain).max() > 0.1


@pytest.mark.parametrize("traps", [0, 1, 13])
def test_fewer_than_fourteen_traps_are_not_testable(traps: int) -> None:
    """Source: by hand; with three neighbours the smallest exact p is 1 / C(n - 1, 3).

    n >= 14 is needed for one trap to pass a false-discovery rate of .05.
    """
    counts = np.arange(traps, dtype=float)
    found = local_clusters(counts, np.full(traps, 7.0), ring(traps, 2))
    assert set(found.mark) <= {"not_testable"}
    assert set(found.reason) <= {"few_traps"}
    assert found.overall.reason == ("few_traps" if traps else "no_traps")


def test_a_very_rare_neighbour_sum_keeps_a_p_above_zero() -> None:
    """Source: by hand. The twelve highest of 149 are all round trap 0: 1 / C(149, 12)."""
    counts = np.concatenate([[30], np.arange(100, 112), np.zeros(137, dtype=int)])
    near = np.zeros((150, 150), dtype=bool)
    near[0, 1:13] = near[1:13, 0] = True
    upper, _ = exact_tails(counts, near)
    assert upper[0] == pytest.approx(1 / math.comb(149, 12), rel=1e-6, abs=0)


def test_a_trap_whose_neighbourhood_is_the_whole_network_is_not_called_tested() -> None:
    """Source: by hand; Gi* of everything is 0/0, so no catch at all could make a patch there."""
    near = ~np.eye(14, dtype=bool)
    whole = Neighbours(ring(14).ids, near, np.where(near, 10.0, 0.0))
    found = marks_of([60, 70, 80, 70, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0], whole)
    assert np.isnan(found.gi_star).all()
    assert set(found.mark) == {"not_testable"}


@pytest.mark.parametrize(("caught", "mark"), [(1, "none"), (9, "lone_busy")])
def test_where_a_single_beetle_went_marks_no_trap(caught: int, mark: str) -> None:
    """A catch in a far, small group is rarer than one anywhere else, even of one beetle."""
    along = np.r_[np.arange(57.0), 500.0, 501.0, 502.0]
    steps = np.abs(np.subtract.outer(along, along))
    names = tuple(f"T{n:02d}" for n in range(60))
    graph = Neighbours(names, (steps > 0) & (steps <= 3), 10 * steps)
    catches = np.zeros(60)
    catches[57] = caught
    assert local_clusters(catches, [7] * 60, graph, permutations=999).mark[57] == mark
