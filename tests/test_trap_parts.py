"""Parts, slots and trenches of chosen traps: sizes worked out by hand, and refusals."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from data.findings import SettingsError
from data.parts_settings import CupParts, LinearParts, PartsSettings
from spatial.trap_parts import (
    PARTS,
    Chosen,
    PartsList,
    cup_sizes,
    linear_sizes,
    slot_layout,
    trap_parts,
    trench,
)

INCH_M = 0.0254
"""NIST Handbook 44 (2023), appendix C: 1 inch = 0.0254 m exactly."""

FLUID_OUNCE_L = 0.0295735295625
"""NIST Handbook 44 (2023), appendix C: 1 US fluid ounce = 29.5735295625 mL exactly."""


def listed(*designs: str, settings: PartsSettings | None = None) -> PartsList:
    traps = [Chosen(f"N{n}", design) for n, design in enumerate(designs, 1)]
    return trap_parts(traps, settings or PartsSettings())


def amounts(found: PartsList) -> dict[tuple[str, str], float]:
    return {(each.kind, each.code): each.amount for each in found.parts}


def test_a_filling_is_a_cylinder_as_wide_as_the_hole() -> None:
    """4.25 in wide and 1 in deep: pi / 4 * 4.25**2 = 14.186 in3, at 231 in3 a gallon 7.86 fl oz."""
    found = cup_sizes(CupParts())
    assert found.fluid_l / FLUID_OUNCE_L == pytest.approx(14.18625 / 231 * 128, rel=1e-5)
    assert found.sleeve_l == pytest.approx(32 * FLUID_OUNCE_L, rel=1e-12)


def test_a_cup_is_never_more_than_half_full() -> None:
    assert linear_sizes(LinearParts(fluid="5 in")).fluid_l == pytest.approx(4 * FLUID_OUNCE_L)


def test_sizes_mean_the_same_in_either_system() -> None:
    inches, metric = LinearParts(), {}
    for each in fields(inches):
        value = getattr(inches, each.name)
        if isinstance(value, str) and value.endswith(" in"):
            metric[each.name] = f"{float(value[:-3]) * 2.54:.6f} cm"
    same = replace(inches, length="91.44 cm", stock="3.048 m", cup="236.5882365 mL", **metric)
    ours, theirs = linear_sizes(inches), linear_sizes(same)
    assert theirs.drop_m == pytest.approx(ours.drop_m)
    assert theirs.fluid_l == pytest.approx(ours.fluid_l)
    assert len(theirs.slots) == len(ours.slots)
    assert theirs.pieces == ours.pieces == 3


@given(
    length=st.floats(0.3, 3.0),
    slot=st.floats(0.02, 0.4),
    bridge=st.floats(0.005, 0.1),
    end=st.floats(0.005, 0.1),
)
def test_slots_never_meet_never_reach_an_end_and_leave_no_room_for_another(
    length: float, slot: float, bridge: float, end: float
) -> None:
    if length < slot + 2 * end:
        with pytest.raises(SettingsError, match="no slot of"):
            slot_layout(length, slot, bridge, end)
        return
    slots = slot_layout(length, slot, bridge, end)
    tiny = 1e-6
    first, last = slots[0].start_m, length - slots[-1].end_m
    assert first == pytest.approx(last)
    assert first >= end - tiny
    for one, next_one in pairwise(slots):
        assert next_one.start_m - one.end_m == pytest.approx(bridge)
    assert all(each.end_m - each.start_m == pytest.approx(slot) for each in slots)
    room = (len(slots) + 1) * slot + len(slots) * bridge + 2 * end
    assert room > length - tiny


def test_the_pipe_drops_by_its_fall_over_its_length() -> None:
    """2 % of 36 in is .72 in; open slot: three times 10 in."""
    found = linear_sizes(LinearParts())
    assert found.drop_m == pytest.approx(0.72 * INCH_M)
    assert found.open_m == pytest.approx(30 * INCH_M)


@given(ground=st.floats(-0.1, 0.1))
def test_a_trench_falls_as_it_should_and_is_nowhere_shallower_than_the_pipe(ground: float) -> None:
    sizes = linear_sizes(LinearParts())
    found = trench(sizes, ground)
    fall_m = found.cup_m - found.cap_m + ground * sizes.length_m
    assert fall_m == pytest.approx(sizes.drop_m)
    assert min(found.cap_m, found.cup_m) == pytest.approx(sizes.outside_m)


def test_a_trench_of_unknown_ground_is_refused() -> None:
    with pytest.raises(ValueError, match="expected the fall of the ground as a number; found nan"):
        trench(linear_sizes(LinearParts()), math.nan)


@pytest.mark.parametrize(("traps", "lengths"), [(1, 1), (3, 1), (4, 2), (7, 3)])
def test_pipe_is_bought_in_whole_lengths(traps: int, lengths: int) -> None:
    assert amounts(listed(*["linear"] * traps))["linear", "pipe"] == lengths


def test_each_design_takes_its_own_parts_and_none_is_listed_for_none() -> None:
    found = amounts(listed("cup", "cup", "cup"))
    assert found["cup", "staple"] == 6
    assert found["cup", "lid"] == 3
    assert {kind for kind, _ in found} == {"cup"}
    assert all(amount > 0 for amount in found.values())
    assert {code for _, code in amounts(listed("cup", "linear"))} == set(PARTS)


def test_a_design_that_is_not_known_takes_no_parts_and_is_kept_on_the_list() -> None:
    found = listed("pail", "cup")
    assert found.kinds == ("", "cup")
    assert amounts(found)["cup", "sleeve"] == 1
    named = PartsSettings(cup_designs=("cup", "pail"))
    assert amounts(listed("pail", "cup", settings=named))["cup", "sleeve"] == 2


def test_no_traps_take_no_parts() -> None:
    assert listed().parts == ()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"length": "3"}, r"parts\.linear\.length: expected a length like '25 ft', found '3'"),
        ({"length": "3 gal"}, r"parts\.linear\.length: expected a length"),
        ({"bridge": "0 in"}, r"parts\.linear\.bridge: expected a length above zero"),
        ({"slot_width": "2 in"}, r"slot_width \(2 in\) must be below the bore"),
        ({"outside": "1 in"}, r"outside \(1 in\) must be at least the bore"),
        ({"slot_length": "4 ft"}, r"no slot of 1\.219 m fits into a pipe of 0\.914 m"),
        ({"stock": "2 ft"}, r"stock \(2 ft\) must be at least the length"),
        ({"fall": 30.0}, r"fall must be 0 to 20 percent; got 30"),
        ({"cup": "8 oz"}, r"parts\.linear\.cup: expected a volume"),
    ],
)
def test_sizes_that_cannot_be_are_refused(change: dict[str, Any], message: str) -> None:
    with pytest.raises(SettingsError, match=message):
        linear_sizes(replace(LinearParts(), **change))


def test_a_cup_of_impossible_parts_is_refused() -> None:
    with pytest.raises(SettingsError, match=r"parts\.cup\.staples must be 0 or more; got -1"):
        cup_sizes(CupParts(staples=-1))
    with pytest.raises(SettingsError, match=r"parts\.cup\.bore: expected a length"):
        cup_sizes(CupParts(bore="108"))
