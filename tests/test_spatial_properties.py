"""What must hold for every network: properties tried on many generated ones."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from datetime import date, timedelta

import geopandas as gpd
import numpy as np
import pandas as pd
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import sparse
from shapely.affinity import translate
from shapely.geometry import Point, Polygon, box

from data.settings import MarkSettings
from spatial.arrays import AnyArray, FloatArray
from spatial.assign import assign_zones
from spatial.clusters import LocalClusters, clusters_by
from spatial.dispersion import rate_intervals
from spatial.exact import exact_tails
from spatial.exposure import rounds, season_visits, to_date
from spatial.neighbours import Neighbours, nearest_on_foot
from spatial.results import MARKS, NOT_TESTABLE, Season
from spatial.standardise import eb_standardised
from spatial.windows import Windows
from spatial.zones import zone_table, zone_weeks

RULES = MarkSettings(permutations=199)
PER_TRAP = [each.name for each in fields(LocalClusters) if each.name != "overall"]


@dataclass(frozen=True, slots=True)
class Field:
    """A network with its catches."""

    places: FloatArray
    counts: FloatArray
    nights: FloatArray
    design: AnyArray

    def graph(self) -> Neighbours:
        between = np.hypot(*(self.places[:, None] - self.places[None]).transpose(2, 0, 1))
        ids = tuple(f"T{number:02d}" for number in range(len(self.places)))
        return nearest_on_foot(ids, between, 4, 10_000)

    def taken(self, order: AnyArray) -> Field:
        return Field(*(getattr(self, each.name)[order] for each in fields(self)))

    def marks(self, graph: Neighbours | None = None) -> LocalClusters:
        near = graph or self.graph()
        return clusters_by(RULES, self.counts, self.nights, near, design=self.design)


@st.composite
def networks(draw: st.DrawFn) -> Field:
    """Return 16 to 40 traps at places without ties, some with a patch, some designs mixed."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    size = draw(st.integers(16, 40))
    places = random.uniform(0, 500, size=(size, 2))
    nights = random.choice([7.0, 14, 21, 28], size=size)
    design = (random.random(size) < draw(st.sampled_from([0.0, 0.3]))).astype(int)
    near = np.argsort(np.hypot(*(places - places[0]).T))[: size // 5]
    rate = np.full(size, 0.3)
    rate[near] *= draw(st.sampled_from([1.0, 10.0]))
    mean = rate * nights * np.where(design == 1, 3.0, 1.0)
    counts = random.negative_binomial(1.0, 1 / (1 + mean)).astype(float)
    return Field(places, counts, nights, design)


def assert_same(
    found: LocalClusters, expected: LocalClusters, *, at: AnyArray | None = None
) -> None:
    """Compare every result of every trap; `at` chooses traps of `found`."""
    for name in PER_TRAP:
        ours, theirs = getattr(found, name), getattr(expected, name)
        ours = ours if at is None else ours[at]
        if ours.dtype == object:
            assert (ours == theirs).all(), name
        else:
            assert_allclose(ours, theirs, rtol=1e-7, atol=1e-9, err_msg=name)
    assert found.overall.p == expected.overall.p or not expected.overall.traps


@given(field=networks(), seed=st.integers(0, 1000))
@settings(max_examples=40)
def test_permuting_the_traps_permutes_the_statistics(field: Field, seed: int) -> None:
    """Only what is drawn may change, and that by no more than chance: 4.5 standard errors."""
    order = np.random.default_rng(seed).permutation(len(field.counts))
    first, second = field.marks(), field.taken(order).marks()
    assert (second.reason == first.reason[order]).all()
    for name in ("activity", "gi_star", "local_moran"):
        assert_allclose(getattr(second, name), getattr(first, name)[order], rtol=1e-9, atol=1e-11)
    tested = second.reason == ""
    tail = np.clip(first.p[order][tested] / 2, 1 / 200, 0.5)
    error = 2 * np.sqrt(2 * tail * (1 - tail) / 199)
    assert (np.abs(second.p - first.p[order])[tested] <= 4.5 * error + 0.02).all()


@given(field=networks(), seed=st.integers(0, 1000))
@settings(max_examples=40)
def test_permuting_the_traps_permutes_exact_tails(field: Field, seed: int) -> None:
    order = np.random.default_rng(seed).permutation(len(field.counts))
    first = exact_tails(field.counts, field.graph().adjacency)
    second = exact_tails(field.counts[order], field.taken(order).graph().adjacency)
    for ours, theirs in zip(second, first, strict=True):
        assert_allclose(ours, theirs[order], atol=1e-12)


@given(field=networks(), angle=st.floats(0, 360), east=st.floats(-1e6, 1e6))
@settings(max_examples=30)
def test_turning_and_moving_the_map_leaves_every_result(
    field: Field, angle: float, east: float
) -> None:
    turn = np.deg2rad(angle)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    moved = replace(field, places=field.places @ rotation + [east, 4_500_000.0])
    assert (moved.graph().adjacency == field.graph().adjacency).all()
    assert_same(moved.marks(), field.marks())


@given(field=networks())
@settings(max_examples=30)
def test_new_names_of_traps_and_designs_leave_every_result(field: Field) -> None:
    graph = field.graph()
    renamed = replace(graph, ids=tuple(f"hole {name}" for name in graph.ids))
    words = replace(field, design=np.array(["cup", "linear"])[field.design])
    assert_same(words.marks(renamed), field.marks(graph))
    assert (renamed.links()["distance_m"] == graph.links()["distance_m"]).all()


@given(field=networks(), factor=st.sampled_from([0.5, 2.0, 4.0, 1 / 7, 24.0]))
@settings(max_examples=30)
def test_another_unit_of_effort_leaves_every_result(field: Field, factor: float) -> None:
    """Nights, weeks or hours: activity is standardised, so the unit cancels."""
    assert_same(replace(field, nights=field.nights * factor).marks(), field.marks())


@given(field=networks(), catch=st.integers(0, 500))
@settings(max_examples=30)
def test_an_isolated_trap_changes_nothing_for_the_others(field: Field, catch: int) -> None:
    graph = field.graph()
    wider = replace(
        field,
        counts=np.append(field.counts, float(catch)),
        nights=np.append(field.nights, 7.0),
        design=np.append(field.design, 0),
    )
    found = wider.marks(with_one_more(graph, linked=False))
    assert_same(found, field.marks(graph), at=np.arange(len(field.counts)))
    assert found.mark[-1] == "not_testable"


@given(field=networks())
@settings(max_examples=30)
def test_an_unchecked_trap_changes_nothing_for_the_others(field: Field) -> None:
    """Even when it stands beside everybody, and whatever stands in its count."""
    graph = field.graph()
    wider = replace(
        field,
        counts=np.append(field.counts, 0.0),
        nights=np.append(field.nights, 0.0),
        design=np.append(field.design, 0),
    )
    found = wider.marks(with_one_more(graph, linked=True))
    assert_same(found, field.marks(graph), at=np.arange(len(field.counts)))
    assert found.reason[-1] == "no_nights"


def with_one_more(graph: Neighbours, *, linked: bool) -> Neighbours:
    """Return the graph with another trap, beside everybody or beside nobody."""
    n = len(graph.ids)
    near = np.full((n + 1, n + 1), linked)
    near[:n, :n] = graph.adjacency
    near[n, n] = False
    windows = graph.all_windows()
    column = sparse.csr_array(np.full((len(windows.centre), 1), float(linked)))
    wider = Windows(sparse.csr_array(sparse.hstack([windows.members, column])), windows.centre)
    return Neighbours((*graph.ids, "new"), near, np.where(near, 10.0, np.inf), wider)


@given(field=networks())
@settings(max_examples=40)
def test_every_p_is_above_zero_and_at_most_one(field: Field) -> None:
    found = field.marks()
    tested = found.reason == ""
    for p in (found.p, found.p_patch, found.p_lone):
        assert (p[tested] > 0).all()
        assert (p[tested] <= 1).all()
        assert np.isnan(p[~tested]).all()
    if not found.overall.reason:
        assert 0 < found.overall.p <= 1


@given(field=networks())
@settings(max_examples=40)
def test_marks_and_reasons_agree(field: Field) -> None:
    """Words are those of the contract; not testable has a reason, anything else has none.

    A busy mark stands on a trap above the mean, a quiet one below; a mark has its adjusted p.
    """
    found = field.marks()
    assert set(found.mark) <= set(MARKS)
    assert set(found.reason) <= {"", *NOT_TESTABLE}
    assert ((found.mark == "not_testable") == (found.reason != "")).all()
    mean = found.activity[found.reason == ""].mean() if (found.reason == "").any() else 0.0
    assert (found.activity[np.isin(found.mark, ("busy_patch", "lone_busy"))] > mean).all()
    assert (found.activity[np.isin(found.mark, ("quiet_patch", "lone_quiet"))] <= mean).all()
    marked = ~np.isin(found.mark, ("none", "not_testable"))
    assert (np.minimum(found.p_patch, found.p_lone)[marked] <= RULES.alpha).all()


@given(field=networks())
@settings(max_examples=20)
def test_the_same_seed_gives_the_same_answer(field: Field) -> None:
    first, second = field.marks(), field.marks()
    assert all(
        np.array_equal(getattr(first, name), getattr(second, name), equal_nan=name not in TEXTS)
        for name in PER_TRAP
    )


TEXTS = {"mark", "reason"}


@given(
    seed=st.integers(0, 2**32 - 1),
    size=st.integers(1, 30),
    k=st.integers(1, 8),
    cutoff_m=st.floats(1, 800),
)
def test_neighbours_are_mutual_and_within_reach(
    seed: int, size: int, k: int, cutoff_m: float
) -> None:
    """Everybody has the k nearest within the cut-off; nobody is a neighbour of itself."""
    places = np.random.default_rng(seed).uniform(0, 500, size=(size, 2))
    between = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    graph = nearest_on_foot([str(number) for number in range(size)], between, k, cutoff_m)
    assert (graph.adjacency == graph.adjacency.T).all()
    assert not graph.adjacency.diagonal().any()
    assert (between[graph.adjacency] <= cutoff_m).all()
    within = (between <= cutoff_m).sum(axis=1) - 1
    assert (graph.cardinalities >= np.minimum(k, within)).all()
    assert len(graph.links()) * 2 == graph.adjacency.sum()


def corner(high: int) -> st.SearchStrategy[float]:
    return st.integers(0, high).map(float)


ZONES = st.lists(
    st.tuples(corner(8), corner(8), st.integers(1, 5), st.integers(1, 5)), min_size=1, max_size=6
).map(lambda boxes: [box(x, y, x + wide, y + high) for x, y, wide, high in boxes])
SPOTS = st.lists(
    st.tuples(st.integers(-4, 32), st.integers(-4, 32)).map(lambda xy: Point(xy[0] / 2, xy[1] / 2)),
    min_size=1,
    max_size=12,
)


def zones_of(polygons: list[Polygon]) -> gpd.GeoDataFrame:
    names = [f"Z{number}" for number in range(len(polygons))]
    columns = {"zone_id": names, "use": "fairway", "name": ""}
    return gpd.GeoDataFrame(columns, geometry=polygons, crs="EPSG:32623")


def traps_at(spots: list[Point]) -> gpd.GeoDataFrame:
    names = [f"T{number:02d}" for number in range(len(spots))]
    return gpd.GeoDataFrame({"location_id": names}, geometry=spots, crs="EPSG:32623")


@settings(max_examples=40)
@given(polygons=ZONES, spots=SPOTS)
def test_every_trap_has_exactly_one_zone_or_none(
    polygons: list[Polygon], spots: list[Point]
) -> None:
    """Zones overlap, touch and coincide; traps stand inside, on edges, on corners and outside."""
    near_m = 1.6
    found = assign_zones(traps_at(spots), zones_of(polygons), near_m)
    assert found["location_id"].tolist() == [f"T{number:02d}" for number in range(len(spots))]
    unplaced = found["zone_id"].isna().tolist()
    for row, spot, nowhere in zip(found.itertuples(), spots, unplaced, strict=True):
        away = np.array([spot.distance(polygon) for polygon in polygons])
        if away.min() > near_m:
            assert row.placement == "outside"
            assert nowhere
            continue
        chosen = int(str(row.zone_id)[1:])
        assert away[chosen] == away.min() == row.zone_distance_m
        held = [number for number, polygon in enumerate(polygons) if polygon.contains(spot)]
        if held:
            assert chosen in held
            assert polygons[chosen].area == min(polygons[number].area for number in held)
        assert row.placement == ("inside" if held else "edge" if away.min() == 0 else "near")


@settings(max_examples=40)
@given(polygons=ZONES, spots=SPOTS, seed=st.integers(0, 1000))
def test_the_order_of_zones_in_the_file_changes_no_assignment(
    polygons: list[Polygon], spots: list[Point], seed: int
) -> None:
    zones, traps = zones_of(polygons), traps_at(spots)
    shuffled = zones.sample(frac=1, random_state=seed).reset_index(drop=True)
    first, second = assign_zones(traps, zones, 2.0), assign_zones(traps, shuffled, 2.0)
    pd.testing.assert_frame_equal(first, second)


@settings(max_examples=40)
@given(polygons=ZONES, spots=SPOTS, seed=st.integers(0, 2**32 - 1))
def test_zones_add_up_to_their_traps(
    polygons: list[Polygon], spots: list[Point], seed: int
) -> None:
    """No adult and no night is lost or counted twice, in the table and week by week."""
    random, n = np.random.default_rng(seed), len(spots)
    zones, placed = zones_of(polygons), assign_zones(traps_at(spots), zones_of(polygons), 2.0)
    adults, nights = random.integers(0, 9, n).astype(float), random.choice([0.0, 7, 14], n)
    adults[nights == 0] = 0
    traps = traps_at(spots).assign(
        zone_id=placed["zone_id"], adults=adults, nights=nights, in_use=True, mark="none"
    )
    inside = placed["zone_id"].notna().to_numpy()
    table = zone_table(zones, traps, nights, 1.0)
    assert table["adults"].sum() == adults[inside].sum()
    assert table["nights"].sum() == nights[inside].sum()
    assert table["traps"].sum() == inside.sum()
    season = season_of(("2026-W18",))
    weekly = zone_weeks(
        zones["zone_id"],
        traps["zone_id"],
        season,
        to_date(week_of(traps), season.weeks, pd.Index(traps["location_id"])),
        nights[None, :],
        pd.DataFrame({"week": "2026-W18", "mark": traps["mark"]}),
    )
    assert weekly["adults"].sum() == adults[inside].sum()
    assert weekly["nights"].sum() == nights[inside].sum()
    assert (weekly["zone_id"].to_numpy() == zones["zone_id"].to_numpy()).all()


def season_of(weeks: tuple[str, ...]) -> Season:
    return Season("2026", date(2026, 2, 15), date(2026, 8, 31), weeks[-1], date(2026, 8, 31), weeks)


def week_of(traps: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(traps[["location_id", "adults", "nights"]]).assign(week="2026-W18")


STATUS = st.sampled_from(["ok", "ok", "ok", "flooded", "missing", "not_checked"])
VISITS = st.lists(
    st.tuples(
        st.integers(0, 4), st.integers(0, 150), st.integers(1, 20), STATUS, st.integers(0, 30)
    ),
    min_size=1,
    max_size=40,
)


def visits_of(rows: list[tuple[int, int, int, str, int]]) -> pd.DataFrame:
    checked = [pd.Timestamp("2026-03-01") + timedelta(days=row[1]) for row in rows]
    return pd.DataFrame(
        {
            "location_id": [f"T{row[0]}" for row in rows],
            "checked_on": checked,
            "set_on": [
                day - timedelta(days=row[2]) for day, row in zip(checked, rows, strict=True)
            ],
            "status": [row[3] for row in rows],
            "adults": [float(row[4]) if row[3] == "ok" else np.nan for row in rows],
        }
    )


@settings(max_examples=40)
@given(rows=VISITS)
def test_totals_to_date_never_fall_and_end_at_the_sum(
    rows: list[tuple[int, int, int, str, int]],
) -> None:
    """A void visit adds neither beetles nor nights; an ok one adds all of both."""
    season = season_of(("2026-W35",))
    table = rounds(season_visits(visits_of(rows), season))
    weeks = tuple(sorted(table["week"].unique()))
    totals = to_date(table, weeks, pd.Index([f"T{number}" for number in range(5)]))
    for sums in (totals.adults, totals.nights):
        assert (np.diff(sums, axis=0) >= 0).all()
    assert totals.adults[-1].sum() == sum(row[4] for row in rows if row[3] == "ok")
    assert totals.nights[-1].sum() == sum(row[2] for row in rows if row[3] == "ok")


COUNTS = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 60)), min_size=2, max_size=20)


@given(pairs=COUNTS)
def test_standardised_rates_balance_and_follow_the_raw_ones(pairs: list[tuple[int, int]]) -> None:
    """Above zero just where the rate is above the overall one; never more than Poisson's z."""
    counts, nights = (np.array(side, dtype=float) for side in zip(*pairs, strict=True))
    assume(counts.sum() > 0)
    overall = counts.sum() / nights.sum()
    ours = eb_standardised(counts, nights)
    poisson = (counts / nights - overall) / np.sqrt(overall / nights)
    assert (np.abs(ours) <= np.abs(poisson) + 1e-12).all()
    clear = np.abs(poisson) > 1e-9
    assert (np.sign(ours)[clear] == np.sign(poisson)[clear]).all()


@settings(max_examples=50)
@given(pairs=COUNTS, k=st.sampled_from([0.5, 1.0, 4.0, 1e4]), unit=st.sampled_from([2.0, 1 / 7]))
def test_intervals_hold_the_rate_and_follow_the_unit_of_effort(
    pairs: list[tuple[int, int]], k: float, unit: float
) -> None:
    """Equal effort: the best rate is the crude one. Another unit rescales both ends."""
    counts = np.array([count for count, _ in pairs], dtype=float)
    group = np.zeros(len(counts), dtype=int)
    low, high = rate_intervals(counts, np.full(len(counts), 7.0), group, k)
    assert low[0] <= counts.mean() / 7 < high[0]
    other_low, other_high = rate_intervals(counts, np.full(len(counts), 7.0 * unit), group, k)
    assert_allclose([other_low[0] * unit, other_high[0] * unit], [low[0], high[0]], rtol=1e-6)


@settings(max_examples=30)
@given(k=st.sampled_from([0.5, 1.0, 1e4]), traps=st.integers(1, 20))
def test_one_adult_more_never_lowers_the_upper_end(k: float, traps: int) -> None:
    """The upper end of no catch at all lies below that of one adult, and so on."""
    nights, group = np.full(traps, 7.0), np.zeros(traps, dtype=int)
    ends = []
    for total in range(4):
        counts = np.zeros(traps)
        counts[0] = total
        ends.append(rate_intervals(counts, nights, group, k)[1][0])
    assert (np.diff(ends) > 0).all()


@given(counts=st.lists(st.integers(0, 30), min_size=4, max_size=25), seed=st.integers(0, 2**32 - 1))
def test_exact_tails_overlap_by_the_chance_of_the_observed_sum(
    counts: list[int], seed: int
) -> None:
    """P(S >= s) + P(S <= s) = 1 + P(S = s) > 1, and turning the counts round swaps the tails."""
    n = len(counts)
    near = np.random.default_rng(seed).random((n, n)) < 0.3
    near = (near | near.T) & ~np.eye(n, dtype=bool)
    upper, lower = exact_tails(counts, near)
    assert (upper > 0).all()
    assert (lower > 0).all()
    assert (upper + lower > 1).all()
    flipped_upper, flipped_lower = exact_tails(max(counts) - np.array(counts), near)
    assert_allclose(flipped_upper, lower, atol=1e-12)
    assert_allclose(flipped_lower, upper, atol=1e-12)


@settings(max_examples=40)
@given(polygons=ZONES, spots=SPOTS)
def test_a_copy_of_the_map_in_another_place_gives_the_same_zones(
    polygons: list[Polygon], spots: list[Point]
) -> None:
    here = assign_zones(traps_at(spots), zones_of(polygons), 2.1)
    there = assign_zones(
        traps_at([translate(spot, 500_000, 4_500_000) for spot in spots]),
        zones_of([translate(polygon, 500_000, 4_500_000) for polygon in polygons]),
        2.1,
    )
    pd.testing.assert_frame_equal(here, there)
