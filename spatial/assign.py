"""Which zone a trap stands in: exactly one answer for every trap."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

EDGE_TOLERANCE_M = 0.05
"""A trap this close to a zone's edge stands on the edge; finer than any survey of a trap."""


def assign_zones(traps: gpd.GeoDataFrame, zones: gpd.GeoDataFrame, near_m: float) -> pd.DataFrame:
    """Return zone, placement and distance of every trap, one row per trap in the same order.

    A trap inside overlapping zones belongs to the smallest of them. A trap on an edge that zones
    share belongs to the first of them by `zone_id`. A trap outside every zone belongs to the
    nearest one within `near_m`, and the distance is kept.

    Parameters
    ----------
    traps, zones
        Tables of a `data.site.Site`, in the same projected CRS (metres).
    near_m
        Greatest distance in metres from a trap to the zone it is given to.

    Returns
    -------
    pandas.DataFrame
        `location_id`, `zone_id` (missing when outside), `placement` (``"inside"``, ``"edge"``,
        ``"near"``, ``"outside"``) and `zone_distance_m` (0 inside and on the edge, NaN outside).

    Examples
    --------
    >>> from shapely.geometry import Point, box
    >>> squares = [box(0, 0, 9, 9), box(9, 0, 20, 9)]
    >>> zones = gpd.GeoDataFrame({"zone_id": ["A", "B"]}, geometry=squares)
    >>> places = [Point(1, 1), Point(9, 4), Point(4, 12), Point(4, 50)]
    >>> traps = gpd.GeoDataFrame({"location_id": ["T1", "T2", "T3", "T4"]}, geometry=places)
    >>> print(assign_zones(traps, zones, near_m=10).to_string(index=False))
    location_id zone_id placement  zone_distance_m
             T1       A    inside              0.0
             T2       A      edge              0.0
             T3       A      near              3.0
             T4     NaN   outside              NaN
    """
    pairs = _near_pairs(traps, zones, near_m)
    first = pairs.drop_duplicates("trap").set_index("trap").reindex(range(len(traps)))
    ids = zones["zone_id"].to_numpy(dtype=object)
    found = first["zone"].notna().to_numpy()
    zone_ids = np.full(len(traps), None, dtype=object)
    zone_ids[found] = ids[first.loc[found, "zone"].astype(int).to_numpy()]
    return pd.DataFrame(
        {
            "location_id": traps["location_id"].to_numpy(),
            "zone_id": zone_ids,
            "placement": first["placement"].astype(object).where(found, "outside").to_numpy(),
            "zone_distance_m": first["distance_m"].to_numpy(dtype=float),
        }
    )


def _near_pairs(traps: gpd.GeoDataFrame, zones: gpd.GeoDataFrame, near_m: float) -> pd.DataFrame:
    points, polygons = traps.geometry.to_numpy(), zones.geometry.to_numpy()
    trap, zone = shapely.STRtree(polygons).query(points, predicate="dwithin", distance=near_m)
    distance_m = shapely.distance(points[trap], polygons[zone])
    to_edge_m = shapely.distance(points[trap], shapely.boundary(polygons[zone]))
    on_edge = to_edge_m <= EDGE_TOLERANCE_M
    placement = np.select([on_edge, distance_m == 0], ["edge", "inside"], "near")
    pairs = pd.DataFrame(
        {
            "trap": trap,
            "zone": zone,
            "placement": placement,
            "distance_m": np.where(on_edge, 0.0, distance_m),
            "rank": pd.Series(placement).map({"inside": 0, "edge": 1, "near": 2}).to_numpy(),
            "area": np.where(placement == "inside", shapely.area(polygons[zone]), 0.0),
            "zone_id": zones["zone_id"].to_numpy()[zone],
        }
    )
    return pairs.sort_values(["trap", "rank", "distance_m", "area", "zone_id"], kind="stable")
