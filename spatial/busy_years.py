"""Zones that are busy year after year: their traps marked at the end of one season and the next."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import pandas as pd

from data.site import Site
from spatial.clusters import clusters_by
from spatial.exposure import rounds, season_visits, to_date
from spatial.network import network_of, walked_m
from spatial.results import Season
from spatial.season_effort import season_effort
from spatial.season_traps import season_traps

BUSY = ("busy_patch", "lone_busy")


def busy_years(site: Site, seasons: Sequence[Season], *, seed: int = 0) -> pd.DataFrame:
    """Return in how many seasons each zone was busy, out of how many that could tell.

    Parameters
    ----------
    site
        The checked site.
    seasons
        Seasons, each up to the day that it is looked at.
    seed
        Of the permutations.

    Returns
    -------
    pandas.DataFrame
        `zone_id`, `busy` (seasons with a trap marked busy), `testable` (seasons with a trap that
        could be tested), most often busy first; zones never testable are left out.
    """
    marks = pd.concat([season_marks(site, each, seed=seed) for each in seasons])
    told = marks[marks["mark"] != "not_testable"].dropna(subset=["zone_id"])
    told = told.assign(busy=told["mark"].isin(BUSY))
    by_season = told.groupby(["zone_id", "season"])["busy"].any().reset_index()
    table = by_season.groupby("zone_id")["busy"].agg(["sum", "size"]).reset_index()
    table.columns = pd.Index(["zone_id", "busy", "testable"])
    return table.sort_values(
        ["busy", "testable", "zone_id"], ascending=[False, True, True], ignore_index=True
    )


def season_marks(site: Site, season: Season, *, seed: int = 0) -> pd.DataFrame:
    """Return `zone_id`, `season`, `mark` of every trap at the end of a season."""
    table = rounds(season_visits(site.visits, season))
    traps: gpd.GeoDataFrame = season_traps(site, season, table)
    totals = to_date(table, season.weeks, pd.Index(traps["location_id"]))
    design = traps["design"].to_numpy(dtype=str)
    nights = season_effort(totals.adults, totals.nights, design)[-1]
    graph = network_of(traps, nights, walked_m(traps, site), site.settings.marks)
    found = clusters_by(
        site.settings.marks, totals.adults[-1], nights, graph, design=design, seed=seed
    )
    return pd.DataFrame({"zone_id": traps["zone_id"], "season": season.label, "mark": found.mark})
