"""Checking soil cores: larvae without a core, and samples entered twice."""

from __future__ import annotations

from dataclasses import replace

from data.checks import Check, Draft, Fault, findings_at, run_checks, same_row_twice
from data.raw import NamedTable
from data.schemas import CORES
from data.values import draft_of

_twice = same_row_twice(
    "IN-029", "delete it, unless the same was found twice; then name the two positions"
)


def check_cores(named: NamedTable, checks: list[Check]) -> Draft:
    """Check the soil cores of a site.

    Parameters
    ----------
    named
        The table under our column names.
    checks
        Checks that need other tables, e.g. that the zone exists.
    """
    return run_checks(_without_cores(draft_of(named, CORES)), [*checks, _twice])


def _without_cores(draft: Draft) -> Draft:
    """Say of larvae without a core that they are so, not only that a cell is blank or zero."""
    cores, larvae = draft.typed["cores"], draft.typed["larvae"]
    blank = draft.text["cores"] == "" if "cores" in draft.text else cores.isna()
    lone = (larvae > 0) & (blank | (cores == 0))
    fault = Fault(
        "IN-028",
        lone,
        "larvae are counted but no core was cut",
        "type how many cores they come from",
        "cores",
    )
    column, rows = draft.headers.get("cores"), set(lone.index[lone])
    kept = [
        each
        for each in draft.findings
        if not (each.column == column and each.row in rows and each.code in ("IN-010", "IN-013"))
    ]
    return replace(draft, findings=tuple(kept)).with_findings(findings_at(draft, fault))
