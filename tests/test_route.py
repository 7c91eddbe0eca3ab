"""The walk past all traps: a short closed tour, and the round of a week planned on it."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse.csgraph import minimum_spanning_tree
from sites import (
    LONG_SETTINGS,
    SETTINGS,
    SOUTH,
    WEST,
    collection,
    feature,
    long_visits,
    make_site,
    square,
)

from data.findings import SettingsError
from data.reading import read_site
from spatial.round_plan import RoundPlan, plan_round
from spatial.route import closed_tour

Matrix = npt.NDArray[np.float64]


def distances(points: npt.ArrayLike) -> Matrix:
    places = np.asarray(points, dtype=float)
    result: Matrix = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    return result


def shortest_of_all(distance_m: Matrix) -> float:
    """Return the length of the best closed tour, by trying every order."""
    n = len(distance_m)
    orders = np.array(list(permutations(range(1, n))))
    tours = np.column_stack([np.zeros(len(orders), dtype=int), orders])
    return float(distance_m[tours, np.roll(tours, -1, axis=1)].sum(axis=1).min())


def held_karp_bound(distance_m: Matrix, rounds: int = 800) -> float:
    """Return a length that no tour undercuts: 1-trees with prices for degree.

    Held & Karp 1971, Mathematical Programming 1, 6-25. Every round gives a valid bound, whatever
    the prices are; the step only decides how good it gets.
    """
    n = len(distance_m)
    prices, best = np.zeros(n), 0.0
    for k in range(rounds):
        priced = distance_m + prices[:, None] + prices[None, :]
        shift = 1.0 - priced.min()
        tree = minimum_spanning_tree(priced[1:, 1:] + shift).tocoo()
        ends = np.sort(priced[0, 1:])[:2]
        near = np.argsort(priced[0, 1:])[:2] + 1
        degree = np.bincount(np.concatenate([tree.row, tree.col]) + 1, minlength=n)
        degree[near] += 1
        degree[0] = 2
        bound = float(tree.data.sum() - shift * (n - 2) + ends.sum() - 2 * prices.sum())
        best = max(best, bound)
        prices = prices + 30.0 * 0.995**k * (degree - 2)
    return best


@pytest.mark.parametrize("seed", range(30))
def test_small_tours_are_as_short_as_the_best_of_all_orders(seed: int) -> None:
    """Up to 8 random places: equal to the exhaustive optimum in each of 30 cases."""
    draw = np.random.default_rng(seed)
    places = distances(draw.uniform(0, 500, (int(draw.integers(4, 9)), 2)))
    assert closed_tour(places, 0).length_m == pytest.approx(shortest_of_all(places), rel=1e-9)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_nine_places_in_two_clumps_are_within_five_percent_of_the_best(seed: int) -> None:
    draw = np.random.default_rng(seed)
    clumps = np.where(np.arange(9)[:, None] < 5, 0.0, 400.0)
    places = distances(draw.uniform(0, 60, (9, 2)) + clumps)
    assert closed_tour(places, 4).length_m <= 1.05 * shortest_of_all(places)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_the_tour_of_72_random_places_is_within_five_percent_of_a_lower_bound(seed: int) -> None:
    """Between the Held-Karp bound and 1.05 of it; the spanning tree is a bound as well."""
    places = distances(np.random.default_rng(seed).uniform(0, 1000, (72, 2)))
    length_m = closed_tour(places, 0).length_m
    bound_m = held_karp_bound(places)
    assert minimum_spanning_tree(places).sum() < bound_m <= length_m <= 1.05 * bound_m


@given(
    st.lists(
        st.tuples(st.integers(0, 50), st.integers(0, 50)), min_size=1, max_size=14, unique=True
    ),
    st.data(),
)
def test_every_place_is_passed_once_and_the_walk_closes(
    points: list[tuple[int, int]], data: st.DataObject
) -> None:
    start = data.draw(st.integers(0, len(points) - 1))
    far = data.draw(st.sets(st.integers(0, len(points) - 1))) - {start}
    places = distances(points)
    for lost in far:
        places[lost, :] = places[:, lost] = np.inf
        places[lost, lost] = 0.0
    tour = closed_tour(places, start)
    assert tour.order[0] == start
    assert sorted([*tour.order, *tour.unreachable]) == list(range(len(points)))
    assert tour.unreachable.tolist() == sorted(far)
    assert np.allclose(tour.legs_m, places[tour.order, np.roll(tour.order, -1)])


def test_a_tour_crosses_itself_nowhere_on_open_ground() -> None:
    """On a plane, a tour without a better 2-opt step has no crossing (Flood 1956)."""
    points = np.random.default_rng(5).uniform(0, 100, (40, 2))
    order = closed_tour(distances(points), 0).order
    a, b = points[order], points[np.roll(order, -1)]

    def side(p: Matrix, q: Matrix, r: Matrix) -> float:
        return float(np.sign((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])))

    crossings = [
        (i, j)
        for i in range(40)
        for j in range(i + 2, 40)
        if (i, j) != (0, 39)
        and side(a[i], b[i], a[j]) != side(a[i], b[i], b[j])
        and side(a[j], b[j], a[i]) != side(a[j], b[j], b[i])
    ]
    assert crossings == []


def plan_of(folder: Path, week: str | None = None) -> RoundPlan:
    return plan_round(read_site(folder), week)


def test_the_round_after_the_last_visit_is_planned_unless_a_week_is_named(tmp_path: Path) -> None:
    """The last of the four rounds is checked on 4 May 2026, in week 19."""
    plan = plan_of(make_site(tmp_path / "site"))
    assert plan.week == "2026-W20"
    assert len(plan.stops) == 16
    assert set(plan.stops["set_on"].astype(str)) == {"2026-05-04"}
    assert plan.stops["recorded_on"].isna().all()


def test_a_week_that_was_walked_is_planned_as_it_was_before(tmp_path: Path) -> None:
    plan = plan_of(make_site(tmp_path / "site"), "2026-W19")
    assert set(plan.stops["set_on"].astype(str)) == {"2026-04-27"}
    assert set(plan.stops["recorded_on"].astype(str)) == {"2026-05-04"}


def test_a_trap_that_was_not_checked_is_still_set_since_the_visit_before(tmp_path: Path) -> None:
    cells = {
        ("visits.csv", 2 + 48, "status"): "not_checked",
        **{("visits.csv", 50, name): "" for name in ("parvulus", "venatus", "carabids", "minutes")},
    }
    stops = plan_of(make_site(tmp_path / "site", cells=cells)).stops.set_index("trap_id")
    assert str(stops.loc["T01", "set_on"].date()) == "2026-04-27"
    assert str(stops.loc["T02", "set_on"].date()) == "2026-05-04"


def test_a_trap_without_a_visit_is_set_since_it_was_installed(tmp_path: Path) -> None:
    rows = ["T17,cup,-38.9990,40.0005,2026-05-06,,"]
    stops = plan_of(make_site(tmp_path / "site", more={"traps.csv": rows})).stops
    assert str(stops.set_index("trap_id").loc["T17", "set_on"].date()) == "2026-05-06"


def test_a_trap_that_moves_is_on_the_round_once(tmp_path: Path) -> None:
    """T16 moved on Monday 20 April: that day's check empties the old place."""
    site = make_site(tmp_path / "site")
    at_move, later = plan_of(site, "2026-W17").stops, plan_of(site, "2026-W18").stops
    places = [
        stops.loc[stops["trap_id"] == "T16", "location_id"].tolist() for stops in (at_move, later)
    ]
    assert places == [["T16/1"], ["T16/2"]]


def test_a_trap_that_is_gone_is_not_on_the_round(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", cells={("traps.csv", 2, "removed"): "2026-05-04"})
    assert "T01" in set(plan_of(site, "2026-W19").stops["trap_id"])
    assert "T01" not in set(plan_of(site, "2026-W20").stops["trap_id"])


def test_a_week_without_any_trap_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="no trap is in use in week 2020-W10"):
        plan_of(make_site(tmp_path / "site"), "2020-W10")
    with pytest.raises(SettingsError, match="there is no week '2026-W60'"):
        plan_of(make_site(tmp_path / "site"), "2026-W60")


def test_the_walk_begins_at_the_start_point_of_the_site(tmp_path: Path) -> None:
    settings = SETTINGS + f"[round]\nstart_point = [{WEST}, {SOUTH - 0.0004}]\n"
    central = plan_of(make_site(tmp_path / "a"))
    given_point = plan_of(make_site(tmp_path / "b", settings=settings))
    assert central.start_trap
    assert central.stops["trap_id"].iloc[0] == central.start_trap
    assert central.stops["leg_m"].iloc[0] == 0
    assert given_point.start_trap == ""
    assert not given_point.blocked_start
    assert given_point.stops["leg_m"].iloc[0] > 0
    for plan in (central, given_point):
        assert plan.length_m == pytest.approx(plan.stops["leg_m"].sum() + plan.back_m)


def test_a_start_point_inside_an_obstacle_gives_way_to_the_nearest_trap(tmp_path: Path) -> None:
    """The pond of the site is the square at column 3, row 1."""
    settings = SETTINGS + f"[round]\nstart_point = [{WEST + 0.0041}, {SOUTH + 0.0017}]\n"
    plan = plan_of(make_site(tmp_path / "site", settings=settings))
    assert plan.blocked_start
    assert plan.start_trap == plan.stops["trap_id"].iloc[0] == "T15"
    assert plan.stops["reachable"].all()


def test_a_trap_that_no_path_reaches_comes_last_without_a_length(tmp_path: Path) -> None:
    """A ring of water round the traps of zone Z1."""
    outer, inner = square(0, 0, 0.0011)["coordinates"][0], square(0, 0, 0.0010)["coordinates"][0]
    shift = [[round(x - 0.00005, 6), round(y - 0.00005, 6)] for x, y in outer]
    moat = {"type": "Polygon", "coordinates": [shift, inner[::-1]]}
    files = {"obstacles.geojson": collection([feature({"id": "M", "kind": "water"}, moat)])}
    site = make_site(tmp_path / "site", files=files)
    stops = plan_of(site).stops
    assert stops["trap_id"].tolist()[-3:] == ["T01", "T02", "T03"]
    assert stops["reachable"].tolist() == [True] * 13 + [False] * 3
    assert stops["leg_m"].isna().sum() == 3


def test_the_minutes_follow_speed_and_time_at_each_trap(tmp_path: Path) -> None:
    settings = SETTINGS + "[round]\nwalking_kmh = 3\nminutes_per_trap = 2\n"
    plan = plan_of(make_site(tmp_path / "site", settings=settings))
    assert plan.minutes == pytest.approx(plan.length_m / 50 + 16 * 2)


def test_the_round_does_not_depend_on_how_visits_are_laid_out(tmp_path: Path) -> None:
    wide = plan_of(make_site(tmp_path / "wide"))
    files = {"visits.csv": long_visits()}
    long = plan_of(make_site(tmp_path / "long", settings=LONG_SETTINGS, files=files))
    assert wide.stops.equals(long.stops)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("start_point = [1]", r"round.start_point: expected \[longitude, latitude\], found \[1\]"),
        ("start_point = 3", "round.start_point: expected a list in square brackets, found 3"),
        ("start_point = [200, 1]", "longitude: expected a number from -180 to 180, found 200"),
        ("start_point = [1, 'x']", "latitude: expected a number from -90 to 90, found 'x'"),
        ("walking_kmh = 0", "round.walking_kmh: expected a number from 0.1 to 20, found 0"),
        ("start = 1", "round.start: there is no such setting"),
    ],
)
def test_a_wrong_round_setting_is_told(tmp_path: Path, line: str, message: str) -> None:
    folder = make_site(tmp_path / "site", settings=SETTINGS + f"[round]\n{line}\n")
    with pytest.raises(SettingsError, match=message):
        read_site(folder)


def test_the_usual_day_is_the_weekday_on_which_most_traps_were_emptied(tmp_path: Path) -> None:
    """All traps were last emptied on Monday 4 May; then most of them on Wednesday 6 May."""
    plan = plan_round(read_site(make_site(tmp_path / "site")), "2026-W19")
    assert plan.usual_day.isoformat() == "2026-05-04"
    cells = {("visits.csv", row, "checked_on"): "2026-05-06" for row in range(50, 60)}
    later = plan_round(read_site(make_site(tmp_path / "later", cells=cells)))
    assert (later.week, later.usual_day.isoformat()) == ("2026-W20", "2026-05-13")


def test_without_any_set_date_the_usual_day_is_monday(tmp_path: Path) -> None:
    cells = {("traps.csv", row, "installed"): "" for row in range(2, 18)}
    site = read_site(make_site(tmp_path / "site", cells=cells))
    plan = plan_round(site, "2026-W10")
    assert plan.stops["set_on"].isna().all()
    assert plan.usual_day.isoformat() == "2026-03-02"
