"""Evenly spread places inside a shape."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from spatial.arrays import FloatArray

MOST_PLACES = 250_000
"""A lattice of a box with more places than this is refused: the spacing is a slip."""


def lattice(shape: BaseGeometry, spacing_m: float) -> FloatArray:
    """Return the places of a square lattice that lie inside a shape, shape (n, 2).

    The lattice is centred on the shape's box, so that it depends on the shape alone.

    Parameters
    ----------
    shape
        In metres.
    spacing_m
        Above zero.

    Raises
    ------
    ValueError
        If the box of the shape would hold more than `MOST_PLACES`.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> lattice(box(0, 0, 4, 2), 2.0).tolist()
    [[1.0, 1.0], [3.0, 1.0]]
    """
    if shape.is_empty:
        return np.empty((0, 2))
    low_x, low_y, high_x, high_y = shape.bounds
    counts = [max(1, math.floor(far / spacing_m)) for far in (high_x - low_x, high_y - low_y)]
    if counts[0] * counts[1] > MOST_PLACES:
        message = (
            f"expected a spacing that gives at most {MOST_PLACES} places in the box of a shape; "
            f"{spacing_m:g} m gives {counts[0] * counts[1]}: take a wider one"
        )
        raise ValueError(message)
    along_x = (low_x + high_x) / 2 + spacing_m * (np.arange(counts[0]) - (counts[0] - 1) / 2)
    along_y = (low_y + high_y) / 2 + spacing_m * (np.arange(counts[1]) - (counts[1] - 1) / 2)
    x, y = (each.ravel() for each in np.meshgrid(along_x, along_y))
    shapely.prepare(shape)
    inside = shapely.intersects_xy(shape, x, y)
    return np.asarray(np.column_stack([x, y])[inside], dtype=float)
