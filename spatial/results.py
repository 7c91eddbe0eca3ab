"""The frozen results that the steps of an analysis hand on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd

from data.site import Site
from spatial.placement_effect import PlacementEffect

if TYPE_CHECKING:
    # Only named here; what judges zones needs `Season` itself.
    from spatial.decision import Decision, Rule
    from spatial.season_when import SeasonWhen

MARKS = ("busy_patch", "quiet_patch", "lone_busy", "lone_quiet", "none", "not_testable")
"""What a trap can be marked as; `none` means tested and nothing found."""

NOT_TESTABLE = (
    "no_traps",
    "few_traps",
    "no_nights",
    "no_neighbours",
    "few_neighbours",
    "all_neighbours",
    "lone_design",
    "no_variation",
)
"""Why a trap, or the whole network, cannot be tested for clustering; see `spatial.testable`."""

GAP_REASONS = ("no_traps", "no_nights", "removed_traps", "few_traps", "wide_interval")
"""Why a zone's trap density is too low, worst first; see `spatial.density`."""


@dataclass(frozen=True, slots=True)
class Season:
    """One season of one site, up to the chosen week.

    Parameters
    ----------
    label
        ``"2026"``, or ``"2026/27"`` when it crosses New Year.
    start, end
        First and last day of the season's window.
    week
        The chosen ISO week, ``"2026-W19"``.
    cutoff
        Last day that counts: the Sunday of `week`, or `end` if earlier.
    weeks
        All ISO weeks of the season with at least one visit, up to `week`, in order.
    """

    label: str
    start: date
    end: date
    week: str
    cutoff: date
    weeks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GlobalTest:
    """Global Moran's I of the standardised season-to-date activity.

    Parameters
    ----------
    i, expected, z
        Moran's I, its mean under no clustering, and its standardised value; NaN if not testable.
    p
        Two-sided permutation p; NaN if not testable.
    traps
        Traps that took part; without a test, those that could have been compared.
    reason
        Empty, or why there is no test: one of `NOT_TESTABLE`.
    """

    i: float
    expected: float
    z: float
    p: float
    traps: int
    reason: str = ""


@dataclass(frozen=True, slots=True)
class DesignRatio:
    """Catch of one design relative to the reference design, per trap-night.

    Parameters
    ----------
    design, reference
        The two designs compared.
    ratio, low, high
        Estimate with its 95 % interval; NaN when not estimable.
    zone_weeks
        Zone-weeks in which both designs were checked.
    source
        ``"estimated"``, ``"user"`` or ``"not_estimable"``.
    reason
        Why not estimable (``"no_overlap"``, ``"few_zones"``, ``"few_counts"``, ``"all_zero"``,
        ``"not_overdispersed"``, ``"no_convergence"``) or the user's own source.
    """

    design: str
    reference: str
    ratio: float
    low: float
    high: float
    zone_weeks: int
    source: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Chance:
    """How often a patch planted among the site's own traps would be found.

    Parameters
    ----------
    traps, fold
        Traps in the patch, and its catch relative to the rest.
    found, maps
        Simulated maps in which a trap of the patch is marked busy, and all maps.
    """

    traps: int
    fold: float
    found: int
    maps: int

    @property
    def share(self) -> float:
        """Share of maps in which the patch was found; NaN when no such patch fits here."""
        return self.found / self.maps if self.maps else float("nan")

    @property
    def error(self) -> float:
        """Standard error of the share."""
        if not self.maps:
            return float("nan")
        return float((self.share * (1 - self.share) / self.maps) ** 0.5)


@dataclass(frozen=True, slots=True)
class Analysis:
    """Everything that one weekly run found; every page and table is a function of this.

    Parameters
    ----------
    site
        The checked site.
    season
        Season and week.
    seed, permutations
        Of the permutation tests.
    traps
        One row per trap location in use at any time of the season to date: `location_id`,
        `trap_id`, `design`, `zone_id` (None outside), `placement` (``"inside"``, ``"edge"``,
        ``"near"``, ``"outside"``), `zone_distance_m`, `in_use` (still in use at the cutoff),
        `visits_ok`, `visits_void`, `nights`, `adults`, `effort` (season-weighted trap-nights, which
        the marks rest on; see `spatial.season_effort`), `rate` (adults per trap-week, NaN without
        nights), `rate_low`, `rate_high`, `week_status` (status of this week's visit, or
        ``"not_checked"``), `week_adults`, `week_nights`, `week_rate`, `activity` (EB-standardised
        season to date), `gi_star`, `local_moran`, `p` (raw, conditional), `p_patch`, `p_lone`
        (adjusted; see `spatial.clusters.LocalClusters`), `neighbours` (count), `mark` (one of
        `MARKS`), `reason` (one of `NOT_TESTABLE`, else ``""``), `refuge_m` (walk to the nearest
        refuge; infinite beyond the cut-off, NaN unknown), `expected_rate` (for the place, NaN
        without a fit), `place_p`, `place_mark`, `place_reason` (of the second look; see
        `spatial.second_look`), geometry.
    zones
        One row per zone: `zone_id`, `use`, `name`, `area_ha`, `traps` (locations in use at the
        cutoff), `counted_traps` (locations with countable nights, season to date), `nights`,
        `adults`, `rate`, `rate_low`, `rate_high` (reference-design adults per trap-week, season to
        date; NaN without nights), `comparable` (False when only designs without a ratio caught
        there), `traps_per_ha`, `nearest_trap_m`, `gap` (one of `GAP_REASONS` or ``""``), `mark`
        (most telling mark of its traps, or ``""``), `busy_traps`, `quiet_traps`; against its limits
        on the last day that counts, as in `spatial.decision.decision_table`: `state`, `reasons`,
        `judged_by`, `p_above`, `adult_limit`, `larval_limit_m2`, `larvae_m2`, `larvae_m2_low`,
        `larvae_m2_high`, `cores`, `more_nights`, `more_traps`, `more_cores`, `cheapest`; from the
        zone model, NaN where no zone has a limit for adults: `model_rate`, `model_low_80`,
        `model_high_80`, `model_low_95`, `model_high_95` (adults per trap-week of the reference
        design), `share_over` (expected share of places like those of its traps where a trap would
        be over the limit; NaN without one); geometry.
    rounds
        Long, one row per week and location visited: `week`, `location_id`, `status`, `adults`,
        `nights`, `rate`.
    marks
        Long, one row per week and location, season to date at that week: `week`, `location_id`,
        `rate`, `nights`, `adults`, `mark`.
    zone_weeks
        Long, one row per week and zone, season to date at that week: `week`, `zone_id`, `rate`,
        `nights`, `adults`, `mark` (as in `zones`).
    curve
        One row per week: `week`, `checked` and `void` (traps; those not checked are neither),
        `adults`, `nights`, and `rate`,
        `rate_low`, `rate_high` in reference-design adults per trap-week.
    global_test
        Season-to-date clustering of the whole network.
    ratios
        One per design other than the reference.
    reference_design
        The design to which zone rates refer.
    dispersion_k
        Negative binomial k of trap totals around the rate of their use class; inf when not
        overdispersed, NaN when not estimable.
    links
        Neighbour links, each pair once: `focal`, `neighbor` (location ids), `distance_m` (walking).
    suggestions
        Places for new traps, best first: `spatial.trap_plan.TrapPlan.suggestions`.
    placement
        What the places of the traps explain of their catch.
    chance
        How often this network would find a patch of four traps at three times the rest; None when
        there is no test, or no spread to simulate.
    visit_counts
        Status -> visits of the season to date.
    versions
        Library -> version.
    when
        When adults walk, and what is due.
    decisions
        One per zone, in the order of `zones`.
    rule
        How they were judged.
    """

    site: Site
    season: Season
    seed: int
    permutations: int
    traps: gpd.GeoDataFrame
    zones: gpd.GeoDataFrame
    rounds: pd.DataFrame
    marks: pd.DataFrame
    zone_weeks: pd.DataFrame
    curve: pd.DataFrame
    global_test: GlobalTest
    ratios: tuple[DesignRatio, ...]
    reference_design: str
    dispersion_k: float
    links: pd.DataFrame
    suggestions: gpd.GeoDataFrame
    placement: PlacementEffect
    chance: Chance | None
    visit_counts: Mapping[str, int]
    versions: Mapping[str, str]
    decisions: tuple[Decision, ...] = ()
    rule: Rule | None = None
    when: SeasonWhen | None = None

    @property
    def judged(self) -> bool:
        """Whether any zone has a limit on the last day that counts."""
        return any(each.limits.adults or each.limits.larvae for each in self.decisions)
