"""Amounts with their units: areas, lengths, product by weight or by volume, rates.

Every factor is exact by definition: the international foot and acre, the avoirdupois pound and the
US gallon (NIST Special Publication 811 (2008), appendix B.8; NIST Handbook 44, appendix C).

An ounce (``oz``) is a weight, a fluid ounce (``fl oz``) a volume: neither is read as the other.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from data.findings import SettingsError

Kind = Literal["length", "area", "mass", "volume"]

BASE: dict[Kind, str] = {"length": "m", "area": "m2", "mass": "kg", "volume": "L"}
"""Unit in which each kind of amount is reckoned."""

KIND_WORDS: dict[Kind, str] = {
    "length": "a length",
    "area": "an area",
    "mass": "a weight",
    "volume": "a volume",
}


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit.

    Parameters
    ----------
    name
        As it is written.
    kind
        What it measures.
    size
        In the unit of `BASE`, exact as far as a float is.
    others
        Other ways to write it, in lower case.
    """

    name: str
    kind: Kind
    size: float
    others: tuple[str, ...] = ()


FOOT_M = 0.3048
POUND_KG = 0.45359237
GALLON_L = 3.785411784
M2_PER_ACRE = 4046.8564224
M2_PER_HA = 10_000.0
M2_PER_1000_FT2 = 92.90304

UNITS = (
    Unit("m", "length", 1.0, ("metre", "metres", "meter", "meters")),
    Unit("cm", "length", 0.01),
    Unit("ft", "length", FOOT_M, ("foot", "feet")),
    Unit("yd", "length", 3 * FOOT_M, ("yard", "yards")),
    Unit("in", "length", FOOT_M / 12, ("inch", "inches")),
    Unit("m2", "area", 1.0, ("m²", "m^2", "sq m")),
    Unit("ha", "area", M2_PER_HA, ("hectare", "hectares")),
    Unit("ft2", "area", M2_PER_1000_FT2 / 1000, ("ft²", "ft^2", "sq ft", "square feet")),
    Unit("acre", "area", M2_PER_ACRE, ("acres", "ac")),
    Unit("kg", "mass", 1.0),
    Unit("g", "mass", 0.001, ("gram", "grams")),
    Unit("lb", "mass", POUND_KG, ("lbs", "pound", "pounds")),
    Unit("oz", "mass", POUND_KG / 16, ("ounce", "ounces")),
    Unit("L", "volume", 1.0, ("l", "litre", "litres", "liter", "liters")),
    Unit("mL", "volume", 0.001, ("ml", "millilitre", "millilitres", "milliliter", "milliliters")),
    Unit("gal", "volume", GALLON_L, ("gallon", "gallons")),
    Unit("qt", "volume", GALLON_L / 4, ("quart", "quarts")),
    Unit("pt", "volume", GALLON_L / 8, ("pint", "pints")),
    Unit("fl oz", "volume", GALLON_L / 128, ("fl. oz", "fl. oz.", "floz", "fluid ounces")),
)
"""Every unit that is read. The gallon is the US one; the acre of the US survey foot, no longer in
use since 2023, is 4 parts in a million larger."""

_BY_NAME = {name.lower(): unit for unit in UNITS for name in (unit.name, *unit.others)}

_NUMBER = r"(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?|\.\d+"
_AMOUNT = re.compile(rf"\s*({_NUMBER})?\s*([^\d\s/][^/]*?)\s*", re.ASCII)
_BARE = re.compile(rf"\s*({_NUMBER})\s*", re.ASCII)
_PER = re.compile(r"\s*/\s*|\s+per\s+", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Quantity:
    """An amount in its unit.

    Parameters
    ----------
    amount
        Number of units.
    unit
        The unit.

    Examples
    --------
    >>> round(Quantity(2, unit_named("acre")).to("ha"), 12)
    0.80937128448
    """

    amount: float
    unit: Unit

    @property
    def base(self) -> float:
        """The amount in the unit of `BASE`: m, m2, kg or L."""
        return self.amount * self.unit.size

    def to(self, name: str) -> float:
        """Return the amount in another unit of the same kind; raises ValueError for any other."""
        other = unit_named(name)
        if other.kind != self.unit.kind:
            raise ValueError(
                f"{self.unit.name} is {KIND_WORDS[self.unit.kind]}, "
                f"{other.name} {KIND_WORDS[other.kind]}"
            )
        return self.base / other.size


@dataclass(frozen=True, slots=True)
class Rate:
    """An amount per area or per volume.

    Parameters
    ----------
    over
        What is measured out, e.g. 0.5 fl oz.
    per
        On how much, e.g. 1,000 ft2.
    """

    over: Quantity
    per: Quantity

    def on(self, whole: Quantity) -> Quantity:
        """Return the amount for a whole area or volume, in the unit of `over`.

        Raises
        ------
        ValueError
            If `whole` is not of the kind that the rate is per.

        Examples
        --------
        Half a fluid ounce per 1,000 ft2 on one acre of 43.56 such parts:

        >>> acre = Quantity(1, unit_named("acre"))
        >>> round(read_rate("0.5 fl oz/1000 ft2", "rate").on(acre).amount, 9)
        21.78
        """
        return Quantity(
            self.over.amount * (whole.to(self.per.unit.name) / self.per.amount), self.over.unit
        )


@dataclass(frozen=True, slots=True)
class Price:
    """Money per amount.

    Parameters
    ----------
    money
        In the user's currency.
    per
        For how much.
    """

    money: float
    per: Quantity

    def of(self, whole: Quantity) -> float:
        """Return what an amount costs; raises ValueError if it is of another kind."""
        return self.money * (whole.to(self.per.unit.name) / self.per.amount)


def unit_named(name: str) -> Unit:
    """Return the unit of a name; raises KeyError if there is none.

    Examples
    --------
    >>> unit_named("Sq Ft").name, unit_named("fl oz").kind, unit_named("oz").kind
    ('ft2', 'volume', 'mass')
    """
    return _BY_NAME[" ".join(name.lower().split())]


def square_metres(area_m2: float) -> Quantity:
    """Return an area."""
    return Quantity(area_m2, unit_named("m2"))


def read_quantity(text: str, where: str, kinds: Sequence[Kind]) -> Quantity:
    """Return an amount from text like ``"160 gal"``.

    Parameters
    ----------
    text
        Number and unit; a comma parts thousands, never decimals.
    where
        What the text is, for the message.
    kinds
        Kinds allowed.

    Raises
    ------
    SettingsError
        If it cannot be read, or is of another kind.

    Examples
    --------
    >>> read_quantity("25 ft", "water buffer", ["length"]).to("m")
    7.62
    >>> read_quantity("25", "water buffer", ["length"])
    Traceback (most recent call last):
    ...
    data.findings.SettingsError: water buffer: expected a length like '25 ft', found '25'
    """
    found = _quantity(text)
    if found is None or found.unit.kind not in kinds:
        wanted = " or ".join(KIND_WORDS[kind] for kind in kinds)
        raise SettingsError(
            f"{where}: expected {wanted} like {_EXAMPLES[kinds[0]]}, found {text!r}"
        )
    return found


def read_rate(text: str, where: str, per: Sequence[Kind] = ("area",)) -> Rate:
    """Return a rate from text like ``"0.5 fl oz/1000 ft2"`` or ``"2 lb per acre"``.

    Parameters
    ----------
    text
        The rate; its first amount is a weight or a volume and above zero.
    where
        What the text is, for the message.
    per
        Kinds of amount that it may be per.

    Raises
    ------
    SettingsError
        If it cannot be read.

    Examples
    --------
    >>> read_rate("2 lb per acre", "rate").per.amount
    1.0
    >>> read_rate("2/acre", "rate")
    Traceback (most recent call last):
    ...
    data.findings.SettingsError: rate: expected an amount per area like '0.5 fl oz/1000 ft2', \
found '2/acre'
    """
    parts = _PER.split(text)
    over, under = (
        (_quantity(parts[0]), _quantity(parts[1], 1.0)) if len(parts) == 2 else (None, None)
    )
    if (
        over is None
        or under is None
        or over.unit.kind not in ("mass", "volume")
        or under.unit.kind not in per
    ):
        wanted = " or ".join(per)
        raise SettingsError(
            f"{where}: expected an amount per {wanted} like '0.5 fl oz/1000 ft2', found {text!r}"
        )
    return Rate(over, under)


def read_price(text: str, where: str, per: Sequence[Kind]) -> Price:
    """Return a price from text like ``"62/gal"``.

    Raises
    ------
    SettingsError
        If it cannot be read.

    Examples
    --------
    >>> read_price("64/gal", "price", ["volume"]).of(read_quantity("16 fl oz", "x", ["volume"]))
    8.0
    """
    parts = _PER.split(text)
    number = _BARE.fullmatch(parts[0])
    under = _quantity(parts[1], 1.0) if len(parts) == 2 else None
    if number is None or under is None or under.unit.kind not in per:
        example = "'62/gal'" if "volume" in per else "'20/acre'"
        raise SettingsError(
            f"{where}: expected a number and a unit like {example}, without a currency, "
            f"found {text!r}"
        )
    return Price(_number(number[1]), under)


_EXAMPLES: dict[Kind, str] = {
    "length": "'25 ft'",
    "area": "'2 acres'",
    "mass": "'50 lb'",
    "volume": "'160 gal'",
}


def _quantity(text: str, without_number: float | None = None) -> Quantity | None:
    """Return an amount above zero (a length may be zero), or None if there is none."""
    match = _AMOUNT.fullmatch(text)
    unit = _BY_NAME.get(" ".join(match[2].lower().split())) if match else None
    if match is None or unit is None:
        return None
    amount = _number(match[1]) if match[1] else without_number
    if amount is None or not math.isfinite(amount) or (amount == 0 and unit.kind != "length"):
        return None
    return Quantity(amount, unit)


def _number(text: str) -> float:
    return float(text.replace(",", ""))
