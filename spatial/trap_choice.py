"""Which of many candidate places to take, and which traps to move, so that a few do the most.

The worth of a set of traps (`spatial.trap_ground`) is submodular, so taking the best place again
and again (greedy) reaches at least 1 - 1/e of the optimum where nothing but the number limits the
choice (Nemhauser, Wolsey & Fisher 1978, Math. Program. 14, 265-294). Swaps of one place for
another, and places taken at the cost of those too close to them, then close most of what is left.
What the best choice can be worth at most comes with the answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spatial.arrays import FloatArray, IntArray
from spatial.trap_ground import Ground, check_ground, value_of
from spatial.trap_tally import Tally

LEAST_GAIN = 1e-9
"""Swaps that gain less, relative to the value, are left."""

MOST_PUSHES = 100
"""Places, the most promising first, that are tried at the cost of those in their way."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Places to take and traps to take up.

    Parameters
    ----------
    new
        Places, best first: each adds most to the ones before it.
    gains
        What each adds to the traps that stay and the places before it; same shape.
    removed
        Standing traps to take up, ascending. `new` holds their new places too.
    value, value_now
        Worth of all traps after and before.
    bound
        No choice within the same limits is worth more.
    """

    new: IntArray
    gains: FloatArray
    removed: IntArray
    value: float
    value_now: float
    bound: float


def chosen(ground: Ground, new: int, moved: int = 0) -> Choice:
    """Return where to put new traps, and which standing ones to move.

    Parameters
    ----------
    ground
        Places and demand.
    new
        Traps to add; fewer are added where too few places are left.
    moved
        Most standing traps to move; a move that gains nothing is not made.

    Raises
    ------
    ValueError
        If the arrays of `ground` do not fit together, or `new` or `moved` is below 0.

    Examples
    --------
    Two zones with two metres of edge each. The first place covers all of the first zone, the second
    half of the second, the third only half of the first:

    >>> from spatial.trap_ground import coverage
    >>> ground = coverage([[1, 1, 0, 0], [0, 0, 1, 0], [1, 0, 0, 0]], [1.0] * 4, [0, 0, 1, 1])
    >>> found = chosen(ground, 2)
    >>> found.new.tolist(), found.gains.tolist(), found.value
    ([0, 1], [2.0, 1.5], 3.5)

    The third one stands already; with one move it goes to the first place:

    >>> standing = coverage([[1, 0, 0, 0], [1, 1, 0, 0], [0, 0, 1, 0]], [1.0] * 4, [0, 0, 1, 1], 1)
    >>> found = chosen(standing, 0, moved=1)
    >>> found.removed.tolist(), found.new.tolist(), found.value_now, found.value
    ([0], [1], 1.5, 2.0)
    """
    check_ground(ground, new, moved)
    tally = Tally.standing(ground)
    value_now, stands = tally.value(), np.flatnonzero(tally.taken)
    room = _Room(ground.standing + new, min(moved, ground.standing))
    bound, best = _bound(tally, room), stands
    for start in (_greedy, _second, _sparing, _thinned)[: 4 if moved else 3]:
        tally.become(stands)
        start(tally, room)
        _improve(tally, room)
        bound = min(bound, _reached_at_most(tally, room))
        if tally.value() > value_of(ground, best) * (1 + LEAST_GAIN):
            best = np.flatnonzero(tally.taken)
    tally.become(best)
    return _told(tally, value_now, max(bound, tally.value()))


def curve(ground: Ground, most: int = 20) -> FloatArray:
    """Return what the next 1, 2, ... traps add together, each set holding the one before.

    Shorter than `most` where no place is left. `spatial.knee.knee` finds where it bends.

    Examples
    --------
    >>> from spatial.trap_ground import coverage
    >>> curve(coverage([[1, 1, 0, 0], [0, 0, 1, 0]], [1.0] * 4, [0, 0, 1, 1]), 5).tolist()
    [2.0, 3.5]
    """
    tally = Tally.standing(ground)
    start = tally.value()
    room = _Room(ground.standing + most, 0)
    reached = []
    while _filled(tally, room, one=True):
        reached.append(tally.value() - start)
    return np.array(reached, dtype=float)


@dataclass(frozen=True, slots=True)
class _Room:
    """How many places may be taken in all, and how many standing traps given up."""

    places: int
    moved: int


def _greedy(tally: Tally, room: _Room) -> None:
    """Take the best place again and again."""
    _filled(tally, room)


def _second(tally: Tally, room: _Room) -> None:
    """Begin with the second best place, for swaps of one cannot always leave the best again."""
    gains = _in_moves(tally, room)
    if room.places > tally.taken.sum() and np.isfinite(gains).sum() > 1:
        tally.add(int(np.argsort(-gains, kind="stable")[1]))
    _filled(tally, room)


def _sparing(tally: Tally, room: _Room) -> None:
    """Take places that are good and keep few others out."""
    _filled(tally, room, sparing=True)


def _thinned(tally: Tally, room: _Room) -> None:
    """Take as many places too many as may be moved, then give up the traps least missed."""
    _filled(tally, _Room(room.places + room.moved, room.moved))
    while tally.taken.sum() > room.places:
        stay = np.flatnonzero(tally.taken[: tally.ground.standing])
        tally.leave(int(stay[np.argmin(tally.losses(stay))]))


def _improve(tally: Tally, room: _Room) -> None:
    """Go on until no small change is better."""
    while any(better(tally, room) for better in (_filled, _swapped, _pushed)):
        pass


def _reached_at_most(tally: Tally, room: _Room) -> float:
    """Return a bound on every choice within the room, from the places taken now.

    With a submodular value no set of so many more places adds more than the largest gains together
    (Nemhauser, Wolsey & Fisher 1978), spacing or not; and giving any up adds nothing.
    """
    more = room.places - tally.ground.standing + room.moved
    return tally.value() + float(np.sort(tally.gains())[::-1][:more].sum())


def _bound(tally: Tally, room: _Room) -> float:
    """Return the lowest bound on the way of a greedy choice, which it leaves in the tally."""
    bound = _reached_at_most(tally, room)
    while _filled(tally, room, one=True):
        bound = min(bound, _reached_at_most(tally, room))
    return bound


def _filled(tally: Tally, room: _Room, *, one: bool = False, sparing: bool = False) -> bool:
    """Add the best place, again and again, as long as there is room; tell whether there was.

    With `sparing`, places that keep few others out go before equally good ones that keep out many.
    """
    added = False
    while tally.taken.sum() < room.places and not (one and added):
        gains = _in_moves(tally, room)
        if not np.isfinite(gains).any():
            break
        if sparing:
            gains = gains / (1 + tally.kept_out(np.maximum(gains, 0.0)))
        tally.add(int(np.argmax(gains)))
        added = True
    return added


def _pushed(tally: Tally, room: _Room) -> bool:
    """Take a place whose neighbours are in the way, without them; tell whether that was better.

    Spacing makes greedy choices that block two good places by one between them: swaps of one for
    one do not get out of that.
    """
    before, value = np.flatnonzero(tally.taken), tally.value()
    gains = np.where(tally.taken, -np.inf, tally.gains())
    for place in np.argsort(-gains, kind="stable")[:MOST_PUSHES]:
        close = tally.in_the_way_of(int(place))
        lifted = len(tally.removed()) + int((close < tally.ground.standing).sum())
        if not len(close) or lifted > room.moved:
            continue
        for other in close:
            tally.leave(int(other))
        tally.add(int(place))
        _filled(tally, room)
        if tally.value() > value * (1 + LEAST_GAIN):
            return True
        tally.become(before)
    return False


def _swapped(tally: Tally, room: _Room) -> bool:
    """Make the best swap of one place for another; tell whether there was one."""
    best, swap = tally.value() * (1 + LEAST_GAIN), None
    # Without moves a standing trap can only be put back where it was.
    leave = tally.new() if room.moved == 0 else np.flatnonzero(tally.taken)
    for out in leave:
        tally.leave(int(out))
        gains = _in_moves(tally, room)
        gains[out] = -np.inf
        come = int(np.argmax(gains))
        reached = tally.value() + gains[come]
        if reached > best:
            best, swap = reached, (int(out), come)
        tally.add(int(out))
    if swap is None:
        return False
    tally.leave(swap[0])
    tally.add(swap[1])
    return True


def _in_moves(tally: Tally, room: _Room) -> FloatArray:
    """Return what every place would add as the last one; -inf where it may not be that.

    With one trap too many removed, only a trap put back where it stood keeps to the moves.
    """
    gains = tally.allowed_gains()
    if len(tally.removed()) > room.moved:
        gains[tally.ground.standing :] = -np.inf
    return gains


def _told(tally: Tally, value_now: float, bound: float) -> Choice:
    """Order the new places, each the best after the ones before it."""
    new, removed, value = tally.new(), tally.removed(), tally.value()
    for place in new:
        tally.leave(place)
    order: list[int] = []
    gains: list[float] = []
    while len(order) < len(new):
        left = [place for place in new if place not in order]
        added = tally.gains()[left]
        order.append(left[int(np.argmax(added))])
        gains.append(float(added.max()))
        tally.add(order[-1])
    return Choice(
        new=np.array(order, dtype=np.int64),
        gains=np.array(gains, dtype=float),
        removed=np.array(removed, dtype=np.int64),
        value=value,
        value_now=value_now,
        bound=bound,
    )
