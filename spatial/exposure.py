"""Effort: trap-nights of countable visits, and catch rates on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from spatial.arrays import FloatArray
from spatial.results import Season
from spatial.seasons import in_period, iso_week

NIGHTS_PER_WEEK = 7.0


@dataclass(frozen=True, slots=True)
class Totals:
    """Season-to-date sums, one row per week and one column per trap location.

    Parameters
    ----------
    adults, nights
        Shape (weeks, locations); adults of the target species and their trap-nights.
    """

    adults: FloatArray
    nights: FloatArray


def catch_rate(adults: npt.ArrayLike, nights: npt.ArrayLike) -> FloatArray:
    """Return adults per trap-week; NaN where there is no exposure.

    Examples
    --------
    Twelve adults in one week, none in two, and a trap without a countable night:

    >>> catch_rate([12, 0, 0], [7, 14, 0])
    array([12.,  0., nan])
    """
    effort = np.asarray(nights, dtype=float)
    adults_per_night = np.divide(
        np.asarray(adults, dtype=float),
        effort,
        out=np.full(effort.shape, np.nan),
        where=effort > 0,
    )
    rate: FloatArray = NIGHTS_PER_WEEK * adults_per_night
    return rate


def season_visits(visits: pd.DataFrame, season: Season) -> pd.DataFrame:
    """Return the visits of the season up to the cut-off, with `week` and `nights` added.

    `nights` is the exposure of an ``ok`` visit and 0 for every other status: a void visit adds
    neither beetles nor effort. Whether the set date lies in the season does not matter.

    Parameters
    ----------
    visits
        As in `data.site.Site.visits`.
    season
        The season and its cut-off.

    Returns
    -------
    pandas.DataFrame
        The rows checked in the season, sorted by week and location.
    """
    chosen = visits[in_period(visits["checked_on"], season.start, season.cutoff)]
    ok = chosen["status"] == "ok"
    nights = (chosen["checked_on"] - chosen["set_on"]).dt.days.where(ok, 0)
    adults = chosen["adults"].where(ok, 0.0)
    with_effort = chosen.assign(
        week=iso_week(chosen["checked_on"]), nights=nights.astype(float), adults=adults
    )
    return with_effort.sort_values(["week", "location_id", "checked_on"], ignore_index=True)


def rounds(visits: pd.DataFrame) -> pd.DataFrame:
    """Return one row per week and location: `week`, `location_id`, `status`, `adults`, `nights`.

    A trap checked twice in a week is one row with the sums; it counts as ``ok`` if either was.
    `rate` is in adults per trap-week, NaN when the week holds no countable night.

    Parameters
    ----------
    visits
        From `season_visits`.
    """
    ok_first = visits.assign(void=visits["status"] != "ok").sort_values(
        ["week", "location_id", "void"], kind="stable"
    )
    by_round = ok_first.groupby(["week", "location_id"], sort=True)
    table = by_round.agg(
        status=("status", "first"), adults=("adults", "sum"), nights=("nights", "sum")
    ).reset_index()
    return table.assign(rate=catch_rate(table["adults"], table["nights"]))


def to_date(rounds_table: pd.DataFrame, weeks: tuple[str, ...], locations: pd.Index) -> Totals:
    """Return season-to-date adults and trap-nights of every location at the end of every week.

    Parameters
    ----------
    rounds_table
        From `rounds`.
    weeks
        The weeks wanted, in order.
    locations
        Location ids wanted, in order.

    Examples
    --------
    >>> table = pd.DataFrame({"week": ["2026-W18", "2026-W19"], "location_id": ["T1", "T1"],
    ...                       "adults": [2.0, 3.0], "nights": [7.0, 7.0]})
    >>> to_date(table, ("2026-W18", "2026-W19"), pd.Index(["T1", "T2"])).adults
    array([[2., 0.],
           [5., 0.]])
    """
    return Totals(
        _cumulative(rounds_table, "adults", weeks, locations),
        _cumulative(rounds_table, "nights", weeks, locations),
    )


def _cumulative(
    rounds_table: pd.DataFrame, column: str, weeks: tuple[str, ...], locations: pd.Index
) -> FloatArray:
    wide = rounds_table.pivot_table(
        index="week", columns="location_id", values=column, aggfunc="sum"
    )
    wide = wide.reindex(index=list(weeks), columns=locations).fillna(0.0)
    return np.asarray(wide.cumsum(), dtype=float)
