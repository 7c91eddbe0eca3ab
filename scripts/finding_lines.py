"""What is wrong with a site's files, as lines for standard error: one for each row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from data.findings import Finding

SHOWN_WARNINGS = 20


def error_lines(findings: Iterable[Finding]) -> list[str]:
    """Return the errors, one line for each row however much is wrong with it.

    Examples
    --------
    >>> count = Finding("IN-021", "visits.csv", "'2l' is no count", "type digits", row=14)
    >>> date = Finding("IN-010", "visits.csv", "it is blank", "fill it in", row=14, column="set_on")
    >>> error_lines([count, date])[0].partition("; also ")[2]
    'column set_on: it is blank; fill it in [IN-010]'
    """
    lines: dict[tuple[str, int], list[str]] = {}
    for number, each in enumerate(findings):
        if each.severity == "error":
            # Findings of a whole file stay apart: nothing but the file is common to them.
            key = (each.file, -number if each.row is None else each.row)
            part = _also(each) if key in lines else str(each)
            lines.setdefault(key, []).append(part)
    return ["; ".join(parts) for parts in lines.values()]


def warning_lines(findings: Sequence[Finding]) -> list[str]:
    """Return the first warnings, marked as such, and how many more there are."""
    warnings = [f"warning: {each}" for each in findings if each.severity == "warning"]
    hidden = len(warnings) - SHOWN_WARNINGS
    more = [f"and {hidden} more warnings"] if hidden > 0 else []
    return [*warnings[:SHOWN_WARNINGS], *more]


def counted(number: int, noun: str) -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> counted(1, "error"), counted(1200, "row")
    ('1 error', '1,200 rows')
    """
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _also(each: Finding) -> str:
    place = "" if each.column is None else f"column {each.column}: "
    return f"also {place}{each.problem}; {each.fix} [{each.code}]"
