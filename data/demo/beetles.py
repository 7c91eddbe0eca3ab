"""The demo's beetles: what a trap is expected to catch in each night, and the noise on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy import stats

from data.demo.network import TrapPlace
from data.demo.outlines import Array
from data.demo.weather import DemoWeather, degree_days


@dataclass(frozen=True, slots=True)
class Species:
    """One species: the adults a cup catches in a perfect night at the peak, and the timing.

    `spread` is the standard deviation of the natural logarithm of degree-days around the peak.
    """

    name: str
    column: str
    level: float
    peak_dd: float
    spread: float


SPECIES = (
    Species("Sphenophorus parvulus", "parvulus", 0.28, 220.0, 0.55),
    Species("Sphenophorus venatus", "venatus", 0.155, 480.0, 0.65),
    Species("Sphenophorus cicatristriatus", "cicatristriatus", 0.09, 330.0, 0.35),
)

WALK_MIDPOINT_C, WALK_SLOPE_C = 20.0, 2.0
REFUGE_GAIN, REFUGE_DECAY_M = 0.8, 25.0
LINEAR_RATIO = 2.6
TRAP_SD = 0.15
DISPERSION_K = 4.5
PATCHES: Mapping[str, float] = {"busy-1": 4.8, "busy-2": 5.0, "quiet-1": 0.15}
TREATMENT_FACTOR, TREATMENT_NIGHTS = 0.35, 28
TREATED: Mapping[str, tuple[date, str]] = {
    "H09-RO": (date(2025, 5, 20), "3A"),
    "H09-FW": (date(2025, 5, 20), "3A"),
    "H17-RO": (date(2025, 5, 21), "28"),
    "SF-1": (date(2025, 5, 22), "28"),
    "H04-RO": (date(2025, 5, 21), "3A"),
    "H08-RO": (date(2025, 5, 22), "28"),
}
"""Zone id -> day of the treatment of adults and its IRAC group."""


@dataclass(frozen=True, slots=True)
class DemoOptions:
    """What is drawn.

    Parameters
    ----------
    seed
        Of the counts and the accidents of the rounds; ground, traps and weather never change.
    patches
        Whether the planted patches are there.
    refuge_effect
        Whether catch falls with the distance to the nearest refuge.
    """

    seed: int = 2025
    patches: bool = True
    refuge_effect: bool = True

    @property
    def treatments_work(self) -> bool:
        """Whether treated zones catch less; not when catch is to be independent of place."""
        return self.patches or self.refuge_effect


def walking(weather: DemoWeather) -> Array:
    """Return the share of beetles that walk in each night, from the temperature at dusk.

    Dusk is taken as (tmin + 2 tmax) / 3, the demo's own choice; half of the beetles walk at 20 C.

    Examples
    --------
    >>> flat = DemoWeather((date(2025, 1, 1),), np.array([68.0]), np.array([68.0]))
    >>> walking(flat).tolist()
    [0.5]
    """
    dusk_c = (weather.tmin_c + 2 * weather.tmax_c) / 3
    share: Array = 1 / (1 + np.exp(-(dusk_c - WALK_MIDPOINT_C) / WALK_SLOPE_C))
    return share


def nightly_catch(weather: DemoWeather) -> Array:
    """Return the expected nightly catch of a cup far from refuges: nights x species."""
    sums = degree_days(weather)[:, None]
    level, peak, spread = np.array([(s.level, s.peak_dd, s.spread) for s in SPECIES]).T
    timing = np.log(np.maximum(sums, 0.1) / peak) / spread
    emerged = level * np.exp(-0.5 * timing**2)
    out: Array = emerged * walking(weather)[:, None]
    return out


def place_factors(traps: Sequence[TrapPlace], options: DemoOptions) -> Array:
    """Return how much each trap location catches relative to a lone cup far from refuges."""
    factors = np.array([LINEAR_RATIO if t.design == "linear" else 1.0 for t in traps])
    if options.refuge_effect:
        distance_m = np.array([t.refuge_distance_m for t in traps])
        factors *= 1 + REFUGE_GAIN * np.exp(-distance_m / REFUGE_DECAY_M)
    if options.patches:
        factors *= np.array([PATCHES.get(t.patch, 1.0) for t in traps])
    return factors


def trap_effects(count: int, rng: np.random.Generator) -> Array:
    """Return the lasting luck of each trap location: log-normal with mean one."""
    effects: Array = np.exp(rng.normal(0.0, TRAP_SD, count) - TRAP_SD**2 / 2)
    return effects


def summed_catch(weather: DemoWeather, traps: Sequence[TrapPlace], options: DemoOptions) -> Array:
    """Return expected catch summed from the first night: (nights + 1) x locations x species.

    A visit from day i to day j expects row j minus row i, times the location's factors.
    """
    nightly = nightly_catch(weather)[:, None, :] * np.ones((1, len(traps), 1))
    if options.treatments_work:
        for column, trap in enumerate(traps):
            if trap.zone_id in TREATED:
                first = weather.day_number(TREATED[trap.zone_id][0])
                nightly[first : first + TREATMENT_NIGHTS, column] *= TREATMENT_FACTOR
    return np.concatenate([np.zeros((1, *nightly.shape[1:])), np.cumsum(nightly, axis=0)])


def draw_counts(expected: Array, rng: np.random.Generator, k: float = DISPERSION_K) -> Array:
    """Return adults per visit and species: negative binomial totals, shared out at random.

    One uniform number is spent per count, so that a change in one visit moves no other.

    Parameters
    ----------
    expected
        Shape (visits, species).
    rng
        Source of the uniform numbers.
    k
        Dispersion: the variance of a total with mean m is m + m * m / k.

    Examples
    --------
    >>> drawn = draw_counts(np.array([[0.0, 0.0], [4.0, 0.0]]), np.random.default_rng(3))
    >>> drawn.shape, drawn[0].tolist(), drawn[1, 1]
    ((2, 2), [0.0, 0.0], np.float64(0.0))
    """
    uniform = rng.random(expected.shape)
    left = expected.sum(axis=1)
    p = k / (k + left)
    remaining = np.where(left > 0, stats.nbinom.ppf(uniform[:, 0], k, p), 0.0)
    out = np.zeros_like(expected)
    for column in range(expected.shape[1] - 1):
        share = np.clip(expected[:, column] / np.where(left > 0, left, 1.0), 0.0, 1.0)
        out[:, column] = np.maximum(0.0, stats.binom.ppf(uniform[:, column + 1], remaining, share))
        remaining = remaining - out[:, column]
        left = left - expected[:, column]
    out[:, -1] = remaining
    return out
