"""Where trap density is too low to support a statement about a zone, and why."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from data.settings import NetworkSettings
from spatial.arrays import FloatArray, NameArray


def gaps(zones: gpd.GeoDataFrame, rules: NetworkSettings, low_rate: float) -> NameArray:
    """Return why each zone's traps are too few: one of `spatial.results.GAP_REASONS`, or ``""``.

    * ``no_traps``: no trap is in use and none was countable this season;
    * ``no_nights``: there are traps, but no countable night yet;
    * ``removed_traps``: no trap is in use any more; the rate is from earlier ones;
    * ``few_traps``: fewer counted traps than `rules.min_traps_per_zone`: one trap's word;
    * ``wide_interval``: the 95 % interval spans more than `rules.max_interval_ratio`-fold, and
      reaches above `low_rate`: below that, how low does not matter. A zone whose only design has
      no ratio has no interval to judge.

    Parameters
    ----------
    zones
        From `spatial.zones.zone_table`.
    rules
        The two limits; both are working assumptions, see `data.settings.NetworkSettings`.
    low_rate
        Upper end of the map's lowest class, adults per trap-week.

    Examples
    --------
    >>> zones = gpd.GeoDataFrame({"traps": [0, 1, 0, 1, 3, 3, 3],
    ...                           "counted_traps": [0, 0, 1, 1, 3, 3, 3],
    ...                           "rate_low": [np.nan, np.nan, 0.5, 0.5, 0.1, 1.0, 0.0],
    ...                           "rate_high": [np.nan, np.nan, 9.0, 9.0, 2.9, 3.0, 0.2]})
    >>> gaps(zones, NetworkSettings(), low_rate=0.5).tolist()
    ['no_traps', 'no_nights', 'removed_traps', 'few_traps', 'wide_interval', '', '']
    """
    traps, counted = zones["traps"].to_numpy(), zones["counted_traps"].to_numpy()
    low, high = zones["rate_low"].to_numpy(dtype=float), zones["rate_high"].to_numpy(dtype=float)
    conditions = [
        (traps == 0) & (counted == 0),
        counted == 0,
        traps == 0,
        counted < rules.min_traps_per_zone,
        (high > rules.max_interval_ratio * low) & (high > low_rate),
    ]
    reasons = ["no_traps", "no_nights", "removed_traps", "few_traps", "wide_interval"]
    return np.select(conditions, reasons, "").astype(object)


def nearest_trap_m(zones: gpd.GeoDataFrame, traps: gpd.GeoDataFrame) -> FloatArray:
    """Return the distance from every zone to the nearest trap in use; 0 inside, inf without traps.

    Parameters
    ----------
    zones, traps
        In one projected CRS (metres); `traps` has `in_use`.
    """
    points = traps.geometry.to_numpy()[traps["in_use"].to_numpy(dtype=bool)]
    if not len(points):
        return np.full(len(zones), np.inf)
    _, distance_m = shapely.STRtree(points).query_nearest(
        zones.geometry.to_numpy(), return_distance=True, all_matches=False
    )
    return np.asarray(distance_m, dtype=float)
