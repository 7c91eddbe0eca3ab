"""The demo site: its files are what the generator makes, and they hold what the truth says."""

from __future__ import annotations

import io
import itertools
import json
import re
from collections import Counter
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from click.testing import CliRunner

from data.demo import beetles, rounds
from data.demo.beetles import DemoOptions
from data.demo.build import build_demo, demo_truth
from data.demo.layout import CRS, demo_layout
from data.demo.records import CATCH_SPAN, cores, zone_catch
from data.demo.rounds import draw_season
from data.demo.weather import degree_days, demo_weather
from scripts import make_demo

SITE = make_demo.DEMO / "site"
TRUTH = json.loads((make_demo.DEMO / "truth.json").read_text(encoding="utf-8"))
SPECIES = ["parvulus", "venatus", "cicatristriatus"]
COUNTS = [*SPECIES, "carabids", "spiders"]
NO_PLACE = DemoOptions(seed=5, patches=False, refuge_effect=False)


def shapes(name: str) -> gpd.GeoDataFrame:
    """Return one committed shape file in metres."""
    return gpd.read_file(SITE / f"{name}.geojson").to_crs(CRS)


def table(name: str) -> pd.DataFrame:
    return pd.read_csv(SITE / f"{name}.csv", parse_dates=DATES.get(name, []))


DATES = {"visits": ["set_on", "checked_on"], "traps": ["installed", "removed"]}


def trap_points() -> gpd.GeoDataFrame:
    traps = table("traps")
    points = gpd.points_from_xy(traps["longitude"], traps["latitude"], crs="EPSG:4326")
    return gpd.GeoDataFrame(traps, geometry=points).to_crs(CRS)


def cup_rounds(visits: pd.DataFrame) -> pd.DataFrame:
    """Return mean and variance of the cups' catches, one row per ISO week."""
    design = table("traps").drop_duplicates("trap_id").set_index("trap_id")["design"]
    counted = visits[(visits["status"] == "ok") & (visits["trap_id"].map(design) == "cup")]
    adults = counted[SPECIES].sum(axis=1).astype(float)
    weeks = pd.to_datetime(counted["checked_on"]).dt.strftime("%G-W%V")
    return adults.groupby(weeks).agg(["mean", "var"])


# The files


def test_committed_files_are_what_the_generator_makes_byte_for_byte() -> None:
    assert make_demo.differing(make_demo.demo_files()) == []


def test_site_folder_holds_nothing_but_generated_files() -> None:
    assert {path.name for path in SITE.iterdir()} == set(build_demo())


def test_files_use_unix_line_ends_and_end_with_one() -> None:
    for name, content in build_demo().items():
        assert b"\r" not in content, name
        assert content.endswith(b"\n"), name


def test_zones_file_stays_small() -> None:
    assert (SITE / "zones.geojson").stat().st_size <= 200_000


@pytest.fixture
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the generator a place of its own to write to."""
    monkeypatch.setattr(make_demo, "DEMO", tmp_path)
    return tmp_path


def test_check_exits_1_and_names_the_file_that_differs(elsewhere: Path) -> None:
    assert CliRunner().invoke(make_demo.main, []).exit_code == 0
    assert CliRunner().invoke(make_demo.main, ["--check"]).exit_code == 0
    (elsewhere / "site" / "visits.csv").write_text("trap_id\n", encoding="utf-8")
    result = CliRunner().invoke(make_demo.main, ["--check"])
    assert result.exit_code == 1
    assert result.output == (
        "site/visits.csv differs from what the generator makes; run scripts/make_demo.py\n"
    )


def test_readme_of_the_demo_states_every_parameter_value() -> None:
    text = (make_demo.DEMO / "README.md").read_text(encoding="utf-8")
    values = [beetles.LINEAR_RATIO, beetles.DISPERSION_K, beetles.TRAP_SD, beetles.REFUGE_GAIN]
    values += [beetles.REFUGE_DECAY_M, beetles.TREATMENT_FACTOR, *beetles.PATCHES.values()]
    values += [n for s in beetles.SPECIES for n in (s.level, s.peak_dd, s.spread)]
    for value in values:
        assert re.search(rf"(?<![\d.]){value:g}(?![\d])", text), f"{value:g} is not in the README"


# The ground


def test_there_are_about_a_hundred_zones_of_all_uses_with_unique_ids() -> None:
    zones = shapes("zones")
    assert zones["zone_id"].is_unique
    assert Counter(zones["use"]) == {
        "green": 19,
        "tee": 18,
        "fairway": 14,
        "surround": 18,
        "rough": 18,
        "field": 3,
        "sod_block": 6,
        "lawn": 4,
    }


def test_maintained_turf_of_the_course_is_near_the_published_median() -> None:
    """Median 95.1 acres at 18-hole US facilities in 2015.

    Source: Gelernter, Stowell, Johnson & Brown 2017, Crop, Forage & Turfgrass Management.
    """
    zones = shapes("zones")
    course = zones[zones["use"].isin(["green", "tee", "fairway", "rough", "surround"])]
    assert course.area.sum() / 4046.856 == pytest.approx(95.1, rel=0.10)


@pytest.mark.parametrize(("use", "hectares"), [("field", 0.6), ("sod_block", 0.4)])
def test_fields_and_sod_blocks_have_their_usual_size(use: str, hectares: float) -> None:
    """0.6 ha and 0.4 ha: the demo's own choice, no source."""
    zones = shapes("zones")
    areas_ha = zones[zones["use"] == use].area / 10_000
    assert areas_ha.between(0.9 * hectares, 1.1 * hectares).all()


@pytest.mark.parametrize("name", ["zones", "refuges", "obstacles"])
def test_every_shape_is_one_valid_piece(name: str) -> None:
    found = shapes(name)
    assert found.is_valid.all()
    assert set(found.geom_type) <= {"Polygon", "LineString"}
    assert (found.geom_type == "Polygon").all() or name == "refuges"


def test_no_zone_is_a_sliver() -> None:
    assert (shapes("zones").buffer(-2.0).area > 0).all()


def test_zones_do_not_overlap() -> None:
    zones = shapes("zones").geometry
    left, right = zones.sindex.query(zones, predicate="intersects")
    pairs = [(i, j) for i, j in zip(left, right, strict=True) if i < j]
    overlap_m2 = sum(zones.iloc[i].intersection(zones.iloc[j]).area for i, j in pairs)
    assert len(pairs) > 50
    assert overlap_m2 / 10_000 < 1e-6


def test_obstacles_and_refuges_lie_outside_the_zones() -> None:
    turf = shapes("zones").union_all()
    for name in ("obstacles", "refuges"):
        assert shapes(name).intersection(turf).area.sum() / 10_000 < 1e-6, name
    refuges = shapes("refuges")
    lines = refuges[refuges.geom_type == "LineString"]
    assert len(lines) == 3
    assert not lines.intersects(turf).any()


def test_the_property_has_its_refuges_and_obstacles() -> None:
    assert Counter(shapes("obstacles")["kind"]) == {"bunker": 21, "water": 4, "building": 3}
    refuges = Counter(shapes("refuges")["kind"])
    assert refuges == {"woods": 6, "tall grass": 2, "hedge": 2, "building litter": 1}


def test_everything_lies_in_open_ocean() -> None:
    west, south, east, north = gpd.read_file(SITE / "zones.geojson").total_bounds
    assert -44.4 < west < east < -44.2
    assert 43.1 < south < north < 43.3


# The traps


def test_there_are_72_traps_54_cups_and_18_linear_and_one_moved() -> None:
    traps = table("traps")
    design = traps.drop_duplicates("trap_id")["design"].value_counts().to_dict()
    assert design == {"cup": 54, "linear": 18}
    assert len(traps) == 73
    moved = traps[traps["trap_id"].duplicated(keep=False)].sort_values("installed")
    assert moved["removed"].iloc[0] == moved["installed"].iloc[1] == pd.Timestamp("2026-04-20")
    assert pd.isna(moved["removed"].iloc[1])


def test_only_linear_traps_have_an_axis_and_a_slot() -> None:
    traps = table("traps")
    linear = traps["design"] == "linear"
    assert (traps["axis_deg"].notna() == linear).all()
    assert (traps["slot_m"].notna() == linear).all()
    assert traps.loc[linear, "axis_deg"].between(0, 179).all()


def test_no_trap_stands_on_a_green_or_an_obstacle() -> None:
    zones = shapes("zones")
    forbidden = [*zones.geometry[zones["use"] == "green"], *shapes("obstacles").geometry]
    assert not trap_points().intersects(shapely.union_all(forbidden)).any()


def test_every_trap_stands_inside_the_zone_that_the_truth_gives() -> None:
    zones = shapes("zones")[["zone_id", "geometry"]]
    joined = trap_points().sjoin(zones, predicate="within")
    assert joined["zone_id"].tolist() == [trap["zone_id"] for trap in TRUTH["traps"].values()]


def test_about_four_zones_in_ten_have_no_trap_and_some_have_several() -> None:
    counts = Counter(trap["zone_id"] for trap in TRUTH["traps"].values())
    assert 30 <= 100 - len(counts) <= 42
    assert sum(count >= 2 for count in counts.values()) >= 10


def test_eight_pairs_of_both_designs_stand_side_by_side_in_one_zone() -> None:
    layout = demo_layout()
    apart_m = [
        np.hypot(a.easting_m - b.easting_m, a.northing_m - b.northing_m)
        for a, b in itertools.combinations(layout.traps, 2)
        if a.zone_id == b.zone_id and a.design != b.design
    ]
    assert sum(4 <= distance <= 8 for distance in apart_m) == 8


def test_traps_stand_both_at_refuges_and_far_from_them() -> None:
    distance_m = np.array([t.refuge_distance_m for t in demo_layout().traps])
    assert np.median(distance_m) <= 25
    assert (distance_m > 50).sum() >= 12


# The rounds


def test_rounds_run_weekly_from_late_winter_in_both_seasons() -> None:
    weeks = set(table("visits")["checked_on"].dt.strftime("%G-W%V"))
    expected = {f"2025-W{n:02d}" for n in range(9, 36)} | {f"2026-W{n:02d}" for n in range(9, 23)}
    assert weeks == expected


def test_a_visit_carries_counts_only_if_it_is_ok() -> None:
    visits = table("visits")
    counted = visits["status"] == "ok"
    assert visits.loc[counted, COUNTS].notna().all(axis=None)
    assert visits.loc[~counted, COUNTS].isna().all(axis=None)


def test_void_and_missed_checks_are_as_common_as_the_plan_says() -> None:
    shares = table("visits")["status"].value_counts(normalize=True)
    void = shares.drop(["ok", "not_checked"])
    assert set(void.index) == {"flooded", "disturbed", "covered", "missing"}
    assert 0.03 < void.sum() < 0.07
    assert 0.005 < shares["not_checked"] < 0.03


def test_every_exposure_starts_where_the_last_ended_and_lasts_4_to_14_nights() -> None:
    visits = table("visits").sort_values(["trap_id", "checked_on"])
    nights = (visits["checked_on"] - visits["set_on"]).dt.days
    assert nights.between(4, 14).all()
    assert (nights == 7).mean() > 0.85
    assert (nights == 14).sum() >= 10
    before = visits.groupby("trap_id")["checked_on"].shift()
    inside = before.dt.year == visits["checked_on"].dt.year
    assert (visits.loc[inside, "set_on"] == before[inside]).all()


def test_main_season_rounds_are_overdispersed_as_in_the_field() -> None:
    """Variance/mean of 4 to 8: the issue's own figure; main season = two adults a cup and more."""
    seen = cup_rounds(table("visits"))
    main = seen[seen["mean"] >= 2]
    assert len(main) >= 8
    assert 4 <= (main["var"] / main["mean"]).median() <= 8


def test_first_rounds_are_almost_empty() -> None:
    seen = cup_rounds(table("visits"))
    assert (seen.loc["2025-W09":"2025-W14", "mean"] < 0.1).all()
    assert (seen.loc["2026-W09":"2026-W14", "mean"] < 0.1).all()


def test_three_species_peak_one_after_the_other() -> None:
    visits = table("visits")
    first = visits[visits["checked_on"] < "2026-01-01"]
    days = first["checked_on"].dt.day_of_year
    middle = [np.average(days[first[s].notna()], weights=first[s].dropna()) for s in SPECIES]
    order = [SPECIES[n] for n in np.argsort(middle)]
    assert order == ["parvulus", "cicatristriatus", "venatus"]


def test_same_seed_same_season_and_another_seed_another() -> None:
    layout = demo_layout()
    first = draw_season(layout, DemoOptions(seed=4))
    pd.testing.assert_frame_equal(first, draw_season(layout, DemoOptions(seed=4)))
    assert not first.equals(draw_season(layout, DemoOptions(seed=5)))


# The model


def test_degree_days_are_simple_averages_above_10_c_from_1_march() -> None:
    """Arithmetic of the rule itself, on the committed weather."""
    weather = table("weather")
    mean_c = ((weather["tmin_f"] + weather["tmax_f"]) / 2 - 32) / 1.8
    spring = weather["date"].between("2025-03-01", "2025-05-20")
    expected = np.maximum(0, mean_c[spring] - 10).sum()
    found = degree_days(demo_weather())[demo_weather().day_number(date(2025, 5, 20))]
    assert found == pytest.approx(expected)


def test_counts_have_the_mean_and_variance_of_a_negative_binomial() -> None:
    """Variance m + m * m / k: Bliss & Fisher 1953, Biometrics 9:176-200."""
    mean, k = 6.0, beetles.DISPERSION_K
    expected = np.tile([3.0, 2.0, 1.0], (40_000, 1))
    drawn = beetles.draw_counts(expected, np.random.default_rng(8))
    total = drawn.sum(axis=1)
    assert total.mean() == pytest.approx(mean, rel=0.02)
    assert total.var() == pytest.approx(mean + mean**2 / k, rel=0.04)
    assert drawn.mean(axis=0) == pytest.approx([3.0, 2.0, 1.0], rel=0.03)


def test_side_by_side_a_linear_trap_catches_the_planted_ratio() -> None:
    pairs = [
        (a, b)
        for a, b in itertools.combinations(demo_layout().traps, 2)
        if a.zone_id == b.zone_id
        and {a.design, b.design} == {"linear", "cup"}
        and np.hypot(a.easting_m - b.easting_m, a.northing_m - b.northing_m) < 8
    ]
    caught: Counter[str] = Counter()
    for seed in range(25):
        visits = draw_season(demo_layout(), DemoOptions(seed=seed))
        total = visits.groupby("trap_id")[SPECIES].sum().sum(axis=1)
        for trap in itertools.chain.from_iterable(pairs):
            caught[trap.design] += int(total[trap.trap_id])
    found = caught["linear"] / caught["cup"]
    assert found == pytest.approx(TRUTH["design_ratio"]["linear"], rel=0.08)


def test_treated_zones_catch_the_planted_share_for_the_planted_time() -> None:
    layout, weather = demo_layout(), demo_weather()
    treated = beetles.summed_catch(weather, layout.traps, DemoOptions())
    plain = beetles.summed_catch(weather, layout.traps, NO_PLACE)
    column = next(n for n, t in enumerate(layout.traps) if t.zone_id == "SF-1")
    first = weather.day_number(date.fromisoformat(TRUTH["treatments"]["zones"]["SF-1"]))
    last = first + TRUTH["treatments"]["nights"]
    nights = slice(first - 5, last + 5)
    with_it, without = (np.diff(s[:, column].sum(axis=1))[nights] for s in (treated, plain))
    planted = [1.0] * 5 + [TRUTH["treatments"]["factor"]] * (last - first) + [1.0] * 5
    assert with_it / without == pytest.approx(planted)


def test_with_both_switches_off_catch_does_not_depend_on_place() -> None:
    layout = demo_layout()
    factors = beetles.place_factors(layout.traps, NO_PLACE)
    linear = np.array([t.design == "linear" for t in layout.traps])
    assert set(factors[linear]) == {beetles.LINEAR_RATIO}
    assert set(factors[~linear]) == {1.0}
    summed = beetles.summed_catch(demo_weather(), layout.traps, NO_PLACE)
    assert np.ptp(summed, axis=1).max() == 0


def test_each_switch_takes_away_its_own_effect_only() -> None:
    layout = demo_layout()
    whole = beetles.place_factors(layout.traps, DemoOptions())
    unpatched = beetles.place_factors(layout.traps, DemoOptions(patches=False))
    found = {
        t.patch: round(a / b, 6) for t, a, b in zip(layout.traps, whole, unpatched, strict=True)
    }
    assert found == {"": 1.0, **beetles.PATCHES}
    even = beetles.place_factors(layout.traps, DemoOptions(refuge_effect=False))
    gain = {t.location_id: a / b for t, a, b in zip(layout.traps, whole, even, strict=True)}
    effect = TRUTH["refuge_effect"]
    for trap in layout.traps:
        expected = 1 + effect["gain"] * np.exp(-trap.refuge_distance_m / effect["decay_m"])
        assert gain[trap.location_id] == pytest.approx(expected)


def test_larvae_follow_the_adults_caught_before() -> None:
    found = cores(demo_layout(), DemoOptions())
    first = found[found["sampled_on"].str.startswith("2025")]
    assert len(first) == 20
    assert (first["diameter"] == 4.25).all()
    adults = zone_catch(demo_layout(), DemoOptions(), 2025).loc[first["zone_id"]]
    larvae = (first["larvae"] + first["pupae"]).to_numpy(dtype=float)
    assert np.corrcoef(adults, larvae)[0, 1] > 0.5


def test_cores_are_taken_two_weeks_after_the_adults_peak() -> None:
    """Lag of about two weeks: 2015 meeting abstract ASA-CSSA-SSSA 217-2 (trade facts, A3)."""
    seen = cup_rounds(table("visits"))["mean"]
    peak = date.fromisocalendar(2025, int(str(seen.loc[:"2025-W35"].idxmax())[-2:]), 1)
    assert 10 <= (rounds_cored(2025) - peak).days <= 32
    assert CATCH_SPAN[2025][1] < rounds_cored(2025)


def rounds_cored(year: int) -> date:
    sampled = table("cores")["sampled_on"]
    return date.fromisoformat(sampled[sampled.str.startswith(str(year))].iloc[0])


# The truth


def test_truth_is_that_of_the_generator() -> None:
    assert json.loads(json.dumps(demo_truth())) == TRUTH


def test_each_planted_patch_spans_traps_and_zones_of_both_designs() -> None:
    for name, patch in TRUTH["patches"].items():
        members = [TRUTH["traps"][trap] for trap in patch["traps"]]
        assert 5 <= len(members) <= 7, name
        assert 3 <= len(patch["zones"]) <= 5, name
        assert {m["design"] for m in members} == {"cup", "linear"}, name
        assert {m["zone_id"] for m in members} == set(patch["zones"]), name


def test_no_planted_patch_stands_alone() -> None:
    """From every patch another trap is within 150 m, and its own traps within about 130 m."""
    traps = {t.location_id: (t.easting_m, t.northing_m) for t in demo_layout().traps}
    for name, patch in TRUTH["patches"].items():
        own = np.array([traps[key] for key in patch["traps"]])
        rest = np.array([place for key, place in traps.items() if key not in patch["traps"]])
        assert np.hypot(*(own[:, None] - own[None]).transpose(2, 0, 1)).max() < 135, name
        assert np.hypot(*(own[:, None] - rest[None]).transpose(2, 0, 1)).min() < 150, name


def test_treatments_name_a_group_and_neither_product_nor_rate() -> None:
    found = table("treatments")
    assert (
        dict(zip(found["zone_id"], found["applied_on"], strict=True))
        == (TRUTH["treatments"]["zones"])
    )
    assert set(found["irac_group"].astype(str)) == {"3A", "28"}
    assert list(found.columns) == [
        "zone_id",
        "applied_on",
        "tactic",
        "irac_group",
        "area",
        "note",
    ]


def test_busy_patches_catch_more_and_the_quiet_one_less_than_their_like() -> None:
    visits = pd.read_csv(io.BytesIO(build_demo()["visits.csv"]))
    total = visits.groupby("trap_id")[SPECIES].sum().sum(axis=1)
    cups = {key: t for key, t in TRUTH["traps"].items() if t["design"] == "cup" and "/" not in key}
    mean = {
        patch: np.mean([total[key] for key, t in cups.items() if t["patch"] == patch])
        for patch in ("", *TRUTH["patches"])
    }
    assert mean["busy-1"] > 3 * mean[""]
    assert mean["busy-2"] > 3 * mean[""]
    assert mean["quiet-1"] < 0.4 * mean[""]


def test_round_days_are_mondays_and_tuesdays() -> None:
    weekday = table("visits")["checked_on"].dt.day_of_week
    assert (weekday <= 1).mean() > 0.9
    assert weekday.max() <= 2
    assert rounds.round_day("T41", 2026, 9).weekday() == 1
