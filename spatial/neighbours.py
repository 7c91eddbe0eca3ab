"""Which traps are neighbours: the nearest ones on foot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from spatial.arrays import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    from libpysal.graph import Graph


@dataclass(frozen=True, slots=True)
class Neighbours:
    """A symmetric neighbour graph of trap locations with binary weights.

    Parameters
    ----------
    ids
        Location ids, in the order of the rows.
    adjacency
        Shape (n, n), True where two locations are neighbours; the diagonal is False.
    distance_m
        Walking distances, shape (n, n); infinite beyond the cut-off.

    Examples
    --------
    >>> line = np.abs(np.subtract.outer([0.0, 10, 20, 500], [0.0, 10, 20, 500]))
    >>> nearest_on_foot(["T1", "T2", "T3", "T4"], line, k=1, cutoff_m=100).links()
      focal neighbor  distance_m
    0    T1       T2        10.0
    1    T2       T3        10.0
    """

    ids: tuple[str, ...]
    adjacency: BoolArray
    distance_m: FloatArray

    @property
    def cardinalities(self) -> IntArray:
        """Number of neighbours of every location; 0 marks an isolate."""
        return np.asarray(self.adjacency.sum(axis=1), dtype=np.int64)

    def links(self) -> pd.DataFrame:
        """Return every pair of neighbours once: `focal`, `neighbor`, `distance_m`."""
        focal, neighbor = np.nonzero(np.triu(self.adjacency))
        names = np.asarray(self.ids, dtype=object)
        return pd.DataFrame(
            {
                "focal": names[focal],
                "neighbor": names[neighbor],
                "distance_m": self.distance_m[focal, neighbor],
            }
        )

    def to_graph(self) -> Graph:
        """Return the same graph as a `libpysal.graph.Graph`, isolates included.

        libpysal is imported here and not above: loading it takes longer than the whole weekly run.
        """
        from libpysal.graph import Graph  # noqa: PLC0415 - see docstring

        focal, neighbor = np.nonzero(self.adjacency)
        alone = np.nonzero(self.cardinalities == 0)[0]
        names = np.asarray(self.ids, dtype=object)
        return Graph.from_arrays(
            np.concatenate([names[focal], names[alone]]),
            np.concatenate([names[neighbor], names[alone]]),
            np.concatenate([np.ones(len(focal)), np.zeros(len(alone))]),
        )


def nearest_on_foot(
    ids: Sequence[str], distance_m: npt.ArrayLike, k: int, cutoff_m: float
) -> Neighbours:
    """Join every location with its `k` nearest within the cut-off, and symmetrically back.

    Parameters
    ----------
    ids
        Location ids.
    distance_m
        Walking distances in metres, shape (n, n), from `spatial.walking.walking_distances`.
    k
        Neighbours to look for. A location has more when others chose it, fewer when the cut-off
        leaves fewer. All that are exactly as far as the k-th are taken, so that the answer does
        not depend on the order of the rows.
    cutoff_m
        Greatest walking distance in metres of a neighbour.
    """
    between = np.asarray(distance_m, dtype=float)
    others = between.copy()
    np.fill_diagonal(others, np.inf)
    if len(others) > k:
        reach = np.partition(others, k - 1, axis=1)[:, k - 1]
    else:
        reach = np.full(len(others), np.inf)
    chosen = (others <= np.minimum(reach, cutoff_m)[:, None]) & np.isfinite(others)
    return Neighbours(tuple(ids), chosen | chosen.T, between)
