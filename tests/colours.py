"""How far apart two colours look: CAM02-UCS, seen with usual vision and three deficiencies."""

from __future__ import annotations

import math

from coloraide import Color
from coloraide.spaces.cam02 import CAM02JMh
from coloraide.spaces.cam02_ucs import CAM02UCS

VISIONS = ("usual", "protan", "deutan", "tritan")
"""Usual vision, and the loss of each of the three cones at its full (Machado et al. 2009)."""

LEAST_DISTANCE, LEAST_STEP = 15.0, 8.0


class Seen(Color):
    """A colour with the spaces that are needed here."""


Seen.register([CAM02JMh(), CAM02UCS()])


def place(colour: str, vision: str = "usual") -> tuple[float, float, float]:
    """Return J', a', b' of CAM02-UCS (Luo, Cui & Li 2006), clipped to what a screen can show."""
    seen = Seen(colour)
    if vision != "usual":
        seen = seen.filter(vision, 1.0, method="machado").clip()
    j, a, b = seen.convert("cam02-ucs").coords()
    return j, a, b


def distance(one: str, other: str, vision: str = "usual") -> float:
    """Return how far apart two colours look to a vision; about 1 can just be seen."""
    return math.dist(place(one, vision), place(other, vision))


def least_distance(one: str, other: str) -> float:
    """Return the distance of two colours in the vision that tells them apart worst."""
    return min(distance(one, other, vision) for vision in VISIONS)


def step(one: str, other: str) -> float:
    """Return how far apart two colours are in lightness J' when printed in grey."""
    return abs(place(grey(one))[0] - place(grey(other))[0])


def told_apart(one: str, other: str) -> bool:
    """Tell whether colour alone is enough: 15 for every vision, and 8 of lightness in grey."""
    return least_distance(one, other) >= LEAST_DISTANCE and step(one, other) >= LEAST_STEP


def grey(colour: str) -> str:
    """Return a colour as a printer without ink of colour prints it (luma, ITU-R BT.601)."""
    parts = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
    level = round(0.299 * parts[0] + 0.587 * parts[1] + 0.114 * parts[2])
    return f"#{level:02x}{level:02x}{level:02x}"
