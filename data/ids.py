"""Names that a spreadsheet has changed, and names that are hard to tell apart."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

import pandas as pd

from data.checks import Check, Draft, Fault, findings_at, quoted
from data.findings import Finding
from data.suggestions import asked_back, close_names, reading

_EATEN = re.compile(
    r"""
    \d{1,2}[-/. ]?(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*([-/. ]\d{2,4})?  # 5-Jan
    | (jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*-\d{2,4}                      # Jan-05
    | \d{4}-\d{2}-\d{2}([T ][\d:.]+)?                                                # 2026-01-05
    | \d{1,2}/\d{1,2}(/\d{2,4})?                                                     # 1/5/2026
    | \d+(\.\d+)?e[+-]?\d+                                                           # 1E5
    | \d+\.0+                                                                        # 7.0
    | \#(n/a|name\?|ref!|value!|div/0!|num!|null!) | n/a | na | nan | null
    | true | false
    """,
    re.IGNORECASE | re.VERBOSE | re.ASCII,
)

_SUM = re.compile(r"(grand |sub ?)?(totals?|sums?|means?|averages?)\b.*", re.IGNORECASE).fullmatch
"""What stands in the first cell of a row that sums up others."""

_FIX = "format the column as text, and type the name again"


def looks_eaten(name: str) -> bool:
    """Return whether a name looks like what a spreadsheet makes of names.

    Examples
    --------
    >>> [looks_eaten(name) for name in ("5-Jan", "1E5", "1.00E+05", "NA", "#N/A", "7.0")]
    [True, True, True, True, True, True]
    >>> [looks_eaten(name) for name in ("T05", "H09-FW", "12", "007", "Mayfield", "7/a")]
    [False, False, False, False, False, False]
    """
    return _EATEN.fullmatch(name) is not None


def unknown_fix(names: Iterable[str], known: Iterable[str], file: str) -> Callable[[str], str]:
    """Return how to mend each of the names that a file does not know.

    Parameters
    ----------
    names
        The names that are not known.
    known
        The names that are.
    file
        Where they are listed.

    Examples
    --------
    >>> fix = unknown_fix(["TO5", "5-Jan", "Total"], ["T05"], "traps.csv")
    >>> fix("TO5")
    "did you mean 'T05'?"
    >>> fix("5-Jan")
    'a spreadsheet seems to have changed it: format the column as text, and type the name again'
    >>> fix("Total")
    'delete the row if it sums up others'
    """
    close = close_names(names, known)

    def fix(name: str) -> str:
        if _SUM(name):
            return "delete the row if it sums up others"
        if looks_eaten(name):
            return f"a spreadsheet seems to have changed it: {_FIX}"
        return asked_back(close.get(name), f"add it to {file}, or mend the id")

    return fix


def id_checks(column: str) -> list[Check]:
    """Return the warnings about the names that a table gives to traps or zones.

    Parameters
    ----------
    column
        The column of names.
    """

    def eaten(draft: Draft) -> list[Finding]:
        return _eaten(draft, column)

    def alike(draft: Draft) -> list[Finding]:
        return _alike(draft, column)

    return [eaten, alike]


def _eaten(draft: Draft, column: str) -> list[Finding]:
    names = draft.typed[column].astype(str)
    changed = names.map(looks_eaten).astype(bool)
    short = ~changed & _lost_zeros(names)
    faults = [
        Fault(
            "IN-045",
            changed,
            lambda cell: f"{quoted(cell)} looks like a name that a spreadsheet has changed",
            _FIX,
            column,
            "warning",
        ),
        Fault(
            "IN-045",
            short,
            lambda cell: f"{quoted(cell)} has fewer digits than the names that begin with 0",
            _FIX,
            column,
            "warning",
        ),
    ]
    return [finding for fault in faults for finding in findings_at(draft, fault)]


def _lost_zeros(names: pd.Series[str]) -> pd.Series[bool]:
    """Return True on numbers shorter than all those that begin with a zero, e.g. 7 beside 012."""
    digits = names.str.fullmatch(r"[0-9]+")
    widths = names[digits & names.str.startswith("0")].str.len()
    if widths.empty:
        return pd.Series(False, index=names.index)
    return digits & (names.str.len() < int(widths.min()))


def _alike(draft: Draft, column: str) -> list[Finding]:
    """Report a name that reads the same as an earlier, differently written one."""
    names = draft.typed[column].astype(str)
    distinct = names[(names != "") & ~names.duplicated()]
    keys = distinct.map(reading)
    first = distinct.groupby(keys).transform("first")
    later = (first != distinct).reindex(names.index, fill_value=False)
    fault = Fault(
        "IN-046",
        later,
        "it reads the same as " + first.map(quoted),
        "if both mean one place, write it one way; else choose names that differ more",
        column,
        "warning",
    )
    return findings_at(draft, fault)
