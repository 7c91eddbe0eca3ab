"""What it takes to know the classes of zone of a site: sample sizes, stop lines, decision charts.

A class is a use and a trap design, or the soil cores of a use: their counts are not of one kind.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from data.limits import limits_of
from data.settings import LimitSettings, Stage
from data.site import Site
from spatial.cores import CM2_PER_FT2, CM2_PER_M2
from spatial.exposure import season_visits
from spatial.results import Season
from spatial.sample_size import (
    Precision,
    SampleSize,
    StopLine,
    StopLineTrial,
    stop_line,
    try_stop_line,
    units_needed,
)
from spatial.sampling import ClassDispersion, dispersion_by_class
from spatial.seasons import choose_season, in_period
from spatial.sequential import (
    DecisionChart,
    Performance,
    around,
    decision_chart,
    limit_per_core,
    limit_per_visit,
    performance,
)
from spatial.site_ratios import site_ratios
from spatial.variance_laws import NegativeBinomial, TaylorLaw

NO_LIMIT = ("no_limit", "other_days", "no_ratio")
"""Why a class has no limit: none is set for any of its zones; those set do not hold on this day;
the design's catch relative to the reference design, to which limits belong, is not known."""

MOST_UNITS = (30, 60, 120)
"""Last unit of a chart or line: the first that lets it say something."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the user asks for (defaults: common practice, no source).

    Parameters
    ----------
    d
        Standard error, or half-width of a 95 % interval, as a share of the mean.
    fold
        The chart tells limit / fold from limit x fold.
    error
        Chance of either wrong call at those two means.
    k
        k for the classes whose own counts do not tell one; NaN for none.
    """

    d: float = 0.25
    fold: float = 1.5
    error: float = 0.1
    k: float = math.nan


@dataclass(frozen=True, slots=True)
class ClassChart:
    """The decision chart of one limit in a class.

    Parameters
    ----------
    limit
        The user's limit.
    zones
        Zones of the class that it holds for.
    chart
        The chart; its `reason` says when there is none.
    performance, patchier
        What it does, simulated, at its k and at the low end of k's interval; None without one.
    """

    limit: LimitSettings
    zones: tuple[str, ...]
    chart: DecisionChart
    performance: Performance | None
    patchier: Performance | None


@dataclass(frozen=True, slots=True)
class ClassSampling:
    """What it takes to know one class.

    Parameters
    ----------
    dispersion
        How patchy it is; its `use` is the use alone.
    design
        Trap design; ``""`` for cores.
    diameter_cm
        Diameter of the cores; NaN for traps.
    sizes
        Units needed at the class's mean, by both meanings of precision.
    line, trial
        Fixed-precision stop line, and what it gave on simulated counts (None if not tried).
    charts
        One for each limit that holds in the class.
    no_limit
        ``""`` or one of `NO_LIMIT`.
    given_k
        The user's k, where the class's own counts do not tell one; NaN otherwise.
    """

    dispersion: ClassDispersion
    design: str
    diameter_cm: float
    sizes: tuple[SampleSize, ...]
    line: StopLine
    trial: StopLineTrial | None
    charts: tuple[ClassChart, ...]
    no_limit: str
    given_k: float = math.nan

    @property
    def told(self) -> bool:
        """Whether anything can be said beyond the mean."""
        return not self.dispersion.reason or _known(self.given_k)


@dataclass(frozen=True, slots=True)
class SiteSampling:
    """What it takes to know the classes of a site.

    Parameters
    ----------
    site, season, wanted
        What was looked at and asked for.
    traps, cores
        One per use and design, and one per use and diameter of core.
    pooled_cores
        Rows of several cores together, which say nothing about scatter between cores.
    """

    site: Site
    season: Season
    wanted: Wanted
    traps: tuple[ClassSampling, ...]
    cores: tuple[ClassSampling, ...]
    pooled_cores: int


@dataclass(frozen=True, slots=True)
class _Kind:
    """One design or diameter: how a limit becomes a count per unit."""

    design: str
    diameter_cm: float
    ratio: float

    @property
    def stage(self) -> Stage:
        return "adults" if self.design else "larvae"

    def limit(self, amount: float, nights: float) -> float:
        """Return a limit (adults per trap-week, larvae per m2) as counts per unit."""
        if self.design:
            return limit_per_visit(amount, nights) * self.ratio
        return limit_per_core(amount * CM2_PER_FT2 / CM2_PER_M2, self.diameter_cm)


def site_sampling(
    site: Site, week: str | None = None, *, wanted: Wanted | None = None, cores: bool = False
) -> SiteSampling:
    """Return what it takes to know every class of zone, from the season to date.

    Parameters
    ----------
    site
        The checked site.
    week
        ISO week; None for the last with a visit.
    wanted
        Precision and error rates; None takes the defaults.
    cores
        Look at soil cores, too.

    Raises
    ------
    data.findings.SettingsError
        If `week` is no week with a season, or a number asked for is out of range.
    """
    asked = wanted or Wanted()
    season = choose_season(site.visits["checked_on"], site.settings.season, week)
    scale = site_ratios(site, season)
    counts, ratio = _visits(site, season, scale.traps), scale.by_design
    traps = [
        found
        for design, own in counts.groupby("design", sort=True)
        for found in _classes(
            own, _Kind(str(design), math.nan, ratio.get(str(design), math.nan)), site, season, asked
        )
    ]
    rows = site.cores[in_period(site.cores["sampled_on"], season.start, season.cutoff)]
    single = rows[rows["cores"] == 1] if cores else rows.iloc[:0]
    use = single["zone_id"].map(site.zones.set_index("zone_id")["use"])
    bored = single.assign(
        use=use,
        count=single["larvae"],
        sample=single["zone_id"] + " " + single["sampled_on"].astype(str),
    ).dropna(subset=["use", "count"])
    found_cores = [
        found
        for diameter, own in bored.groupby("diameter_cm", sort=True)
        for found in _classes(own, _Kind("", float(str(diameter)), 1.0), site, season, asked)
    ]
    return SiteSampling(
        site, season, asked, tuple(traps), tuple(found_cores), int((rows["cores"] > 1).sum())
    )


def _visits(site: Site, season: Season, traps: pd.DataFrame) -> pd.DataFrame:
    """Return the countable visits of the season inside zones: use, design, sample, count."""
    visits = season_visits(site.visits, season)
    taken = (visits["nights"] > 0) & visits["adults"].notna()
    counted = visits[taken].merge(traps, on="location_id")
    counted = counted[counted["zone_id"].notna()]
    return counted.assign(
        use=counted["zone_id"].map(site.zones.set_index("zone_id")["use"]),
        sample=counted["zone_id"].astype(str) + " " + counted["week"],
        count=counted["adults"],
    )


def _classes(
    counts: pd.DataFrame, kind: _Kind, site: Site, season: Season, wanted: Wanted
) -> list[ClassSampling]:
    nights = counts["nights"].to_numpy(dtype=float) if kind.design else None
    found = dispersion_by_class(
        counts["count"].to_numpy(dtype=float),
        counts["use"].to_numpy(dtype=str),
        counts["sample"].to_numpy(dtype=str),
        nights,
    )
    return [_class(each, kind, site, season, wanted) for each in found]


def _class(
    found: ClassDispersion, kind: _Kind, site: Site, season: Season, wanted: Wanted
) -> ClassSampling:
    own = found.k.adjusted.k
    given_k = math.nan if _known(own) else wanted.k
    k = own if _known(own) else given_k
    # Zones hold few traps, and a variance of two or three counts biases Taylor's law (see
    # `spatial.variance_laws.taylor`); the k is corrected for that, so it comes first.
    law = NegativeBinomial(k) if _known(k) else found.taylor
    line = _line(law, Precision(wanted.d, "se"))
    tried = not line.reason and _known(k) and found.mean > 0
    limits, no_limit = _limits(found.use, kind, site, season)
    return ClassSampling(
        dispersion=found,
        design=kind.design,
        diameter_cm=kind.diameter_cm,
        sizes=tuple(
            units_needed(found.mean, law, Precision(wanted.d, meaning))
            for meaning in ("se", "half_width")
        ),
        line=line,
        trial=try_stop_line(line, found.mean, k, runs=500) if tried else None,
        charts=tuple(_chart(limit, zones, found, kind, wanted) for limit, zones in limits),
        no_limit=no_limit,
        given_k=given_k,
    )


def _known(k: float) -> bool:
    return 0 < k < math.inf


def _line(law: TaylorLaw | NegativeBinomial, precision: Precision) -> StopLine:
    for most in MOST_UNITS:
        line = stop_line(law, precision, most=most)
        if line.reason != "beyond_most":
            break
    return line


def _limits(
    use: str, kind: _Kind, site: Site, season: Season
) -> tuple[list[tuple[LimitSettings, tuple[str, ...]]], str]:
    """Return every limit that holds in the class on the cut-off day, with its zones."""
    zones = sorted(site.zones.loc[site.zones["use"] == use, "zone_id"])
    held: dict[LimitSettings, list[str]] = {}
    for zone in zones:
        limits = limits_of(site.settings.limits, zone, use, season.cutoff)
        limit = limits.adults if kind.stage == "adults" else limits.larvae
        if limit is not None:
            held.setdefault(limit, []).append(zone)
    if not held:
        other = any(
            limit.stage == kind.stage and limit.zone in (None, *zones) and limit.use in (None, use)
            for limit in site.settings.limits
        )
        return [], "other_days" if other else "no_limit"
    if math.isnan(kind.ratio):
        return [], "no_ratio"
    return [(limit, tuple(names)) for limit, names in held.items()], ""


def _chart(
    limit: LimitSettings,
    zones: tuple[str, ...],
    found: ClassDispersion,
    kind: _Kind,
    wanted: Wanted,
) -> ClassChart:
    means = around(
        kind.limit(limit.amount, found.nights), wanted.fold, alpha=wanted.error, beta=wanted.error
    )
    estimate = found.k.adjusted
    k = estimate.k
    if _known(wanted.k) and not _known(k):
        k = wanted.k
    elif estimate.reason == "k_inf":
        # Counts that vary no more than chance still rule out only small k: the chart takes that
        # end.
        k = estimate.low
    for most in MOST_UNITS:
        chart = decision_chart(means, k, most=most)
        if chart.reason != "too_few_units":
            break
    if chart.reason:
        return ClassChart(limit, zones, chart, None, None)
    low = estimate.low
    patchier = 0 < low < k and bool(np.isfinite(low))
    return ClassChart(
        limit,
        zones,
        chart,
        performance(chart, runs=2000),
        performance(chart, k=low, runs=1000) if patchier else None,
    )
