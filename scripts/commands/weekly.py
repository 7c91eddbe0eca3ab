"""`snoutline weekly`: this week's map and tables of one site."""

from __future__ import annotations

from pathlib import Path

import click

from data.aerial import read_aerial, with_aerial
from data.reading import read_site
from maps.decision_words import no_limit_sentence, states_headline
from maps.words import headline
from maps.write import weekly_texts
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import aside_texts, refuse_errors, say
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
        if checked.settings.aerial.file:
            progress.step("laying out the photo")
            checked = with_aerial(checked, read_aerial(site, checked))
        progress.step("looking for patches")
        analysis = analyse(checked, week, seed=seed)
        progress.step("drawing")
        texts = weekly_texts(analysis)
        folder = out or default_folder(site)
        paths = written({**texts, **aside_texts(checked, folder)}, folder, site)
    limits = checked.settings.limits
    judged = [states_headline(analysis.decisions)] if analysis.judged else []
    if limits and not analysis.judged:
        judged = [no_limit_sentence(limits, analysis.season.cutoff)]
    first, *more = headline(analysis)
    say(checked.findings, [first, *judged, *more], paths, quiet=quiet)
