"""The ground of a treatment plan, its order, its comparison with a blanket, and its files."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from languages import EN
from shapely.geometry import LineString, Polygon, box
from sites import make_site

from data.findings import SettingsError
from data.reading import read_site
from data.site import Site
from data.treatment_settings import TACTICS, TreatmentSettings, parse_treatment
from maps.plan_files import (
    PLAN_COLUMNS,
    plan_csv,
    plan_geojson,
    plan_geopackage,
    plan_kml,
    plan_shapefile,
)
from maps.plan_map import plan_map_svg
from maps.record_form import record_form
from maps.treatment_words import (
    CAUTIONS,
    blanket_lines,
    check_zone_text,
    dose_lines,
    treatment_cautions,
    unit_key,
)
from maps.work_order import INPUTS, work_order
from spatial import dose, efficacy, rotation, treatment
from spatial.rotation import repeats
from spatial.treatment import (
    LEFT_OUT,
    PlanAreas,
    buffer_width_m,
    chosen_zones,
    in_order_of_evidence,
    plan_areas,
)
from spatial.treatment_plan import TreatmentPlan, Wish, plan_treatment
from spatial.units import KIND_WORDS, UNITS

CRS = "EPSG:32623"
EAST, NORTH = 541_000.0, 4_783_000.0
"""Coordinates as large as those of a real site."""

GIVEN: dict[str, Any] = {
    "customer": "Kestwick Green, 1 Invented Lane",
    "currency": "$",
    "buffers": {"water": "20 ft"},
    "adult": {
        "product": "Invented",
        "registration_number": "000-1",
        "irac_group": "3A",
        "target_pest": "adult billbugs",
        "rate": "0.5 fl oz/1000 ft2",
        "spray_volume": "2 gal/1000 ft2",
        "tank": "100 gal",
        "price": "128/gal",
        "application_cost": "20/acre",
        "re_entry": "until dry",
        "notification": "notice board, the day before",
        "restrictions": "none known",
    },
}


def inputs(**changes: Any) -> TreatmentSettings:
    parsed, problems = parse_treatment({**GIVEN, **changes})
    assert problems == []
    return parsed


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return read_site(make_site(tmp_path_factory.mktemp("treatment") / "site"))


def placed(shape: shapely.Geometry) -> shapely.Geometry:
    return shapely.transform(shape, lambda xy: xy + np.array([EAST, NORTH]))


def ground(
    site: Site,
    zones: dict[str, tuple[str, Polygon]],
    obstacles: Sequence[tuple[str, shapely.Geometry]],
    refuges: Sequence[tuple[str, shapely.Geometry]] = (),
) -> Site:
    """Return a site with other shapes, in metres from a corner."""

    def table(name: str, rows: Sequence[tuple[str, shapely.Geometry]]) -> gpd.GeoDataFrame:
        frame = pd.DataFrame(
            {f"{name}_id": [f"X{n}" for n in range(len(rows))], "kind": [kind for kind, _ in rows]}
        )
        return gpd.GeoDataFrame(frame, geometry=[placed(shape) for _, shape in rows], crs=CRS)

    frame = pd.DataFrame(
        {"zone_id": [*zones], "use": [use for use, _ in zones.values()], "name": [*zones]}
    )
    shapes = [placed(shape) for _, shape in zones.values()]
    return replace(
        site,
        zones=gpd.GeoDataFrame(frame, geometry=shapes, crs=CRS),
        obstacles=table("obstacle", obstacles),
        refuges=table("refuge", refuges),
    )


def evidence(site: Site, **columns: Any) -> pd.DataFrame:
    zones = site.zones
    base = {"state": "above", "p_above": 0.9, "rate": 2.0, "counted_traps": 3}
    return pd.DataFrame({"zone_id": zones["zone_id"], "use": zones["use"]}).assign(
        **{**base, **columns}
    )


def areas_of(site: Site, chosen: list[str], given: TreatmentSettings) -> PlanAreas:
    return plan_areas(site, evidence(site), chosen, given)


def row(areas: PlanAreas, zone_id: str) -> dict[str, Any]:
    found = areas.zones.set_index("zone_id").loc[zone_id]
    return {str(key): found[key] for key in found.index}


def test_a_pond_with_its_buffer_is_taken_off(site: Site) -> None:
    """100 m x 100 m; a pond of 20 m x 10 m inside, 5 m buffer: 200 + 300 + 25 pi, by hand."""
    made = ground(site, {"A": ("fairway", box(0, 0, 100, 100))}, [("pond", box(40, 40, 60, 50))])
    found = row(areas_of(made, ["A"], inputs(buffers={"water": "5 m"})), "A")
    assert found["obstacle_m2"] == pytest.approx(200, abs=1e-6)
    assert found["buffer_m2"] == pytest.approx(2 * 5 * 30 + np.pi * 25, rel=1e-3)
    assert found["net_m2"] == pytest.approx(1e4 - 500 - np.pi * 25, rel=1e-4)


def test_no_part_of_a_buffer_is_narrower_than_asked_for(site: Site) -> None:
    made = ground(site, {"A": ("fairway", box(0, 0, 100, 100))}, [("Lake", box(40, 40, 60, 50))])
    areas = areas_of(made, ["A"], inputs(buffers={"water": "25 ft"}))
    pond, treated = made.obstacles.geometry.iloc[0], areas.zones.geometry.iloc[0]
    assert pond.distance(treated) >= 7.62 - 1e-6
    assert pond.distance(treated) < 7.62 * 1.001


def test_a_buffer_reaches_in_from_outside_and_goes_round_lines(site: Site) -> None:
    """A drain 4 m off the edge with 10 m buffer takes a strip of 6 m; a line has no area itself."""
    drain = LineString([(-50, -4), (150, -4)])
    made = ground(site, {"A": ("fairway", box(0, 0, 100, 100))}, [("ditch", drain)])
    found = row(areas_of(made, ["A"], inputs(buffers={"ditch": "10 m"})), "A")
    assert (found["obstacle_m2"], found["net_m2"]) == (0, pytest.approx(9400, rel=1e-3))


def test_water_without_a_buffer_is_named(site: Site) -> None:
    made = ground(site, {"A": ("tee", box(0, 0, 50, 50))}, [("Pond", box(60, 0, 70, 9))])
    assert areas_of(made, ["A"], inputs(buffers={})).open_water == ("Pond",)
    assert areas_of(made, ["A"], inputs(buffers={"pond": "1 m"})).open_water == ()


def test_a_refuge_is_left_out_only_when_its_kind_is_named(site: Site) -> None:
    strip = ("flower strip", box(0, 0, 10, 100))
    made = ground(site, {"A": ("rough", box(0, 0, 100, 100))}, [], [strip])
    assert row(areas_of(made, ["A"], inputs(buffers={})), "A")["net_m2"] == pytest.approx(1e4)
    named = row(areas_of(made, ["A"], inputs(buffers={"flower": "0 ft"})), "A")
    assert named["net_m2"] == pytest.approx(9000)


def test_ground_in_two_zones_is_counted_once_in_the_higher_one(site: Site) -> None:
    zones = {"A": ("rough", box(0, 0, 100, 100)), "B": ("rough", box(80, 0, 180, 100))}
    areas = areas_of(ground(site, zones, []), ["B", "A"], inputs())
    assert row(areas, "B")["net_m2"] == pytest.approx(1e4)
    assert row(areas, "A")["overlap_m2"] == pytest.approx(2000)
    assert areas.net_m2 == pytest.approx(18_000)
    # What is treated with the first zone is no ground left out, on the map or for the crew.
    assert areas.left_out["reason"].tolist() == ["overlap"]
    assert areas.untreated.empty


def test_ground_treated_with_another_zone_is_not_given_to_the_crew_as_left_out(
    site: Site, tmp_path: Path
) -> None:
    zones = {"A": ("rough", box(0, 0, 100, 100)), "B": ("rough", box(80, 0, 180, 100))}
    made = ground(site, zones, [("building", box(10, 10, 20, 20))])
    plan = planned(made, zones=("A", "B"))
    (tmp_path / "plan.gpkg").write_bytes(plan_geopackage(plan))
    left = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="left_out")
    treated = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="treat")
    assert left["reason"].tolist() == ["obstacle"]
    assert left.union_all().intersection(treated.union_all()).area == pytest.approx(0, abs=1e-6)
    assert " in a zone above</span>" in work_order(plan, EN)
    assert plan_map_svg(plan, EN).count('class="m-left"') == 1


def test_a_zone_never_treated_is_cut_out_and_cannot_be_named(site: Site) -> None:
    zones = {"A": ("rough", box(0, 0, 100, 100)), "G": ("garden", box(90, 0, 120, 100))}
    made, given_ = ground(site, zones, []), inputs(exclusion_uses=["garden"])
    assert row(areas_of(made, ["A"], given_), "A")["exclusion_m2"] == pytest.approx(1000)
    assert chosen_zones(evidence(made), [], ["garden"]) == ["A"]
    with pytest.raises(SettingsError, match=r"zone G is a garden, which .* never treats"):
        chosen_zones(evidence(made), ["G"], ["garden"])


def test_a_leftover_under_one_square_metre_is_no_ground(site: Site) -> None:
    zones = {"A": ("rough", box(0, 0, 100, 100))}
    made = ground(site, zones, [("bunker", box(0.005, -1, 90, 101))])
    found = row(areas_of(made, ["A"], inputs(buffers={})), "A")
    assert found["sliver_m2"] == pytest.approx(0.5, abs=1e-6)
    assert found["net_m2"] == pytest.approx(1000)


SQUARES = st.tuples(*[st.floats(0, 300)] * 2, *[st.floats(5, 120)] * 2)
KINDS = st.sampled_from(["water", "bunker", "building", "drain line"])


def rectangle(numbers: tuple[float, float, float, float]) -> Polygon:
    x, y, wide, high = numbers
    turned: Polygon = shapely.transform(
        box(x, y, x + wide, y + high), lambda xy: xy @ np.array([[0.8, 0.6], [-0.6, 0.8]])
    )
    return turned


@settings(max_examples=25, deadline=None)
@given(
    st.lists(SQUARES, min_size=1, max_size=6),
    st.lists(st.tuples(KINDS, SQUARES), max_size=5),
    st.randoms(use_true_random=False),
)
def test_net_and_excluded_make_gross_and_the_order_of_the_file_changes_nothing(
    site: Site, squares: list[Any], barriers: list[Any], random: Any
) -> None:
    """Each area is measured on its own shape; together they are the zone to 1e-9 of it."""
    uses = ["rough", "fairway", "garden"]
    zones = {f"Z{n}": (uses[n % 3], rectangle(each)) for n, each in enumerate(squares)}
    obstacles = [(kind, rectangle(each)) for kind, each in barriers]
    given_ = inputs(buffers={"water": "7 m", "drain": "1 yd"}, exclusion_uses=["garden"])
    made = ground(site, zones, obstacles)
    facts = evidence(made, rate=[1.0 + n % 2 for n in range(len(zones))])
    chosen = chosen_zones(facts, [], ["garden"])
    areas = plan_areas(made, facts, chosen, given_)
    parts = areas.zones[[f"{reason}_m2" for reason in LEFT_OUT]].sum(axis=1)
    gross = areas.zones["gross_m2"]
    assert (np.abs(parts + areas.zones["net_m2"] - gross) <= 1e-9 * gross).all()
    assert shapely.union_all(areas.zones.geometry.to_numpy()).area == pytest.approx(areas.net_m2)

    shuffled = random.sample(range(len(zones)), len(zones))
    other = replace(made, zones=made.zones.iloc[shuffled].reset_index(drop=True))
    again = facts.iloc[shuffled].reset_index(drop=True)
    assert chosen_zones(again, [], ["garden"]) == chosen
    moved = plan_areas(other, again, chosen_zones(again, [], ["garden"]), given_)
    assert moved.zones.drop(columns="geometry").equals(areas.zones.drop(columns="geometry"))
    assert moved.zones.geometry.geom_equals(areas.zones.geometry).all()
    assert (moved.blankets, moved.check_zones) == (areas.blankets, areas.check_zones)


def test_zones_stand_in_order_of_evidence_with_unknown_last() -> None:
    table = pd.DataFrame(
        {
            "zone_id": ["A", "B", "C", "D", "E"],
            "state": ["", "below", "above", "above", "undecided"],
            "p_above": [np.nan, 0.1, np.nan, 0.85, 0.5],
            "rate": [9.0, 1.0, 5.0, 3.0, 2.0],
        }
    )
    assert in_order_of_evidence(table) == ["D", "C", "E", "B", "A"]


def test_an_unknown_zone_and_an_empty_choice_are_told(site: Site) -> None:
    facts = evidence(site, state="below")
    with pytest.raises(SettingsError, match="there is no zone 'z1'; did you mean 'Z1'"):
        chosen_zones(facts, ["z1"])
    with pytest.raises(SettingsError, match="no zone is above its limit"):
        chosen_zones(facts, [])


def test_the_blanket_holds_all_zones_of_the_uses_chosen(site: Site) -> None:
    """Four zones of 1 ha, one treated; of the others one is below, so at least 1 ha is saved."""
    zones = {name: ("rough", box(n * 100, 0, n * 100 + 100, 100)) for n, name in enumerate("ABCD")}
    zones["T"] = ("tee", box(0, 200, 10, 210))
    made = ground(site, zones, [])
    states = ["above", "below", "undecided", "no_traps", "below"]
    areas = plan_areas(made, evidence(made, state=states), ["A"], inputs())
    (blanket,) = areas.blankets
    assert (blanket.use, blanket.zones, blanket.chosen) == ("rough", 4, 1)
    assert (blanket.untreated, blanket.unknown) == (("B", "C"), ("D",))
    assert blanket.unknown_m2 == pytest.approx(10_000)
    assert blanket.saved_m2 == pytest.approx(30_000)
    assert blanket.surely_saved_m2 == pytest.approx(10_000)


@pytest.mark.parametrize(
    ("chosen", "rates", "expected"),
    [
        (["A"], [4.0, 1.0, 5.0], ("C", "not_chosen")),
        (["A", "B", "C"], [4.0, 1.0, 5.0], ("C", "last_chosen")),
        (["A"], [4.0, np.nan, np.nan], ("", "none")),
        (["A"], [4.0, 0.0, 40.0], ("C", "not_chosen")),
    ],
)
def test_the_check_zone_is_the_most_alike_that_stays_untreated(
    site: Site, chosen: list[str], rates: list[float], expected: tuple[str, str]
) -> None:
    zones = {name: ("rough", box(n * 100, 0, n * 100 + 90, 90)) for n, name in enumerate("ABC")}
    made = ground(site, zones, [])
    areas = plan_areas(made, evidence(made, rate=rates), chosen, inputs())
    (check,) = areas.check_zones
    assert (check.zone_id, check.reason) == expected


def test_a_check_zone_shares_no_treated_ground_and_is_above_only_if_none_else_is(
    site: Site,
) -> None:
    """B, the most alike, lies partly in A, which is treated; of C and D, D is not above."""
    zones = {name: ("rough", box(n * 100, 0, n * 100 + 90, 90)) for n, name in enumerate("ABCD")}
    zones["B"] = ("rough", box(50, 0, 190, 90))
    made = ground(site, zones, [])
    states = ["above", "undecided", "above", "below"]
    facts = evidence(made, rate=[4.0, 4.0, 3.9, 1.0], state=states)
    (check,) = plan_areas(made, facts, ["A"], inputs()).check_zones
    assert (check.zone_id, check.state) == ("D", "below")
    assert "Its own evidence is above" not in check_zone_text(check, EN)
    alone = plan_areas(made, facts.assign(counted_traps=[3, 3, 3, 0]), ["A"], inputs())
    assert alone.check_zones[0].zone_id == "C"
    assert "Its own evidence is above your limit" in check_zone_text(alone.check_zones[0], EN)


def test_the_widest_buffer_that_names_a_kind_holds() -> None:
    widths = {"water": 5.0, "lake": 9.0}
    assert buffer_width_m("lakes", widths) == 9.0
    assert buffer_width_m("bunker", widths) is None


LOG = pd.DataFrame(
    {
        "zone_id": ["A", "A", "B", "C", "D", "E"],
        "applied_on": pd.to_datetime(["2025-05-01", "2026-05-01"] + ["2026-05-01"] * 4),
        "irac_group": ["28", "Group 3a", "3B", "", "28", "3A"],
        "tactic": ["adult"] * 5 + ["cultural"],
    }
)


def test_a_group_that_follows_itself_is_told() -> None:
    found = repeats(LOG, [*"ABCDEF"], "3A", date(2026, 6, 1))
    assert [(each.zone_id, each.reason, each.groups) for each in found] == [
        ("A", "same_group", ("3A",)),
        ("B", "same_main_group", ("3B",)),
        ("C", "group_not_recorded", ()),
    ]


def test_only_the_last_treatment_by_the_cut_off_counts() -> None:
    assert repeats(LOG, ["A"], "3A", date(2026, 4, 1)) == ()
    (open_,) = repeats(LOG, ["A"], "", date(2026, 6, 1))
    assert open_.reason == "group_not_given"


def test_settings_are_checked_key_by_key() -> None:
    given_ = {
        "buffer": {},
        "buffers": {"water": 8, "": "1 m", "lake": " "},
        "exclusion_uses": "garden",
        "before_nights": 0,
        "cold_c": True,
        "adult": {"rates": "1", "rate": ["x"]},
        "larva": "x",
    }
    told = dict(parse_treatment(given_)[1])
    assert set(told) == {
        "buffer", "buffers.water", "buffers.lake", "exclusion_uses", "before_nights", "cold_c",
        "adult.rates", "adult.rate", "larva",
    }  # fmt: skip
    assert "it may be one of product, registration_number" in told["adult.rates"]


UNIT_KEYS = {kind: [unit_key(u.name) for u in UNITS if u.kind == kind] for kind in KIND_WORDS}


@pytest.mark.parametrize(
    ("section", "codes", "others"),
    [
        ("plan_lacks", dose.MISSING, "head open_water"),
        (
            "order_area",
            treatment.LEFT_OUT,
            "label m2 acres parts hectares drawn net taken_off",
        ),
        ("plan_check", treatment.CHECK_REASONS, "above"),
        ("order_states", treatment.STATE_ORDER, "not_judged"),
        ("plan_left_out", treatment.STATE_ORDER, ""),
        ("plan_rotation", rotation.ROTATION, ""),
        ("tactics", TACTICS, ""),
        ("effect_untold", efficacy.CANNOT_TELL, ""),
        ("effect_reference", efficacy.REFERENCES, ""),
        ("order_inputs", INPUTS, "buffers buffer"),
        ("order_cautions", CAUTIONS, ""),
        ("unit_names", [*UNIT_KEYS["area"], *UNIT_KEYS["volume"]], ""),
        (
            "quantities",
            [key for kind in ("area", "mass", "volume") for key in UNIT_KEYS[kind]],
            "also ground",
        ),
    ],
)
def test_every_code_has_a_message(section: str, codes: Sequence[str], others: str) -> None:
    keys = (key.partition(".") for key in EN.messages)
    said = {end for name, _, end in keys if name == section}
    assert said == {*codes, *others.split()}


def planned(
    site: Site, given_: TreatmentSettings | None = None, zones: tuple[str, ...] = ("Z1", "Z6")
) -> TreatmentPlan:
    wish = Wish("adult", zones, "2026-W18", date(2026, 5, 3))
    return plan_treatment(site, evidence(site, state=""), wish, given_ or inputs())


def test_the_zones_of_a_plan_take_what_the_whole_takes(site: Site) -> None:
    plan = planned(site)
    assert plan.dose.product is not None
    assert plan.dose.spray is not None
    products = [each.product.base for each in plan.zone_doses if each.product]
    assert sum(products) == pytest.approx(plan.dose.product.base, rel=1e-12)
    parts = plan.areas.net_m2 / 92.90304
    assert plan.dose.product.amount == pytest.approx(0.5 * parts)
    assert plan.dose.cost == pytest.approx(0.5 * parts + 20 * plan.areas.net_m2 / 4046.8564224)


def test_the_work_order_says_what_is_missing_and_fills_nothing_in(site: Site) -> None:
    bare, _ = parse_treatment({})
    html = work_order(planned(site, bare), EN)
    told = html.partition("Missing, and not filled in:")[2].partition("</div>")[0]
    for code in ("rate", "re_entry", "notification", "registration_number", "water_buffer"):
        assert EN.say(f"plan_lacks.{code}") in told
    assert "No rate is given, so no amount follows." in html
    assert html.count("not given") == 11
    assert not re.search(r"\d (fl oz|gal|lb)\b", html)


def test_the_work_order_shows_cautions_arithmetic_and_comparison(site: Site) -> None:
    plan = planned(site)
    html = work_order(plan, EN)
    for caution in treatment_cautions(EN):
        assert caution in html
    for line in [*dose_lines(plan, EN), *blanket_lines(plan, EN)]:
        assert line in html
    assert "Missing" not in html
    assert "Z1: the last treatment there, on 22 April 2026, was of the same group, 3A." in html
    assert html.count('class="m-treat"') == 3  # two zones and the swatch of the legend


@pytest.mark.parametrize("page", [work_order, record_form])
def test_pages_are_offline_escaped_and_the_same_again(site: Site, page: Any) -> None:
    hostile = '</style><script>alert(1)</script> {{ 7*7 }} & "x"'
    zones = site.zones.assign(name=hostile, use=hostile)
    spoiled = replace(site, zones=zones, settings=replace(site.settings, name=hostile))
    given_ = inputs(adult={**GIVEN["adult"], "product": hostile}, customer=hostile)
    html = page(planned(spoiled, given_), EN)
    assert html == page(planned(spoiled, given_), EN)
    assert "<script" not in html
    assert "49" not in re.findall(r"&gt; (\d+) &amp;", html)
    assert "default-src 'none'" in html
    assert "://" not in html


def test_the_form_asks_for_every_legal_element(site: Site) -> None:
    html = record_form(planned(site), EN)
    for element in ("Customer", "Place", "Site or crop", "Size of area treated", "Target pest",
                    "Date", "Time", "Product", "Registration number", "Total amount of product",
                    "Applicator", "Certification number"):  # fmt: skip
        assert f'<th scope="row">{element}' in html
    assert "at least two years" in html


def test_shapes_hold_the_same_ground_in_every_format(site: Site, tmp_path: Path) -> None:
    plan = planned(site)
    expected_m2 = plan.areas.net_m2
    (tmp_path / "plan.gpkg").write_bytes(plan_geopackage(plan))
    (tmp_path / "plan.zip").write_bytes(plan_shapefile(plan))
    (tmp_path / "plan.geojson").write_text(plan_geojson(plan), encoding="utf-8")
    for name, layer in (("plan.gpkg", "treat"), ("plan.zip", None), ("plan.geojson", None)):
        found = pyogrio.read_dataframe(tmp_path / name, layer=layer)
        assert found["zone_id"].tolist() == ["Z1", "Z6"]
        area_m2 = found.to_crs(site.zones.crs).area.sum()
        assert area_m2 == pytest.approx(expected_m2, rel=1e-5), name
        assert found["net_m2"].sum() == pytest.approx(expected_m2, rel=1e-6)
    kml = ET.fromstring(plan_kml(plan))
    names = [each.text for each in kml.iter("{http://www.opengis.net/kml/2.2}name")]
    assert names[1:] == ["1 Z1", "2 Z6"]


def test_files_are_the_same_again_and_name_no_day_of_writing(site: Site) -> None:
    for draw in (plan_csv, plan_geojson, plan_kml, plan_geopackage, plan_shapefile):
        assert draw(planned(site)) == draw(planned(site))
    with zipfile.ZipFile(io.BytesIO(plan_shapefile(planned(site)))) as archive:
        dbf = next(name for name in archive.namelist() if name.endswith(".dbf"))
        assert tuple(archive.read(dbf)[1:4]) == (126, 5, 3)  # year since 1900, month, day


def test_the_table_holds_every_column_once(site: Site) -> None:
    header, *rows = plan_csv(planned(site)).splitlines()
    assert header.split(",") == [column.name for column in PLAN_COLUMNS]
    assert len(rows) == 2
    features = json.loads(plan_geojson(planned(site)))["features"]
    assert [each["properties"]["order"] for each in features] == [1, 2]
