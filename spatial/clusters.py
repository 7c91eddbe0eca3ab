"""Cluster marks: where the season's catch is higher or lower than chance allows.

A mark answers one question - could chance, with this network and these catches, have put so much
(or so little) here? - for all traps at once. The share of maps without any clustering that carry
any mark at all is held at `alpha`, split between the three kinds of mark (`ERROR_BUDGET`), by the
single-step maximum-statistic adjustment of Westfall & Young (1993). A raw p never makes a mark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from data.settings import MarkSettings
from spatial.arrays import AnyArray, BoolArray, FloatArray, NameArray
from spatial.autocorrelation import getis_ord, local_moran, morans_i, row_standardised
from spatial.exact import exact_is_cheap, exact_tails
from spatial.neighbours import Neighbours
from spatial.permutation import Draws, draw, two_sided
from spatial.results import GlobalTest
from spatial.standardise import standardised_within
from spatial.testable import not_testable

ERROR_BUDGET = {"busy": 0.8, "quiet": 0.1, "lone": 0.1}
"""How `alpha` is shared: most goes to busy patches, which are what a network is for."""


@dataclass(frozen=True, slots=True)
class LocalClusters:
    """Marks and statistics of every trap, in the order given; all of shape (n,).

    Parameters
    ----------
    activity
        Empirical-Bayes standardised season-to-date rate, within design; NaN if not testable.
    gi_star, local_moran
        Local statistics; NaN if not testable.
    p
        Two-sided conditional-permutation p of the neighbourhood, own value held fixed; Gi, Gi* and
        local Moran's I share it. Exact where counts and effort allow.
    p_patch, p_lone
        Adjusted for looking at every trap: for Gi* in its direction, and for being unlike the
        neighbours (local Moran below zero). A mark needs one of them to be at most `alpha`.
    mark
        One of `spatial.results.MARKS`.
    reason
        Why not testable (one of `spatial.results.NOT_TESTABLE`), else ``""``.
    overall
        Global Moran's I of the same values and neighbours.
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


def local_clusters(
    counts: npt.ArrayLike,
    exposure: npt.ArrayLike,
    graph: Neighbours,
    *,
    design: npt.ArrayLike | None = None,
    settings: MarkSettings | None = None,
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
        Neighbours of the same n traps, in the same order.
    design
        Trap design, shape (n,); None when all are of one design.
    settings
        Error rate, permutations, and the smallest network that is tested; None for the defaults.
    seed
        Seed of the permutations.

    Returns
    -------
    LocalClusters

    Notes
    -----
    Traps without exposure, without a tested neighbour, or alone of their design take no part; nor
    does anything change for the others when such a trap is added.

    Examples
    --------
    Twenty cups in a row, a week each, neighbours up to two places on; the first four catch far
    more than the others, and the first three have enough of them around:

    >>> catches = [14, 17, 15, 16] + [1, 0, 2, 1, 0, 1, 2, 0, 1, 1, 0, 2, 1, 0, 0, 1]
    >>> steps = np.abs(np.subtract.outer(range(20), range(20)))
    >>> near = (steps > 0) & (steps <= 2)
    >>> graph = Neighbours(tuple("ABCDEFGHIJKLMNOPQRST"), near, steps * 10.0)
    >>> local_clusters(catches, [7] * 20, graph).mark[:5].tolist()
    ['busy_patch', 'busy_patch', 'busy_patch', 'none', 'none']
    """
    rules = settings or MarkSettings()
    y, x = np.asarray(counts, dtype=float), np.asarray(exposure, dtype=float)
    kinds = np.zeros(len(y), dtype=int) if design is None else np.asarray(design)
    reason = not_testable(y, x, kinds, graph.adjacency, rules.min_traps)
    tested = reason == ""
    if not tested.any():
        return _nothing_tested(reason)
    activity = standardised_within(y[tested], x[tested], kinds[tested])
    near = graph.adjacency[np.ix_(tested, tested)]
    gi, moran = getis_ord(activity, near), local_moran(activity, near)
    draws = draw(activity, near, kinds[tested], rules.permutations, seed)
    p = _exact_p(y[tested], x[tested], kinds[tested], near)
    if p is None:
        p = two_sided(draws.upper, draws.lower, rules.permutations)
    p_patch, p_lone = _adjusted(gi, moran, draws)
    found = _Found(p_patch <= rules.alpha, p_lone <= rules.alpha)
    mark = np.full(len(y), "not_testable", dtype=object)
    mark[tested] = _marks(activity, gi, near, found)
    return LocalClusters(
        activity=_spread(activity, tested),
        gi_star=_spread(gi, tested),
        local_moran=_spread(moran, tested),
        p=_spread(p, tested),
        p_patch=_spread(p_patch, tested),
        p_lone=_spread(p_lone, tested),
        mark=mark,
        reason=reason,
        overall=_global_test(activity, near, draws),
    )


def _nothing_tested(reason: NameArray) -> LocalClusters:
    blank = np.full(len(reason), np.nan)
    marks = np.full(len(reason), "not_testable", dtype=object)
    main = _main_reason(reason)
    left = int((reason == main).sum()) if main in ("few_traps", "no_variation") else 0
    overall = GlobalTest(np.nan, np.nan, np.nan, np.nan, left, main)
    return LocalClusters(blank, blank, blank, blank, blank, blank, marks, reason, overall)


def _main_reason(reason: NameArray) -> str:
    """Return what stands in the way of the whole network: the reason of those that came nearest."""
    order = (
        "few_traps",
        "no_variation",
        "no_neighbours",
        "all_neighbours",
        "lone_design",
        "no_nights",
    )
    return next((name for name in order if name in reason), "no_traps")


def _global_test(activity: FloatArray, near: BoolArray, draws: Draws) -> GlobalTest:
    found = morans_i(activity, row_standardised(near))
    upper = (draws.global_i >= found.i - 1e-12).sum()
    lower = (draws.global_i <= found.i + 1e-12).sum()
    p = float(two_sided(upper, lower, len(draws.global_i)))
    return GlobalTest(found.i, found.expected, found.z, p, len(activity))


def _adjusted(gi: FloatArray, moran: FloatArray, draws: Draws) -> tuple[FloatArray, FloatArray]:
    """Return p of Gi* in its own direction and p of local Moran's lower tail, both adjusted."""
    busy = _share_beyond(-draws.highest_gi[::-1], -gi) / ERROR_BUDGET["busy"]
    quiet = _share_beyond(draws.lowest_gi, gi) / ERROR_BUDGET["quiet"]
    lone = _share_beyond(draws.lowest_moran, moran) / ERROR_BUDGET["lone"]
    patch = np.where(gi > 0, busy, quiet)
    return np.minimum(1.0, patch), np.minimum(1.0, lone)


def _share_beyond(drawn: FloatArray, observed: FloatArray) -> FloatArray:
    """Return the share of maps drawn whose most extreme value is at most the observed one."""
    tolerance = 1e-9 * max(1.0, float(np.abs(observed).max()))
    count = np.searchsorted(drawn, observed + tolerance, side="right")
    return np.asarray((count + 1.0) / (len(drawn) + 1.0), dtype=float)


def _exact_p(y: FloatArray, x: FloatArray, design: AnyArray, near: BoolArray) -> FloatArray | None:
    """Return the exact p where the catches are whole, effort is equal and there is one design."""
    whole = bool((y == np.round(y)).all())
    if not whole or np.ptp(x) > 0 or len(np.unique(design)) > 1 or not exact_is_cheap(y, near):
        return None
    upper, lower = exact_tails(y, near)
    return np.minimum(1.0, 2.0 * np.minimum(upper, lower))


def _marks(activity: FloatArray, gi: FloatArray, near: BoolArray, found: _Found) -> NameArray:
    """Return the mark of every tested trap.

    A neighbourhood that stands out only through its own centre, with neighbours on the other side
    of the mean, is no patch: its centre is a lone trap. A trap on the other side of the mean than
    its neighbourhood stands beside a patch, not in it, and carries no patch mark.
    """
    own = np.sign(activity - activity.mean())
    around = np.sign(row_standardised(near) @ activity - activity.mean())
    marks = np.full(len(activity), "none", dtype=object)
    for side, patch, lone in ((1, "busy_patch", "lone_busy"), (-1, "quiet_patch", "lone_quiet")):
        centre = found.patch & (np.sign(gi) == side) & (own == side)
        marks[found.lone & (own == side)] = lone
        marks[centre] = np.where(around == side, patch, lone)[centre]
    return marks


@dataclass(frozen=True, slots=True)
class _Found:
    """Which tested traps have an adjusted p of at most alpha, for a patch and for a lone trap."""

    patch: BoolArray
    lone: BoolArray


def _spread(values: FloatArray, tested: BoolArray) -> FloatArray:
    """Put the values of the tested traps back among all traps; NaN for the others."""
    everywhere = np.full(len(tested), np.nan)
    everywhere[tested] = values
    return everywhere
