"""The demo's rounds: which trap was checked when, in what state, and what was in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from data.demo.beetles import (
    SPECIES,
    DemoOptions,
    draw_counts,
    place_factors,
    summed_catch,
    trap_effects,
)
from data.demo.layout import DemoLayout
from data.demo.network import TrapPlace
from data.demo.outlines import Array
from data.demo.weather import DemoWeather, demo_weather

Flags = NDArray[np.bool_]

FIRST_WEEK, LAST_WEEKS = 9, {2025: 35, 2026: 22}
OPENED = {2025: date(2025, 2, 17), 2026: date(2026, 2, 16)}
MONDAY_TRAPS = 40
LATE_SHARE, LONG_SHARE, CLOSED_SHARE, VOID_SHARE = 0.08, 0.015, 0.015, 0.05
VOID_STATUSES = ("flooded", "disturbed", "covered", "missing")
VOID_WEIGHTS = (0.3, 0.4, 0.2, 0.1)
NOTES = {
    "flooded": "water over the rim",
    "disturbed": "dug out or knocked by a mower",
    "covered": "clippings over the cup",
    "missing": "cup gone, replaced",
    "not_checked": "closed for the week",
}
FEWEST_NIGHTS = 4
BYCATCH = {"carabids": 2.4, "spiders": 1.3}
BYCATCH_K = 2.0


@dataclass(frozen=True, slots=True)
class Plan:
    """Every planned check of both seasons: one row per check, before anything is counted."""

    location: NDArray[np.int64]
    set_on: tuple[date, ...]
    checked_on: tuple[date, ...]
    closed: Flags


def draw_season(layout: DemoLayout, options: DemoOptions) -> pd.DataFrame:
    """Return the visits of both seasons as `visits.csv` has them; only the counts are redrawn.

    Parameters
    ----------
    layout
        From `data.demo.layout.demo_layout`.
    options
        Seed and switches.

    Returns
    -------
    pandas.DataFrame
        `trap_id`, `set_on`, `checked_on`, `status`, one column per species, by-catch columns,
        `minutes`, `note`; counts are missing unless `status` is ``"ok"``. Dates are strings.
    """
    weather = demo_weather()
    plan = _plan(layout.traps, options.seed)
    rng = np.random.Generator(np.random.PCG64([options.seed, 1]))
    expected = _expected(plan, layout.traps, weather, options)
    adults = draw_counts(expected, rng)
    status = _statuses(plan, rng)
    table = pd.DataFrame(
        {
            "trap_id": [layout.traps[n].trap_id for n in plan.location],
            "set_on": [day.isoformat() for day in plan.set_on],
            "checked_on": [day.isoformat() for day in plan.checked_on],
            "status": status,
        }
    )
    for column, species in enumerate(SPECIES):
        table[species.column] = _counts(adults[:, column], status)
    for taxon, drawn in _bycatch(plan, weather, rng).items():
        table[taxon] = _counts(drawn, status)
    table["minutes"] = _minutes(plan, layout.traps, adults.sum(axis=1), rng)
    table.loc[table["status"] == "not_checked", "minutes"] = np.nan
    table["note"] = [NOTES.get(word, "") for word in status]
    return table.sort_values(["checked_on", "trap_id"], kind="stable", ignore_index=True)


def trap_luck(locations: int, options: DemoOptions) -> Array:
    """Return the lasting luck of each trap location in the draw of `options`."""
    return trap_effects(locations, np.random.Generator(np.random.PCG64([options.seed, 2])))


def planned_catch(layout: DemoLayout, options: DemoOptions, first: date, last: date) -> Array:
    """Return the adults each location was expected to catch between two days."""
    weather = demo_weather()
    summed = summed_catch(weather, layout.traps, options).sum(axis=2)
    nights = summed[weather.day_number(last)] - summed[weather.day_number(first)]
    out: Array = (
        nights * place_factors(layout.traps, options) * trap_luck(len(layout.traps), options)
    )
    return out


def _expected(
    plan: Plan, traps: Sequence[TrapPlace], weather: DemoWeather, options: DemoOptions
) -> Array:
    """Return expected adults per planned check and species."""
    summed = summed_catch(weather, traps, options)
    start = np.array([weather.day_number(day) for day in plan.set_on])
    end = np.array([weather.day_number(day) for day in plan.checked_on])
    factors = place_factors(traps, options) * trap_luck(len(traps), options)
    caught = summed[end, plan.location] - summed[start, plan.location]
    out: Array = caught * factors[plan.location][:, None]
    return out


@cache
def _plan(traps: tuple[TrapPlace, ...], seed: int) -> Plan:
    """Return the planned checks of all traps, location after location."""
    rng = np.random.Generator(np.random.PCG64([seed, 3]))
    rows: list[tuple[int, date, date, bool]] = []
    for year in LAST_WEEKS:
        late = rng.random(60) < LATE_SHARE
        for number, trap in enumerate(traps):
            for checked in _checks(trap, year, late, rng):
                rows.append((number, *checked))
    location, set_on, checked_on, closed = zip(*rows, strict=True)
    return Plan(np.array(location), set_on, checked_on, np.array(closed))


def _checks(
    trap: TrapPlace, year: int, late: Flags, rng: np.random.Generator
) -> list[tuple[date, date, bool]]:
    """Return (set on, checked on, closed) of one location in one season."""
    weeks = range(FIRST_WEEK, LAST_WEEKS[year] + 1)
    luck = rng.random(60)
    set_on = max(trap.installed, OPENED[year])
    last = trap.removed or date.max
    out: list[tuple[date, date, bool]] = []
    for week in weeks:
        day = round_day(trap.trap_id, year, week) + timedelta(days=int(late[week]))
        day = min(day, last)
        if (day - set_on).days < FEWEST_NIGHTS:
            continue
        after = round_day(trap.trap_id, year, week + 1) + timedelta(days=int(late[week + 1]))
        skips = luck[week] < LONG_SHARE and (after - set_on).days <= 14 and week < weeks[-1]
        if skips and after <= last:
            continue
        out.append((set_on, day, bool(luck[week] > 1 - CLOSED_SHARE)))
        set_on = day
    return out


def round_day(trap_id: str, year: int, week: int) -> date:
    """Return the day on which a trap is due: Monday for the first forty, Tuesday for the rest.

    Examples
    --------
    >>> round_day("T01", 2026, 22), round_day("T72", 2026, 22)
    (datetime.date(2026, 5, 25), datetime.date(2026, 5, 26))
    """
    return date.fromisocalendar(year, week, 1 if int(trap_id[1:]) <= MONDAY_TRAPS else 2)


def _statuses(plan: Plan, rng: np.random.Generator) -> list[str]:
    accident = rng.random(len(plan.location)) < VOID_SHARE
    which = np.searchsorted(np.cumsum(VOID_WEIGHTS)[:-1], rng.random(len(plan.location)), "right")
    words = np.where(accident, np.array(VOID_STATUSES)[which], "ok")
    return [str(word) for word in np.where(plan.closed, "not_checked", words)]


def _counts(drawn: Array, status: Sequence[str]) -> pd.Series[int]:
    """Return whole numbers, missing where nothing was counted."""
    return pd.Series(drawn).where(np.array(status) == "ok").astype("Int64")


def _bycatch(plan: Plan, weather: DemoWeather, rng: np.random.Generator) -> dict[str, Array]:
    """Return by-catch per check: it follows the season and the nights, not the place."""
    start = np.array([weather.day_number(day) for day in plan.set_on])
    end = np.array([weather.day_number(day) for day in plan.checked_on])
    warmth = np.clip((weather.tmin_c + weather.tmax_c) / 2, 0, 25) / 20
    summed = np.concatenate([[0.0], np.cumsum(warmth)])
    weeks = (summed[end] - summed[start]) / 7
    return {
        taxon: draw_counts((level * weeks)[:, None], rng, BYCATCH_K)[:, 0]
        for taxon, level in BYCATCH.items()
    }


def _minutes(
    plan: Plan, traps: Sequence[TrapPlace], adults: Array, rng: np.random.Generator
) -> Array:
    """Return minutes spent at each trap, to the half minute."""
    linear = np.array([traps[n].design == "linear" for n in plan.location])
    spent = 1.5 + 0.8 * linear + 0.06 * adults + rng.gamma(2.0, 0.4, len(adults))
    out: Array = np.round(spent * 2) / 2
    return out
