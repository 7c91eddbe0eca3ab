"""Areas, distances, cores and weeks against geodesy and standards."""

from __future__ import annotations

from datetime import date, timedelta

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from pyproj import CRS, Geod, Transformer
from pyproj.database import query_utm_crs_info
from shapely.geometry import Point, Polygon

from data.findings import SettingsError
from data.places import utm_zone
from data.settings import SeasonWindow
from spatial.cores import core_area_cm2, larvae_per_ft2
from spatial.seasons import choose_season, iso_week, season_bounds, week_sunday
from spatial.zones import zone_table

ELLIPSOID = Geod(ellps="WGS84")
INCH_CM = 2.54


REGISTER = {
    f"EPSG:{found.code}": found.area_of_use.bounds
    for found in query_utm_crs_info("WGS 84")
    if found.area_of_use is not None
}
"""Code -> west, south, east and north end of its area of use, in degrees."""

THOUSANDTHS = st.integers(0, 999).map(lambda step: (step + 0.5) / 1000)
"""Shares of a zone or hemisphere, never on its edge."""


@settings(max_examples=100)
@given(number=st.integers(1, 60), across=THOUSANDTHS, up=THOUSANDTHS, north=st.booleans())
def test_utm_zone_is_the_one_that_the_epsg_register_gives(
    number: int, across: float, up: float, north: bool
) -> None:
    """Source: the EPSG register in PROJ, WGS 84 / UTM zones by area of use (not round Norway)."""
    longitude, latitude = -180 + 6 * (number - 1 + across), 55 * up * (1 if north else -1)
    assert utm_zone(longitude, latitude) in {
        code
        for code, (west, south, east, top) in REGISTER.items()
        if west <= longitude <= east and south <= latitude <= top
    }


@pytest.mark.parametrize(
    ("longitude", "latitude", "code"),
    [
        (-180, 10, "EPSG:32601"),
        (180, 10, "EPSG:32601"),
        (-177, -1, "EPSG:32701"),
        (0, 51, "EPSG:32631"),
        (-0.001, 51, "EPSG:32630"),
    ],
)
def test_utm_zones_begin_at_their_western_edge(
    longitude: float, latitude: float, code: str
) -> None:
    """Source: Snyder 1987, USGS Professional Paper 1395, p. 57: zone 1 begins at 180 degrees."""
    assert utm_zone(longitude, latitude) == code


def outline(longitude: float, latitude: float, radius_m: float) -> Polygon:
    """Return a seven-cornered zone round a place, in degrees."""
    bearings = np.arange(0, 360, 360 / 7)
    reach = radius_m * (1 + 0.4 * np.sin(3 * np.deg2rad(bearings)))
    start = np.full(7, longitude), np.full(7, latitude)
    lon, lat, _ = ELLIPSOID.fwd(*start, bearings, reach)
    return Polygon(zip(lon, lat, strict=True))


@settings(max_examples=40)
@given(
    longitude=st.floats(-179, 179),
    latitude=st.one_of(st.floats(-60, -40), st.floats(40, 60)),
    radius_m=st.floats(20, 400),
)
def test_area_of_a_zone_is_its_geodesic_area(
    longitude: float, latitude: float, radius_m: float
) -> None:
    """Source: pyproj.Geod (Karney 2013).

    Poleward of 40 degrees the scale of UTM lies between .9996 and 1.0004 (Snyder 1987, p. 57), so
    areas are right to 0.1 %.
    """
    degrees = gpd.GeoDataFrame(
        {"zone_id": ["Z"], "use": ["fairway"], "name": [""]},
        geometry=[outline(longitude, latitude, radius_m)],
        crs="EPSG:4326",
    )
    zones = degrees.to_crs(utm_zone(longitude, latitude))
    table = zone_table(zones, no_traps(zones.crs), np.empty(0), 1.0)
    true_m2 = abs(ELLIPSOID.geometry_area_perimeter(degrees.geometry[0])[0])
    assert table["area_ha"][0] == pytest.approx(true_m2 / 10_000, rel=1e-3)


def no_traps(crs: CRS | None) -> gpd.GeoDataFrame:
    columns = ["zone_id", "in_use", "nights", "adults", "mark"]
    return gpd.GeoDataFrame({name: [] for name in columns}, geometry=[], crs=crs)


@given(
    longitude=st.floats(-179, 179),
    latitude=st.floats(-60, 60),
    bearing=st.floats(0, 360),
    length_m=st.floats(5, 2000),
)
def test_distance_between_traps_is_the_geodesic_one_times_the_scale(
    longitude: float, latitude: float, bearing: float, length_m: float
) -> None:
    """Source: pyproj.Geod.

    At the edge of a zone on the equator the scale is 1.00098, its greatest; on the central
    meridian .9996 (Snyder 1987, p. 57).
    """
    far = ELLIPSOID.fwd(longitude, latitude, bearing, length_m)[:2]
    projected = Transformer.from_crs("EPSG:4326", utm_zone(longitude, latitude), always_xy=True)
    start, end = projected.transform(longitude, latitude), projected.transform(*far)
    scale = Point(start).distance(Point(end)) / length_m
    assert 0.99959 < scale < 1.00105


@pytest.mark.parametrize(
    ("diameter_cm", "area_cm2", "cores_per_ft2"),
    [(4.25 * INCH_CM, 91.5, 10.15), (4 * INCH_CM, 81.1, 11.46), (10.0, 78.5, 11.83)],
)
def test_cores_of_the_usual_cutters(
    diameter_cm: float, area_cm2: float, cores_per_ft2: float
) -> None:
    """Source: by hand, pi d^2 / 4 and 929.0304 cm2 to the square foot.

    A 4.25-inch cup cutter takes 14.19 in2. The trade's "times 10" for it is 1.5 % low.
    """
    assert core_area_cm2(diameter_cm) == pytest.approx(area_cm2, abs=0.06)
    assert larvae_per_ft2(1, 1, diameter_cm) == pytest.approx(cores_per_ft2, abs=0.006)


def test_a_cup_cutter_takes_a_tenth_of_a_square_foot_less_one_and_a_half_per_cent() -> None:
    """Source: by hand, 0.09852 square feet; ten cores together are .9852 square feet."""
    assert larvae_per_ft2(9852, 100_000, 4.25 * INCH_CM) == pytest.approx(1.0, rel=1e-4)
    assert 10 / larvae_per_ft2(1, 1, 4.25 * INCH_CM) == pytest.approx(1 - 0.015, abs=5e-4)


@pytest.mark.parametrize(
    ("day", "week"),
    [
        ("2021-01-03", "2020-W53"),
        ("2024-12-30", "2025-W01"),
        ("2023-01-01", "2022-W52"),
        ("2026-12-31", "2026-W53"),
        ("2027-01-03", "2026-W53"),
        ("2027-01-04", "2027-W01"),
    ],
)
def test_weeks_round_new_year(day: str, week: str) -> None:
    """Source: ISO 8601: weeks begin on Monday and belong to the year of their Thursday."""
    assert iso_week(pd.Series(pd.to_datetime([day]))).tolist() == [week]


@settings(max_examples=40)
@given(day=st.dates(date(1900, 1, 1), date(2199, 12, 31)))
def test_weeks_are_those_of_the_standard_library(day: date) -> None:
    """Source: `datetime.date.isocalendar`."""
    year, number, weekday = day.isocalendar()
    week = iso_week(pd.Series([pd.Timestamp(day)]))[0]
    assert week == f"{year}-W{number:02d}"
    assert week_sunday(week) == day + timedelta(days=7 - weekday)


@pytest.mark.parametrize("week", ["2025-W53", "2026-W00", "2026-W54"])
def test_a_week_that_does_not_exist_is_refused(week: str) -> None:
    """Source: ISO 8601; 2026 has 53 weeks, 2025 has 52."""
    with pytest.raises(SettingsError, match=f"there is no week '{week}'"):
        week_sunday(week)


@pytest.mark.parametrize("week", ["2026-19", "W19"])
def test_a_week_written_otherwise_is_refused(week: str) -> None:
    """Source: ISO 8601, week dates."""
    with pytest.raises(SettingsError, match="is not an ISO 8601 week"):
        week_sunday(week)


def test_a_season_across_new_year_holds_week_53() -> None:
    """Source: by hand. Visits on the Mondays from 14 December 2026 to 11 January 2027."""
    days = pd.Series(pd.date_range("2026-12-14", "2027-01-11", freq="7D"))
    season = choose_season(days, SeasonWindow("10-01", "03-31"))
    assert (season.label, season.start, season.end) == (
        "2026/27",
        date(2026, 10, 1),
        date(2027, 3, 31),
    )
    assert season.weeks == ("2026-W51", "2026-W52", "2026-W53", "2027-W01", "2027-W02")
    assert season.cutoff == date(2027, 1, 17)


def test_a_season_ends_on_its_last_day_even_inside_a_week() -> None:
    """Source: by hand. 31 August 2026 is a Monday; the Tuesday after is out of season."""
    days = pd.Series(pd.to_datetime(["2026-08-24", "2026-08-31"]))
    season = choose_season(days, SeasonWindow("02-15", "08-31"))
    assert season.week == "2026-W36"
    assert season.cutoff == date(2026, 8, 31)


def test_the_last_week_with_visits_is_found_when_a_new_season_begins_inside_it() -> None:
    """Source: by hand.

    The season runs all year; its last visit is on Wednesday 31 December 2025, in a week whose
    Sunday lies in 2026. Without a week given, that visit's season is meant.
    """
    days = pd.Series(pd.to_datetime(["2025-12-17", "2025-12-24", "2025-12-31"]))
    season = choose_season(days, SeasonWindow("01-01", "12-31"))
    assert season.start == date(2025, 1, 1)
    assert season.cutoff == date(2025, 12, 31)
    assert season.weeks == ("2025-W51", "2025-W52", "2026-W01")


@given(day=st.dates(date(2000, 1, 1), date(2060, 12, 31)))
@pytest.mark.parametrize("window", [SeasonWindow("02-15", "08-31"), SeasonWindow("10-01", "03-31")])
def test_a_season_has_begun_by_its_day_and_the_next_one_has_not(
    window: SeasonWindow, day: date
) -> None:
    start, end = season_bounds(day, window)
    following, _ = season_bounds(start + timedelta(days=370), window)
    assert start <= day < following
    assert start < end < following
    assert_allclose((end - start).days, 198 if window.start == "02-15" else 181, atol=1)
