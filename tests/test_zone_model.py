"""The zone model's promises: pooling, honest gaps, no dependence on order, and odd sites."""

from __future__ import annotations

import subprocess
import sys
import tracemalloc
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from spatial.placement_effect import Places
from spatial.zone_model import Estimate, ZoneModel, weighted_quantiles, zone_model

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Traps:
    counts: Floats
    nights: Floats
    places: Places

    def taken(self, order: npt.ArrayLike) -> Traps:
        at = np.asarray(order)
        old = self.places
        places = Places(old.refuge_m[at], old.use[at], old.zone[at], old.design[at])
        return Traps(self.counts[at], self.nights[at], places)


def traps_of(counts: npt.ArrayLike, zone: npt.ArrayLike, nights: npt.ArrayLike = 70.0) -> Traps:
    """Return cups on lawns without refuges."""
    y = np.asarray(counts, dtype=float)
    names = np.asarray(zone, dtype=object)
    lawn, cup = (np.full(len(y), word, dtype=object) for word in ("lawn", "cup"))
    effort = np.broadcast_to(np.asarray(nights, dtype=float), y.shape)
    return Traps(y, effort, Places(np.full(len(y), np.nan), lawn, names, cup))


def site(zones: int, traps: int, seed: int, tau: float = 0.7) -> Traps:
    """Return an invented site of five uses, every zone with a trap."""
    random = np.random.default_rng(seed)
    zone = np.concatenate([np.arange(zones), random.integers(0, zones, traps - zones)])
    uses = np.array(["green", "tee", "fairway", "rough", "field"], dtype=object)
    refuge_m, weeks = random.gamma(1.5, 30.0, traps), random.choice([2.0, 6.0, 10.0], traps)
    log_rate = 1 + tau * random.standard_normal(zones)[zone] - 0.2 * np.log2(1 + refuge_m)
    counts = random.poisson(random.gamma(2.0, np.exp(log_rate) * weeks / 2.0)).astype(float)
    names = np.array([f"Z{each:03d}" for each in zone], dtype=object)
    cup = np.full(traps, "cup", dtype=object)
    return Traps(counts, 7 * weeks, Places(refuge_m, uses[zone % 5], names, cup))


def fitted(traps: Traps, zones: list[str] | None = None, **known: dict[str, float]) -> ZoneModel:
    names = sorted(set(traps.places.zone)) if zones is None else zones
    return zone_model(
        traps.counts, traps.nights, traps.places, zones=names, cutoff_m=400.0, **known
    )


def one(found: ZoneModel, zone: str) -> pd.Series[float]:
    (row,) = np.flatnonzero(found.table["zone_id"] == zone)
    return found.table.iloc[row]


def test_a_zone_with_one_trap_is_drawn_towards_the_others() -> None:
    found = fitted(traps_of([10, 12, 9, 11, 8, 10, 60], list("AABBCCD")))
    assert one(found, "D")["rate_median"] < 6.0
    assert one(found, "D")["rate_median"] > one(found, "A")["rate_median"]


def test_a_zone_with_100_traps_is_known_better_than_one_with_a_single_trap() -> None:
    random = np.random.default_rng(4)
    counts = random.poisson(random.gamma(1.0, 10.0, 108)).astype(float)
    zone = ["big"] * 100 + [f"small{each}" for each in range(8)]
    found = fitted(traps_of(counts, zone))
    width = np.log(found.table["rate_high_95"] / found.table["rate_low_95"])
    assert width[0] < 0.35 * width[1:].min()
    assert one(found, "big")["rate"] == pytest.approx(counts[:100].mean() / 10, rel=0.03)


def test_zones_without_catches_of_their_own_get_no_number() -> None:
    traps = traps_of([3, 5, 0, 4], list("AABC"), nights=[70, 70, 0, 70])
    found = fitted(traps, ["D", "C", "B", "A"])
    assert found.table["reason"].tolist() == ["no_traps", "", "no_nights", ""]
    assert found.evidence.tolist() == [False, True, False, True]
    assert found.table.loc[[0, 2]].filter(like="rate").isna().all(axis=None)
    assert np.isnan(found.p_above(1.0)[[0, 2]]).all()
    assert np.isnan(found.rate_interval(0.9)[0][[0, 2]]).all()
    assert found.share_over(1.0).loc[[0, 2]].drop(columns="zone_id").isna().all(axis=None)


def test_a_missing_count_takes_no_part() -> None:
    whole = fitted(traps_of([3, 5, 4], list("AAC")))
    gap = fitted(traps_of([3, np.nan, 5, 4], list("AAAC")))
    assert_array_equal(gap.table["rate"], whole.table["rate"])


def test_a_trap_outside_every_zone_takes_no_part() -> None:
    whole = fitted(traps_of([3, 5, 4], list("AAC")))
    outside = fitted(
        traps_of([3, 5, 99, 4], np.array(["A", "A", None, "C"], dtype=object)), ["A", "C"]
    )
    assert_array_equal(outside.table["rate"], whole.table["rate"])


def test_a_site_without_traps_has_no_estimates() -> None:
    found = fitted(traps_of([], []), ["A", "B"])
    assert found.table["reason"].tolist() == ["no_traps", "no_traps"]
    assert np.isnan([found.k.median, found.tau.low_95]).all()
    assert np.isnan(found.p_above(1.0)).all()
    assert found.share_over(1.0).drop(columns="zone_id").isna().all(axis=None)


def test_no_catch_at_all_bounds_the_rates_the_more_the_longer_the_effort() -> None:
    zone = [f"Z{each}" for each in range(8)]
    short, long = (fitted(traps_of([0] * 8, zone, nights)) for nights in (7.0, 140.0))
    assert (short.table["rate_high_95"] < 1.0).all()
    assert (long.table["rate_high_95"] < 0.2 * short.table["rate_high_95"]).all()
    assert (short.table["rate_low_95"] >= 0).all()
    assert (long.p_above(1.0) < 0.02).all()


def test_one_zone_with_one_trap_is_fitted() -> None:
    found = fitted(traps_of([20], ["A"]))
    row = one(found, "A")
    assert row["rate_low_95"] < 2.0 < row["rate_high_95"]
    assert row["rate_low_95"] < row["rate_low_80"] < row["rate_high_80"] < row["rate_high_95"]
    assert found.effective_draws > 100


def test_one_trap_per_zone_is_fitted() -> None:
    found = fitted(site(40, 40, seed=1))
    assert found.effective_draws > 200
    assert np.isfinite(found.table["rate"]).all()


def test_five_zones_of_ten_traps_are_fitted() -> None:
    found = fitted(site(5, 10, seed=2))
    assert found.effective_draws > 200


def test_huge_counts_are_fitted() -> None:
    counts = [1_000_000, 1_100_000, 2_000_000, 1_900_000, 900_000, 1_000_000]
    found = fitted(traps_of(counts, list("AABBCC")))
    assert one(found, "B")["rate_median"] == pytest.approx(195_000, rel=0.1)
    assert found.effective_draws > 100


def test_a_use_without_a_catch_does_not_run_away_to_zero() -> None:
    traps = traps_of([10, 12, 9, 11, 0, 0], list("AABBTT"))
    use = np.array(["lawn"] * 4 + ["tee"] * 2, dtype=object)
    found = fitted(replace(traps, places=replace(traps.places, use=use)))
    tee = found.effects.set_index("level").loc["tee"]
    assert 0.02 < tee["ratio"] < 1.0
    assert 0 < one(found, "T")["rate_median"] < 0.3


def test_the_order_of_traps_is_no_input() -> None:
    traps = site(20, 50, seed=3)
    order = np.random.default_rng(0).permutation(50)
    first, second = fitted(traps), fitted(traps.taken(order))
    pd.testing.assert_frame_equal(first.table, second.table)
    pd.testing.assert_frame_equal(first.share_over(1.0), second.share_over(1.0))


def test_the_order_of_zones_only_orders_the_result() -> None:
    traps = site(20, 50, seed=3)
    names = sorted(set(traps.places.zone))
    first, second = fitted(traps, names), fitted(traps, names[::-1])
    pd.testing.assert_frame_equal(
        first.table, second.table[::-1].reset_index(drop=True), check_exact=True
    )
    assert_array_equal(first.p_above(1.0), second.p_above(1.0)[::-1])


def test_the_same_data_give_the_same_numbers() -> None:
    traps = site(10, 30, seed=5)
    pd.testing.assert_frame_equal(fitted(traps).table, fitted(traps).table, check_exact=True)


def test_ten_times_the_effort_for_the_same_catch_is_a_tenth_of_the_rate() -> None:
    """Not to the last digit, because the prior of the level stays where it is."""
    traps = site(30, 90, seed=6)
    longer = replace(traps, nights=10 * traps.nights)
    first, second = fitted(traps), fitted(longer)
    assert_allclose(10 * second.table["rate_median"], first.table["rate_median"], rtol=0.06)
    assert_allclose(second.p_above(0.1), first.p_above(1.0), atol=0.04)


def test_p_above_falls_as_the_limit_rises_and_agrees_with_the_interval() -> None:
    found = fitted(site(20, 50, seed=7))
    p = np.array([found.p_above(limit) for limit in (0.1, 0.5, 1.0, 3.0)])
    assert (np.diff(p, axis=0) <= 0).all()
    low, high = found.rate_interval(0.8)
    assert_allclose(found.p_above(low), 0.9, atol=0.005)
    assert_allclose(found.p_above(high), 0.1, atol=0.005)
    assert_allclose(low, found.table["rate_low_80"])


def test_every_zone_may_have_its_own_limit_or_none() -> None:
    found = fitted(traps_of([3, 5, 4], list("ABC")))
    p = found.p_above([0.5, np.nan, 0.2])
    assert p[0] == found.p_above(0.5)[0]
    assert np.isnan(p[1])
    assert found.share_over([0.5, np.nan, 0.2])["traps_over"].isna().tolist() == [0, 1, 0]


def test_the_share_over_shows_the_patch_that_the_mean_hides() -> None:
    zone = ["A"] * 12 + ["B"] * 12
    found = fitted(traps_of([1, 2, 0, 1, 3, 0, 2, 1, 0, 60, 70, 80] + [10] * 12, zone))
    a, b = (row for _, row in found.share_over(3.0).iterrows())
    assert found.p_above(3.0).max() < 0.5
    assert a["traps_over"] == pytest.approx(0.25, abs=0.02)
    assert b["traps_over"] < 0.05
    assert a["stretch_low_80"] <= a["stretch_over"] <= a["stretch_high_80"]


def test_an_uncertain_ratio_widens_the_zones_that_rest_on_it() -> None:
    traps = site(20, 50, seed=8)
    design = np.where(traps.places.zone == "Z003", "linear", "cup").astype(object)
    traps = replace(traps, places=replace(traps.places, design=design))
    known, unsure = fitted(traps), fitted(traps, log_ratio_se={"linear": 0.8})
    known_row, unsure_row = one(known, "Z003"), one(unsure, "Z003")
    assert unsure_row["rate_high_95"] / unsure_row["rate_low_95"] > 1.2 * (
        known_row["rate_high_95"] / known_row["rate_low_95"]
    )


def test_a_walk_that_is_not_known_counts_as_the_middle_one() -> None:
    traps = site(10, 30, seed=9)
    walk = traps.places.refuge_m.copy()
    walk[4] = np.nan
    found = fitted(replace(traps, places=replace(traps.places, refuge_m=walk)))
    assert np.isfinite(found.table["rate"]).all()


@pytest.mark.parametrize("limit", [0.0, -1.0])
def test_a_limit_that_is_not_above_zero_is_refused(limit: float) -> None:
    found = fitted(traps_of([3, 5], list("AB")))
    with pytest.raises(ValueError, match="limits must be above zero"):
        found.p_above(limit)
    with pytest.raises(ValueError, match="limits must be above zero"):
        found.share_over(limit)


def test_negative_numbers_are_refused() -> None:
    with pytest.raises(ValueError, match="counts must not be negative"):
        fitted(traps_of([3, -5], list("AB")))
    with pytest.raises(ValueError, match="nights must not be negative"):
        fitted(traps_of([3, 5], list("AB"), nights=[7, -7]))


def test_a_trap_in_an_unknown_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="'B' is missing"):
        fitted(traps_of([3, 5], list("AB")), ["A"])


def test_500_zones_of_5000_traps_fit_in_little_memory() -> None:
    traps = site(500, 5000, seed=10)
    tracemalloc.start()
    found = fitted(traps)
    found.p_above(1.0)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 300e6
    assert found.effective_draws > 200
    assert found.tau.low_95 < 0.7 < found.tau.high_95
    assert found.k.low_95 < 2.0 < found.k.high_95


def test_quantiles_of_equal_weights_are_the_usual_ones() -> None:
    draws = np.random.default_rng(1).normal(size=(3, 4001))
    weights = np.full(4001, 1 / 4001)
    usual = np.quantile(draws, [0.1, 0.5], axis=1, method="hazen").T
    assert_allclose(weighted_quantiles(draws, weights, [0.1, 0.5]), usual)
    assert Estimate.of(draws[0], weights).median == pytest.approx(usual[0, 1])


def test_loading_the_model_loads_no_slow_library() -> None:
    """Import time of the weekly path counts."""
    code = "import sys, spatial.zone_model; print([n for n in sys.argv[1:] if n in sys.modules])"
    slow = ["scipy.stats", "statsmodels", "libpysal", "esda"]
    run = subprocess.run(
        [sys.executable, "-c", code, *slow], capture_output=True, text=True, check=True
    )
    assert run.stdout.strip() == "[]"
