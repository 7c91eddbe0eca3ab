"""Smooth outlines: the bending ribbons and rounded blobs that a property is drawn from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

Array = NDArray[np.float64]
Point = tuple[float, float]

GRID_M = 0.01
"""Every corner lies on this grid, so that last-bit differences between machines vanish."""


def bend(points: Sequence[Point], start_m: float, end_m: float, stations: int) -> Array:
    """Return the stations of a gently bending line through three points.

    Parameters
    ----------
    points
        Start, turning point and end, in metres.
    start_m, end_m
        Distances along the chords at which the stations begin and end; below zero and beyond the
        last point the line is carried on. Stations lie closer together at both ends.
    stations
        How many.

    Returns
    -------
    Array
        Shape (stations, 2), metres.

    Examples
    --------
    >>> bend([(0, 0), (50, 0), (100, 0)], 0, 100, 3).round(6).tolist()
    [[0.0, 0.0], [50.0, 0.0], [100.0, 0.0]]
    """
    a, b, c = np.asarray(points, dtype=float)
    first, whole = chord_m(points[:2]), chord_m(points)
    steps = (1 - np.cos(np.linspace(0, np.pi, stations))) / 2
    s = (start_m + (end_m - start_m) * steps)[:, None]
    wa = (s - first) * (s - whole) / (first * whole)
    wb = s * (s - whole) / (first * (first - whole))
    wc = s * (s - first) / (whole * (whole - first))
    line: Array = wa * a + wb * b + wc * c
    return line


def chord_m(points: Sequence[Point]) -> float:
    """Return the length of the straight pieces through some points.

    Examples
    --------
    >>> chord_m([(0, 0), (3, 4), (3, 10)])
    11.0
    """
    steps = np.diff(np.asarray(points, dtype=float), axis=0)
    return float(np.hypot(steps[:, 0], steps[:, 1]).sum())


def ribbon(line: Array, half_width_m: float, wobble: float, rng: np.random.Generator) -> Polygon:
    """Return a band along a line, with rounded ends and uneven edges.

    Parameters
    ----------
    line
        Shape (n, 2), metres.
    half_width_m
        Distance from the line to either edge.
    wobble
        Share of the width by which the edges swing in and out.
    rng
        Decides where they swing.

    Examples
    --------
    >>> line = bend([(0, 0), (50, 0), (100, 0)], 0, 100, 9)
    >>> ribbon(line, 10, 0.0, np.random.default_rng(1)).bounds
    (0.0, -10.0, 100.0, 10.0)
    """
    across = _normals(line)
    taper = (1 - np.abs(np.cos(np.linspace(0, np.pi, len(line)))) ** 5) ** 0.4
    left, right = (half_width_m * taper * _swing(len(line), wobble, rng) for _ in range(2))
    there = line + across * left[:, None]
    back = (line - across * right[:, None])[-2:0:-1]
    return on_grid(Polygon(np.vstack([there, back])))


def blob(centre: Point, radii_m: Point, angle_deg: float, rng: np.random.Generator) -> Polygon:
    """Return a rounded, slightly uneven ellipse.

    Parameters
    ----------
    centre, radii_m
        Metres; the first radius lies along `angle_deg`, counted from east towards north.
    rng
        Decides where the outline bulges.
    """
    corners = 8 if max(radii_m) < 8 else 16 if max(radii_m) < 40 else 24
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    phase = rng.uniform(0, 2 * np.pi, 2)
    radius = 1 + 0.10 * np.sin(2 * turn + phase[0]) + 0.06 * np.sin(3 * turn + phase[1])
    flat = np.column_stack([np.cos(turn) * radii_m[0], np.sin(turn) * radii_m[1]])
    return on_grid(Polygon(turned(flat * radius[:, None], angle_deg) + np.asarray(centre)))


def block(centre: Point, size_m: Point, angle_deg: float, corner_m: float = 6.0) -> Polygon:
    """Return a rectangle with cut corners.

    Examples
    --------
    >>> block((0, 0), (100, 60), 0, 0.0).area
    6000.0
    """
    x, y = size_m[0] / 2, size_m[1] / 2
    if corner_m > 0:
        c = corner_m
        corners = [(x, y - c), (x - c, y), (c - x, y), (-x, y - c)]
        corners += [(-x, c - y), (c - x, -y), (x - c, -y), (x, c - y)]
    else:
        corners = [(x, y), (-x, y), (-x, -y), (x, -y)]
    return on_grid(Polygon(turned(np.asarray(corners), angle_deg) + np.asarray(centre)))


def fan(home: Point, radius_m: float, angle_deg: float) -> Polygon:
    """Return a quarter disc, the shape of a ball field, opening around `angle_deg`."""
    turn = np.radians(np.linspace(-45, 45, 11) + angle_deg)
    arc = np.column_stack([np.cos(turn), np.sin(turn)]) * radius_m
    return on_grid(Polygon(np.vstack([[0.0, 0.0], arc]) + np.asarray(home)))


def rounded(points: Sequence[Point]) -> LineString:
    """Return a line with its corners cut off, keeping both ends.

    Examples
    --------
    >>> rounded([(0, 0), (40, 0), (40, 40)]).wkt
    'LINESTRING (0 0, 30 0, 40 10, 40 40)'
    """
    line = np.asarray(points, dtype=float)
    early, late = 0.75 * line[:-1] + 0.25 * line[1:], 0.25 * line[:-1] + 0.75 * line[1:]
    cut = np.stack([early, late], axis=1).reshape(-1, 2)[1:-1]
    return LineString(np.round(np.vstack([line[:1], cut, line[-1:]]), 2))


def turned(points: Array, angle_deg: float) -> Array:
    """Return points turned about the origin, counter-clockwise.

    Examples
    --------
    >>> turned(np.array([[1.0, 0.0]]), 90).round(6).tolist()
    [[0.0, 1.0]]
    """
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    x, y = points[:, 0], points[:, 1]
    return np.column_stack([x * c - y * s, x * s + y * c])


def on_grid(shape: Polygon) -> Polygon:
    """Return a polygon with its corners on the grid; the largest part if it falls apart."""
    return largest(shapely.set_precision(shape, GRID_M))


def without(shape: Polygon, *others: BaseGeometry) -> Polygon:
    """Return the largest part of a polygon outside some others, on the grid.

    Examples
    --------
    >>> without(block((0, 0), (10, 10), 0, 0.0), block((5, 0), (10, 10), 0, 0.0)).area
    50.0
    """
    return largest(shapely.difference(shape, shapely.union_all(others), grid_size=GRID_M))


def largest(shape: BaseGeometry) -> Polygon:
    """Return the largest polygon of a shape.

    Raises
    ------
    ValueError
        If the shape holds no polygon.
    """
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and not p.is_empty]
    if not parts:
        raise ValueError(f"the shape must hold a polygon. Got {shape.geom_type} instead.")
    return max(parts, key=lambda part: part.area)


def _normals(line: Array) -> Array:
    along = np.gradient(line, axis=0)
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])


def _swing(count: int, wobble: float, rng: np.random.Generator) -> Array:
    phase = rng.uniform(0, 2 * np.pi, 2)
    along = np.linspace(0, 1, count)
    swing = np.sin(2 * np.pi * 1.5 * along + phase[0]) + np.sin(2 * np.pi * 2.5 * along + phase[1])
    out: Array = 1 + wobble * swing / 2
    return out
