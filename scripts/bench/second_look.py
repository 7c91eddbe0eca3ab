"""What the second look does where a hedge, and not a patch, decides who catches much.

Run as ``python -m scripts.bench.second_look [--maps 300] [--permutations 499]``. Traps in a square
kilometre, a third of them along a hedge on its western edge, where the catch falls off with the
distance to the hedge; two uses of the ground, of which one catches twice as much. Prints the share
of maps without a patch that carry a busy mark, plain and for its place, and the share in which a
planted five-fold or ten-fold patch away from the hedge is found.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from data.settings import MarkSettings
from scripts.bench.simulated import NIGHTS
from spatial.arrays import BoolArray, FloatArray, NameArray
from spatial.clusters import clusters_by
from spatial.neighbours import nearest_on_foot
from spatial.placement_effect import Places, placement_effect

SIZES = (50, 100, 150)
FOLDS = (1.0, 5.0, 10.0)
FALLS: Mapping[str, float] = {"power": 0.5, "none": 0.0}
CUTOFF_M = 400.0
RATE_PER_NIGHT = 0.3


@dataclass(frozen=True, slots=True)
class Course:
    """One simulated network with a hedge.

    Parameters
    ----------
    distance_m
        Shape (n, n).
    places
        What is known of the places.
    nights, counts
        Shape (n,).
    patch
        Traps of the planted patch.
    """

    distance_m: FloatArray
    places: Places
    nights: FloatArray
    counts: FloatArray
    patch: BoolArray


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the table to be made."""

    traps: int
    fall: str
    fold: float


def simulate(row: Row, number: int) -> Course:
    """Return map `number` of a row; the same number is the same map."""
    n = row.traps
    random = np.random.default_rng([n, number, round(row.fold), len(row.fall)])
    east = np.where(np.arange(n) < n // 3, random.gamma(1.5, 15.0, n), random.uniform(0, 1000, n))
    points = np.column_stack([east, random.uniform(0, 1000, n)])
    between = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    use = np.where(random.random(n) < 0.4, "rough", "fairway").astype(object)
    patch = np.zeros(n, dtype=bool)
    if row.fold != 1:
        middle = random.choice(np.flatnonzero(east > 250))
        patch[np.argsort(between[middle])[: max(6, n // 12)]] = True
    nights = random.choice(np.asarray(NIGHTS), size=n)
    fall = (1 + np.minimum(east, CUTOFF_M)) ** -FALLS[row.fall]
    mean = nights * RATE_PER_NIGHT * fall / fall.mean() * np.where(use == "rough", 2.0, 1.0)
    mean = mean * np.where(patch, row.fold, 1.0)
    counts = random.poisson(random.gamma(1.0, mean)).astype(float)
    return Course(between, Places(east, use, _zones(points), _cups(n)), nights, counts, patch)


def _zones(points: FloatArray) -> NameArray:
    return np.array([f"{x // 200:.0f}-{y // 200:.0f}" for x, y in points], dtype=object)


def _cups(traps: int) -> NameArray:
    return np.full(traps, "cup", dtype=object)


def judged(row: Row, permutations: int, number: int) -> tuple[bool, bool]:
    """Return whether the patch (or, without one, anything) is busy: plain, and for its place."""
    course = simulate(row, number)
    rules = MarkSettings(permutations=permutations, neighbours=6)
    names = [str(trap) for trap in range(row.traps)]
    graph = nearest_on_foot(names, course.distance_m, rules.neighbours, 10_000)
    effect = placement_effect(course.counts, course.nights, course.places, cutoff_m=CUTOFF_M)
    wanted = course.patch if row.fold != 1 else np.ones(row.traps, dtype=bool)
    plain = clusters_by(rules, course.counts, course.nights, graph, seed=number)
    place = clusters_by(rules, course.counts, effect.expected, graph, seed=number)
    first, second = (bool((found.state[wanted] == "busy").any()) for found in (plain, place))
    return first, second


def main(arguments: list[str]) -> None:
    """Print the table row by row."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--maps", type=int, default=300)
    parser.add_argument("--permutations", type=int, default=499)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args(arguments)
    print("traps fall   fold  plain  place")
    with ProcessPoolExecutor(options.workers) as pool:
        for traps in SIZES:
            for fall in FALLS:
                for fold in FOLDS:
                    row = Row(traps, fall, fold)
                    found = pool.map(
                        partial(judged, row, options.permutations),
                        range(options.maps),
                        chunksize=20,
                    )
                    plain, place = np.mean(np.asarray(list(found)), axis=0)
                    print(f"{traps:>5} {fall:<6} {fold:>4g} {plain:6.3f} {place:6.3f}")
                    sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
