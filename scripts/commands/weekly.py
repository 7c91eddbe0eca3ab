"""`snoutline weekly`: this week's map and tables of one site."""

from __future__ import annotations

from pathlib import Path

import click

from data.aerial import read_aerial, with_aerial
from data.reading import read_site
from maps.decision_words import no_limit_sentence, states_headline
from maps.words import headline
from maps.write import weekly_texts
from scripts.language_option import language_of, language_option
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import aside_texts, going_options, refuse_errors, say
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
@language_option
@going_options
def command(
    site: Path,
    *,
    week: str | None,
    out: Path | None,
    seed: int,
    language: Path | None,
    keep_going: bool,
    quiet: bool,
) -> None:
    """Draw the week's activity map and tables of SITE, a folder with site.toml and its tables.

    Writes activity-map.html, zones.csv, traps.csv, suggested-traps.geojson, suggested-traps.gpx
    and summary.json. The files of SITE are only read. When they hold errors nothing is written,
    unless --keep-going is given: then set-aside.csv holds the rows that do not count.
    """
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        lang = language_of(language, site, checked.settings)
        if not keep_going:
            refuse_errors(checked)
        if checked.settings.aerial.file:
            progress.step("laying out the photo")
            checked = with_aerial(checked, read_aerial(site, checked))
        progress.step("looking for patches")
        analysis = analyse(checked, week, seed=seed)
        progress.step("drawing")
        texts = weekly_texts(analysis, lang)
        folder = out or default_folder(site)
        paths = written({**texts, **aside_texts(checked, folder)}, folder, site)
    limits = checked.settings.limits
    judged = [states_headline(analysis.decisions, lang)] if analysis.judged else []
    if limits and not analysis.judged:
        judged = [no_limit_sentence(limits, analysis.season.cutoff, lang)]
    first, *more = headline(analysis, lang)
    say(checked.findings, [first, *judged, *more], paths, quiet=quiet)
