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

    A location that was set out before the week and has no visit in it is ``"not_checked"``.

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
    rows = analysis.rounds[analysis.rounds["week"].eq(week)]
    seen = dict(zip(rows["location_id"], rows["status"], strict=True))
    due = _due(analysis, week)
    return {
        location: str(seen.get(location, "not_checked"))
        for location in analysis.traps["location_id"]
        if location in seen or location in due
    }


def _due(analysis: Analysis, week: str) -> set[str]:
    """Return the locations that should have been checked: set out before the week, still there."""
    monday, sunday = (pd.Timestamp(day) for day in week_days(week))
    table = analysis.site.traps
    installed, removed = table["installed"], table["removed"]
    here = (installed.isna() | (installed < monday)) & (removed.isna() | (removed > sunday))
    return set(table.loc[here, "location_id"])
