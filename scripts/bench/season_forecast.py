"""Dates of simulated seasons: how often their intervals hold the truth, and what forecasts miss.

Two questions, both on invented seasons whose truth is known:

* 200 seasons of 40 traps with lasting luck, visited weekly: how often does the 90 % interval of the
  10, 50 and 90 % date hold the true day?
* 60 sites with 8 seasons each, whose adults follow degree-days (base 10 C) while weather differs
  from year to year (warmth with a standard deviation of 1.5 C, and weeks of it of 2.5 C): the last
  season is forecast from the seven before with its own weather. How many days does each way miss by
  - the site's own relation, the date of the year before, and published thresholds for 30 % that
  were fitted elsewhere (25 % off, as regions differ)? And how often does the trial on the past
  choose the site's own relation?
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from data.degree_day_models import DegreeDayModel, ModelEvent
from spatial.arrays import FloatArray
from spatial.degree_day_sums import degree_day_sum
from spatial.season_dates import SHARES, SeasonDates, season_dates
from spatial.season_fit import FIRST, PastSeason, logistic, own_fit

MONDAY = pd.Timestamp("2026-03-02")
TRAPS, WEEKS, SEASONS, SITES, YEARS = 40, 26, 200, 60, 8
MIDDLE, SCALE = 330.0, 70.0
ELSEWHERE = 1.25


def visits(mean: FloatArray, first: pd.Timestamp, random: np.random.Generator) -> pd.DataFrame:
    """Return weekly visits of traps with lasting luck; `mean` is adults per trap and week."""
    luck = np.exp(random.normal(0, 0.8, TRAPS))[:, None]
    counts = random.poisson(random.gamma(1.5, luck * mean / 1.5))
    trap, week = np.indices(counts.shape).reshape(2, -1)
    set_on = first + pd.to_timedelta(7 * week, unit="D")
    return pd.DataFrame(
        {
            "location_id": [f"T{n:02d}" for n in trap],
            "set_on": set_on,
            "checked_on": set_on + pd.Timedelta(days=7),
            "adults": counts.ravel().astype(float),
            "nights": 7.0,
        }
    )


def held() -> FloatArray:
    """Return the share of seasons whose intervals hold the true days, one for each of `SHARES`."""
    level = np.exp(-0.5 * ((np.arange(7 * WEEKS) / 7 - 11) / 3) ** 2) * 0.3
    whole = np.concatenate([[0.0], np.cumsum(level)]) / level.sum()
    truth = [int(np.interp(share, whole, np.arange(len(whole)))) for share in SHARES]
    days = [MONDAY.date() + timedelta(days=each) for each in truth]
    inside = np.zeros(len(SHARES))
    for seed in range(SEASONS):
        random = np.random.default_rng(seed)
        found = season_dates(visits(level.reshape(-1, 7).sum(axis=1), MONDAY, random), seed=seed)
        for place, each in enumerate(found.dates):
            inside[place] += (
                each.low is not None
                and each.high is not None
                and (each.low <= days[place] <= each.high)
            )
    return inside / SEASONS


def invented_model() -> DegreeDayModel:
    """Return a model whose thresholds for 30 % were fitted elsewhere."""
    at = MIDDLE + SCALE * np.log(0.3 / 0.7)
    event = ModelEvent("adults_30", 0.97 * ELSEWHERE * at, 1.03 * ELSEWHERE * at, "read")
    return DegreeDayModel(
        key="elsewhere", name="Elsewhere", region="elsewhere", source="invented", species=(),
        unit="C", base=10.0, upper=None, cut_off="none", method="simple", start="03-01",
        events=(event,),
    )  # fmt: skip


def weather(year: int, random: np.random.Generator) -> pd.DataFrame:
    """Return a season's temperatures: a common spring, a warmer or colder year and weeks."""
    days = pd.date_range(f"{year}-03-01", f"{year}-08-31")
    usual = 14 - 9 * np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 20) / 365)
    weekly = np.repeat(random.normal(0, 2.5, len(days) // 7 + 1), 7)[: len(days)]
    mean = usual + random.normal(0, 1.5) + weekly
    return pd.DataFrame({"date": days, "tmin_c": mean - 6, "tmax_c": mean + 6})


def past_season(year: int, random: np.random.Generator) -> PastSeason:
    """Return one season of one site: its sums, and its dates as weekly visits show them."""
    sums = degree_day_sum(weather(year, random), invented_model(), date(year, 8, 31))
    share = logistic(sums.table["total"].to_numpy(dtype=float), MIDDLE, SCALE)
    nightly = np.diff(np.concatenate([[0.0], share]))[: 7 * WEEKS]
    mean = 25 * nightly.reshape(-1, 7).sum(axis=1)
    dates: SeasonDates = season_dates(visits(mean, pd.Timestamp(f"{year}-03-01"), random))
    return PastSeason(str(year), dates, sums)


def forecasts() -> pd.DataFrame:
    """Return one row per site and date of its last season: what each way misses, the choice."""
    tables = []
    for seed in range(SITES):
        random = np.random.default_rng(1000 + seed)
        past = [past_season(2018 + n, random) for n in range(YEARS)]
        chosen = own_fit(past[:-1]).reason == ""
        errors = own_fit(past).errors
        # A logistic has no first day: the first catch is left out.
        last = errors[(errors["season"] == past[-1].label) & (errors["tried"] != FIRST)]
        tables.append(last.assign(chosen=chosen))
    return pd.concat(tables, ignore_index=True)


def main() -> None:
    """Print both answers."""
    shares = held()
    print(f"{SEASONS} seasons: 90 % intervals hold the 10, 50, 90 % date in", *shares)
    table = forecasts()
    print(f"{SITES} sites, last of {YEARS} seasons; mean absolute error in days")
    columns = ["own_days", "last_year_days", "published_days"]
    table[columns] = table[columns].abs()
    print(table.groupby("tried")[columns].mean().round(1).to_string())
    own, last = (table[name].mean() for name in columns[:2])
    print(f"own relation over last year's date: {own / last:.2f}")
    print(f"trial on the past chose the own relation at {table['chosen'].mean():.2f} of the sites")


if __name__ == "__main__":
    main()
