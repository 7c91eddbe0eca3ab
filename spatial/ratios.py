"""How much more one trap design catches than another, from traps of the same zones and weeks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtrit

from data.settings import DesignSettings
from spatial.arrays import FloatArray, IntArray
from spatial.dispersion import MIN_COUNTS
from spatial.nb_regression import Regression, regression
from spatial.results import DesignRatio

MIN_ZONES = 3
"""Zones in which both designs must have been checked in the same weeks."""

NORMAL_95 = 1.959963984540054
"""97.5 % point of the standard normal distribution."""


@dataclass(frozen=True, slots=True)
class RatioFit:
    """A catch ratio with its 95 % interval, or the reason why there is none.

    Parameters
    ----------
    ratio, low, high
        NaN when not estimable.
    reason
        ``""``, ``"all_zero"``, ``"not_overdispersed"`` or ``"no_convergence"``.
    """

    ratio: float = math.nan
    low: float = math.nan
    high: float = math.nan
    reason: str = ""


def fit_ratio(
    counts: npt.ArrayLike,
    exposure: npt.ArrayLike,
    other: npt.ArrayLike,
    group: npt.ArrayLike | None = None,
) -> RatioFit:
    """Estimate a catch ratio by negative binomial regression with log exposure as offset.

    Parameters
    ----------
    counts, exposure
        Catches and expected catch per unit rate (trap-nights, times anything known), shape (n,).
    other
        True where the count is of the other design, False for the reference, shape (n,).
    group
        Pairing, e.g. the zone: each group has its own level, and the standard error allows for
        dependence inside it (t quantile with groups - 1 degrees of freedom). None: one level,
        model standard error.

    Returns
    -------
    RatioFit
        A design without a single catch, counts that vary no more than Poisson and a fit that does
        not converge are reported as such, never as a number.

    Notes
    -----
    The fit is that of `spatial.nb_regression`, held in the tests to R's MASS::glm.nb.

    Examples
    --------
    Linear traps that catch three times as much as the cups beside them, give or take:

    >>> cups, linear = [2, 0, 9, 1, 4, 3, 0, 6], [9, 1, 21, 4, 6, 18, 1, 15]
    >>> fit = fit_ratio(cups + linear, [7] * 16, [False] * 8 + [True] * 8)
    >>> round(fit.ratio, 2), fit.low < 3 < fit.high
    (3.0, True)
    >>> fit_ratio([2, 0, 9, 0, 0, 0], [7] * 6, [False] * 3 + [True] * 3).reason
    'all_zero'
    """
    y, x = np.asarray(counts, dtype=float), np.asarray(exposure, dtype=float)
    is_other = np.asarray(other, dtype=bool)
    if y[is_other].sum() == 0 or y[~is_other].sum() == 0:
        return RatioFit(reason="all_zero")
    groups = np.zeros(len(y)) if group is None else np.asarray(group)
    _, member = np.unique(groups, return_inverse=True)
    # A group without a catch says nothing about the ratio, and its level has no finite estimate.
    caught = np.bincount(member, weights=y) > 0
    told = caught[member]
    levels_of = member[told, None] == np.flatnonzero(caught)
    columns = np.column_stack([is_other[told], levels_of]).astype(float)
    fit = regression(y[told], x[told], columns)
    if fit.reason:
        return RatioFit(reason="no_convergence")
    if math.isinf(fit.k):
        return RatioFit(reason="not_overdispersed")
    if group is None:
        return _interval(fit, fit.covariance, NORMAL_95)
    score = columns * ((y[told] - fit.mean) / (1 + fit.mean / fit.k))[:, None]
    return _interval(fit, *_between_groups(fit, score, member[told]))


def _between_groups(
    fit: Regression, score: FloatArray, group: IntArray
) -> tuple[FloatArray, float]:
    """Return the covariance that allows for dependence inside groups, and its t quantile."""
    names = np.unique(group)
    by_group = np.array([score[group == name].sum(axis=0) for name in names])
    freedom = max(1, len(names) - 1)
    meat = by_group.T @ by_group * len(names) / freedom
    return fit.covariance @ meat @ fit.covariance, float(stdtrit(freedom, 0.975))


def _interval(fit: Regression, covariance: FloatArray, quantile: float) -> RatioFit:
    """Return the ratio with a Wald interval on the log scale."""
    half = quantile * math.sqrt(covariance[0, 0])
    low, middle, high = np.exp(fit.coefficients[0] + half * np.array([-1.0, 0.0, 1.0]))
    return RatioFit(float(middle), float(low), float(high))


def design_ratios(
    rounds: pd.DataFrame,
    traps: pd.DataFrame,
    designs: tuple[DesignSettings, ...],
    reference: str,
) -> tuple[DesignRatio, ...]:
    """Return the catch ratio of every design used to the reference design.

    The user's own ratio is taken where there is one. Otherwise zone-weeks in which both designs
    were checked are compared, the week's catch rate of the whole site being known.

    Parameters
    ----------
    rounds
        From `spatial.exposure.rounds`.
    traps
        `location_id`, `zone_id`, `design` of every location.
    designs
        Settings of the designs, as in `data.settings.SiteSettings.designs`.
    reference
        From `reference_design`.

    Returns
    -------
    tuple of DesignRatio
        One per design other than the reference, in order of name.
    """
    given = {design.name: design for design in designs}
    checked = rounds[rounds["nights"] > 0].merge(traps, on="location_id")
    others = sorted(set(traps["design"]) - {reference})
    return tuple(_one_ratio(checked, name, reference, given) for name in others)


def reference_design(traps: pd.DataFrame, designs: tuple[DesignSettings, ...]) -> str:
    """Return the design that zone rates refer to: the declared one, or the most common.

    Examples
    --------
    >>> reference_design(pd.DataFrame({"design": ["cup", "linear", "cup"]}), ())
    'cup'
    """
    declared = [design.name for design in designs if design.reference]
    if declared:
        return declared[0]
    return str(traps["design"].value_counts().sort_index().idxmax())


def ratio_by_design(ratios: tuple[DesignRatio, ...], reference: str) -> dict[str, float]:
    """Return design -> ratio to the reference; designs without an estimate are missing."""
    known = {ratio.design: ratio.ratio for ratio in ratios if math.isfinite(ratio.ratio)}
    return {reference: 1.0} | known


def _one_ratio(
    checked: pd.DataFrame, name: str, reference: str, given: Mapping[str, DesignSettings]
) -> DesignRatio:
    pairs = _paired(checked, name, reference)
    zone_weeks = len(pairs) // 2
    own = given.get(name)
    if own is not None and own.ratio is not None:
        value = own.ratio
        return DesignRatio(
            name, reference, value, value, value, zone_weeks, "user", own.ratio_source
        )
    if pairs.empty:
        fit = RatioFit(reason="no_overlap")
    elif pairs["zone_id"].nunique() < MIN_ZONES:
        fit = RatioFit(reason="few_zones")
    elif len(pairs) < MIN_COUNTS:
        fit = RatioFit(reason="few_counts")
    else:
        other = (pairs["design"] == name).to_numpy()
        fit = fit_ratio(pairs["adults"], pairs["expected"], other, pairs["zone_id"])
    source = "not_estimable" if fit.reason else "estimated"
    return DesignRatio(
        name, reference, fit.ratio, fit.low, fit.high, zone_weeks, source, fit.reason
    )


def _paired(checked: pd.DataFrame, name: str, reference: str) -> pd.DataFrame:
    """Return one row per zone, week and design, for zone-weeks in which both were checked."""
    two = checked[checked["design"].isin([name, reference]) & checked["zone_id"].notna()]
    week_rate = two.groupby("week")["adults"].sum() / two.groupby("week")["nights"].sum()
    cells = two.groupby(["zone_id", "week", "design"], as_index=False)[["adults", "nights"]].sum()
    both = cells.groupby(["zone_id", "week"])["design"].transform("size") == 2
    level = cells["week"].map(week_rate).astype(float)  # an empty map would stay text
    paired = cells.assign(expected=cells["nights"] * level)
    return paired[both & (level > 0)].reset_index(drop=True)
