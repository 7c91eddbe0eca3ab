"""From zones, edges and places to a choice of traps."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, box

from spatial.candidates import Clearances, PlaceRules, candidates
from spatial.refuge_edge import Surroundings, edge_of
from spatial.trap_choice import chosen
from spatial.trap_demand import TrapPlaces, Worth, trap_ground
from spatial.trap_ground import Ground

ZONES = [box(0, 0, 40, 20), box(100, 0, 140, 20)]
HEDGE = LineString([(-10, -2), (150, -2)])
EDGE = edge_of(ZONES, Surroundings([HEDGE], []), 1.0)


def ground(
    places: list[tuple[float, float]],
    standing: int = 0,
    area: tuple[float, float] = (0.0, 0.0),
    edge: tuple[float, float] = (1.0, 1.0),
    obstacles: tuple[shapely.Polygon, ...] = (),
) -> Ground:
    table = np.array(places, dtype=float).reshape(-1, 2)
    zone = np.where(table[:, 0] < 70, 0, 1)
    where = TrapPlaces(table, np.full(len(table), 10.0), zone, standing, spacing_m=10.0)
    worth = Worth(np.array(edge), np.array(area), np.zeros((2, 0)))
    return trap_ground(ZONES, EDGE, where, worth, obstacles)


def test_weights_are_metres_of_edge_and_hectares_of_zone() -> None:
    assert ground([(5, 1)]).zone_weight == pytest.approx([40.0, 40.0])
    found = ground([(5, 1)], area=(50.0, 0.0), edge=(0.0, 0.5))
    assert found.zone_weight == pytest.approx([50.0 * 0.08, 20.0])


def test_a_zone_thinner_than_the_lattice_still_counts() -> None:
    """An L of 1 m width: the middle of its box is outside, and so is the lattice."""
    bent = box(0, 0, 8, 1).union(box(0, 0, 1, 8))
    edge = edge_of([bent], Surroundings([], []))
    where = TrapPlaces(np.array([[0.5, 0.5]]), np.array([9.0]), np.array([0]), 0, 10.0)
    worth = Worth(np.zeros(1), np.array([2.0]), np.zeros((1, 0)))
    assert trap_ground([bent], edge, where, worth, []).weight.sum() == pytest.approx(2 * 0.0015)


def test_a_wall_hides_the_edge_behind_it() -> None:
    """Without it 10 m to either side; the wall covers all that is east of 21 m."""
    wall = box(21, -1, 21.5, 15)
    free, blocked = ground([(20, 0.0)]), ground([(20, 0.0)], obstacles=(wall,))
    assert float((free.covers @ free.weight)[0]) == pytest.approx(20.0)
    assert float((blocked.covers @ blocked.weight)[0]) == pytest.approx(11.0, abs=1.0)


def test_traps_on_one_spot_are_too_close() -> None:
    close = ground([(5, 1), (5, 1), (30, 1)]).too_close.toarray()
    assert close.tolist() == [[1, 1, 0], [1, 1, 0], [0, 0, 1]]


def test_the_first_new_trap_goes_to_the_zone_whose_traps_are_gone() -> None:
    """Candidates everywhere; the second zone has three traps, the first has none."""
    zones = gpd.GeoDataFrame({"zone_id": ["A", "B"], "use": ["lawn", "lawn"]}, geometry=ZONES)
    traps = np.array([[105.0, 1], [120, 1], [135, 1]])
    clear_of = Clearances(traps, Surroundings([HEDGE], []))
    found = candidates(zones, clear_of, PlaceRules())
    places = [*map(tuple, traps), *map(tuple, shapely.get_coordinates(found.geometry.to_numpy()))]
    choice = chosen(ground(places, standing=3), 1)
    assert found["zone_id"].iloc[int(choice.new[0]) - 3] == "A"


def test_an_undecided_zone_goes_before_one_that_is_settled() -> None:
    """No edge counts; a hectare of the second zone is worth ten times one of the first."""
    found = chosen(ground([(20, 10), (120, 10)], area=(1.0, 10.0), edge=(0.0, 0.0)), 1)
    assert found.new.tolist() == [1]


def test_without_places_or_demand_there_is_nothing_to_choose() -> None:
    assert chosen(ground([]), 2).new.tolist() == []
    nothing = ground([(5, 1)], edge=(0.0, 0.0))
    assert chosen(nothing, 1).value == 0.0
