"""`snoutline sampling`: how patchy a site is, and how much sampling is enough."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import click

from data.reading import read_site
from maps.sampling_page import (
    chart_pages,
    core_sentences,
    sampling_csv,
    sampling_html,
    sampling_json,
    sampling_sentences,
)
from scripts.language_option import language_of, language_option
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import going_options, refuse_errors, say
from spatial.class_sampling import Wanted, site_sampling


@click.command(
    name="sampling",
    epilog="Example:  snoutline sampling my-course --week 2026-W19 --precision 0.3",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="ISO week, e.g. 2026-W19.  [default: last with visits]"
)
@click.option("--cores", is_flag=True, help="Look at soil cores, too (rows of one core each).")
@click.option(
    "--precision",
    type=click.FloatRange(0.05, 1.0),
    default=0.25,
    show_default=True,
    help="Standard error, or half a 95 % interval, as a share of the mean.",
)
@click.option(
    "--fold",
    type=click.FloatRange(1.1, 5.0),
    default=1.5,
    show_default=True,
    help="The chart tells limit / FOLD from limit x FOLD.",
)
@click.option(
    "--error",
    type=click.FloatRange(0.01, 0.3),
    default=0.1,
    show_default=True,
    help="Chance of a wrong call at either of those two.",
)
@click.option(
    "--k",
    type=click.FloatRange(0.05, 100.0),
    default=math.nan,
    show_default="none",
    help="Your k for classes whose own counts do not tell one.",
)
@language_option
@out_option()
@going_options
def command(
    site: Path,
    *,
    cores: bool,
    language: Path | None,
    out: Path | None,
    keep_going: bool,
    quiet: bool,
    **asked: Any,
) -> None:
    """Say how patchy the catch of SITE is, and how many visits or cores are enough.

    Writes sampling.html (every class of zone, with a line that says when to stop), sampling.csv,
    sampling.json, and for every limit of site.toml a chart-*.html to print and carry: it says after
    each trap or core whether the zone is below or above the limit.
    """
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        lang = language_of(language, site, checked.settings)
        if not keep_going:
            refuse_errors(checked)
        progress.step("trying out the charts")
        wanted = Wanted(asked["precision"], asked["fold"], asked["error"], asked["k"])
        found = site_sampling(checked, asked["week"], wanted=wanted, cores=cores)
        texts = {
            "sampling.html": sampling_html(found, lang, cores=cores),
            "sampling.csv": sampling_csv(found),
            "sampling.json": sampling_json(found, cores=cores),
            **chart_pages(found, lang),
        }
        paths = written(texts, out or default_folder(site), site)
    said = sampling_sentences(found, lang) + (core_sentences(found, lang) if cores else [])
    say(checked.findings, said, paths, quiet=quiet)
