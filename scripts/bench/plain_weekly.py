"""The yardstick: the weekly job as one would write it with geopandas, esda and folium alone.

Same site, same weeks, same three statistics (global Moran's I, local Moran's I, Gi*) on season-to-
date rates with 9,999 permutations, a folium map and a CSV. No checks, no intervals, no adjustment.

Run as ``python -m scripts.bench.plain_weekly SITE OUT``.
"""

from __future__ import annotations

import sys
import warnings
from pathlib import Path

import folium
import geopandas as gpd
import numpy as np
import pandas as pd
from esda import G_Local, Moran, Moran_Local
from libpysal.weights import KNN

PERMUTATIONS = 9999
CRS = "EPSG:32623"
NEIGHBOURS = 6
FIRST_DAY = "2026-02-15"
SPECIES = ("parvulus", "venatus", "cicatristriatus")


def main(site: Path, out: Path) -> None:
    """Read the site, compute every week, write map and CSV."""
    zones = gpd.read_file(site / "zones.geojson").to_crs(CRS)
    traps, totals = _totals(site, zones)
    weights = KNN.from_dataframe(traps, k=NEIGHBOURS)
    for week, rates in totals:
        traps[f"I_{week}"] = Moran(rates, weights, permutations=PERMUTATIONS).I
        traps[f"local_{week}"] = Moran_Local(rates, weights, permutations=PERMUTATIONS).p_sim
        traps[f"gi_{week}"] = G_Local(rates, weights, star=True, permutations=PERMUTATIONS).p_sim
        traps["rate"] = rates
    out.mkdir(parents=True, exist_ok=True)
    traps.drop(columns="geometry").to_csv(out / "plain.csv", index=False)
    _map(zones, traps).save(str(out / "plain.html"))


def _totals(
    site: Path, zones: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[tuple[str, np.ndarray[tuple[int], np.dtype[np.float64]]]]]:
    table = pd.read_csv(site / "traps.csv").drop_duplicates("trap_id")
    places = gpd.points_from_xy(table["longitude"], table["latitude"], crs="EPSG:4326")
    traps = gpd.GeoDataFrame(table, geometry=places).to_crs(CRS)
    traps = traps.sjoin(zones[["zone_id", "geometry"]], how="left")
    traps = traps.drop_duplicates("trap_id").reset_index(drop=True)
    visits = pd.read_csv(site / "visits.csv", parse_dates=["set_on", "checked_on"])
    visits = visits[(visits["status"] == "ok") & (visits["checked_on"] >= FIRST_DAY)]
    visits["adults"] = visits[list(SPECIES)].sum(axis=1)
    visits["nights"] = (visits["checked_on"] - visits["set_on"]).dt.days
    iso = visits["checked_on"].dt.isocalendar()
    visits["week"] = iso["year"].astype(str) + "-W" + iso["week"].astype(str).str.zfill(2)
    adults, nights = (
        visits.pivot_table(index="week", columns="trap_id", values=column, aggfunc="sum")
        .reindex(columns=traps["trap_id"])
        .fillna(0)
        .cumsum()
        for column in ("adults", "nights")
    )
    rates = (adults / nights.where(nights > 0)).fillna(0)
    return traps, [(str(week), row.to_numpy(dtype=float)) for week, row in rates.iterrows()]


def _map(zones: gpd.GeoDataFrame, traps: gpd.GeoDataFrame) -> folium.Map:
    page = folium.Map()
    folium.GeoJson(zones.to_crs("EPSG:4326")).add_to(page)
    places = traps.to_crs("EPSG:4326").geometry
    for latitude, longitude, rate in zip(places.y, places.x, traps["rate"], strict=True):
        folium.CircleMarker([latitude, longitude], radius=3 + 7 * rate).add_to(page)
    return page


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    main(Path(sys.argv[1]), Path(sys.argv[2]))
