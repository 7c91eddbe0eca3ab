"""Evidence of each zone: its catch rate, pooled with the other zones, against the user's limit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import gammaincc

from spatial.arrays import AnyArray, BoolArray, FloatArray, IntArray
from spatial.placement_effect import Places
from spatial.zone_posterior import SEED, Posterior, posterior
from spatial.zone_terms import Terms, takes_part, terms_of

ZONE_REASONS = ("no_traps", "no_nights")
"""Why a zone has no evidence: no trap stands in it, or none of its traps has a countable night."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A posterior median with 80 % and 95 % intervals; NaN where there is nothing to tell from.

    Examples
    --------
    >>> Estimate.of(np.array([1.0, 2, 3]), np.array([0.25, 0.5, 0.25])).median
    2.0
    """

    median: float = math.nan
    low_80: float = math.nan
    high_80: float = math.nan
    low_95: float = math.nan
    high_95: float = math.nan

    @classmethod
    def of(cls, draws: FloatArray, weights: FloatArray) -> Estimate:
        """Summarise weighted draws, shape (s,) each."""
        found = weighted_quantiles(draws[None], weights, (0.5, *ENDS))[0]
        return cls(*(float(each) for each in found))


ENDS = (0.10, 0.90, 0.025, 0.975)
"""Ends of the 80 % and of the 95 % interval, in the order of `Estimate`."""

END_NAMES = ("low_80", "high_80", "low_95", "high_95")


@dataclass(frozen=True, slots=True)
class ZoneModel:
    """The fitted model: a table of zones, and what else can be asked of it.

    Parameters
    ----------
    table
        One row per zone in the order given: `zone_id`, `counted_traps`, `nights`
        (reference-design trap-nights), `adults`, `rate` (posterior mean), `rate_median`,
        `rate_low_80`, `rate_high_80`, `rate_low_95`, `rate_high_95` (adults per trap-week of the
        reference design), `reason` (``""`` or one of `ZONE_REASONS`). With a reason the rates are
        NaN: what the model would predict for a zone without catches is no evidence about it. The
        mean of a zone with one trap has a long tail to answer for; the median is steadier.
    k
        Negative binomial k of season totals between the traps of a zone; it ends at 1e6.
    tau
        Standard deviation of the log rate between zones that use and refuge do not explain.
    effects
        One row per coefficient: `term` (``"level"``, ``"use"``, ``"refuge"``, ``"design"``),
        `level`, and the posterior of its ratio: `ratio` (median), `low_95`, `high_95`. For
        ``"level"`` it is the rate of a typical place, for ``"refuge"`` per doubling of 1 m + walk,
        for ``"design"`` a correction of the ratio handed in.
    effective_draws
        Draws of the common numbers after weighting; below 100 the intervals are rough.
    """

    table: pd.DataFrame
    k: Estimate
    tau: Estimate
    effects: pd.DataFrame
    effective_draws: float
    _fit: _Fit | None

    @property
    def evidence(self) -> BoolArray:
        """Which zones have evidence of their own, shape (zones,)."""
        return np.asarray(self.table["reason"] == "", dtype=bool)

    def p_above(self, limit: npt.ArrayLike) -> FloatArray:
        """Return P(zone rate > limit), shape (zones,); NaN without evidence or limit.

        Parameters
        ----------
        limit
            Adults per trap-week of the reference design: one number, or one per zone (NaN: none).

        Raises
        ------
        ValueError
            If a limit is not above zero.
        """
        limits = self._limits(limit)
        out = np.full(len(self.table), np.nan)
        if self._fit is not None:
            own = self._fit.place
            over = self._fit.rates() > limits[own, None]
            out[own] = np.where(np.isnan(limits[own]), np.nan, over @ self._fit.weights)
        return out

    def rate_interval(self, level: float) -> tuple[FloatArray, FloatArray]:
        """Return both ends of the central interval of every zone's rate, shape (zones,) each."""
        ends = np.full((len(self.table), 2), np.nan)
        if self._fit is not None:
            tails = (0.5 - level / 2, 0.5 + level / 2)
            ends[self._fit.place] = weighted_quantiles(self._fit.rates(), self._fit.weights, tails)
        return ends[:, 0], ends[:, 1]

    def share_over(self, limit: npt.ArrayLike) -> pd.DataFrame:
        """Return how much of each zone is over its limit, though its mean may not be.

        Traps of one zone differ (k), so a rate of the zone leaves open how much of it is busy.

        Returns
        -------
        pandas.DataFrame
            One row per zone: `traps_over` (expected share of its traps whose own season-to-date
            rate is over the limit, each judged by its own catch and by the zone), `traps_low_80`,
            `traps_high_80`; `stretch_over` (expected share of the places in its trapped stretch,
            i.e. of places like those of its traps, where a trap would be over the limit),
            `stretch_low_80`, `stretch_high_80`. NaN without evidence or limit.

        Notes
        -----
        A trap's own rate is the zone's times a gamma variate with shape k; given its catch it is
        gamma again. All of k is taken as lasting differences between places. Beetles that are
        caught in clumps by chance raise it too and cannot be told apart in season totals, so the
        share is spread out rather too much: too high below the limit and too low above it.

        Raises
        ------
        ValueError
            If a limit is not above zero.
        """
        limits = self._limits(limit)
        columns = [f"{kind}_{end}" for kind in ("traps", "stretch") for end in SHARE_ENDS]
        out = np.full((len(self.table), len(columns)), np.nan)
        if self._fit is not None:
            own = self._fit.place
            shares = np.column_stack(self._fit.shares(limits[own]))
            out[own] = np.where(np.isnan(limits[own])[:, None], np.nan, shares)
        return pd.DataFrame(out, columns=columns).assign(zone_id=self.table["zone_id"].to_numpy())[
            ["zone_id", *columns]
        ]

    def _limits(self, limit: npt.ArrayLike) -> FloatArray:
        limits = np.broadcast_to(np.asarray(limit, dtype=float), (len(self.table),))
        if (limits <= 0).any():
            lowest = np.nanmin(limits)
            raise ValueError(f"limits must be above zero, or NaN for none. Got {lowest:g} instead.")
        return limits


SHARE_ENDS = ("over", "low_80", "high_80")
SHARE_DRAWS = 1000
"""Most draws that `share_over` works with."""
SHARE_CELLS = 2_000_000
"""Most draws times traps: a site of 5,000 traps is judged by 400 draws."""


@dataclass(frozen=True, slots=True)
class _Fit:
    """Draws of the zones with effort; `place` is their row in the table."""

    terms: Terms
    drawn: Posterior
    place: IntArray

    @property
    def weights(self) -> FloatArray:
        """Weight of every single draw, shape (s * m,)."""
        effects = self.drawn.effects.shape[2]
        return np.repeat(self.drawn.weights / effects, effects)

    def mean_places(self) -> FloatArray:
        """Return the mean rate of the places of each zone's traps but for its effect, (s, g)."""
        log_places = self.drawn.coefficients @ self.terms.of_place.T
        return self.terms.per_zone(np.exp(log_places)) / np.bincount(self.terms.zone)

    def rates(self) -> FloatArray:
        """Return draws of the rate of every zone, shape (g, s * m)."""
        by_draw = self.mean_places()[..., None] * np.exp(self.drawn.effects)
        return np.asarray(np.moveaxis(by_draw, 1, 0).reshape(by_draw.shape[1], -1), dtype=float)

    def mean_rates(self) -> FloatArray:
        """Return the posterior mean rate of every zone, shape (g,)."""
        return np.asarray(self.drawn.weights @ (self.mean_places() * self.drawn.mean_fold))

    def shares(self, limits: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return share of traps and of the stretch with 80 % ends, shape (g, 3) each."""
        count = len(self.terms.counts)
        effects = self.drawn.effects.shape[2]
        used = max(1, min(SHARE_DRAWS, SHARE_CELLS // count))
        random = np.random.default_rng(SEED)
        chosen = random.permutation(len(self.weights))[:used]
        draw, effect = np.divmod(chosen, effects)
        weights = self.weights[chosen] / self.weights[chosen].sum()
        sums = np.empty((2, len(limits), used))
        for number, (row, column) in enumerate(zip(draw, effect, strict=True)):
            over = self._over(int(row), int(column), limits, random)
            sums[:, :, number] = self.terms.per_zone(over)
        shares = sums / np.bincount(self.terms.zone)[:, None]
        traps, stretch = (_with_ends(each, weights) for each in shares)
        return traps, stretch

    def _over(
        self, draw: int, effect: int, limits: FloatArray, random: np.random.Generator
    ) -> FloatArray:
        """Return which traps, and what share of places like theirs, are over, in one draw."""
        terms, k = self.terms, float(self.drawn.phi[draw] ** -2.0)
        b, u = self.drawn.coefficients[draw], self.drawn.effects[draw, :, effect][terms.zone]
        rate = np.exp(terms.of_place @ b + u)
        expected = terms.weeks * np.exp(terms.columns @ b + u)
        own = rate * random.gamma(k + terms.counts) / (k + expected)
        limit = limits[terms.zone]
        return np.stack([own > limit, gammaincc(k, k * limit / rate)]).astype(float)


def zone_model(
    counts: npt.ArrayLike,
    nights: npt.ArrayLike,
    places: Places,
    *,
    zones: Sequence[str] | AnyArray,
    cutoff_m: float,
    log_ratio_se: Mapping[str, float] | None = None,
) -> ZoneModel:
    """Fit season-to-date catches by zone, with partial pooling across zones.

    Parameters
    ----------
    counts
        Adults, season to date, shape (n,); NaN where nothing was counted.
    nights
        Exposure in trap-nights of the reference design (`spatial.zones.comparable_nights`),
        shape (n,); a trap with 0 takes no part.
    places
        Of the same traps in the same order. Traps outside zones (zone None) take no part.
    zones
        All zones, those without traps too; sets the order of the result.
    cutoff_m
        Cut-off of the walks to refuges: a trap without a refuge within it counts as that far.
    log_ratio_se
        Design -> standard error of its log catch ratio, for ratios that are not known exactly. It
        is taken as knowledge from outside: where the ratio was estimated from the same catches,
        these speak twice about it, and twice the standard error is on the safe side.

    Returns
    -------
    ZoneModel

    Raises
    ------
    ValueError
        If counts or nights are negative, or a trap stands in a zone that is not in `zones`.

    Notes
    -----
    Counts are negative binomial with mean ``weeks * exp(X b + u[zone])`` and dispersion k. Zone
    effects u are normal around zero with standard deviation tau, so a zone with few traps is drawn
    towards what its use and its walk to the refuge lead one to expect. X holds a level, every use
    (if there are two) and log2(1 m + walk to the nearest refuge). The priors are weak and fixed:
    see `spatial.zone_terms` and `spatial.zone_posterior`, which also says how the fit is made. All
    is deterministic, and the order of traps is no input.

    *Zone rate* is the expected rate of one reference-design trap in the zone, at places like those
    where its traps stand (the mean over them). It is not the mean of those traps: they are a
    sample, and two traps that happened to catch much leave the rate uncertain by k.

    On 300 seasons of another, mechanistic model with mostly one trap per zone, 90 % intervals held
    the true rate in 89 %, but P(rate > limit) was too high above .05: zones stated at .65 were over
    the limit in .51, at .88 in .76, at .98 in .93 (`scripts/bench/decisions.py`). Single traps
    hardly tell what differs between zones from what differs between traps (tau from k), and true
    zone effects are peaked with a few patches, not normal; so high catches are drawn back too
    little. Treat P as a ranking with that bias, not as an exact frequency.

    Examples
    --------
    Three lawns, a trap-week of ten traps in A and B, of one trap in C, no trap in D. The trap of
    C caught 12, but there was only one:

    >>> zone = np.array(["A"] * 10 + ["B"] * 10 + ["C"], dtype=object)
    >>> lawn = np.full(21, "lawn", dtype=object)
    >>> caught = [0, 2, 1, 0, 4, 1, 0, 0, 2, 0] + [9, 3, 14, 8, 20, 5, 12, 7, 9, 13] + [12]
    >>> places = Places(np.full(21, np.nan), lawn, zone, lawn)
    >>> found = zone_model(caught, [7] * 21, places, zones=["A", "B", "C", "D"], cutoff_m=400)
    >>> found.table[["zone_id", "counted_traps", "rate", "reason"]].round(0)
      zone_id  counted_traps  rate    reason
    0       A             10   1.0
    1       B             10  10.0
    2       C              1  12.0
    3       D              0   NaN  no_traps
    >>> (found.table["rate_high_80"] / found.table["rate_low_80"] > 3).tolist()
    [False, False, True, False]
    >>> found.p_above(5).round(1).tolist()
    [0.0, 1.0, 0.9, nan]
    """
    y, x = np.asarray(counts, dtype=float), np.asarray(nights, dtype=float)
    names = pd.Index(np.asarray(zones, dtype=object))
    _refuse(y, x, places, names)
    told = takes_part(y, x, places.zone)
    summary = _summary(y, x, places.zone, told, names)
    terms = terms_of(y, x, places, cutoff_m, log_ratio_se or {})
    if terms is None:
        return _empty(summary)
    drawn = posterior(terms)
    fit = _Fit(terms, drawn, names.get_indexer(pd.Index(terms.names)).astype(np.int64))
    return ZoneModel(
        table=_with_rates(summary, fit),
        k=Estimate.of(drawn.phi**-2.0, drawn.weights),
        tau=Estimate.of(drawn.tau, drawn.weights),
        effects=_effects(terms, drawn),
        effective_draws=drawn.effective_draws,
        _fit=fit,
    )


def weighted_quantiles(draws: FloatArray, weights: FloatArray, at: Sequence[float]) -> FloatArray:
    """Return quantiles of weighted draws, row by row.

    Parameters
    ----------
    draws
        Shape (rows, s).
    weights
        Shape (s,), sum 1.
    at
        Probabilities.

    Examples
    --------
    >>> weighted_quantiles(np.array([[3.0, 1.0, 2.0]]), np.array([0.2, 0.4, 0.4]), [0.2, 0.5])
    array([[1. , 1.75]])
    """
    order = np.argsort(draws, axis=1, kind="stable")
    middle = np.cumsum(weights[order], axis=1) - weights[order] / 2
    ranked = np.take_along_axis(draws, order, axis=1)
    return np.array([np.interp(at, own, row) for own, row in zip(middle, ranked, strict=True)])


def _with_ends(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Return mean and 80 % ends of every row, shape (rows, 3)."""
    return np.column_stack([values @ weights, weighted_quantiles(values, weights, ENDS[:2])])


def _refuse(y: FloatArray, x: FloatArray, places: Places, names: pd.Index) -> None:
    for name, values in (("counts", y), ("nights", x)):
        if (values < 0).any():
            raise ValueError(f"{name} must not be negative. Got {values.min():g} instead.")
    strange = sorted(set(pd.Series(places.zone).dropna()) - set(names))
    if strange:
        raise ValueError(f"zones must hold every trap's zone. {strange[0]!r} is missing.")


def _summary(
    y: FloatArray, x: FloatArray, zone: AnyArray, told: BoolArray, names: pd.Index
) -> pd.DataFrame:
    """Return traps, effort and catch of every zone, and why it has no evidence."""
    all_traps = pd.Series(zone).value_counts().reindex(names).fillna(0)
    traps = pd.DataFrame({"zone_id": zone, "told": told, "nights": x, "adults": y})[told]
    sums = traps.groupby("zone_id")[["told", "nights", "adults"]].sum().reindex(names)
    counted = sums["told"].fillna(0).astype(int)
    reason = np.where(counted > 0, "", np.where(all_traps > 0, "no_nights", "no_traps"))
    return pd.DataFrame(
        {
            "zone_id": names.to_numpy(dtype=object),
            "counted_traps": counted.to_numpy(),
            "nights": sums["nights"].fillna(0.0).to_numpy(),
            "adults": sums["adults"].fillna(0.0).to_numpy(),
            "reason": reason.astype(object),
        }
    )


def _with_rates(summary: pd.DataFrame, fit: _Fit) -> pd.DataFrame:
    values = np.full((len(summary), 2 + len(ENDS)), np.nan)
    values[fit.place, 0] = fit.mean_rates()
    values[fit.place, 1:] = weighted_quantiles(fit.rates(), fit.weights, (0.5, *ENDS))
    return _in_order(summary, values)


def _in_order(summary: pd.DataFrame, values: FloatArray) -> pd.DataFrame:
    names = ["rate", "rate_median", *(f"rate_{end}" for end in END_NAMES)]
    table = summary.assign(**dict(zip(names, values.T, strict=True)))
    return table[["zone_id", "counted_traps", "nights", "adults", *names, "reason"]]


def _effects(terms: Terms, drawn: Posterior) -> pd.DataFrame:
    ends = weighted_quantiles(drawn.coefficients.T, drawn.weights, (0.5, 0.025, 0.975))
    ratio = pd.DataFrame(np.exp(ends), columns=["ratio", "low_95", "high_95"])
    names = pd.DataFrame(list(terms.labels), columns=["term", "level"])
    return pd.concat([names, ratio], axis=1)


def _empty(summary: pd.DataFrame) -> ZoneModel:
    blank = np.full((len(summary), 2 + len(ENDS)), np.nan)
    effects = pd.DataFrame(columns=["term", "level", "ratio", "low_95", "high_95"])
    return ZoneModel(_in_order(summary, blank), Estimate(), Estimate(), effects, 0.0, None)
