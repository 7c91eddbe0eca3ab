"""What the places of the traps explain: a busy edge is what a refuge does, and no discovery.

Traps near a refuge are put there because they catch more. This regresses the catch on the walk to
the nearest refuge and on the use of the ground, and hands on what every trap could be expected to
catch at its place. A second look for clusters then asks whether a patch is busy even for its place.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import chdtrc

from spatial.arrays import BoolArray, FloatArray, NameArray
from spatial.nb_regression import Regression, regression

TRAPS_PER_TERM = 10
"""Traps needed for every term, design included (common practice in regression; see Notes of
`placement_effect`)."""

TRAPS_PER_USE = 5
"""A use with fewer traps is no kind of place but a few places (common practice, no source)."""

NORMAL_95 = 1.959963984540054
"""97.5 % point of the standard normal distribution."""

TERM_REASONS = (
    "no_refuges",
    "constant",
    "few_traps_of_it",
    "one_zone",
    "no_catch",
    "collinear",
    "no_room",
)
"""Why a term was left out; see `PlacementEffect.left_out`."""

EFFECT_REASONS = ("few_traps", "no_catch", "no_terms", "separated", "no_convergence")
"""Why there is no second look at all."""

TRAP_REASONS = ("no_nights", "inside_obstacle", "lone_design", "no_catch_of_design")
"""Why one trap takes no part."""


@dataclass(frozen=True, slots=True)
class Places:
    """What is known of the place of every trap; all of shape (n,).

    Parameters
    ----------
    refuge_m
        Walk to the nearest refuge, from `spatial.refuge.refuge_distance_m`: infinite where none is
        within its cut-off, NaN inside an obstacle; all NaN when no refuges are known.
    use, zone
        Use and id of the trap's zone; None outside every zone.
    design
        Trap design.
    """

    refuge_m: FloatArray
    use: NameArray
    zone: NameArray
    design: NameArray


@dataclass(frozen=True, slots=True)
class PlacementEffect:
    """What placement explains, and what every trap could be expected to catch.

    Parameters
    ----------
    expected
        Adults expected at a trap of this design, at this place, with these trap-nights, shape (n,);
        NaN where the trap takes no part or there is no fit. Put in the place of the trap-nights,
        it makes every cluster statistic one of catch over expectation.
    residual
        ``(adults - expected) / sqrt(expected + expected**2 / k)``, shape (n,): for showing.
    trap_reason
        ``""`` or one of `TRAP_REASONS`, shape (n,).
    terms
        One row per term: `term` (``"design"``, ``"refuge"`` or ``"use"``), `level` (of design or
        use; ``""`` for refuge), `ratio`, `low`, `high` (catch ratio with its 95 % interval: to the
        commonest design, to all other ground, or for every doubling of 1 m + distance), `traps`.
    left_out
        One row per term left out: `term`, `level`, `reason` (one of `TERM_REASONS`), `traps`. Traps
        of a use that was left out are taken with all other ground.
    k
        Negative binomial k round the expected catches; inf when no more varied than Poisson.
    p
        Likelihood-ratio p of all placement terms together (design is not one of them).
    traps
        Traps in the fit.
    reason
        ``""`` or one of `EFFECT_REASONS`.
    """

    expected: FloatArray
    residual: FloatArray
    trap_reason: NameArray
    terms: pd.DataFrame
    left_out: pd.DataFrame
    k: float
    p: float
    traps: int
    reason: str = ""


def placement_effect(
    counts: npt.ArrayLike, nights: npt.ArrayLike, places: Places, *, cutoff_m: float
) -> PlacementEffect:
    """Explain season-to-date catches by the walk to the nearest refuge and the use of the ground.

    Parameters
    ----------
    counts, nights
        Adults and trap-nights, season to date, shape (n,).
    places
        The same traps, in the same order.
    cutoff_m
        Cut-off of the walks: a trap without a refuge within it counts as that far.

    Notes
    -----
    Negative binomial regression with log trap-nights as offset. Design is always a term, because
    catches of two designs cannot be compared otherwise. Of the placement terms, distance comes
    first and then the uses, the one with most traps first, as long as there are `TRAPS_PER_TERM`
    traps for each. Terms are never chosen by how well they fit.

    Every term explains a part of a real patch away. On 200 simulated maps of 50 traps with five
    uses, half of the traps by a hedge and a five-fold patch of six (marks by the maximum of Gi*
    over one window), 10 / 15 / 20 traps per term found it in .11 / .17 / .26 of maps where use did
    not matter (without a second look: .43). But where uses caught up to four times as much, busy
    marks on maps without a patch rose from .03 to .08 / .12. So 10 it is.

    `scripts/bench/second_look.py` prints what the marks beyond expectation are worth. Taking the
    directions of the fit out of every map drawn as well found a tenth more patches, but left busy
    marks on up to .08 of maps without one; so it is not done.

    Standardised ``adults / expected`` (`spatial.standardise`), Pearson residuals and normal scores
    of the fitted distribution found the same patches within .05 of maps. A second power of distance
    lost up to three in ten of them and was not needed: catches that fell off with distance as a
    power, exponentially or in one step left busy marks on at most .03 of maps of 50 traps.

    Examples
    --------
    Twenty cups at growing distance from a hedge, a week each; the catch halves as 1 m + distance
    doubles:

    >>> far_m = np.repeat([1.0, 3, 7, 15], 5)
    >>> caught = [30, 20, 50, 10, 50, 13, 27, 10, 20, 10, 2, 15, 8, 10, 5, 5, 0, 7, 8, 0]
    >>> turf, cup = np.full(20, "rough", dtype=object), np.full(20, "cup", dtype=object)
    >>> found = placement_effect(caught, [7] * 20, Places(far_m, turf, turf, cup), cutoff_m=400)
    >>> found.terms[["term", "ratio"]].round(2)
         term  ratio
    0  refuge    0.5
    >>> found.expected[::5].round().tolist()
    [32.0, 16.0, 8.0, 4.0]
    >>> found.left_out[["term", "level", "reason"]]
      term  level    reason
    0  use  rough  constant
    """
    y, x = np.asarray(counts, dtype=float), np.asarray(nights, dtype=float)
    trap_reason = _trap_reasons(y, x, places)
    told = trap_reason == ""
    if told.sum() < TRAPS_PER_TERM:
        empty = bool((x > 0).any()) and not y[x > 0].any()
        return _nothing(trap_reason, "no_catch" if empty else "few_traps")
    model = _Model.of(_Traps(y[told], x[told], _taken(places, told), cutoff_m))
    if not any(term.kind != "design" for term in model.terms):
        return _nothing(trap_reason, "no_terms", model)
    fit = regression(y[told], x[told], model.columns())
    if fit.reason:
        return _nothing(trap_reason, fit.reason, model)
    without = regression(y[told], x[told], model.columns(placement=False))
    p = _likelihood_ratio_p(fit, without, model.placement_terms())
    return _explained(y, told, model, _Fit(fit, p), trap_reason)


@dataclass(frozen=True, slots=True)
class _Traps:
    """The traps of the fit, shape (n,) each."""

    counts: FloatArray
    nights: FloatArray
    places: Places
    cutoff_m: float


@dataclass(frozen=True, slots=True)
class _Term:
    """One column of the regression, or one that was left out and why."""

    kind: str
    level: str
    column: FloatArray
    traps: int
    reason: str = ""


@dataclass(frozen=True, slots=True)
class _Model:
    """The terms taken, designs first, and those left out."""

    size: int
    terms: tuple[_Term, ...]
    left_out: tuple[_Term, ...]

    @classmethod
    def of(cls, traps: _Traps) -> _Model:
        taken, left_out = list(_designs(traps.places.design)), []
        for term in (_refuge(traps), *_uses(traps)):
            reason = term.reason or _no_place(term, taken, len(traps.counts))
            if reason:
                left_out.append(_Term(term.kind, term.level, term.column, term.traps, reason))
            else:
                taken.append(term)
        return cls(len(traps.counts), tuple(taken), tuple(left_out))

    def columns(self, *, placement: bool = True) -> FloatArray:
        """Return the columns of the regression; without the placement terms if so wished."""
        wanted = [each.column for each in self.terms if placement or each.kind == "design"]
        return np.column_stack([np.ones(self.size), *wanted])

    def placement_terms(self) -> int:
        """Return how many terms are of the place."""
        return sum(each.kind != "design" for each in self.terms)


def _no_place(term: _Term, taken: list[_Term], traps: int) -> str:
    """Return why a term that could be fitted finds no place beside those taken, or ``""``."""
    if (len(taken) + 1) * TRAPS_PER_TERM > traps:
        return "no_room"
    columns = np.column_stack([np.ones(traps), *(each.column for each in [*taken, term])])
    return "collinear" if np.linalg.matrix_rank(columns) < columns.shape[1] else ""


def _designs(design: NameArray) -> Iterator[_Term]:
    names = _commonest_first(design)
    for name in names[1:]:
        members = design == name
        yield _Term("design", name, members.astype(float), int(members.sum()))


def _refuge(traps: _Traps) -> _Term:
    walk_m = traps.places.refuge_m
    if np.isnan(walk_m).all():
        return _Term("refuge", "", walk_m, len(walk_m), "no_refuges")
    column = np.log2(1 + np.minimum(walk_m, traps.cutoff_m))
    reason = "constant" if np.ptp(column) < 1e-6 else ""
    return _Term("refuge", "", column, len(walk_m), reason)


def _uses(traps: _Traps) -> Iterator[_Term]:
    """Yield a term for every use but the commonest with a catch, with which others are compared."""
    use = np.where(pd.isna(traps.places.use), "", traps.places.use).astype(str).astype(object)
    names = _commonest_first(use)
    caught = [name for name in names if traps.counts[use == name].sum() > 0]
    for name in names:
        members = use == name
        size = int(members.sum())
        if name != caught[0]:
            reason = _use_reason(members, traps)
            yield _Term("use", name, members.astype(float), size, reason)
        elif len(names) == 1:
            yield _Term("use", name, members.astype(float), size, "constant")


def _use_reason(members: BoolArray, traps: _Traps) -> str:
    if members.sum() < TRAPS_PER_USE:
        return "few_traps_of_it"
    if traps.counts[members].sum() == 0:
        return "no_catch"
    # One zone alone has a use and a place, and nobody can say which of the two it was.
    return "one_zone" if len(pd.unique(pd.Series(traps.places.zone[members]))) < 2 else ""


def _commonest_first(names: NameArray) -> list[str]:
    found, size = np.unique(names.astype(str), return_counts=True)
    return [str(found[each]) for each in np.lexsort((found, -size))]


def _trap_reasons(y: FloatArray, x: FloatArray, places: Places) -> NameArray:
    """Return why each trap takes no part: one of `TRAP_REASONS`, or ``""``."""
    reason = np.full(len(y), "", dtype=object)
    reason[~((x > 0) & np.isfinite(x) & np.isfinite(y))] = "no_nights"
    unknown = np.isnan(places.refuge_m)
    if not unknown.all():
        reason[(reason == "") & unknown] = "inside_obstacle"
    for name in np.unique(places.design.astype(str)):
        members = (reason == "") & (places.design == name)
        if members.sum() == 1:
            reason[members] = "lone_design"
        elif y[members].sum() == 0:
            reason[members] = "no_catch_of_design"
    return reason


def _taken(places: Places, told: BoolArray) -> Places:
    return Places(places.refuge_m[told], places.use[told], places.zone[told], places.design[told])


def _likelihood_ratio_p(fit: Regression, without: Regression, terms: int) -> float:
    """Return the p of the placement terms together, k estimated anew without them."""
    gain = 2 * (fit.log_likelihood - without.log_likelihood)
    if not math.isfinite(gain):
        return math.nan
    return float(chdtrc(terms, max(0.0, gain)))


@dataclass(frozen=True, slots=True)
class _Fit:
    """The regression, and the p of its placement terms."""

    regression: Regression
    p: float


def _explained(
    y: FloatArray, told: BoolArray, model: _Model, found: _Fit, trap_reason: NameArray
) -> PlacementEffect:
    fit = found.regression
    expected = np.full(len(y), np.nan)
    expected[told] = fit.mean
    return PlacementEffect(
        expected=expected,
        residual=(y - expected) / np.sqrt(expected + expected**2 / fit.k),
        trap_reason=trap_reason,
        terms=_term_table(model, fit),
        left_out=_left_out_table(model),
        k=fit.k,
        p=found.p,
        traps=int(told.sum()),
    )


def _term_table(model: _Model, fit: Regression) -> pd.DataFrame:
    middle = fit.coefficients[1:]
    half = NORMAL_95 * np.sqrt(np.diag(fit.covariance))[1:]
    return pd.DataFrame(
        {
            "term": [each.kind for each in model.terms],
            "level": [each.level for each in model.terms],
            "ratio": np.exp(middle),
            "low": np.exp(middle - half),
            "high": np.exp(middle + half),
            "traps": [each.traps for each in model.terms],
        }
    )


def _left_out_table(model: _Model | None) -> pd.DataFrame:
    rows = [] if model is None else model.left_out
    cells = [(each.kind, each.level, each.reason, each.traps) for each in rows]
    return pd.DataFrame(cells, columns=["term", "level", "reason", "traps"])


def _nothing(trap_reason: NameArray, reason: str, model: _Model | None = None) -> PlacementEffect:
    blank = np.full(len(trap_reason), np.nan)
    return PlacementEffect(
        expected=blank,
        residual=blank,
        trap_reason=trap_reason,
        terms=pd.DataFrame(columns=["term", "level", "ratio", "low", "high", "traps"]),
        left_out=_left_out_table(model),
        k=math.nan,
        p=math.nan,
        traps=int((trap_reason == "").sum()),
        reason=reason,
    )
