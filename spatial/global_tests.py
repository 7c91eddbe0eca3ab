"""Clustering of the whole network: global Moran's I, Geary's C and General G by permutation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy import sparse

from data.settings import MarkSettings
from spatial.array_checks import check_arrays, check_rules
from spatial.arrays import BoolArray, FloatArray, Links
from spatial.autocorrelation import gearys_c, general_g, morans_i, row_standardised
from spatial.neighbours import Neighbours
from spatial.permutation import orders, two_sided
from spatial.standardise import standardised_within
from spatial.testable import main_reason, not_testable

if TYPE_CHECKING:
    from libpysal.graph import Graph


MIN_TRAPS = MarkSettings().min_traps
"""Fewer testable traps than this have no test, unless the site's settings say otherwise."""


@dataclass(frozen=True, slots=True)
class GlobalStatistic:
    """One statistic of the whole network.

    Parameters
    ----------
    value, expected, z
        Statistic, its mean without clustering, and its standardised value; for C below its mean is
        clustered, for I and G above.
    p
        Two-sided permutation p.
    """

    value: float
    expected: float
    z: float
    p: float


@dataclass(frozen=True, slots=True)
class GlobalAutocorrelation:
    """Global statistics of a network; NaN where there is no test.

    Parameters
    ----------
    morans_i, gearys_c
        Of the empirical-Bayes standardised rates, row-standardised weights: do like rates stand
        together?
    general_g
        Of the rates themselves, relative to those of their design, binary weights: do high ones?
    traps
        Traps that took part; without a test, those that could have been compared.
    reason
        Empty, or why there is no test: one of `spatial.results.NOT_TESTABLE`.
    """

    morans_i: GlobalStatistic
    gearys_c: GlobalStatistic
    general_g: GlobalStatistic
    traps: int
    reason: str = ""


def global_autocorrelation(
    counts: npt.ArrayLike,
    exposure: npt.ArrayLike,
    graph: Neighbours | Graph,
    *,
    design: npt.ArrayLike | None = None,
    permutations: int = 9999,
    min_traps: int = MIN_TRAPS,
    seed: int = 0,
) -> GlobalAutocorrelation:
    """Test a network for clustering of any kind.

    The parameters are those of `spatial.clusters.local_clusters`, and `min_traps`: with fewer
    testable traps there is no test.

    References
    ----------
    Cliff, A. D. & Ord, J. K. (1981). Spatial Processes: Models and Applications. Pion.
    Getis, A. & Ord, J. K. (1992). The analysis of spatial association by use of distance
    statistics. Geographical Analysis 24, 189-206.

    Examples
    --------
    Twenty cups in a row, the first ones busy:

    >>> catches = [14, 17, 15, 16] + [1, 0, 2, 1, 0, 1, 2, 0, 1, 1, 0, 2, 1, 0, 0, 1]
    >>> steps = np.abs(np.subtract.outer(range(20), range(20)))
    >>> graph = Neighbours(tuple("ABCDEFGHIJKLMNOPQRST"), steps == 1, steps * 10.0)
    >>> found = global_autocorrelation(catches, [7] * 20, graph, permutations=999)
    >>> round(found.morans_i.value, 2), found.morans_i.p < 0.01
    (0.84, True)
    >>> round(found.gearys_c.value, 2), found.gearys_c.p < 0.01
    (0.18, True)
    """
    y, x = np.asarray(counts, dtype=float), np.asarray(exposure, dtype=float)
    kinds = np.zeros(len(y), dtype=int) if design is None else np.asarray(design)
    near = graph if isinstance(graph, Neighbours) else Neighbours.from_graph(graph)
    check_arrays(y, x, kinds, near)
    check_rules(permutations, 0.05)
    reason = not_testable(y, x, kinds, near.adjacency, min_traps)
    tested = reason == ""
    if not tested.any():
        nothing = GlobalStatistic(np.nan, np.nan, np.nan, np.nan)
        main, left = main_reason(reason)
        return GlobalAutocorrelation(nothing, nothing, nothing, left, main)
    field = _Field.of(y[tested], x[tested], kinds[tested], near.adjacency[np.ix_(tested, tested)])
    drawn = np.concatenate(
        [field.statistics(order) for order in orders(kinds[tested], permutations, seed)], axis=1
    )
    return field.tested(drawn)


@dataclass(frozen=True, slots=True)
class _Field:
    """Values and links of the tested traps."""

    activity: FloatArray
    relative: FloatArray
    links: Links

    @classmethod
    def of(
        cls, y: FloatArray, x: FloatArray, kinds: npt.NDArray[np.generic], near: BoolArray
    ) -> _Field:
        relative = np.empty(len(y))
        for name in np.unique(kinds):
            own = kinds == name
            relative[own] = y[own] / x[own] / (y[own].sum() / x[own].sum())
        activity = standardised_within(y, x, kinds)
        return cls(activity, relative, sparse.csr_array(near.astype(float)))

    def statistics(self, order: npt.NDArray[np.int64]) -> FloatArray:
        """Return I, C and G of every map drawn, shape (3, maps)."""
        weights, n = row_standardised(self.links), len(self.activity)
        z = self.activity[order].T - self.activity.mean()
        squares = (z**2).sum(axis=0)
        lag = np.asarray(weights @ z)
        i = (z * lag).sum(axis=0) / squares
        column: FloatArray = np.asarray(weights.sum(axis=0), dtype=float).reshape(-1, 1)
        spread = ((1 + column) * z**2).sum(axis=0) - 2 * (z * lag).sum(axis=0)
        r = self.relative[order].T
        g = (r * np.asarray(self.links @ r)).sum(axis=0)
        pairs = r.sum(axis=0) ** 2 - (r**2).sum(axis=0)
        g = np.divide(g, pairs, out=np.full(g.shape, np.nan), where=pairs > 1e-9 * n)
        return np.stack([i, (n - 1) * spread / (2 * n * squares), g])

    def tested(self, drawn: FloatArray) -> GlobalAutocorrelation:
        """Return the statistics of the map itself with their p among those drawn."""
        weights = row_standardised(self.links)
        i, c = morans_i(self.activity, weights), gearys_c(self.activity, weights)
        g = general_g(self.relative, self.links)
        return GlobalAutocorrelation(
            GlobalStatistic(i.i, i.expected, i.z, _p(drawn[0], i.i)),
            GlobalStatistic(c.c, c.expected, c.z, _p(drawn[1], c.c)),
            GlobalStatistic(g.g, g.expected, g.z, _p(drawn[2], g.g)),
            len(self.activity),
        )


def _p(drawn: FloatArray, observed: float) -> float:
    if not np.isfinite(observed):
        return float("nan")
    tolerance = 1e-9 * max(1.0, abs(observed))
    upper, lower = (drawn >= observed - tolerance).sum(), (drawn <= observed + tolerance).sum()
    return float(two_sided(upper, lower, len(drawn)))
