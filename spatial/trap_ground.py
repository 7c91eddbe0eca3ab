"""What a set of traps is worth: demand that they cover, and what each zone's traps tell.

Both parts are in the same unit (the caller's, say hectares):

* **cover**: demand points (metres of refuge-facing edge, parts of a zone's area), each with a
  weight and covered by any trap in reach of it. What is covered of a zone counts with diminishing
  returns, `CREDIT`: the first quarter of a zone's demand counts 1.75 times, the last one a quarter.
* **steps**: what the 1st, 2nd, ... trap in a zone is worth by itself, never rising, say from
  `spatial.trap_gain`.

Both are monotone and submodular in the set of traps: a trap adds the less, the more there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from spatial.arrays import FloatArray, IntArray, Links

CREDIT = ((0.0, 0.0), (0.25, 0.4375), (0.5, 0.75), (0.75, 0.9375), (1.0, 1.0))
"""Share of a zone's demand that is covered -> share of its worth: 2 s - s**2 at quarters, straight
in between (common practice, no source)."""

_SHARE, _WORTH = (np.array(each) for each in zip(*CREDIT, strict=True))


@dataclass(frozen=True, slots=True)
class Ground:
    """Places, the traps that stand first, and what they are for.

    Parameters
    ----------
    covers
        Which of d demand points every one of n places covers, shape (n, d).
    weight
        Of every demand point, at least 0, shape (d,).
    demand_zone
        Zone of every demand point, from 0, shape (d,).
    place_zone
        Zone of every place, -1 for none, shape (n,).
    steps
        Worth of a zone's 1st, 2nd, ... trap, standing ones included, shape (zones, t), each row
        not rising, at least 0; further traps are worth nothing. Shape (zones, 0) for none.
    standing
        The first so many places are traps that stand already.
    too_close
        Which places may not be taken together, symmetric, shape (n, n), diagonal ignored. Standing
        traps are never too close to each other.
    """

    covers: Links
    weight: FloatArray
    demand_zone: IntArray
    place_zone: IntArray
    steps: FloatArray
    standing: int
    too_close: Links

    @property
    def places(self) -> int:
        """Number of places, standing traps included."""
        return int(self.covers.shape[0])

    @property
    def zone_weight(self) -> FloatArray:
        """Demand of every zone, shape (zones,)."""
        found = np.bincount(self.demand_zone, self.weight, minlength=len(self.steps))
        return found.astype(float)


def coverage(
    covers: Sequence[Sequence[int]],
    weight: Sequence[float],
    demand_zone: Sequence[int],
    standing: int = 0,
) -> Ground:
    """Return a ground of cover alone, from small lists: for examples and tests."""
    table = sparse.csr_array(np.asarray(covers, dtype=float))
    zones = max(demand_zone, default=-1) + 1
    return Ground(
        covers=table,
        weight=np.asarray(weight, dtype=float),
        demand_zone=np.asarray(demand_zone, dtype=np.int64),
        place_zone=np.full(table.shape[0], -1, dtype=np.int64),
        steps=np.zeros((zones, 0)),
        standing=standing,
        too_close=sparse.csr_array((table.shape[0], table.shape[0]), dtype=float),
    )


def value_of(ground: Ground, places: Sequence[int] | IntArray) -> float:
    """Return the worth of a set of places, counted from scratch.

    Examples
    --------
    >>> value_of(coverage([[1, 1, 0, 0], [0, 0, 1, 0]], [1.0] * 4, [0, 0, 1, 1]), [1])
    1.5
    """
    taken = np.zeros(ground.places)
    taken[np.asarray(places, dtype=np.int64)] = 1.0
    times: FloatArray = np.asarray(ground.covers.astype(bool).T @ taken, dtype=float)
    covered = times > 0
    zones = len(ground.steps)
    reached = np.bincount(ground.demand_zone[covered], ground.weight[covered], minlength=zones)
    zone = ground.place_zone[taken > 0]
    traps = np.bincount(zone[zone >= 0], minlength=zones)
    total = (
        credit(reached.astype(float), ground.zone_weight)
        + cumulated(ground.steps)[np.arange(zones), np.minimum(traps, ground.steps.shape[1])]
    )
    return float(total.sum())


def credit(covered: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the worth of covered demand of zones with that much demand in all; see `CREDIT`.

    Examples
    --------
    >>> credit(np.array([5.0, 0.0]), np.array([10.0, 0.0])).tolist()
    [7.5, 0.0]
    """
    whole = np.where(weight > 0, weight, 1.0)
    return np.asarray(weight * np.interp(covered / whole, _SHARE, _WORTH), dtype=float)


def cumulated(steps: FloatArray) -> FloatArray:
    """Return what 0, 1, 2, ... traps of every zone are worth together.

    Examples
    --------
    >>> cumulated(np.array([[3.0, 1.0]])).tolist()
    [[0.0, 3.0, 4.0]]
    """
    return np.hstack([np.zeros((len(steps), 1)), np.cumsum(steps, axis=1)])


def check_ground(ground: Ground, new: int, moved: int) -> None:
    """Refuse arrays that do not fit together, and numbers of traps below 0.

    Raises
    ------
    ValueError
        Naming what was expected and found.

    Examples
    --------
    >>> check_ground(coverage([[1]], [1.0], [0]), -1, 0)
    Traceback (most recent call last):
    ...
    ValueError: expected numbers of traps from 0 on, found new -1, moved 0
    """
    n, d = ground.covers.shape
    shapes = {
        "weight": (ground.weight.shape, (d,)),
        "demand_zone": (ground.demand_zone.shape, (d,)),
        "place_zone": (ground.place_zone.shape, (n,)),
        "too_close": (ground.too_close.shape, (n, n)),
    }
    for name, (found, expected) in shapes.items():
        if found != expected:
            message = f"expected {name} of shape {expected} beside covers {(n, d)}, found {found}"
            raise ValueError(message)
    if np.any(ground.weight < 0) or np.any(ground.steps < 0):
        raise ValueError("expected weights and steps of at least 0, found one below")
    if np.any(np.diff(ground.steps, axis=1) > 1e-9):
        message = "expected steps that never rise, found a rise: use spatial.trap_gain.never_rising"
        raise ValueError(message)
    if new < 0 or moved < 0 or not 0 <= ground.standing <= n:
        message = f"expected numbers of traps from 0 on, found new {new}, moved {moved}"
        raise ValueError(message)
