"""What one trap design of a site catches relative to another, from all its rounds so far."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pandas as pd

from data.site import Site
from spatial.assign import assign_zones
from spatial.exposure import rounds, season_visits
from spatial.ratios import design_ratios, ratio_by_design, reference_design
from spatial.results import DesignRatio, Season


@dataclass(frozen=True, slots=True)
class SiteRatios:
    """The designs of a site on one scale.

    Parameters
    ----------
    traps
        `location_id`, `zone_id`, `design` of every location of the site.
    reference
        The design that rates refer to.
    ratios
        What the other designs catch relative to it.
    """

    traps: pd.DataFrame
    reference: str
    ratios: tuple[DesignRatio, ...]

    @property
    def by_design(self) -> dict[str, float]:
        """Return the ratio of every design whose ratio is known, the reference's included."""
        return ratio_by_design(self.ratios, self.reference)


def site_ratios(site: Site, season: Season, used: pd.DataFrame | None = None) -> SiteRatios:
    """Return the ratios from all rounds up to the cut-off; earlier seasons count, they do not age.

    Parameters
    ----------
    site
        The checked site.
    season
        Its cut-off is the last day that counts.
    used
        Traps with a `design` whose most common one is the reference; None for all of the site.
    """
    placed = assign_zones(site.traps, site.zones, site.settings.network.near_m)
    traps = placed[["location_id", "zone_id"]].assign(design=site.traps["design"].to_numpy())
    designs = site.settings.designs
    reference = reference_design(site.traps if used is None else used, designs)
    first = min(site.visits["checked_on"].min().date(), season.start)
    table = rounds(season_visits(site.visits, replace(season, start=first)))
    return SiteRatios(traps, reference, design_ratios(table, traps, designs, reference))
