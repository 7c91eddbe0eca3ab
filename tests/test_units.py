"""Units: published factors, and the same amount whatever unit goes in."""

from __future__ import annotations

import math

import pyproj.database
import pytest
from hypothesis import given
from hypothesis import strategies as st

from data.findings import SettingsError
from data.treatment_settings import TacticSettings
from spatial.cores import core_area_cm2, larvae_per_ft2
from spatial.dose import dose_of, missing_inputs
from spatial.units import UNITS, Quantity, Unit, read_price, read_quantity, read_rate, unit_named

NIST = {
    # NIST Special Publication 811 (2008), appendix B.8, and NIST Handbook 44, appendix C.
    ("ft", "m"): 0.3048,
    ("in", "cm"): 2.54,
    ("yd", "m"): 0.9144,
    ("ft2", "m2"): 0.09290304,
    ("acre", "ft2"): 43_560,
    ("acre", "m2"): 4046.8564224,
    ("ha", "m2"): 10_000,
    ("lb", "g"): 453.59237,
    ("lb", "oz"): 16,
    ("gal", "L"): 3.785411784,
    ("gal", "fl oz"): 128,
    ("gal", "qt"): 4,
    ("gal", "pt"): 8,
    ("fl oz", "mL"): 29.5735295625,
}

PINT = {
    # pint 0.25.3 (general units library), (1 * unit).to_base(); its acre is the US survey one.
    "ft2": 0.09290303999999999,
    "ha": 10_000.0,
    "lb": 0.4535923700000001,
    "oz": 0.028349523125000005,
    "gal": 3.785411783999999,
    "qt": 0.9463529459999998,
    "pt": 0.4731764729999999,
    "fl oz": 0.029573529562499992,
    "yd": 0.9144,
    "in": 0.0254,
}
PINT_SURVEY_ACRE_M2 = 4046.8726098742513

AREAS = [unit for unit in UNITS if unit.kind == "area"]
PRODUCTS = [unit for unit in UNITS if unit.kind in ("mass", "volume")]
AMOUNTS = st.floats(0.001, 10_000)


@pytest.mark.parametrize(("pair", "factor"), NIST.items(), ids=str)
def test_factors_are_the_published_ones(pair: tuple[str, str], factor: float) -> None:
    assert Quantity(1, unit_named(pair[0])).to(pair[1]) == pytest.approx(factor, rel=1e-14)


@pytest.mark.parametrize(("name", "size"), PINT.items())
def test_factors_are_those_of_another_library(name: str, size: float) -> None:
    assert Quantity(1, unit_named(name)).base == pytest.approx(size, rel=1e-14)


def test_the_acre_is_ten_square_chains_of_the_epsg_tables() -> None:
    """EPSG 9097 is the international chain (66 ft), 9003 the US survey foot; by way of pyproj."""
    units = {each.code: each.conv_factor for each in pyproj.database.get_units_map().values()}
    chain_m, survey_foot_m = units["9097"], units["9003"]
    acre = Quantity(1, unit_named("acre")).base
    assert acre == pytest.approx(10 * chain_m**2, rel=1e-12)
    assert pytest.approx(43_560 * survey_foot_m**2, rel=1e-9) == PINT_SURVEY_ACRE_M2
    assert acre / PINT_SURVEY_ACRE_M2 == pytest.approx(1 - 4e-6, abs=1e-9)


def test_a_cup_cutter_core_is_a_tenth_of_a_square_foot() -> None:
    """4.25 in across: 14.19 in2 and 10.15 to the square foot, by hand from pi d^2 / 4."""
    inch = Quantity(1, unit_named("in")).to("cm")
    assert core_area_cm2(4.25 * inch) / inch**2 == pytest.approx(14.186, abs=5e-4)
    assert larvae_per_ft2(1, 1, 4.25 * inch) == pytest.approx(10.15, abs=5e-3)


@given(AMOUNTS, st.sampled_from(PRODUCTS), st.sampled_from(AREAS), st.sampled_from(AREAS))
def test_any_unit_in_gives_the_same_amount_out(
    amount: float, over: Unit, under: Unit, said: Unit
) -> None:
    """A rate said in any units, on an area said in any unit, takes the same product."""
    base_per_m2, area_m2 = 0.004, 12_345.6
    rate_number = base_per_m2 * amount * under.size / over.size
    text = f"{rate_number:.17f} {over.name}/{amount:.17f} {under.name}"
    whole = Quantity(area_m2 / said.size, said)
    # 17 decimals of a small rate are not 17 figures.
    assert read_rate(text, "rate").on(whole).base == pytest.approx(base_per_m2 * area_m2, rel=1e-9)


@given(AMOUNTS, st.sampled_from([unit for unit in UNITS if unit.kind == "volume"]))
def test_loads_add_up_to_the_whole_in_any_unit_of_the_tank(area_ha: float, unit: Unit) -> None:
    given_ = TacticSettings(
        rate="1.3 L/ha", spray_volume="40 gal/acre", tank=f"{600 / unit.size:.12f} {unit.name}"
    )
    dose = dose_of(area_ha * 1e4, given_)
    assert dose.loads is not None
    assert dose.product is not None
    assert dose.spray is not None
    loads = dose.loads
    last = loads.last.base if loads.last else 0.0
    last_product = loads.last_product.base if loads.last_product else 0.0
    assert loads.each_product is not None
    assert loads.full * loads.each.base + last == pytest.approx(dose.spray.base, rel=1e-8)
    together = loads.full * loads.each_product.base + last_product
    assert together == pytest.approx(dose.product.base, rel=1e-8)
    assert dose.product.base == pytest.approx(1.3 * area_ha)


def test_a_rate_per_tank_volume_follows_the_spray() -> None:
    """4 fl oz per 100 gal at 2 gal per 1,000 ft2 on 100,000 ft2: 200 gal, so 8 fl oz."""
    tactic = TacticSettings(rate="4 fl oz/100 gal", spray_volume="2 gal/1,000 sq ft")
    dose = dose_of(100_000 * 0.3048**2, tactic)
    assert dose.product is not None
    assert dose.product.amount == pytest.approx(8)
    assert dose_of(1.0, TacticSettings(rate="4 fl oz/100 gal")).product is None


def test_a_dry_product_fills_hoppers() -> None:
    """120 lb at 50 lb a hopper: two full ones and one of 20 lb."""
    dose = dose_of(60 * 4046.8564224, TacticSettings(rate="2 lb per acre", tank="50 lb"))
    assert dose.loads is not None
    assert dose.loads.last is not None
    assert (dose.loads.full, dose.loads.count) == (2, 3)
    assert dose.loads.last.amount == pytest.approx(20)


def test_whole_loads_have_no_last_one() -> None:
    dose = dose_of(1e4, TacticSettings(rate="1 L/ha", spray_volume="300 L/ha", tank="100 L"))
    assert dose.loads is not None
    assert (dose.loads.full, dose.loads.last) == (3, None)


def test_no_area_takes_nothing() -> None:
    dose = dose_of(0.0, TacticSettings(rate="1 L/ha", spray_volume="300 L/ha", tank="100 L"))
    assert dose.product is not None
    assert dose.loads is not None
    assert (dose.product.amount, dose.loads.count) == (0.0, 0)


@pytest.mark.parametrize(
    "text",
    ["", "5", "oz", "-2 oz/acre", "0 oz/acre", "0,5 oz/acre", "1e3 oz/acre", "2 oz", "2 oz/a",
     "2 oz/acre/day", "2 oz/0 acre", "2 acre/oz", "inf oz/acre", "2 oz/gal", "2 tuns/acre",
     "\u0663 oz/acre"],
)  # fmt: skip
def test_a_rate_that_could_mean_something_else_is_refused(text: str) -> None:
    with pytest.raises(SettingsError, match="expected an amount per area like"):
        read_rate(text, "site.toml, treatment.adult.rate")


@pytest.mark.parametrize("text", ["$62/gal", "62", "62/acre", "-1/gal", "gal/62"])
def test_a_price_is_a_bare_number_per_unit(text: str) -> None:
    with pytest.raises(SettingsError, match="expected a number and a unit like '62/gal'"):
        read_price(text, "price", ["volume", "mass"])


@pytest.mark.parametrize(
    ("tactic", "match"),
    [
        (TacticSettings(rate="2 oz/acre", price="62/gal"), "oz is a weight, write fl oz"),
        (
            TacticSettings(rate="2 oz/acre", spray_volume="2 lb/acre"),
            "expected a volume per area like",
        ),
        (
            TacticSettings(rate="2 oz/acre", spray_volume="40 gal/acre", tank="50 lb"),
            "spray is a volume, but the tank holds a weight",
        ),
    ],
)
def test_weights_and_volumes_are_never_mixed(tactic: TacticSettings, match: str) -> None:
    with pytest.raises(SettingsError, match=match):
        dose_of(1e4, tactic)


def test_a_weight_is_not_turned_into_a_volume() -> None:
    with pytest.raises(ValueError, match="oz is a weight, fl oz a volume"):
        Quantity(1, unit_named("oz")).to("fl oz")


def test_a_buffer_may_be_nothing_but_a_tank_may_not() -> None:
    assert read_quantity("0 ft", "buffer", ["length"]).base == 0
    with pytest.raises(SettingsError, match="expected a volume like '160 gal'"):
        read_quantity("0 gal", "tank", ["volume"])


def test_nothing_is_filled_in() -> None:
    """Without any input there is no amount, no load and no cost, and all of it is missing."""
    dose = dose_of(1e4, TacticSettings())
    assert (dose.product, dose.spray, dose.loads, dose.cost) == (None, None, None, None)
    missing = missing_inputs(None, open_water=True, customer="")
    assert missing[0] == "tactic"
    assert {"rate", "re_entry", "notification", "registration_number", "water_buffer"} < {*missing}
    assert not math.isnan(dose.area_m2)
