"""The records that an export holds: a site's tables up to a day, and what is said about them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import pandas as pd

from data.findings import SettingsError
from data.site import Site
from data.version import VERSION
from maps.xml_text import xml_text
from spatial.seasons import iso_week, week_sunday


@dataclass(frozen=True, slots=True)
class Records:
    """What a site has recorded up to a day.

    Parameters
    ----------
    site
        The site; its dated tables hold nothing after `cutoff` when a week was chosen.
    week
        The chosen ISO week, else the week of the last visit.
    cutoff
        The Sunday of the chosen week, else the day of the last visit, coring or treatment.
    """

    site: Site
    week: str
    cutoff: date


def records_up_to(site: Site, week: str | None = None) -> Records:
    """Return the records up to the end of an ISO week; all of them when there is no week.

    Raises
    ------
    SettingsError
        If `week` is no ISO week, or no visit was made by then.
    """
    checked = site.visits["checked_on"]
    if week is None:
        days = [checked, site.cores["sampled_on"], site.treatments["applied_on"]]
        last = max(each.max() for each in days if len(each))
        return Records(site, iso_week(checked).max(), last.date())
    cutoff = week_sunday(week)
    end = pd.Timestamp(cutoff)
    if not (checked <= end).any():
        first = iso_week(pd.Series([checked.min()])).iloc[0]
        raise SettingsError(f"no visit was made by {week}; the first is in {first}")
    return Records(_cut(site, end), week, cutoff)


def provenance(records: Records) -> dict[str, str]:
    """Return where an export comes from, as texts: site, week, cut-off, effort, hashes, version."""
    site = records.site
    counted = site.visits[site.visits["status"] == "ok"]
    nights = (counted["checked_on"] - counted["set_on"]).dt.days.sum()
    facts = {
        "site": site.settings.name,
        "week": records.week,
        "cutoff": records.cutoff.isoformat(),
        "crs": str(site.traps.crs),
        "trap locations": str(len(site.traps)),
        "visits": str(len(site.visits)),
        "visits with a count": str(len(counted)),
        "trap-nights": str(int(nights)),
        "rows read": str(sum(each.read for each in site.account.tallies)),
        "rows set aside": str(site.account.count),
        "snoutline": VERSION,
        **{f"sha256 {name}": value for name, value in sorted(site.hashes.items())},
    }
    return {xml_text(key): xml_text(value) for key, value in facts.items()}


def short_provenance(records: Records) -> str:
    """Return the same without the hashes, in one line."""
    facts = provenance(records).items()
    return "; ".join(f"{key} {value}" for key, value in facts if not key.startswith("sha256 "))


def day_text(day: object) -> str:
    """Return a day as YYYY-MM-DD; blank when it is not known.

    Examples
    --------
    >>> day_text(pd.Timestamp("2026-05-04")), day_text(pd.NaT)
    ('2026-05-04', '')
    """
    return f"{day:%Y-%m-%d}" if isinstance(day, pd.Timestamp) else ""


def _cut(site: Site, end: pd.Timestamp) -> Site:
    visits = _until(site.visits, "checked_on", end)
    kept = set(visits["visit_id"])
    return replace(
        site,
        visits=visits,
        catches=_of_visits(site.catches, kept),
        bycatch=_of_visits(site.bycatch, kept),
        weather=_until(site.weather, "date", end),
        cores=_until(site.cores, "sampled_on", end),
        treatments=_until(site.treatments, "applied_on", end),
    )


def _until(table: pd.DataFrame, column: str, end: pd.Timestamp) -> pd.DataFrame:
    return table[table[column] <= end].reset_index(drop=True)


def _of_visits(counts: pd.DataFrame, visits: set[str]) -> pd.DataFrame:
    return counts[counts["visit_id"].isin(visits)].reset_index(drop=True)
