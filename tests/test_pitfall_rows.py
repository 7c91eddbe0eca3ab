"""The remaining ways in which esda 2.9 was measured to mislead on trap counts, held against ours.

The numbering E1 to E20 runs through these tests, `test_spatial_pitfalls.py` (E1, E4 to E8, E11,
E20), `test_reference_counts.py` (E18) and `test_spatial_properties.py` (E19). Each test gives the
measured behaviour of esda and the right answer with its source.
"""

from __future__ import annotations

import ast
import math
import tracemalloc
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from numpy.testing import assert_allclose
from reference.tables import network
from scipy import sparse, stats

from spatial.autocorrelation import (
    gearys_c,
    general_g,
    getis_ord,
    local_moran,
    morans_i,
    row_standardised,
)
from spatial.clusters import local_clusters
from spatial.conditional import conditional_counts
from spatial.exact import exact_tails
from spatial.neighbours import Neighbours
from spatial.permutation import two_sided

ROOT = Path(__file__).resolve().parents[1]
DRAWS = 9_999


def ring(size: int, reach: int = 1) -> npt.NDArray[np.bool_]:
    steps = np.abs(np.subtract.outer(np.arange(size), np.arange(size)))
    steps = np.minimum(steps, size - steps)
    return np.asarray((steps > 0) & (steps <= reach))


def graph_of(near: npt.NDArray[np.bool_]) -> Neighbours:
    ids = tuple(f"T{number:03d}" for number in range(len(near)))
    return Neighbours(ids, near, np.where(near, 10.0, np.inf))


def nearest(places: npt.NDArray[np.float64], k: int) -> npt.NDArray[np.bool_]:
    """Return who are the k nearest of everyone, not made mutual."""
    between = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    np.fill_diagonal(between, np.inf)
    reach = np.partition(between, k - 1, axis=1)[:, k - 1]
    return np.asarray(between <= reach[:, None])


@pytest.mark.parametrize(("n", "k", "rate"), [(30, 3, 0.3), (120, 8, 0.3), (50, 4, 0.6)])
def test_e2_zero_rich_counts_give_no_false_smallest_p(n: int, k: int, rate: float) -> None:
    """E1, E2: esda leaves ties out of the lower tail: 17 of 30 such traps got the smallest p.

    Source: `spatial.exact`. No trap may have a drawn p of .002 or less where the exact two-sided p
    is .05 or more, and no p may be farther from it than 8 binomial standard errors (two tails).
    """
    random = np.random.default_rng(n)
    counts = random.negative_binomial(0.3, 0.3 / (0.3 + rate), size=n)
    near = nearest(random.random((n, 2)), k)
    upper, lower = exact_tails(counts, near)
    exact = np.minimum(1.0, 2 * np.minimum(upper, lower))
    found = conditional_counts(counts, near, DRAWS, 0)
    drawn = two_sided(found.upper, found.lower, DRAWS)
    assert (counts == 0).mean() > 0.5
    assert not ((drawn <= 0.002) & (exact >= 0.05)).any()
    half = exact / 2
    assert (np.abs(drawn - exact) <= 8 * np.sqrt(half * (1 - half) / DRAWS) + 2 / DRAWS).all()


@pytest.mark.parametrize("scaled", [False, True])
def test_e3_an_exact_tie_is_a_tie_however_it_is_rounded(scaled: bool) -> None:
    """E3: a county without cases beside one without cases: esda .0001 for want of one last bit.

    Source: by hand. Rates of sids2, the 56th county has the 87th as its only neighbour, both 0; of
    the 99 others 12 have 0 too, so that P(sum <= 0) = 12/99, and P(sum >= 0) = 1.
    """
    stored = network("sids2")
    near = stored.adjacency.copy()
    near[55] = np.arange(100) == 86
    values = stored.values
    if scaled:
        values = (values - values.mean()) / values.std()
    assert stored.values[55] == stored.values[86] == 0
    found = conditional_counts(values, near, DRAWS, 0)
    error = 4 * math.sqrt(12 / 99 * 87 / 99 / DRAWS)
    assert found.lower[55] / DRAWS == pytest.approx(12 / 99, abs=error)
    assert found.upper[55] == DRAWS


def test_e4_e17_marks_name_the_side_of_trap_and_neighbours_and_the_mean_is_no_side() -> None:
    """E4, E17: esda calls a trap at the mean Low, and significant.

    Source: signs of value and lag from their means, by hand. Trap 8 catches just the mean of 5.
    """
    counts = np.array([20, 22, 21, 19] + [0, 1] * 2 + [5, 1] + [0] * 7 + [5], dtype=float)
    counts[-1] += 5 * len(counts) - counts.sum()
    assert counts[8] == counts.mean() == 5
    near = ring(len(counts), 2)
    found = local_clusters(counts, np.full(len(counts), 7.0), graph_of(near), permutations=999)
    own = np.sign(counts - counts.mean())
    assert (own[found.mark == "busy_patch"] > 0).all()
    assert (found.mark == "busy_patch").any()
    assert (own[np.isin(found.mark, ["quiet_patch", "lone_quiet"])] < 0).all()
    assert found.mark[8] == "none"
    assert_allclose(found.direction, np.sign(getis_ord(counts, near)))


@pytest.mark.parametrize("kind", [np.int64, np.int32, np.uint8, np.float32])
def test_e8_whole_numbers_are_numbers(kind: type[np.generic]) -> None:
    """E8: esda with numba refuses integer counts. Source: ours on floats; unsigned ones too."""
    stored = network("fir")
    counts, near = stored.values.astype(kind), stored.adjacency
    for statistic in (getis_ord, local_moran):
        assert (statistic(counts, near) == statistic(stored.values, near)).all()
    for overall in (morans_i, gearys_c, general_g):
        assert overall(counts, near) == overall(stored.values, near)
    typed, plain = (conditional_counts(each, near, 99, 0) for each in (counts, stored.values))
    assert (typed.upper == plain.upper).all()


@pytest.mark.parametrize("name", ["columbus", "fir"])
def test_e9_gi_does_not_depend_on_the_scale_of_a_row(name: str) -> None:
    """E9: esda's default, row-standardised weights, makes z too small by up to five times.

    Source: R spdep 1.2-7 `localG`, binary; Gi is the same for weights divided by their row sum.
    """
    stored = network(name)
    shares = row_standardised(stored.adjacency)
    ours = getis_ord(stored.values, shares, star=False)
    assert_allclose(ours, stored.local["Gi"], rtol=1e-9)


@pytest.mark.parametrize("star", [False, True])
def test_e9_e10_unequal_weights_count_as_they_are(star: bool) -> None:
    """E9, E10: esda's "B" makes 1 of every weight, and its "R" lacks the sum of squared weights.

    Source: Ord & Getis 1995, equations 5 and 6, written out place by place.
    """
    values = np.array([3.0, 0, 7, 1, 1, 12, 4])
    weights = np.array([1, 0.2, 0.5, 0, 0.05, 2])
    kernel = sum(np.diag(weights[: 7 - step], step) / step for step in (1, 2))
    kernel = kernel + kernel.T
    expected = []
    for place in range(7):
        w = kernel[place] + (star and np.eye(7)[place])
        x = values if star else np.delete(values, place)
        n = len(x)
        spread = x.var() * (n * (w**2).sum() - w.sum() ** 2) / (n - 1)
        expected.append((w @ values - w.sum() * x.mean()) / math.sqrt(spread))
    assert_allclose(getis_ord(values, kernel, star=star), expected, rtol=1e-12)
    assert np.abs(getis_ord(values, kernel > 0, star=star) - expected).max() > 0.1


def test_e10_draws_of_unequal_weights_are_refused_and_not_made_equal() -> None:
    """E10. Source: by hand; weights 1 and 0.2 of one place."""
    with pytest.raises(ValueError, match="expected links of one place to weigh the same"):
        conditional_counts([1.0, 2, 3], [[0, 1, 0.2], [1, 0, 0], [1, 1, 0]], 99, 0)


def test_e10_the_weights_given_are_never_changed() -> None:
    """E10: esda changes the W passed in. Source: a copy made before, bit by bit."""
    values = network("fir").values
    weights = network("fir").adjacency * 0.5
    thin = sparse.csr_array(weights)
    data, links = thin.data.copy(), thin.indices.copy()
    for each in (weights, thin):
        for statistic in (getis_ord, local_moran, morans_i, gearys_c, general_g):
            statistic(values, each)
        row_standardised(each)
        conditional_counts(values, each, 99, 0)
    assert (weights == network("fir").adjacency * 0.5).all()
    assert (thin.data == data).all()
    assert (thin.indices == links).all()


def test_e11_the_smallest_adjusted_p_does_not_grow_with_the_network() -> None:
    """E11: with 999 draws no trap of more than 50 can pass Benjamini-Hochberg at .05 in esda.

    Source: by hand; 600 traps, one patch far above all else: marked.
    """
    counts = np.tile([0.0, 1, 2, 1], 150)
    counts[300:306] = 90
    nights = np.tile([7.0, 14.0], 300)
    found = local_clusters(counts, nights, graph_of(ring(600, 3)), permutations=999)
    smallest = 2 / 1000
    assert found.p.min() == pytest.approx(smallest, abs=1e-12)
    by_step_up = stats.false_discovery_control(found.p)
    assert (found.mark[300:306] == "busy_patch").all()
    assert (by_step_up[300:306] > 0.05).all()


def test_e12_a_p_of_just_alpha_makes_a_mark() -> None:
    """E12: `esda.fdr` asks for less than alpha. Source: by hand; at most alpha is the definition.

    The p of the patch is taken as alpha, and then the next smaller number.
    """
    counts = np.array([9.0, 11, 10, 8] + [1, 0, 2, 1] * 5)
    nights, graph = np.full(24, 7.0), graph_of(ring(24, 2))
    p = float(np.nanmin(local_clusters(counts, nights, graph, permutations=999).p_patch))
    assert 0 < p < 0.05
    at = local_clusters(counts, nights, graph, permutations=999, alpha=p)
    below = local_clusters(counts, nights, graph, permutations=999, alpha=p * (1 - 1e-9))
    assert (at.mark == "busy_patch").any()
    assert (below.mark == "none").all()


def test_e13_two_sided_is_twice_the_smaller_tail_and_no_distance_from_the_mean() -> None:
    """E13: "folded" p, by distance from the mean, and twice the smaller tail differ by up to .5.

    Source: `spatial.exact` on skewed counts. By hand for trap 2, between zeros: 15 of the 45 pairs
    of others hold 0, so p is 30/45; 24 pairs are as far from the mean of all pairs, so folded p is
    24/45.
    """
    counts = np.array([0, 0, 0, 0, 0, 0, 1, 1, 2, 30, 0])
    near = ring(11)
    upper, lower = exact_tails(counts, near)
    found = conditional_counts(counts, near, DRAWS, 0)
    drawn = two_sided(found.upper, found.lower, DRAWS)
    assert_allclose(drawn, np.minimum(1, 2 * np.minimum(upper, lower)), atol=0.05)
    others = np.delete(counts, 2)
    sums = np.add.outer(others, others)[np.triu_indices(10, 1)]
    folded = (np.abs(sums - sums.mean()) >= sums.mean()).mean()
    assert folded == 24 / 45
    assert drawn[2] == pytest.approx(30 / 45, abs=8 * math.sqrt(1 / 3 * 2 / 3 / DRAWS))
    turned = conditional_counts(-counts, near, DRAWS, 0)
    assert (turned.upper == found.lower).all()
    assert (turned.lower == found.upper).all()


def test_e14_the_p_of_a_mark_never_comes_from_another_program() -> None:
    """E14: the next release of esda doubles its p. Source: the imports of `spatial`."""
    names = set()
    for path in (ROOT / "spatial").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names |= {each.name.split(".")[0] for each in node.names}
            elif isinstance(node, ast.ImportFrom):
                names.add((node.module or "").split(".")[0])
    assert "numpy" in names
    assert "esda" not in names


def test_e15_the_seed_settles_the_global_p_and_nothing_else_does() -> None:
    """E15: global statistics of esda take no seed, only numpy's hidden one.

    Source: ours twice, with numpy's hidden state moved in between, and left as it was.
    """
    stored = network("fir")
    nights = np.tile([7.0, 14.0], 25)
    runs = []
    for seed in (3, 3, 4):
        before = np.random.get_state()[1].copy()  # noqa: NPY002 - the hidden state is the subject
        runs.append(
            local_clusters(
                stored.values, nights, graph_of(stored.adjacency), permutations=499, seed=seed
            )
        )
        assert (np.random.get_state()[1] == before).all()  # noqa: NPY002 - as above
        np.random.random(5)  # noqa: NPY002 - as above
    assert runs[0].overall == runs[1].overall
    assert runs[0].overall.p != runs[2].overall.p


def test_e16_draws_are_counted_and_not_kept() -> None:
    """E16: esda keeps n x draws numbers, or gives no z. Source: 400 x 50,000 floats are 160 MB."""
    counts = np.random.default_rng(2).poisson(2, size=400).astype(float)
    near = sparse.csr_array(ring(400, 4).astype(float))
    tracemalloc.start()
    conditional_counts(counts, near, 50_000, 0)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 400 * 50_000 * 8 / 20
    assert np.isfinite(getis_ord(counts, near)).all()
    assert math.isfinite(morans_i(counts, near).z)
