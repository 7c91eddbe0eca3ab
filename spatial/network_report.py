"""What a network can carry, what it cannot, and which traps would change that most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from data.findings import SettingsError
from data.site import Site
from spatial.analysis import analyse
from spatial.arrays import BoolArray, FloatArray
from spatial.exposure import season_visits
from spatial.precision import Outlook, kept_share, of_way, zone_precision
from spatial.ratios import ratio_by_design
from spatial.reach import Standing, close_pairs, zone_reach
from spatial.refuge_edge import Surroundings, edge_of
from spatial.results import Analysis
from spatial.round_plan import RoundPlan, minutes_of, plan_round
from spatial.sample_size import Precision
from spatial.seasons import iso_week, season_bounds, season_label
from spatial.spots import Trapped, site_spots
from spatial.trap_plan import TrapNeeds, TrapPlan, plan_traps
from spatial.verdicts import Demands, verdicts

MOST_TRIED = 40
"""Traps of which it is tried whether they could go."""


@dataclass(frozen=True, slots=True)
class NetworkWish:
    """What is asked for.

    Parameters
    ----------
    new, moved
        Traps to add, and most traps to move.
    next_season
        Plan for the next season.
    """

    new: int = 8
    moved: int = 0
    next_season: bool = False


@dataclass(frozen=True, slots=True)
class NetworkReport:
    """The network of a site in one season.

    Parameters
    ----------
    analysis
        What is known.
    plan
        The next traps.
    zones
        One row per zone, in their order: `zone_id`, `traps`, `traps_per_ha`, `nights_per_ha`,
        `share_lost` (of visits), `share_in_reach`, `edge_m`, `edge_in_reach_m`, `longest_open_m`,
        `nearest_trap_m` (on foot), `close_pairs`.
    precision
        `spatial.precision.zone_precision`.
    verdicts
        `spatial.verdicts.verdicts`.
    pairs
        `first`, `second` (trap ids) and `distance_m` of traps that share beetles.
    redundant
        Ids of traps in use without which no verdict would be another, of the `MOST_TRIED` in the
        zones with most traps.
    minutes
        What every suggested trap adds to the round; NaN where no trap is in use.
    round_minutes
        Of the round as it is; NaN where no trap is in use.
    """

    analysis: Analysis
    plan: TrapPlan
    zones: pd.DataFrame
    precision: pd.DataFrame
    verdicts: pd.DataFrame
    pairs: pd.DataFrame
    redundant: tuple[str, ...]
    minutes: FloatArray
    round_minutes: float


def network_report(site: Site, week: str | None, wish: NetworkWish) -> NetworkReport:
    """Return what the network can carry and where the next traps go.

    Parameters
    ----------
    site
        The checked site.
    week
        ISO week; None for the last with a visit.
    wish
        What is asked for.

    Raises
    ------
    data.findings.SettingsError
        If `week` is no week with a season.
    """
    analysis = _analysed(site, week)
    ratio = ratio_by_design(analysis.ratios, analysis.reference_design)
    needs = TrapNeeds(
        site, analysis.season, analysis.zones, analysis.traps, ratio, analysis.dispersion_k
    )
    plan = plan_traps(needs, wish.new, wish.moved, next_season=wish.next_season)
    outlook = _outlook(analysis, plan)
    precision = _precision(needs, analysis.zones, outlook)
    told = _verdicts(analysis, analysis.traps, precision)
    minutes, whole = _minutes(analysis, plan)
    pairs = _pairs(analysis)
    return NetworkReport(
        analysis=analysis,
        plan=plan,
        zones=_zones(analysis, pairs),
        precision=precision,
        verdicts=told,
        pairs=pairs,
        redundant=_redundant(analysis, _Known(needs, outlook, precision, told), pairs),
        minutes=minutes,
        round_minutes=whole,
    )


def _analysed(site: Site, week: str | None) -> Analysis:
    """Return the analysis without a choice of traps, which is made here as it is asked for."""
    none = replace(site.settings.network, suggestions=0)
    quick = replace(site, settings=replace(site.settings, network=none))
    return replace(analyse(quick, week), site=site)


def week_of_season(site: Site, label: str) -> str:
    """Return the last week with a visit of a season.

    Parameters
    ----------
    site
        The site.
    label
        Year in which the season starts, ``"2025"``, or its name, ``"2025/26"``.

    Raises
    ------
    SettingsError
        If no visit lies in that season.
    """
    days = site.visits["checked_on"]
    bounds = [season_bounds(day.date(), site.settings.season) for day in days]
    names = [season_label(*each) for each in bounds]
    asked = [
        label in (name, str(start.year)) for name, (start, _) in zip(names, bounds, strict=True)
    ]
    own = days[asked]
    if own.empty:
        known = ", ".join(sorted(set(names)))
        raise SettingsError(f"no visit lies in season {label!r}; there are visits of {known}")
    return str(iso_week(own).max())


def _outlook(analysis: Analysis, plan: TrapPlan) -> Outlook:
    rules, season = analysis.site.settings.network, analysis.season
    return Outlook(
        weeks_left=0 if plan.next_season else plan.weeks,
        season_weeks=max(1, ((season.end - season.start).days + 1) // 7),
        kept=kept_share(analysis.visit_counts),
        wanted=Precision(rules.precision),
    )


def demands_of(analysis: Analysis) -> Demands:
    """Return the thresholds of a site."""
    rules, marks = analysis.site.settings.network, analysis.site.settings.marks
    return Demands(
        timing_spots=rules.timing_traps,
        timing_reach_m=rules.timing_reach_m,
        edge_m=rules.refuge_reach_m,
        evidence_spots=rules.min_traps_per_zone,
        low_rate=analysis.site.settings.class_breaks[0],
        site_least=marks.min_traps,
        site_few=marks.few_traps,
        patch_traps=rules.patch_traps,
        patch_fold=rules.patch_fold,
        patch_reach_m=marks.cutoff_m,
        apart_m=rules.shared_m,
    )


def _precision(needs: TrapNeeds, zones: gpd.GeoDataFrame, outlook: Outlook) -> pd.DataFrame:
    """Return the precision of some zones with the traps of `needs`."""
    model = dict(zip(zones["zone_id"], zones["model_rate"], strict=True))
    known = {zone: float(rate) for zone, rate in model.items() if math.isfinite(rate)}
    return zone_precision(zones, _spots(needs), outlook, known)


def _verdicts(analysis: Analysis, traps: gpd.GeoDataFrame, precision: pd.DataFrame) -> pd.DataFrame:
    evidence = of_way(precision, "nb", list(analysis.zones["zone_id"]))
    chances = [analysis.chance] if analysis.chance else []
    return verdicts(analysis.zones, traps, evidence, chances, demands_of(analysis))


def _spots(needs: TrapNeeds) -> Trapped:
    use = dict(zip(needs.zones["zone_id"], needs.zones["use"], strict=True))
    return site_spots(needs.traps, use, needs.ratio, needs.site.settings.network.shared_m)


def _zones(analysis: Analysis, close: pd.DataFrame) -> pd.DataFrame:
    zones, site = analysis.zones, analysis.site
    traps = analysis.traps[analysis.traps["in_use"]]
    places = np.asarray(shapely.get_coordinates(traps.geometry.to_numpy()), dtype=float)
    reach_m = np.array([site.settings.reach_m(str(each)) for each in traps["design"]])
    shapes, solid = list(zones.geometry), list(site.obstacles.geometry)
    rules = site.settings.network
    edge = edge_of(shapes, Surroundings(list(site.refuges.geometry), solid, rules.refuge_reach_m))
    reached = zone_reach(
        shapes, Standing(places, reach_m), solid, edge, site.settings.marks.cutoff_m
    )
    area_ha = zones["area_ha"].to_numpy(dtype=float)
    zone_of = dict(zip(traps["trap_id"], traps["zone_id"], strict=True))
    pairs = close["first"].map(zone_of).value_counts()
    return reached.drop(columns="measured").assign(
        zone_id=zones["zone_id"].to_numpy(),
        traps=zones["traps"].to_numpy(),
        traps_per_ha=zones["traps"].to_numpy() / area_ha,
        nights_per_ha=zones["nights"].to_numpy() / area_ha,
        share_lost=_share_lost(analysis),
        close_pairs=zones["zone_id"].map(pairs).fillna(0).astype(int).to_numpy(),
    )


def _share_lost(analysis: Analysis) -> FloatArray:
    """Return the share of visits to every zone's traps that did not count; NaN without a visit."""
    visits = season_visits(analysis.site.visits, analysis.season)
    zone = visits["location_id"].map(
        dict(zip(analysis.traps["location_id"], analysis.traps["zone_id"], strict=True))
    )
    lost = (visits["status"] != "ok").groupby(zone).mean()
    return np.asarray(analysis.zones["zone_id"].map(lost), dtype=float)


def _pairs(analysis: Analysis) -> pd.DataFrame:
    traps, site = analysis.traps[analysis.traps["in_use"]], analysis.site
    close = close_pairs(
        np.asarray(shapely.get_coordinates(traps.geometry.to_numpy()), dtype=float),
        list(site.obstacles.geometry),
        site.settings.network.shared_m,
    )
    ids = traps["trap_id"].to_numpy(dtype=object)
    return close.assign(first=ids[close["first"]], second=ids[close["second"]])


@dataclass(frozen=True, slots=True)
class _Known:
    """What is said with all traps in use."""

    needs: TrapNeeds
    outlook: Outlook
    precision: pd.DataFrame
    verdicts: pd.DataFrame

    def without(self, row: int) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
        """Return the traps and the precision once one trap is taken up; its counts stay."""
        in_use = self.needs.traps["in_use"].copy()
        in_use.iloc[row] = False
        traps = gpd.GeoDataFrame(self.needs.traps.assign(in_use=in_use))
        zones, own = self.needs.zones, self.needs.traps["zone_id"].iloc[row]
        other = _precision(
            replace(self.needs, traps=traps), zones[zones["zone_id"] == own], self.outlook
        )
        kept = self.precision[self.precision["zone_id"] != own]
        return traps, pd.concat([kept, other], ignore_index=True)


def _redundant(analysis: Analysis, known: _Known, pairs: pd.DataFrame) -> tuple[str, ...]:
    """Return the traps that answer no question: without one, no verdict and number changes.

    What the network finds as a whole is taken to stay as it is without one of its traps.
    """
    said = known.verdicts[["verdict", "missing"]]
    found = []
    for row in np.flatnonzero(_spare(analysis, known.verdicts, pairs)).tolist():
        other = _verdicts(analysis, *known.without(row))
        if said.equals(other[["verdict", "missing"]]):
            found.append(str(analysis.traps["trap_id"].iloc[row]))
    return tuple(found)


def _spare(analysis: Analysis, told: pd.DataFrame, pairs: pd.DataFrame) -> BoolArray:
    """Tell which traps in use may be redundant: in a zone that lacks evidence each one counts."""
    traps = analysis.traps
    enough = told[(told["purpose"] == "evidence") & (told["verdict"] == "enough")]["zone_id"]
    free = traps["zone_id"].isna() | traps["zone_id"].isin(enough)
    paired = traps["trap_id"].isin([*pairs["first"], *pairs["second"]])
    spare = traps["in_use"] & (free | paired)
    # Where traps are many, those of the zones with most are tried, for each one takes a while.
    crowd = traps["zone_id"].map(traps.loc[traps["in_use"], "zone_id"].value_counts()).fillna(0)
    ranked = pd.DataFrame({"paired": paired, "crowd": crowd})[spare]
    tried = ranked.sort_values(["paired", "crowd"], ascending=False, kind="stable").index
    return np.asarray(traps.index.isin(tried[:MOST_TRIED]), dtype=bool)


def _minutes(analysis: Analysis, plan: TrapPlan) -> tuple[FloatArray, float]:
    """Return what every place adds to the round, one after the other, and the round as it is.

    Traps that are to be moved are no stops any more.
    """
    unknown = np.full(len(plan.suggestions), np.nan), math.nan
    if not analysis.traps["in_use"].any():
        return unknown
    try:
        walk = plan_round(analysis.site, analysis.season.week)
    except SettingsError:
        return unknown
    stays = walk.stops[~walk.stops["location_id"].isin(plan.moved)]
    places = shapely.get_coordinates(plan.suggestions.geometry.to_numpy())
    return detours_min(replace(walk, stops=stays), places), walk.minutes


def detours_min(plan: RoundPlan, places_m: FloatArray) -> FloatArray:
    """Return the minutes that places add to a round, each put where it is least out of the way.

    Ways to a new place are straight: a walk round water takes longer.

    Parameters
    ----------
    plan
        The round as it is.
    places_m
        Shape (n, 2), in the order in which they are added.
    """
    rules = plan.site.settings.round
    stops = shapely.get_coordinates(plan.stops.geometry.to_numpy())
    walk = [np.asarray(plan.start_m, dtype=float), *stops, np.asarray(plan.start_m, dtype=float)]
    added = []
    for place in np.asarray(places_m, dtype=float).reshape(-1, 2):
        longer = _detours_m(walk, place)
        best = int(np.argmin(longer))
        walk.insert(best + 1, place)
        added.append(minutes_of(float(longer[best]), 1, rules))
    return np.array(added, dtype=float)


def _detours_m(walk: Sequence[FloatArray], place: FloatArray) -> FloatArray:
    points = np.vstack(walk)
    there = np.hypot(*(points - place).T)
    legs = np.hypot(*np.diff(points, axis=0).T)
    return np.asarray(there[:-1] + there[1:] - legs, dtype=float)
