"""The `[parts]` section of `site.toml`: what a cup trap and a linear trap are made of.

Every size is text with its unit, as it is said in the shop; `spatial.units` reads it. Nothing here
is a rule: a user's own parts are as good, if the rim and the slot are flush with the soil.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CupParts:
    """A cup trap: a sleeve that stays in the ground, and a cup in it that is lifted out.

    Parameters
    ----------
    bore
        Diameter of the hole: that of a golf cup cutter, 4.25 in (from memory); that a cup cutter is
        used is published (NC State, Turf bugs, pitfall traps).
    depth
        Depth of the hole, as deep as the sleeve (common practice, no source).
    sleeve, cup
        Volume of the cup that stays and of the one in it: 32 fl oz, and 16 or 32 fl oz with the
        same rim (pitfall guide informedfarmers).
    staples
        Sod staples over the rim, so that mowers pass: two (NC State, Turf bugs, pitfall traps).
    fluid
        Depth of fluid in the cup (common practice, no source).

    Examples
    --------
    >>> CupParts().bore
    '4.25 in'
    """

    bore: str = "4.25 in"
    depth: str = "6 in"
    sleeve: str = "32 fl oz"
    cup: str = "16 fl oz"
    staples: int = 2
    fluid: str = "1 in"


@dataclass(frozen=True, slots=True)
class LinearParts:
    """A linear trap: a slit pipe that falls towards a collecting cup in a valve box.

    Parameters
    ----------
    length, pipe
        Length and nominal bore of the pipe: 3 ft of 2 in (weevil monitoring bulletin 2019, p. 4).
    outside
        Outside diameter of the pipe, as deep as the trench must be: 2.375 in for nominal 2 in
        (from memory).
    slot_width, slot_length
        Of each slot: 0.5 in x 10 in (weevil monitoring bulletin 2019, p. 4); 1/4 to 3/8 in wide is
        also common (common practice, no source).
    bridge
        Pipe left whole between two slots, so that they do not pinch (common practice, no source).
    end
        Pipe left whole at either end, at least, for cap and elbow (common practice, no source).
    fall
        Fall of the pipe towards the cup per length of pipe, in percent, so that water drains; 2 is
        1/4 in a foot (common practice, no source).
    stock
        Length in which the pipe is sold (common practice, no source).
    collector, cup
        Volume of the cup that stays under the elbow and of the one in it: 32 and 8 fl oz (weevil
        monitoring bulletin 2019, p. 4).
    bore, depth
        Hole of the collector below the floor of the box: a cup cutter's (as the same bulletin has
        it), 4.25 in (from memory), and as deep as the collector (common practice, no source).
    box_length, box_width, box_depth
        Outside of the irrigation valve box; that one is used is published (Mink Meadows course
        notes, April 2011), its size is not (common practice, no source).
    fluid
        Depth of fluid in the cup (common practice, no source).

    Examples
    --------
    >>> LinearParts().slot_width, LinearParts().fall
    ('0.5 in', 2.0)
    """

    length: str = "3 ft"
    pipe: str = "2 in"
    outside: str = "2.375 in"
    slot_width: str = "0.5 in"
    slot_length: str = "10 in"
    bridge: str = "1 in"
    end: str = "1 in"
    fall: float = 2.0
    stock: str = "10 ft"
    collector: str = "32 fl oz"
    cup: str = "8 fl oz"
    bore: str = "4.25 in"
    depth: str = "6 in"
    box_length: str = "12 in"
    box_width: str = "9 in"
    box_depth: str = "6 in"
    fluid: str = "1 in"


@dataclass(frozen=True, slots=True)
class PartsSettings:
    """The parts of both kinds of trap.

    Parameters
    ----------
    cup_designs, linear_designs
        Words of the `design` column that are built as a cup, and as a linear trap. Other designs
        are listed without parts.
    cup, linear
        Their sizes.
    """

    cup_designs: tuple[str, ...] = ("cup",)
    linear_designs: tuple[str, ...] = ("linear",)
    cup: CupParts = CupParts()
    linear: LinearParts = LinearParts()
