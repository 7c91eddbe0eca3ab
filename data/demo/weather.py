"""The demo's weather: a yearly wave with day-to-day memory, and the degree-days it gives."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

import numpy as np

from data.demo.outlines import Array

WEATHER_SEED = 11
FIRST_DAY = date(2025, 1, 1)
LAST_DAY = date(2026, 5, 31)
MEAN_C, SWING_C, WARMEST_DAY = 16.5, 10.0, 200
MEMORY, DAILY_SD_C = 0.7, 2.0
RANGE_C, RANGE_SD_C = 11.0, 2.0
BASE_C = 10.0
COUNT_FROM = (3, 1)


@dataclass(frozen=True, slots=True)
class DemoWeather:
    """Daily temperatures in degrees Fahrenheit, one decimal, as the file gives them."""

    days: tuple[date, ...]
    tmin_f: Array
    tmax_f: Array

    @property
    def tmin_c(self) -> Array:
        """Daily minimum in degrees Celsius."""
        return (self.tmin_f - 32) / 1.8

    @property
    def tmax_c(self) -> Array:
        """Daily maximum in degrees Celsius."""
        return (self.tmax_f - 32) / 1.8

    def day_number(self, day: date) -> int:
        """Return the place of a day in the table, from 0."""
        return (day - self.days[0]).days


@cache
def demo_weather() -> DemoWeather:
    """Return the invented weather of both seasons.

    Examples
    --------
    >>> weather = demo_weather()
    >>> len(weather.days), weather.day_number(date(2025, 1, 31))
    (516, 30)
    """
    rng = np.random.Generator(np.random.PCG64(WEATHER_SEED))
    count = (LAST_DAY - FIRST_DAY).days + 1
    days = tuple(FIRST_DAY + timedelta(days=n) for n in range(count))
    day_of_year = np.array([day.timetuple().tm_yday for day in days])
    wave = SWING_C * np.cos(2 * np.pi * (day_of_year - WARMEST_DAY) / 365.25)
    mean = MEAN_C + wave + _remembered(rng.normal(0.0, DAILY_SD_C, count))
    half = np.maximum(2.0, rng.normal(RANGE_C, RANGE_SD_C, count) / 2)
    return DemoWeather(days, _fahrenheit(mean - half), _fahrenheit(mean + half))


def degree_days(weather: DemoWeather) -> Array:
    """Return degree-days C summed from 1 March of each year: simple average, base 10 C.

    The base, the start and the method are the demo's own choice, not a recommendation.

    Examples
    --------
    >>> sums = degree_days(demo_weather())
    >>> float(sums[58]), bool(sums[150] > sums[120] > 0)
    (0.0, True)
    """
    daily = np.maximum(0.0, (weather.tmin_c + weather.tmax_c) / 2 - BASE_C)
    out = np.zeros(len(daily))
    for year in sorted({day.year for day in weather.days}):
        counts = [day.year == year and (day.month, day.day) >= COUNT_FROM for day in weather.days]
        inside = np.array(counts)
        out[inside] = np.cumsum(daily[inside])
    return out


def _remembered(shocks: Array) -> Array:
    """Return an autoregressive series of order one."""
    out = np.zeros(len(shocks))
    for n in range(1, len(shocks)):
        out[n] = MEMORY * out[n - 1] + shocks[n]
    return out


def _fahrenheit(celsius: Array) -> Array:
    return np.round(celsius * 1.8 + 32, 1)
