"""The season's traps as a network on foot."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from data.settings import MarkSettings
from data.site import Site
from spatial.arrays import FloatArray
from spatial.neighbours import Neighbours, nearest_on_foot
from spatial.walking import walking_distances


def walked_m(traps: gpd.GeoDataFrame, site: Site) -> FloatArray:
    """Return walking distances between the traps round the site's obstacles, shape (n, n).

    Infinite beyond the cut-off of the site's settings.
    """
    places = shapely.get_coordinates(traps.geometry.to_numpy())
    solid = [shape for shape in site.obstacles.geometry if shape.area > 0]
    return walking_distances(places, solid, site.settings.marks.cutoff_m)


def network_of(
    traps: gpd.GeoDataFrame, nights: FloatArray, distance_m: FloatArray, rules: MarkSettings
) -> Neighbours:
    """Return who is whose neighbour; only traps with exposure are anybody's.

    Parameters
    ----------
    traps
        One row per trap with `location_id`.
    nights
        Trap-nights, shape (n,).
    distance_m
        From `walked_m`.
    rules
        Number of neighbours and cut-off.
    """
    seen = nights > 0
    on_foot = np.where(seen[:, None] & seen[None, :], distance_m, np.inf)
    return nearest_on_foot(tuple(traps["location_id"]), on_foot, rules.neighbours, rules.cutoff_m)
