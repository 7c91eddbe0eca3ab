"""Simulated networks whose truth is known, to measure how often marks are wrong and right.

Irregular places in a square kilometre (60 % uniform, 40 % clumped), 7 to 42 unequal trap-nights,
negative binomial counts; with or without a patch of the traps nearest to a random one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spatial.arrays import AnyArray, BoolArray, FloatArray
from spatial.season_effort import season_effort

NEIGHBOURS = {20: 4, 50: 6, 200: 8}
PATCH_TRAPS = {20: 4, 50: 6, 200: 15}
NIGHTS = (7.0, 14.0, 21.0, 28.0, 42.0)
LINEAR_FOLD = 4.0
SEASON = (0.2, 0.3, 0.5, 0.8, 1.2, 2.0, 3.5, 5.0)
"""How the catch grows from week to week."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """What is simulated.

    Parameters
    ----------
    name
        Shown in the table.
    rate_per_night
        Adults per trap-night outside the patch.
    k
        Negative binomial k of the counts.
    sorted_effort
        True: trap-nights grow from west to east; False: at random.
    linear_share
        Share of traps of a design that catches `LINEAR_FOLD` times as much.
    lost_share
        Share of each trap's weeks that were lost to floods and the like.
    late_corner
        True: the westmost fifth of the traps was only out in the last two weeks of a season whose
        catch grew twenty-five-fold, and effort counts the season.
    fold
        Catch of the patch relative to the rest; 1 is a map without a patch.
    """

    name: str
    rate_per_night: float = 0.3
    k: float = 1.0
    sorted_effort: bool = False
    linear_share: float = 0.0
    lost_share: float = 0.0
    late_corner: bool = False
    fold: float = 1.0

    def with_patch(self, fold: float) -> Scenario:
        """Return the same scenario with a patch."""
        return replace(self, fold=fold)


@dataclass(frozen=True, slots=True)
class Network:
    """One simulated map: distances, design, effort, catch and truth.

    Parameters
    ----------
    distance_m
        Shape (n, n).
    design
        0 or 1, shape (n,).
    nights, counts
        Shape (n,).
    patch
        True for the traps of the planted patch; nobody's on a map without one.
    """

    distance_m: FloatArray
    design: AnyArray
    nights: FloatArray
    counts: FloatArray
    patch: BoolArray

    def beyond(self, neighbours: int) -> BoolArray:
        """Return the traps outside the patch that have no trap of it among their neighbours."""
        order = np.argsort(self.distance_m, axis=1, kind="stable")[:, : neighbours + 1]
        near = np.zeros(self.distance_m.shape, dtype=bool)
        near[np.arange(len(order))[:, None], order] = True
        beside = (near | near.T)[:, self.patch].any(axis=1)
        return np.asarray(~self.patch & ~beside, dtype=bool)


def simulate(scenario: Scenario, traps: int, number: int) -> Network:
    """Return map `number` of a scenario; the same number is the same map."""
    random = np.random.default_rng([traps, number, round(1000 * scenario.rate_per_night)])
    places = _places(random, traps)
    distance_m = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    nights = _nights(random, scenario, places[:, 0])
    design = (random.random(traps) < scenario.linear_share).astype(int)
    patch = np.zeros(traps, dtype=bool)
    middle = random.integers(traps)
    if scenario.fold != 1:
        patch[np.argsort(distance_m[middle])[: PATCH_TRAPS[traps]]] = True
    mean = scenario.rate_per_night * nights * np.where(design == 1, LINEAR_FOLD, 1.0)
    mean = mean * np.where(patch, scenario.fold, 1.0)
    if scenario.late_corner:
        fold = np.where(patch, scenario.fold, 1.0)
        counts, nights = _late(random, scenario, places[:, 0], fold)
        return Network(distance_m, design, nights, counts, patch)
    counts = random.poisson(random.gamma(scenario.k, mean / scenario.k)).astype(float)
    return Network(distance_m, design, nights, counts, patch)


def _places(random: np.random.Generator, traps: int) -> FloatArray:
    clumped = int(0.4 * traps)
    clumps = max(2, traps // 15)
    centres = random.uniform(100, 900, size=(clumps, 2))[random.integers(0, clumps, size=clumped)]
    spread = random.uniform(0, 1000, size=(traps - clumped, 2))
    return np.vstack([spread, centres + random.normal(0, 60, size=(clumped, 2))])


def _late(
    random: np.random.Generator, scenario: Scenario, easting: FloatArray, fold: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return counts and season-weighted effort of a network with latecomers in the west."""
    out = np.full((len(SEASON), len(easting)), 7.0)
    out[:-2, easting < np.quantile(easting, 0.2)] = 0.0
    level = random.gamma(scenario.k, scenario.rate_per_night * fold / scenario.k)
    curve = np.asarray(SEASON) / np.mean(SEASON)
    caught = random.poisson(curve[:, None] * level * out).cumsum(axis=0).astype(float)
    one_design = np.zeros(len(easting), dtype=int)
    return caught[-1], season_effort(caught, out.cumsum(axis=0), one_design)[-1]


def _nights(random: np.random.Generator, scenario: Scenario, easting: FloatArray) -> FloatArray:
    nights = random.choice(np.asarray(NIGHTS), size=len(easting))
    if scenario.sorted_effort:
        ranked = np.empty_like(nights)
        ranked[np.argsort(easting)] = np.sort(nights)
        nights = ranked
    weeks = (nights / 7).astype(int)
    lost = np.asarray(random.binomial(weeks, scenario.lost_share), dtype=float)
    return nights - 7.0 * lost
