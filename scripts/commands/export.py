"""`snoutline export`: one site's records in open formats."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import get_args

import click

from data.reading import read_site
from maps.darwin_core import darwin_core_archive
from maps.darwin_core_rows import AbsenceWord, ArchiveChoice
from maps.geopackage import geopackage
from maps.records import Records, records_up_to
from maps.shapes_out import traps_geojson, traps_gpx, zones_geojson
from scripts.commands.weekly import default_folder, told, written
from scripts.progress import Progress

Drawing = Callable[[Records, ArchiveChoice], str | bytes]

FORMATS: dict[str, dict[str, Drawing]] = {
    "gpkg": {"site.gpkg": lambda records, _: geopackage(records)},
    "gpx": {"traps.gpx": lambda records, _: traps_gpx(records)},
    "geojson": {
        "traps.geojson": lambda records, _: traps_geojson(records),
        "zones.geojson": lambda records, _: zones_geojson(records),
    },
    "dwca": {"darwin-core.zip": darwin_core_archive},
}
"""Format -> its files, each with the function that draws it; a new format is one entry here."""

ALL = "all"


@click.command(
    name="export",
    epilog="Example:  snoutline export my-course --format dwca --coarsen-m 100",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="Leave out what is later than this ISO week, e.g. 2026-W19."
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the files.  [default: snoutline-out/ and the site folder's name]",
)
@click.option(
    "--format",
    "format_name",
    type=click.Choice([*FORMATS, ALL]),
    default=ALL,
    show_default=True,
    help="Which files to write.",
)
@click.option(
    "--coarsen-m",
    type=click.FloatRange(min=0, max=100_000),
    default=0.0,
    help="Darwin Core only: move positions to the centres of a grid of so many metres.",
)
@click.option(
    "--absence-word",
    type=click.Choice(get_args(AbsenceWord)),
    default="notDetected",
    show_default=True,
    help="Darwin Core only: word for a count of zero; older programs expect 'absent'.",
)
@click.option(
    "--with-notes",
    is_flag=True,
    help="Darwin Core only: put the notes of visits in; read them first, they may name people.",
)
def command(
    site: Path,
    week: str | None,
    out: Path | None,
    format_name: str,
    coarsen_m: float,
    absence_word: AbsenceWord,
    with_notes: bool,
) -> None:
    """Write the records of SITE in open formats, for other programs and for sharing.

    Writes site.gpkg, traps.gpx, traps.geojson, zones.geojson and darwin-core.zip. The files of
    SITE are only read.
    """
    choice = ArchiveChoice(coarsen_m, absence_word, with_notes)
    with Progress(quiet=False) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        records = records_up_to(checked, week)
        progress.step("writing")
        paths = written(drawn(records, choice, format_name), out or default_folder(site), site)
    for line in told(checked.findings, quiet=False):
        click.echo(f"snoutline: {line}", err=True)
    for path in paths:
        click.echo(path)


def drawn(records: Records, choice: ArchiveChoice, format_name: str) -> dict[str, str | bytes]:
    """Return the content of every file of a format, or of all formats."""
    chosen = FORMATS if format_name == ALL else {format_name: FORMATS[format_name]}
    return {
        name: draw(records, choice) for files in chosen.values() for name, draw in files.items()
    }
