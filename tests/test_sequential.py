"""The sequential decision chart: Wald's lines, what it says, and what it really does."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from data.findings import SettingsError
from spatial.cores import larvae_per_ft2
from spatial.sequential import (
    AtEnd,
    DecisionChart,
    Hypotheses,
    around,
    decision_chart,
    limit_per_core,
    limit_per_visit,
    performance,
    wald_below,
    wald_units,
)

USUAL = decision_chart(Hypotheses(2, 4), 4.6, most=40)


def exact(chart: DecisionChart, mean: float, k: float) -> tuple[float, float, float]:
    """Return the shares of below and above, and the average units, by adding up all totals."""
    most = int(chart.above_at_least.max()) + 1
    pmf = stats.nbinom.pmf(np.arange(most), k, k / (k + mean))
    alive, below, above, units = np.zeros(most), 0.0, 0.0, 0.0
    alive[0] = 1.0
    for n in range(1, chart.most + 1):
        units += alive.sum()
        before = alive.sum()
        alive = np.convolve(alive, pmf)[:most]
        above += before - alive.sum()
        for total in np.flatnonzero(alive > 0):
            said = chart.decision(n, float(total))
            if said in {"go_on", "undecided"}:
                continue
            below += alive[total] if said == "below" else 0.0
            above += alive[total] if said == "above" else 0.0
            alive[total] = 0.0
    return below, above, units


def test_lines_and_decision_of_the_worked_case() -> None:
    """Source: Wald 1947 worked by hand for m0 2, m1 4, k 4.6, both errors .1.

    Slope 2.841808, intercepts 5.128255; counts 2, 5, 6, 2, 7 are above at the fifth, 19.337.
    """
    assert_allclose(
        [USUAL.slope, USUAL.upper, USUAL.lower], [2.841808, 5.128255, -5.128255], atol=6e-7
    )
    upper = USUAL.upper + USUAL.slope * np.arange(1, 6)
    assert_allclose(upper, [7.97, 10.81, 13.65, 16.50, 19.337], atol=6e-3)
    said = [USUAL.decision(n + 1, total) for n, total in enumerate([2, 7, 13, 15, 22])]
    assert said == ["go_on"] * 4 + ["above"]


def test_intercepts_with_unequal_errors() -> None:
    """Source: the same by hand with beta .05: -6.746039 and 5.254446."""
    chart = decision_chart(Hypotheses(2, 4, alpha=0.1, beta=0.05), 4.6)
    assert_allclose([chart.lower, chart.upper], [-6.746039, 5.254446], atol=6e-7)


def test_lines_are_those_of_poisson_where_k_is_huge() -> None:
    """Source: Wald 1947 for Poisson: slope (m1 - m0) / ln(m1 / m0), intercept ln 9 / ln 2."""
    chart = decision_chart(Hypotheses(2, 4), 1e7)
    assert chart.slope == pytest.approx(2 / math.log(2), rel=1e-5)
    assert chart.upper == pytest.approx(math.log(9) / math.log(2), rel=1e-5)


@given(
    st.floats(0.1, 10), st.floats(1.2, 4), st.floats(0.2, 20), st.floats(0.02, 0.3),
    st.floats(0.02, 0.3), st.integers(1, 30),
)  # fmt: skip
def test_on_the_lines_the_likelihood_ratio_is_walds(
    low: float, fold: float, k: float, alpha: float, beta: float, n: int
) -> None:
    """Source: log likelihood ratio of n negative binomial counts, written out."""
    high = low * fold
    chart = decision_chart(Hypotheses(low, high, alpha, beta), k, most=10_000)

    def ratio(total: float) -> float:
        per_animal = math.log(high / (high + k)) - math.log(low / (low + k))
        return total * per_animal + n * k * (math.log(k / (high + k)) - math.log(k / (low + k)))

    up, down = chart.upper + chart.slope * n, chart.lower + chart.slope * n
    assert ratio(up) == pytest.approx(math.log((1 - beta) / alpha), rel=1e-6, abs=1e-6)
    assert ratio(down) == pytest.approx(math.log(beta / (1 - alpha)), rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("at_end", ["undecided", "nearer"])
def test_table_and_decision_say_the_same(at_end: AtEnd) -> None:
    chart = decision_chart(Hypotheses(1, 2, 0.1, 0.2), 0.8, least=3, most=12, at_end=at_end)
    for n, low, high in zip(chart.units, chart.below_at_most, chart.above_at_least, strict=True):
        if n < 3:
            assert (low, high) == (-1, -1)
            assert chart.decision(n, 1e6) == chart.decision(n, 0) == "go_on"
            continue
        assert chart.decision(n, high) == "above"
        assert chart.decision(n, high - 1) != "above" or n == 12
        if low >= 0:
            assert chart.decision(n, low) == "below"
            assert chart.decision(n, low + 1) != "below" or n == 12
    between = [chart.decision(12, total) for total in (chart.middle - 1, chart.middle)]
    assert between == (["undecided"] * 2 if at_end == "undecided" else ["below", "above"])


@pytest.mark.parametrize("at_end", ["undecided", "nearer"])
@pytest.mark.parametrize("k", [4.6, 1.0])
def test_simulation_equals_adding_up_all_totals(k: float, at_end: AtEnd) -> None:
    """Source: exact distribution of the running total; within 4 binomial standard errors."""
    chart = decision_chart(Hypotheses(2, 4), 4.6, least=2, most=12, at_end=at_end)
    found = performance(chart, [1.5, 2, 2.8, 4, 6], k=k, runs=4000, seed=3)
    for index, mean in enumerate(found.mean):
        below, above, units = exact(chart, mean, k)
        for share, truth in ((found.below[index], below), (found.above[index], above)):
            assert share == pytest.approx(
                truth, abs=4 * math.sqrt(truth * (1 - truth) / 4000) + 1e-3
            )
        assert found.units[index] == pytest.approx(units, abs=4 * 4 / math.sqrt(4000))
    assert_allclose(found.below + found.above + found.undecided, 1, atol=1e-12)


@settings(max_examples=40)
@given(st.floats(0.3, 6), st.floats(1.2, 3), st.floats(0.3, 10), st.floats(0.3, 3))
def test_walds_exponent_makes_the_likelihood_ratio_average_one(
    low: float, fold: float, k: float, share: float
) -> None:
    """Source: Wald's identity. The chance of below follows from it as (A**h - 1)/(A**h - B**h)."""
    chart = decision_chart(Hypotheses(low, low * fold), k, most=10_000)
    mean = chart.slope * share
    below = wald_below(chart, mean)
    assert 0 <= below <= 1
    if 0.01 < below < 0.99 and abs(below - 0.5) > 0.02:
        # With A = 9 and B = 1 / 9: below = 9**h / (9**h + 1), so h = ln(odds) / ln 9.
        h = math.log(below / (1 - below)) / math.log(9)
        counts = np.arange(6000)
        weight = stats.nbinom.logpmf(counts, k, k / (k + mean))
        high = stats.nbinom.logpmf(counts, k, k / (k + low * fold))
        ratio = high - stats.nbinom.logpmf(counts, k, k / (k + low))
        assert np.exp(weight + h * ratio).sum() == pytest.approx(1, abs=1e-4)


def test_walds_approximations_are_continuous_and_ordered() -> None:
    """Source: by hand at the two means (1 - alpha, beta); near the slope the limit is taken."""
    chart = decision_chart(Hypotheses(2, 4, 0.05, 0.2), 4.6)
    assert wald_below(chart, 2) == pytest.approx(0.95, abs=1e-9)
    assert wald_below(chart, 4) == pytest.approx(0.2, abs=1e-9)
    grid = np.linspace(0.01, 60, 400)
    assert (np.diff([wald_below(chart, m) for m in grid]) <= 1e-9).all()
    at, near = (wald_units(chart, chart.slope * (1 + shift)) for shift in (0, 1e-4))
    assert at == pytest.approx(near, rel=1e-3)
    assert wald_below(chart, chart.slope) == pytest.approx(
        wald_below(chart, chart.slope * 1.00001), abs=1e-3
    )


@pytest.mark.parametrize("mean", [1e-9, 1e6])
def test_walds_approximations_do_not_break_at_the_ends(mean: float) -> None:
    assert wald_below(USUAL, mean) == pytest.approx(float(mean < 1), abs=1e-6)
    assert wald_units(USUAL, mean) == pytest.approx(
        abs((USUAL.lower if mean < 1 else USUAL.upper) / (mean - USUAL.slope))
    )


def test_without_an_early_end_the_errors_keep_walds_bounds() -> None:
    """Source: Wald 1947: true errors are at most alpha / (1 - beta) and beta / (1 - alpha)."""
    chart = decision_chart(Hypotheses(2, 4, 0.1, 0.1), 1.0, most=400)
    found = performance(chart, [2, 4], runs=4000, seed=1)
    noise = 3 * 0.5 / math.sqrt(4000)
    assert found.undecided.max() < 0.005
    assert found.above[0] <= 0.1 / 0.9 + noise
    assert found.below[1] <= 0.1 / 0.9 + noise
    # Whole counts overshoot the lines, so it takes longer than Wald says.
    assert (found.units > found.wald_units).all()


def test_a_chart_errs_more_where_beetles_are_patchier_than_it_was_made_for() -> None:
    asked, patchier = (performance(USUAL, [2], k=k) for k in (4.6, 0.5))
    assert patchier.above[0] > 2 * asked.above[0]


def test_a_short_chart_is_often_undecided_and_does_not_hide_it() -> None:
    short = decision_chart(Hypotheses(2, 4), 0.8, most=8)
    found = performance(short, [2.8])
    assert found.undecided[0] > 0.4
    forced = performance(decision_chart(Hypotheses(2, 4), 0.8, most=8, at_end="nearer"), [2.8])
    assert forced.undecided[0] == 0


def test_the_same_seed_gives_the_same_and_another_does_not() -> None:
    one, again, other = (performance(USUAL, [3], seed=seed, runs=500).below for seed in (1, 1, 2))
    assert one == again
    assert one != other


def test_usual_means_hold_both_means_and_the_limit() -> None:
    found = performance(decision_chart(around(3, 2), 1.0), runs=50)
    assert {1.5, 3.0, 6.0} <= set(found.mean.tolist())
    assert (np.diff(found.mean) > 0).all()


@pytest.mark.parametrize(
    ("k", "most", "reason"),
    [(math.inf, 30, "k_inf"), (math.nan, 30, "no_k"), (1.0, 1, "too_few_units")],
)
def test_a_chart_that_does_not_exist_says_why(k: float, most: int, reason: str) -> None:
    chart = decision_chart(Hypotheses(0.5, 0.7), k, most=most)
    assert chart.reason == reason
    with pytest.raises(ValueError, match=f"expected a chart.*{reason}"):
        performance(chart, [1.0])
    with pytest.raises(ValueError, match=f"expected a chart.*{reason}"):
        chart.decision(1, 1)


def test_wrong_settings_are_refused_in_words() -> None:
    with pytest.raises(SettingsError, match=r"lower mean must be above 0 and below.*got 4 and 2"):
        Hypotheses(4, 2)
    with pytest.raises(SettingsError, match=r"between 0 and 0.5; got 0.6 and 0.1"):
        Hypotheses(2, 4, alpha=0.6)
    with pytest.raises(SettingsError, match="limit must lie between the two means; got 9"):
        Hypotheses(2, 4, limit=9)
    with pytest.raises(SettingsError, match="fold above 1; got 3 and 1"):
        around(3, 1)
    with pytest.raises(SettingsError, match='got 5, 4 and "undecided"'):
        decision_chart(Hypotheses(2, 4), 1, least=5, most=4)
    with pytest.raises(ValueError, match=r"found reason '', k 4.6, means"):
        performance(USUAL, [0.0])
    with pytest.raises(ValueError, match="1 to 40 units; found reason '' and 41 units"):
        USUAL.decision(41, 3)


def test_limits_per_unit_go_there_and_back() -> None:
    """Source: 4.25-inch cup cutter holds .09852 ft2, so ten a square foot is .985 a core."""
    assert limit_per_core(10, 10.795) == pytest.approx(0.9852, abs=5e-5)
    assert larvae_per_ft2(limit_per_core(7, 10), 1, 10) == pytest.approx(7)
    assert limit_per_visit(7, 14) == 14
