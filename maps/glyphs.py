"""Outlines of the trap shapes, for the key; the page's script draws the same on the map."""

from __future__ import annotations

import math

_CORNERS = {"square": (4, 45.0), "triangle": (3, -90.0), "diamond": (4, 0.0), "hexagon": (6, 0.0)}


def outline(shape: str, radius: float) -> str:
    """Return the SVG path of a shape round the origin, as large in area as a circle of `radius`.

    Parameters
    ----------
    shape
        ``"circle"``, ``"square"``, ``"triangle"``, ``"diamond"`` or ``"hexagon"``.
    radius
        Radius of the circle of equal area, px.

    Examples
    --------
    >>> outline("circle", 5)
    'M-5 0a5 5 0 1 0 10 0a5 5 0 1 0 -10 0z'
    >>> outline("square", 2)
    'M1.77 1.77L-1.77 1.77L-1.77 -1.77L1.77 -1.77z'
    """
    if shape == "circle":
        r = f"{radius:g}"
        return f"M-{r} 0a{r} {r} 0 1 0 {2 * radius:g} 0a{r} {r} 0 1 0 -{2 * radius:g} 0z"
    count, start = _CORNERS[shape]
    reach = radius * math.sqrt(2 * math.pi / (count * math.sin(2 * math.pi / count)))
    angles = [math.radians(start + k * 360 / count) for k in range(count)]
    corners = [f"{reach * math.cos(a):.2f} {reach * math.sin(a):.2f}" for a in angles]
    return f"M{'L'.join(corners)}z"
