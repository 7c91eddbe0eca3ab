"""`snoutline export`: one site's records in open formats."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import click

from data.findings import SettingsError
from data.reading import read_site
from data.schemas import SITE_FILE
from maps.darwin_core import darwin_core_archive
from maps.darwin_core_rows import AbsenceWord, ArchiveChoice
from maps.geopackage import geopackage
from maps.records import Records, records_up_to
from maps.shapes_out import traps_geojson, traps_gpx, zones_geojson
from maps.site_toml import SITE_TOML_MARK, site_toml
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import aside_texts, refuse_errors, rows_text, say


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is exported.

    Parameters
    ----------
    records
        What was recorded.
    choice
        What the Darwin Core archive leaves out.
    settings
        The site's own `site.toml`, as a TOML parser reads it.
    """

    records: Records
    choice: ArchiveChoice
    settings: Mapping[str, Any]


Drawing = Callable[[Wanted], str | bytes]

FORMATS: dict[str, dict[str, Drawing]] = {
    "gpkg": {
        "site/site.toml": lambda each: site_toml(each.settings, str(each.records.site.zones.crs)),
        "site/site.gpkg": lambda each: geopackage(each.records),
    },
    "gpx": {"traps.gpx": lambda each: traps_gpx(each.records)},
    "geojson": {
        "traps.geojson": lambda each: traps_geojson(each.records),
        "zones.geojson": lambda each: zones_geojson(each.records),
    },
    "dwca": {"darwin-core.zip": lambda each: darwin_core_archive(each.records, each.choice)},
}
"""Format -> its files, each with the function that draws it; a new format is one entry here.

What reads back as a site is in a folder of its own, for that is what a site is.
"""

ALL = "all"
SITE = "site"
"""Folder of the export that is a site again."""


@click.command(
    name="export",
    epilog="Example:  snoutline export my-course --format dwca --coarsen-m 100",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="Leave out what is later than this ISO week, e.g. 2026-W19."
)
@out_option()
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
    "notes",
    is_flag=True,
    help="Darwin Core only: put the notes of visits in; read them first, they may name people.",
)
@click.option(
    "--keep-going", is_flag=True, help="Go on without the rows that hold errors; list them."
)
def command(
    site: Path,
    *,
    week: str | None,
    out: Path | None,
    format_name: str,
    keep_going: bool,
    **archive: Any,
) -> None:
    """Write the records of SITE in open formats, for other programs and for sharing.

    Writes traps.gpx, traps.geojson, zones.geojson, darwin-core.zip, and the folder site/ with
    site.gpkg and a site.toml of its own, which is a site again. The files of SITE are only read.
    When they hold errors nothing is written, unless --keep-going is given: then set-aside.csv holds
    the rows that are left out.
    """
    with Progress(quiet=False) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        if not keep_going:
            refuse_errors(checked)
        own = tomllib.loads((site / SITE_FILE).read_text(encoding="utf-8-sig"))
        wanted = Wanted(records_up_to(checked, week), ArchiveChoice(**archive), own)
        progress.step("writing")
        folder = out or default_folder(site)
        texts = {**drawn(wanted, format_name), **aside_texts(checked, folder)}
        paths = written_in_folders(texts, folder, site)
    click.echo(f"snoutline: {rows_text(checked.account)}", err=True)
    say(checked.findings, (), paths, quiet=False)


def drawn(wanted: Wanted, format_name: str) -> dict[str, str | bytes]:
    """Return the content of every file of a format, or of all formats."""
    chosen = FORMATS if format_name == ALL else {format_name: FORMATS[format_name]}
    return {name: draw(wanted) for files in chosen.values() for name, draw in files.items()}


def written_in_folders(texts: Mapping[str, str | bytes], folder: Path, site: Path) -> list[Path]:
    """Write files, some of them in a folder below, and return their paths.

    Raises
    ------
    SettingsError
        If one of the folders is the site's own, holds another site, or cannot be written to.
    """
    groups: dict[Path, dict[str, str | bytes]] = {folder: {}}
    for name, text in texts.items():
        path = folder / name
        groups.setdefault(path.parent, {})[path.name] = text
    refuse_other_site(folder / SITE)
    # Nothing goes into any folder before all of them are known to be fit.
    for parent in groups:
        written({}, parent, site)
    for parent, files in groups.items():
        written(files, parent, site)
    return [folder / name for name in texts]


def refuse_other_site(folder: Path) -> None:
    """Refuse a folder that holds anything but an earlier export, or what stands hidden in it.

    A table of someone else's beside our GeoPackage would be read in place of its layer.

    Raises
    ------
    SettingsError
        When something else is there.
    """
    if not folder.is_dir():
        return
    names = {path.name for path in folder.iterdir() if not path.name.startswith(".")}
    toml = folder / SITE_FILE
    ours = toml.is_file() and toml.read_bytes().startswith(SITE_TOML_MARK.encode())
    if names and (
        not ours or any(not name.startswith(("site.toml", "site.gpkg")) for name in names)
    ):
        raise SettingsError(
            f"the folder {folder} holds other files, which would be mixed up with the exported "
            "site; choose another folder with --out"
        )
