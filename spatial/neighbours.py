"""Which traps are neighbours: the nearest ones on foot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse

from spatial.arrays import BoolArray, FloatArray, IntArray
from spatial.windows import Windows, closed_neighbourhoods, nearest, windows_on_foot

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
    windows
        Groups of traps in which a patch is looked for; None: every trap with its neighbours.

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
    windows: Windows | None = None

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

    def all_windows(self) -> Windows:
        """Return the windows; without any given, every trap with its neighbours is one."""
        if self.windows is not None:
            return self.windows
        return closed_neighbourhoods(sparse.csr_array(self.adjacency.astype(float)))

    @classmethod
    def from_graph(cls, graph: Graph) -> Neighbours:
        """Take the links of a libpysal graph, both ways; distances are unknown (NaN).

        Raises
        ------
        ValueError
            If a weight is neither 0 nor 1: the tests here are those of binary neighbours.
        """
        weights = graph.sparse.toarray()
        odd = weights[(weights != 0) & (weights != 1)]
        if odd.size:
            message = (
                f"expected a graph with binary weights, found a weight of {odd[0]:g}; "
                "use graph.transform('B')"
            )
            raise ValueError(message)
        linked = (weights + weights.T) > 0
        np.fill_diagonal(linked, val=False)
        return cls(tuple(graph.unique_ids), linked, np.where(linked, np.nan, np.inf))

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
    chosen = nearest(between, k, cutoff_m)
    windows = windows_on_foot(between, k, cutoff_m)
    return Neighbours(tuple(ids), chosen | chosen.T, between, windows)
