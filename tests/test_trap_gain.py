"""What new traps buy, against simulated seasons and against the hull of the curve."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import ConvexHull
from scipy.special import ndtr, ndtri

from spatial.knee import knee
from spatial.more_evidence import Cutoffs, Trapping
from spatial.trap_gain import (
    ZoneNow,
    never_rising,
    undecided_curve,
    width_curve,
)

NOW = Trapping(p_above=0.6, log_sd=0.5, limit=2.0, traps=4, trap_weeks=16.0, k=1.5)
ZONE = ZoneNow(NOW, area_ha=2.0, weeks_left=8)


def simulated_undecided(zone: ZoneNow, new: int, draws: int = 20_000) -> float:
    """Return the share of seasons that end undecided, without the formula under test.

    The truth is drawn from what is known today; new traps catch negative binomial numbers; today's
    normal of the log rate is multiplied with the exact likelihood of those catches on a grid. Only
    the new traps count, so the standing ones must have told all they can (`trap_weeks` large).
    """
    now = zone.trapping
    random = np.random.default_rng(5)
    centre = math.log(now.limit) + now.log_sd * float(ndtri(now.p_above))
    grid = centre + now.log_sd * np.linspace(-6, 6, 241)
    truth = np.exp(centre + now.log_sd * random.standard_normal(draws))
    mean = (truth * zone.weeks_left)[:, None]
    caught = random.poisson(mean * random.gamma(now.k, 1 / now.k, (draws, new))).sum(axis=1)
    share = np.exp(grid) * zone.weeks_left / (now.k + np.exp(grid) * zone.weeks_left)
    fit = caught[:, None] * np.log(share) + new * now.k * np.log1p(-share)
    fit = fit - 0.5 * ((grid - centre) / now.log_sd) ** 2
    weight = np.exp(fit - fit.max(axis=1, keepdims=True))
    over = weight[:, grid > math.log(now.limit)].sum(axis=1) / weight.sum(axis=1)
    return float(((over > 0.2) & (over < 0.8)).mean())


@pytest.mark.parametrize("new", [1, 3, 8, 20])
@pytest.mark.parametrize("p_above", [0.35, 0.6])
def test_what_is_left_undecided_is_what_simulated_seasons_leave(new: int, p_above: float) -> None:
    """Within .06, which is what `spatial.more_evidence` claims for its chances."""
    told = replace(NOW, p_above=p_above, trap_weeks=4e6)
    found = undecided_curve(replace(ZONE, trapping=told, area_ha=1.0), Cutoffs())
    simulated = simulated_undecided(replace(ZONE, trapping=told), new)
    assert found[new] == pytest.approx(simulated, abs=0.06)


def test_a_hectare_counts_as_a_hectare() -> None:
    one = undecided_curve(replace(ZONE, area_ha=1.0), Cutoffs())
    five = undecided_curve(replace(ZONE, area_ha=5.0), Cutoffs())
    assert five == pytest.approx(5 * one)


@given(
    p_above=st.floats(0.21, 0.79),
    log_sd=st.floats(0.1, 1.5),
    k=st.floats(0.3, 20.0),
    weeks=st.integers(1, 20),
)
def test_in_an_undecided_zone_more_traps_never_leave_more_undecided(
    p_above: float, log_sd: float, k: float, weeks: int
) -> None:
    now = replace(NOW, p_above=p_above, log_sd=log_sd, k=k)
    found = undecided_curve(ZoneNow(now, 1.0, weeks), Cutoffs())
    assert np.all(np.diff(found) <= 1e-12)
    assert np.all((found >= 0) & (found <= 1))


def test_no_weeks_left_buy_nothing() -> None:
    found = undecided_curve(replace(ZONE, weeks_left=0), Cutoffs())
    assert found.tolist() == [2.0] * 21
    width = width_curve(replace(ZONE, weeks_left=0), 2.0)
    assert np.ptp(width) == 0.0


def test_a_zone_without_traps_is_undecided_until_it_has_one() -> None:
    """Its first trap tells what a first trap of any zone tells: the whole of a new place."""
    bare = replace(NOW, traps=0, trap_weeks=0.0)
    found = undecided_curve(replace(ZONE, trapping=bare), Cutoffs())
    assert found[0] == 2.0
    over, rate = 0.5 * float(ndtri(0.6)), 2.0 * math.exp(0.5 * float(ndtri(0.6))) * 8
    after = (0.5**-2 + 3 * 1.5 * rate / (1.5 + rate)) ** -0.5
    moved = math.sqrt(0.25 - after**2)
    decided = ndtr((over - after * ndtri(0.8)) / moved) + ndtr((after * ndtri(0.2) - over) / moved)
    assert found[3] == pytest.approx(2.0 * (1 - decided))


def test_without_a_limit_a_trap_buys_a_narrower_interval() -> None:
    """Poisson catches: the precision of a log rate is its prior one plus the expected count."""
    poisson = replace(NOW, k=math.inf)
    found = width_curve(ZoneNow(poisson, 1.0, 5), rate=2.0, level=0.95)
    count = 4 * 2.0 * 5 + 2.0 * 5 * np.arange(21)
    sd = (0.5**-2 + count) ** -0.5
    assert found == pytest.approx(2 * 1.959964 * sd, rel=1e-6)


def test_a_width_of_a_zone_without_traps_comes_from_new_traps_alone() -> None:
    bare = replace(NOW, traps=0, trap_weeks=0.0, k=math.inf)
    found = width_curve(ZoneNow(bare, 1.0, 5), rate=2.0)
    assert found[2] / found[0] == pytest.approx((4 / (4 + 20)) ** 0.5)


@pytest.mark.parametrize("change", [{"p_above": 1.0}, {"p_above": 0.0}, {"log_sd": 0.0}])
def test_a_zone_that_is_certain_is_refused(change: dict[str, float]) -> None:
    certain = replace(NOW, **change)
    with pytest.raises(ValueError, match="expected p_above strictly between 0 and 1"):
        undecided_curve(replace(ZONE, trapping=certain), Cutoffs())


GAINS = st.lists(st.integers(0, 12).map(float), min_size=1, max_size=12)


@given(gains=GAINS)
def test_steps_never_rise_and_total_the_hull_of_the_curve(gains: list[float]) -> None:
    """The hull by qhull, an independent program."""
    steps = never_rising(gains)
    assert np.all(np.diff(steps) <= 0)
    assert np.all(steps >= 0)
    reached = np.maximum.accumulate([0.0, *gains])
    total = np.concatenate([[0.0], np.cumsum(steps)])
    ground = np.column_stack([np.arange(len(reached)), reached])
    closed = np.vstack([ground, [[0.0, -1.0], [len(reached) - 1.0, -1.0]]])
    corners = closed[np.sort(ConvexHull(closed).vertices)]
    upper = corners[corners[:, 1] >= 0]
    upper = upper[np.argsort(upper[:, 0])]
    assert total == pytest.approx(np.interp(ground[:, 0], upper[:, 0], upper[:, 1]), abs=1e-9)


def test_a_knee_is_where_the_curve_is_farthest_from_its_chord() -> None:
    """1 - exp(-n / 4) up to 20: the slope falls to that of the chord at n = 4 ln(5 / .9933)."""
    gains = 1 - np.exp(-np.arange(1, 21) / 4)
    slope = gains[-1] / 20
    assert knee(gains) == round(-4 * math.log(4 * slope)) == 6


@given(gains=GAINS, scale=st.sampled_from([1e-6, 0.5, 1e6]))
def test_a_knee_does_not_depend_on_the_unit(gains: list[float], scale: float) -> None:
    gains = np.maximum.accumulate(gains).tolist()
    assert knee(np.array(gains) * scale) == knee(gains)
