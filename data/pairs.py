"""Looking for shapes that meet, with a bound on how many pairs are looked at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import shapely

MOST_PAIRS = 50_000
"""Pairs of shapes that are looked at; a site where more of them meet is drawn wrongly."""

MOST_CROSSINGS = 500_000
"""Pairs of edges near each other for which overlaps are measured: some 5 s on a slow machine."""

MOST_POSITION_TESTS = 200_000_000
"""Traps times vertices of shapes: finding a trap's zone may look at each vertex for each trap."""

_AT_ONCE = 1_000_000
"""Pairs that a single query may return."""

_Shapes = npt.NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Pairs:
    """Which shapes meet.

    Parameters
    ----------
    first, second
        Places in the two arrays of shapes, of shape (n,).
    complete
        False when there are more pairs than were looked for.
    """

    first: npt.NDArray[np.int64]
    second: npt.NDArray[np.int64]
    complete: bool = True


def meeting(
    shapes: _Shapes,
    others: _Shapes,
    predicate: Literal["within", "dwithin"] | None = None,
    distance: float | None = None,
) -> Pairs:
    """Return which shapes meet, `MOST_PAIRS` at most.

    Parameters
    ----------
    shapes, others
        Arrays of shapes.
    predicate
        As `shapely.STRtree.query` takes it; None compares the boxes around the shapes.
    distance
        For the predicate ``"dwithin"``.

    Examples
    --------
    >>> points = shapely.points([[0, 0], [3, 0], [9, 0]])
    >>> pairs = meeting(points, points[1:], "dwithin", 5.0)
    >>> list(zip(pairs.first.tolist(), pairs.second.tolist())), pairs.complete
    ([(0, 0), (1, 0), (2, 1)], True)
    """
    tree = shapely.STRtree(others)
    step = max(1, _AT_ONCE // max(1, len(others)))
    found, count = [np.empty((2, 0), dtype=np.int64)], 0
    for start in range(0, len(shapes), step):
        some = shapes[start : start + step]
        if predicate == "dwithin":
            part = tree.query(some, predicate="dwithin", distance=distance or 0.0)
        else:
            part = tree.query(some, predicate=predicate)
        found.append(part + np.array([[start], [0]]))
        count += part.shape[1]
        if count > MOST_PAIRS:
            break
    first, second = np.concatenate(found, axis=1)[:, :MOST_PAIRS]
    return Pairs(first, second, count <= MOST_PAIRS)


def cross_too_often(one: _Shapes, other: _Shapes) -> npt.NDArray[np.bool_]:
    """Return True on pairs whose overlap would take too long to measure, on top of those before.

    Two outlines of n and m vertices can cross n times m times, and each crossing is a point of
    their overlap. Edges whose boxes meet are counted, for that costs a tenth.

    Parameters
    ----------
    one, other
        Polygons, shape (n,); each pair is one place of both.
    """
    sizes = (shapely.get_num_coordinates(each).astype(np.int64) for each in (one, other))
    most = np.prod([*sizes], axis=0)
    too_often = np.zeros(len(one), dtype=bool)
    if most.sum() <= MOST_CROSSINGS:
        return too_often
    left = MOST_CROSSINGS
    for place in range(len(one)):
        count = _near_edges(one[place], other[place], left)
        too_often[place] = count > left
        left -= 0 if too_often[place] else count
    return too_often


def _near_edges(one: shapely.Geometry, other: shapely.Geometry, most: int) -> int:
    """Count the pairs of edges whose boxes meet, up to one chunk more than `most`."""
    edges, others = _edges(one), _edges(other)
    tree = shapely.STRtree(others)
    step, count = max(1, _AT_ONCE // max(1, len(others))), 0
    for start in range(0, len(edges), step):
        count += tree.query(edges[start : start + step]).shape[1]
        if count > most:
            break
    return count


def _edges(shape: shapely.Geometry) -> _Shapes:
    """Return every edge of a polygon as a line."""
    places, ring = shapely.get_coordinates(shapely.get_rings(shape), return_index=True)
    same = ring[1:] == ring[:-1]
    ends = np.stack((places[:-1][same], places[1:][same]), axis=1)
    return np.asarray(shapely.linestrings(ends), dtype=object)
