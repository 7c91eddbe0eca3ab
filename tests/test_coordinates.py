"""Positions in every form lie where pyproj says they do."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sites import SETTINGS, SOUTH, WEST, csv_tables, make_site

from data.coordinates import UNITS_M, degrees, from_tape
from data.findings import InputError, SettingsError
from data.reading import read_site
from data.settings import LocalGridSettings
from data.settings_file import parse_settings
from data.site import Site

HEADER, *ROWS = csv_tables()["traps.csv"]
TRAPS = pd.DataFrame(ROWS, columns=HEADER, dtype=object)
LON, LAT = (TRAPS[name].astype(float) for name in ("longitude", "latitude"))


def read(folder: Path, x: object, y: object, names: tuple[str, str], options: str = "") -> Site:
    """Read the tiny site with its traps at other positions."""
    table = TRAPS.drop(columns=["longitude", "latitude"]).assign(**{names[0]: x, names[1]: y})
    files = {"traps.csv": table.to_csv(index=False)}
    return read_site(make_site(folder, settings=SETTINGS + options, files=files))


def farthest_m(site: Site, folder: Path) -> float:
    """Return how far the traps of a site lie from those of the tiny site, at most."""
    plain = read_site(make_site(folder)).traps
    return float(site.traps.geometry.distance(plain.geometry).max())


def dms(value: float, letters: str, marks: str) -> str:
    """Write an angle in degrees, minutes and seconds to a ten thousandth of a second."""
    tenths = round(abs(value) * 36_000_000)
    whole, rest = divmod(tenths, 36_000_000)
    minutes, seconds = divmod(rest, 600_000)
    d, m, s = marks
    letter = letters[value < 0]
    return f"{whole}{d}{minutes}{m}{seconds / 10_000:.4f}{s} {letter}"


@pytest.mark.parametrize("marks", ["\u00b0'\"", "\u00b0\u2032\u2033", "d'\"", "   "])
def test_degrees_minutes_and_seconds_are_read(marks: str, tmp_path: Path) -> None:
    x, y = ([dms(v, s, marks) for v in c] for c, s in ((LON, "EW"), (LAT, "NS")))
    site = read(tmp_path / "a", x, y, ("longitude", "latitude"))
    assert site.findings == ()
    # A ten thousandth of a second of arc is 3 mm on the ground.
    assert farthest_m(site, tmp_path / "b") < 0.005


@given(st.floats(-179.999, 179.999))
def test_an_angle_written_out_reads_back(value: float) -> None:
    text = dms(value, "EW", "\u00b0'\"")
    assert degrees(text, "longitude") == pytest.approx(_by_proj(text), abs=1e-9)


def _by_proj(text: str) -> float:
    """Return an angle as PROJ reads it: the meridian on which a projection is centred."""
    plain = text.replace(" ", "").replace("\u00b0", "d")
    centred = pyproj.Proj(f"+proj=merc +lon_0={plain} +ellps=WGS84 +type=crs")
    return float(centred(0.0, 0.0, inverse=True)[0])


@pytest.mark.parametrize(
    ("cell", "axis", "problem"),
    [
        ("40\u00b0 61' N", "latitude", "60 or more minutes"),
        ("40\u00b0 5' 60\" N", "latitude", "60 or more minutes"),
        ("40\u00b0 5' N", "longitude", "is no longitude, for it says N"),
        ("-40\u00b0 5' S", "latitude", "says its direction twice"),
        ("N 40 5 N", "latitude", "says its direction twice"),
        ("40 26", "latitude", "neither a degree sign nor a letter"),
        ("40.5\u00b0 5' N", "latitude", "decimals before its last part"),
        ("forty N", "latitude", "is not an angle"),
    ],
)
def test_an_angle_that_is_not_clear_is_refused(cell: str, axis: str, problem: str) -> None:
    with pytest.raises(ValueError, match=problem):
        degrees(cell, axis)


def test_a_bad_angle_sets_its_row_aside(tmp_path: Path) -> None:
    x = [f"{-v}\u00b0 W" for v in LON]
    x[2] = "39\u00b0 99' W"
    site = read(tmp_path / "a", x, LAT, ("longitude", "latitude"))
    found = [f for f in site.findings if f.code == "IN-080"]
    assert [(f.row, f.column, f.value) for f in found] == [(4, "longitude", "39\u00b0 99' W")]


def test_units_are_those_of_the_published_tables() -> None:
    """The foot of 1959 is 0.3048 m; the US survey foot is 1200/3937 m (NIST SP 811, B.6)."""
    assert UNITS_M["ft"] == 0.3048
    assert UNITS_M["us_survey_ft"] == pytest.approx(1200 / 3937, rel=1e-14)


@pytest.mark.parametrize(
    ("crs", "units", "per_m"),
    [
        ("EPSG:32624", None, 1.0),
        ("EPSG:32624", "m", 1.0),
        ("EPSG:32624", "ft", 1 / 0.3048),
        ("EPSG:32624", "us_survey_ft", 3937 / 1200),
        ("EPSG:3857", None, 1.0),
    ],
)
def test_projected_positions_are_read_in_the_declared_crs_and_unit(
    crs: str, units: str | None, per_m: float, tmp_path: Path
) -> None:
    x, y = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(LON, LAT)
    options = f'[read.traps]\ncrs = "{crs}"\n' + (f'units = "{units}"\n' if units else "")
    pair = ("easting", "northing")
    site = read(tmp_path / "a", np.asarray(x) * per_m, np.asarray(y) * per_m, pair, options)
    assert farthest_m(site, tmp_path / "b") < 1e-4


def test_a_crs_in_feet_is_in_feet_unless_metres_are_declared(tmp_path: Path) -> None:
    """EPSG:2263 is in US survey feet."""
    change = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:2263", always_xy=True)
    x, y = (np.asarray(c) for c in change.transform(LON, LAT))
    pair, options = ("easting", "northing"), '[read.traps]\ncrs = "EPSG:2263"\n'
    feet = read(tmp_path / "a", x, y, pair, options)
    metres = read(tmp_path / "b", x * 1200 / 3937, y * 1200 / 3937, pair, options + 'units = "m"\n')
    # Far outside the area of this system its inverse is good to some millimetres only.
    assert farthest_m(feet, tmp_path / "c") < 0.1
    assert feet.traps.geometry.distance(metres.traps.geometry).max() < 1e-3


@given(st.floats(-300, 300), st.floats(-300, 300), st.floats(-180, 180), st.floats(-70, 70))
def test_a_tape_measured_place_has_its_distance_and_direction(
    x: float, y: float, bearing: float, latitude: float
) -> None:
    """PROJ's azimuthal equidistant projection, centred on the peg, is another way to the place."""
    grid = LocalGridSettings((-80.0, latitude), bearing)
    lon, lat = from_tape(np.array([x]), np.array([y]), grid)
    peg = f"+proj=aeqd +lon_0=-80 +lat_0={latitude!r} +ellps=WGS84"
    east, north = pyproj.Proj(peg)(lon[0], lat[0])
    turn = np.radians(bearing)
    right, along = (
        east * np.cos(turn) - north * np.sin(turn),
        east * np.sin(turn) + north * np.cos(turn),
    )
    assert (right, along) == pytest.approx((x, y), abs=1e-4)


def test_tape_measured_traps_lie_on_their_grid(tmp_path: Path) -> None:
    geod = pyproj.Geod(ellps="WGS84")
    count = len(LON)
    azimuth, _, distance = geod.inv([WEST] * count, [SOUTH] * count, list(LON), list(LAT))
    angle = np.radians(np.asarray(azimuth) - 30.0)
    x, y = np.asarray(distance) * np.sin(angle), np.asarray(distance) * np.cos(angle)
    options = f"[local_grid]\norigin = [{WEST}, {SOUTH}]\nbearing_deg = 30\n"
    site = read(tmp_path / "a", x, y, ("x_m", "y_m"), options)
    assert farthest_m(site, tmp_path / "b") < 1e-4


def test_tape_measures_without_a_peg_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"add \[local_grid\] with origin .*IN-087"):
        read(tmp_path / "a", 1.0, 2.0, ("x_m", "y_m"))


@pytest.mark.parametrize(
    ("given_settings", "message"),
    [
        ({"read": {"decimal": ":"}}, "read.decimal: expected '.' or ',', found ':'"),
        ({"read": {"date_format": "DD/MM"}}, 'read.date_format: expected a format like "DD/MM/YY'),
        ({"read": {"encoding": "utf8"}}, "'utf8' is not an encoding that is read; did you mean"),
        ({"read": {"delimiter": "|"}}, "read.delimiter: expected ',' or ';'"),
        ({"read": {"crs": "2263"}}, "read.crs: expected an EPSG code"),
        ({"read": {"crs": "EPSG:4978"}}, "is not a system of positions on a map"),
        ({"read": {"units": "feet"}}, "read.units: expected 'm' or 'ft' or 'us_survey_ft'"),
        ({"read": {"time_zone": "Mars/Base"}}, "read.time_zone: expected a time zone"),
        ({"read": {"allow_large": 1}}, "read.allow_large: expected true or false, found 1"),
        ({"read": {"decimals": ","}}, "read.decimals: there is no such setting; did you mean"),
        ({"read": {"visits": {"decimal": 1}}}, "read.visits.decimal: expected text in quot"),
        ({"read": {"visits": 1}}, "read.visits: expected a table, found 1"),
        ({"local_grid": {}}, "local_grid: origin is missing"),
        ({"local_grid": {"origin": [1]}}, "local_grid.origin: expected [longitude, latitude]"),
        ({"local_grid": {"origin": [-80, 95]}}, "local_grid.origin, latitude: expected a number"),
    ],
)
def test_a_wrong_reading_option_is_told_in_one_line(
    given_settings: dict[str, object], message: str
) -> None:
    with pytest.raises(SettingsError, match=r"\Asite\.toml, [^\n]+\Z") as raised:
        parse_settings({"name": "K", **given_settings})
    assert message in str(raised.value)


def test_options_of_a_table_stand_on_those_of_the_site() -> None:
    settings = parse_settings(
        {"name": "K", "read": {"decimal": ",", "visits": {"date_format": "D.M.YYYY"}}}
    )
    assert settings.reading("visits").decimal == settings.reading("traps").decimal == ","
    assert settings.reading("visits").date_format == "D.M.YYYY"
    assert settings.reading("traps").date_format == "YYYY-MM-DD"
