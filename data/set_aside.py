"""Rows that were set aside, whole and as typed, and how many rows each table rests on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from data.checks import Draft
from data.findings import Finding


@dataclass(frozen=True, slots=True)
class SetAsideRow:
    """One row that counts nowhere.

    Parameters
    ----------
    finding
        Why: its first error, or the error elsewhere that takes it along.
    cells
        Column of the file -> what was typed; empty for a row that could not be split into cells.
    """

    finding: Finding
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Tally:
    """How many rows of one file count.

    Parameters
    ----------
    file
        File name, with its sheet or layer where it holds several.
    read, used, set_aside
        Rows; ``read = used + set_aside``.
    """

    file: str
    read: int
    used: int
    set_aside: int


@dataclass(frozen=True, slots=True)
class Account:
    """What became of every row of a site.

    Parameters
    ----------
    tallies
        One for each file, in the order in which they are read.
    rows
        Every row set aside, by file and row.
    """

    tallies: tuple[Tally, ...] = ()
    rows: tuple[SetAsideRow, ...] = ()

    @property
    def count(self) -> int:
        """Rows set aside, of all files."""
        return len(self.rows)


def account_of(drafts: Iterable[Draft | None], used: Mapping[str, Iterable[int]]) -> Account:
    """Tell what became of every row.

    Parameters
    ----------
    drafts
        The checked tables.
    used
        File -> rows that count, where that is not simply every row without an error.

    Examples
    --------
    >>> import pandas as pd
    >>> text = pd.DataFrame({"trap_id": ["T01", "T99"]}, index=[2, 3])
    >>> wrong = Finding("IN-040", "visits.csv", "unknown", "mend it", row=3, column="Trap")
    >>> draft = Draft("visits.csv", text, text, {"trap_id": "Trap"}, (wrong,))
    >>> account = account_of([draft], {})
    >>> account.tallies
    (Tally(file='visits.csv', read=2, used=1, set_aside=1),)
    >>> account.rows[0].cells
    {'Trap': 'T99'}
    """
    parts = [_table(draft, used.get(draft.file)) for draft in drafts if draft is not None]
    return Account(
        tuple(tally for tally, _ in parts), tuple(row for _, rows in parts for row in rows)
    )


def _table(draft: Draft, used: Iterable[int] | None) -> tuple[Tally, list[SetAsideRow]]:
    kept = set(draft.sound.index if used is None else used)
    # A row with too many cells is in no table, yet it was read.
    first = _first_errors(draft)
    # Row 1 is the header of a plain table, but the first feature of a layer.
    rows = sorted(set(draft.text.index) | (set(first) - {1}))
    lost = [row for row in rows if row not in kept]
    aside = [SetAsideRow(_reason(draft, row, first), _cells(draft, row)) for row in lost]
    return Tally(draft.file, len(rows), len(rows) - len(lost), len(lost)), aside


def _first_errors(draft: Draft) -> dict[int, Finding]:
    first: dict[int, Finding] = {}
    for each in draft.findings:
        if each.severity == "error" and each.row is not None:
            first.setdefault(each.row, each)
    return first


def _reason(draft: Draft, row: int, first: Mapping[int, Finding]) -> Finding:
    """Return a row's first error, else that of the file, else that another row takes it along."""
    whole = [each for each in draft.findings if each.severity == "error" and each.row is None]
    if row in first:
        return first[row]
    if whole:
        return whole[0]
    return Finding(
        "IN-044",
        draft.file,
        "another row of this visit, or the row of its trap, was set aside",
        "mend that row",
        row=row,
    )


def _cells(draft: Draft, row: int) -> dict[str, str]:
    if row not in draft.text.index:
        return {}
    cells = draft.text.loc[row]
    return {draft.headers.get(str(name), str(name)): str(cell) for name, cell in cells.items()}
