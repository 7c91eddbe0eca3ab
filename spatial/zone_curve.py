"""When, in each zone: its catch of every week by itself, with an interval."""

from __future__ import annotations

import numpy as np
import pandas as pd

from spatial.dispersion import negative_binomial_k, rate_intervals, usable_k
from spatial.exposure import NIGHTS_PER_WEEK
from spatial.results import Analysis
from spatial.zones import comparable_nights

COLUMNS = ["week", "zone_id", "rate", "rate_low", "rate_high"]


def zone_curves(analysis: Analysis) -> pd.DataFrame:
    """Return the catch rate of every zone in every week in which it has one, long.

    The interval is negative binomial with one k for the season, estimated around the rate of each
    week's round, as in `spatial.curve.season_curve`: a zone has too few traps for its own.

    Parameters
    ----------
    analysis
        What one weekly run found.

    Returns
    -------
    pandas.DataFrame
        `week`, `zone_id`, `rate`, `rate_low`, `rate_high` (adults per trap-week of the reference
        design, 95 % interval); weeks without countable nights are left out.
    """
    traps = analysis.traps.set_index("location_id")
    design, zone = (
        analysis.rounds["location_id"].map(traps[name]) for name in ("design", "zone_id")
    )
    seen = analysis.rounds.assign(
        zone_id=zone,
        comparable=comparable_nights(analysis.rounds["nights"], design, _ratios(analysis)),
    )
    seen = seen[(seen["comparable"] > 0) & seen["adults"].notna()]
    inside = seen[seen["zone_id"].notna()]
    if inside.empty:
        return pd.DataFrame(columns=COLUMNS)
    by_week = seen.groupby("week")[["adults", "comparable"]].transform("sum")
    means = seen["comparable"] * by_week["adults"] / by_week["comparable"]
    k = usable_k(negative_binomial_k(seen["adults"], means))
    groups = inside.groupby(["week", "zone_id"], sort=True)
    low, high = rate_intervals(inside["adults"], inside["comparable"], groups.ngroup(), k)
    table = groups[["adults", "comparable"]].sum().reset_index()
    return table.assign(
        rate=NIGHTS_PER_WEEK * table["adults"] / table["comparable"],
        rate_low=NIGHTS_PER_WEEK * low,
        rate_high=NIGHTS_PER_WEEK * high,
    )[COLUMNS]


def _ratios(analysis: Analysis) -> dict[str, float]:
    known = {each.design: each.ratio for each in analysis.ratios if not np.isnan(each.ratio)}
    return {**known, analysis.reference_design: 1.0}
