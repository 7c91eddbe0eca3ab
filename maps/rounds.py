"""The weeks that a page shows, and what became of every trap in one weekly round."""

from __future__ import annotations

import pandas as pd

from maps.weeks import week_days
from spatial.results import Analysis


def shown_weeks(analysis: Analysis) -> tuple[str, ...]:
    """Return the season's weeks with visits, and the chosen week even when it had none."""
    weeks, chosen = analysis.season.weeks, analysis.season.week
    return weeks if chosen in weeks else (*weeks, chosen)


def round_statuses(analysis: Analysis, week: str) -> dict[str, str]:
    """Return the status of each trap location that was in use in a week.

    A location in use without a visit that week counts as ``"not_checked"``.

    Parameters
    ----------
    analysis
        What one weekly run found.
    week
        One of `shown_weeks`.

    Returns
    -------
    dict
        Status by `location_id`, in the order of `Analysis.traps`; locations not in use that week
        are left out.
    """
    if week == analysis.season.week:
        return _chosen_week(analysis)
    rows = analysis.rounds[analysis.rounds["week"].eq(week)]
    seen = dict(zip(rows["location_id"], rows["status"], strict=True))
    in_use = _in_use(analysis, week)
    return {
        location: str(seen.get(location, "not_checked"))
        for location in analysis.traps["location_id"]
        if location in seen or location in in_use
    }


def _chosen_week(analysis: Analysis) -> dict[str, str]:
    columns = ("location_id", "in_use", "week_status")
    rows = zip(*(analysis.traps[name] for name in columns), strict=True)
    return {
        location: str(status)
        for location, in_use, status in rows
        if in_use or status != "not_checked"
    }


def _in_use(analysis: Analysis, week: str) -> set[str]:
    table = analysis.site.traps
    if not {"installed", "removed"} <= set(table.columns):
        return set()
    sunday = pd.Timestamp(week_days(week)[1])
    installed, removed = table["installed"], table["removed"]
    here = (installed.isna() | (installed <= sunday)) & (removed.isna() | (removed > sunday))
    return set(table.loc[here, "location_id"])
