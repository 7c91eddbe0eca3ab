"""When: the weekly catch of the whole network, with an interval."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from spatial.arrays import FloatArray
from spatial.dispersion import negative_binomial_k, rate_intervals, usable_k
from spatial.exposure import NIGHTS_PER_WEEK, catch_rate
from spatial.results import Season
from spatial.zones import comparable_nights


def season_curve(
    rounds: pd.DataFrame, season: Season, traps: pd.DataFrame, ratio: Mapping[str, float]
) -> pd.DataFrame:
    """Return one row per week with the network's catch rate; see `Analysis.curve`.

    The interval allows for the spread between traps of a round: negative binomial with one k for
    the season, estimated around each week's rate.

    Parameters
    ----------
    rounds
        From `spatial.exposure.rounds`.
    season
        The weeks wanted.
    traps
        `location_id` and `design`.
    ratio
        Design -> catch relative to the reference design; designs not in it stay out of the rate.
    """
    design = rounds["location_id"].map(traps.set_index("location_id")["design"])
    counted = rounds.assign(
        ok=(rounds["status"] == "ok").astype(int),
        void=(~rounds["status"].isin(["ok", "not_checked"])).astype(int),
        comparable=comparable_nights(rounds["nights"], design, ratio),
    )
    counted = counted.assign(
        comparable_adults=counted["adults"].where(counted["comparable"] > 0, 0.0)
    )
    sums = counted.groupby("week")[
        ["ok", "void", "adults", "nights", "comparable_adults", "comparable"]
    ].sum()
    sums = sums.reindex(list(season.weeks)).fillna(0.0)
    low, high = weekly_intervals(counted[counted["comparable"] > 0], season.weeks)
    return pd.DataFrame(
        {
            "week": list(season.weeks),
            "checked": sums["ok"].to_numpy(dtype=int),
            "void": sums["void"].to_numpy(dtype=int),
            "adults": sums["adults"].to_numpy(),
            "nights": sums["nights"].to_numpy(),
            "rate": catch_rate(sums["comparable_adults"], sums["comparable"]),
            "rate_low": low,
            "rate_high": high,
        }
    )


def weekly_intervals(seen: pd.DataFrame, weeks: Sequence[str]) -> tuple[FloatArray, FloatArray]:
    """Return both ends of each week's interval, adults per trap-week; NaN where nothing was seen.

    Parameters
    ----------
    seen
        `week`, `adults` and `comparable` (trap-nights above zero), one row per trap and round.
    weeks
        The weeks wanted.
    """
    n = len(weeks)
    low, high = np.full(n, np.nan), np.full(n, np.nan)
    if seen.empty:
        return low, high
    by_week = seen.groupby("week")[["adults", "comparable"]].transform("sum")
    means = seen["comparable"] * by_week["adults"] / by_week["comparable"]
    k = usable_k(negative_binomial_k(seen["adults"], means))
    there, group = np.unique(seen["week"].to_numpy(dtype=str), return_inverse=True)
    ends = rate_intervals(seen["adults"], seen["comparable"], group, k)
    places = pd.Index(weeks).get_indexer(pd.Index(there))
    low[places], high[places] = (NIGHTS_PER_WEEK * end for end in ends)
    return low, high
