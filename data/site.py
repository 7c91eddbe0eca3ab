"""The checked site: what every analysis starts from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import pandas as pd

from data.aerial_photo import AerialPhoto
from data.degree_day_models import DegreeDayModel
from data.findings import Finding
from data.set_aside import Account
from data.settings import SiteSettings

STATUSES = ("ok", "flooded", "disturbed", "missing", "covered", "not_checked")


@dataclass(frozen=True, slots=True)
class Site:
    """One property, read and checked; the tables are never changed in place.

    Parameters
    ----------
    settings
        What `site.toml` says.
    zones
        `zone_id`, `use`, `name`, `priority`, `note`, polygon geometry. All four shape tables are
        in one projected CRS in metres, sorted by id, with a RangeIndex.
    refuges, obstacles
        `refuge_id` or `obstacle_id`, `kind`, `note`, geometry; may be empty.
    traps
        One row per trap **location**: `location_id`, `trap_id`, `design`, `installed`, `removed`
        (NaT when open), `axis_deg`, `slot_m`, `elevation_m`, `note`, point geometry. A trap that
        moved has several rows, `location_id` = ``"T07/1"``, ``"T07/2"``; otherwise it equals
        `trap_id`.
    visits
        One row per check of a trap: `visit_id`, `location_id`, `trap_id`, `set_on`, `checked_on`,
        `status`, `adults` (target species together; NaN unless `status` is ``"ok"``), `minutes`,
        `observer`, `note`, `source_row`.
    catches
        Long: `visit_id`, `species`, `adults`; only `ok` visits.
    bycatch
        Long: `visit_id`, `taxon`, `count`; only `ok` visits.
    weather
        `date`, `tmin_c`, `tmax_c`, `rain_mm` (NaN: not known) of the day itself, `observed_at`; may
        be empty. Where a station is read in the morning, a day beside a gap has NaN for what no
        reading tells, and rain stays with the day of reading.
    cores
        `zone_id`, `sampled_on`, `cores`, `diameter_cm`, `larvae`, `pupae`, `position`; may be
        empty.
    treatments
        `zone_id`, `applied_on`, `tactic`, `irac_group`, `product`, `registration_number`, `rate`,
        `amount`, `area`, `applicator`, `note`; may be empty.
    findings
        Everything that was wrong, errors (row set aside) and warnings (row used).
    hashes
        File name -> SHA-256 of the bytes read.
    account
        How many rows of each file count, and every row that was set aside, as typed.
    visit_headers
        Columns of the visits, in the order of the file: our name -> the name in the file.
    model
        The degree-day model that `site.toml` names; None where it names none.
    aerial
        The photo under the map, where one was read.
    """

    settings: SiteSettings
    zones: gpd.GeoDataFrame
    refuges: gpd.GeoDataFrame
    obstacles: gpd.GeoDataFrame
    traps: gpd.GeoDataFrame
    visits: pd.DataFrame
    catches: pd.DataFrame
    bycatch: pd.DataFrame
    weather: pd.DataFrame
    cores: pd.DataFrame
    treatments: pd.DataFrame
    findings: tuple[Finding, ...]
    hashes: Mapping[str, str]
    account: Account = field(default_factory=Account)
    visit_headers: Mapping[str, str] = field(default_factory=dict)
    model: DegreeDayModel | None = None
    aerial: AerialPhoto | None = None
