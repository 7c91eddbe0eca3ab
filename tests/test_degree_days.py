"""Degree-days against printed values, numerical integration and identities."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from data.findings import SettingsError
from spatial.degree_days import (
    CUT_OFFS,
    METHODS,
    SHAPED,
    CutOff,
    DegreeDayRule,
    Method,
    degree_days,
)


def one(low: float, high: float, rule: DegreeDayRule) -> float:
    return float(degree_days([low], [high], rule)[0])


WITHOUT_UPPER = [
    (40, 70, 50, 5, 7.5424, 6.6667),
    (48, 80, 50, 14, 14.2136, 14.0625),
    (45, 65, 50, 5, 6.0900, 5.6250),
    (52, 78, 50, 15, 15, 15),
    (30, 49, 50, 0, 0, 0),
    (7, 20, 10, 3.5, 4.1269, 3.8462),
    (-3, 9, 5, 0, 1.0170, 0.6667),
]
"""Low, high, base, simple, sine, triangle: worked by the formulas of Baskerville & Emin (1969); the
average of the first is printed in a trade sheet (Niemczyk & Shetlar excerpt, 2001)."""


@pytest.mark.parametrize(("low", "high", "base", "simple", "sine", "triangle"), WITHOUT_UPPER)
def test_worked_days_without_an_upper_threshold(
    low: float, high: float, base: float, simple: float, sine: float, triangle: float
) -> None:
    found = [one(low, high, DegreeDayRule(base, each)) for each in ("simple", "sine", "triangle")]
    assert found == pytest.approx([simple, sine, triangle], abs=5e-5)


FIRST_ROWS = [(38, 55, 1.19, 0.74), (36, 67, 5.71, 4.66)]
"""Low, high, single sine, single triangle, base 50 and upper 70 F horizontal: the first rows of the
same public calculator's answers for 2020."""


@pytest.mark.parametrize(("low", "high", "sine", "triangle"), FIRST_ROWS)
def test_printed_days(low: float, high: float, sine: float, triangle: float) -> None:
    printed_by: dict[Method, float] = {"sine": sine, "triangle": triangle}
    for method, printed in printed_by.items():
        found = one(low, high, DegreeDayRule(50, method, 70, "horizontal"))
        assert found == pytest.approx(printed, abs=0.005)


SINE_12_33 = [
    (7, 14, 0.468059), (7, 10, 0), (13, 14, 1.5), (35, 40, 21), (13, 40, 12.944349),
    (7, 40, 10.939668), (7, 20, 2.874355),
]  # fmt: skip
"""Low, high, degree-days by the sine with a horizontal cut-off between 12 and 33 C: numerical
integration of the curve; .47, 12.94 and 10.94 are also those of test 19 of the TrenchR package (21
in place of its 5 for 35 and 40, which leaves the upper threshold out)."""


@pytest.mark.parametrize(("low", "high", "expected"), SINE_12_33)
def test_the_sine_between_two_thresholds(low: float, high: float, expected: float) -> None:
    rule = DegreeDayRule(12, "sine", 33, "horizontal")
    assert one(low, high, rule) == pytest.approx(expected, abs=5e-7)


TRIANGLE_12_33 = [(7, 14, 0.29), (13, 40, 13.59), (7, 40, 11.14)]
"""The same by the triangle, as test 19 of the TrenchR package prints them."""


@pytest.mark.parametrize(("low", "high", "expected"), TRIANGLE_12_33)
def test_the_triangle_between_two_thresholds(low: float, high: float, expected: float) -> None:
    rule = DegreeDayRule(12, "triangle", 33, "horizontal")
    assert one(low, high, rule) == pytest.approx(expected, abs=0.005)


CUT = {
    (45, 95): {"sine": (12.7202, 4.7625, 2.7202), "triangle": (14.0, 7.75, 4.0)},
    (72, 90): {"sine": (20, 9, 0), "triangle": (20, 9, 0)},
}
"""Base 50, upper 70 F: horizontal, intermediate, vertical; by the formulas of this module's head,
which agree with the printed answers of a public calculator on 366 days of 2020 to .005 for ten of
twelve methods."""


@pytest.mark.parametrize("day", CUT)
@pytest.mark.parametrize("method", ["sine", "triangle"])
def test_days_with_every_cut_off(day: tuple[float, float], method: Method) -> None:
    cuts: tuple[CutOff, ...] = ("horizontal", "intermediate", "vertical")
    found = [one(*day, DegreeDayRule(50, method, 70, cut)) for cut in cuts]
    assert found == pytest.approx(CUT[day][method], abs=5e-5)


PRINTED_DOUBLE: tuple[tuple[Method, Method, float], ...] = (
    ("sine", "double_sine", 1.15),
    ("triangle", "double_triangle", 0.70),
)


def test_a_double_method_is_the_mean_of_its_halves() -> None:
    """The first day runs up from 38 and down to 36 F, as in the rows printed for 2020."""
    lows, highs = [38.0, 36.0], [55.0, 67.0]
    for single, double, printed in (
        ("sine", "double_sine", 1.15),
        ("triangle", "double_triangle", 0.70),
    ):
        rule = DegreeDayRule(50, single, 70, "horizontal")
        found = degree_days(lows, highs, DegreeDayRule(50, double, 70, "horizontal"))
        halves = (one(38, 55, rule) + one(36, 55, rule)) / 2
        assert found[0] == pytest.approx(halves, abs=1e-12)
        assert found[0] == pytest.approx(printed, abs=0.005)
        # The last day has no tomorrow: its own low again.
        assert found[1] == pytest.approx(one(36, 67, rule), abs=1e-12)


@pytest.mark.parametrize("method", ["sine", "triangle"])
def test_closed_forms_are_the_integrals_of_20_000_days(method: Method) -> None:
    """A(T) by the midpoint rule on the pieces between the crossings, which are smooth there."""
    random = np.random.default_rng(12)
    low = random.uniform(-10, 30, 20_000)
    high = low + random.uniform(0.01, 25, 20_000)
    base, upper = 10.0, 24.0
    found = degree_days(low, high, DegreeDayRule(base, method, upper, "horizontal"))
    nodes, weights = np.polynomial.legendre.leggauss(40)
    mean, half = (low + high) / 2, (high - low) / 2

    # Half a wave from the low up to the high; where it crosses a level, in closed form.
    def crossing(level: float) -> np.ndarray:
        share = np.clip((level - mean) / half, -1, 1)
        return np.arcsin(share) if method == "sine" else share

    end = math.pi / 2 if method == "sine" else 1.0
    starts, ends = crossing(base), crossing(upper)
    middle, reach = (starts + ends) / 2, (ends - starts) / 2
    angles = middle[:, None] + reach[:, None] * nodes
    wave = np.sin(angles) if method == "sine" else angles
    inside = ((mean[:, None] + half[:, None] * wave - base) * weights).sum(axis=1) * reach
    whole = (inside + (end - ends) * (upper - base)) / (2 * end)
    assert found == pytest.approx(whole, abs=1e-10)


TEMPERATURES = hnp.arrays(float, 8, elements=st.floats(-20, 45))


@pytest.mark.parametrize("method", METHODS)
@given(low=TEMPERATURES, rise=hnp.arrays(float, 8, elements=st.floats(0, 25)))
def test_fahrenheit_counts_are_nine_fifths_of_celsius(
    method: Method, low: np.ndarray, rise: np.ndarray
) -> None:
    celsius = degree_days(low, low + rise, DegreeDayRule(10, method, 30, "horizontal"))
    low_f, high_f = low * 1.8 + 32, (low + rise) * 1.8 + 32
    fahrenheit = degree_days(
        low_f, np.maximum(low_f, high_f), DegreeDayRule(50, method, 86, "horizontal")
    )
    assert fahrenheit == pytest.approx(1.8 * celsius, abs=1e-9)


@pytest.mark.parametrize("method", METHODS)
@given(low=TEMPERATURES, rise=hnp.arrays(float, 8, elements=st.floats(0, 25)))
def test_a_higher_base_or_a_lower_upper_threshold_never_counts_more(
    method: Method, low: np.ndarray, rise: np.ndarray
) -> None:
    high = low + rise
    counted = degree_days(low, high, DegreeDayRule(10, method, 30, "horizontal"))
    assert (counted >= -1e-12).all()
    assert (
        degree_days(low, high, DegreeDayRule(12, method, 30, "horizontal")) <= counted + 1e-9
    ).all()
    assert (
        degree_days(low, high, DegreeDayRule(10, method, 25, "horizontal")) <= counted + 1e-9
    ).all()
    assert (degree_days(low, high, DegreeDayRule(10, method)) >= counted - 1e-9).all()


@pytest.mark.parametrize("method", SHAPED)
def test_cut_offs_stand_in_order(method: Method) -> None:
    random = np.random.default_rng(3)
    low = random.uniform(0, 30, 500)
    high = low + random.uniform(0, 20, 500)
    none = degree_days(low, high, DegreeDayRule(10, method))
    horizontal, intermediate, vertical = (
        degree_days(low, high, DegreeDayRule(10, method, 28, cut)) for cut in CUT_OFFS[1:]
    )
    assert (none >= horizontal - 1e-9).all()
    assert (horizontal >= intermediate - 1e-9).all()
    assert (horizontal >= vertical - 1e-9).all()


def test_an_unknown_temperature_makes_no_number() -> None:
    low, high = [5.0, math.nan, 8.0, 9.0], [20.0, 21.0, math.nan, 22.0]
    for method in METHODS:
        found = degree_days(low, high, DegreeDayRule(10, method))
        assert np.isnan(found).tolist()[1:3] == [True, True]
        # A double day takes the low of the next.
        assert np.isnan(found[0]) == method.startswith("double")


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        ({"method": "cosine"}, r"one of simple, .*; found 'cosine'"),
        ({"upper": 5.0, "cut_off": "horizontal"}, "must be above the base; found 5 and 10"),
        ({"upper": 30.0}, "an upper threshold a cut-off; found 'none' with 30"),
        ({"cut_off": "vertical", "method": "sine"}, "needs an upper threshold"),
        ({"upper": 30.0, "cut_off": "vertical"}, "needs a sine or triangle; found 'simple'"),
    ],
)
def test_rules_that_do_not_fit_together_are_told(parts: dict[str, Any], message: str) -> None:
    with pytest.raises(SettingsError, match=message):
        DegreeDayRule(10.0, **parts)


def test_a_low_above_its_high_is_refused_by_place() -> None:
    with pytest.raises(ValueError, match=r"the low is above the high at \[1\]; swap them"):
        degree_days([5, 20], [10, 15], DegreeDayRule(10))
    with pytest.raises(ValueError, match="of one shape"):
        degree_days([5, 20], [10], DegreeDayRule(10))


def test_many_stations_at_once_are_the_same_as_one_by_one() -> None:
    random = np.random.default_rng(8)
    low = random.uniform(-5, 20, (5, 400))
    high = low + random.uniform(0, 15, (5, 400))
    for method in METHODS:
        rule = DegreeDayRule(10, method)
        together = degree_days(low, high, rule)
        apart = np.stack([degree_days(a, b, rule) for a, b in zip(low, high, strict=True)])
        assert np.array_equal(together, apart)
