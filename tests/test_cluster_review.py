"""Places where cluster tests go wrong unseen, each once seen going wrong here."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from data.settings import MarkSettings
from scripts.bench.simulated import Scenario, simulate
from spatial.clusters import LocalClusters, clusters_by, local_clusters
from spatial.exact import exact_is_cheap
from spatial.global_tests import global_autocorrelation
from spatial.neighbours import Neighbours, nearest_on_foot
from spatial.power import Watched, chance_of_finding
from spatial.season_effort import season_effort
from spatial.windows import windows_on_foot


def graph_of(places: np.ndarray, k: int = 5, cutoff_m: float = 10_000) -> Neighbours:
    between = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    return nearest_on_foot([str(number) for number in range(len(places))], between, k, cutoff_m)


def scattered(size: int, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0, 500, size=(size, 2))


def test_one_catching_trap_has_no_general_g_and_no_p() -> None:
    found = global_autocorrelation(
        [5] + [0] * 19, [7] * 20, graph_of(scattered(20)), permutations=999
    )
    assert np.isnan(found.general_g.value)
    assert np.isnan(found.general_g.p)
    assert found.morans_i.p > 0.1


def test_traps_in_pairs_are_not_testable_rather_than_unremarkable() -> None:
    places = np.repeat(np.arange(10)[:, None] * [1000.0, 0], 2, axis=0)
    places[1::2] += [5.0, 0]
    counts = [60, 60, *([3, 2, 4] * 6)]
    found = local_clusters(counts, [7] * 20, graph_of(places, cutoff_m=100), permutations=999)
    assert set(found.mark) == {"not_testable"}
    assert set(found.reason) == {"few_neighbours"}
    assert np.isnan(found.p_patch).all()


@pytest.mark.parametrize("turn", [0.1, 0.5, 1.0])
def test_turning_a_regular_grid_changes_no_neighbour_and_no_mark(turn: float) -> None:
    grid = np.array([(x, y) for x in range(7) for y in range(7)], dtype=float) * 10
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    one, other = graph_of(grid), graph_of(grid @ rotation + [0.1, 4_500_000])
    assert (one.adjacency == other.adjacency).all()
    counts = np.random.default_rng(1).negative_binomial(1, 0.3, size=49) + 8 * (grid.sum(1) < 40)
    marks = [local_clusters(counts, [7] * 49, each, permutations=499).mark for each in (one, other)]
    assert (marks[0] == marks[1]).all()


def marked_maps() -> list[LocalClusters]:
    """Return 60 maps with a patch and a trap with far too many, k .3."""
    found = []
    for number in range(200, 260):
        network = simulate(Scenario("x", k=0.3, fold=5.0), 50, number)
        counts = network.counts.copy()
        counts[number % 50] += 200
        graph = nearest_on_foot([str(trap) for trap in range(50)], network.distance_m, 6, 10_000)
        found.append(local_clusters(counts, network.nights, graph, permutations=499))
    return found


def test_every_mark_has_its_p_and_its_direction() -> None:
    kinds = set()
    for found in marked_maps():
        marked = ~np.isin(found.mark, ["none", "not_testable"])
        kinds |= set(found.mark[marked])
        assert (np.minimum(found.p_patch, found.p_lone)[marked] <= 0.05).all()
        assert (found.direction[found.state == "busy"] == 1).all()
        assert (found.direction[found.state == "quiet"] == -1).all()
    assert "busy_patch" in kinds


def test_the_global_test_keeps_to_the_smallest_network_of_the_settings() -> None:
    graph = graph_of(scattered(17))
    counts = np.random.default_rng(2).negative_binomial(1, 0.3, size=17)
    assert global_autocorrelation(counts, [7] * 17, graph, min_traps=30).reason == "few_traps"
    assert not global_autocorrelation(counts, [7] * 17, graph, min_traps=5).reason


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"counts": [-1] * 20}, "counts from 0 to 1e.12 .* found -1 at position 0"),
        ({"counts": [1e300] * 20}, "counts from 0 to 1e.12"),
        ({"exposure": [-7] * 20}, "exposure from 0 to 1e.12 .* found -7"),
        ({"exposure": [7] * 19}, r"graph's 20 traps; found shapes \(20,\), \(19,\)"),
        ({"exposure": 7}, r"found shapes \(20,\), \(\)"),
        ({"alpha": 2}, "alpha between 0 and 1, found 2"),
        ({"permutations": 0}, "at least 99 permutations, found 0"),
    ],
)
def test_impossible_arguments_are_refused(changed: dict[str, Any], message: str) -> None:
    usual: dict[str, Any] = {
        "counts": [1] * 20,
        "exposure": [7] * 20,
        "graph": graph_of(scattered(20)),
    }
    with pytest.raises(ValueError, match=message):
        local_clusters(**{**usual, **changed})


def test_huge_counts_are_drawn_and_not_worked_out() -> None:
    near = np.ones((1300, 1300), dtype=bool)
    assert not exact_is_cheap(np.full(20, 1e11), np.eye(20, k=1, dtype=bool))
    assert not exact_is_cheap(np.ones(1300), near & (np.arange(1300) < 650))


def test_latecomers_to_the_best_weeks_are_no_patch() -> None:
    """120 maps of 50 traps, a fifth out in the last two weeks: any mark in at most .05 + 2 s.e.

    With raw nights the same maps carry a mark four to eight times as often.
    """
    marked = []
    for number in range(120):
        network = simulate(Scenario("late", late_corner=True, k=2.0), 50, number)
        graph = nearest_on_foot([str(trap) for trap in range(50)], network.distance_m, 6, 10_000)
        rules = MarkSettings(permutations=499)
        found = clusters_by(rules, network.counts, network.nights, graph, seed=number)
        marked.append(bool((~np.isin(found.mark, ["none", "not_testable"])).any()))
    assert np.mean(marked) <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / 120)


def test_traps_of_the_same_weeks_keep_equal_effort() -> None:
    adults = np.array([[1.0, 3, 0], [4, 6, 1], [4, 9, 8]])
    nights = np.array([[7.0, 7, 7], [14, 14, 14], [21, 21, 21]])
    effort = season_effort(adults, nights, np.array(["cup", "cup", "linear"]))
    assert np.ptp(effort, axis=1).max() == pytest.approx(0)
    nothing = season_effort(np.zeros((3, 3)), nights, np.array(["cup", "cup", "linear"]))
    assert nothing == pytest.approx(nights)


def test_patches_are_planted_at_every_trap_of_a_grid() -> None:
    grid = np.array([(x, y) for x in range(8) for y in range(8)], dtype=float) * 10
    between = np.hypot(*(grid[:, None] - grid[None]).transpose(2, 0, 1))
    network = Watched(
        between, windows_on_foot(between, 5, 400), np.full(64, 28.0), np.zeros(64),
        np.full(64, 0.3), k=2.0, cutoff_m=400,
    )  # fmt: skip
    assert chance_of_finding(network, 4, 8.0, maps=40).share > 0.5
