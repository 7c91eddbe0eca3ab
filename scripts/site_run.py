"""What every command does with a site's mistakes and with what it has to say."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import click

from data.findings import Finding, InputError
from data.set_aside import Account
from data.site import Site
from maps.set_aside import SET_ASIDE_FILE, set_aside_csv
from scripts.finding_lines import counted, error_lines, warning_lines


def going_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--keep-going`` and ``--quiet``."""
    keep = "Go on without the rows that hold errors."
    quiet = "Say nothing but errors and the paths written."
    command = click.option("--quiet", is_flag=True, help=quiet)(command)
    return click.option("--keep-going", is_flag=True, help=keep)(command)


def say(
    findings: tuple[Finding, ...],
    lines: Iterable[str],
    always: Iterable[str | Path],
    *,
    quiet: bool,
) -> None:
    """Print what a run found out: findings to standard error, sentences, and the paths written.

    Parameters
    ----------
    findings
        Of the site's files.
    lines
        What the run says; kept back when quiet.
    always
        What is said even then: the files written.
    quiet
        Say nothing but errors and `always`.
    """
    for line in told(findings, quiet=quiet):
        click.echo(f"snoutline: {line}", err=True)
    for text in [*([] if quiet else lines), *always]:
        click.echo(text)


def refuse_errors(site: Site) -> None:
    """Refuse a site whose files hold errors.

    Raises
    ------
    InputError
        With all findings, and what to do about them.
    """
    if any(each.severity == "error" for each in site.findings):
        hint = "snoutline check lists them as a table; --keep-going goes on without those rows"
        click.echo(f"snoutline: {hint}", err=True)
        raise InputError(site.findings, site.account)


def aside_texts(site: Site, folder: Path) -> dict[str, str]:
    """Return set-aside.csv by its name; nothing without such rows or an older file to renew."""
    if site.account.count or (folder / SET_ASIDE_FILE).is_file():
        return {SET_ASIDE_FILE: set_aside_csv(site.account)}
    return {}


def told(findings: tuple[Finding, ...], *, quiet: bool) -> list[str]:
    """Return the lines about a site's findings: every row set aside, and the first warnings."""
    whole = [each for each in findings if each.row is None]
    rows = [each for each in findings if each.row is not None]
    errors = [
        *(f"error: {line}" for line in error_lines(whole)),
        *(f"row set aside: {line}" for line in error_lines(rows)),
    ]
    return errors if quiet else [*errors, *warning_lines(findings)]


def rows_text(account: Account) -> str:
    """Return on how many rows of the files a run rests.

    Examples
    --------
    >>> from data.set_aside import Tally
    >>> rows_text(Account((Tally("visits.csv", read=64, used=64, set_aside=0),)))
    'All 64 rows of the files are used.'
    """
    read = sum(each.read for each in account.tallies)
    if not account.count:
        return f"All {counted(read, 'row')} of the files are used."
    verb = "is" if account.count == 1 else "are"
    return (
        f"Of {counted(read, 'row')} in the files, {read - account.count:,} are used and "
        f"{account.count:,} {verb} set aside with a mistake: see {SET_ASIDE_FILE}."
    )
