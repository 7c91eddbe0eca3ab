"""The `[parts]` section of `site.toml`: what a cup trap and a linear trap are made of.

Every size is text with its unit, as it is said in the shop; `spatial.units` reads it. Nothing here
is a rule: a user's own parts are as good, if the rim and the slot are flush with the soil.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar


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


Problem = tuple[str, str]

_Kind = TypeVar("_Kind", CupParts, LinearParts)


def parse_parts(table: Mapping[str, Any]) -> tuple[PartsSettings, list[Problem]]:
    """Check and type the `[parts]` table of a `site.toml`; sizes stay as typed.

    Returns
    -------
    PartsSettings, list
        The settings, and every problem; with a problem the settings are not to be used.

    Examples
    --------
    >>> settings, problems = parse_parts({"linear": {"length": "5 ft", "fall": 1.5}})
    >>> settings.linear.length, settings.linear.fall, problems
    ('5 ft', 1.5, [])
    >>> parse_parts({"cup": {"bore": 4.25}})[1]
    [('cup.bore', 'expected text with a unit in quotation marks, found 4.25')]
    """
    known = [each.name for each in fields(PartsSettings)]
    problems = [
        (key, f"there is no such setting; it may be one of {', '.join(known)}")
        for key in table
        if key not in known
    ]
    words = {
        key: _words(key, table[key], problems)
        for key in ("cup_designs", "linear_designs")
        if key in table
    }
    cup = _sizes("cup", table.get("cup", {}), CupParts(), problems)
    linear = _sizes("linear", table.get("linear", {}), LinearParts(), problems)
    return PartsSettings(**words, cup=cup, linear=linear), problems


def _words(key: str, given: object, problems: list[Problem]) -> tuple[str, ...]:
    if isinstance(given, list) and all(isinstance(word, str) for word in given):
        return tuple(given)
    problems.append((key, f"expected a list of designs in quotation marks, found {given!r}"))
    return ()


def _sizes(place: str, given: object, usual: _Kind, problems: list[Problem]) -> _Kind:
    if not isinstance(given, dict):
        problems.append((place, f"expected a table [parts.{place}], found {given!r}"))
        return usual
    values = {}
    for key, value in given.items():
        problem = _size_problem(getattr(usual, key, None), value)
        if problem:
            problems.append((f"{place}.{key}", problem))
        else:
            values[key] = value
    return replace(usual, **values)


def _size_problem(usual: object, value: object) -> str:
    """Return what is wrong with one size, given its usual value; empty if nothing is."""
    if usual is None:
        return "there is no such part"
    if isinstance(usual, str):
        text = isinstance(value, str)
        return "" if text else f"expected text with a unit in quotation marks, found {value!r}"
    number = isinstance(value, int | float) and not isinstance(value, bool) and value >= 0
    whole = number and (isinstance(usual, float) or isinstance(value, int))
    return "" if whole else f"expected a number, zero or more, found {value!r}"
