"""How checks are written and run: each one looks at a draft and returns what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from data.findings import Finding, Severity

_LONGEST_VALUE = 60

_BLANK_CODES = ("IN-010", "IN-020")
_UNCOMPUTED = "IN-092"


@dataclass(frozen=True, slots=True)
class Fault:
    """One kind of mistake in some rows of a table.

    Parameters
    ----------
    code
        Stable code, a key of `data.findings.CODES`.
    bad
        True where the mistake is, on the index of the table.
    problem, fix
        Sentence parts: one for all rows, a function of the cell's text, or one for each row.
    column
        Our name of the column, or None for the whole row.
    severity
        Whether the rows are set aside.
    """

    code: str
    bad: pd.Series[bool]
    problem: str | Callable[[str], str] | pd.Series[str]
    fix: str | Callable[[str], str] | pd.Series[str]
    column: str | None = None
    severity: Severity = "error"


@dataclass(frozen=True, slots=True)
class Draft:
    """A table that is being checked.

    Parameters
    ----------
    file
        File name relative to the site's folder.
    text
        The cells as typed, under our names; the index holds spreadsheet rows.
    typed
        The cells understood: dates, numbers (NaN where blank or wrong) and text; same index.
    headers
        Our column -> name in the file.
    findings
        What was found so far.
    """

    file: str
    text: pd.DataFrame
    typed: pd.DataFrame
    headers: Mapping[str, str]
    findings: tuple[Finding, ...] = ()

    @property
    def bad_rows(self) -> frozenset[int]:
        """Rows with at least one error."""
        return frozenset(
            finding.row
            for finding in self.findings
            if finding.severity == "error" and finding.row is not None
        )

    @property
    def sound(self) -> pd.DataFrame:
        """The values of the rows without any error; none when an error concerns the whole file."""
        if any(finding.severity == "error" and finding.row is None for finding in self.findings):
            return self.typed.iloc[:0]
        return self.typed[self.good()] if self.findings else self.typed

    def good(self, *columns: str) -> pd.Series[bool]:
        """Return True where a row has no error so far, on the index of the table.

        Parameters
        ----------
        *columns
            Our names of the only columns whose errors count; an error of the whole row is one of
            its ``"geometry"``. A check that names what it looks at misses nothing that stands
            beside a mistake elsewhere in the row.
        """
        index, bad = self.typed.index, self._bad_in(columns) if columns else self.bad_rows
        flags = ~index.isin(sorted(bad)) if bad else np.ones(len(index), dtype=bool)
        return pd.Series(flags, index=index)

    def _bad_in(self, columns: tuple[str, ...]) -> frozenset[int]:
        names: set[str | None] = {self.headers.get(name, name) for name in columns}
        names |= {None} if "geometry" in columns else set()
        return frozenset(
            each.row
            for each in self.findings
            if each.severity == "error" and each.row is not None and each.column in names
        )

    def with_findings(self, found: Iterable[Finding]) -> Draft:
        """Return the draft with more findings."""
        return replace(self, findings=(*self.findings, *found))


Check = Callable[[Draft], list[Finding]]
"""A check of one table: it changes nothing and returns findings."""


def run_checks(draft: Draft, checks: Iterable[Check]) -> Draft:
    """Run checks in order; each one sees the findings of those before it.

    Examples
    --------
    >>> text = pd.DataFrame({"use": ["tee", ""]}, index=[2, 3], dtype=str)
    >>> def no_blank(draft: Draft) -> list[Finding]:
    ...     blank = draft.text["use"] == ""
    ...     return findings_at(draft, Fault("IN-010", blank, "it is blank", "fill it in", "use"))
    >>> draft = run_checks(Draft("zones.csv", text, text, {"use": "Use"}), [no_blank])
    >>> print(draft.findings[0])
    zones.csv row 3, column Use: it is blank; fill it in [IN-010]
    >>> list(draft.sound.index)
    [2]
    """
    for check in checks:
        draft = draft.with_findings(check(draft))
    return draft


def findings_at(draft: Draft, fault: Fault) -> list[Finding]:
    """Turn a fault into one finding for each bad row.

    Parameters
    ----------
    draft
        The table it is in.
    fault
        What is wrong and where.

    Returns
    -------
    list of Finding
        In the order of the rows; the value is the text as typed.
    """
    if not fault.bad.any():
        return []
    rows = fault.bad.index[fault.bad]
    column = fault.column
    if fault.code in _BLANK_CODES and column is not None:
        rows = rows[~rows.isin(_uncomputed(draft, draft.headers.get(column, column)))]
    cells = draft.text[column].loc[rows] if column in draft.text else pd.Series("", index=rows)
    return [
        Finding(
            fault.code,
            draft.file,
            _part(fault.problem, row, str(cell)),
            _part(fault.fix, row, str(cell)),
            severity=fault.severity,
            row=int(row),
            column=None if column is None else draft.headers.get(column, column),
            value=str(cell) if column in draft.text else None,
        )
        for row, cell in zip(rows, cells, strict=True)
    ]


def _uncomputed(draft: Draft, column: str) -> list[int]:
    """Return the rows in which a spreadsheet could not compute a cell: it is not blank."""
    return [
        each.row
        for each in draft.findings
        if each.code == _UNCOMPUTED and each.column == column and each.row is not None
    ]


def rows_of(draft: Draft, rows: Iterable[int]) -> pd.Series[bool]:
    """Return True on the given rows of a draft, on the index of its table."""
    return pd.Series(draft.typed.index.isin(list(rows)), index=draft.typed.index)


def quoted(value: str) -> str:
    """Return a cell in quotation marks, shortened, with control characters made visible.

    Examples
    --------
    >>> quoted("2l"), quoted("x" * 70)[-6:]
    ("'2l'", "xx...'")
    """
    short = value if len(value) <= _LONGEST_VALUE else value[: _LONGEST_VALUE - 3] + "..."
    return repr(short)


def _part(part: str | Callable[[str], str] | pd.Series[str], row: int, cell: str) -> str:
    if isinstance(part, pd.Series):
        return str(part.loc[row])
    return part if isinstance(part, str) else part(cell)


def same_row_twice(code: str, fix: str) -> Check:
    """Return the check that warns of a row about a zone that says the same as an earlier one.

    Parameters
    ----------
    code
        A key of `data.findings.CODES`.
    fix
        What to do.
    """

    def check(draft: Draft) -> list[Finding]:
        twice = draft.good() & draft.text.duplicated()
        problem = "the row says the same as an earlier one"
        return findings_at(draft, Fault(code, twice, problem, fix, "zone_id", "warning"))

    return check
