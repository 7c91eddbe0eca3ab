"""The site's own relation of catch to degree-days, and whether it may be trusted to forecast.

The share of a season's adults caught by a night is taken as a curve of the degree-days by then:
logistic, ``1 / (1 + exp(-(d - middle) / scale))``, or Gompertz, ``exp(-exp(-(d - middle) /
scale))``, whichever leaves the smaller squares over all past seasons (least squares by
`scipy.optimize.curve_fit`).

It is tried on the past: each season is left out in turn, and its dates are forecast from the rest
with its own weather. The published thresholds are tried on the same dates, and so is "as last
year". Only a fit that came nearer than both is used for a forecast.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd
from scipy.optimize import OptimizeWarning, curve_fit

from spatial.arrays import FloatArray
from spatial.degree_day_sums import DegreeDaySum, reached
from spatial.season_dates import SeasonDates

FEWEST_SEASONS = 3
"""With fewer past seasons nothing is left out and tried (common practice, no source)."""

FIT_REASONS = ("few_seasons", "no_fit", "not_better")
"""Why the site's own relation makes no forecast: fewer than `FEWEST_SEASONS` past seasons with
dates and weather; no curve goes through them; it came no nearer than the published thresholds or
than last year's dates."""

FIRST = "first"
TRIED: tuple[str, ...] = (FIRST, "0.1", "0.3", "0.5", "0.9")
"""What is forecast on the past: the first catch, and the days by which a share was caught."""

PUBLISHED = {"first_adults": FIRST, "adults_30": "0.3"}
"""Event of a model -> what it is tried on."""

Curve = Callable[[FloatArray, float, float], FloatArray]


def logistic(amount: FloatArray, middle: float, scale: float) -> FloatArray:
    """Return the logistic share at degree-days."""
    return np.asarray(1 / (1 + np.exp(-np.clip((amount - middle) / scale, -50, 50))), dtype=float)


def gompertz(amount: FloatArray, middle: float, scale: float) -> FloatArray:
    """Return the Gompertz share at degree-days."""
    return np.asarray(np.exp(-np.exp(-np.clip((amount - middle) / scale, -50, 50))), dtype=float)


SHAPES: Mapping[str, Curve] = {"logistic": logistic, "gompertz": gompertz}


@dataclass(frozen=True, slots=True)
class PastSeason:
    """A whole season and its degree-days by one model's rule.

    Parameters
    ----------
    label
        Its name, e.g. ``"2025"``.
    dates
        Of its adults.
    sums
        Its degree-days, to its last day.
    """

    label: str
    dates: SeasonDates
    sums: DegreeDaySum


@dataclass(frozen=True, slots=True)
class ShareCurve:
    """A fitted curve; `first` is the mean of the degree-days at the first catches.

    Examples
    --------
    >>> curve = ShareCurve("logistic", middle=300.0, scale=50.0, first=120.0)
    >>> [round(curve.amount(name)) for name in ("first", "0.1", "0.5", "0.9")]
    [120, 190, 300, 410]
    """

    shape: str
    middle: float
    scale: float
    first: float

    def amount(self, name: str) -> float:
        """Return the degree-days at one of `TRIED`."""
        if name == FIRST:
            return self.first
        share = float(name)
        if self.shape == "logistic":
            return self.middle + self.scale * math.log(share / (1 - share))
        return self.middle - self.scale * math.log(-math.log(share))


@dataclass(frozen=True, slots=True)
class OwnFit:
    """What past seasons say of catch and degree-days.

    Parameters
    ----------
    curve
        From all past seasons; None without one.
    seasons
        Past seasons that could take part.
    errors
        One row per season left out and one of `TRIED`: `season`, `tried`, and `own_days`,
        `published_days`, `last_year_days`, forecast less truth; NaN where nothing is forecast.
    reason
        ``""`` where it makes forecasts, else one of `FIT_REASONS`.
    """

    curve: ShareCurve | None
    seasons: int
    errors: pd.DataFrame
    reason: str

    def mean_error(self, column: str, beside: str | None = None) -> float:
        """Return the mean absolute error in days; of rows that `beside` has too; NaN without."""
        table = self.errors.dropna(subset=[column, beside or column])
        return float(table[column].abs().mean()) if len(table) else math.nan

    def misses(self) -> dict[str, tuple[int, int]]:
        """Return least and most days by which the truth came after the forecast, by `TRIED`."""
        known = self.errors.dropna(subset=["own_days"])
        return {
            str(name): (int(-days.max()), int(-days.min()))
            for name, days in known.groupby("tried")["own_days"]
        }


def own_fit(past: Sequence[PastSeason]) -> OwnFit:
    """Fit past seasons, and try the fit on each of them.

    Parameters
    ----------
    past
        Past seasons, in any order; those without dates or weather take no part.
    """
    kept = sorted((each for each in past if _complete(each)), key=lambda each: each.label)
    curve = share_curve(kept)
    errors = _errors(kept)
    found = OwnFit(curve, len(kept), errors, "")
    return OwnFit(curve, len(kept), errors, _reason(found))


def _complete(each: PastSeason) -> bool:
    return not each.dates.reason and not each.sums.reason


def _reason(found: OwnFit) -> str:
    if found.seasons < FEWEST_SEASONS:
        return "few_seasons"
    if found.curve is None:
        return "no_fit"
    for other in ("published_days", "last_year_days"):
        own, theirs = found.mean_error("own_days", other), found.mean_error(other, "own_days")
        if not math.isnan(theirs) and not own < theirs:
            return "not_better"
    return ""


def share_curve(past: Sequence[PastSeason]) -> ShareCurve | None:
    """Return the curve through seasons, the better of both shapes; None where none goes through.

    Parameters
    ----------
    past
        Seasons with dates and degree-days.
    """
    tables = [_paired(each) for each in past]
    if not tables:
        return None
    amount = np.concatenate([table["total"].to_numpy(dtype=float) for table in tables])
    share = np.concatenate([table["share"].to_numpy(dtype=float) for table in tables])
    firsts = [_amount_on(each.sums, _first(each.dates)) for each in past]
    fits = [fit for name in SHAPES if (fit := _fitted(name, amount, share)) is not None]
    if not fits:
        return None
    _, shape, middle, scale = min(fits)
    return ShareCurve(shape, middle, scale, float(np.nanmean(firsts)))


def _paired(each: PastSeason) -> pd.DataFrame:
    """Return the nights of a season with both share and degree-days."""
    both = each.dates.nightly.merge(each.sums.table[["date", "total"]], on="date")
    return both.dropna(subset=["total", "share"])


def _fitted(
    name: str, amount: FloatArray, share: FloatArray
) -> tuple[float, str, float, float] | None:
    """Return squares, shape, middle and scale; None where the optimiser finds nothing."""
    spread = float(np.std(amount))
    if len(amount) < 3 or spread <= 0:
        return None
    start = (float(np.interp(0.5, np.sort(share), np.sort(amount))), spread / 3)
    try:
        best, _ = curve_fit(
            SHAPES[name], amount, share, start, bounds=([-np.inf, 1e-6], [np.inf, np.inf])
        )
    except (RuntimeError, OptimizeWarning):
        return None
    squares = float(((SHAPES[name](amount, *best) - share) ** 2).sum())
    return squares, name, float(best[0]), float(best[1])


def _errors(past: Sequence[PastSeason]) -> pd.DataFrame:
    rows = []
    for at, season in enumerate(past):
        rest = [each for each in past if each is not season]
        curve = share_curve(rest) if len(rest) > 1 else None
        before = past[at - 1] if at else None
        for name in TRIED:
            truth = happened(season.dates, name)
            if truth is not None:
                rows.append((season.label, name, *_misses(season, name, truth, curve, before)))
    columns = ["season", "tried", "own_days", "published_days", "last_year_days"]
    return pd.DataFrame(rows, columns=columns)


def _misses(
    season: PastSeason,
    name: str,
    truth: date,
    curve: ShareCurve | None,
    before: PastSeason | None,
) -> tuple[float, float, float]:
    end: date = season.sums.table["date"].iloc[-1].date()
    # What is never reached is charged the season's last day, for the published model just so.
    own = None if curve is None else reached(season.sums, curve.amount(name)) or end
    then = None if before is None else happened(before.dates, name)
    last = None if then is None else then + pd.DateOffset(years=truth.year - then.year)
    forecasts = (own, _published(season.sums, name, end), last)
    return tuple(  # type: ignore[return-value]
        math.nan if day is None else float((pd.Timestamp(day) - pd.Timestamp(truth)).days)
        for day in forecasts
    )


def _published(sums: DegreeDaySum, name: str, end: date) -> date | None:
    """Return when the model itself puts it: the middle of its range; the season's end if later."""
    for event in sums.model.events:
        if PUBLISHED.get(event.event) == name:
            return reached(sums, (event.low + event.high) / 2) or end
    return None


def happened(dates: SeasonDates, name: str) -> date | None:
    """Return the day of one of `TRIED`; the first catch lies in the middle of its visit."""
    if name == FIRST:
        return _first(dates)
    there = dates.nightly["date"][dates.nightly["share"] >= float(name) - 1e-9]
    return there.iloc[0].date() if len(there) else None


def _first(dates: SeasonDates) -> date | None:
    if dates.first_catch is None:
        return None
    begin, end = dates.first_catch
    return begin + timedelta(days=(end - begin).days // 2)


def _amount_on(sums: DegreeDaySum, day: date | None) -> float:
    """Return the degree-days by a day; none before the start of the model; NaN unknown."""
    if day is None:
        return math.nan
    table = sums.table
    if pd.Timestamp(day) < table["date"].iloc[0]:
        return 0.0
    there = table.loc[table["date"] == pd.Timestamp(day), "total"]
    return float(there.iloc[0]) if len(there) else math.nan
