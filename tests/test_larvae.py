"""Larvae in pooled cores: densities, intervals and chances against published and library values."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.integrate import quad

from spatial.cores import (
    CM2_PER_FT2,
    CUP_CUTTER_CM,
    core_area_cm2,
    diameter_cm,
    larvae_per_ft2,
    larvae_per_m2,
)
from spatial.larvae import (
    CORE_WARNINGS,
    LarvalSample,
    ZoneCores,
    chance_over,
    larval_evidence,
    larval_k,
    mean_interval,
    working_k,
    zone_cores,
)

JUNE = date(2026, 6, 20)


def sample(larvae: int, cores: int, cm: float = CUP_CUTTER_CM) -> LarvalSample:
    return LarvalSample(cores, larvae, cores * core_area_cm2(cm) / 1e4, JUNE, JUNE)


def core_rows(*rows: tuple[str, str, int, float, int]) -> pd.DataFrame:
    """Return cores from zone, day, cores, diameter in cm and larvae."""
    names = ["zone_id", "sampled_on", "cores", "diameter_cm", "larvae"]
    table = pd.DataFrame(rows, columns=names)
    return table.assign(sampled_on=pd.to_datetime(table["sampled_on"]))


@pytest.mark.parametrize(
    ("diameter", "unit", "ft2", "times"),
    [(4.25, "in", 0.09852, 10.15), (4.0, "in", 0.08727, 11.46), (10.0, "cm", 0.0845, 11.83)],
)
def test_cores_of_any_unit_convert_to_both_areas(
    diameter: float, unit: str, ft2: float, times: float
) -> None:
    """Areas are pi d^2 / 4.

    The trade's rule for a cup cutter is "times 10" (page on monitoring grubs); a 4-inch probe was
    used by Patterson, Xiong & Barrett 2017, Golf Course Management, July, 60-65.
    """
    cm = diameter_cm(diameter, "in" if unit == "in" else "cm")
    assert core_area_cm2(cm) / CM2_PER_FT2 == pytest.approx(ft2, abs=6e-5)
    assert larvae_per_ft2(1, 1, cm) == pytest.approx(times, abs=0.006)
    assert larvae_per_m2(7, 3, cm) * 0.3048**2 == pytest.approx(larvae_per_ft2(7, 3, cm), rel=1e-12)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_the_poisson_interval_is_the_one_of_garwood(count: int, low: float, high: float) -> None:
    """Garwood 1936, Biometrika 28, 437-442, table for 95 % (from memory); scipy's chi-squared."""
    found = mean_interval(count, math.inf)
    assert found == pytest.approx((low, high), abs=6e-4)
    chi2 = (
        stats.chi2.ppf(0.025, 2 * count) / 2 if count else 0,
        stats.chi2.ppf(0.975, 2 * count + 2) / 2,
    )
    assert found == pytest.approx(chi2, rel=1e-10)


@pytest.mark.parametrize("size", [0.7, 10.0, 300.0])
@pytest.mark.parametrize("count", [0, 1, 4, 37])
def test_the_negative_binomial_interval_leaves_a_fortieth_in_either_tail(
    count: int, size: float
) -> None:
    """Tails by scipy.stats.nbinom at the ends of the interval."""
    low, high = mean_interval(count, size)
    assert stats.nbinom.cdf(count, size, size / (size + high)) == pytest.approx(0.025, rel=1e-6)
    if count:
        tail = stats.nbinom.sf(count - 1, size, size / (size + low))
        assert tail == pytest.approx(0.025, rel=1e-6)
    else:
        assert low == 0


@pytest.mark.parametrize("mean", [0.05, 0.6, 3.0, 20.0])
def test_the_interval_holds_the_truth_at_least_as_often_as_it_says(mean: float) -> None:
    """Exact coverage, summed over all counts; an exact interval is never below 95 %."""
    size = 8.0
    counts = np.arange(400)
    held = [low <= mean <= high for low, high in (mean_interval(int(y), size) for y in counts)]
    assert stats.nbinom.pmf(counts, size, size / (size + mean))[held].sum() >= 0.95


def test_both_intervals_meet_where_larvae_lie_about_independently() -> None:
    assert mean_interval(6, 1e7) == pytest.approx(mean_interval(6, math.inf), rel=1e-5)
    assert chance_over(6, 1e7, 5.0) == pytest.approx(chance_over(6, math.inf, 5.0), rel=1e-5)


@pytest.mark.parametrize(
    ("count", "size", "mean"), [(0, 10.0, 5.0), (3, 4.0, 2.0), (12, 20.0, 15.0)]
)
def test_the_chance_over_a_limit_is_the_integral_of_the_posterior(
    count: int, size: float, mean: float
) -> None:
    """Numerical integration of likelihood times Jeffreys' prior.

    The prior is the root of the Fisher information of the mean, 1 / sqrt(m (1 + m / size)); nothing
    is shared with the closed form.
    """

    def density(log_m: float) -> float:
        m = math.exp(log_m)
        return float(
            stats.nbinom.pmf(count, size, size / (size + m)) * m / math.sqrt(m + m * m / size)
        )

    over = quad(density, math.log(mean), 40, limit=400)[0]
    under = quad(density, -60, math.log(mean), limit=400)[0]
    assert chance_over(count, size, mean) == pytest.approx(over / (over + under), abs=1e-6)


def test_the_poisson_chance_is_the_gamma_tail() -> None:
    """scipy.stats.gamma with shape larvae + 1/2 (Jeffreys' prior of a Poisson mean)."""
    assert chance_over(3, math.inf, 5.0) == pytest.approx(stats.gamma.sf(5.0, 3.5), rel=1e-10)


def test_no_limit_gives_no_chance() -> None:
    assert math.isnan(larval_evidence(sample(3, 20), 1.0).p_above)


def test_one_larva_in_one_core_carries_both_warnings() -> None:
    """4.25-inch core, x 10.15 per square foot, against a limit of 10 per square foot."""
    limit = 10 / 0.3048**2
    said = larval_evidence(sample(1, 1), 1.0, limit)
    assert said.per_larva * 0.3048**2 == pytest.approx(10.15, abs=0.005)
    assert said.warnings == CORE_WARNINGS
    assert larval_evidence(sample(1, 9), 1.0, limit).warnings == ("few_cores",)
    assert larval_evidence(sample(1, 10), 1.0, limit).warnings == ()
    assert larval_evidence(sample(1, 10), 1.0, limit / 11).warnings == ("one_larva",)


def test_few_larvae_in_few_cores_say_little_and_in_many_a_lot() -> None:
    limit = 10 / 0.3048**2
    few, many = (larval_evidence(sample(n, n), 1.0, limit) for n in (4, 200))
    assert few.density == pytest.approx(many.density)
    assert few.high / few.low > 10
    assert many.high / many.low < 2
    assert few.poisson_high < few.high
    assert few.low < few.poisson_low


def test_the_chance_over_a_limit_is_calibrated() -> None:
    """Of all samples with a stated chance, that share is over the limit, to 3 standard errors.

    Densities are drawn from a proper prior of the same kind (beta shares).
    """
    random = np.random.default_rng(11)
    share = random.beta(0.5, 1.0, 40_000)
    mean = 20 * share / (1 - share)
    larvae = random.negative_binomial(20, 1 - share)
    # The posterior under the proper prior Beta(1/2, 1) is that of one core more, without a larva.
    stated = np.array([chance_over(int(y), 21.0, 12.0 * 21 / 20) for y in larvae])
    for low in np.arange(0, 1, 0.25):
        there = (stated >= low) & (stated < low + 0.25)
        error = math.sqrt(
            max(stated[there].mean() * (1 - stated[there].mean()), 1e-4) / there.sum()
        )
        assert abs((mean[there] > 12.0).mean() - stated[there].mean()) < 3 * error


def test_k_of_pooled_cores_is_where_the_likelihood_is_highest() -> None:
    """Brute force over k with scipy.stats.nbinom; sums of m cores have k * m."""
    random = np.random.default_rng(3)
    cores = random.integers(1, 8, 60)
    larvae = random.negative_binomial(0.8 * cores, 0.8 / (0.8 + 1.5))
    table = core_rows(
        *(("A", "2026-06-20", int(m), 10.0, int(y)) for m, y in zip(cores, larvae, strict=True))
    )
    mean = cores * larvae.sum() / cores.sum()
    grid = np.exp(np.linspace(math.log(0.05), math.log(20), 4001))
    heights = [
        stats.nbinom.logpmf(larvae, k * cores, k * cores / (k * cores + mean)).sum() for k in grid
    ]
    assert larval_k(table) == pytest.approx(grid[int(np.argmax(heights))], rel=2e-3)


def test_k_of_single_cores_is_the_published_one() -> None:
    """Bliss & Fisher 1953, red mites on 150 leaves: k = 1.0246."""
    mites = np.repeat(range(9), [70, 38, 17, 10, 9, 3, 2, 1, 0])
    table = core_rows(*(("A", "2026-06-20", 1, 10.0, int(y)) for y in mites))
    assert larval_k(table) == pytest.approx(1.0246, abs=5e-5)


def test_k_is_not_made_up() -> None:
    """Too few rows, no larvae and lone rows give no k, but the assumed one to work with."""
    few = core_rows(*(("A", "2026-06-20", 5, 10.0, y) for y in (0, 3, 9)))
    empty = core_rows(*(("A", "2026-06-20", 5, 10.0, 0) for _ in range(20)))
    lone = core_rows(*((f"Z{n}", "2026-06-20", 5, 10.0, n) for n in range(20)))
    even = core_rows(*(("A", "2026-06-20", 1, 10.0, 4) for _ in range(20)))
    assert [math.isnan(larval_k(table)) for table in (few, empty, lone)] == [True] * 3
    assert [working_k(table) for table in (few, empty, lone)] == [1.0] * 3
    assert math.isinf(larval_k(even))
    assert working_k(even) == 10_000


def test_cores_count_from_the_day_larvae_are_due_and_while_they_are_fresh() -> None:
    table = core_rows(
        ("A", "2026-05-10", 4, 10.0, 1),
        ("A", "2026-05-20", 5, 10.0, 2),
        ("A", "2026-06-10", 6, 10.795, 3),
        ("A", "2026-06-30", 7, 10.0, 9),
        ("B", "2026-04-01", 8, 10.0, 4),
        ("C", "2026-05-14", 9, 10.0, 5),
    )
    due = date(2026, 5, 15)
    found = zone_cores(table, date(2026, 6, 11), due, 28)
    area = (5 * core_area_cm2(10.0) + 6 * core_area_cm2(10.795)) / 1e4
    counted = found["A"].counted
    assert counted is not None
    assert counted.area_m2 == pytest.approx(area)
    assert (counted.cores, counted.larvae) == (11, 5)
    assert (counted.first, counted.last) == (date(2026, 5, 20), date(2026, 6, 10))
    assert found["C"] == ZoneCores(early=9)
    assert "B" not in found, "last month's cores matter to nobody"
    later = zone_cores(table, date(2026, 6, 29), due, 28)
    assert (later["A"].counted is not None, later["A"].old) == (True, 5)
    assert zone_cores(table, date(2026, 6, 11), None, 28)["A"].counted is None


def test_a_site_without_cores_has_none() -> None:
    assert zone_cores(core_rows(), JUNE, date(2026, 5, 15), 28) == {}
