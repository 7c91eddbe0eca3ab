"""Rank correlation of successive rounds against scipy, and an interval that keeps its word."""

from __future__ import annotations

from math import nan

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from spatial.arrays import FloatArray
from spatial.persistence import MIN_COMMON_TRAPS, persistence, rank_correlation

CATCHES = st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4)), min_size=8, max_size=30)


def table(rates: FloatArray, weeks: list[str]) -> pd.DataFrame:
    """Return rounds of a week each from rates of shape (weeks, traps); NaN is a void visit."""
    traps = rates.shape[1]
    return pd.DataFrame(
        {
            "week": np.repeat(weeks, traps),
            "location_id": np.tile(names(traps), len(weeks)),
            "nights": np.where(np.isnan(rates), 0.0, 7.0).ravel(),
            "rate": rates.ravel(),
        }
    )


def names(traps: int) -> list[str]:
    return [f"T{number:03d}" for number in range(traps)]


def cups(traps: int) -> pd.Series[str]:
    return pd.Series("cup", index=names(traps))


def weeks(count: int) -> list[str]:
    return [f"2026-W{number:02d}" for number in range(10, 10 + count)]


def season(random: np.random.Generator, level: FloatArray, rounds: int) -> FloatArray:
    """Return catches of rounds with the traps' own lasting levels; negative binomial, k 1."""
    return random.negative_binomial(1.0, 1 / (1 + level), size=(rounds, len(level))).astype(float)


@given(catches=CATCHES)
def test_one_design_gives_spearman(catches: list[tuple[int, int]]) -> None:
    """Source: scipy.stats.spearmanr, ties and all."""
    first, second = np.array(catches, dtype=float).T
    found = rank_correlation(first, second, ["cup"] * len(first))
    if np.ptp(first) == 0 or np.ptp(second) == 0:
        assert np.isnan(found)
    else:
        assert found == pytest.approx(stats.spearmanr(first, second).statistic, abs=1e-12)


@given(catches=CATCHES, times=st.floats(0.1, 100))
def test_a_design_that_catches_more_changes_nothing(
    catches: list[tuple[int, int]], times: float
) -> None:
    first, second = np.array(catches, dtype=float).T
    linear = np.arange(len(first)) % 3 == 0
    plain = rank_correlation(first, second, linear)
    scaled = np.where(linear, times, 1.0)
    found = rank_correlation(first * scaled, second * scaled, linear)
    assert found == pytest.approx(plain, abs=1e-12, nan_ok=True)


def test_unlike_designs_alone_make_no_correlation() -> None:
    """By hand: linear traps catch a hundred times as much, the order in each design is chance.

    Two designs of equal size, one wholly above the other, make 3/4 of the variance of all ranks.
    """
    random = np.random.default_rng(5)
    linear = np.arange(60) < 30
    level = np.where(linear, 100.0, 1.0)
    first, second = (level * random.permutation(60) for _ in range(2))
    assert rank_correlation(first, second, np.zeros(60)) == pytest.approx(0.75, abs=0.1)
    assert abs(rank_correlation(first, second, linear)) < 0.3


def test_a_trap_counts_where_it_was_ok_in_both_rounds() -> None:
    """Source: scipy on the ten traps that are left of twelve."""
    rates = np.random.default_rng(1).uniform(0, 9, size=(2, 12))
    rates[0, 3] = rates[1, 7] = nan
    both = np.isfinite(rates).all(axis=0)
    found = persistence(table(rates, weeks(2)), cups(12)).pairs.iloc[0]
    assert found["traps"] == 10
    assert found["rho"] == pytest.approx(stats.spearmanr(*rates[:, both]).statistic)


def test_a_trap_alone_of_its_design_takes_no_part() -> None:
    rates = np.random.default_rng(1).uniform(0, 9, size=(2, 12))
    design = cups(12)
    design.iloc[4] = "linear"
    assert persistence(table(rates, weeks(2)), design).pairs["traps"].tolist() == [11]


def test_successive_rounds_are_paired_over_new_year_and_over_a_missed_week() -> None:
    """By hand: 2026 has a week 53; two weeks lie between W53 and W02."""
    rates = np.random.default_rng(1).uniform(0, 9, size=(3, 12))
    found = persistence(table(rates, ["2026-W52", "2026-W53", "2027-W02"]), cups(12)).pairs
    assert found["next_week"].tolist() == ["2026-W53", "2027-W02"]
    assert found["weeks_apart"].tolist() == [1, 2]


def test_too_few_traps_and_rounds_without_variation_are_named() -> None:
    """A round in which every trap caught the same has no order of traps."""
    rates = np.random.default_rng(1).uniform(0, 9, size=(4, MIN_COMMON_TRAPS))
    rates[1, 0] = nan
    rates[3] = 0.0
    found = persistence(table(rates, weeks(4)), cups(MIN_COMMON_TRAPS))
    assert found.pairs["reason"].tolist() == ["few_traps", "few_traps", "no_variation"]
    assert found.pairs["rho"].isna().all()
    assert found.reason == "no_pairs"
    assert np.isnan([found.median, found.low, found.high, found.coverage]).all()


@pytest.mark.parametrize("rounds", [0, 1])
def test_one_round_has_no_next(rounds: int) -> None:
    found = persistence(table(np.ones((rounds, 9)), weeks(rounds)), cups(9))
    assert found.pairs.empty
    assert found.reason == "no_pairs"


@pytest.mark.parametrize(
    ("rounds", "reason"), [(3, "few_pairs"), (4, "short_of_95"), (6, "short_of_95"), (7, "")]
)
def test_few_rounds_do_not_get_a_95_percent_interval(rounds: int, reason: str) -> None:
    """By hand: the range of five values misses their median with chance 2 / 2^5 = .0625."""
    rates = np.random.default_rng(3).uniform(0, 9, size=(rounds, 20))
    found = persistence(table(rates, weeks(rounds)), cups(20))
    assert found.reason == reason
    if reason != "few_pairs":
        assert found.coverage == pytest.approx(1 - 2 / 2 ** (rounds - 1))
        assert (found.low, found.high) == (found.pairs["rho"].min(), found.pairs["rho"].max())


@pytest.mark.parametrize("pairs", [6, 8, 9, 12, 17, 25])
def test_interval_is_the_shortest_of_order_statistics_with_95_percent(pairs: int) -> None:
    """Source: scipy.stats.binom: leave off c values at each end while 2 P(X <= c) <= .05."""
    rates = np.random.default_rng(4).uniform(0, 9, size=(pairs + 1, 20))
    found = persistence(table(rates, weeks(pairs + 1)), cups(20))
    ordered = np.sort(found.pairs["rho"])
    cut = max(c for c in range(pairs // 2) if 2 * stats.binom.cdf(c, pairs, 0.5) <= 0.05)
    assert (found.low, found.high) == (ordered[cut], ordered[-1 - cut])
    assert found.coverage == pytest.approx(1 - 2 * stats.binom.cdf(cut, pairs, 0.5))


def test_interval_covers_the_lasting_correlation_of_a_site() -> None:
    """Pairs share rounds; still 40 traps over 10 rounds cover at least .95 less 2 s.e. (.031).

    200 seasons of one site; the truth is the median of 400 pairs of rounds with no round shared.
    """
    random = np.random.default_rng(6)
    level = np.exp(random.normal(1.0, 1.0, size=40))
    kinds = ["cup"] * 40
    apart = (season(random, level, 2) for _ in range(400))
    truth = np.median([rank_correlation(pair[0], pair[1], kinds) for pair in apart])
    covered = []
    for _ in range(200):
        found = persistence(table(season(random, level, 10), weeks(10)), cups(40))
        covered.append(found.low <= truth <= found.high)
    assert np.mean(covered) >= 0.95 - 2 * 0.0154
