"""Overdispersion, effort and design ratios against published values and other programs."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pytest
import statsmodels.api as sm
from libpysal import examples
from numpy.testing import assert_allclose
from reference.tables import network, table
from scipy import stats

from spatial.autocorrelation import morans_i, row_standardised
from spatial.common_k import adjusted_k
from spatial.dispersion import log_likelihood, negative_binomial_k, rate_intervals
from spatial.ratios import fit_ratio
from spatial.standardise import eb_standardised, standardised_within

MITES = np.repeat(range(9), [70, 38, 17, 10, 9, 3, 2, 1, 0])
DROP = 1.920729410347062
"""Half the 95 % point of chi-squared with one degree of freedom (scipy.stats.chi2)."""


def test_drop_of_the_profile_is_half_of_chi_squared() -> None:
    assert pytest.approx(stats.chi2.ppf(0.95, 1) / 2, abs=1e-12) == DROP


def test_red_mites() -> None:
    """Source: Bliss & Fisher 1953, Biometrics 9, 176-200: k = 1.0246 published (from memory).

    k 1.02459239 and log likelihood -222.437154: R MASS 7.3-58.2 on the table of the paper.
    """
    k = negative_binomial_k(MITES)
    assert k == pytest.approx(1.02459239, abs=5e-8)
    assert log_likelihood(MITES, MITES.mean(), k) == pytest.approx(-222.437154, abs=6e-7)


def test_red_mites_fitted_by_statsmodels() -> None:
    """Source: statsmodels NB2; its usual stopping rule leaves k 1.024587, so 1e-4."""
    fit = sm.NegativeBinomial(MITES, np.ones(len(MITES))).fit(disp=0)
    assert negative_binomial_k(MITES) == pytest.approx(1 / fit.params[-1], rel=1e-4)


def test_no_more_varied_than_poisson_is_infinite_k() -> None:
    """Source: by hand; variance below the mean has no finite k (here 0.25 against 2.5)."""
    assert negative_binomial_k([2, 3] * 20) == math.inf


def test_k_round_unequal_means_equals_the_highest_likelihood_on_a_grid() -> None:
    """Source: scipy.stats.nbinom on a fine grid of k."""
    random = np.random.default_rng(11)
    means = random.uniform(1, 20, size=60)
    counts = random.negative_binomial(1.7, 1.7 / (1.7 + means))
    grid = np.exp(np.linspace(np.log(0.3), np.log(10), 4001))
    heights = [np.sum(stats.nbinom.logpmf(counts, k, k / (k + means))) for k in grid]
    best = grid[int(np.argmax(heights))]
    found = negative_binomial_k(counts, means)
    assert found == pytest.approx(best, rel=1e-3)
    assert log_likelihood(counts, means, found) == pytest.approx(max(heights), abs=1e-5)


@pytest.mark.parametrize("k", [0.4, 1.0, 5.0, 1e4])
def test_intervals_equal_a_profile_on_a_fine_grid(k: float) -> None:
    """Source: scipy.stats.nbinom log likelihood, 200,001 rates, all within 1.92 of the best."""
    counts, exposure = np.array([3, 0, 7, 1, 12]), np.array([7.0, 14, 7, 3, 21])
    low, high = rate_intervals(counts, exposure, [0] * 5, k)
    grid = np.exp(np.linspace(np.log(1e-3), np.log(50), 200_001))
    means = np.outer(grid, exposure)
    height = np.asarray(stats.nbinom.logpmf(counts, k, k / (k + means))).sum(axis=1)
    inside = grid[height >= height.max() - DROP]
    assert_allclose([low[0], high[0]], [inside.min(), inside.max()], rtol=2e-4)


@pytest.mark.parametrize("k", [0.5, 1.0, 3.0])
def test_ends_of_an_interval_lose_just_that_much_likelihood_in_statsmodels(k: float) -> None:
    """Source: statsmodels GLM, negative binomial family with known alpha and log offset."""
    counts, exposure = np.array([4, 9, 0, 2]), np.array([7.0, 21, 7, 14])
    family = sm.families.NegativeBinomial(alpha=1 / k)
    model = sm.GLM(counts, np.ones((4, 1)), family=family, offset=np.log(exposure))
    best = model.fit().llf
    for end in rate_intervals(counts, exposure, [0] * 4, k):
        assert best - model.loglike(np.log(end)) == pytest.approx(DROP, abs=1e-6)


@pytest.mark.parametrize("traps", [1, 3, 10])
@pytest.mark.parametrize("k", [0.5, 1.0, 1e4])
def test_interval_of_no_catch_at_all_has_its_upper_end_where_1_92_is_lost(
    traps: int, k: float
) -> None:
    """Source: by hand. Likelihood of n zeros, a week each: -n k log(1 + 7 r / k); solve for r."""
    low, high = rate_intervals([0] * traps, [7] * traps, [0] * traps, k)
    expected = k * math.expm1(DROP / (traps * k)) / 7
    assert low[0] == 0
    assert high[0] == pytest.approx(expected, rel=1e-6)


def test_intervals_cover_the_rate_in_nineteen_of_twenty_samples() -> None:
    """Source: simulation, 400 samples of five traps with unequal effort, rate .3 a night, k 1.

    The share must lie within 3 binomial standard errors (.011) of .95.
    """
    random = np.random.default_rng(20)
    exposure = np.array([7.0, 14, 21, 28, 42])
    mean = 0.3 * exposure
    counts = random.negative_binomial(1.0, 1 / (1 + mean), size=(400, 5))
    group = np.repeat(np.arange(400), 5)
    low, high = rate_intervals(counts.ravel(), np.tile(exposure, 400), group, 1.0)
    covered = ((low <= 0.3) & (high >= 0.3)).mean()
    assert covered == pytest.approx(0.95, abs=3 * 0.011)


def test_standardised_rates_of_ten_traps() -> None:
    """Source: esda 2.9 `assuncao_rate` on these catches and trap-nights; b 1.357143, a 1.109694."""
    catches = [12, 3, 0, 7, 25, 4, 9, 1, 0, 15]
    nights = [7, 7, 3, 7, 7, 4, 7, 7, 2, 5]
    expected = [
        0.312806, -0.813295, -1.085862, -0.312806, 1.939395,
        -0.296695, -0.062561, -1.063539, -1.014868, 1.397924,
    ]  # fmt: skip
    assert_allclose(eb_standardised(catches, nights), expected, atol=6e-7)


def test_standardised_rates_of_the_documented_vector() -> None:
    """Source: the worked vector in the documentation of esda's `assuncao_rate`.

    The rates vary less than chance alone would make them: a is -.000373. esda keeps that, as the
    paper does while a + b / x stays above zero; we floor a at 0 (see the test after next). Undoing
    the floor must give the documented values.
    """
    events = np.array([30.0, 25, 25, 15, 33, 21, 30, 20])
    base = np.array([100.0, 100, 110, 90, 100, 90, 110, 90])
    overall = events.sum() / base.sum()
    spread = (base * (events / base - overall) ** 2).sum() / base.sum()
    between = spread - overall / base.mean()
    assert between < 0
    floored = eb_standardised(events, base)
    unfloored = floored * np.sqrt((overall / base) / (between + overall / base))
    expected = [1.03843594, -0.04099089, -0.56250375, -1.73061861]
    assert_allclose(unfloored[:4], expected, atol=6e-9)


@pytest.mark.filterwarnings("ignore")
def test_standardised_rates_of_sudden_deaths_equal_esda() -> None:
    """Source: esda 2.9 `assuncao_rate` and R spdep 1.2-7, libpysal's sids2.

    Moran's I of the standardised rates on sids2.gal, row-standardised: .271402966963 (both).
    """
    from esda.smoothing import assuncao_rate  # noqa: PLC0415 - warns when imported

    counties = gpd.read_file(examples.get_path("sids2.shp"))
    deaths, births = counties["SID74"].to_numpy(float), counties["BIR74"].to_numpy(float)
    ours = eb_standardised(deaths, births)
    assert_allclose(ours, assuncao_rate(deaths, births), rtol=1e-9)
    near = row_standardised(network("sids2").adjacency)
    assert morans_i(ours, near).i == pytest.approx(0.271402966963, abs=1e-12)


def test_variance_between_traps_is_never_below_zero() -> None:
    """Source: R spdep 1.2-7 `EBest` floors it at 0, and then all eight traps have one rate: 0.3.

    esda 2.9 has no floor and smooths these to .30, -.0545, .04. By hand with a = 0:
    z = (p - b) / sqrt(b / x).
    """
    effort = np.array([10.0, 11, 9, 10, 10, 10, 9, 11])
    expected = (3 / effort - 0.3) / np.sqrt(0.3 / effort)
    ours = eb_standardised([3] * 8, effort)
    assert_allclose(ours, expected, rtol=1e-12)
    assert (np.abs(ours) < 0.2).all()


def test_designs_are_standardised_apart() -> None:
    """Source: by hand; a second design changes nothing in the first."""
    catches, nights = [12, 3, 0, 7, 25], [7, 7, 3, 7, 7]
    alone = eb_standardised(catches, nights)
    mixed = standardised_within([*catches, 90, 40], [*nights, 7, 7], ["cup"] * 5 + ["linear"] * 2)
    assert_allclose(mixed[:5], alone, rtol=1e-12)


def test_ratio_of_two_trap_types() -> None:
    """Source: R MASS 7.3-58.2 `glm.nb(count ~ type + offset(log(days)))` on trap_types.csv.

    Ratio 4.336476739, Wald interval 2.056315 to 9.145014. That standard error holds theta fixed
    (.38069), statsmodels' does not (.37836): 3 %.
    """
    traps = table("trap_types")
    linear = (traps["type"] == "linear").to_numpy()
    found = fit_ratio(traps["count"], traps["days"], linear)
    assert found.reason == ""
    assert found.ratio == pytest.approx(4.336476739, rel=1e-7)
    assert_allclose([found.low, found.high], [2.056315, 9.145014], rtol=0.03)


@pytest.mark.parametrize("silent", ["linear", "pitfall"])
def test_ratio_with_a_design_that_caught_nothing_is_not_estimable(silent: str) -> None:
    """Source: R and statsmodels return a coefficient of about -25 here and call it converged."""
    traps = table("trap_types")
    counts = traps["count"].where(traps["type"] != silent, 0)
    found = fit_ratio(counts, traps["days"], traps["type"] == "linear")
    assert found.reason == "all_zero"
    assert np.isnan([found.ratio, found.low, found.high]).all()


def test_ratio_of_counts_that_vary_no_more_than_poisson_is_not_estimable() -> None:
    """Source: statsmodels NB2 returns NaN with "converged" on such counts."""
    counts = [2, 3, 2, 3, 2, 3, 2, 3, 5, 6, 5, 6, 5, 6, 5, 6]
    found = fit_ratio(counts, [7] * 16, [False] * 8 + [True] * 8)
    assert found.reason == "not_overdispersed"
    assert np.isnan([found.ratio, found.low, found.high]).all()


def test_the_corrected_k_is_that_of_the_counts_whatever_the_effort() -> None:
    """Seven groups of 10 counts with uneven effort at k = 1.2, 200 times: median within 6 %."""
    rng, k = np.random.default_rng(4), 1.2
    group = np.repeat(np.arange(7), 10)
    found = []
    for _ in range(200):
        effort = rng.uniform(0.3, 1.0, len(group))
        true = effort * np.linspace(4, 30, 7)[group]
        y = rng.poisson(rng.gamma(k, true / k))
        rate = np.bincount(group, y) / np.bincount(group, effort)
        means = effort * rate[group]
        found.append((adjusted_k(y, means, group), negative_binomial_k(y, means)))
    corrected, plain = np.median(found, axis=0)
    assert corrected == pytest.approx(k, rel=0.06)
    assert plain > 1.08 * k
