"""The places taken so far, what they cover, and what every other place would add."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from spatial.arrays import BoolArray, FloatArray, IntArray, Links
from spatial.trap_ground import Ground, credit, cumulated


@dataclass(frozen=True, slots=True)
class _Slots:
    """Entries of the cover table, grouped by place and zone: most places cover one or two zones.

    `entry_slot` and `entry_demand` have one item per entry; `slot_place` and `slot_zone` one per
    slot, sorted by place.
    """

    entry_slot: IntArray
    entry_demand: IntArray
    slot_place: IntArray
    slot_zone: IntArray

    @classmethod
    def of(cls, ground: Ground) -> _Slots:
        table = ground.covers.tocoo()
        real = table.data != 0
        place, demand = table.coords[0][real], table.coords[1][real]
        key = place.astype(np.int64) * len(ground.steps) + ground.demand_zone[demand]
        keys, slot = np.unique(key, return_inverse=True)
        slot_place, slot_zone = np.divmod(keys, max(1, len(ground.steps)))
        return cls(slot.astype(np.int64), demand.astype(np.int64), slot_place, slot_zone)


class Tally:
    """Places taken so far, and what they cover; changes in place, inside one search only.

    Examples
    --------
    >>> from spatial.trap_ground import coverage
    >>> tally = Tally.standing(coverage([[1, 0], [1, 1]], [1.0, 1.0], [0, 0], standing=1))
    >>> tally.value(), tally.gains().tolist()
    (1.5, [0.0, 0.5])
    """

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self._slots = _Slots.of(ground)
        self._weight = ground.zone_weight
        self.taken: BoolArray = np.zeros(ground.places, dtype=bool)
        self._times = np.zeros(len(ground.weight), dtype=np.int64)
        self._traps = np.zeros(len(ground.steps), dtype=np.int64)
        self._in_the_way = np.zeros(ground.places, dtype=np.int64)
        self._too_close = _for_new(ground)
        # Beyond the last step a trap is worth nothing by itself.
        self._cumulated = cumulated(ground.steps)
        self._steps = np.hstack([ground.steps, np.zeros((len(ground.steps), 1))])

    @classmethod
    def standing(cls, ground: Ground) -> Tally:
        """Return the tally of the traps that stand."""
        tally = cls(ground)
        for place in range(ground.standing):
            tally.add(place)
        return tally

    def add(self, place: int, times: int = 1) -> None:
        """Take a place, or leave it with ``times=-1``."""
        self.taken[place] = times > 0
        self._times[linked(self.ground.covers, place)] += times
        self._in_the_way[linked(self._too_close, place)] += times
        if self.ground.place_zone[place] >= 0:
            self._traps[self.ground.place_zone[place]] += times

    def losses(self, places: IntArray) -> FloatArray:
        """Return what would be lost without each of some places taken."""
        value, losses = self.value(), []
        for place in places:
            self.leave(int(place))
            losses.append(value - self.value())
            self.add(int(place))
        return np.array(losses, dtype=float)

    def become(self, places: IntArray) -> None:
        """Take exactly these places."""
        wanted = np.zeros(self.ground.places, dtype=bool)
        wanted[places] = True
        for place in np.flatnonzero(self.taken & ~wanted):
            self.leave(int(place))
        for place in np.flatnonzero(wanted & ~self.taken):
            self.add(int(place))

    def kept_out(self, gains: FloatArray) -> FloatArray:
        """Return how much of others' gains every place would keep out, in its own gain or more."""
        others = np.asarray(self._too_close @ gains, dtype=float)
        least = 1e-12 + 1e-3 * float(gains.max())
        return np.asarray(others / np.maximum(gains, least), dtype=float)

    def in_the_way_of(self, place: int) -> IntArray:
        """Return the places taken that are too close to a place."""
        close = linked(self._too_close, place)
        return close[self.taken[close]]

    def leave(self, place: int) -> None:
        """Leave a place that was taken."""
        self.add(place, -1)

    def value(self) -> float:
        """Return the worth of the places taken."""
        cover = credit(self._reached(), self._weight).sum()
        rows = np.arange(len(self._traps))
        steps = np.minimum(self._traps, self.ground.steps.shape[1])
        return float(cover + self._cumulated[rows, steps].sum())

    def _reached(self) -> FloatArray:
        covered = self._times > 0
        zone, weight = self.ground.demand_zone[covered], self.ground.weight[covered]
        return np.bincount(zone, weight, minlength=len(self._weight)).astype(float)

    def gains(self) -> FloatArray:
        """Return what every place would add, allowed or not; 0 where it is taken."""
        open_weight = np.where(self._times == 0, self.ground.weight, 0.0)
        slots = self._slots
        reached = self._reached()
        more = np.bincount(
            slots.entry_slot, open_weight[slots.entry_demand], minlength=len(slots.slot_zone)
        )
        before, whole = reached[slots.slot_zone], self._weight[slots.slot_zone]
        added = credit(before + more, whole) - credit(before, whole)
        gains = np.bincount(slots.slot_place, added, minlength=self.ground.places)
        return np.where(self.taken, 0.0, gains + self._step_gains())

    def allowed_gains(self) -> FloatArray:
        """Return what every place would add; -inf for those that may not be taken."""
        return np.where(self.taken | (self._in_the_way > 0), -np.inf, self.gains())

    def _step_gains(self) -> FloatArray:
        if not self.ground.steps.size:
            return np.zeros(self.ground.places)
        zone = self.ground.place_zone
        step = np.minimum(self._traps[zone], self.ground.steps.shape[1])
        return np.where(zone >= 0, self._steps[zone, step], 0.0)

    def new(self) -> list[int]:
        """Return the places taken that are no standing traps."""
        return [int(p) for p in np.flatnonzero(self.taken) if p >= self.ground.standing]

    def removed(self) -> list[int]:
        """Return the standing traps that are given up."""
        return [int(p) for p in np.flatnonzero(~self.taken[: self.ground.standing])]


def _for_new(ground: Ground) -> Links:
    """Return which places are too close, but for standing traps among each other."""
    pairs = ground.too_close.tocoo()
    first, second = pairs.coords
    counts = (pairs.data != 0) & (np.maximum(first, second) >= ground.standing) & (first != second)
    cells = (np.ones(int(counts.sum())), (first[counts], second[counts]))
    return sparse.csr_array(cells, shape=(ground.places, ground.places))


def linked(table: Links, place: int) -> IntArray:
    """Return the columns that a row of the table links to."""
    start, end = table.indptr[place], table.indptr[place + 1]
    return np.asarray(table.indices[start:end][table.data[start:end] != 0], dtype=np.int64)
