"""The order of the steps: from a checked site and a week to everything that is shown."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import scipy
import shapely

from data.site import Site
from data.version import VERSION
from spatial.clusters import LocalClusters, clusters_by
from spatial.curve import season_curve
from spatial.density import gaps, nearest_trap_m
from spatial.efficacy import countable_visits
from spatial.exposure import Totals, catch_rate, rounds, season_visits, to_date
from spatial.neighbours import Neighbours
from spatial.network import network_of, walked_m
from spatial.power import chance_of_finding, watched
from spatial.results import Analysis, Chance, Season
from spatial.season_effort import season_effort
from spatial.season_traps import season_traps
from spatial.season_when import SeasonWhen, season_when
from spatial.seasons import choose_season
from spatial.second_look import SecondLook, second_look
from spatial.site_ratios import SiteRatios, site_ratios
from spatial.trap_plan import TrapNeeds, suggested_traps
from spatial.zone_evidence import zone_evidence
from spatial.zones import (
    comparable_nights,
    dispersion_of_totals,
    trap_intervals,
    zone_table,
    zone_weeks,
)


def analyse(site: Site, week: str | None = None, *, seed: int = 0) -> Analysis:
    """Analyse one week of one site: the season to date says where, the weekly curve says when.

    Parameters
    ----------
    site
        The checked site.
    week
        ISO week like ``"2026-W19"``; None for the last week with a visit.
    seed
        Seed of the permutations.

    Raises
    ------
    data.findings.SettingsError
        If `week` is no ISO week or lies outside every season with visits.
    """
    season = choose_season(site.visits["checked_on"], site.settings.season, week)
    visits = season_visits(site.visits, season)
    table = rounds(visits)
    traps = season_traps(site, season, table)
    totals = to_date(table, season.weeks, pd.Index(traps["location_id"]))
    marks = _marks_by_week(traps, totals, site, seed)
    graph, latest = marks[-1]
    scale = site_ratios(site, season, traps)
    ratio = scale.by_design
    comparable = comparable_nights(totals.nights, traps["design"], ratio)
    traps = _with_results(traps, totals, latest, graph, visits, season)
    k = dispersion_of_totals(traps, comparable[-1])
    traps = _with_intervals(traps, k)
    look = second_look(traps, site, graph, seed=seed)
    traps = _with_second_look(traps, look)
    zones = zone_table(site.zones, traps, comparable[-1], k)
    zones = zones.assign(nearest_trap_m=nearest_trap_m(zones, traps))
    zones = zones.assign(gap=gaps(zones, site.settings.network, site.settings.class_breaks[0]))
    judged = zone_evidence(site, season, traps, comparable[-1], scale.ratios)
    zones = zones.merge(judged.table, on="zone_id", how="left", validate="1:1")
    needs = TrapNeeds(site, season, zones, traps, ratio, k)
    counted = visits["status"].value_counts()
    weekly_marks = _long_marks(season, traps, totals, [found for _, found in marks])
    return Analysis(
        site=site,
        season=season,
        seed=seed,
        permutations=site.settings.marks.permutations,
        traps=traps.drop(columns=["use", "installed", "removed"]),
        zones=zones,
        rounds=table,
        marks=weekly_marks,
        zone_weeks=zone_weeks(
            site.zones["zone_id"], traps["zone_id"], season, totals, comparable, weekly_marks
        ),
        curve=season_curve(table, season, traps, ratio),
        global_test=latest.overall,
        ratios=scale.ratios,
        reference_design=scale.reference,
        dispersion_k=k,
        links=graph.links(),
        suggestions=suggested_traps(needs, site.settings.network.suggestions),
        placement=look.effect,
        chance=_chance(traps, graph, site, seed),
        visit_counts={str(status): int(count) for status, count in counted.sort_index().items()},
        versions=_versions(),
        decisions=judged.decisions,
        rule=judged.rule,
        when=_when(site, season, scale, seed),
    )


def _when(site: Site, season: Season, scale: SiteRatios, seed: int) -> SeasonWhen:
    visits = countable_visits(site.visits, scale.traps, scale.by_design)
    return season_when(site, season, visits[visits["nights"] > 0], site.model, seed=seed)


def _marks_by_week(
    traps: gpd.GeoDataFrame, totals: Totals, site: Site, seed: int
) -> list[tuple[Neighbours, LocalClusters]]:
    rules = site.settings.marks
    distance_m = walked_m(traps, site)
    design = traps["design"].to_numpy(dtype=str)
    effort = season_effort(totals.adults, totals.nights, design)
    found = []
    for adults, nights in zip(totals.adults, effort, strict=True):
        graph = network_of(traps, nights, distance_m, rules)
        marks = clusters_by(rules, adults, nights, graph, design=design, seed=seed)
        found.append((graph, marks))
    return found


def _chance(traps: gpd.GeoDataFrame, graph: Neighbours, site: Site, seed: int) -> Chance | None:
    rules, patch = site.settings.marks, site.settings.network
    network = watched(traps, graph, cutoff_m=rules.cutoff_m)
    if network is None:
        return None
    found = chance_of_finding(
        network, patch.patch_traps, patch.patch_fold, alpha=rules.alpha, maps=100, seed=seed
    )
    return found if found.maps else None


def _with_results(
    traps: gpd.GeoDataFrame,
    totals: Totals,
    latest: LocalClusters,
    graph: Neighbours,
    visits: pd.DataFrame,
    season: Season,
) -> gpd.GeoDataFrame:
    table = rounds(visits)
    ok = visits["status"].eq("ok").groupby(visits["location_id"]).sum()
    every = visits.groupby("location_id").size()
    visits_ok = traps["location_id"].map(ok).fillna(0).astype(int)
    this_week = table[table["week"] == season.week].set_index("location_id")
    this_week = this_week.reindex(traps["location_id"]).reset_index()
    return traps.assign(
        visits_ok=visits_ok,
        visits_void=traps["location_id"].map(every).fillna(0).astype(int) - visits_ok,
        nights=totals.nights[-1],
        adults=totals.adults[-1],
        effort=season_effort(totals.adults, totals.nights, traps["design"].to_numpy(dtype=str))[-1],
        rate=catch_rate(totals.adults[-1], totals.nights[-1]),
        week_status=this_week["status"].fillna("not_checked"),
        week_adults=this_week["adults"].where(this_week["nights"] > 0),
        week_nights=this_week["nights"].fillna(0.0),
        week_rate=this_week["rate"],
        activity=latest.activity,
        gi_star=latest.gi_star,
        local_moran=latest.local_moran,
        p=latest.p,
        p_patch=latest.p_patch,
        p_lone=latest.p_lone,
        neighbours=graph.cardinalities,
        mark=latest.mark,
        reason=latest.reason,
    )


def _with_intervals(traps: gpd.GeoDataFrame, k: float) -> gpd.GeoDataFrame:
    low, high = trap_intervals(traps, k)
    return traps.assign(rate_low=low, rate_high=high)


def _with_second_look(traps: gpd.GeoDataFrame, look: SecondLook) -> gpd.GeoDataFrame:
    return traps.assign(
        refuge_m=look.refuge_m,
        expected_rate=look.expected_rate,
        place_p=look.p_patch,
        place_mark=look.mark,
        place_reason=look.reason,
    )


def _long_marks(
    season: Season, traps: gpd.GeoDataFrame, totals: Totals, found: list[LocalClusters]
) -> pd.DataFrame:
    n = len(traps)
    return pd.DataFrame(
        {
            "week": np.repeat(np.asarray(season.weeks, dtype=object), n),
            "location_id": np.tile(traps["location_id"].to_numpy(dtype=object), len(found)),
            "rate": catch_rate(totals.adults, totals.nights).ravel(),
            "nights": totals.nights.ravel(),
            "adults": totals.adults.ravel(),
            "mark": np.concatenate([one.mark for one in found]),
        }
    )


def _versions() -> dict[str, str]:
    return {
        "snoutline": VERSION,
        "geopandas": gpd.__version__,
        "numpy": np.__version__,
        "pandas": pd.__version__,
        "scipy": scipy.__version__,
        "shapely": shapely.__version__,
    }
