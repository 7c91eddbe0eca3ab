"""How good and how quick the choice of traps is, beside the exact optimum.

Run as ``python -m scripts.bench.trap_choice [--help]``. Two tables:

* small instances, as those of the tests: the worst and the mean gap between what `chosen` finds and
  the optimum of `scipy.optimize.milp`, with new traps only and with moves;
* one large instance: candidates in clumps along edges, demand points along edges and inside zones,
  reach 15 m, spacing 10 m, zones with steps. Seconds (median of the runs) for the choice alone, the
  bound printed with it, and, with ``--seconds``, the bound of milp's relaxation or its optimum.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from dataclasses import replace

import numpy as np
from scipy import sparse
from scipy.spatial import KDTree

from spatial.arrays import FloatArray, Links
from spatial.trap_choice import Choice, chosen, curve
from spatial.trap_choice_bound import optimum
from spatial.trap_ground import Ground

REACH_M = 15.0
SPACING_M = 10.0
ZONES = 40
SMALL_SIDE_M = 100.0
LARGE_SIDE_M = 450.0


def near(first: FloatArray, second: FloatArray, within_m: float) -> Links:
    """Return which pairs are within a distance, shape (n, m)."""
    pairs = KDTree(first).sparse_distance_matrix(KDTree(second), within_m, output_type="ndarray")
    cells = (np.ones(len(pairs)), (pairs["i"], pairs["j"]))
    return sparse.csr_array(cells, shape=(len(first), len(second)))


def along_edges(random: np.random.Generator, count: int, side_m: float) -> FloatArray:
    """Return places along random straight edges of up to a fifth of the side."""
    edges = max(2, count // 25)
    start, bearing = random.uniform(0, side_m, (edges, 2)), random.uniform(0, 2 * np.pi, edges)
    number = random.integers(0, edges, count)
    along = random.uniform(0, side_m / 5, count)[:, None]
    step = np.column_stack([np.sin(bearing), np.cos(bearing)])
    return np.asarray(start[number] + along * step[number], dtype=float)


def ground(seed: int, places: int, demand: int, standing: int, side_m: float) -> Ground:
    """Return a random ground: half the demand along edges, half spread."""
    random = np.random.default_rng([seed, places, demand])
    zones = ZONES if places > 100 else 5
    where = along_edges(random, places, side_m)
    edge = along_edges(random, demand // 2, side_m)
    wanted = np.vstack([edge, random.uniform(0, side_m, (demand - len(edge), 2))])
    centres = KDTree(random.uniform(0, side_m, (zones, 2)))
    steps = np.sort(random.gamma(1.0, 4.0, (zones, 6)), axis=1)[:, ::-1]
    return Ground(
        covers=near(where, wanted, REACH_M),
        weight=random.gamma(1.0, 1.0, demand),
        demand_zone=np.asarray(centres.query(wanted)[1], dtype=np.int64),
        place_zone=np.asarray(centres.query(where)[1], dtype=np.int64),
        steps=np.asarray(steps, dtype=float),
        standing=standing,
        too_close=near(where, where, SPACING_M),
    )


def gap(found: Choice, best: float) -> float:
    """Return by what share of the optimum a choice falls short."""
    return max(0.0, 1 - found.value / best)


def small(instances: int) -> None:
    """Print the gaps of small instances."""
    for moved in (0, 2):
        gaps, bounds = [], []
        for seed in range(instances):
            site = ground(seed, places=30, demand=60, standing=seed % 6, side_m=SMALL_SIDE_M)
            found, best = chosen(site, 2 + seed % 5, moved), optimum(site, 2 + seed % 5, moved)
            gaps.append(gap(found, best.value))
            bounds.append(found.bound / best.value - 1)
        beyond = sum(each > 0.01 for each in gaps)
        print(
            f"{instances} small instances, {moved} moves: worst gap {max(gaps):.2%}, "
            f"mean {statistics.mean(gaps):.3%}, {beyond} over 1 %; "
            f"own bound above the optimum by {statistics.mean(bounds):.1%} on average"
        )


def timed(site: Ground, new: int, moved: int, runs: int) -> tuple[str, Choice]:
    """Return the median seconds of the runs, by the clock and of the processor; and the choice."""
    clock, processor = [], []
    for _ in range(runs):
        start = time.perf_counter(), time.process_time()
        found = chosen(site, new, moved)
        clock.append(time.perf_counter() - start[0])
        processor.append(time.process_time() - start[1])
    return f"{statistics.median(clock):.2f} s ({statistics.median(processor):.2f} s cpu)", found


def large(options: argparse.Namespace) -> None:
    """Print time and bounds of one large instance."""
    site = ground(1, options.places, options.demand, options.standing, LARGE_SIDE_M)
    none = replace(site, standing=0)
    print(f"{options.places} places x {options.demand} demand points, {site.covers.nnz} pairs")
    cases = (("no trap stands", none, 0), (f"{options.standing} stand", site, 0))
    for name, each, moved in (*cases, (f"{options.standing} stand, 3 moves", site, 3)):
        seconds, found = timed(each, options.new, moved, options.runs)
        short = 1 - found.value / found.bound
        print(f"  {name}, {options.new} new: {seconds}; at most {short:.1%} below the best")
        if options.seconds > 0:
            best = optimum(each, options.new, moved, options.seconds)
            proven = "optimum" if best.proven else f"bound after {options.seconds:g} s"
            print(f"    below milp's {proven}: {1 - found.value / best.bound:.2%}")
    start = time.perf_counter()
    curve(site, 20)
    print(f"  curve of the next 20: {time.perf_counter() - start:.2f} s")


def main(arguments: list[str]) -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--instances", type=int, default=200)
    parser.add_argument("--places", type=int, default=2_000)
    parser.add_argument("--demand", type=int, default=5_000)
    parser.add_argument("--new", type=int, default=10)
    parser.add_argument("--standing", type=int, default=60)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--seconds", type=float, default=0.0, help="for milp on the large instance")
    options = parser.parse_args(arguments)
    small(options.instances)
    large(options)


if __name__ == "__main__":
    main(sys.argv[1:])
