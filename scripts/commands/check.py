"""`snoutline check`: every mistake in a site's files, as a table to act on."""

from __future__ import annotations

import dataclasses
import itertools
import json
import shutil
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path

import click

from data.findings import Finding, InputError
from data.reading import read_site
from data.set_aside import Account
from maps.set_aside import SET_ASIDE_FILE, set_aside_csv
from scripts.finding_lines import counted
from scripts.out_folder import default_folder, out_option, written

FORMAT = "snoutline check 1"
NARROWEST = 80
SHOWN_ALIKE = 20
"""Findings with one code in one file that are listed unless all are asked for."""


@click.command(name="check", epilog="Example:  snoutline check my-course --out reports")
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for programs.")
@click.option("--all", "every", is_flag=True, help="List every finding, however many are alike.")
@out_option("set-aside.csv")
def command(site: Path, *, as_json: bool, every: bool, out: Path | None) -> int:
    """Check the files of SITE and say how to mend every mistake in them.

    Rows with an error are written, whole and as typed, to set-aside.csv. The files of SITE are
    only read. The exit code is 0 without errors (warnings allowed) and 3 with errors.
    """
    findings, account = checked(site)
    kept = keep(account, out or default_folder(site), site)
    if as_json:
        click.echo(json.dumps(document(findings, account), indent=2, ensure_ascii=False))
    else:
        for line in report(findings, account, terminal_width(), None if every else SHOWN_ALIKE):
            click.echo(line)
        for path in kept:
            click.echo(f"The rows set aside are in {path}")
    return InputError.exit_code if errors_of(findings) else 0


def checked(site: Path) -> tuple[tuple[Finding, ...], Account]:
    """Read a site and return all findings, and what became of its rows.

    Raises
    ------
    SettingsError
        When `site.toml` is missing or wrong.
    """
    try:
        read = read_site(site)
    except InputError as error:
        account = error.account if isinstance(error.account, Account) else Account()
        return error.findings, account
    return read.findings, read.account


def keep(account: Account, folder: Path, site: Path) -> list[Path]:
    """Write the rows set aside; without any, only an older file of that name is renewed.

    Raises
    ------
    SettingsError
        If the folder is the site's own, or cannot be written to.
    """
    if account.count == 0 and not (folder / SET_ASIDE_FILE).is_file():
        return []
    paths = written({SET_ASIDE_FILE: set_aside_csv(account)}, folder, site)
    return paths if account.count else []


def errors_of(findings: Iterable[Finding]) -> list[Finding]:
    """Return the findings that set rows aside."""
    return [each for each in findings if each.severity == "error"]


def document(findings: Sequence[Finding], account: Account) -> dict[str, object]:
    """Return the result for programs."""
    errors = len(errors_of(findings))
    return {
        "format": FORMAT,
        "errors": errors,
        "warnings": len(findings) - errors,
        "rows": totals(account),
        "files": [dataclasses.asdict(tally) for tally in account.tallies],
        "findings": [dataclasses.asdict(finding) for finding in findings],
    }


def totals(account: Account) -> dict[str, int]:
    """Return the rows read, used, set aside and out of season, of all files together."""
    names = ("read", "used", "set_aside", "out_of_season")
    return {name: sum(getattr(each, name) for each in account.tallies) for name in names}


def report(
    findings: Sequence[Finding], account: Account, width: int, alike: int | None
) -> list[str]:
    """Return the lines of the report: the findings of each file, then how many rows count.

    Parameters
    ----------
    findings
        By file.
    account
        What became of the rows.
    width
        Columns of the terminal.
    alike
        Findings with one code in one file to list, or None for all.

    Examples
    --------
    >>> wrong = Finding("IN-021", "visits.csv", "'2l' is not a whole number",
    ...                 "type the count in digits", row=14, column="parvulus", value="2l")
    >>> for line in report([wrong], Account(), 80, 20):
    ...     print(line)
    visits.csv
      row    14  parvulus        ERROR    '2l' is not a whole number; type the count
                                          in digits [IN-021]
    <BLANKLINE>
    1 error, 0 warnings
    """
    lines: list[str] = []
    for file, group in itertools.groupby(findings, key=lambda each: each.file):
        lines += [file, *_of_file(list(group), width, alike), ""]
    return [*lines, *_tally_lines(account), verdict(findings, account)]


def verdict(findings: Sequence[Finding], account: Account) -> str:
    """Return the closing sentence.

    Examples
    --------
    >>> verdict([], Account())
    'no errors, no warnings'
    """
    if not findings:
        return "no errors, no warnings"
    errors = len(errors_of(findings))
    text = f"{counted(errors, 'error')}, {counted(len(findings) - errors, 'warning')}"
    if account.count:
        text += f"; {counted(account.count, 'row')} set aside and counted nowhere"
    if outside := account.out_of_season:
        text += f"; {counted(outside, 'row')} out of season"
    return text


def terminal_width() -> int:
    """Return the columns of the terminal, at least 80."""
    return max(NARROWEST, shutil.get_terminal_size((NARROWEST, 24)).columns)


def _of_file(findings: list[Finding], width: int, alike: int | None) -> list[str]:
    lines: list[str] = []
    seen: dict[str, int] = {}
    for each in findings:
        seen[each.code] = seen.get(each.code, 0) + 1
        if alike is None or seen[each.code] <= alike:
            lines += _finding_lines(each, width)
    hidden = {} if alike is None else {c: n - alike for c, n in seen.items() if n > alike}
    return lines + [
        f"  and {count} more of {code}; --all lists them" for code, count in hidden.items()
    ]


def _finding_lines(each: Finding, width: int) -> list[str]:
    place = "file      " if each.row is None else f"row {each.row:>5} "
    word = "ERROR" if each.severity == "error" else "warning"
    start = f"  {place} {each.column or '':<15} {word:<8} "
    text = " ".join(f"{each.problem}; {each.fix} [{each.code}]".split())
    # A heading may be as long as a line: then the words begin on a line of their own.
    own_line = len(start) > width // 2
    indent = " " * (29 if own_line else len(start))
    wrapped = textwrap.wrap(text, width - len(indent), break_on_hyphens=False) or [""]
    first = [start.rstrip(), indent + wrapped[0]] if own_line else [start + wrapped[0]]
    return [*first, *(indent + line for line in wrapped[1:])]


def _tally_lines(account: Account) -> list[str]:
    if not account.tallies:
        return []
    names = {"read": "read", "used": "used", "set_aside": "set aside"}
    # A column that is nearly always 0 would only be in the way.
    names |= {"out_of_season": "out of season"} if account.out_of_season else {}
    rows = [(each.file, dataclasses.asdict(each)) for each in account.tallies]
    rows.append(("all files", totals(account)))
    wide = max(len(file) for file, _ in rows)
    head = f"{'rows':<{wide}}  " + "  ".join(f"{word:>9}" for word in names.values())
    body = [
        f"{file:<{wide}}  "
        + "  ".join(f"{row[name]:>{max(9, len(word))},}" for name, word in names.items())
        for file, row in rows
    ]
    return [head, *body, ""]
