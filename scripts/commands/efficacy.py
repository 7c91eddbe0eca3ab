"""`snoutline efficacy`: whether the treatments of a site worked."""

from __future__ import annotations

from pathlib import Path

import click

from data.reading import read_site
from maps.efficacy_page import efficacy_csv, efficacy_html, efficacy_json
from maps.efficacy_words import efficacy_sentences
from scripts.language_option import language_of, language_option
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import going_options, refuse_errors, say
from spatial.treatment_effects import treatment_effects


@click.command(
    name="efficacy",
    epilog="Example:  snoutline efficacy my-course --week 2026-W26",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="ISO week, e.g. 2026-W19.  [default: last with visits]"
)
@language_option
@out_option()
@going_options
def command(
    site: Path,
    *,
    week: str | None,
    language: Path | None,
    out: Path | None,
    keep_going: bool,
    quiet: bool,
) -> None:
    """Say what the treatments of SITE up to a week did, against its untreated zones.

    Writes efficacy.html (one page to print, with a picture per treated zone), efficacy.csv (one
    row per treated zone and day) and efficacy.json. Where the effect cannot be told, they say why.
    """
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        lang = language_of(language, site, checked.settings)
        if not keep_going:
            refuse_errors(checked)
        progress.step("comparing treated with untreated zones")
        found = treatment_effects(checked, week)
        texts = {
            "efficacy.html": efficacy_html(found, lang),
            "efficacy.csv": efficacy_csv(found),
            "efficacy.json": efficacy_json(found),
        }
        paths = written(texts, out or default_folder(site), site)
    say(checked.findings, efficacy_sentences(found, lang), paths, quiet=quiet)
