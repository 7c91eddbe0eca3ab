"""Hand-made analyses for tests of pages and exports: invented numbers on a small grid of zones.

The tables obey the contract of `spatial.results.Analysis`; the statistics in them are made up, so
nothing here may be used to test a statistic.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import LineString, Point, Polygon, box

from data.limits import ZoneLimits
from data.settings import DesignSettings, LimitSettings, SiteSettings
from data.site import STATUSES, Site
from spatial.decision import AdultEvidence, Rule, decide, decision_table
from spatial.placement_effect import PlacementEffect
from spatial.results import Analysis, Chance, DesignRatio, GlobalTest, Season
from spatial.zone_evidence import MODEL_COLUMNS

CRS = "EPSG:32623"
EAST_M, NORTH_M, SIDE_M = 556_000.0, 4_783_000.0, 100.0
USES = ("fairway", "green", "rough", "field")
FIRST_MONDAY = date(2026, 4, 6)
HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "</script><script>alert(1)</script>",
    "\u202egnirts\u202c & 'x' \"y\"",
    "{{ 7 * 7 }}{% raw %}${7*7}",
    "]]><!-- \u2028\u2029 `x`",
)


@dataclass(frozen=True, slots=True)
class Sketch:
    """What a hand-made analysis should look like.

    Parameters
    ----------
    columns, rows
        Size of the grid of square zones, 100 m each.
    empty
        Zones without a trap: the last ones.
    traps, weeks
        Trap locations and weekly rounds.
    busy
        Whether the first zone is drawn as a busy patch and the test comes out significant.
    zeros
        Whether every count is zero.
    hostile
        Whether names, ids and notes are attempts to break the page.
    """

    columns: int = 4
    rows: int = 3
    empty: int = 3
    traps: int = 36
    weeks: int = 6
    busy: bool = True
    zeros: bool = False
    hostile: bool = False


_NO_WORDS = dict.fromkeys(("judged_by", "cheapest", "limit_source", "limit_dated"), "")
_UNJUDGED = {"reasons": "no_adult_limit", **_NO_WORDS} | dict.fromkeys(
    (
        *(
            "p_above",
            "adults_p_above",
            "adult_limit",
            "larval_limit_m2",
            "larvae_m2",
            "larvae_m2_low",
        ),
        *("larvae_m2_high", "cores", "more_nights", "more_traps", "more_cores"),
        *MODEL_COLUMNS,
    ),
    np.nan,
)
"""Columns of zones that no limit holds for."""


def usual_analysis() -> Analysis:
    """Draw a network of 36 traps in 9 of 12 zones, six weeks, one busy patch."""
    return sketched_analysis(Sketch())


def judged_analysis() -> Analysis:
    """Draw the usual network with a limit: the first zone above, the second undecided."""
    analysis = usual_analysis()
    zones = analysis.zones
    chance = np.full(len(zones), 0.05)
    chance[:2] = 0.95, 0.5
    evidence = AdultEvidence(
        zone_ids=zones["zone_id"].to_numpy(dtype=object),
        p_above=np.where(zones["traps"] > 0, chance, np.nan),
        has_traps=zones["traps"].to_numpy() > 0,
        traps=zones["traps"].to_numpy(),
        trap_weeks=zones["nights"].to_numpy() / 7,
        log_sd=np.full(len(zones), 0.5),
        k=1.5,
    )
    limit = ZoneLimits(LimitSettings("own records", "2026", adults_per_trap_week=2))
    rule = Rule(analysis.season.cutoff)
    decisions = decide(evidence, [limit] * len(zones), {}, rule)
    judged = zones.assign(**decision_table(decisions).drop(columns="zone_id"))
    return replace(analysis, zones=judged, decisions=decisions, rule=rule)


def quiet_analysis() -> Analysis:
    """Draw the usual network with nothing significant."""
    return sketched_analysis(Sketch(busy=False))


def zero_analysis() -> Analysis:
    """Draw the usual network that has caught nothing at all."""
    return sketched_analysis(Sketch(busy=False, zeros=True))


def nine_trap_analysis() -> Analysis:
    """Draw nine traps: too few to test for clustering."""
    return sketched_analysis(Sketch(traps=9, busy=False))


def one_visit_analysis() -> Analysis:
    """Draw one trap that was checked once."""
    return sketched_analysis(Sketch(traps=1, weeks=1, busy=False, empty=11))


def hostile_analysis() -> Analysis:
    """Draw the usual network with text that tries to break out of the page."""
    return sketched_analysis(Sketch(hostile=True))


def sketched_analysis(sketch: Sketch) -> Analysis:
    """Build the analysis that a sketch describes."""
    rounds = _rounds(sketch)
    traps = _traps(sketch, rounds)
    zones = _zones(sketch, traps)
    marks = _season_to_date(rounds, "location_id", list(traps["location_id"]), _weeks(sketch))
    marks["mark"] = marks["location_id"].map(traps.set_index("location_id")["mark"])
    with_zone = rounds.merge(traps[["location_id", "zone_id"]], on="location_id")
    zone_weeks = _season_to_date(with_zone, "zone_id", list(zones["zone_id"]), _weeks(sketch))
    zone_weeks["mark"] = zone_weeks["zone_id"].map(zones.set_index("zone_id")["mark"])
    return Analysis(
        site=_site(sketch),
        season=_season(sketch),
        seed=20260101,
        permutations=9999,
        traps=traps,
        zones=zones,
        rounds=rounds,
        marks=marks,
        zone_weeks=zone_weeks,
        curve=_curve(rounds, _weeks(sketch)),
        global_test=_global_test(sketch),
        ratios=(DesignRatio("linear", "cup", 2.4, 1.6, 3.6, 24, "estimated"),),
        reference_design="cup",
        dispersion_k=1.2,
        links=_links(traps),
        suggestions=_suggestions(sketch, zones),
        placement=_placement(sketch.traps),
        chance=Chance(traps=4, fold=3.0, found=38, maps=100),
        visit_counts={s: int((rounds["status"] == s).sum()) for s in STATUSES},
        versions={"snoutline": "0.1.0", "numpy": "2.3.0"},
    )


def with_season_week(analysis: Analysis, week: str) -> Analysis:
    """Return the analysis with another chosen week in its season."""
    return replace(analysis, season=replace(analysis.season, week=week))


def _weeks(sketch: Sketch) -> list[str]:
    days = [FIRST_MONDAY + timedelta(weeks=w) for w in range(sketch.weeks)]
    return [f"{d.isocalendar().year}-W{d.isocalendar().week:02d}" for d in days]


def _season(sketch: Sketch) -> Season:
    cutoff = FIRST_MONDAY + timedelta(weeks=sketch.weeks, days=-1)
    weeks = tuple(_weeks(sketch))
    return Season("2026", date(2026, 2, 15), date(2026, 8, 31), weeks[-1], cutoff, weeks)


def _trap_id(sketch: Sketch, number: int) -> str:
    plain = f"T{number + 1:02d}"
    return f"{plain} {HOSTILE[number % len(HOSTILE)]}" if sketch.hostile else plain


def _zone_id(sketch: Sketch, number: int) -> str:
    plain = f"Z{number + 1:02d}"
    return f"{plain} {HOSTILE[number % len(HOSTILE)]}" if sketch.hostile else plain


def _zone_of(sketch: Sketch, trap: int) -> int:
    return trap % max(1, sketch.columns * sketch.rows - sketch.empty)


def _status(trap: int, week: int) -> str:
    if (trap + week) % 17 == 16:
        return ("flooded", "disturbed", "covered", "missing")[trap % 4]
    return "not_checked" if (trap + 2 * week) % 29 == 28 else "ok"


def _rounds(sketch: Sketch) -> pd.DataFrame:
    records = []
    for week, label in enumerate(_weeks(sketch)):
        for trap in range(sketch.traps):
            status = _status(trap, week)
            adults = 0 if sketch.zeros else (trap * 7 + week * 3) % 6 * (1 + week % 3)
            if sketch.busy and _zone_of(sketch, trap) == 0:
                adults = adults * 3 + 4
            ok = status == "ok"
            records.append(
                {
                    "week": label,
                    "location_id": _trap_id(sketch, trap),
                    "status": status,
                    "adults": float(adults) if ok else np.nan,
                    "nights": 7.0 if ok else 0.0,
                    "rate": float(adults) if ok else np.nan,
                }
            )
    return pd.DataFrame.from_records(records)


def _season_to_date(
    rounds: pd.DataFrame, key: str, ids: list[str], weeks: list[str]
) -> pd.DataFrame:
    parts = []
    for week in weeks:
        sums = rounds[rounds["week"] <= week].groupby(key)[["adults", "nights"]].sum()
        part = sums.reindex(pd.Index(ids, name=key), fill_value=0.0).reset_index()
        part.insert(0, "week", week)
        parts.append(part)
    table = pd.concat(parts, ignore_index=True)
    table["rate"] = _rate(table)
    return table


def _rate(table: pd.DataFrame) -> pd.Series:
    return 7.0 * table["adults"] / table["nights"].where(table["nights"] > 0)


def _traps(sketch: Sketch, rounds: pd.DataFrame) -> gpd.GeoDataFrame:
    numbers = range(sketch.traps)
    table = pd.DataFrame(
        {
            "location_id": [_trap_id(sketch, k) for k in numbers],
            "trap_id": [_trap_id(sketch, k) for k in numbers],
            "design": ["linear" if k % 4 == 3 else "cup" for k in numbers],
            "zone_id": [_zone_id(sketch, _zone_of(sketch, k)) for k in numbers],
            "placement": ["near" if k == 5 else "inside" for k in numbers],
            "zone_distance_m": [4.0 if k == 5 else 0.0 for k in numbers],
            "in_use": True,
        }
    )
    table = table.join(_trap_sums(rounds), on="location_id")
    table["rate"] = _rate(table)
    table["effort"] = table["nights"]
    table["rate_low"], table["rate_high"] = table["rate"] * 0.6, table["rate"] * 1.6 + 0.2
    table = table.join(_this_week(rounds), on="location_id")
    return gpd.GeoDataFrame(
        _with_tests(sketch, table), geometry=[_place(sketch, k) for k in numbers], crs=CRS
    )


def _trap_sums(rounds: pd.DataFrame) -> pd.DataFrame:
    by_trap = rounds.assign(
        visits_ok=rounds["status"].eq("ok").astype(int),
        visits_void=(~rounds["status"].isin(["ok", "not_checked"])).astype(int),
    ).groupby("location_id")
    return by_trap[["visits_ok", "visits_void", "nights", "adults"]].sum()


def _this_week(rounds: pd.DataFrame) -> pd.DataFrame:
    last = rounds[rounds["week"] == rounds["week"].max()].set_index("location_id")
    return last[["status", "adults", "nights", "rate"]].add_prefix("week_")


def _with_tests(sketch: Sketch, table: pd.DataFrame) -> pd.DataFrame:
    reason = "few_traps" if sketch.traps < 14 else "no_variation" if sketch.zeros else ""
    busy = pd.Series([sketch.busy and _zone_of(sketch, k) == 0 for k in range(sketch.traps)])
    mark = busy.map({True: "busy_patch", False: "not_testable" if reason else "none"})
    if sketch.busy:
        mark.iloc[1], mark.iloc[2], mark.iloc[12] = "quiet_patch", "lone_busy", "lone_quiet"
    numbers: dict[str, pd.Series[float] | float] = {
        "activity": table["rate"] - table["rate"].mean(),
        "gi_star": 0.5,
        "local_moran": 0.1,
        "p": 0.4,
        "p_patch": 1.0,
        "p_lone": 1.0,
        "neighbours": min(6, sketch.traps - 1),
    }
    return table.assign(
        **numbers,
        mark=mark,
        reason=reason,
        refuge_m=np.where(table.index % 5 == 4, np.inf, 12.5),
        expected_rate=table["rate"].mean(),
        place_p=0.02,
        place_mark=mark.where(table.index % 2 == 0, "none"),
        place_reason=reason,
    )


def _placement(traps: int) -> PlacementEffect:
    columns = ["term", "level", "ratio", "low", "high", "traps"]
    return PlacementEffect(
        expected=np.full(traps, 2.0),
        residual=np.zeros(traps),
        trap_reason=np.full(traps, "", dtype=object),
        terms=pd.DataFrame([("refuge", "", 0.8, 0.6, 1.1, traps)], columns=columns),
        left_out=pd.DataFrame(columns=["term", "level", "reason", "traps"]),
        k=1.2,
        p=0.03,
        traps=traps,
    )


def _place(sketch: Sketch, trap: int) -> Point:
    zone, turn = _zone_of(sketch, trap), trap * 2.4
    row, column = divmod(zone, sketch.columns)
    reach = 12.0 + 6.0 * (trap // 9)
    return Point(
        EAST_M + (column + 0.5) * SIDE_M + reach * np.cos(turn),
        NORTH_M + (row + 0.5) * SIDE_M + reach * np.sin(turn),
    )


def _square(sketch: Sketch, zone: int) -> Polygon:
    row, column = divmod(zone, sketch.columns)
    east, north = EAST_M + column * SIDE_M, NORTH_M + row * SIDE_M
    return box(east, north, east + SIDE_M, north + SIDE_M)


def _zones(sketch: Sketch, traps: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    numbers = range(sketch.columns * sketch.rows)
    name = HOSTILE[0] if sketch.hostile else "Hole"
    table = pd.DataFrame(
        {
            "zone_id": [_zone_id(sketch, z) for z in numbers],
            "use": [USES[z % len(USES)] for z in numbers],
            "name": [f"{name} {z + 1}" for z in numbers],
            "area_ha": 1.0,
        }
    )
    sums = traps.groupby("zone_id")[["nights", "adults"]].sum()
    sums.insert(0, "traps", traps.groupby("zone_id").size())
    table = table.join(sums, on="zone_id").fillna({"traps": 0, "nights": 0.0, "adults": 0.0})
    table["traps"] = table["traps"].astype(int)
    table["counted_traps"] = table["traps"]
    table["rate"] = _rate(table)
    table["effort"] = table["nights"]
    table["rate_low"], table["rate_high"] = table["rate"] * 0.7, table["rate"] * 1.5 + 0.1
    table["comparable"] = True
    table["traps_per_ha"] = table["traps"] / table["area_ha"]
    table["nearest_trap_m"] = 40.0
    table["gap"] = np.where(table["traps"] == 0, "no_traps", "")
    for column, codes in (("busy_traps", ["busy_patch"]), ("quiet_traps", ["quiet_patch"])):
        of_mark = traps[traps["mark"].isin(codes)].groupby("zone_id").size()
        table[column] = table["zone_id"].map(of_mark).fillna(0).astype(int)
    table["mark"] = np.select(
        [table["busy_traps"] > 0, table["quiet_traps"] > 0], ["busy_patch", "quiet_patch"], ""
    )
    for column, value in _UNJUDGED.items():
        table[column] = value
    table["state"] = np.where(table["traps"] == 0, "no_traps", "no_limit")
    return gpd.GeoDataFrame(table, geometry=[_square(sketch, z) for z in numbers], crs=CRS)


def _curve(rounds: pd.DataFrame, weeks: list[str]) -> pd.DataFrame:
    table = _trap_sums(rounds.assign(location_id=rounds["week"])).reindex(weeks).reset_index()
    table.columns = pd.Index(["week", "checked", "void", "nights", "adults"])
    table["rate"] = _rate(table)
    table["effort"] = table["nights"]
    table["rate_low"], table["rate_high"] = table["rate"] * 0.7, table["rate"] * 1.4 + 0.1
    return table


def _global_test(sketch: Sketch) -> GlobalTest:
    missing = float("nan")
    expected = -1.0 / max(1, sketch.traps - 1)
    if sketch.traps < 14:
        return GlobalTest(missing, missing, missing, missing, sketch.traps, "few_traps")
    if sketch.zeros:
        return GlobalTest(missing, missing, missing, missing, sketch.traps, "no_variation")
    if sketch.busy:
        return GlobalTest(0.31, expected, 4.1, 0.0002, sketch.traps)
    return GlobalTest(0.02, expected, 0.5, 0.62, sketch.traps)


def _links(traps: gpd.GeoDataFrame) -> pd.DataFrame:
    ids, points = list(traps["location_id"]), list(traps.geometry)
    pairs = [(k, k + 1) for k in range(len(ids) - 1)]
    return pd.DataFrame(
        {
            "focal": [ids[a] for a, _ in pairs],
            "neighbor": [ids[b] for _, b in pairs],
            "distance_m": [points[a].distance(points[b]) for a, b in pairs],
        }
    )


def _suggestions(sketch: Sketch, zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    empty = zones[zones["gap"] == "no_traps"].head(3)
    count = len(empty)
    table = pd.DataFrame(
        {
            "rank": list(range(1, count + 1)),
            "zone_id": list(empty["zone_id"]),
            "reason": ["no_traps"] * count,
            "place": ["refuge_edge", "rough", "zone_interior"][:count],
            "design": ["linear", "cup", "cup"][:count],
            "bearing_deg": [57.4, np.nan, np.nan][:count],
            "uphill_deg": [237.4, np.nan, np.nan][:count],
            "ground_fall": [0.02, np.nan, np.nan][:count],
            "refuge_id": ["R1", None, None][:count],
            "refuge_distance_m": [6.0, np.nan, np.nan][:count],
            "nearest_trap_m": [80.0, 95.0, 130.0][:count],
            "settles_ha": [0.4, 0.1, 0.0][:count],
            "edge_m": [20.0, 0.0, 0.0][:count],
            "worth_ha": [0.42, 0.1, 0.01][:count],
        }
    )
    return gpd.GeoDataFrame(table, geometry=list(empty.geometry.centroid), crs=CRS)


def _site(sketch: Sketch) -> Site:
    name = f"Ostrel {HOSTILE[1]} {HOSTILE[3]}" if sketch.hostile else "Ostrel Test Green"
    settings = SiteSettings(
        name=name,
        designs=(DesignSettings("cup", reference=True), DesignSettings("linear")),
        target_species=("Sphenophorus parvulus",),
    )
    return Site(
        settings=settings,
        zones=_bare_zones(sketch),
        refuges=_refuges(),
        obstacles=_obstacles(),
        traps=_bare_traps(sketch),
        visits=pd.DataFrame({"visit_id": []}),
        catches=pd.DataFrame({"visit_id": [], "species": [], "adults": []}),
        bycatch=pd.DataFrame({"visit_id": [], "taxon": [], "count": []}),
        weather=pd.DataFrame({"date": [], "tmin_c": [], "tmax_c": []}),
        cores=pd.DataFrame({"zone_id": []}),
        treatments=pd.DataFrame({"zone_id": [], "applied_on": []}),
        findings=(),
        hashes={"site.toml": "ab" * 32, "visits.csv": "cd" * 32},
    )


def _bare_traps(sketch: Sketch) -> gpd.GeoDataFrame:
    numbers = range(sketch.traps)
    table = {
        "location_id": [_trap_id(sketch, k) for k in numbers],
        "installed": pd.to_datetime(["2026-02-16"] * sketch.traps),
        "removed": pd.to_datetime([None] * sketch.traps),
    }
    return gpd.GeoDataFrame(table, geometry=[_place(sketch, k) for k in numbers], crs=CRS)


def _bare_zones(sketch: Sketch) -> gpd.GeoDataFrame:
    numbers = range(sketch.columns * sketch.rows)
    table = {
        "zone_id": [_zone_id(sketch, z) for z in numbers],
        "use": [USES[z % len(USES)] for z in numbers],
        "name": [f"Hole {z + 1}" for z in numbers],
        "priority": "",
        "note": "",
    }
    return gpd.GeoDataFrame(table, geometry=[_square(sketch, z) for z in numbers], crs=CRS)


def _refuges() -> gpd.GeoDataFrame:
    north = NORTH_M + 3 * SIDE_M
    shapes = [
        box(EAST_M, north, EAST_M + 400.0, north + 40.0),
        LineString([(EAST_M - 8.0, NORTH_M), (EAST_M - 8.0, north)]),
    ]
    table = {"refuge_id": ["R1", "R2"], "kind": ["woods", "hedge"], "note": ["", ""]}
    return gpd.GeoDataFrame(table, geometry=shapes, crs=CRS)


def _obstacles() -> gpd.GeoDataFrame:
    pond = Point(EAST_M + 200.0, NORTH_M + 100.0).buffer(18.0, quad_segs=4)
    shed = box(EAST_M + 410.0, NORTH_M + 20.0, EAST_M + 440.0, NORTH_M + 50.0)
    bunker = Point(EAST_M + 330.0, NORTH_M + 230.0).buffer(9.0, quad_segs=3)
    table = {
        "obstacle_id": ["O1", "O2", "O3"],
        "kind": ["water", "building", "bunker"],
        "note": ["", "", ""],
    }
    return gpd.GeoDataFrame(table, geometry=[pond, shed, bunker], crs=CRS)
