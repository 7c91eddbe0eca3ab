"""`snoutline weekly`: this week's map and tables of one site."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import click

from data.findings import Finding, InputError, SettingsError
from data.reading import read_site
from data.site import Site
from maps.set_aside import SET_ASIDE_FILE, set_aside_csv
from maps.words import headline
from maps.write import weekly_texts, write_texts
from scripts.progress import Progress
from spatial.analysis import analyse

OUT = Path("snoutline-out")
SHOWN_WARNINGS = 20


@click.command(
    name="weekly",
    epilog="Example:  snoutline weekly my-course --week 2026-W19 --out reports",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="ISO week, e.g. 2026-W19.  [default: last with visits]"
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the files.  [default: snoutline-out/ and the site folder's name]",
)
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
        aside = out or default_folder(site)
        if checked.account.count or (aside / SET_ASIDE_FILE).is_file():
            texts[SET_ASIDE_FILE] = set_aside_csv(checked.account)
        paths = written(texts, aside, site)
    for line in told(checked.findings, quiet=quiet):
        click.echo(f"snoutline: {line}", err=True)
    for line in [] if quiet else headline(analysis):
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


def default_folder(site: Path) -> Path:
    """Return where the files of a site go unless the user says otherwise.

    Examples
    --------
    >>> default_folder(Path("courses/north")).as_posix()
    'snoutline-out/north'
    """
    return OUT / site.resolve().name


def written(texts: Mapping[str, str | bytes], folder: Path, site: Path) -> list[Path]:
    """Write the files and return their paths.

    Raises
    ------
    SettingsError
        If the folder is the site's own, or cannot be written to.
    """
    if folder.resolve() == site.resolve():
        raise SettingsError(
            f"--out {folder} is the site's own folder, whose files are only read; "
            "choose another folder"
        )
    try:
        return write_texts(texts, folder)
    except OSError as error:
        reason = error.strerror or error
        raise SettingsError(
            f"the folder {folder} cannot be written to: {reason}; "
            "close the files there, or choose another with --out"
        ) from error


def told(findings: tuple[Finding, ...], *, quiet: bool) -> list[str]:
    """Return the lines about a site's findings: every error, and the first warnings."""
    errors = [f"row set aside: {each}" for each in findings if each.severity == "error"]
    if quiet:
        return errors
    warnings = [f"warning: {each}" for each in findings if each.severity == "warning"]
    hidden = len(warnings) - SHOWN_WARNINGS
    more = [f"and {hidden} more warnings"] if hidden > 0 else []
    return [*errors, *warnings[:SHOWN_WARNINGS], *more]
