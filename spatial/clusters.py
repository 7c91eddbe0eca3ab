"""Cluster marks: where the season's catch is higher or lower than chance allows.

A mark answers one question - could chance, with this network and these catches, have put so much
(or so little) here? - for all traps at once. The share of maps without any clustering that carry
any mark at all is held at `alpha`, over all traps and all kinds of mark together
(`spatial.family`). A raw p never makes a mark.

Why this way: of what was measured on simulated networks it finds most patches at the error rate it
promises (`scripts/bench/calibration.py` prints it beside other ways). Benjamini-Hochberg on
two-sided p finds a five-fold patch in .17 / .49 / .83 of networks of 20 / 50 / 200 traps, the
maximum statistic over one window of k neighbours in .32 / .67 / .95, over two windows in
.46 / .71 / .97 (400 to 1,000 simulated maps, effort at random). Step-down, square-root, logarithm,
rank and winsorised scores, weights by precision, negative binomial bootstrap nulls and minimum p
over sizes did no better. All of it holds where catches are exchangeable between the traps of a
design but for the clustering, which is why effort has to count the season (`season_effort`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy import sparse

from data.settings import MarkSettings
from spatial.array_checks import check_arrays, check_rules
from spatial.arrays import AnyArray, BoolArray, FloatArray, Links, NameArray
from spatial.autocorrelation import getis_ord, local_moran, morans_i, row_standardised
from spatial.conditional import conditional_counts
from spatial.exact import exact_is_cheap, exact_tails
from spatial.family import Family
from spatial.neighbours import Neighbours
from spatial.patches import Side, patches
from spatial.permutation import Draws, Setting, draw, two_sided
from spatial.results import GlobalTest
from spatial.standardise import standardised_within
from spatial.testable import main_reason, not_testable
from spatial.windows import Windows, outstanding

if TYPE_CHECKING:
    from libpysal.graph import Graph

FEWEST_IN_LONE_BUSY = 2
"""Adults that a trap must have caught to be marked as busy by itself (common practice, no source).

It can only take marks away, so that the error rate stays below its bound.
"""


@dataclass(frozen=True, slots=True)
class LocalClusters:
    """Marks and statistics of every trap, in the order given; all of shape (n,).

    Parameters
    ----------
    activity
        Empirical-Bayes standardised season-to-date rate, within design; NaN if not testable.
    gi_star, local_moran
        Local statistics of the neighbourhood; Gi* is a z. NaN if not testable.
    p
        Two-sided conditional-permutation p of the neighbourhood, own value held fixed; Gi, Gi* and
        local Moran's I share it. Exact where counts and effort allow.
    p_patch
        The smallest p among the windows around the trap, the patch it belongs to, and windows that
        tell through this trap alone.
    p_lone
        p of being unlike the neighbours (local Moran's I below zero).
    mark
        One of `spatial.results.MARKS`.
    reason
        Why not testable (one of `spatial.results.NOT_TESTABLE`), else ``""``.
    overall
        Global Moran's I of the same values and neighbours.

    Notes
    -----
    `p_patch` and `p_lone` are adjusted for looking everywhere and for every kind of mark; a mark
    needs one of them to be at most alpha. Where a single beetle went is no pattern: a trap that
    caught fewer than `FEWEST_IN_LONE_BUSY` is never marked as busy by itself, whatever its p.
    """

    activity: FloatArray
    gi_star: FloatArray
    local_moran: FloatArray
    p: FloatArray
    p_patch: FloatArray
    p_lone: FloatArray
    mark: NameArray
    reason: NameArray
    overall: GlobalTest

    @property
    def direction(self) -> FloatArray:
        """1 where more is caught than the share of the place, -1 where less; NaN if not testable.

        That of the mark where there is one, of the neighbourhood (Gi*) elsewhere.
        """
        sign = np.sign(self.gi_star)
        sign[self.state == "busy"], sign[self.state == "quiet"] = 1.0, -1.0
        return sign

    @property
    def state(self) -> NameArray:
        """``"busy"``, ``"quiet"``, ``"none"`` or ``"not_testable"``: `mark` without the kind."""
        words = {"busy_patch": "busy", "lone_busy": "busy", "quiet_patch": "quiet"}
        words["lone_quiet"] = "quiet"
        return np.array([words.get(mark, mark) for mark in self.mark], dtype=object)


def local_clusters(
    counts: npt.ArrayLike,
    exposure: npt.ArrayLike,
    graph: Neighbours | Graph,
    *,
    design: npt.ArrayLike | None = None,
    permutations: int = 9999,
    alpha: float = 0.05,
    seed: int = 0,
) -> LocalClusters:
    """Mark busy and quiet patches and lone traps, and test the whole network for clustering.

    Parameters
    ----------
    counts
        Adults per trap, season to date, shape (n,).
    exposure
        Trap-nights per trap, shape (n,); 0 where nothing countable was checked.
    graph
        Neighbours of the same n traps, in the same order; best from `nearest_on_foot`, which knows
        the windows too. Of a `libpysal.graph.Graph` (binary weights) every trap and its neighbours
        are one window.
    design
        Trap design, shape (n,); None when all are of one design.
    permutations
        Random re-assignments of the catches to the places.
    alpha
        Share of maps without any clustering that may carry a mark.
    seed
        Seed of the permutations.

    Returns
    -------
    LocalClusters

    Raises
    ------
    ValueError
        If shapes differ, a count or exposure is below zero, `alpha` is not between 0 and 1,
        there are fewer than 99 permutations, or a graph's weights are not all 1.

    Notes
    -----
    Traps without exposure, without a tested neighbour, or alone of their design take no part; nor
    does anything change for the others when such a trap is added.

    Examples
    --------
    Twenty cups in a row, a week each, neighbours up to two places on; the first four catch far
    more than the others, the fifth almost nothing:

    >>> catches = [14, 17, 15, 16] + [1, 0, 2, 1, 0, 1, 2, 0, 1, 1, 0, 2, 1, 0, 0, 1]
    >>> steps = np.abs(np.subtract.outer(range(20), range(20)))
    >>> near = (steps > 0) & (steps <= 2)
    >>> graph = Neighbours(tuple("ABCDEFGHIJKLMNOPQRST"), near, steps * 10.0)
    >>> local_clusters(catches, [7] * 20, graph).mark[:5].tolist()
    ['busy_patch', 'busy_patch', 'busy_patch', 'busy_patch', 'none']
    """
    rules = MarkSettings(permutations=permutations, alpha=alpha)
    return clusters_by(rules, counts, exposure, graph, design=design, seed=seed)


def clusters_by(
    rules: MarkSettings,
    counts: npt.ArrayLike,
    exposure: npt.ArrayLike,
    graph: Neighbours | Graph,
    *,
    design: npt.ArrayLike | None = None,
    seed: int = 0,
) -> LocalClusters:
    """Do what `local_clusters` does by the settings of a site; see there.

    Parameters
    ----------
    rules
        Error rate, permutations, and the smallest network that is tested.
    counts, exposure, graph, design, seed
        See `local_clusters`. With catches expected from a fit in the place of trap-nights, the
        marks are those beyond the fit.
    """
    y, x = np.asarray(counts, dtype=float), np.asarray(exposure, dtype=float)
    kinds = np.zeros(len(y), dtype=int) if design is None else np.asarray(design)
    near = graph if isinstance(graph, Neighbours) else Neighbours.from_graph(graph)
    check_arrays(y, x, kinds, near)
    check_rules(rules.permutations, rules.alpha)
    reason = not_testable(y, x, kinds, near.adjacency, rules.min_traps)
    tested = reason == ""
    if not tested.any():
        return _nothing_tested(reason)
    field = _Field.of(y[tested], x[tested], kinds[tested], near, tested)
    setting = Setting(field.links, field.windows, kinds[tested])
    draws = draw(field.activity, setting, rules.permutations, seed)
    p = _exact_p(y[tested], x[tested], kinds[tested], field.links)
    if p is None:
        held = conditional_counts(
            field.activity, field.links, rules.permutations, seed, design=kinds[tested]
        )
        p = two_sided(held.upper, held.lower, rules.permutations)
    found = _found(field, draws, rules.alpha, y[tested])
    told, shown = field.covered(), tested.copy()
    shown[tested] = told
    return LocalClusters(
        activity=_spread(field.activity[told], shown),
        gi_star=_spread(field.gi[told], shown),
        local_moran=_spread(field.moran[told], shown),
        p=_spread(p[told], shown),
        p_patch=_spread(found.p_patch[told], shown),
        p_lone=_spread(found.p_lone[told], shown),
        mark=_among_all(found.mark[told], shown),
        reason=np.where(tested & ~shown, "few_neighbours", reason).astype(object),
        overall=_global_test(field, draws),
    )


@dataclass(frozen=True, slots=True)
class _Field:
    """The tested traps: what they caught, who is near whom, and the statistics of both."""

    activity: FloatArray
    links: Links
    windows: Windows
    gi: FloatArray
    moran: FloatArray

    @classmethod
    def of(
        cls, y: FloatArray, x: FloatArray, kinds: AnyArray, near: Neighbours, tested: BoolArray
    ) -> _Field:
        activity = standardised_within(y, x, kinds)
        links = near.adjacency[np.ix_(tested, tested)]
        return cls(
            activity,
            sparse.csr_array(links.astype(float)),
            near.all_windows().among(tested),
            getis_ord(activity, links),
            local_moran(activity, links),
        )

    def covered(self) -> BoolArray:
        """Return which traps are in any window; of the others nothing can be said."""
        inside = np.zeros(len(self.activity), dtype=bool)
        inside[self.windows.members.indices] = True
        return inside


def _nothing_tested(reason: NameArray) -> LocalClusters:
    blank = np.full(len(reason), np.nan)
    marks = np.full(len(reason), "not_testable", dtype=object)
    main, left = main_reason(reason)
    overall = GlobalTest(np.nan, np.nan, np.nan, np.nan, left, main)
    return LocalClusters(blank, blank, blank, blank, blank, blank, marks, reason, overall)


def _global_test(field: _Field, draws: Draws) -> GlobalTest:
    found = morans_i(field.activity, row_standardised(field.links.toarray()))
    upper = (draws.global_i >= found.i - 1e-12).sum()
    lower = (draws.global_i <= found.i + 1e-12).sum()
    p = float(two_sided(upper, lower, len(draws.global_i)))
    return GlobalTest(found.i, found.expected, found.z, p, len(field.activity))


@dataclass(frozen=True, slots=True)
class _Found:
    """Adjusted p and marks of the tested traps."""

    p_patch: FloatArray
    p_lone: FloatArray
    mark: NameArray


def _found(field: _Field, draws: Draws, alpha: float, counts: FloatArray) -> _Found:
    family = Family.of({"busy": draws.busy, "quiet": draws.quiet, "lone": draws.lone})
    beyond = outstanding(field.activity, field.windows)
    p_window = np.where(
        beyond > 0, family.adjusted("busy", beyond), family.adjusted("quiet", -beyond)
    )
    p_lone = family.adjusted("lone", -field.moran)
    telling = p_window <= alpha
    busy = patches(field.activity, field.windows, beyond, telling & (beyond > 0))
    quiet = patches(-field.activity, field.windows, -beyond, telling & (beyond < 0))
    p_patch = _best_p(field.windows, p_window, busy.chosen | quiet.chosen)
    for side in (busy, quiet):
        np.minimum.at(p_patch, side.alone, p_window[side.telling_alone])
    marks = _marks(field.activity, busy, quiet, p_lone <= alpha)
    marks[(marks == "lone_busy") & (counts < FEWEST_IN_LONE_BUSY)] = "none"
    return _Found(p_patch, p_lone, marks)


def _best_p(windows: Windows, p_window: FloatArray, chosen: BoolArray) -> FloatArray:
    """Return the smallest p of the windows around each trap and of the patches it is in."""
    best = np.ones(windows.members.shape[1])
    np.minimum.at(best, windows.centre, p_window)
    inside = sparse.coo_array(windows.members[chosen])
    np.minimum.at(best, inside.col, p_window[chosen][inside.row])
    return best


def _marks(activity: FloatArray, busy: Side, quiet: Side, unlike: BoolArray) -> NameArray:
    """Return the mark of every tested trap; a patch says more than standing alone."""
    above = activity > activity.mean()
    marks = np.full(len(activity), "none", dtype=object)
    marks[unlike & above] = "lone_busy"
    marks[busy.alone] = "lone_busy"
    marks[unlike & (activity < activity.mean())] = "lone_quiet"
    marks[quiet.alone] = "lone_quiet"
    marks[busy.patch] = "busy_patch"
    marks[quiet.patch] = "quiet_patch"
    return marks


def _exact_p(y: FloatArray, x: FloatArray, design: AnyArray, links: Links) -> FloatArray | None:
    """Return the exact p where the catches are whole, effort is equal and there is one design."""
    near = links.toarray() > 0
    whole = bool((y == np.round(y)).all())
    if not whole or np.ptp(x) > 0 or len(np.unique(design)) > 1 or not exact_is_cheap(y, near):
        return None
    upper, lower = exact_tails(y, near)
    return np.minimum(1.0, 2.0 * np.minimum(upper, lower))


def _spread(values: FloatArray, tested: BoolArray) -> FloatArray:
    """Put the values of the tested traps back among all traps; NaN for the others."""
    everywhere = np.full(len(tested), np.nan)
    everywhere[tested] = values
    return everywhere


def _among_all(marks: NameArray, tested: BoolArray) -> NameArray:
    everywhere = np.full(len(tested), "not_testable", dtype=object)
    everywhere[tested] = marks
    return everywhere
