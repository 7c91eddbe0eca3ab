"""What each zone caught: rates in reference-design units with negative binomial intervals."""

from __future__ import annotations

import math
from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from spatial.arrays import FloatArray, NameArray
from spatial.common_k import adjusted_k
from spatial.dispersion import rate_intervals, usable_k
from spatial.exposure import NIGHTS_PER_WEEK, Totals, catch_rate
from spatial.results import Season

MARK_ORDER = ("busy_patch", "lone_busy", "quiet_patch", "lone_quiet", "none", "not_testable")
"""Most telling mark first: the mark of a zone is the first one that any of its traps has."""

M2_PER_HA = 10_000.0


def comparable_nights(
    nights: npt.ArrayLike, design: npt.ArrayLike, ratio: Mapping[str, float]
) -> FloatArray:
    """Return exposure in trap-nights of the reference design; 0 where the design has no ratio.

    Examples
    --------
    A linear trap that catches 2.5 times a cup's catch counts as 2.5 cups:

    >>> designs = ["cup", "linear", "pail"]
    >>> comparable_nights([7, 7, 7], designs, {"cup": 1, "linear": 2.5}).tolist()
    [7.0, 17.5, 0.0]
    """
    factor = pd.Series(np.asarray(design)).map(dict(ratio)).fillna(0.0)
    return np.asarray(nights, dtype=float) * factor.to_numpy(dtype=float)


def dispersion_of_totals(traps: pd.DataFrame, expected_nights: FloatArray) -> float:
    """Return the negative binomial k of season totals around the rate of the trap's use class.

    It is corrected for the rates of the uses having been estimated from the same totals.

    Most zones hold one trap, so k cannot come from inside zones alone. It includes what differs
    between zones of one use, which makes the intervals of zones with few traps wide, as they
    should be.

    Parameters
    ----------
    traps
        `adults` and `use` of every location; `use` missing outside zones.
    expected_nights
        Exposure in reference-design nights, shape (n,).
    """
    table = pd.DataFrame(
        {
            "adults": traps["adults"].to_numpy(dtype=float),
            "nights": expected_nights,
            "use": traps["use"].fillna("").to_numpy(),
        }
    )
    table = table[table["nights"] > 0]
    if table.empty:
        return math.nan
    sums = table.groupby("use")[["adults", "nights"]].transform("sum")
    means = table["nights"] * sums["adults"] / sums["nights"]
    return adjusted_k(table["adults"], means, table["use"].astype(str))


def trap_intervals(traps: pd.DataFrame, k: float) -> tuple[FloatArray, FloatArray]:
    """Return the 95 % interval of every trap's own rate (adults per trap-week); NaN unchecked."""
    n = len(traps)
    low, high = np.full(n, np.nan), np.full(n, np.nan)
    seen = (traps["nights"] > 0).to_numpy()
    if seen.any():
        checked = traps[seen]
        ends = rate_intervals(
            checked["adults"], checked["nights"], np.arange(len(checked)), usable_k(k)
        )
        low[seen], high[seen] = (NIGHTS_PER_WEEK * end for end in ends)
    return low, high


def zone_table(
    zones: gpd.GeoDataFrame, traps: gpd.GeoDataFrame, comparable: FloatArray, k: float
) -> gpd.GeoDataFrame:
    """Return rate, interval and trap count of every zone, season to date.

    Parameters
    ----------
    zones
        As in `data.site.Site.zones`.
    traps
        Trap table with `zone_id`, `adults`, `nights`, `in_use`, `mark`.
    comparable
        Exposure in reference-design nights, shape (number of traps,).
    k
        From `dispersion_of_totals`.

    Returns
    -------
    geopandas.GeoDataFrame
        One row per zone in the order given; see `spatial.results.Analysis.zones`.
    """
    inside = pd.DataFrame(
        {
            "zone_id": traps["zone_id"].to_numpy(),
            "traps": traps["in_use"].to_numpy(dtype=int),
            "counted_traps": (traps["nights"] > 0).to_numpy(dtype=int),
            "nights": traps["nights"].to_numpy(dtype=float),
            "all_adults": traps["adults"].to_numpy(dtype=float),
            "adults": np.where(comparable > 0, traps["adults"], 0.0),
            "comparable": comparable,
            "mark": traps["mark"].to_numpy(),
        }
    ).dropna(subset="zone_id")
    sums = _sums(inside).reindex(zones["zone_id"].to_numpy()).fillna(0.0)
    rate = catch_rate(sums["adults"], sums["comparable"])
    low, high = _intervals(inside, zones["zone_id"], k)
    area_ha = shapely.area(zones.geometry.to_numpy()) / M2_PER_HA
    table = zones[["zone_id", "use", "name"]].assign(
        area_ha=area_ha,
        traps=sums["traps"].to_numpy(dtype=int),
        counted_traps=sums["counted_traps"].to_numpy(dtype=int),
        nights=sums["nights"].to_numpy(),
        adults=sums["all_adults"].to_numpy(),
        rate=rate,
        rate_low=low,
        rate_high=high,
        comparable=((sums["nights"] == 0) | (sums["comparable"] > 0)).to_numpy(),
        traps_per_ha=sums["traps"].to_numpy() / area_ha,
        mark=_most_telling(inside["mark"], inside["zone_id"], zones["zone_id"]),
        busy_traps=sums["busy_traps"].to_numpy(dtype=int),
        quiet_traps=sums["quiet_traps"].to_numpy(dtype=int),
    )
    return gpd.GeoDataFrame(table, geometry=zones.geometry.to_numpy(), crs=zones.crs)


def zone_weeks(
    zone_ids: pd.Series[str],
    zone_of_trap: pd.Series[str],
    season: Season,
    totals: Totals,
    comparable: FloatArray,
    marks: pd.DataFrame,
) -> pd.DataFrame:
    """Return the season-to-date rate of every zone at the end of every week, long.

    Parameters
    ----------
    zone_ids
        All zones.
    zone_of_trap
        Zone of every trap, missing outside.
    season
        The weeks.
    totals, comparable
        Season-to-date sums and reference-design nights, shape (weeks, traps).
    marks
        `Analysis.marks`: `week` and `mark`, traps in the same order in every week.

    Returns
    -------
    pandas.DataFrame
        See `spatial.results.Analysis.zone_weeks`.
    """
    member = zone_of_trap.to_numpy(dtype=object)[:, None] == zone_ids.to_numpy(dtype=object)
    adults = np.where(comparable > 0, totals.adults, 0.0) @ member
    return pd.DataFrame(
        {
            "week": np.repeat(np.asarray(season.weeks, dtype=object), len(zone_ids)),
            "zone_id": np.tile(zone_ids.to_numpy(dtype=object), len(season.weeks)),
            "rate": catch_rate(adults, comparable @ member).ravel(),
            "nights": (totals.nights @ member).ravel(),
            "adults": (totals.adults @ member).ravel(),
            "mark": np.concatenate(
                [
                    _most_telling(marks.loc[marks["week"] == week, "mark"], zone_of_trap, zone_ids)
                    for week in season.weeks
                ]
            ),
        }
    )


def _sums(inside: pd.DataFrame) -> pd.DataFrame:
    counted = inside.assign(
        busy_traps=inside["mark"].isin(["busy_patch", "lone_busy"]).astype(int),
        quiet_traps=inside["mark"].isin(["quiet_patch", "lone_quiet"]).astype(int),
    )
    return counted.drop(columns="mark").groupby("zone_id").sum()


def _intervals(
    inside: pd.DataFrame, zone_ids: pd.Series[str], k: float
) -> tuple[FloatArray, FloatArray]:
    low, high = np.full(len(zone_ids), np.nan), np.full(len(zone_ids), np.nan)
    seen = inside[inside["comparable"] > 0]
    if seen.empty:
        return low, high
    names, group = np.unique(seen["zone_id"].to_numpy(dtype=str), return_inverse=True)
    ends = rate_intervals(seen["adults"], seen["comparable"], group, usable_k(k))
    places = pd.Index(zone_ids).get_indexer(pd.Index(names))
    low[places], high[places] = (NIGHTS_PER_WEEK * end for end in ends)
    return low, high


def _most_telling(
    marks: pd.Series[str], zone_of_trap: pd.Series[str], zone_ids: pd.Series[str]
) -> NameArray:
    """Return the most telling mark of each zone's traps; ``""`` for a zone without traps."""
    order = {mark: place for place, mark in enumerate(MARK_ORDER)}
    first = marks.map(order).groupby(zone_of_trap.to_numpy()).min()
    names = {float(place): mark for place, mark in enumerate(MARK_ORDER)}
    ranks = first.reindex(zone_ids.to_numpy())
    return ranks.map(names).fillna("").to_numpy(dtype=object)
