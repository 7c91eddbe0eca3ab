"""Patchiness, laws of variance, sample sizes and stop lines against published values."""

from __future__ import annotations

import math
from typing import cast

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from data.findings import SettingsError
from spatial.common_k import common_k, k_with_error
from spatial.sample_size import (
    Meaning,
    Precision,
    precision_reached,
    stop_line,
    try_stop_line,
    units_needed,
)
from spatial.sampling import dispersion_by_class, dispersion_table
from spatial.variance_laws import (
    IwaoLaw,
    NegativeBinomial,
    Poisson,
    Samples,
    TaylorLaw,
    VarianceLaw,
    iwao,
    samples_of,
    taylor,
    taylor_bias,
)

MITES = np.repeat(range(9), [70, 38, 17, 10, 9, 3, 2, 1, 0])
"""Bliss & Fisher 1953, Biometrics 9, 176-200: red mites on 150 apple leaves."""

BORERS = (
    [19, 12, 18, 18, 11, 12, 7, 8, 4, 4, 1, 0, 1, 1, 0, 1, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0, 1],
    [24, 16, 16, 18, 15, 9, 6, 5, 3, 4, 3, 0, 1],
    [43, 35, 17, 11, 5, 4, 1, 2, 2],
    [47, 23, 27, 9, 7, 3, 1, 1, 0, 0, 1, 1],
)
"""The same paper, table 3: corn borers on 120 hills of each treatment (frequencies from memory;
their totals of 120 hills and their means are those of the paper, see the test)."""

PITFALLS = np.array(
    [
        [19.3016, 95.8592],
        [12.8889, 56.6487],
        [11.6825, 62.6718],
        [18.2857, 105.6912],
        [12.8730, 103.7901],
        [36.1270, 257.9836],
    ]
)
"""Mean and variance of 63 pitfall traps in winter wheat on six dates of 1996 (all arthropods):
Holland, Winder & Perry 1999, as shipped with R package epiphy."""

# Fitted to PITFALLS from the formulas apart from this code, to these digits.
TAYLOR = TaylorLaw(3.58440, 1.17100, math.nan, 0.257, 0.0, 6, 0)
IWAO = IwaoLaw(4.0245, 1.0500, math.nan, 0.071, 6, 0)


def borers() -> tuple[np.ndarray, np.ndarray]:
    counts = [np.repeat(range(len(each)), each) for each in BORERS]
    return np.concatenate(counts), np.repeat(range(4), 120)


def simulated(seed: int, each: int, samples: int, k: float) -> tuple[np.ndarray, np.ndarray]:
    """Return counts of samples whose means run from 1 to 10."""
    mean = np.repeat(np.geomspace(1, 10, samples), each)
    counts = np.random.default_rng(seed).negative_binomial(k, k / (k + mean))
    return counts, np.repeat(np.arange(samples), each)


# k


def test_red_mites_have_the_published_k_with_its_standard_error() -> None:
    """Source: k 1.02459239, SE .275907: R MASS 7.3-58.2 on the table of the paper."""
    found = k_with_error(MITES)
    assert found.k == pytest.approx(1.02459239, abs=5e-8)
    assert found.se == pytest.approx(0.275907, abs=1e-6)


def test_interval_of_k_equals_a_profile_on_a_fine_grid() -> None:
    """Source: scipy.stats.nbinom on a grid of k, all within 1.92 of the best."""
    found, mean = k_with_error(MITES), MITES.mean()
    grid = np.exp(np.linspace(np.log(0.2), np.log(5), 2001))
    height = np.array([stats.nbinom.logpmf(MITES, k, k / (k + mean)).sum() for k in grid])
    inside = grid[height >= height.max() - stats.chi2.ppf(0.95, 1) / 2]
    assert_allclose([found.low, found.high], [inside.min(), inside.max()], rtol=2e-3)


@pytest.mark.parametrize(
    ("treatment", "mean", "k"),
    [(0, 4.033333, 1.502889), (1, 3.166667, 1.760488), (2, 1.483333, 1.333131),
     (3, 1.508333, 1.153522)],
)  # fmt: skip
def test_corn_borers(treatment: int, mean: float, k: float) -> None:
    """Source: means of Bliss & Fisher's table 3; ML k by R on the same table."""
    counts, group = borers()
    own = counts[group == treatment]
    assert own.mean() == pytest.approx(mean, abs=5e-7)
    assert k_with_error(own).k == pytest.approx(k, abs=6e-7)


def test_common_k_of_corn_borers() -> None:
    """Source: 1.471450 by R, one k round four means."""
    counts, group = borers()
    found = common_k(counts, group)
    assert found.plain.k == pytest.approx(1.471450, abs=6e-7)
    assert found.plain.low < found.adjusted.k < found.plain.k
    assert found.differ_p > 0.3


def test_likelihood_ratio_of_one_k_against_four_equals_scipy() -> None:
    """Source: scipy.stats.nbinom at the k of the two tests above."""
    counts, group = borers()

    def height(own: np.ndarray, k: float) -> float:
        return float(stats.nbinom.logpmf(own, k, k / (k + own.mean())).sum())

    apart = [1.502889, 1.760488, 1.333131, 1.153522]
    gain = sum(height(counts[group == g], apart[g]) for g in range(4))
    gain -= sum(height(counts[group == g], 1.471450) for g in range(4))
    p = stats.chi2.sf(2 * gain, 3)
    assert common_k(counts, group).differ_p == pytest.approx(p, abs=1e-4)


def test_common_k_by_moments_is_the_regression_through_the_origin() -> None:
    """Source: statsmodels OLS without a constant; Bliss & Owen 1958 (formula from memory)."""
    counts, group = borers()
    found, samples = common_k(counts, group), samples_of(counts, group)
    x = samples.mean**2 - samples.variance / samples.units
    fit = sm.OLS(samples.variance - samples.mean, x).fit()
    assert found.by_moments == pytest.approx(1 / fit.params[0], rel=1e-10)
    assert found.moments_p == pytest.approx(fit.f_pvalue, rel=1e-8)


def test_samples_with_unlike_k_are_told_apart() -> None:
    one, _ = simulated(1, 60, 1, 0.2)
    other = np.random.default_rng(2).negative_binomial(20, 20 / 25, size=60)
    found = common_k([*one, *other], [0] * 60 + [1] * 60)
    assert found.differ_p < 0.001


def test_adjusted_k_is_right_where_samples_are_small_and_plain_k_is_not() -> None:
    """Source: simulation, 150 seasons of 12 zone-rounds of 4 counts at k = 1.

    The interval must hold the truth in 90 to 99 % (3 binomial standard errors are 5 %).
    """
    found = [common_k(*simulated(seed, 4, 12, 1.0)) for seed in range(150)]
    held = np.mean([each.adjusted.low <= 1 <= each.adjusted.high for each in found])
    assert 0.90 <= held <= 0.99
    assert np.median([each.adjusted.k for each in found]) == pytest.approx(1, abs=0.1)
    assert np.median([each.plain.k for each in found]) > 1.4


def test_adjusted_k_and_its_error_are_top_and_bend_of_the_adjusted_likelihood() -> None:
    """Source: scipy.stats.nbinom less half the log information n m k / (k + m); differences."""
    counts, group = simulated(2, 5, 8, 1.0)
    mean = samples_of(counts, group).mean

    def height(k: float) -> float:
        log_pmf = stats.nbinom.logpmf(counts, k, k / (k + mean[group]))
        return float(log_pmf.sum() - 0.5 * np.log(5 * mean * k / (k + mean)).sum())

    found, step = common_k(counts, group).adjusted, 1e-3
    below, top, above = (height(found.k + shift) for shift in (-step, 0, step))
    assert above - below == pytest.approx(0, abs=1e-7)
    assert found.se == pytest.approx(((2 * top - above - below) / step**2) ** -0.5, rel=1e-4)
    assert height(found.low) == pytest.approx(top - stats.chi2.ppf(0.95, 1) / 2, abs=1e-6)


def test_counts_no_more_varied_than_chance_rule_out_only_a_small_k() -> None:
    found = k_with_error([2, 3, 4, 3] * 10)
    assert (found.k, found.high, found.reason) == (math.inf, math.inf, "k_inf")
    assert math.isnan(found.se)
    assert 3 < found.low < 1e4


@pytest.mark.parametrize(
    ("counts", "reason"),
    [([1, 5, 0], "few_counts"), ([0] * 12, "no_catch"), ([], "few_counts"), ([0], "few_counts")],
)
def test_counts_that_cannot_say_k_say_why(counts: list[int], reason: str) -> None:
    found = k_with_error(counts)
    assert math.isnan(found.k)
    assert found.reason == reason


def test_samples_of_one_count_do_not_move_the_common_k() -> None:
    counts, group = borers()
    more = common_k([*counts, 90, 0, 3], [*group, 7, 8, 9])
    assert more == common_k(counts, group)


def test_nothing_but_single_counts_has_no_common_k() -> None:
    found = common_k([1, 5, 9], [0, 1, 2])
    assert (found.samples, found.adjusted.reason) == (0, "few_counts")
    assert math.isnan(found.by_moments)


# Laws of variance


def test_taylors_law_of_a_pitfall_network() -> None:
    """Source: a 3.58440, b 1.17100 (SE .257) on PITFALLS, computed apart from this code."""
    law = taylor(*PITFALLS.T)
    assert law.a == pytest.approx(3.58440, rel=2e-4)
    assert law.b == pytest.approx(1.17100, abs=2e-5)
    assert law.b_se == pytest.approx(0.257, abs=5e-4)
    assert law.cautions == ("few_means", "narrow_means")


def test_iwaos_line_of_a_pitfall_network() -> None:
    """Source: alpha 4.0245, beta 1.0500 (SE .071) on PITFALLS, computed apart from this code."""
    law = iwao(*PITFALLS.T)
    assert law.alpha == pytest.approx(4.0245, abs=2e-4)
    assert law.beta == pytest.approx(1.0500, abs=5e-5)
    assert law.beta_se == pytest.approx(0.071, abs=5e-4)


def test_standard_errors_of_the_laws_equal_statsmodels() -> None:
    """Source: statsmodels OLS."""
    m, s2 = PITFALLS.T
    law, line = taylor(m, s2), iwao(m, s2)
    logs = sm.OLS(np.log(s2), sm.add_constant(np.log(m))).fit()
    crowding = sm.OLS(m + s2 / m - 1, sm.add_constant(m)).fit()
    assert_allclose([law.log_a_se, law.b_se], logs.bse, rtol=1e-9)
    assert_allclose(law.residual_sd**2, logs.scale, rtol=1e-9)
    assert_allclose([line.alpha_se, line.beta_se], crowding.bse, rtol=1e-9)


@pytest.mark.parametrize(
    ("mean", "variance", "reason"),
    [
        ([3, 3, 3, 3], [2, 5, 9, 4], "one_mean"),
        ([1, 2, 3], [0, 0, 0], "no_variance"),
        ([1, 2, 4], [math.nan] * 3, "no_variance"),
        ([1, 2], [3, 4], "few_samples"),
        ([1, 2, 4, 8], [8, 8, 8, 8], "not_rising"),
        ([1, 2, 4, 8], [30, 20, 10, 5], "not_rising"),
    ],
)
def test_where_there_is_no_taylors_law_it_says_why(
    mean: list[float], variance: list[float], reason: str
) -> None:
    law = taylor(mean, variance)
    assert law.reason == reason
    assert math.isnan(law.b) == (reason != "not_rising")


def test_where_there_is_no_iwaos_line_it_says_why() -> None:
    assert iwao([3, 3, 3], [2, 5, 9]).reason == "one_mean"
    assert iwao([1, 2, 4], [0, 0, 0]).reason == "no_variance"
    falling = iwao([1, 2, 4, 8], [30, 20, 10, 5])
    assert falling.reason == "not_rising"
    assert falling.beta < 0


def test_samples_without_variance_are_left_out_of_taylor_and_said_so() -> None:
    law = taylor([0, 1, 4, 9, 16, 7], [0, 2, 16, 54, 128, math.nan])
    assert (law.samples, law.left_out) == (4, 2)
    assert "samples_left_out" in law.cautions
    assert law.b == pytest.approx(1.5)


def test_taylors_bias_shrinks_with_the_counts_per_sample() -> None:
    """Source: simulation; ln of a variance from n counts is low, the more so the fewer."""
    means = np.geomspace(0.5, 20, 12)
    law = taylor(means, 2 * means**1.4)
    few, many = (
        taylor_bias(law, Samples(means, means, np.full(12, n)), runs=100) for n in (4, 100)
    )
    assert few.log_a < -0.25
    assert abs(many.log_a) < 0.1
    assert few.fitted == few.runs == 100
    with pytest.raises(ValueError, match="one_mean"):
        taylor_bias(taylor([1, 1, 1], [1, 2, 3]), Samples(means, means, np.full(12, 4)))


def test_taylors_a_is_a_median_and_the_factor_makes_it_a_mean() -> None:
    """Source: mean of a log-normal, exp(s**2 / 2)."""
    assert TaylorLaw(1, 1, 0, 0, 0.5, 9, 0).a_mean_factor == pytest.approx(
        stats.lognorm(0.5).mean()
    )


# Sample sizes

LAWS: tuple[VarianceLaw, ...] = (Poisson(), NegativeBinomial(0.8), TAYLOR, IWAO)


def test_both_meanings_of_precision() -> None:
    """Source: Karandinos 1976: (1/m + 1/k) / D**2 = 28.0, times 1.96**2 = 107.6, by hand."""
    law = NegativeBinomial(0.8)
    se, half = (units_needed(2, law, Precision(0.25, meaning)) for meaning in ("se", "half_width"))
    assert se.units == pytest.approx(28.0, abs=1e-9)
    assert half.units == pytest.approx(107.56, abs=5e-3)
    assert (se.whole, half.whole) == (28, 108)
    assert half.units / se.units == pytest.approx(3.8415, abs=5e-5)


def test_sizes_of_all_laws_by_the_printed_formulas() -> None:
    """Source: Poisson 1/(D**2 m); Taylor a m**(b-2)/D**2; Iwao ((alpha+1)/m + beta-1)/D**2."""
    found = [units_needed(2, law, Precision(0.2)).units for law in LAWS]
    by_hand = [
        1 / (0.04 * 2),
        (1 / 2 + 1 / 0.8) / 0.04,
        3.5844 * 2**-0.829 / 0.04,
        (5.0245 / 2 + 0.05) / 0.04,
    ]
    assert_allclose(found, by_hand, rtol=1e-12)


def test_a_finite_number_of_traps_and_repeats_change_the_size() -> None:
    """Source: n / (1 + n / N), and n times the design effect, by hand."""
    law, wanted = NegativeBinomial(0.8), Precision(0.25)
    assert units_needed(2, law, wanted, available=28).units == pytest.approx(14)
    assert units_needed(2, law, wanted, design_effect=1.5).whole == 42


@given(
    st.floats(0.05, 50),
    st.sampled_from(LAWS),
    st.floats(0.05, 1),
    st.sampled_from(["se", "half_width"]),
)
def test_the_whole_size_reaches_the_precision_and_one_less_does_not(
    mean: float, law: VarianceLaw, d: float, meaning: Meaning
) -> None:
    size = units_needed(mean, law, Precision(d, meaning))
    assert precision_reached(size.whole, mean, law, meaning=meaning) <= d * (1 + 1e-6)
    if size.whole > 1:
        assert precision_reached(size.whole - 1, mean, law, meaning=meaning) > d * (1 - 1e-6)


@pytest.mark.parametrize(
    ("mean", "law", "reason"),
    [
        (0.0, Poisson(), "no_mean"),
        (math.nan, Poisson(), "no_mean"),
        (2.0, NegativeBinomial(math.inf), "k_inf"),
        (2.0, NegativeBinomial(math.nan), "no_law"),
        (2.0, taylor([3, 3, 3], [2, 5, 9]), "no_law"),
        (9.0, IwaoLaw(0.0, 0.8, 0.1, 0.1, 9, 0), "no_variance_there"),
    ],
)
def test_a_size_that_cannot_be_said_says_why(mean: float, law: VarianceLaw, reason: str) -> None:
    size = units_needed(mean, law, Precision(0.25))
    assert (size.reason, size.whole) == (reason, 0)
    assert math.isnan(size.units)
    assert math.isnan(precision_reached(20, mean, law))


def test_wrong_precisions_are_refused() -> None:
    with pytest.raises(SettingsError, match=r"precision must be above 0, such as 0.25; got 0"):
        Precision(0)
    with pytest.raises(SettingsError, match=r"level must lie between 0 and 1.*got 95"):
        Precision(0.25, "half_width", 95)
    with pytest.raises(SettingsError, match='meaning must be "se" or "half_width"; got "ci"'):
        Precision(0.25, cast("Meaning", "ci"))
    with pytest.raises(SettingsError, match=r"must be 1 or more; got 0.5 and 0"):
        units_needed(2, Poisson(), Precision(0.25), design_effect=0.5)
    with pytest.raises(SettingsError, match="least must be 1 or more and below most; got 9 and 9"):
        stop_line(NegativeBinomial(1), Precision(0.25), least=9, most=9)


# Stop lines


def test_greens_line() -> None:
    """Source: Green 1970 with Taylor's a, b of PITFALLS, D .25; computed apart from this code."""
    line = stop_line(TAYLOR, Precision(0.25), most=40)
    found = dict(zip(line.units.tolist(), line.total.tolist(), strict=True))
    assert_allclose(
        [found[n] for n in (5, 10, 20, 40)], [94.863, 82.225, 71.270, 61.775], atol=2e-3
    )


def test_kunos_line() -> None:
    """Source: Kuno 1969 with alpha, beta of PITFALLS, D .25; computed apart from this code."""
    line = stop_line(IWAO, Precision(0.25), most=40)
    found = dict(zip(line.units.tolist(), line.total.tolist(), strict=True))
    assert_allclose(
        [found[n] for n in (5, 10, 20, 40)], [95.705, 87.383, 83.742, 82.033], atol=2e-3
    )


@given(
    st.sampled_from([TAYLOR, IWAO, NegativeBinomial(0.8), NegativeBinomial(6)]),
    st.floats(0.2, 0.6),
    st.sampled_from(["se", "half_width"]),
)
def test_on_the_line_the_precision_is_just_the_one_wanted(
    law: TaylorLaw | IwaoLaw | NegativeBinomial, d: float, meaning: Meaning
) -> None:
    line = stop_line(law, Precision(d, meaning), most=400)
    for n, total in zip(line.units[::37].tolist(), line.total[::37].tolist(), strict=True):
        mean = total / n
        assert precision_reached(n, mean, law, meaning=meaning) == pytest.approx(d, rel=1e-6)
        assert precision_reached(n, 1.1 * mean, law, meaning=meaning) < d


@pytest.mark.parametrize(
    ("law", "reason"),
    [
        (TaylorLaw(2, 2.0, 0, 0, 0, 9, 0), "too_steep"),
        (TaylorLaw(2, 2.4, 0, 0, 0, 9, 0), "too_steep"),
        (taylor([1, 2, 4, 8], [30, 20, 10, 5]), "no_law"),
        (IwaoLaw(-1.2, 1.5, 0, 0, 9, 0), "negative_start"),
        (NegativeBinomial(0.2), "beyond_most"),
        (NegativeBinomial(math.inf), "k_inf"),
    ],
)
def test_a_stop_line_that_does_not_exist_says_why(
    law: TaylorLaw | IwaoLaw | NegativeBinomial, reason: str
) -> None:
    line = stop_line(law, Precision(0.25), most=60)
    assert line.reason == reason
    assert len(line.units) == len(line.total) == len(line.whole_total) == 0
    with pytest.raises(ValueError, match="expected a line"):
        try_stop_line(line, 2, 1)


def test_a_stop_line_that_holds_gives_the_precision_it_promises() -> None:
    """Source: simulation, 2,000 trials; within a fifth of the D asked for, in both meanings."""
    law = NegativeBinomial(1.0)
    for wanted in (Precision(0.2), Precision(0.4, "half_width")):
        found = try_stop_line(stop_line(law, wanted, most=200), mean=4, k=1.0)
        assert found.d == pytest.approx(wanted.d, rel=0.2)
        assert abs(found.bias) < 0.05
        assert found.unfinished < 0.01
        size = units_needed(4, law, wanted).units
        assert found.units == pytest.approx(size, rel=0.1)


def test_a_stop_line_ends_at_the_last_unit_and_counts_what_did_not_reach_it() -> None:
    """Source: by hand; with hardly any beetles no trial reaches the line."""
    line = stop_line(NegativeBinomial(1.0), Precision(0.25), most=30)
    found = try_stop_line(line, mean=0.01, k=1.0, runs=200)
    assert (found.unfinished, found.units) == (1.0, 30.0)


# By class


def test_dispersion_of_red_mites_as_one_class() -> None:
    """Source: Bliss & Fisher 1953: chi-squared 295.442 on 149 df, variance over mean 1.982831."""
    (found,) = dispersion_by_class(MITES, ["apple"] * 150, ["leaves"] * 150)
    assert found.variance_to_mean == pytest.approx(1.982831, abs=5e-7)
    assert found.p == pytest.approx(stats.chi2.sf(295.44186, 149), rel=1e-5)
    assert found.taylor.reason == found.iwao.reason == "few_samples"


def test_different_means_of_samples_are_no_patchiness() -> None:
    """Source: simulation; Poisson round ten very unequal means has variance over mean 1."""
    mean = np.repeat(np.geomspace(1, 50, 10), 30)
    counts = np.random.default_rng(3).poisson(mean)
    (found,) = dispersion_by_class(counts, ["tee"] * 300, np.repeat(range(10), 30))
    assert found.variance_to_mean == pytest.approx(1, abs=0.25)
    assert counts.var() / counts.mean() > 10
    assert found.taylor.b == pytest.approx(1, abs=0.15)
    assert found.k.adjusted.low > 10


def test_visits_of_unusual_length_are_left_out_and_counted() -> None:
    counts, nights = [1, 4, 2, 9, 90, 80], [7, 7, 7, 6, 14, 3]
    (found,) = dispersion_by_class(counts, ["tee"] * 6, ["a"] * 6, nights)
    assert (found.counts, found.left_out, found.nights) == (4, 2, 7)
    assert found.mean == 4
    (two,) = dispersion_by_class([3, 9], ["tee"] * 2, ["a"] * 2, [2, 30])
    assert (two.counts, two.left_out) == (1, 1)


def test_classes_do_not_touch_each_other() -> None:
    counts, group = simulated(5, 8, 6, 1.0)
    alone = dispersion_table(dispersion_by_class(counts, ["green"] * 48, group))
    both = dispersion_table(
        dispersion_by_class([*counts, 0, 0], ["green"] * 48 + ["rough"] * 2, [*group, 99, 99])
    )
    assert both.iloc[[0]].equals(alone)
    assert both.loc[1, "dispersion_reason"] == "no_catch"
    assert both["use"].tolist() == ["green", "rough"]


def test_a_class_of_single_counts_has_no_dispersion() -> None:
    (found,) = dispersion_by_class([4, 7], ["tee"] * 2, ["a", "b"])
    assert found.reason == "single_counts"
    assert math.isnan(found.variance_to_mean)


def test_counts_that_are_none_are_refused() -> None:
    with pytest.raises(ValueError, match="expected whole counts from 0; found nan at place 1"):
        dispersion_by_class([1, math.nan], ["a"] * 2, ["a"] * 2)
    with pytest.raises(ValueError, match="expected as many classes and samples as counts"):
        dispersion_by_class([1, 2], ["a"], ["a"] * 2)
    with pytest.raises(ValueError, match="expected trap-nights above 0 for 2 counts"):
        dispersion_by_class([1, 2], ["a"] * 2, ["a"] * 2, [7, 0])
