"""The weekly catch of each species in each trap design, with intervals; designs are never mixed."""

from __future__ import annotations

import pandas as pd

from data.site import Site
from spatial.curve import weekly_intervals
from spatial.exposure import catch_rate, season_visits
from spatial.results import Season

COLUMNS = ["design", "species", "week", "adults", "nights", "rate", "rate_low", "rate_high"]


def season_curves(site: Site, season: Season) -> pd.DataFrame:
    """Return one row per design, target species and week with countable nights.

    Parameters
    ----------
    site
        The checked site.
    season
        The season and its cut-off.

    Returns
    -------
    pandas.DataFrame
        `design`, `species`, `week`, `adults`, `nights` (trap-nights of that design), `rate`,
        `rate_low`, `rate_high` (adults per trap-week of that design, 95 % interval).
    """
    visits = season_visits(site.visits, season)
    visits = visits[visits["nights"] > 0]
    design = site.traps.set_index("location_id")["design"]
    visits = visits.assign(design=visits["location_id"].map(design))
    parts = [
        _curve(own, site.catches[site.catches["species"] == species], str(name), species)
        for name, own in visits.groupby("design")
        for species in site.settings.target_species
    ]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=COLUMNS)


def _curve(visits: pd.DataFrame, catches: pd.DataFrame, design: str, species: str) -> pd.DataFrame:
    caught = catches.groupby("visit_id")["adults"].sum()
    seen = pd.DataFrame(
        {
            "week": visits["week"],
            "adults": visits["visit_id"].map(caught).fillna(0.0),
            "comparable": visits["nights"],
        }
    )
    sums = seen.groupby("week")[["adults", "comparable"]].sum()
    low, high = weekly_intervals(seen, list(sums.index))
    return pd.DataFrame(
        {
            "design": design,
            "species": species,
            "week": sums.index,
            "adults": sums["adults"].to_numpy(),
            "nights": sums["comparable"].to_numpy(),
            "rate": catch_rate(sums["adults"], sums["comparable"]),
            "rate_low": low,
            "rate_high": high,
        }
    )[COLUMNS]
