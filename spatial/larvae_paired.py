"""Larvae beside adults: where cores are due first, and whether the cores bear the traps out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from scipy.stats import rankdata

from spatial.cores import CM2_PER_M2, core_area_cm2
from spatial.exposure import catch_rate
from spatial.season_dates import LARVAE_AFTER

FEWEST_ZONES = 8
"""With fewer zones a rank correlation says nothing (common practice, no source)."""

PAIRED_REASONS = ("few_zones", "no_variation")
"""Why there is no correlation."""


@dataclass(frozen=True, slots=True)
class LarvaePaired:
    """Cores and traps of the same zones.

    Parameters
    ----------
    due
        One row per zone with a countable catch, most adults first: `zone_id`, `rate` (adults per
        trap-week, season to date), `nights`, `cores` (cut this season), `larvae`.
    zones
        Zones with both a catch before and cores after.
    rho, low, high
        Spearman's correlation of the larvae per m2 with the adult rate up to a week before the
        first cores, with a 95 % interval; NaN with a reason.
    reason
        ``""`` or one of `PAIRED_REASONS`.
    """

    due: pd.DataFrame
    zones: int
    rho: float
    low: float
    high: float
    reason: str


def larvae_paired(visits: pd.DataFrame, cores: pd.DataFrame, since: date) -> LarvaePaired:
    """Return where cores are due first, and how larvae follow the adults across zones.

    Parameters
    ----------
    visits
        Countable visits of the season: `zone_id`, `checked_on`, `adults`, `nights`.
    cores
        `zone_id`, `sampled_on`, `cores`, `diameter_cm`, `larvae`, up to the cut-off.
    since
        First day of the season; older cores do not count.

    Notes
    -----
    The interval is Fisher's, with the standard error ``sqrt(1.06 / (n - 3))`` of Fieller, Hartley &
    Pearson (1957, Biometrika 44, 470-481).

    Examples
    --------
    >>> zones = list("ABCDEFGH")
    >>> visits = pd.DataFrame({"zone_id": zones, "checked_on": pd.Timestamp("2026-05-01"),
    ...                        "adults": range(8), "nights": 7.0})
    >>> cores = pd.DataFrame({"zone_id": zones, "sampled_on": pd.Timestamp("2026-05-20"),
    ...                       "cores": 10, "diameter_cm": 10.0, "larvae": range(8)})
    >>> found = larvae_paired(visits, cores, date(2026, 2, 1))
    >>> found.due["zone_id"].iloc[0], found.zones, round(found.rho, 3)
    ('H', 8, 1.0)
    """
    own = cores[cores["sampled_on"] >= pd.Timestamp(since)]
    rates = _rates(visits)
    cut = own.groupby("zone_id")[["cores", "larvae"]].sum()
    due = rates.join(cut).fillna({"cores": 0, "larvae": 0}).astype({"cores": int, "larvae": int})
    due = due.reset_index().sort_values(
        ["rate", "zone_id"], ascending=[False, True], ignore_index=True
    )
    both = _before_and_after(visits, own)
    n = len(both)
    if n < FEWEST_ZONES:
        return LarvaePaired(due, n, math.nan, math.nan, math.nan, "few_zones")
    if both["rate"].nunique() < 2 or both["density"].nunique() < 2:
        return LarvaePaired(due, n, math.nan, math.nan, math.nan, "no_variation")
    rho = float(np.corrcoef(rankdata(both["rate"]), rankdata(both["density"]))[0, 1])
    low, high = _interval(rho, n)
    return LarvaePaired(due, n, rho, low, high, "")


def _rates(visits: pd.DataFrame) -> pd.DataFrame:
    sums = visits.groupby("zone_id")[["adults", "nights"]].sum()
    return sums.assign(rate=catch_rate(sums["adults"], sums["nights"]))[["rate", "nights"]]


def _before_and_after(visits: pd.DataFrame, cores: pd.DataFrame) -> pd.DataFrame:
    """Return, by zone, the larvae per m2 and the adult rate up to a week before its first cores."""
    first = cores.groupby("zone_id")["sampled_on"].min().rename("first_cores").reset_index()
    known = visits.merge(first, on="zone_id")
    early = known[known["checked_on"] <= known["first_cores"] - LARVAE_AFTER[0]]
    area = core_area_cm2(1.0) * cores["cores"] * cores["diameter_cm"] ** 2 / CM2_PER_M2
    sums = cores.assign(area_m2=area).groupby("zone_id")[["larvae", "area_m2"]].sum()
    return _rates(early).join((sums["larvae"] / sums["area_m2"]).rename("density"), how="inner")


def _interval(rho: float, n: int) -> tuple[float, float]:
    z = math.atanh(min(max(rho, -1 + 1e-12), 1 - 1e-12))
    half = 1.959964 * math.sqrt(1.06 / (n - 3))
    return math.tanh(z - half), math.tanh(z + half)
