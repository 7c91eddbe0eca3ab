"""Where the next traps go: rules kept, the emptiest first, and nothing gained from twins."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from sites import (
    LONG_SETTINGS,
    SETTINGS,
    WEST,
    csv_tables,
    feature,
    long_visits,
    make_site,
    shape_layers,
)

from data.findings import SettingsError
from data.reading import read_site
from data.site import Site
from spatial.analysis import analyse
from spatial.more_evidence import Cutoffs
from spatial.network_report import (
    NetworkReport,
    NetworkWish,
    detours_min,
    network_report,
    week_of_season,
)
from spatial.ratios import ratio_by_design
from spatial.results import GAP_REASONS, Analysis
from spatial.round_plan import plan_round
from spatial.trap_ground import coverage
from spatial.trap_plan import (
    OPEN_EDGE,
    UNDECIDED,
    TrapNeeds,
    TrapPlan,
    _worth_moving,
    plan_traps,
)
from spatial.zone_worth import ZoneStand, unsettled_ha, worth_steps

QUICK = f"{SETTINGS}[marks]\npermutations = 999\n"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return read_site(make_site(tmp_path_factory.mktemp("plan") / "site", settings=QUICK))


@pytest.fixture(scope="module")
def analysis(site: Site) -> Analysis:
    return analyse(site)


def needs_of(analysis: Analysis) -> TrapNeeds:
    ratio = ratio_by_design(analysis.ratios, analysis.reference_design)
    return TrapNeeds(
        analysis.site,
        analysis.season,
        analysis.zones,
        analysis.traps,
        ratio,
        analysis.dispersion_k,
    )


def assert_keeps_the_rules(plan: TrapPlan, needs: TrapNeeds) -> None:
    rules = needs.site.settings.network
    places = plan.suggestions.geometry
    moved = needs.traps["location_id"].isin(plan.moved)
    stays = needs.traps[needs.traps["in_use"] & ~moved].geometry
    closed = needs.zones[needs.zones["use"].isin(rules.no_trap_uses)].geometry
    zones = needs.zones.set_index("zone_id").geometry
    for number, (place, zone) in enumerate(zip(places, plan.suggestions["zone_id"], strict=True)):
        assert zones[zone].contains(place)
        others = [*places.iloc[:number], *stays]
        assert all(place.distance(each) >= rules.min_spacing_m - 1e-6 for each in others)
        keep_off = [*closed, *needs.site.obstacles.geometry]
        assert all(place.distance(each) >= rules.clear_m - 1e-6 for each in keep_off)
        assert zones[zone].boundary.distance(place) >= rules.clear_m - 1e-6


def test_the_zone_without_traps_comes_first_and_every_rule_is_kept(analysis: Analysis) -> None:
    needs = needs_of(analysis)
    plan = plan_traps(needs, 6, 2)
    assert plan.suggestions["zone_id"].iloc[0] == "Z6"
    assert plan.suggestions["rank"].tolist() == list(range(1, len(plan.suggestions) + 1))
    assert len(plan.suggestions) == 6 + len(plan.moved)
    assert set(plan.suggestions["reason"]) <= {*GAP_REASONS, UNDECIDED, OPEN_EDGE}
    assert_keeps_the_rules(plan, needs)
    assert 0 < plan.worth_ha <= plan.bound_ha + 1e-9


def test_each_next_trap_of_the_curve_adds_no_more_than_the_one_before(analysis: Analysis) -> None:
    plan = plan_traps(needs_of(analysis), 3)
    steps = np.diff(plan.curve_ha, prepend=0.0)
    assert (steps >= -1e-9).all()
    assert steps[0] == pytest.approx(plan.suggestions["worth_ha"].iloc[0])
    assert 1 <= plan.knee <= len(plan.curve_ha)
    assert plan.worth_ha == pytest.approx(plan.suggestions["worth_ha"].sum())


def test_linear_traps_lie_along_the_refuge_and_cups_have_no_bearing(analysis: Analysis) -> None:
    """The hedge R1 runs due east; the site has both designs, and cups go inside zones."""
    table = plan_traps(needs_of(analysis), 12).suggestions
    linear = table["design"] == "linear"
    assert (table["place"][linear] == "refuge_edge").all()
    assert table["bearing_deg"][~linear].isna().all()
    hedge = table["bearing_deg"][linear & (table["refuge_id"] == "R1")]
    assert len(hedge)
    assert hedge.to_numpy() == pytest.approx(90.0, abs=0.1)


def test_the_collector_is_at_the_lower_end_where_heights_tell(analysis: Analysis) -> None:
    """The ground rises 3 cm a metre to the west; the hedge R1 and its pipes run east and west."""
    needs = needs_of(analysis)
    traps = needs.site.traps
    west = traps.geometry.x.to_numpy()
    sloped = traps.assign(elevation_m=100 - 0.03 * (west - west.min()))
    site = replace(needs.site, traps=gpd.GeoDataFrame(sloped))
    table = plan_traps(replace(needs, site=site), 12).suggestions
    hedge = table[(table["design"] == "linear") & (table["refuge_id"] == "R1")]
    told = hedge["uphill_deg"].dropna()
    assert len(told)
    assert told.to_numpy() == pytest.approx(270.0, abs=0.2)
    assert hedge["ground_fall"].dropna().to_numpy() == pytest.approx(0.03, rel=0.02)
    assert plan_traps(needs, 12).suggestions["uphill_deg"].isna().all()


def test_a_zone_that_loses_its_traps_has_no_evidence_and_is_first(tmp_path: Path) -> None:
    """Z6 is made a green, which carries no traps; then Z4 alone has none."""
    tables = csv_tables()
    gone = {"T10", "T11", "T12"}
    files = {
        name: "\n".join(",".join(row) for row in tables[name] if row[0] not in gone) + "\n"
        for name in ("traps.csv", "visits.csv")
    }
    folder = make_site(
        tmp_path, settings=QUICK, files=files, cells={("zones.geojson", 6, "use"): "green"}
    )
    report = network_report(read_site(folder), None, NetworkWish(3))
    told = report.verdicts.set_index(["purpose", "zone_id"])
    assert told.loc[("evidence", "Z4"), "verdict"] == "none"
    assert told.loc[("evidence", "Z4"), "reasons"] == ("no_traps",)
    assert report.plan.suggestions["zone_id"].iloc[0] == "Z4"
    assert "Z6" not in set(report.plan.suggestions["zone_id"])


def _with_twin(folder: Path) -> NetworkReport:
    """Give T13, the only trap of its spot in Z5, a twin about a metre away with equal counts."""
    tables = csv_tables()
    trap = next(row for row in tables["traps.csv"] if row[0] == "T13")
    east = f"{float(trap[2]) + 0.000012:.6f}"
    twin = ["T99", trap[1], east, *trap[3:]]
    visits = [["T99", *row[1:]] for row in tables["visits.csv"] if row[0] == "T13"]
    more = {"traps.csv": [",".join(twin)], "visits.csv": [",".join(row) for row in visits]}
    return network_report(
        read_site(make_site(folder, settings=QUICK, more=more)), None, NetworkWish(0)
    )


def test_a_twin_improves_no_verdict_and_is_told(tmp_path: Path, site: Site) -> None:
    plain = network_report(site, None, NetworkWish(0))
    twins = _with_twin(tmp_path)
    assert set(twins.pairs[["first", "second"]].to_numpy().ravel()) == {"T13", "T99"}
    evidence = [
        each.verdicts[each.verdicts["purpose"] == "evidence"].reset_index(drop=True)
        for each in (plain, twins)
    ]
    assert evidence[0]["verdict"].tolist() == evidence[1]["verdict"].tolist()
    assert evidence[0]["spots"].tolist() == evidence[1]["spots"].tolist()
    assert {"T13", "T99"} <= set(twins.redundant)


def test_without_refuges_or_with_one_trap_or_none_places_keep_the_rules(
    analysis: Analysis,
) -> None:
    needs = needs_of(analysis)
    bare = replace(needs, site=replace(needs.site, refuges=needs.site.refuges.iloc[:0]))
    one = needs.traps.assign(in_use=[True] + [False] * (len(needs.traps) - 1))
    none = needs.traps.assign(in_use=False)
    for case in (
        bare,
        replace(needs, traps=gpd.GeoDataFrame(one)),
        replace(needs, traps=gpd.GeoDataFrame(none)),
        replace(bare, traps=gpd.GeoDataFrame(none)),
    ):
        plan = plan_traps(case, 5, 1)
        assert len(plan.suggestions) >= 5
        assert_keeps_the_rules(plan, case)
    assert plan.suggestions["refuge_id"].isna().all()
    assert np.isinf(plan.suggestions["nearest_trap_m"]).all()


def test_no_place_is_near_a_line_of_play(tmp_path: Path) -> None:
    line = {"type": "LineString", "coordinates": [[WEST, 40.0016], [WEST + 0.0034, 40.0016]]}
    obstacles = [
        *shape_layers()["obstacles.geojson"],
        feature({"id": "L", "kind": "play line"}, line),
    ]
    text = json.dumps({"type": "FeatureCollection", "features": obstacles})
    settings = f"{QUICK}[network]\nplay_line_m = 20\n"
    folder = make_site(tmp_path, settings=settings, files={"obstacles.geojson": text})
    found = analyse(read_site(folder))
    plan = plan_traps(needs_of(found), 20)
    drawn = found.site.obstacles.set_index("obstacle_id").geometry["L"]
    assert len(plan.suggestions) > 5
    assert plan.suggestions.geometry.distance(drawn).min() >= 20


def test_a_season_that_is_over_is_planned_for_the_next(analysis: Analysis) -> None:
    needs = needs_of(analysis)
    now = plan_traps(needs, 2)
    assert (now.weeks, now.next_season) == (16, False)
    over = replace(needs, season=replace(needs.season, cutoff=date(2026, 8, 24)))
    later = plan_traps(over, 2)
    assert (later.weeks, later.next_season) == (28, True)
    assert plan_traps(needs, 2, next_season=True).next_season


def test_the_last_week_of_a_season_is_found(site: Site) -> None:
    assert week_of_season(site, "2026") == "2026-W19"
    with pytest.raises(SettingsError, match=r"no visit lies in season '2019'; .* visits of 2026"):
        week_of_season(site, "2019")


def test_a_place_on_the_way_costs_only_the_minutes_at_the_trap(site: Site) -> None:
    plan = plan_round(site, "2026-W19")
    first, second = shapely.get_coordinates(plan.stops.geometry.iloc[:2].to_numpy())
    rules = site.settings.round
    middle, aside = (first + second) / 2, first + 1000.0
    added = detours_min(plan, np.array([middle]))
    assert added[0] == pytest.approx(rules.minutes_per_trap, abs=1e-6)
    far = detours_min(plan, np.array([aside]))[0]
    # There and back is 2 x 1,414 m at most, and no less than what the nearest stop is away, twice.
    walked = (far - rules.minutes_per_trap) / 60 * rules.walking_kmh * 1000
    assert 2000 < walked <= 2 * math.hypot(1000, 1000) + 1e-6


def stand(**changes: float) -> ZoneStand:
    usual = ZoneStand(2.0, 2.2, 2.0, 0.6, 0.5, traps=2, trap_weeks=8.0, k=1.5)
    return replace(usual, **changes)


@pytest.mark.parametrize("next_season", [False, True])
@pytest.mark.parametrize("limit", [2.0, math.nan])
def test_more_traps_never_leave_more_unsettled(limit: float, next_season: bool) -> None:
    for zone in (stand(limit=limit), stand(limit=limit, traps=0, trap_weeks=0.0)):
        left = unsettled_ha(zone, Cutoffs(), 8, next_season=next_season)
        assert (np.diff(left) <= 1e-12).all()
        assert 0 <= left[-1] < left[0] <= 2.0 + 1e-9
        steps = worth_steps([left], [zone.traps])[0]
        assert (np.diff(steps) <= 1e-12).all()
        # New traps together settle what they do: no part of it goes to traps that stand.
        assert steps[zone.traps :].sum() == pytest.approx(left[zone.traps] - left[-1])


def test_a_decided_zone_asks_for_no_trap_this_season_but_for_some_next() -> None:
    sure = stand(p_above=0.97)
    assert unsettled_ha(sure, Cutoffs(), 8).max() == 0
    assert unsettled_ha(sure, Cutoffs(), 8, next_season=True)[0] == 2.0


def test_zones_judged_by_larvae_or_closed_to_traps_are_worth_none(analysis: Analysis) -> None:
    needs = needs_of(analysis)
    zones = needs.zones.assign(judged_by="larvae")
    plan = plan_traps(replace(needs, zones=gpd.GeoDataFrame(zones)), 3)
    assert (plan.suggestions["settles_ha"] == 0).all()
    assert (plan.suggestions["edge_m"] >= 1).all()


def test_where_all_is_decided_and_watched_nothing_is_suggested_or_moved(
    analysis: Analysis,
) -> None:
    """Every zone is judged by its larvae, and there is no refuge: more traps would tell nothing."""
    needs = needs_of(analysis)
    zones = needs.zones.assign(judged_by="larvae")
    site = replace(needs.site, refuges=needs.site.refuges.iloc[:0])
    plan = plan_traps(replace(needs, site=site, zones=gpd.GeoDataFrame(zones)), 3, 2)
    assert plan.suggestions.empty
    assert plan.moved == ()
    assert plan.worth_ha == pytest.approx(0.0, abs=0.02)


def test_the_next_season_weighs_zones_that_larvae_judged_in_this_one(analysis: Analysis) -> None:
    needs = needs_of(analysis)
    larvae = replace(needs, zones=gpd.GeoDataFrame(needs.zones.assign(judged_by="larvae")))
    later = plan_traps(larvae, 4, next_season=True).suggestions
    assert later["settles_ha"].sum() > 0.1


def test_a_further_move_must_gain_by_itself() -> None:
    """The second move gains .00025 ha, the first .09."""
    covers = [[0, 0, 1, 0, 0], [0, 0, 0, 1, 0], [1, 1, 1, 0, 0], [0, 0, 0, 1, 1]]
    ground = coverage(covers, [0.05, 0.05, 0.001, 0.01, 0.001], [0] * 5, 2)
    assert len(_worth_moving(ground, 0, 2).removed) == 1


def test_later_places_in_an_empty_zone_do_not_say_that_it_has_no_traps(analysis: Analysis) -> None:
    table = plan_traps(needs_of(analysis), 6).suggestions
    own = table[table["zone_id"] == "Z6"]
    assert len(own) > 1
    assert own["reason"].iloc[0] == "no_traps"
    assert "no_traps" not in set(own["reason"].iloc[1:])


def test_without_a_trap_in_use_there_is_no_round(site: Site) -> None:
    ended = site.traps.assign(removed=pd.Timestamp("2026-05-01"))
    report = network_report(replace(site, traps=gpd.GeoDataFrame(ended)), None, NetworkWish(2))
    assert np.isnan(report.minutes).all()
    assert math.isnan(report.round_minutes)


def test_long_tables_give_the_same_plan(tmp_path: Path, analysis: Analysis) -> None:
    settings = f"{LONG_SETTINGS}[marks]\npermutations = 999\n"
    folder = make_site(tmp_path, settings=settings, files={"visits.csv": long_visits()})
    found = analyse(read_site(folder))
    columns = ["rank", "zone_id", "design", "worth_ha"]
    pd.testing.assert_frame_equal(
        pd.DataFrame(found.suggestions[columns]), pd.DataFrame(analysis.suggestions[columns])
    )
