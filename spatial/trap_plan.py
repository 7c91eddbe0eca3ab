"""Where the next traps go, and which of today's to move: the places that settle most.

What a trap is worth is counted in hectares: of the zone, what it is expected to settle
(`spatial.zone_worth`), and a strip as wide as its reach along the refuge-facing edge that it
watches. Places keep every rule of the site (`spatial.candidates`); the choice is greedy with swaps
and comes with a bound that no choice can pass (`spatial.trap_choice`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from data.settings import NetworkSettings
from data.site import Site
from spatial.arrays import FloatArray, IntArray, NameArray
from spatial.candidates import Clearances, PlaceRules, candidates
from spatial.decision import cutoffs_of
from spatial.dispersion import usable_k
from spatial.exposure import NIGHTS_PER_WEEK
from spatial.knee import knee
from spatial.more_evidence import log_sd_of
from spatial.precision import expected_rates
from spatial.refuge_edge import Edge, Surroundings, edge_of
from spatial.results import Season
from spatial.spots import Trapped, site_spots
from spatial.trap_bearing import edge_bearing, fall_along, pipe_bearing, slope_at
from spatial.trap_choice import Choice, chosen, curve
from spatial.trap_demand import TrapPlaces, Worth, trap_ground
from spatial.trap_ground import Ground
from spatial.trap_tally import linked
from spatial.zone_worth import ZoneStand, error_of_counts, unsettled_ha, worth_steps

EDGE_STEP_M = 5.0
"""Longest piece of edge that is watched or not as a whole."""

AREA_WORTH = 0.05
"""What a hectare of ground in reach is worth beside what is settled: it decides between places that
are alike otherwise (common practice, no source)."""

CURVE_TRAPS = 20

LEAST_WEEKS = 2
"""With fewer weeks left the plan is for the next season (common practice, no source)."""

LEAST_SETTLED_HA, LEAST_EDGE_M = 0.005, 1.0
"""A new trap that is worth less than this both ways is not suggested (common practice, no source).
"""

LEAST_MOVE_HA = 0.02
"""A trap is not dug out for less (common practice, no source)."""

OPEN_EDGE, UNDECIDED = "open_edge", "undecided"
"""Why a trap is suggested in a zone that has no gap: see `spatial.results.GAP_REASONS`."""

COLUMNS = (
    "rank",
    "zone_id",
    "reason",
    "place",
    "design",
    "bearing_deg",
    "uphill_deg",
    "ground_fall",
    "refuge_id",
    "refuge_distance_m",
    "nearest_trap_m",
    "settles_ha",
    "edge_m",
    "worth_ha",
)


@dataclass(frozen=True, slots=True)
class TrapNeeds:
    """What the choice of traps rests on.

    Parameters
    ----------
    site, season
        What is looked at.
    zones
        `zone_id`, `use`, `area_ha`, `gap`, `state`, `judged_by`, `adult_limit`, `adults_p_above`,
        `model_rate`, `model_low_80`, `model_high_80`, polygons in metres: `Analysis.zones`.
    traps
        `Analysis.traps`.
    ratio
        Design -> catch relative to the reference design.
    k
        Of season totals; may be NaN or infinite.
    """

    site: Site
    season: Season
    zones: gpd.GeoDataFrame
    traps: gpd.GeoDataFrame
    ratio: Mapping[str, float]
    k: float


@dataclass(frozen=True, slots=True)
class TrapPlan:
    """Places for new traps, and traps to move.

    Parameters
    ----------
    suggestions
        Best first; `COLUMNS`, points in the CRS of the zones: `rank`, `zone_id`, `reason` (of
        `spatial.results.GAP_REASONS`, or `UNDECIDED` or `OPEN_EDGE`), `place` (of
        `spatial.candidates.KINDS`), `design`, `bearing_deg` (along the refuge edge, 0 to below 180;
        NaN for a cup), `uphill_deg` (from the collector, at the lower end, along the pipe; NaN
        where the heights of traps do not tell), `ground_fall` (along the pipe towards the
        collector, m per m; NaN likewise), `refuge_id` (None without a refuge in reach),
        `refuge_distance_m`, `nearest_trap_m` (in use, straight), `settles_ha` (expected, of its
        zone), `edge_m` (refuge-facing edge that it adds to what is watched), `worth_ha` (all that
        it adds).
    moved
        `location_id` of traps in use that do more elsewhere; `suggestions` holds their new places.
    worth_ha, bound_ha
        What all new places are worth together less what moved traps leave, and the most that any
        choice could be.
    curve_ha
        What the next 1, 2, ... `CURVE_TRAPS` traps are worth together, without moves.
    knee
        Traps at the knee of that curve; 0 without one.
    weeks
        Weeks that the traps are taken to be out.
    next_season
        Whether these are of the next season.
    """

    suggestions: gpd.GeoDataFrame
    moved: tuple[str, ...]
    worth_ha: float
    bound_ha: float
    curve_ha: FloatArray
    knee: int
    weeks: int
    next_season: bool


def plan_traps(
    needs: TrapNeeds, new: int, moved: int = 0, *, next_season: bool = False
) -> TrapPlan:
    """Return where `new` traps go, and up to `moved` of those in use.

    Parameters
    ----------
    needs
        What the choice rests on.
    new, moved
        Traps to add, and most traps to move.
    next_season
        Plan for the next season, even if this one has weeks left.

    Raises
    ------
    ValueError
        If `new` or `moved` is below 0.
    """
    season = needs.season
    left = max(0, (season.end - season.cutoff).days // 7)
    later = next_season or left < LEAST_WEEKS
    weeks = max(1, ((season.end - season.start).days + 1) // 7) if later else left
    layout = _layout(needs, weeks, next_season=later)
    choice = _worth_moving(layout.ground, new, moved)
    choice = _telling(layout, choice)
    buys = curve(layout.ground, CURVE_TRAPS)
    return TrapPlan(
        suggestions=_suggestions(needs, layout, choice),
        moved=tuple(layout.standing["location_id"].iloc[choice.removed]),
        worth_ha=choice.value - choice.value_now,
        bound_ha=choice.bound - choice.value_now,
        curve_ha=buys,
        knee=knee(buys) if len(buys) else 0,
        weeks=weeks,
        next_season=later,
    )


def suggested_traps(needs: TrapNeeds, number: int) -> gpd.GeoDataFrame:
    """Return places for so many new traps: `TrapPlan.suggestions`, without work where none is."""
    return plan_traps(needs, number).suggestions if number else _no_places(needs)


def _no_places(needs: TrapNeeds) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({name: [] for name in COLUMNS}, geometry=[], crs=needs.zones.crs)


def _worth_moving(ground: Ground, new: int, moved: int) -> Choice:
    """Return the best choice that moves no trap for next to nothing: each further one must gain."""
    best = chosen(ground, new)
    for most in range(1, moved + 1):
        found = chosen(ground, new, most)
        further = len(found.removed) - len(best.removed)
        if further < 1 or found.value - best.value < LEAST_MOVE_HA * further:
            break
        best = found
    return best


def _telling(layout: _Layout, choice: Choice) -> Choice:
    """Return the choice without places that neither settle anything nor watch any edge.

    Those are worth only what breaks ties; traps that move keep the best places.
    """
    settled, edge_m = np.array(_settled(layout, choice)), np.array(_edge_gained(layout, choice))
    kept = (settled >= LEAST_SETTLED_HA) | (edge_m >= LEAST_EDGE_M)
    kept[: len(choice.removed)] = True
    lost = float(choice.gains[~kept].sum())
    return replace(
        choice, new=choice.new[kept], gains=choice.gains[kept], value=choice.value - lost
    )


@dataclass(frozen=True, slots=True)
class _Layout:
    """Traps in use and candidate places, with what they are worth.

    Parameters
    ----------
    standing, candidates
        The traps in use and the places, in the order of the ground's places.
    design
        Of every candidate.
    edge
        Pieces of the zones' outlines.
    steps
        `spatial.zone_worth.worth_steps` of every zone.
    ground
        What is chosen on.
    """

    standing: gpd.GeoDataFrame
    candidates: gpd.GeoDataFrame
    design: NameArray
    edge: Edge
    steps: FloatArray
    ground: Ground


def _layout(needs: TrapNeeds, weeks: int, *, next_season: bool) -> _Layout:
    site, zones = needs.site, needs.zones
    rules = site.settings.network
    around = Surroundings(
        list(site.refuges.geometry), list(site.obstacles.geometry), rules.refuge_reach_m
    )
    edge = edge_of(list(zones.geometry), around, EDGE_STEP_M)
    standing = needs.traps[needs.traps["in_use"]].reset_index(drop=True)
    places = candidates(zones, _clearances(site, standing, around), place_rules(rules))
    design = _designs(needs, places["kind"].to_numpy(dtype=object))
    steps = _steps(needs, weeks, next_season=next_season)
    number = {zone: place for place, zone in enumerate(zones["zone_id"])}
    zone = [number.get(each, -1) for each in standing["zone_id"]]
    ground = trap_ground(
        list(zones.geometry),
        edge,
        TrapPlaces(
            places_m=np.vstack([_xy(standing), _xy(places)]),
            reach_m=np.array(
                [site.settings.reach_m(str(each)) for each in [*standing["design"], *design]]
            ),
            zone=np.array([*zone, *places["zone"]], dtype=np.int64),
            standing=len(standing),
            spacing_m=rules.min_spacing_m,
        ),
        _worth(needs, steps),
        around.obstacles,
    )
    return _Layout(standing, places, design, edge, steps, ground)


def place_rules(rules: NetworkSettings) -> PlaceRules:
    """Return the rules of a site as `spatial.candidates` takes them."""
    return PlaceRules(
        closed_uses=rules.no_trap_uses,
        closed_m=rules.clear_m,
        obstacle_m=rules.clear_m,
        play_line_m=rules.play_line_m,
        outline_m=rules.clear_m,
        trap_m=rules.min_spacing_m,
    )


def _clearances(site: Site, standing: gpd.GeoDataFrame, around: Surroundings) -> Clearances:
    lines = site.obstacles["kind"].isin(site.settings.network.play_line_kinds)
    return Clearances(_xy(standing), around, list(site.obstacles.geometry[lines]))


def _xy(table: gpd.GeoDataFrame) -> FloatArray:
    return np.asarray(shapely.get_coordinates(table.geometry.to_numpy()), dtype=float)


def _designs(needs: TrapNeeds, kind: NameArray) -> NameArray:
    """Return the design of every place: a linear one at refuge edges where the site uses one."""
    used = needs.traps["design"].value_counts()
    linear = [each for each in used.index if each in needs.site.settings.parts.linear_designs]
    cups = [each for each in used.index if each not in linear]
    usual = str((cups or linear or ["cup"])[0])
    edge = str(linear[0]) if linear else usual
    return np.where(kind == "refuge_edge", edge, usual).astype(object)


def _worth(needs: TrapNeeds, steps: FloatArray) -> Worth:
    zones, settings = needs.zones, needs.site.settings
    reach_m = max(settings.reach_m(str(each)) for each in [*needs.ratio, "cup"])
    open_ = ~zones["use"].isin(settings.network.no_trap_uses).to_numpy(dtype=bool)
    return Worth(
        edge_per_m=np.full(len(zones), reach_m / 10_000),
        area_per_ha=np.where(open_, AREA_WORTH, 0.0),
        steps=steps,
    )


def _steps(needs: TrapNeeds, weeks: int, *, next_season: bool) -> FloatArray:
    """Return what the traps of every zone settle; nothing where none may stand.

    Traps settle nothing this season where larvae judge already; the next one starts without cores.
    """
    zones, settings = needs.zones, needs.site.settings
    spots = site_spots(
        needs.traps,
        dict(zip(zones["zone_id"], zones["use"], strict=True)),
        needs.ratio,
        settings.network.shared_m,
    )
    stands = zone_stands(zones, spots, usable_k(needs.k))
    cutoffs = cutoffs_of(settings.decision)
    closed = zones["use"].isin(settings.network.no_trap_uses)
    silent = closed | (zones["judged_by"].eq("larvae") & (not next_season))
    left = [
        np.zeros(stand.traps + 1)
        if none
        else unsettled_ha(stand, cutoffs, weeks, next_season=next_season)
        for stand, none in zip(stands, silent, strict=True)
    ]
    return worth_steps(left, [stand.traps for stand in stands])


def zone_stands(zones: pd.DataFrame, spots: Trapped, k: float) -> list[ZoneStand]:
    """Return what is known of every zone's catch: by the zone model where it was asked."""
    plain = expected_rates(zones, spots)
    model = zones["model_rate"].to_numpy(dtype=float)
    rate = np.where(np.isfinite(model), model, plain)
    # Where nothing was caught at all, a beetle in a trap-year.
    rate = np.where(rate > 0, rate, 1 / 52)
    return [
        _stand(row, float(each), spots, k)
        for row, each in zip(zones.to_dict("records"), rate, strict=True)
    ]


def _stand(row: Mapping[object, object], rate: float, spots: Trapped, k: float) -> ZoneStand:
    own = (spots.zone == row["zone_id"]) & spots.in_use
    low, high = float(str(row["model_low_80"])), float(str(row["model_high_80"]))
    expected = rate * spots.effort[spots.zone == row["zone_id"]] / NIGHTS_PER_WEEK
    return ZoneStand(
        area_ha=float(str(row["area_ha"])),
        rate=rate,
        limit=float(str(row["adult_limit"])),
        p_above=float(str(row["adults_p_above"])),
        log_sd=log_sd_of(low, high) if low > 0 else error_of_counts(expected, k),
        traps=int(own.sum()),
        trap_weeks=float(spots.effort[own].sum()) / NIGHTS_PER_WEEK,
        k=k,
    )


def _suggestions(needs: TrapNeeds, layout: _Layout, choice: Choice) -> gpd.GeoDataFrame:
    picked = choice.new - layout.ground.standing
    table = layout.candidates.iloc[picked].reset_index(drop=True)
    if table.empty:
        return _no_places(needs)
    refuges, points = needs.site.refuges, table.geometry.to_numpy()
    nearest, refuge_m = _nearest(points, refuges.geometry.to_numpy())
    in_reach = refuge_m <= needs.site.settings.network.refuge_reach_m
    ids = np.array([*refuges["refuge_id"], None], dtype=object)
    design = layout.design[picked]
    bearing = _bearings(needs, points, design)
    uphill, fall = _uphill(needs, points, bearing)
    settles = _settled(layout, choice)
    found = table.assign(
        rank=np.arange(1, len(table) + 1),
        reason=_reasons(needs.zones, table["zone_id"], settles),
        place=table["kind"],
        design=design,
        bearing_deg=bearing,
        uphill_deg=uphill,
        ground_fall=fall,
        refuge_id=ids[np.where(in_reach, nearest, len(refuges))],
        refuge_distance_m=refuge_m,
        nearest_trap_m=_nearest(points, layout.standing.geometry.to_numpy())[1],
        settles_ha=settles,
        edge_m=_edge_gained(layout, choice),
        worth_ha=choice.gains,
    )
    return found[[*COLUMNS, "geometry"]]


def _reasons(zones: gpd.GeoDataFrame, zone_ids: pd.Series[str], settles: list[float]) -> list[str]:
    """Return why each place is suggested: what its zone lacks when it is its turn."""
    gap = dict(zip(zones["zone_id"], zones["gap"], strict=True))
    state = dict(zip(zones["zone_id"], zones["state"], strict=True))
    reasons: list[str] = []
    for number, (zone, settled) in enumerate(zip(zone_ids, settles, strict=True)):
        told = str(gap[zone]) or (UNDECIDED if state[zone] == "undecided" else OPEN_EDGE)
        if settled < LEAST_SETTLED_HA and told not in ("no_traps", "removed_traps"):
            told = OPEN_EDGE
        if zone in zone_ids.iloc[:number].tolist() and told in ("no_traps", "removed_traps"):
            told = "few_traps"
        reasons.append(told)
    return reasons


def _bearings(needs: TrapNeeds, points: NameArray, design: NameArray) -> list[float]:
    linear = needs.site.settings.parts.linear_designs
    refuges, crs = list(needs.site.refuges.geometry), pyproj.CRS(needs.zones.crs)
    return [
        edge_bearing((point.x, point.y), refuges, crs) if each in linear else math.nan
        for point, each in zip(points, design, strict=True)
    ]


def _uphill(
    needs: TrapNeeds, points: NameArray, bearing: list[float]
) -> tuple[list[float], list[float]]:
    """Return which way the pipe runs up from the collector, and how the ground falls to it."""
    traps = needs.site.traps
    spots = np.column_stack([_xy(traps), traps["elevation_m"].to_numpy(dtype=float)])
    ways, falls = [], []
    for point, axis in zip(points, bearing, strict=True):
        slope = slope_at((point.x, point.y), spots)
        way = None if math.isnan(axis) else pipe_bearing(axis, slope)
        ways.append(math.nan if way is None else way)
        falls.append(math.nan if way is None else fall_along(way, slope))
    return ways, falls


def _settled(layout: _Layout, choice: Choice) -> list[float]:
    """Return what every new trap settles of its zone, after those that stay and those before."""
    stays = np.delete(layout.ground.place_zone[: layout.ground.standing], choice.removed)
    count = np.bincount(stays[stays >= 0], minlength=len(layout.steps))
    settled = []
    for zone in layout.ground.place_zone[choice.new]:
        row = layout.steps[zone]
        settled.append(float(row[count[zone]]) if count[zone] < len(row) else 0.0)
        count[zone] += 1
    return settled


def _edge_gained(layout: _Layout, choice: Choice) -> list[float]:
    """Return the metres of refuge-facing edge that every new trap is the first to watch.

    What a trap that is to be moved watches today is not new.
    """
    length_m = layout.edge.length_m[layout.edge.faces]
    covers = layout.ground.covers

    def seen(place: int) -> IntArray:
        # The pieces of edge are the first points of the demand.
        points = linked(covers, place)
        return points[points < len(length_m)]

    watched = np.zeros(len(length_m), dtype=bool)
    for trap in range(layout.ground.standing):
        watched[seen(trap)] = True
    gained = []
    for place in choice.new.tolist():
        own = seen(place)
        gained.append(float(length_m[own][~watched[own]].sum()))
        watched[own] = True
    return gained


def _nearest(points: NameArray, others: NameArray) -> tuple[IntArray, FloatArray]:
    """Return the nearest of the others to every point and its distance; inf if there is none."""
    if not len(others):
        return np.zeros(len(points), dtype=np.int64), np.full(len(points), np.inf)
    pairs, distance_m = shapely.STRtree(others).query_nearest(
        points, return_distance=True, all_matches=False
    )
    return np.asarray(pairs[1], dtype=np.int64), np.asarray(distance_m, dtype=float)
