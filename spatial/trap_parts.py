"""What chosen traps are made of, and the holes they need: parts, slots, fall.

Everything is reckoned in metres and litres; the settings say each size with its unit.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from data.findings import SettingsError
from data.parts_settings import CupParts, LinearParts, PartsSettings
from spatial.units import read_quantity

PARTS = (
    "sleeve", "cup", "staple", "lid", "pipe", "cap", "elbow", "box", "collector", "board", "fluid",
)  # fmt: skip
"""Codes of the parts, in the order of the list to buy. `pipe` is counted in lengths as sold,
`fluid` in litres a filling; `board` is the lid that closes a slot on days without service."""

L_PER_M3 = 1000.0
SLACK = 1e-9
"""Rounding errors must not cost a whole slot or pipe."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """One trap to put out.

    Parameters
    ----------
    label
        Its name on paper, e.g. ``"N1"``.
    design
        Word of the `design` column.
    zone_id, zone_use
        The zone it stands in; blank outside.
    place
        Where it stands, in words.
    longitude, latitude
        WGS 84, of the cup (the collecting cup of a linear trap).
    bearing_deg
        Of a linear trap: true bearing from the collecting cup along the pipe; None where either end
        may be the lower one, or for a cup.
    axis_deg
        Of a linear trap: true bearing of the axis, 0 to below 180; NaN where it is not known.
    ground_fall
        Fall of the ground along the pipe towards the cup, m per m; 0 for level or unknown ground.
    """

    label: str
    design: str
    zone_id: str = ""
    zone_use: str = ""
    place: str = ""
    longitude: float = math.nan
    latitude: float = math.nan
    bearing_deg: float | None = None
    axis_deg: float = math.nan
    ground_fall: float = 0.0


@dataclass(frozen=True, slots=True)
class CupSizes:
    """Sizes of a cup trap: lengths in metres, volumes in litres; see `CupParts`."""

    bore_m: float
    depth_m: float
    sleeve_l: float
    cup_l: float
    staples: int
    fluid_m: float
    fluid_l: float


@dataclass(frozen=True, slots=True)
class Slot:
    """One slot; metres along the pipe from its closed end."""

    start_m: float
    end_m: float


@dataclass(frozen=True, slots=True)
class LinearSizes:
    """Sizes of a linear trap: lengths in metres, volumes in litres; see `LinearParts`.

    Parameters
    ----------
    slots
        From the closed end to the cup.
    end_m
        Pipe left whole at either end, after the slots are set in the middle.
    fall
        Metres per metre of pipe.
    pieces
        Pipes that one length as sold gives.
    """

    length_m: float
    pipe_m: float
    outside_m: float
    slot_width_m: float
    slot_length_m: float
    bridge_m: float
    end_m: float
    slots: tuple[Slot, ...]
    fall: float
    stock_m: float
    pieces: int
    collector_l: float
    cup_l: float
    bore_m: float
    depth_m: float
    box_m: tuple[float, float, float]
    fluid_m: float
    fluid_l: float

    @property
    def drop_m(self) -> float:
        """How much lower the pipe lies at the cup than at its closed end."""
        return self.fall * self.length_m

    @property
    def open_m(self) -> float:
        """Length of all slots together: the `slot_m` of the traps table."""
        return len(self.slots) * self.slot_length_m


@dataclass(frozen=True, slots=True)
class Trench:
    """Depth of the trench's floor below the soil, metres.

    Parameters
    ----------
    cap_m, cup_m
        At the closed end and at the cup.
    dressed_m
        Soil to take down to the edge of the slot at the cup; below zero: at the closed end.
    """

    cap_m: float
    cup_m: float
    dressed_m: float


@dataclass(frozen=True, slots=True)
class Part:
    """One line of the list to buy.

    Parameters
    ----------
    code
        One of `PARTS`.
    kind
        ``"cup"`` or ``"linear"``.
    amount
        Pieces, lengths of pipe as sold, or litres.
    """

    code: str
    kind: str
    amount: float


@dataclass(frozen=True, slots=True)
class PartsList:
    """What the chosen traps take.

    Parameters
    ----------
    chosen
        The traps, in order.
    kinds
        ``"cup"``, ``"linear"`` or ``""`` (design without known parts), of each.
    trenches
        Of each linear trap; None for others.
    parts
        The list to buy, in the order of `PARTS`, cups first.
    cup, linear
        Sizes.
    """

    chosen: tuple[Chosen, ...]
    kinds: tuple[str, ...]
    trenches: tuple[Trench | None, ...]
    parts: tuple[Part, ...]
    cup: CupSizes
    linear: LinearSizes

    def count(self, kind: str) -> int:
        """Return how many of the traps are of a kind."""
        return self.kinds.count(kind)


def trap_parts(chosen: Sequence[Chosen], settings: PartsSettings) -> PartsList:
    """Return the parts of chosen traps, and the trench of each linear one.

    Raises
    ------
    SettingsError
        If a size cannot be read, is zero, or does not fit.

    Examples
    --------
    Two cups and four pipes of 3 ft, three of which come out of a length of 10 ft:

    >>> traps = [Chosen(f"N{n}", "cup" if n < 3 else "linear") for n in range(1, 7)]
    >>> found = trap_parts(traps, PartsSettings())
    >>> {(each.kind, each.code): each.amount for each in found.parts if each.code != "fluid"}
    {('cup', 'sleeve'): 2, ('cup', 'cup'): 2, ('cup', 'staple'): 4, ('cup', 'lid'): 2,
     ('linear', 'cup'): 4, ('linear', 'pipe'): 2, ('linear', 'cap'): 4, ('linear', 'elbow'): 4,
     ('linear', 'box'): 4, ('linear', 'collector'): 4, ('linear', 'board'): 4}
    """
    kinds = tuple(_kind(each.design, settings) for each in chosen)
    cup, linear = cup_sizes(settings.cup), linear_sizes(settings.linear)
    counts = Counter(kinds)
    parts = [*_cup_parts(counts["cup"], cup), *_linear_parts(counts["linear"], linear)]
    return PartsList(
        chosen=tuple(chosen),
        kinds=kinds,
        trenches=tuple(
            trench(linear, each.ground_fall) if kind == "linear" else None
            for each, kind in zip(chosen, kinds, strict=True)
        ),
        parts=tuple(each for each in parts if each.amount),
        cup=cup,
        linear=linear,
    )


def trench(sizes: LinearSizes, ground_fall: float = 0.0) -> Trench:
    """Return how deep to dig, so that the pipe's top is flush where it lies highest in the soil.

    Ground that falls towards the cup as the pipe does needs no more than the pipe's own depth. On
    level ground the pipe dips below the soil towards the cup, and the soil beside it is dressed
    down to the slot; on ground that falls more steeply it is so at the closed end.

    Parameters
    ----------
    sizes
        Of the trap.
    ground_fall
        Fall of the ground along the pipe towards the cup, m per m.

    Examples
    --------
    A pipe of 3 ft with 1/4 in of fall a foot (2.08 %), on level ground: 3/4 in deeper at the cup.

    >>> sizes = linear_sizes(LinearParts(fall=100 / 48))
    >>> level = trench(sizes)
    >>> [round(depth / 0.0254, 3) for depth in (level.cap_m, level.cup_m, level.dressed_m)]
    [2.375, 3.125, 0.75]
    >>> round(trench(sizes, ground_fall=1 / 48).dressed_m, 12)
    0.0
    """
    if not math.isfinite(ground_fall):
        raise ValueError(f"expected the fall of the ground as a number; found {ground_fall}")
    extra = sizes.drop_m - ground_fall * sizes.length_m
    deeper_at_cap, deeper_at_cup = max(-extra, 0.0), max(extra, 0.0)
    return Trench(sizes.outside_m + deeper_at_cap, sizes.outside_m + deeper_at_cup, extra)


def cup_sizes(parts: CupParts) -> CupSizes:
    """Return the sizes of a cup trap; raises SettingsError if one cannot be read."""
    bore_m, fluid_m = _metres(parts.bore, "parts.cup.bore"), _metres(parts.fluid, "parts.cup.fluid")
    if parts.staples < 0:
        raise SettingsError(f"parts.cup.staples must be 0 or more; got {parts.staples}")
    return CupSizes(
        bore_m=bore_m,
        depth_m=_metres(parts.depth, "parts.cup.depth"),
        sleeve_l=_litres(parts.sleeve, "parts.cup.sleeve"),
        cup_l=_litres(parts.cup, "parts.cup.cup"),
        staples=parts.staples,
        fluid_m=fluid_m,
        fluid_l=_filling(parts.cup, bore_m, fluid_m, "parts.cup"),
    )


def linear_sizes(parts: LinearParts) -> LinearSizes:
    """Return the sizes of a linear trap, and where its slots are cut.

    Raises
    ------
    SettingsError
        If a size cannot be read, no slot fits, the slot is wider than the pipe, or the pipe is
        longer than it is sold.

    Examples
    --------
    3 ft of pipe takes three slots of 10 in with bridges of 1 in, and 2 in are left at either end:

    >>> sizes = linear_sizes(LinearParts())
    >>> [(round(each.start_m / 0.0254, 6), round(each.end_m / 0.0254, 6)) for each in sizes.slots]
    [(2.0, 12.0), (13.0, 23.0), (24.0, 34.0)]
    """
    metres = {
        name: _metres(getattr(parts, name), f"parts.linear.{name}")
        for name in (
            "length", "pipe", "outside", "slot_width", "slot_length", "bridge", "end", "stock",
            "bore", "depth", "box_length", "box_width", "box_depth", "fluid",
        )
    }  # fmt: skip
    _fits(parts, metres)
    slots = slot_layout(metres["length"], metres["slot_length"], metres["bridge"], metres["end"])
    return LinearSizes(
        length_m=metres["length"],
        pipe_m=metres["pipe"],
        outside_m=metres["outside"],
        slot_width_m=metres["slot_width"],
        slot_length_m=metres["slot_length"],
        bridge_m=metres["bridge"],
        end_m=slots[0].start_m,
        slots=slots,
        fall=parts.fall / 100,
        stock_m=metres["stock"],
        pieces=math.floor(metres["stock"] / metres["length"] + SLACK),
        collector_l=_litres(parts.collector, "parts.linear.collector"),
        cup_l=_litres(parts.cup, "parts.linear.cup"),
        bore_m=metres["bore"],
        depth_m=metres["depth"],
        box_m=(metres["box_length"], metres["box_width"], metres["box_depth"]),
        fluid_m=metres["fluid"],
        fluid_l=_filling(parts.cup, metres["bore"], metres["fluid"], "parts.linear"),
    )


def slot_layout(length_m: float, slot_m: float, bridge_m: float, end_m: float) -> tuple[Slot, ...]:
    """Return as many slots as fit, in the middle of the pipe.

    Raises
    ------
    SettingsError
        If none fits.

    Examples
    --------
    >>> [(each.start_m, each.end_m) for each in slot_layout(10.0, 3.0, 1.0, 1.0)]
    [(1.5, 4.5), (5.5, 8.5)]
    """
    count = math.floor((length_m - 2 * end_m + bridge_m) / (slot_m + bridge_m) + SLACK)
    if count < 1:
        raise SettingsError(
            f"parts.linear: no slot of {slot_m:.3f} m fits into a pipe of {length_m:.3f} m with "
            f"{end_m:.3f} m left at either end; make the slot shorter or the pipe longer"
        )
    first_m = (length_m - count * slot_m - (count - 1) * bridge_m) / 2
    starts = [first_m + n * (slot_m + bridge_m) for n in range(count)]
    return tuple(Slot(start, start + slot_m) for start in starts)


def _fits(parts: LinearParts, metres: dict[str, float]) -> None:
    if metres["slot_width"] >= metres["pipe"]:
        raise SettingsError(
            f"parts.linear.slot_width ({parts.slot_width}) must be below the bore of the pipe "
            f"({parts.pipe})"
        )
    if metres["outside"] < metres["pipe"]:
        raise SettingsError(
            f"parts.linear.outside ({parts.outside}) must be at least the bore of the pipe "
            f"({parts.pipe})"
        )
    if metres["length"] > metres["stock"] * (1 + SLACK):
        raise SettingsError(
            f"parts.linear.stock ({parts.stock}) must be at least the length of a trap's pipe "
            f"({parts.length})"
        )
    if not 0 <= parts.fall <= 20:
        raise SettingsError(f"parts.linear.fall must be 0 to 20 percent; got {parts.fall:g}")


def _metres(text: str, where: str) -> float:
    found = read_quantity(text, where, ["length"]).base
    if not found > 0:
        raise SettingsError(f"{where}: expected a length above zero, found {text!r}")
    return found


def _litres(text: str, where: str) -> float:
    return read_quantity(text, where, ["volume"]).base


def _filling(cup: str, bore_m: float, fluid_m: float, where: str) -> float:
    """Return the litres of one filling: a cup as wide as the hole, at most half full."""
    full = _litres(cup, f"{where}.cup")
    return min(math.pi / 4 * bore_m**2 * fluid_m * L_PER_M3, full / 2)


def _kind(design: str, settings: PartsSettings) -> str:
    if design in settings.cup_designs:
        return "cup"
    return "linear" if design in settings.linear_designs else ""


def _cup_parts(traps: int, sizes: CupSizes) -> list[Part]:
    amounts = {
        "sleeve": traps,
        "cup": traps,
        "staple": traps * sizes.staples,
        "lid": traps,
        "fluid": traps * sizes.fluid_l,
    }
    return [Part(code, "cup", amount) for code, amount in amounts.items()]


def _linear_parts(traps: int, sizes: LinearSizes) -> list[Part]:
    amounts = {
        "cup": traps,
        "pipe": math.ceil(traps / sizes.pieces),
        "cap": traps,
        "elbow": traps,
        "box": traps,
        "collector": traps,
        "board": traps,
        "fluid": traps * sizes.fluid_l,
    }
    return [Part(code, "linear", amount) for code, amount in amounts.items()]
