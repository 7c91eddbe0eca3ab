"""The traps of a season: every location in use at any time of it, with its zone."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from data.site import Site
from spatial.assign import assign_zones
from spatial.results import Season


def season_traps(site: Site, season: Season, table: pd.DataFrame) -> gpd.GeoDataFrame:
    """Return the locations in use at any time of the season to date, each with its zone."""
    traps = site.traps
    begun = traps["installed"].isna() | (traps["installed"] <= pd.Timestamp(season.cutoff))
    ended = traps["removed"] < pd.Timestamp(season.start)
    visited = traps["location_id"].isin(table["location_id"])
    chosen = traps[(begun & ~ended) | visited].reset_index(drop=True)
    placed = assign_zones(chosen, site.zones, site.settings.network.near_m)
    over = chosen["removed"] <= pd.Timestamp(season.cutoff)
    use = placed["zone_id"].map(site.zones.set_index("zone_id")["use"])
    columns = ["location_id", "trap_id", "design", "installed", "removed", "geometry"]
    return chosen[columns].assign(
        zone_id=placed["zone_id"],
        placement=placed["placement"],
        zone_distance_m=placed["zone_distance_m"],
        use=use,
        in_use=(~over).to_numpy(),
    )
