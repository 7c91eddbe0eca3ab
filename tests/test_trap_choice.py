"""Choices of traps against the exact optimum, and that against looking at every choice there is."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.spatial.distance import cdist

from spatial.trap_choice import Choice, chosen, curve
from spatial.trap_choice_bound import optimum
from spatial.trap_ground import Ground, coverage, value_of


def random_ground(seed: int, places: int = 30, demand: int = 60) -> Ground:
    """Return a square of 100 m with five zones, some standing traps, reach 12 m, spacing 10 m.

    Places of every other seed stand in rows of 25 m, so that spacing keeps most of them apart.
    """
    random = np.random.default_rng([seed, places])
    where, wanted = random.uniform(0, 100, (places, 2)), random.uniform(0, 100, (demand, 2))
    if seed % 2 == 0:
        row = random.integers(0, 3, places)
        where = random.uniform(0, 75, (3, 2))[row] + random.uniform(0, [25, 1], (places, 2))
        wanted[::2] = where[random.integers(0, places, len(wanted[::2]))] + random.normal(0, 5, 2)
    zone_at = random.uniform(0, 100, (5, 2))
    steps = np.sort(random.gamma(1.0, 4.0, (5, 3)), axis=1)[:, ::-1]
    return Ground(
        covers=sparse.csr_array((cdist(where, wanted) < 12).astype(float)),
        weight=random.gamma(1.0, 1.0, demand),
        demand_zone=cdist(wanted, zone_at).argmin(axis=1),
        place_zone=cdist(where, zone_at).argmin(axis=1) if seed % 3 else np.full(places, -1),
        steps=steps if seed % 4 < 2 else np.zeros((5, 0)),
        standing=int(random.integers(0, 5)),
        too_close=sparse.csr_array((cdist(where, where) < 10).astype(float)),
    )


def taken(ground: Ground, choice: Choice) -> list[int]:
    stay = set(range(ground.standing)) - set(choice.removed.tolist())
    return sorted(stay | set(choice.new.tolist()))


def breaches(ground: Ground, places: list[int]) -> int:
    """Return how many pairs with a new trap are too close."""
    close = ground.too_close.toarray()
    pairs = combinations(places, 2)
    return sum(bool(close[a, b]) for a, b in pairs if max(a, b) >= ground.standing)


@pytest.mark.parametrize("first", range(0, 50, 10))
def test_greedy_with_swaps_is_within_a_hundredth_of_the_optimum(first: int) -> None:
    """Of 50 random instances with two to six new traps, every one; the bounds hold too."""
    for seed in range(first, first + 10):
        ground, new = random_ground(seed), 2 + seed % 5
        found, best = chosen(ground, new), optimum(ground, new)
        assert best.proven
        assert best.value == pytest.approx(value_of(ground, best.places.tolist()), rel=1e-6)
        assert found.value >= 0.99 * best.value
        assert found.value <= best.value * (1 + 1e-5)
        assert found.bound >= best.value * (1 - 1e-5)
        assert optimum(ground, new, whole=False).bound >= best.value * (1 - 1e-5)


@pytest.mark.parametrize("seed", range(20))
def test_moves_are_within_a_hundredth_of_the_optimum(seed: int) -> None:
    ground = replace(random_ground(seed + 100), standing=5)
    found, best = chosen(ground, 1, moved=2), optimum(ground, 1, moved=2)
    assert 0.99 * best.value <= found.value <= best.value * (1 + 1e-5)
    assert found.bound >= best.value * (1 - 1e-5)
    assert len(found.removed) <= 2
    assert len(found.new) == 1 + len(found.removed)


@pytest.mark.parametrize("seed", range(0, 40, 4))
def test_the_bound_holds_for_a_poor_choice_too(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Greedy without any swap, on crowded ground: it bounds the optimum, not only itself."""
    monkeypatch.setattr("spatial.trap_choice._improve", lambda *_: None)
    ground = random_ground(seed)
    for moved in (0, 2):
        assert chosen(ground, 5, moved).bound >= optimum(ground, 5, moved).value * (1 - 1e-5)


def best_of_all(ground: Ground, new: int, moved: int) -> float:
    """Return the worth of the best choice by looking at every one."""
    others = range(ground.standing, ground.places)
    values = [
        value_of(ground, places)
        for gone in range(moved + 1)
        for stay in combinations(range(ground.standing), ground.standing - gone)
        for added in range(new + gone + 1)
        for extra in combinations(others, added)
        if not breaches(ground, places := [*stay, *extra])
    ]
    return max(values)


@pytest.mark.parametrize(("seed", "new", "moved"), [(1, 2, 0), (2, 3, 0), (4, 1, 1), (7, 1, 2)])
def test_the_optimum_is_the_best_of_all_choices(seed: int, new: int, moved: int) -> None:
    ground = replace(random_ground(seed, places=11, demand=25), standing=3)
    best = optimum(ground, new, moved)
    assert best.value == pytest.approx(best_of_all(ground, new, moved), rel=1e-6)


@settings(max_examples=40)
@given(seed=st.integers(0, 10_000), new=st.integers(0, 8), moved=st.integers(0, 3))
def test_a_choice_keeps_its_limits_and_adds_up(seed: int, new: int, moved: int) -> None:
    """Counted from scratch by `value_of`, which the search does not use."""
    ground = random_ground(seed, places=20, demand=30)
    found = chosen(ground, new, moved)
    places = taken(ground, found)
    assert breaches(ground, places) == 0
    assert len(found.removed) <= moved
    assert len(found.new) <= new + len(found.removed)
    assert np.all(found.new >= ground.standing)
    assert len(set(found.new.tolist())) == len(found.new)
    assert found.value == pytest.approx(value_of(ground, places))
    now = value_of(ground, list(range(ground.standing)))
    assert found.value_now == pytest.approx(now)
    assert found.value >= now - 1e-9
    assert found.bound >= found.value
    stay = [place for place in places if place < ground.standing]
    assert found.gains.sum() == pytest.approx(found.value - value_of(ground, stay))
    assert np.all(np.diff(found.gains) <= 1e-9)


def test_the_same_ground_gives_the_same_choice() -> None:
    first, second = (chosen(random_ground(3), 5, moved=1) for _ in range(2))
    assert first.new.tolist() == second.new.tolist()
    assert first.removed.tolist() == second.removed.tolist()


def test_a_second_trap_on_the_spot_adds_nothing() -> None:
    """Two traps in one place cover what one covers, and cannot both be new."""
    ground = coverage([[1, 1, 0], [1, 1, 0], [0, 0, 1]], [5.0, 5.0, 0.1], [0, 0, 0])
    assert chosen(ground, 2).new.tolist() == [0, 2]


def test_the_first_quarter_of_a_zone_is_worth_more_than_the_last() -> None:
    """Equal metres: two traps go to two zones, not both to one."""
    ground = coverage([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]], [1.0] * 4, [0, 0, 1, 1])
    assert sorted(chosen(ground, 2).new.tolist()) == [0, 2]


def test_steps_draw_traps_to_undecided_zones() -> None:
    """Nothing to cover: only what a zone's next trap is worth counts, standing ones included."""
    ground = replace(
        coverage([[0], [0], [0], [0]], [0.0], [0], standing=1),
        place_zone=np.array([0, 0, 0, 1]),
        steps=np.array([[9.0, 3.0, 2.0], [4.0, 1.0, 0.0]]),
        demand_zone=np.array([1]),
    )
    found = chosen(ground, 2)
    assert (found.value_now, found.new.tolist(), found.gains.tolist()) == (9.0, [3, 1], [4.0, 3.0])


def test_a_move_that_gains_nothing_is_not_made() -> None:
    ground = coverage([[1, 1], [1, 0]], [1.0, 1.0], [0, 0], standing=1)
    found = chosen(ground, 0, moved=1)
    assert (found.removed.tolist(), found.new.tolist()) == ([], [])


def test_a_place_beside_a_trap_is_free_once_that_trap_moves() -> None:
    close = sparse.csr_array(np.array([[0.0, 1.0], [1.0, 0.0]]))
    ground = replace(coverage([[1, 0], [1, 1]], [1.0, 1.0], [0, 0], 1), too_close=close)
    assert chosen(ground, 1).new.tolist() == []
    found = chosen(ground, 0, moved=1)
    assert (found.removed.tolist(), found.new.tolist()) == ([0], [1])


def test_one_good_place_gives_way_to_two_that_it_keeps_out() -> None:
    """The middle of three is the best one alone, 3 against 2; both ends together are worth 4."""
    close = sparse.csr_array(np.array([[0.0, 1, 0], [1, 0, 1], [0, 1, 0]]))
    ground = coverage(np.eye(3).tolist(), [2.0, 3.0, 2.0], [0, 1, 2])
    found = chosen(replace(ground, too_close=close), 2)
    assert (sorted(found.new.tolist()), found.value) == ([0, 2], 4.0)


def test_nothing_to_choose_from_is_no_error() -> None:
    empty = coverage(np.empty((0, 2)).tolist() or [[0, 0]], [1.0, 1.0], [0, 0], standing=1)
    found = chosen(empty, 3)
    assert (found.new.tolist(), found.value, found.bound) == ([], 0.0, 0.0)
    assert curve(empty).tolist() == []


@pytest.mark.parametrize("seed", range(5))
def test_the_curve_never_rises_faster_than_before_and_each_point_is_a_choice(seed: int) -> None:
    """Without spacing: a place that keeps others out may be followed by a better one."""
    ground = random_ground(seed)
    ground = replace(ground, too_close=sparse.csr_array(ground.too_close.shape, dtype=float))
    found = curve(ground, 8)
    now = value_of(ground, list(range(ground.standing)))
    assert np.all(np.diff(found, n=2) <= 1e-9)
    best = chosen(ground, 8).value - now
    assert (1 - np.exp(-1)) * best <= found[7] <= best + 1e-9


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"weight": np.ones(3)}, "expected weight of shape"),
        ({"weight": np.array([1.0, -1.0])}, "expected weights and steps of at least 0"),
        ({"steps": np.array([[1.0, 2.0]])}, "expected steps that never rise"),
        ({"standing": 3}, "expected numbers of traps from 0 on"),
    ],
)
def test_ground_that_does_not_fit_together_is_refused(
    change: dict[str, object], message: str
) -> None:
    ground = replace(coverage([[1, 0], [0, 1]], [1.0, 1.0], [0, 0]), **change)
    with pytest.raises(ValueError, match=message):
        chosen(ground, 1)


MCLP = (
    25.851657, 47.460886, 37.919622, 63.033408, 32.527519, 53.063333, 26.333046, 50.052976,
    29.733339, 44.774044, 28.779421, 49.526042, 26.972808, 45.915148, 36.050513, 64.580434,
    32.305139, 49.593437, 31.486931, 51.912339,
)  # fmt: skip
"""Weight covered by the best 3, then 6, of 40 places, instance after instance: spopt 0.7.0,
``MCLP.from_cost_matrix(cdist(wanted, places), weight, 12.0, p_facilities=p).solve(CBC)``."""


@pytest.mark.parametrize("seed", range(10))
def test_cover_is_that_of_a_facility_location_library(seed: int) -> None:
    """Maximal covering location (Church & ReVelle 1974): every demand point a zone of its own."""
    random = np.random.default_rng([seed, 7])
    places, wanted = random.uniform(0, 100, (40, 2)), random.uniform(0, 100, (120, 2))
    weight = random.gamma(1.0, 1.0, 120)
    covers = (cdist(places, wanted) <= 12).astype(int)
    ground = coverage(covers.tolist(), weight.tolist(), list(range(120)))
    for number, best in zip((3, 6), MCLP[2 * seed : 2 * seed + 2], strict=True):
        assert optimum(ground, number).value == pytest.approx(best, abs=1e-5)
        assert chosen(ground, number).value >= 0.99 * best
