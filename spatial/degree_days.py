"""Degree-days of a day from its lowest and highest temperature, by every usual method.

With L the base, U the upper threshold, m the mean and a half the range of the day, and A(T) the
mean over the day of max(temperature - T, 0):

* ``simple``: m - L, not below 0 (McMaster & Wilhelm 1997, Agric. For. Meteorol. 87, 291-300,
  method 1);
* ``modified``: both temperatures are first raised to L, then as above (the same, method 2);
* ``sine``: the day is a sine wave. A(T) = ((m - T)(pi/2 - t) + a cos t) / pi with
  t = arcsin((T - m) / a) where T lies between the two (Baskerville & Emin 1969, Ecology 50,
  514-517);
* ``triangle``: the day is a straight line up and down. A(T) = (Tmax - T)**2 / (2 (Tmax - Tmin));
* ``double_sine``, ``double_triangle``: half of the day runs down to the low of the next day (Allen
  1976, Environ. Entomol. 5, 388-396).

Cut-offs say what happens above U: ``none``; ``horizontal``, no faster there, A(L) - A(U);
``intermediate``, slower again, A(L) - 2 A(U), not below 0; ``vertical``, nothing at all there,
A(L) - A(U) - (U - L) times the share of the day above U. For the averages, horizontal lowers both
temperatures to U first; the other two need a shape of the day.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from data.findings import SettingsError
from spatial.arrays import FloatArray

Method = Literal["simple", "modified", "sine", "double_sine", "triangle", "double_triangle"]
CutOff = Literal["none", "horizontal", "intermediate", "vertical"]

METHODS: tuple[Method, ...] = get_args(Method)
CUT_OFFS: tuple[CutOff, ...] = get_args(CutOff)
SHAPED = ("sine", "double_sine", "triangle", "double_triangle")
"""Methods that give the day a shape, which intermediate and vertical cut-offs need."""


@dataclass(frozen=True, slots=True)
class DegreeDayRule:
    """How degree-days are counted.

    Parameters
    ----------
    base
        Lower threshold.
    method
        One of `METHODS`.
    upper
        Upper threshold in the same unit; ``inf`` for none.
    cut_off
        One of `CUT_OFFS`.

    Raises
    ------
    SettingsError
        If the parts do not fit together.
    """

    base: float
    method: Method = "simple"
    upper: float = math.inf
    cut_off: CutOff = "none"

    def __post_init__(self) -> None:
        if self.method not in METHODS or self.cut_off not in CUT_OFFS:
            raise SettingsError(
                f"a degree-day method is one of {', '.join(METHODS)} and a cut-off one of "
                f"{', '.join(CUT_OFFS)}; found {self.method!r} and {self.cut_off!r}"
            )
        if not math.isfinite(self.base) or not self.upper > self.base:
            raise SettingsError(
                f"the upper threshold must be above the base; found {self.upper:g} and "
                f"{self.base:g}"
            )
        if (self.cut_off == "none") != math.isinf(self.upper):
            raise SettingsError(
                f"a cut-off needs an upper threshold, and an upper threshold a cut-off; found "
                f"{self.cut_off!r} with {self.upper:g}"
            )
        if self.cut_off in ("intermediate", "vertical") and self.method not in SHAPED:
            raise SettingsError(
                f"a cut-off {self.cut_off!r} needs a sine or triangle; found {self.method!r}"
            )


def degree_days(tmin: npt.ArrayLike, tmax: npt.ArrayLike, rule: DegreeDayRule) -> FloatArray:
    """Return the degree-days of every day.

    Parameters
    ----------
    tmin, tmax
        Lowest and highest temperature, shape (..., days), in the unit of the thresholds; NaN where
        not known.
    rule
        How to count.

    Returns
    -------
    ndarray
        Same shape, in degree-days of that unit; NaN where a temperature that it takes is not known.
        A double method takes the low of the next day, and today's again on the last day.

    Raises
    ------
    ValueError
        If the shapes differ, or a low is above its high.

    Examples
    --------
    40 and 70 F over a base of 50 F, as averaged by hand, by the sine and by the triangle:

    >>> [float(degree_days([40], [70], DegreeDayRule(50, each))[0].round(4))
    ...  for each in ("simple", "sine", "triangle")]
    [5.0, 7.5424, 6.6667]
    """
    low, high = np.asarray(tmin, dtype=float), np.asarray(tmax, dtype=float)
    if low.shape != high.shape:
        raise ValueError(f"expected lows and highs of one shape, found {low.shape}, {high.shape}")
    if (low > high).any():
        place = np.argwhere(low > high)[0]
        raise ValueError(f"the low is above the high at {place.tolist()}; swap them")
    if rule.method in ("simple", "modified"):
        return _averaged(low, high, rule)
    half = _half_days(low, high, rule)
    if not rule.method.startswith("double"):
        return half
    following = np.concatenate([low[..., 1:], low[..., -1:]], axis=-1)
    later = _half_days(np.minimum(following, high), np.maximum(following, high), rule)
    return np.asarray((half + later) / 2, dtype=float)


def _averaged(low: FloatArray, high: FloatArray, rule: DegreeDayRule) -> FloatArray:
    if rule.method == "modified":
        low, high = np.maximum(low, rule.base), np.maximum(high, rule.base)
    low, high = np.minimum(low, rule.upper), np.minimum(high, rule.upper)
    return np.asarray(np.maximum((low + high) / 2 - rule.base, 0.0), dtype=float)


def _half_days(low: FloatArray, high: FloatArray, rule: DegreeDayRule) -> FloatArray:
    """Return what days of these lows and highs count, by the shape and cut-off of the rule."""
    above = _above_sine if rule.method.endswith("sine") else _above_triangle
    base = above(low, high, rule.base)[0]
    if rule.cut_off == "none":
        return base
    over, share = above(low, high, rule.upper)
    if rule.cut_off == "horizontal":
        return np.asarray(base - over, dtype=float)
    if rule.cut_off == "intermediate":
        return np.asarray(np.maximum(base - 2 * over, 0.0), dtype=float)
    whole = base - over - (rule.upper - rule.base) * share
    # What is left of a rounding is no degree-day.
    return np.asarray(np.maximum(whole, 0.0), dtype=float)


Above = Callable[[FloatArray, FloatArray, float], tuple[FloatArray, FloatArray]]


def _above_sine(low: FloatArray, high: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
    """Return degree-days above a level, and the share of the day above it."""
    mean, half = (low + high) / 2, (high - low) / 2
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        angle = np.arcsin(np.clip((level - mean) / half, -1.0, 1.0))
    between = ((mean - level) * (math.pi / 2 - angle) + half * np.cos(angle)) / math.pi
    share = (math.pi / 2 - angle) / math.pi
    return _by_place(low, high, level, (between, share))


def _above_triangle(
    low: FloatArray, high: FloatArray, level: float
) -> tuple[FloatArray, FloatArray]:
    """Return degree-days above a level, and the share of the day above it."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        share = np.clip((high - level) / (high - low), 0.0, 1.0)
    between = (high - level) * share / 2
    return _by_place(low, high, level, (between, share))


def _by_place(
    low: FloatArray, high: FloatArray, level: float, between: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return the values of days all above, all below, and through a level."""
    mean = (low + high) / 2
    known = ~(np.isnan(low) | np.isnan(high))
    cases = [~known, low >= level, high <= level]
    area = np.select(cases, [np.nan, mean - level, 0.0], between[0])
    share = np.select(cases, [np.nan, 1.0, 0.0], between[1])
    return np.asarray(area, dtype=float), np.asarray(share, dtype=float)
