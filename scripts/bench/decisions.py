"""What the zone model's evidence is worth: stated probabilities and treated area against the truth.

Run as ``python -m scripts.bench.decisions [--seasons 300] [--workers 2]``. Every season is an
invented site of 60 zones, 72 traps on average and one zone in ten without a trap, whose beetles
follow the demo's mechanistic model (`data.demo.beetles`: weather, three species, refuges,
patches, lasting luck of traps, negative binomial visits), not the model that is fitted.
Patchiness varies by season: from no patch at all to many, weak or strong, with sharp or soft rims.

A zone is a stretch of places at which traps may stand; its traps stand at random ones. Its true
rate is the mean over the stretch of what a reference-design trap of average luck catches per week,
season to date; its over-limit area is its area times the share of the stretch over the limit. The
limit is one of the site's rates, 1.2 to 2.5 times what an ordinary place catches.

Printed:

* stated P(rate > limit) against the share of zones truly over it, in six bins, with the 95 % band
  of that share when whole seasons are drawn again;
* how many 90 % intervals hold the true rate, by traps in the zone;
* over-limit area found and area treated: by P over a cut-off, by the plain rule (crude rate over
  the limit), and by P with the cut-off at which it finds as much as the plain rule.
"""

from __future__ import annotations

import argparse
import math
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from data.demo.beetles import (
    DISPERSION_K,
    LINEAR_RATIO,
    REFUGE_DECAY_M,
    REFUGE_GAIN,
    nightly_catch,
    trap_effects,
)
from data.demo.weather import demo_weather
from spatial.arrays import BoolArray, FloatArray, IntArray
from spatial.placement_effect import Places
from spatial.zone_model import ZoneModel, zone_model

ZONES, SITE_M, PLACES = 60, 1200.0, 60
USES = ("fairway", "rough", "surround", "tee", "field")
USE_AREA_HA = (1.2, 1.6, 0.25, 0.08, 0.6)
USE_FACTOR = (1.0, 1.3, 1.1, 0.8, 0.9)
TRAPS_PER_ZONE = ((0, 0.1), (1, 0.67), (2, 0.17), (3, 0.06))
LINEAR_SHARE, LOG_RATIO_SE, VOID_SHARE = 0.3, 0.12, 0.08
FIRST_DAY = date(2025, 4, 7)
BINS = (0.0, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0)
CUTS = (0.2, 0.5, 0.8)


@dataclass(frozen=True, slots=True)
class Ground:
    """The places of one season's site, shape (zones, places), and its zones, shape (zones,).

    Parameters
    ----------
    factor
        Catch of a trap of average luck there, relative to an ordinary place far from refuges.
    refuge_m
        Walk to the refuge.
    use, area_ha
        Of every zone.
    """

    factor: FloatArray
    refuge_m: FloatArray
    use: IntArray
    area_ha: FloatArray


@dataclass(frozen=True, slots=True)
class Catch:
    """What the traps caught, season to date, shape (traps,)."""

    zone: IntArray
    refuge_m: FloatArray
    linear: BoolArray
    nights: FloatArray
    adults: FloatArray


def main(arguments: list[str]) -> None:
    """Simulate, fit and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=300)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args(arguments)
    with ProcessPoolExecutor(options.workers) as pool:
        seasons = list(pool.map(judged_season, range(options.seasons), chunksize=5))
    zones = pd.concat(seasons, ignore_index=True)
    print(f"{options.seasons} seasons, {len(zones)} zones, {zones['traps'].sum()} traps")
    print(f"smallest number of effective draws {zones['effective_draws'].min():.0f}")
    for table in (calibration(zones), coverage(zones), shares(zones), areas(zones)):
        print()
        print(table.to_string(index=False, float_format=lambda value: f"{value:.3f}"))


def judged_season(number: int) -> pd.DataFrame:
    """Return one row per zone of one season: truth, evidence and the crude rate."""
    random = np.random.default_rng([2025, number])
    ground = grounds(random)
    nightly = season_nights(random)
    catch = caught(random, ground, nightly)
    limit = 7 * float(nightly.mean() * random.uniform(1.2, 2.5))
    rate = 7 * nightly.mean() * ground.factor
    nights = catch.nights * np.where(catch.linear, _assumed_ratio(random), 1.0)
    found = _fitted(catch, ground, nights)
    low, high = found.rate_interval(0.9)
    table = found.table
    return pd.DataFrame(
        {
            "season": number,
            "traps": table["counted_traps"],
            "area_ha": ground.area_ha,
            "truth": rate.mean(axis=1),
            "limit": limit,
            "share": (rate > limit).mean(axis=1),
            "p": found.p_above(limit),
            "low": low,
            "high": high,
            "stated_share": found.share_over(limit)["stretch_over"],
            "crude": 7 * table["adults"] / table["nights"].where(table["nights"] > 0),
            "effective_draws": found.effective_draws,
        }
    )


def _fitted(catch: Catch, ground: Ground, nights: FloatArray) -> ZoneModel:
    names = np.array([f"Z{zone:02d}" for zone in range(ZONES)], dtype=object)
    use = np.asarray(USES, dtype=object)[ground.use]
    design = np.where(catch.linear, "linear", "cup").astype(object)
    places = Places(catch.refuge_m, use[catch.zone], names[catch.zone], design)
    se = {"linear": LOG_RATIO_SE}
    return zone_model(catch.adults, nights, places, zones=names, cutoff_m=400.0, log_ratio_se=se)


def _assumed_ratio(random: np.random.Generator) -> float:
    """Return the catch ratio that is believed: off by its standard error, as estimates are."""
    return LINEAR_RATIO * math.exp(LOG_RATIO_SE * random.standard_normal())


def grounds(random: np.random.Generator) -> Ground:
    """Return the places of a site: bent stretches, some of them along a refuge."""
    use = random.integers(0, len(USES), ZONES)
    area = np.asarray(USE_AREA_HA)[use] * np.exp(random.normal(0, 0.3, ZONES))
    # The longer side of a zone three times as long as it is wide, or so.
    length_m = np.sqrt(3 * area * 10_000)
    along = np.linspace(-0.5, 0.5, PLACES) * length_m[:, None]
    heading = random.uniform(0, math.pi, ZONES)[:, None]
    middle = random.uniform(0, SITE_M, (ZONES, 2))
    bend = random.normal(0, 0.15, ZONES)[:, None] * along**2 / length_m[:, None]
    east = middle[:, [0]] + along * np.cos(heading) - bend * np.sin(heading)
    north = middle[:, [1]] + along * np.sin(heading) + bend * np.cos(heading)
    start = random.gamma(1.2, 30.0, ZONES)[:, None]
    refuge_m = np.abs(start + along * random.normal(0, 0.35, ZONES)[:, None])
    factor = np.asarray(USE_FACTOR)[use][:, None] * patches(random, east, north)
    factor = factor * (1 + REFUGE_GAIN * np.exp(-refuge_m / REFUGE_DECAY_M))
    return Ground(factor, refuge_m, use.astype(np.int64), area)


def patches(random: np.random.Generator, east: FloatArray, north: FloatArray) -> FloatArray:
    """Return what patches multiply the catch by: none to a dozen, busy or quiet."""
    factor = np.ones(east.shape)
    strongest = random.uniform(1.5, 6.0)
    steepness = random.choice([2.0, 8.0])
    for _ in range(random.integers(0, 13)):
        middle = random.uniform(0, SITE_M, 2)
        radius_m = random.uniform(40, 160)
        away = np.hypot(east - middle[0], north - middle[1]) / radius_m
        busy = random.random() < 0.7
        fold = random.uniform(1.2, strongest) if busy else 1 / random.uniform(1.2, strongest)
        factor = factor * fold ** np.exp(-(away**steepness))
    return factor


def season_nights(random: np.random.Generator) -> FloatArray:
    """Return what an ordinary cup catches in every night, season to date, of 4 to 12 weeks."""
    weather = demo_weather()
    first = weather.day_number(FIRST_DAY)
    nights = 7 * int(random.integers(4, 13))
    level = math.exp(random.normal(0, 0.4))
    total = nightly_catch(weather).sum(axis=1)[first : first + nights]
    return np.asarray(level * total, dtype=float)


def caught(random: np.random.Generator, ground: Ground, nightly: FloatArray) -> Catch:
    """Return season-to-date catches of traps at random places, checked weekly, some in vain."""
    counts, chances = zip(*TRAPS_PER_ZONE, strict=True)
    zone = np.repeat(np.arange(ZONES), random.choice(counts, ZONES, p=chances))
    place = random.integers(0, PLACES, len(zone))
    linear = random.random(len(zone)) < LINEAR_SHARE
    fold = ground.factor[zone, place] * np.where(linear, LINEAR_RATIO, 1.0)
    fold = fold * trap_effects(len(zone), random)
    weekly = nightly.reshape(-1, 7).sum(axis=1)
    expected = fold[:, None] * weekly
    ok = random.random(expected.shape) > VOID_SHARE
    adults = random.poisson(random.gamma(DISPERSION_K, expected / DISPERSION_K))
    return Catch(
        zone=zone,
        refuge_m=ground.refuge_m[zone, place],
        linear=linear,
        nights=7.0 * ok.sum(axis=1),
        adults=np.asarray((adults * ok).sum(axis=1), dtype=float),
    )


def calibration(zones: pd.DataFrame) -> pd.DataFrame:
    """Return stated against true share of zones over the limit, in six bins of stated P."""
    told = zones[zones["p"].notna()]
    group = np.clip(np.digitize(told["p"], BINS[1:-1]), 0, len(BINS) - 2)
    over = told["truth"] > told["limit"]
    rows = []
    for number in range(len(BINS) - 1):
        chosen = group == number
        low, high = _band(over[chosen], told["season"][chosen])
        stated = float(told["p"][chosen].mean())
        rows.append(
            {
                "P from": BINS[number],
                "to": BINS[number + 1],
                "zones": int(chosen.sum()),
                "stated": stated,
                "true": float(over[chosen].mean()),
                "band low": low,
                "band high": high,
                "inside": low <= stated <= high,
            }
        )
    return pd.DataFrame(rows)


def _band(over: pd.Series[bool], season: pd.Series[int], draws: int = 2000) -> tuple[float, float]:
    """Return the 95 % band of a share when whole seasons are drawn again with replacement."""
    by_season = pd.DataFrame({"over": over, "season": season}).groupby("season")["over"]
    yes, size = by_season.sum().to_numpy(dtype=float), by_season.size().to_numpy(dtype=float)
    again = np.random.default_rng(0).integers(0, len(yes), (draws, len(yes)))
    share = yes[again].sum(axis=1) / size[again].sum(axis=1)
    low, high = np.quantile(share, [0.025, 0.975])
    return float(low), float(high)


def coverage(zones: pd.DataFrame) -> pd.DataFrame:
    """Return how many 90 % intervals hold the true rate."""
    told = zones[zones["p"].notna()]
    holds = (told["low"] <= told["truth"]) & (told["truth"] <= told["high"])
    above = told["truth"] > told["high"]
    rows = []
    for name, most in (("all", 9), ("1", 1), ("2", 2), ("3", 3)):
        chosen = (told["traps"] == most) | (name == "all")
        low, high = _band(holds[chosen], told["season"][chosen])
        rows.append(
            {
                "traps": name,
                "zones": int(chosen.sum()),
                "90 % holds": float(holds[chosen].mean()),
                "band low": low,
                "band high": high,
                "truth above": float(above[chosen].mean()),
            }
        )
    return pd.DataFrame(rows)


def shares(zones: pd.DataFrame) -> pd.DataFrame:
    """Return the stated share of the stretch over the limit against the true one."""
    told = zones[zones["p"].notna()]
    group = np.clip(np.digitize(told["stated_share"], BINS[1:-1]), 0, len(BINS) - 2)
    table = told.groupby(group)[["stated_share", "share"]].mean()
    return table.assign(zones=np.bincount(group, minlength=len(BINS) - 1)[table.index])


def areas(zones: pd.DataFrame) -> pd.DataFrame:
    """Return over-limit area found and area treated by every rule, as shares."""
    told = zones[zones["p"].notna()]
    rules = [(f"P >= {cut:g}", told["p"] >= cut) for cut in CUTS]
    plain = told["crude"] > told["limit"]
    rules.append(("plain: crude rate > limit", plain))
    wanted = _over_area(told[plain])
    rules.append(("P, as much found as plain", _until_found(told, "p", wanted)))
    rules.append(("share over, as much found", _until_found(told, "stated_share", wanted)))
    ratio = told.assign(ratio=told["crude"] / told["limit"])
    rules.append(("crude rate, as much found", _until_found(ratio, "ratio", wanted)))
    everything, over = zones["area_ha"].sum(), _over_area(told)
    rows = [
        {
            "rule": name,
            "over-limit area found": _over_area(told[treated]) / over,
            "treated, of blanket": told["area_ha"][treated].sum() / everything,
            "treated in vain": told["area_ha"][treated & (told["share"] == 0)].sum() / everything,
        }
        for name, treated in rules
    ]
    table = pd.DataFrame(rows)
    plain_area = float(told["area_ha"][plain].sum() / everything)
    return table.assign(against_plain=table["treated, of blanket"] / plain_area)


def _over_area(zones: pd.DataFrame) -> float:
    return float((zones["area_ha"] * zones["share"]).sum())


def _until_found(told: pd.DataFrame, score: str, wanted: float) -> pd.Series[bool]:
    """Return the zones with the highest score, as many as it takes to find the area wanted."""
    ranked = told.sort_values([score, "season"], ascending=[False, True], kind="stable")
    found = (ranked["area_ha"] * ranked["share"]).cumsum()
    number = int(np.searchsorted(found.to_numpy(), wanted)) + 1
    return pd.Series(told.index.isin(ranked.index[:number]), index=told.index)


if __name__ == "__main__":
    main(sys.argv[1:])
