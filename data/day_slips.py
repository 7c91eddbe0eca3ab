"""Dates that lie so far from all visits that their year must be a slip of the pen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from data.checks import Check, Draft, Fault, findings_at, quoted
from data.findings import Finding, Severity

LATEST_DAYS_AFTER = 730
"""Nothing is recorded of a site longer than this after its last visit (common practice, no source).
"""

EARLIEST_YEARS_BEFORE = 20
"""Nor longer than this before its first one (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class VisitDays:
    """Days of the first and the last visit whose own dates are sound."""

    first: pd.Timestamp
    last: pd.Timestamp


def visit_days(visits: Draft | None) -> VisitDays | None:
    """Return the first and the last day of all visits; None without any."""
    if visits is None:
        return None
    days = visits.typed["checked_on"][visits.good("set_on", "checked_on")].dropna()
    return None if days.empty else VisitDays(days.min(), days.max())


def day_checks(days: VisitDays | None, columns: Sequence[str]) -> list[Check]:
    """Return the checks that the dates of a table are not years away from all visits."""
    return [_far(days, column, before=True) for column in columns] if days is not None else []


def late_checks(days: VisitDays | None, columns: Sequence[str]) -> list[Check]:
    """Return the same checks for a table that may begin long before the first visit."""
    return [_far(days, column, before=False) for column in columns] if days is not None else []


def life_checks(days: VisitDays | None) -> list[Check]:
    """Return the checks of the life of a trap, as warnings, for it is used as it stands.

    A day far ahead on which a trap will be removed is how some write that it still stands.
    """
    if days is None:
        return []
    return [_far(days, "installed", before=True, severity="warning")]


def _far(days: VisitDays, column: str, *, before: bool, severity: Severity = "error") -> Check:
    earliest = days.first - pd.DateOffset(years=EARLIEST_YEARS_BEFORE)
    latest = days.last + pd.Timedelta(days=LATEST_DAYS_AFTER)

    def fault(bad: pd.Series[bool], words: str) -> Fault:
        problem = f"{{}} is {words} all visits".format
        return Fault(
            "IN-048",
            bad,
            lambda cell: problem(quoted(cell)),
            "check its year",
            column,
            severity,
        )

    def check(draft: Draft) -> list[Finding]:
        dates = draft.typed[column]
        faults = [fault(dates > latest, "more than two years after")]
        if before:
            faults.append(
                fault(dates < earliest, f"more than {EARLIEST_YEARS_BEFORE} years before")
            )
        return [finding for each in faults for finding in findings_at(draft, each)]

    return check
