"""How much product and spray an area takes, in how many loads, at what cost: only from user input.

Every amount follows from the user's own figures. What was not given is named as missing; nothing
is filled in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from data.findings import SettingsError
from data.treatment_settings import TacticSettings
from spatial.units import (
    Kind,
    Quantity,
    Rate,
    read_price,
    read_quantity,
    read_rate,
    square_metres,
)

MISSING = (
    "tactic",
    "product",
    "registration_number",
    "irac_group",
    "target_pest",
    "rate",
    "spray_volume",
    "tank",
    "re_entry",
    "notification",
    "restrictions",
    "price",
    "application_cost",
    "water_buffer",
    "customer",
)
"""What a plan can lack; all of it is the user's to give."""

_NEARLY_WHOLE = 1e-9
"""Loads within this share of a whole number are whole: a rounding is no load."""


@dataclass(frozen=True, slots=True)
class Loads:
    """How often a tank or hopper is filled.

    Parameters
    ----------
    full
        Full loads.
    each, each_product
        What goes into a full one: spray (or dry product), and product in it.
    last, last_product
        What goes into the last one that is not full; None if all are full.
    """

    full: int
    each: Quantity
    each_product: Quantity | None
    last: Quantity | None
    last_product: Quantity | None

    @property
    def count(self) -> int:
        """All loads."""
        return self.full + (self.last is not None)


@dataclass(frozen=True, slots=True)
class Dose:
    """What an area takes; None where an input is missing.

    Parameters
    ----------
    area_m2
        The area.
    rate, spray_rate
        The user's rates.
    product, spray
        Amounts in all, in the units of the rates.
    loads
        Fillings of the tank or hopper.
    product_cost, application_cost
        In the user's currency.
    """

    area_m2: float
    rate: Rate | None
    spray_rate: Rate | None
    product: Quantity | None
    spray: Quantity | None
    loads: Loads | None
    product_cost: float | None
    application_cost: float | None

    @property
    def cost(self) -> float | None:
        """Product and application together; None unless both are known."""
        if self.product_cost is None or self.application_cost is None:
            return None
        return self.product_cost + self.application_cost


def dose_of(area_m2: float, tactic: TacticSettings, name: str = "adult") -> Dose:
    """Return what an area takes.

    Parameters
    ----------
    area_m2
        Net area.
    tactic
        The user's figures.
    name
        Name of the tactic, for messages.

    Raises
    ------
    SettingsError
        If a figure cannot be read, or two of them do not fit: a price per gallon for a product
        that is weighed.

    Examples
    --------
    10 acres at half a fluid ounce and 2 gallons of spray per 1,000 ft2, tank of 300 gallons:

    >>> given = TacticSettings(rate="0.5 fl oz/1000 ft2", spray_volume="2 gal/1000 ft2",
    ...                        tank="300 gal", price="128/gal", application_cost="20/acre")
    >>> dose = dose_of(10 * 4046.8564224, given)
    >>> round(dose.product.amount, 6), round(dose.spray.amount, 6), dose.loads.count
    (217.8, 871.2, 3)
    >>> round(dose.loads.each_product.amount, 6), round(dose.loads.last.amount, 6)
    (75.0, 271.2)
    >>> round(dose.product_cost, 6), round(dose.application_cost, 6)
    (217.8, 200.0)
    """
    area = square_metres(area_m2)
    spray_rate = _spray_rate(tactic, name)
    spray = spray_rate.on(area) if spray_rate else None
    rate = read_rate(tactic.rate, _key(name, "rate"), ("area", "volume")) if tactic.rate else None
    product = _product(rate, area, spray)
    tank = _tank(tactic, name, spray_rate, rate)
    return Dose(
        area_m2=area_m2,
        rate=rate,
        spray_rate=spray_rate,
        product=product,
        spray=spray,
        loads=_loads(tank, spray or product, product) if tank else None,
        product_cost=_product_cost(tactic, name, rate, product),
        application_cost=_application_cost(tactic, name, area),
    )


def missing_inputs(
    tactic: TacticSettings | None, *, open_water: bool, customer: str
) -> tuple[str, ...]:
    """Return what the user has not given, of `MISSING`, in that order.

    Parameters
    ----------
    tactic
        The user's figures; None if the tactic has no section in `site.toml`.
    open_water
        Whether there is water without a buffer.
    customer
        Whom the work is done for.

    Examples
    --------
    A dry product needs no spray volume; its hopper is the tank:

    >>> given = TacticSettings(product="P", registration_number="1", irac_group="28",
    ...                        rate="2 lb/acre", target_pest="billbugs", tank="40 lb",
    ...                        price="3/lb", re_entry="12 hours")
    >>> missing_inputs(given, open_water=True, customer="Kestwick Green")
    ('notification', 'restrictions', 'application_cost', 'water_buffer')
    """
    found = set() if tactic else {"tactic"}
    given = tactic or TacticSettings()
    found |= {key for key in MISSING if getattr(given, key, "-") == ""}
    if "spray_volume" in found and _is_dry(given):
        found -= {"spray_volume"}
    found |= {"water_buffer"} if open_water else set()
    found |= set() if customer else {"customer"}
    return tuple(key for key in MISSING if key in found)


def _is_dry(tactic: TacticSettings) -> bool:
    """Return whether the tank holds a weight, as a hopper does."""
    try:
        return read_quantity(tactic.tank, "tank", ["mass"]).base > 0
    except SettingsError:
        return False


def _key(name: str, key: str) -> str:
    return f"site.toml, treatment.{name}.{key}"


def _spray_rate(tactic: TacticSettings, name: str) -> Rate | None:
    if not tactic.spray_volume:
        return None
    rate = read_rate(tactic.spray_volume, _key(name, "spray_volume"))
    if rate.over.unit.kind != "volume":
        raise SettingsError(
            f"{_key(name, 'spray_volume')}: expected a volume per area like '2 gal/1000 ft2', "
            f"found {tactic.spray_volume!r}"
        )
    return rate


def _product(rate: Rate | None, area: Quantity, spray: Quantity | None) -> Quantity | None:
    """Return the product in all; a rate per volume needs to know the spray."""
    if rate is None:
        return None
    whole = area if rate.per.unit.kind == "area" else spray
    return rate.on(whole) if whole else None


def _tank(
    tactic: TacticSettings, name: str, spray_rate: Rate | None, rate: Rate | None
) -> Quantity | None:
    if not tactic.tank:
        return None
    filled: Kind | None = "volume" if spray_rate else rate.over.unit.kind if rate else None
    tank = read_quantity(tactic.tank, _key(name, "tank"), ["volume", "mass"])
    if spray_rate and tank.unit.kind != "volume":
        raise SettingsError(
            f"{_key(name, 'tank')}: spray is a volume, but the tank holds a weight, "
            f"{tactic.tank!r}; leave spray_volume out for a dry product"
        )
    # A tank of spray says nothing of a product whose dilution is not known.
    return tank if tank.unit.kind == filled and (spray_rate or filled == "mass") else None


def _loads(tank: Quantity, whole: Quantity | None, product: Quantity | None) -> Loads | None:
    if whole is None:
        return None
    loads = whole.base / tank.base
    full = math.floor(loads + _NEARLY_WHOLE)
    rest = max(loads - full, 0.0)

    def part(share: float) -> Quantity | None:
        return Quantity(product.amount * share, product.unit) if product else None

    each_share = 1 / loads if loads else 0.0
    last = Quantity(rest * tank.amount, tank.unit) if rest > _NEARLY_WHOLE else None
    return Loads(full, tank, part(each_share), last, part(rest * each_share) if last else None)


def _product_cost(
    tactic: TacticSettings, name: str, rate: Rate | None, product: Quantity | None
) -> float | None:
    if not tactic.price:
        return None
    price = read_price(tactic.price, _key(name, "price"), ["mass", "volume"])
    if rate and price.per.unit.kind != rate.over.unit.kind:
        raise SettingsError(
            f"{_key(name, 'price')}: {tactic.price!r} does not fit the rate {tactic.rate!r}: one "
            "is by weight, the other by volume; oz is a weight, write fl oz for a volume"
        )
    return price.of(product) if product else None


def _application_cost(tactic: TacticSettings, name: str, area: Quantity) -> float | None:
    if not tactic.application_cost:
        return None
    return read_price(tactic.application_cost, _key(name, "application_cost"), ["area"]).of(area)
