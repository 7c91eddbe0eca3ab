"""Soil cores: larvae found in them, as larvae per area."""

from __future__ import annotations

import math
from typing import Literal

CM2_PER_FT2 = 30.48**2
"""International foot: 30.48 cm exactly."""

CM2_PER_M2 = 100.0**2

CM_PER_INCH = 2.54
"""International inch, exactly."""

CUP_CUTTER_CM = 4.25 * CM_PER_INCH
"""Diameter of the cores that a golf cup cutter takes, 4.25 inches (from memory)."""


def diameter_cm(diameter: float, unit: Literal["in", "cm"]) -> float:
    """Return a diameter in cm.

    Examples
    --------
    >>> round(diameter_cm(4.25, "in"), 3), diameter_cm(10, "cm")
    (10.795, 10)
    """
    return diameter * CM_PER_INCH if unit == "in" else diameter


def core_area_cm2(diameter_cm: float) -> float:
    """Return the area of one round core in cm2.

    Examples
    --------
    A 4.25-inch cup cutter, and how many such cores make a square foot (the trade's "times 10" is
    1.5 % low):

    >>> round(core_area_cm2(4.25 * 2.54), 1), round(CM2_PER_FT2 / core_area_cm2(4.25 * 2.54), 2)
    (91.5, 10.15)
    """
    return math.pi * (diameter_cm / 2) ** 2


def larvae_per_ft2(larvae: float, cores: float, diameter_cm: float) -> float:
    """Return larvae per square foot from pooled cores.

    Examples
    --------
    One larva in one core already reads ten per square foot; one in ten cores reads one:

    >>> round(larvae_per_ft2(1, 1, 10.795), 2), round(larvae_per_ft2(1, 10, 10.795), 2)
    (10.15, 1.02)
    """
    return larvae * CM2_PER_FT2 / (cores * core_area_cm2(diameter_cm))


def larvae_per_m2(larvae: float, cores: float, diameter_cm: float) -> float:
    """Return larvae per square metre from pooled cores.

    Examples
    --------
    >>> round(larvae_per_m2(1, 10, 10.795), 1)
    10.9
    """
    return larvae * CM2_PER_M2 / (cores * core_area_cm2(diameter_cm))
