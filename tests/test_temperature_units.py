"""The unit of temperatures: a slip is told, with a mend that does not make new wrong data."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest
from sites import make_site

from data.findings import Finding
from data.reading import read_site
from data.temperature_units import unit_slip

Day = Callable[[int], tuple[float, float]]


def slip(
    low_high: Day, celsius: bool, *, days: int = 60, start: str = "2026-02-01", latitude: float = 40
) -> tuple[str, str, str] | None:
    """Return code, problem and fix for days made by a rule."""
    rows = pd.DataFrame([low_high(n) for n in range(days)], columns=["low", "high"])
    rows = rows.assign(date=pd.date_range(start, periods=days))
    found = unit_slip(rows, celsius, latitude)
    return None if found is None else found[:3]


def cool_tenths(n: int) -> tuple[float, float]:
    """Return -4.0 to 1.9 C at night, 2.0 to 10.8 C by day, in tenths."""
    return -40 + n, 20 + int(1.5 * n)


def narrow_tenths(n: int) -> tuple[float, float]:
    """Return a cloudy coast: 2.0 to 4.9 C at night, three degrees more by day, in tenths."""
    return 20 + n // 2, 50 + n // 2


def early_fahrenheit(n: int) -> tuple[float, float]:
    """18 to 32 F at night, 34 to 53 F by day, as in a cold spring."""
    return 18 + n // 4, 34 + n // 3


def early_celsius(n: int) -> tuple[float, float]:
    """-2 to 3 C at night, 5 to 16 C by day."""
    return -2 + n // 10, 5 + n // 5


@pytest.mark.parametrize("celsius", [True, False])
def test_tenths_are_told_under_either_name_of_the_columns(celsius: bool) -> None:
    """Renaming the columns as if they were Fahrenheit mends nothing."""
    found = slip(cool_tenths, celsius)
    assert found is not None
    assert found[0] == "IN-073"
    assert found[2].startswith("divide them by ten")


def test_both_readings_are_given_where_both_can_be() -> None:
    found = slip(narrow_tenths, celsius=True)
    assert found is not None
    assert found[0] == "IN-074"
    assert "degrees Fahrenheit or tenths of a degree Celsius" in found[1]
    assert "if tenths, divide them by ten" in found[2]


def test_a_cold_spring_in_fahrenheit_is_told_from_degrees_celsius() -> None:
    found = slip(early_fahrenheit, celsius=True)
    assert found is not None
    assert found[0] == "IN-074"
    assert found[2] == "name the columns tmin_f and tmax_f"
    # The same temperatures half a year later in the southern half.
    assert slip(early_fahrenheit, celsius=True, start="2026-08-01", latitude=-40) is not None


@pytest.mark.parametrize("days", [30, 60, 120])
def test_degrees_celsius_under_fahrenheit_are_told_in_the_first_weeks(days: int) -> None:
    found = slip(early_celsius, celsius=False, days=days)
    assert found is not None
    assert found[2] == "if they are degrees Celsius, name the columns tmin_c and tmax_c"


def test_a_summer_in_degrees_celsius_under_fahrenheit_is_told() -> None:
    assert slip(lambda n: (14 + n % 4, 25 + n % 7), celsius=False, start="2026-06-01") is not None


@pytest.mark.parametrize(
    ("name", "start", "latitude", "low", "high"),
    # Monthly means of daily minima and maxima of hot, cold, dry and cloudy places, rounded, from
    # memory: no bar of ours may be near enough to call them wrong.
    [
        ("hot desert, July", "2026-07-01", 33.0, 29.0, 41.0),
        ("hottest desert, July", "2026-07-01", 36.0, 31.0, 47.0 - 2.5),
        ("hot desert, March", "2026-03-01", 33.0, 11.0, 25.0),
        ("high basin, August", "2026-08-01", 40.0, 11.0, 32.0),
        ("inland Australia, January", "2026-01-01", -32.0, 20.0, 35.0),
        ("cloudy coast, February", "2026-02-01", 51.0, 3.0, 8.0),
        ("prairie, February", "2026-02-01", 50.0, -18.0, -8.0),
        ("lake shore, February", "2026-02-01", 43.0, -8.0, 0.0),
        ("tropics, February", "2026-02-01", 14.0, 21.0, 33.0),
    ],
)
def test_no_known_climate_is_called_wrong(
    name: str, start: str, latitude: float, low: float, high: float
) -> None:
    def celsius(n: int) -> tuple[float, float]:
        return low + n % 5 - 2.1, high + n % 3 - 1.1

    def fahrenheit(n: int) -> tuple[float, float]:
        return celsius(n)[0] * 1.8 + 32, celsius(n)[1] * 1.8 + 32

    for rule, is_celsius in ((celsius, True), (fahrenheit, False)):
        assert slip(rule, is_celsius, days=28, start=start, latitude=latitude) is None, name


def test_the_latitude_of_the_site_is_used(tmp_path: Path) -> None:
    """At 40 degrees north a February in the forties is no February in degrees Celsius."""
    first = date(2026, 2, 1)
    rows = [f"{first + timedelta(n)},{18 + n // 4},{34 + n // 3}" for n in range(60)]
    text = "date,tmin_c,tmax_c\n" + "\n".join(rows) + "\n"
    findings = read_site(make_site(tmp_path / "site", files={"weather.csv": text})).findings
    found: list[Finding] = [each for each in findings if each.file == "weather.csv"]
    assert [(each.code, each.severity) for each in found] == [("IN-074", "error")]
