"""The exact optimum of a choice of traps, by mixed integer programming: slow, and only on demand.

The model: x = 1 for a place taken; c <= 1 and c <= sum of x over the places that cover a demand
point; a zone's covered weight is split into the stretches of `spatial.trap_ground.CREDIT`, each
worth less than the one before, and its traps into steps likewise, so that a solver fills them in
order by itself (maximal covering: Church & ReVelle 1974, Papers Reg. Sci. Assoc. 32, 101-118).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from spatial.arrays import FloatArray, IntArray, Links
from spatial.trap_ground import CREDIT, Ground


@dataclass(frozen=True, slots=True)
class Optimum:
    """What the solver found.

    Parameters
    ----------
    places
        Places taken, standing traps that stay included, ascending; empty when none was found.
    value
        Their worth; -inf when none was found.
    bound
        No choice is worth more. With `proven`, equal to `value` up to the solver's gap.
    proven
        Whether the search was finished.
    """

    places: IntArray
    value: float
    bound: float
    proven: bool


def optimum(
    ground: Ground, new: int, moved: int = 0, seconds: float = 60.0, *, whole: bool = True
) -> Optimum:
    """Return the best choice of places, or with ``whole=False`` only the bound of its relaxation.

    Parameters
    ----------
    ground, new, moved
        As of `spatial.trap_choice.chosen`.
    seconds
        The solver stops after that long, with what it has. Only then may two runs differ.
    whole
        False lets places be taken in part: quick, and `value` is then no choice of traps.

    Examples
    --------
    >>> from spatial.trap_ground import coverage
    >>> ground = coverage([[1, 1, 0, 0], [0, 0, 1, 0], [1, 0, 0, 0]], [1.0] * 4, [0, 0, 1, 1])
    >>> found = optimum(ground, 2)
    >>> found.places.tolist(), round(found.value, 6), found.proven
    ([0, 1], 3.5, True)
    """
    model = _Model.of(ground)
    rows = [*_cover_rows(ground, model), *_number_rows(ground, model, new, moved)]
    rows += _apart_rows(ground, model)
    integral = np.zeros(model.size, dtype=np.int64)
    integral[: model.places] = int(whole)
    found = milp(
        -model.worth,
        integrality=integral,
        bounds=Bounds(0.0, model.most),
        constraints=rows,
        options={"time_limit": seconds, "mip_rel_gap": 1e-6},
    )
    bound = found.mip_dual_bound if whole and found.mip_dual_bound is not None else found.fun
    if found.x is None:
        return Optimum(np.array([], dtype=np.int64), -np.inf, _negative(bound), proven=False)
    taken = np.flatnonzero(found.x[: model.places] > 0.5).astype(np.int64)
    return Optimum(taken, -float(found.fun), _negative(bound), proven=found.status == 0)


def _negative(bound: float | None) -> float:
    return np.inf if bound is None else -float(bound)


@dataclass(frozen=True, slots=True)
class _Model:
    """Columns: places, demand points, stretches of credit (zone by zone), steps (zone by zone)."""

    places: int
    demand: int
    zones: int
    worth: FloatArray
    most: FloatArray

    @property
    def size(self) -> int:
        return len(self.worth)

    @property
    def credit_at(self) -> int:
        return self.places + self.demand

    @property
    def steps_at(self) -> int:
        return self.credit_at + self.zones * (len(CREDIT) - 1)

    @classmethod
    def of(cls, ground: Ground) -> _Model:
        share, worth = np.diff(np.array(CREDIT), axis=0).T
        slope = np.tile(worth / share, len(ground.steps))
        width = np.outer(ground.zone_weight, share).ravel()
        n, d = ground.covers.shape
        return cls(
            places=n,
            demand=d,
            zones=len(ground.steps),
            worth=np.concatenate([np.zeros(n + d), slope, ground.steps.ravel()]),
            most=np.concatenate([np.ones(n + d), width, np.ones(ground.steps.size)]),
        )

    def row_block(self, rows: int, *blocks: tuple[int, Links]) -> Links:
        """Return rows over all columns from blocks that start at the columns given."""
        placed = []
        at = 0
        for start, block in blocks:
            placed += [sparse.csr_array((rows, start - at)), block]
            at = start + block.shape[1]
        placed.append(sparse.csr_array((rows, self.size - at)))
        return sparse.csr_array(sparse.hstack(placed))


def _cover_rows(ground: Ground, model: _Model) -> list[LinearConstraint]:
    """Nothing is covered without a place; no credit without cover; no step without a trap."""
    d, zones = model.demand, model.zones
    covers = sparse.csr_array(ground.covers.astype(bool).astype(float))
    covered = model.row_block(
        d, (0, sparse.csr_array(-covers.T)), (model.places, sparse.csr_array(sparse.eye_array(d)))
    )
    rows = [LinearConstraint(covered, -np.inf, 0.0)]
    of_zone = sparse.csr_array((ground.weight, (ground.demand_zone, np.arange(d))), (zones, d))
    rows.append(_spent(model, (model.places, of_zone), model.credit_at, len(CREDIT) - 1))
    inside = np.flatnonzero(ground.place_zone >= 0)
    traps = sparse.csr_array(
        (np.ones(len(inside)), (ground.place_zone[inside], inside)), (zones, model.places)
    )
    if ground.steps.shape[1]:
        rows.append(_spent(model, (0, traps), model.steps_at, ground.steps.shape[1]))
    return rows


def _spent(model: _Model, had: tuple[int, Links], spent_at: int, per_zone: int) -> LinearConstraint:
    """Every zone spends at most what it has."""
    spent = sparse.kron(sparse.eye_array(model.zones), np.ones((1, per_zone)))
    table = model.row_block(
        model.zones, (had[0], sparse.csr_array(-had[1])), (spent_at, sparse.csr_array(spent))
    )
    return LinearConstraint(table, -np.inf, 0.0)


def _number_rows(ground: Ground, model: _Model, new: int, moved: int) -> list[LinearConstraint]:
    every = np.zeros((2, model.size))
    every[0, : model.places] = 1.0
    every[1, : ground.standing] = 1.0
    least = [0.0, ground.standing - moved]
    return [LinearConstraint(every, least, [ground.standing + new, ground.standing])]


def _apart_rows(ground: Ground, model: _Model) -> list[LinearConstraint]:
    close = ground.too_close.tocoo()
    first, second = close.coords
    meets = (close.data != 0) & (first < second) & (second >= ground.standing)
    first, second = first[meets], second[meets]
    if not len(first):
        return []
    row = np.arange(len(first))
    table = sparse.csr_array(
        (np.ones(2 * len(row)), (np.tile(row, 2), np.concatenate([first, second]))),
        shape=(len(row), model.size),
    )
    return [LinearConstraint(table, -np.inf, 1.0)]
