"""What placement explains: against statsmodels, its honest gaps, and what it does to the marks."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from spatial.arrays import AnyArray, BoolArray, FloatArray, NameArray
from spatial.clusters import local_clusters
from spatial.neighbours import Neighbours, nearest_on_foot
from spatial.placement_effect import (
    EFFECT_REASONS,
    TERM_REASONS,
    TRAP_REASONS,
    PlacementEffect,
    Places,
    placement_effect,
)

CUTOFF_M = 400.0


def words(*values: object, times: int = 1) -> NameArray:
    return np.repeat(np.array(values, dtype=object), times)


def places(refuge_m: FloatArray) -> Places:
    """Return places all of one use, in several zones and with one design."""
    n = len(refuge_m)
    zone = np.array([f"Z{number % 7}" for number in range(n)], dtype=object)
    return Places(refuge_m, words("rough", times=n), zone, words("cup", times=n))


def effect(counts: npt.ArrayLike, nights: npt.ArrayLike, where: Places) -> PlacementEffect:
    return placement_effect(counts, nights, where, cutoff_m=CUTOFF_M)


def site(seed: int, traps: int = 60) -> tuple[FloatArray, FloatArray, Places]:
    """Return catches, nights and places: three uses, two designs, a strong fall with distance."""
    random = np.random.default_rng(seed)
    refuge_m = random.uniform(0, 200, size=traps)
    use = random.choice(words("rough", "fairway", "green"), size=traps)
    design = random.choice(words("cup", "linear"), p=[0.7, 0.3], size=traps)
    zone = random.choice(words("A", "B", "C", "D"), size=traps)
    nights = random.choice([7.0, 14, 28], size=traps)
    mean = nights * (1 + refuge_m) ** -0.5 * np.where(design == "linear", 3.0, 1.0)
    counts = random.negative_binomial(1.0, 1 / (1 + mean)).astype(float)
    return counts, nights, Places(refuge_m, use, zone, design)


def reasons(found: PlacementEffect) -> dict[str, str]:
    table = found.left_out
    names = table["level"].where(table["term"] != "refuge", "refuge")
    return dict(zip(names, table["reason"], strict=True))


def test_terms_and_expected_catches_equal_statsmodels() -> None:
    """Source: statsmodels NB2, Newton's method, on the same columns built here by hand."""
    counts, nights, where = site(1)
    found = effect(counts, nights, where)
    names, size = np.unique(where.use.astype(str), return_counts=True)
    second, third = names[np.argsort(-size, kind="stable")][1:]
    columns = np.column_stack(
        [
            np.ones(60), where.design == "linear", np.log2(1 + where.refuge_m),
            where.use == second, where.use == third,
        ]
    ).astype(float)  # fmt: skip
    model = sm.NegativeBinomial(counts, columns, offset=np.log(nights))
    other = model.fit(method="newton", maxiter=200, tol=1e-12, disp=0)
    assert found.terms["level"].tolist() == ["linear", "", second, third]
    assert_allclose(np.log(found.terms["ratio"]), other.params[1:-1], atol=1e-6)
    assert_allclose(found.expected, other.predict(), rtol=1e-6)
    assert found.k == pytest.approx(1 / other.params[-1], rel=1e-6)
    design_only = sm.NegativeBinomial(counts, columns[:, :2], offset=np.log(nights))
    without = design_only.fit(method="newton", maxiter=200, tol=1e-12, disp=0)
    assert found.p == pytest.approx(sm.stats.stattools.stats.chi2.sf(
        2 * (other.llf - without.llf), 3
    ), rel=1e-5)  # fmt: skip


def test_residuals_are_standardised_by_their_own_spread() -> None:
    found = effect(*site(2))
    variance = found.expected + found.expected**2 / found.k
    assert_allclose(found.residual * np.sqrt(variance), site(2)[0] - found.expected)


def test_counts_no_more_varied_than_poisson_have_infinite_k() -> None:
    far_m = np.tile([1.0, 3, 7, 15], 10)
    found = effect(np.tile([32, 16, 8, 4], 10), np.full(40, 7.0), places(far_m))
    assert found.k == math.inf
    assert_allclose(found.expected[:4], [32, 16, 8, 4], rtol=1e-9)
    assert_allclose(found.residual, 0, atol=1e-6)


def test_beyond_the_cutoff_is_as_far_as_the_cutoff() -> None:
    counts, nights, where = site(3)
    refuge_m = where.refuge_m.copy()
    refuge_m[:9] = np.inf
    capped = np.where(np.isinf(refuge_m), CUTOFF_M, refuge_m)
    found = effect(counts, nights, replace(where, refuge_m=refuge_m))
    other = effect(counts, nights, replace(where, refuge_m=capped))
    assert_array_equal(found.expected, other.expected)


def test_every_term_that_is_left_out_says_why() -> None:
    """Sixty traps: one use in one zone, one rare, one without a catch, one equal to a design."""
    random = np.random.default_rng(4)
    use = np.concatenate([
        words("rough", times=24), words("fairway", times=12), words("field", times=8),
        words("tee", times=3), words("green", times=7), words("lawn", times=6),
    ])  # fmt: skip
    zone = np.array([f"{name}{number % 2}" for number, name in enumerate(use)], dtype=object)
    zone[use == "field"] = "F"
    design = np.where(use == "fairway", "linear", "cup").astype(object)
    counts = random.negative_binomial(1.0, 0.2, size=60).astype(float)
    counts[use == "green"] = 0
    where = Places(np.full(60, 30.0), use, zone, design)
    found = effect(counts, np.full(60, 7.0), where)
    assert reasons(found) == {
        "refuge": "constant",
        "fairway": "collinear",
        "field": "one_zone",
        "green": "no_catch",
        "tee": "few_traps_of_it",
    }
    assert found.terms["level"].tolist() == ["linear", "lawn"]


def test_without_refuges_distance_is_left_out_and_use_is_not() -> None:
    counts, nights, where = site(5)
    found = effect(counts, nights, replace(where, refuge_m=np.full(60, np.nan)))
    assert reasons(found) == {"refuge": "no_refuges"}
    assert set(found.terms["term"]) == {"design", "use"}
    assert np.isfinite(found.expected).all()


@pytest.mark.parametrize(("traps", "terms"), [(14, 1), (20, 2), (29, 2), (30, 3)])
def test_distance_comes_first_and_ten_traps_pay_for_a_term(traps: int, terms: int) -> None:
    random = np.random.default_rng(6)
    use = np.array([f"use{number % 3}" for number in range(traps)], dtype=object)
    zone = random.permutation(words(*range(traps)))
    where = replace(places(random.uniform(0, 90, traps)), use=use, zone=zone)
    found = effect(random.negative_binomial(1.0, 0.1, traps), np.full(traps, 7.0), where)
    assert len(found.terms) == terms
    assert found.terms["term"].iloc[0] == "refuge"
    room = "no_room" in reasons(found).values()
    assert room == (traps < 30)


def test_traps_that_cannot_take_part_say_why_and_change_nothing() -> None:
    counts, nights, where = site(7)
    found = effect(counts, nights, where)
    odd = Places(
        np.array([5.0, np.nan, 5, 5, 5]), words("rough", times=5), words("A", times=5),
        words("cup", "cup", "tent", "pail", "pail"),
    )  # fmt: skip
    both = Places(*(
        np.concatenate([getattr(where, each.name), getattr(odd, each.name)])
        for each in fields(Places)
    ))  # fmt: skip
    more = effect([*counts, 3, 3, 3, 0, 0], [*nights, 0, 7, 7, 7, 7], both)
    expected = ["no_nights", "inside_obstacle", "lone_design", *["no_catch_of_design"] * 2]
    assert more.trap_reason[60:].tolist() == expected
    assert np.isnan(more.expected[60:]).all()
    assert_allclose(more.expected[:60], found.expected, rtol=1e-12)
    assert more.traps == 60


def test_no_fit_is_no_number() -> None:
    """Nine traps; nothing that differs between places; catches by one hedge only."""
    far_m = np.repeat([1.0, 50.0], 10)
    nights = np.full(20, 7.0)
    few = effect(np.arange(9), nights[:9], places(far_m[:9]))
    same = effect(np.arange(20), nights, places(np.full(20, 5.0)))
    apart = effect(np.where(far_m < 2, [3, 0] * 10, 0), nights, places(far_m))
    silent = effect(np.zeros(20), nights, places(far_m))
    found = [each.reason for each in (few, same, apart, silent)]
    assert found == ["few_traps", "no_terms", "separated", "no_catch"]
    for each in (few, same, apart, silent):
        assert np.isnan(each.expected).all()
        assert np.isnan([each.k, each.p]).all()
        assert each.terms.empty
    assert silent.trap_reason.tolist() == ["no_catch_of_design"] * 20


@settings(max_examples=15)
@given(seed=st.integers(0, 2**32 - 1), times=st.floats(0.1, 10))
def test_order_of_traps_and_unit_of_effort_change_no_expectation(seed: int, times: float) -> None:
    counts, nights, where = site(seed % 1000)
    found = effect(counts, nights, where)
    order = np.random.default_rng(seed).permutation(60)
    turned = Places(*(getattr(where, each.name)[order] for each in fields(Places)))
    again = effect(counts[order], nights[order] * times, turned)
    assert_allclose(again.expected, found.expected[order], rtol=1e-6)
    assert again.left_out["level"].tolist() == found.left_out["level"].tolist()


def test_p_of_placement_keeps_its_level() -> None:
    """150 maps of 60 traps on which place does not matter: share of p <= .05 within 3 s.e.

    The likelihood ratio is known to be a little free with so few traps, so the band is round .06.
    """
    random = np.random.default_rng(8)
    small = []
    for _ in range(150):
        nights = random.choice([7.0, 14, 28], size=60)
        counts = random.negative_binomial(1.0, 1 / (1 + 0.3 * nights))
        found = effect(counts, nights, places(random.uniform(0, 200, size=60)))
        small.append(found.p <= 0.05)
    assert np.mean(small) == pytest.approx(0.06, abs=3 * 0.0194)


def by_the_hedge(
    seed: int, fold: float
) -> tuple[AnyArray, FloatArray, Places, Neighbours, BoolArray]:
    """Return 50 traps, fifteen of them by a hedge, catches falling as 1 / (1 m + distance).

    And a patch of six far from the hedge whose catch is `fold` times what its place explains.
    """
    random = np.random.default_rng([8, seed])
    beside = np.column_stack([random.exponential(8, 15), random.uniform(100, 250, 15)])
    spots = np.vstack([beside, random.uniform(0, 400, size=(35, 2))])
    past_end = np.maximum(0, np.abs(spots[:, 1] - 175) - 75)
    refuge_m = np.hypot(spots[:, 0], past_end)
    between = np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1))
    centre = random.choice(np.flatnonzero(refuge_m > 60))
    patch = np.zeros(50, dtype=bool)
    patch[np.argsort(between[centre])[:6]] = True
    rate = np.where(patch, fold, 1.0) / (1 + refuge_m)
    nights = random.choice([7.0, 14, 21, 28, 42], size=50)
    mean = 0.3 * rate / rate.mean() * nights
    counts = random.negative_binomial(1.0, 1 / (1 + mean)).astype(float)
    graph = nearest_on_foot([f"T{each:02d}" for each in range(50)], between, 5, 1e4)
    return counts, nights, places(refuge_m), graph, patch


def busy(counts: AnyArray, effort: FloatArray, graph: Neighbours) -> BoolArray:
    return np.asarray(local_clusters(counts, effort, graph, permutations=499).state == "busy")


def test_a_busy_edge_is_not_busy_for_its_place() -> None:
    """Marks follow the edge at first sight, and not any more even for its place.

    100 maps with a hedge and no patch: at least .35 carry a busy mark at first sight, and at most
    .05 + 2 s.e. (.022) one even for its place. (Measured: .47 and .04.)
    """
    plain, even = [], []
    for seed in range(100):
        counts, nights, where, graph, _ = by_the_hedge(seed, 1.0)
        expected = effect(counts, nights, where).expected
        plain.append(busy(counts, nights, graph).any())
        even.append(busy(counts, expected, graph).any())
    assert np.mean(plain) >= 0.35
    assert np.mean(even) <= 0.05 + 2 * 0.022


def test_a_patch_that_the_edge_outshone_is_found_for_its_place() -> None:
    """What is busy for its place is hidden at first sight by an edge that is busier still.

    60 maps with a ten-fold patch far from the hedge: found for its place at least .25 of the times
    and at least .15 more often than at first sight. (Measured on 100 maps: .38 and .05.)
    """
    plain, even = [], []
    for seed in range(60):
        counts, nights, where, graph, patch = by_the_hedge(seed, 10.0)
        expected = effect(counts, nights, where).expected
        plain.append(busy(counts, nights, graph)[patch].any())
        even.append(busy(counts, expected, graph)[patch].any())
    assert np.mean(even) >= 0.25
    assert np.mean(even) >= np.mean(plain) + 0.15


def test_every_reason_is_told_apart() -> None:
    every = [*TERM_REASONS, *EFFECT_REASONS, *TRAP_REASONS]
    assert all(name == name.lower() and " " not in name for name in every)
    assert pd.Index(every).value_counts().max() <= 2
