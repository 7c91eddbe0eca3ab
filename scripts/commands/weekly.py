"""`snoutline weekly`: this week's map and tables of one site."""

from __future__ import annotations

from pathlib import Path

import click

from data.findings import Finding, InputError
from data.reading import read_site
from data.set_aside import Account
from data.site import Site
from maps.decision_words import states_headline
from maps.set_aside import SET_ASIDE_FILE, set_aside_csv
from maps.words import headline
from maps.write import weekly_texts
from scripts.finding_lines import counted, error_lines, warning_lines
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from spatial.analysis import analyse


@click.command(
    name="weekly",
    epilog="Example:  snoutline weekly my-course --week 2026-W19 --out reports",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="ISO week, e.g. 2026-W19.  [default: last with visits]"
)
@out_option()
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Seed of the permutations; the same seed gives the same files.",
)
@click.option(
    "--keep-going", is_flag=True, help="Go on without the rows that hold errors; list them."
)
@click.option("--quiet", is_flag=True, help="Say nothing but errors and the paths written.")
def command(
    site: Path, *, week: str | None, out: Path | None, seed: int, keep_going: bool, quiet: bool
) -> None:
    """Draw the week's activity map and tables of SITE, a folder with site.toml and its tables.

    Writes activity-map.html, zones.csv, traps.csv, suggested-traps.geojson, suggested-traps.gpx
    and summary.json. The files of SITE are only read. When they hold errors nothing is written,
    unless --keep-going is given: then set-aside.csv holds the rows that do not count.
    """
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        if not keep_going:
            refuse_errors(checked)
        progress.step("looking for patches")
        analysis = analyse(checked, week, seed=seed)
        progress.step("drawing")
        texts = weekly_texts(analysis)
        folder = out or default_folder(site)
        paths = written({**texts, **aside_texts(checked, folder)}, folder, site)
    for line in told(checked.findings, quiet=quiet):
        click.echo(f"snoutline: {line}", err=True)
    judged = [states_headline(analysis.decisions)] if analysis.judged else []
    first, *more = headline(analysis)
    for line in [] if quiet else [first, *judged, *more]:
        click.echo(line)
    for path in paths:
        click.echo(path)


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
