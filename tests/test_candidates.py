"""No candidate breaks a rule, on any ground."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import pdist
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from spatial.candidates import KINDS, Clearances, PlaceRules, candidates, reachable
from spatial.refuge_edge import Surroundings, edge_of

USES = ("green", "tee", "bunker", "fairway", "rough", "lawn")
NOWHERE = np.empty((0, 2))
COORDINATES = st.integers(0, 40).map(lambda step: 3.0 * step)
PLACES = st.tuples(COORDINATES, COORDINATES)
LENGTHS = st.sampled_from([0.4, 1.5, 3.0, 9.0, 30.0, 60.0])


@st.composite
def shapes(draw: st.DrawFn) -> BaseGeometry:
    """Boxes, slivers, tiny ones, rounds, rings with a hole, and pairs of parts."""
    x, y = draw(PLACES)
    solid: BaseGeometry = box(x, y, x + draw(LENGTHS), y + draw(LENGTHS))
    form = draw(st.sampled_from(["box", "round", "ring", "parts", "bent"]))
    if form == "round":
        solid = Point(x, y).buffer(draw(LENGTHS), quad_segs=4)
    if form == "ring":
        solid = Point(x, y).buffer(30, quad_segs=3) - Point(x + 2, y).buffer(9, quad_segs=2)
    if form == "parts":
        solid = shapely.union(solid, box(x + 80, y, x + 95, y + 12))
    if form == "bent":
        solid = Polygon([(x, y), (x + 40, y), (x + 40, y + 40), (x + 30, y + 7)])
    return solid


@st.composite
def grounds(draw: st.DrawFn) -> tuple[gpd.GeoDataFrame, Clearances]:
    zones = [box(0, 0, 90, 70), *draw(st.lists(shapes(), max_size=4))]
    others = draw(st.lists(st.sampled_from(USES), min_size=len(zones), max_size=len(zones)))
    uses = ["rough", *others[1:]]
    table = gpd.GeoDataFrame(
        {"zone_id": [f"Z{number}" for number in range(len(zones))], "use": uses}, geometry=zones
    )
    lines = st.tuples(PLACES, PLACES).filter(lambda ends: ends[0] != ends[1]).map(LineString)
    traps = draw(st.lists(PLACES, max_size=4))
    return table, Clearances(
        traps_m=np.array(traps, dtype=float).reshape(-1, 2),
        around=Surroundings(
            draw(st.lists(shapes() | lines, max_size=2)),
            draw(st.lists(shapes() | lines, max_size=2)),
        ),
        play_lines=draw(st.lists(lines, max_size=2)),
    )


RULES = st.builds(
    PlaceRules,
    closed_m=st.sampled_from([0.0, 1.0, 4.0]),
    obstacle_m=st.sampled_from([0.0, 1.0, 3.0]),
    play_line_m=st.sampled_from([0.0, 5.0]),
    outline_m=st.sampled_from([0.0, 0.5, 2.0]),
    spacing_m=st.sampled_from([1.0, 2.5, 8.0]),
    trap_m=st.sampled_from([0.0, 10.0]),
    inside_step_m=st.sampled_from([5.0, 15.0]),
)


def nearest_m(points: np.ndarray, things: list[BaseGeometry]) -> float:
    """Return the smallest distance between any point and any thing."""
    far_m = shapely.distance(points[:, None], np.array(things, dtype=object)[None, :])
    return float(far_m.min(initial=np.inf))


@settings(max_examples=30)
@given(ground=grounds(), rules=RULES)
def test_no_candidate_breaks_a_rule(
    ground: tuple[gpd.GeoDataFrame, Clearances], rules: PlaceRules
) -> None:
    """Holes, slivers, ponds across edges, tiny zones, no refuge, one trap, no trap, overlaps."""
    zones, clear_of = ground
    found = candidates(zones, clear_of, rules)
    points, number = found.geometry.to_numpy(), found["zone"].to_numpy()
    closed = list(zones.geometry[zones["use"].isin(rules.closed_uses)])
    obstacles = list(clear_of.around.obstacles)
    for things, far_m in (
        (closed, rules.closed_m),
        (obstacles, rules.obstacle_m),
        (list(clear_of.play_lines), rules.play_line_m),
        (list(zones.geometry.boundary), rules.outline_m),
        ([Point(place) for place in clear_of.traps_m], rules.trap_m),
    ):
        assert nearest_m(points, things) >= far_m
    assert nearest_m(points, [*closed, *obstacles]) > 0
    area = zones.geometry.area.to_numpy()
    inside = shapely.contains(zones.geometry.to_numpy()[None, :], points[:, None])
    assert inside[np.arange(len(points)), number].all()
    assert area[number] == pytest.approx(np.where(inside, area, np.inf).min(axis=1, initial=np.inf))
    assert not set(zones["use"].to_numpy()[number]) & set(rules.closed_uses)
    places = shapely.get_coordinates(found.geometry.to_numpy())
    assert len(places) < 2 or pdist(places).min() >= rules.spacing_m
    assert set(found["kind"]) <= set(KINDS)
    if not clear_of.around.refuges:
        assert "refuge_edge" not in set(found["kind"])


def table(*zones: tuple[str, BaseGeometry]) -> gpd.GeoDataFrame:
    ids = [f"Z{number}" for number in range(len(zones))]
    uses = [use for use, _ in zones]
    return gpd.GeoDataFrame({"zone_id": ids, "use": uses}, geometry=[shape for _, shape in zones])


OPEN = Clearances(NOWHERE, Surroundings([], []))


def test_greens_tees_and_bunkers_get_no_trap_even_inside_a_fairway() -> None:
    green = Point(30, 30).buffer(12)
    zones = table(("fairway", box(0, 0, 60, 60)), ("green", green), ("tee", box(80, 0, 90, 9)))
    found = candidates(zones, OPEN, PlaceRules(inside_step_m=4.0))
    assert set(found["zone_id"]) == {"Z0"}
    assert found.geometry.distance(green).min() >= 1.0
    assert found.geometry.distance(green).min() < 4.0


def test_every_zone_that_has_room_has_a_candidate_however_small() -> None:
    """Tiny and long ones, parts and rings, without any refuge or trap."""
    zones = table(
        ("lawn", box(0, 0, 2.4, 2.4)),
        ("rough", box(10, 0, 90, 2.5)),
        ("fairway", Point(50, 50).buffer(20) - Point(50, 50).buffer(16)),
        ("lawn", box(0, 90, 1.9, 99)),
    )
    found = candidates(zones, OPEN, PlaceRules())
    assert set(found["zone_id"]) == {"Z0", "Z1", "Z2"}


def test_traps_and_play_lines_are_kept_clear_of() -> None:
    lawn = table(("lawn", box(0, 0, 60, 60)))
    line, trap = LineString([(0, 40), (60, 40)]), Point(30, 15)
    clear_of = replace(OPEN, traps_m=np.array([[30.0, 15.0]]), play_lines=[line])
    found = candidates(lawn, clear_of, PlaceRules(inside_step_m=3.0))
    assert 10.0 <= found.geometry.distance(trap).min() < 13.0
    assert 5.0 <= found.geometry.distance(line).min() < 8.0
    free = candidates(lawn, OPEN, PlaceRules(inside_step_m=3.0))
    assert free.geometry.distance(trap).min() < 3.0
    assert free.geometry.distance(line).min() < 3.0


def test_where_zones_overlap_a_place_is_in_the_smallest_and_off_both_outlines() -> None:
    """A surround drawn on top of a fairway: none of the fairway's places lie under it."""
    surround = box(20, 20, 40, 40)
    zones = table(("fairway", box(0, 0, 60, 60)), ("surround", surround))
    found = candidates(zones, OPEN, PlaceRules(inside_step_m=2.6, outline_m=1.5))
    below = found.geometry.within(surround)
    assert set(found["zone_id"][below]) == {"Z1"}
    assert set(found["zone_id"][~below]) == {"Z0"}
    assert found.geometry.distance(surround.boundary).min() >= 1.5


def test_an_island_is_no_place_for_a_trap() -> None:
    lawn = box(0, 0, 60, 60)
    moat = Point(30, 30).buffer(20) - Point(30, 30).buffer(10)
    clear_of = replace(OPEN, around=Surroundings([], [moat]))
    found = candidates(table(("lawn", lawn)), clear_of, PlaceRules(inside_step_m=4.0))
    assert found.geometry.distance(Point(30, 30)).min() > 20
    assert len(found) > 20


def test_a_stream_across_the_site_can_be_walked_round_at_its_end() -> None:
    """It reaches a little beyond the zones; what lies on its other side is no island."""
    stream = box(-20, 28, 80, 32)
    clear_of = replace(OPEN, around=Surroundings([], [stream]))
    found = candidates(table(("lawn", box(0, 0, 60, 60))), clear_of, PlaceRules())
    assert (found.geometry.y > 32).any()
    assert (found.geometry.y < 28).any()


def test_a_yard_is_reached_from_a_start_inside_it() -> None:
    wall = box(0, 0, 40, 40) - box(2, 2, 38, 38)
    inside = np.array([[20.0, 20.0]])
    clear_of = replace(OPEN, around=Surroundings([], [wall]))
    assert not reachable(inside, wall, clear_of).any()
    assert reachable(inside, wall, replace(clear_of, start_m=(30.0, 30.0))).all()


def test_a_gap_lets_people_through_if_it_is_wide_enough() -> None:
    ring = box(0, 0, 40, 40) - box(2, 2, 38, 38)
    for gap_m, expected in ((0.5, False), (0.8, True)):
        wall = ring - box(-1, 20, 3, 20 + gap_m)
        clear_of = replace(OPEN, around=Surroundings([], [wall]))
        assert reachable(np.array([[20.0, 20.0]]), wall, clear_of).all() == expected


def test_where_edge_and_inside_are_too_close_the_edge_goes_first() -> None:
    hedge = LineString([(0, -2), (30, -2)])
    clear_of = Clearances(NOWHERE, Surroundings([hedge], []))
    found = candidates(table(("rough", box(0, 0, 30, 4))), clear_of, PlaceRules(spacing_m=4.0))
    assert set(found["kind"]) == {"refuge_edge"}


def edge_length(zone: BaseGeometry, *refuges: BaseGeometry, **rest: object) -> float:
    obstacles = rest.get("obstacles", ())
    assert isinstance(obstacles, tuple)
    edge = edge_of([zone], Surroundings(list(refuges), list(obstacles)), 0.5)
    return float(edge.length_m[edge.faces].sum())


def test_a_round_zone_faces_a_long_hedge_with_the_third_that_looks_at_it() -> None:
    """Within 60 degrees of straight ahead: 120 of 360 degrees of the outline."""
    zone, hedge = Point(0, 0).buffer(15, quad_segs=90), LineString([(-200, -20), (200, -20)])
    assert edge_length(zone, hedge) == pytest.approx(2 * np.pi * 15 / 3, rel=0.02)


def test_the_outline_of_a_hole_faces_the_thicket_in_it() -> None:
    thicket = Point(0, 0).buffer(5, quad_segs=16)
    zone = box(-40, -40, 40, 40) - Point(0, 0).buffer(8, quad_segs=16)
    hole_m = Point(0, 0).buffer(8, quad_segs=16).length
    assert edge_length(zone, thicket) == pytest.approx(hole_m, rel=0.01)


def test_a_thicket_drawn_over_a_zone_makes_an_edge_of_its_own_outline() -> None:
    thicket = box(10, 10, 20, 20)
    assert edge_length(box(0, 0, 80, 80), thicket) == pytest.approx(40.0)


def test_behind_a_long_pond_nothing_faces_the_hedge() -> None:
    """The walk round the pond is over 60 m, straight it is 20 m."""
    zone, hedge = box(0, 0, 10, 10), LineString([(0, -20), (10, -20)])
    pond = box(-60, -15, 70, -5)
    assert edge_length(zone, hedge) == pytest.approx(10.0)
    assert edge_length(zone, hedge, obstacles=(pond,)) == 0.0


def test_across_a_hole_the_far_side_faces_nothing() -> None:
    """It looks at the hedge, but over its own other side: beetles come in there."""
    zone = box(0, 0, 40, 40) - box(10, 10, 30, 30)
    hedge = LineString([(0, 45), (40, 45)])
    assert edge_length(zone, hedge) == pytest.approx(40.0)


def test_empty_and_flat_shapes_have_no_edge() -> None:
    edge = edge_of([Polygon(), Point(0, 0).buffer(0)], Surroundings([box(0, 0, 1, 1)], []))
    assert len(edge.zone) == 0
