"""What would decide a zone: closed forms beside simulation and scipy's distributions."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy import stats

from spatial.larvae import LarvalSample, chance_over
from spatial.more_evidence import (
    MOST_CORES,
    MOST_TRAPS,
    MOST_WEEKS,
    RIGHT,
    WANTED,
    Coring,
    Cutoffs,
    Trapping,
    chance_of_coring,
    chance_of_trapping,
    log_sd_of,
    more_coring,
    more_trapping,
)

JUNE = date(2026, 6, 20)
CORE_M2 = 0.009153
TEN_PER_FT2 = 107.6
SAMPLE = LarvalSample(10, 8, 10 * CORE_M2, JUNE, JUNE)
CORING = Coring(TEN_PER_FT2, 1.0, CORE_M2)
TRAPPING = Trapping(p_above=0.6, log_sd=0.5, limit=2.0, traps=4, trap_weeks=16.0, k=1.5)


def simulated(now: Trapping, weeks: int, new_traps: int, seasons: int = 2000) -> float:
    """Return how often new traps decide, with the posterior worked out on a grid each time."""
    random = np.random.default_rng(5)
    middle = math.log(now.limit) + now.log_sd * stats.norm.ppf(now.p_above)
    grid = np.linspace(middle - 6 * now.log_sd, middle + 6 * now.log_sd, 401)
    mean, k = np.exp(grid) * weeks, now.k
    prior = -0.5 * ((grid - middle) / now.log_sd) ** 2
    rate = np.exp(random.normal(middle, now.log_sd, seasons))
    share = k / (k + rate[:, None] * weeks)
    caught = random.negative_binomial(k, share, (seasons, new_traps)).sum(axis=1)
    # The catches of all new traps enter through their sum alone.
    height = prior + np.log(mean) * caught[:, None]
    height -= (caught[:, None] + new_traps * k) * np.log(k + mean)
    weight = np.exp(height - height.max(axis=1, keepdims=True))
    over = weight[:, grid > math.log(now.limit)].sum(axis=1) / weight.sum(axis=1)
    return float(((over >= 0.8) | (over <= 0.2)).mean())


@pytest.mark.parametrize(
    ("p_above", "log_sd", "k"), [(0.6, 0.5, 1.5), (0.4, 0.8, 0.7), (0.7, 0.4, 3)]
)
@pytest.mark.parametrize(("weeks", "new_traps"), [(1, 7), (4, 6)])
def test_the_chance_that_traps_decide_is_that_of_simulated_catches(
    p_above: float, log_sd: float, k: float, weeks: int, new_traps: int
) -> None:
    """To .06; the old traps are given so many trap-weeks already that more tell nothing."""
    now = replace(TRAPPING, p_above=p_above, log_sd=log_sd, k=k, trap_weeks=1e9)
    stated = chance_of_trapping(now, Cutoffs(), np.array(weeks), np.array(new_traps))
    assert float(stated) == pytest.approx(simulated(now, weeks, new_traps), abs=0.06)


def test_more_weeks_at_old_traps_tell_ever_less_and_new_traps_do_not() -> None:
    """Information of a negative binomial count is k m / (k + m), so it ends at k per trap."""
    weeks, none = np.array([8, 80, 800, 8000]), np.zeros(4, dtype=np.int64)
    old = chance_of_trapping(TRAPPING, Cutoffs(), weeks, none)
    assert old[-1] - old[-2] < 0.01
    assert old[-1] < 0.4
    new = chance_of_trapping(TRAPPING, Cutoffs(), np.full(4, 8), np.array([10, 100, 1000, 100_000]))
    assert new[-1] > 0.95


def test_the_plan_for_traps_is_the_one_with_the_fewest_visits() -> None:
    plan = more_trapping(TRAPPING, Cutoffs(), minutes_per_trap=3.0)
    assert plan is not None
    enough = [
        TRAPPING.traps * weeks + new * (weeks + 1)
        for weeks in range(1, MOST_WEEKS + 1)
        for new in range(MOST_TRAPS + 1)
        if chance_of_trapping(TRAPPING, Cutoffs(), np.array(weeks), np.array(new)) >= WANTED
    ]
    assert plan.visits == min(enough)
    assert plan.nights == 7 * plan.weeks * (TRAPPING.traps + plan.new_traps)
    assert plan.chance >= WANTED
    assert plan.minutes == 3.0 * plan.visits


def test_without_minutes_a_plan_has_none() -> None:
    plan = more_trapping(TRAPPING, Cutoffs())
    coring = more_coring(SAMPLE, CORING, Cutoffs())
    assert plan is not None
    assert coring is not None
    assert (plan.minutes, coring.minutes) == (None, None)


def test_a_zone_that_traps_would_hardly_decide_has_no_plan() -> None:
    assert more_trapping(replace(TRAPPING, p_above=0.5, log_sd=0.05), Cutoffs()) is None


def test_independent_beetles_are_the_limit_of_large_k() -> None:
    weeks, new = np.array(2), np.array(5)
    large = chance_of_trapping(replace(TRAPPING, k=1e9), Cutoffs(), weeks, new)
    poisson = chance_of_trapping(replace(TRAPPING, k=math.inf), Cutoffs(), weeks, new)
    assert float(large) == pytest.approx(float(poisson), abs=1e-6)


def test_the_spread_comes_from_the_interval() -> None:
    """An interval of a normal log rate gives its sd back (scipy.stats.norm)."""
    low, high = np.exp(stats.norm.interval(0.8, loc=0.4, scale=0.7))
    assert log_sd_of(float(low), float(high), 0.8) == pytest.approx(0.7)


@pytest.mark.parametrize("more", [1, 5, 20, 60])
def test_the_chance_that_cores_decide_is_that_of_drawn_ones(more: int) -> None:
    """Beta shares and negative binomial larvae drawn, 20,000 times; to four standard errors."""
    random = np.random.default_rng(9)
    share = random.beta(SAMPLE.larvae + 0.5, SAMPLE.cores, 20_000)
    larvae = SAMPLE.larvae + random.negative_binomial(more, 1 - share)
    limit = TEN_PER_FT2 * CORE_M2 * (10 + more)
    values, times = np.unique(larvae, return_counts=True)
    over = np.array([chance_over(int(y), 10.0 + more, limit) for y in values])
    drawn = times[(over >= 0.8) | (over <= 0.2)].sum() / 20_000
    assert chance_of_coring(SAMPLE, more, CORING, Cutoffs()) == pytest.approx(drawn, abs=0.0142)


def test_cores_that_cannot_fail_to_decide_do_so_for_certain() -> None:
    many = replace(SAMPLE, larvae=400)
    assert chance_of_coring(many, 1, CORING, Cutoffs()) == 1.0
    assert chance_of_coring(SAMPLE, 1, CORING, Cutoffs(0.3, 0.3)) == 1.0


def test_the_plan_for_cores_is_the_least_that_is_as_likely_as_not() -> None:
    plan = more_coring(SAMPLE, CORING, Cutoffs(), minutes_per_core=4.0)
    assert plan is not None
    chances = [chance_of_coring(SAMPLE, n, CORING, Cutoffs()) for n in range(1, 20)]
    assert plan.cores == 1 + next(n for n, chance in enumerate(chances) if chance >= WANTED)
    assert plan.minutes == 4.0 * plan.cores
    assert plan.basis == "expected"


def test_without_a_core_the_number_tells_half_the_limit_from_twice_the_limit() -> None:
    """Chances of the right state by scipy.stats.nbinom, larva by larva."""
    plan = more_coring(None, CORING, Cutoffs())
    assert plan is not None

    def right(cores: int) -> float:
        counts = np.arange(3000)
        limit = TEN_PER_FT2 * CORE_M2 * cores
        over = np.array([chance_over(int(y), float(cores), limit) for y in counts])
        chances = []
        for mean, there in ((limit / 2, over <= 0.2), (limit * 2, over >= 0.8)):
            chances.append(stats.nbinom.pmf(counts, cores, cores / (cores + mean))[there].sum())
        return float(min(chances))

    assert plan.chance == pytest.approx(right(plan.cores), abs=1e-9)
    assert [right(n) >= RIGHT for n in range(10, plan.cores + 1)] == [False] * (plan.cores - 10) + [
        True
    ]


def test_never_fewer_cores_than_the_settings_ask_for() -> None:
    """A high limit is told by few cores; the least number still holds."""
    high = replace(CORING, limit_per_m2=50 * TEN_PER_FT2, k=50.0)
    fresh, begun = (
        more_coring(None, high, Cutoffs()),
        more_coring(LarvalSample(4, 40, 4 * CORE_M2, JUNE, JUNE), high, Cutoffs()),
    )
    assert fresh is not None
    assert begun is not None
    assert (fresh.cores, begun.cores) == (10, 6)


def test_a_limit_that_cores_would_hardly_show_has_no_plan() -> None:
    low = replace(CORING, limit_per_m2=TEN_PER_FT2 / 1000)
    assert more_coring(None, low, Cutoffs()) is None
    near = LarvalSample(2000, 1970, 2000 * CORE_M2, JUNE, JUNE)
    assert more_coring(near, CORING, Cutoffs()) is None
    assert chance_of_coring(near, MOST_CORES, CORING, Cutoffs()) < WANTED
