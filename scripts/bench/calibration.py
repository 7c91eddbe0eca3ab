"""How often marks are wrong on maps without clustering, and how often they find a real patch.

Run as ``python -m scripts.bench.calibration [--maps 400] [--permutations 999] [--only snoutline]``.
Prints, for every size of network, scenario and recipe:

* error: share of maps without a patch that carry any mark (busy or quiet), with its limit
  .05 + 2 standard errors;
* three-fold and five-fold patch: hit (share of maps with a trap of the patch marked busy), share
  (of the patch's traps marked busy, over all maps), beyond (share of maps with a busy mark on a
  trap that is neither in the patch nor has a trap of it among its neighbours) and beside (share of
  maps with a busy mark on any trap outside the patch).

`beyond` is what is called a false mark: the neighbourhood of a trap beside the patch does catch
more, since it holds part of the patch.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from scripts.bench.recipes import RECIPES
from scripts.bench.simulated import NEIGHBOURS, Scenario, simulate

SCENARIOS = (
    Scenario("effort at random"),
    Scenario("effort sorted west to east", sorted_effort=True),
    Scenario("few catches (.03 a night)", rate_per_night=0.03),
    Scenario("few catches, effort sorted", rate_per_night=0.03, sorted_effort=True),
    Scenario("two designs", linear_share=0.3),
    Scenario("a third of the visits lost", lost_share=0.33),
    Scenario("late traps in a corner", late_corner=True, k=2.0),
)
FOLDS = (3.0, 5.0)


@dataclass(frozen=True, slots=True)
class Cell:
    """One row of the table to be made."""

    traps: int
    scenario: Scenario
    recipe: str
    maps: int
    permutations: int


@dataclass(frozen=True, slots=True)
class Power:
    """What a recipe did with planted patches: shares of maps."""

    hit: float
    share: float
    beyond: float
    beside: float


def main(arguments: list[str]) -> None:
    """Run all cells and print the table row by row."""
    options = _options(arguments)
    print(f"{options.maps} maps a cell, {options.permutations} permutations", flush=True)
    print(
        f"{'traps':>5} {'scenario':<27} {'recipe':<24} {'error':>6} {'limit':>6}"
        + "".join(
            f" | {fold:g}x {'hit':>5} {'share':>6} {'beyond':>6} {'beside':>6}" for fold in FOLDS
        )
    )
    with ProcessPoolExecutor(options.workers) as pool:
        for line in pool.map(_line, _cells(options)):
            print(line, flush=True)


def _options(arguments: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--maps", type=int, default=400)
    parser.add_argument("--permutations", type=int, default=999)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", default="", help="one recipe by name; all when not given")
    parser.add_argument("--traps", type=int, choices=sorted(NEIGHBOURS), help="one size only")
    return parser.parse_args(arguments)


def _cells(options: argparse.Namespace) -> Iterator[Cell]:
    recipes = [name for name in RECIPES if options.only in ("", name)]
    for traps in [options.traps] if options.traps else sorted(NEIGHBOURS):
        for scenario in SCENARIOS:
            for recipe in recipes:
                yield Cell(traps, scenario, recipe, options.maps, options.permutations)


def _line(cell: Cell) -> str:
    error = _error(cell)
    limit = 0.05 + 2 * (0.05 * 0.95 / cell.maps) ** 0.5
    power = [_power(cell, fold) for fold in FOLDS]
    return (
        f"{cell.traps:>5} {cell.scenario.name:<27} {cell.recipe:<24} {error:6.3f} {limit:6.3f}"
        + "".join(
            f" |    {one.hit:5.2f} {one.share:6.2f} {one.beyond:6.3f} {one.beside:6.3f}"
            for one in power
        )
    )


def _error(cell: Cell) -> float:
    marked = []
    for number in range(cell.maps):
        network = simulate(cell.scenario, cell.traps, number)
        found = RECIPES[cell.recipe](network, cell.permutations, number)
        marked.append(bool((found.busy | found.quiet).any()))
    return float(np.mean(marked))


def _power(cell: Cell, fold: float) -> Power:
    rows = []
    scenario = cell.scenario.with_patch(fold)
    for number in range(cell.maps):
        network = simulate(scenario, cell.traps, number)
        busy = RECIPES[cell.recipe](network, cell.permutations, number).busy
        beyond = network.beyond(NEIGHBOURS[cell.traps])
        inside = busy & network.patch
        rows.append(
            (
                inside.any(),
                inside.sum() / network.patch.sum(),
                (busy & beyond).any(),
                (busy & ~network.patch).any(),
            )
        )
    return Power(*np.mean(np.asarray(rows, dtype=float), axis=0))


if __name__ == "__main__":
    main(sys.argv[1:])
