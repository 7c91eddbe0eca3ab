"""`snoutline season`: when adults walk, beside past seasons and degree-day models."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from data.degree_day_models import site_models
from data.reading import read_forecast, read_site
from data.site import Site
from maps.season_page import (
    calendar_csv,
    degree_days_csv,
    season_csv,
    season_html,
    season_weeks_csv,
)
from maps.season_words import season_sentences
from scripts.language_option import language_of, language_option
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import aside_texts, going_options, refuse_errors, say
from spatial.season_report import SeasonReport, season_report


@click.command(
    name="season",
    epilog="Example:  snoutline season my-course --model my-model.toml",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="ISO week, e.g. 2026-W19.  [default: last with visits]"
)
@click.option(
    "--model",
    "names",
    metavar="MODEL",
    multiple=True,
    help="Key of a model that ships, or a file of yours, in place of what site.toml names; may be "
    "given again.  [default: all that ship]",
)
@click.option(
    "--forecast",
    metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Temperatures of days to come, written like weather.csv.",
)
@language_option
@out_option()
@going_options
def command(
    site: Path,
    *,
    language: Path | None,
    out: Path | None,
    keep_going: bool,
    quiet: bool,
    **asked: Any,
) -> None:
    """Say when the adults of SITE walk: first catch, and the days by which 10, 50 and 90 % did.

    Writes season.html (a page to print: what is due, curves, earlier seasons, models), season.csv
    (one row a night), season-weeks.csv (by species and design), calendar.csv (what is due) and
    degree-days.csv. No model is chosen for you: site.toml may name one, else all that ship stand
    side by side. The files of SITE are only read.
    """
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        lang = language_of(language, site, checked.settings)
        if not keep_going:
            refuse_errors(checked)
        progress.step("dating the season")
        report = reported(checked, site, **asked)
        texts: dict[str, str | bytes] = {
            "season.html": season_html(report, lang),
            "season.csv": season_csv(report),
            "season-weeks.csv": season_weeks_csv(report),
            "calendar.csv": calendar_csv(report),
            "degree-days.csv": degree_days_csv(report),
        }
        folder = out or default_folder(site)
        paths = written({**texts, **aside_texts(checked, folder)}, folder, site)
    say(checked.findings, season_sentences(report, lang), paths, quiet=quiet)


def reported(
    site: Site, folder: Path, week: str | None, names: tuple[str, ...], forecast: Path | None
) -> SeasonReport:
    """Return what the page is made from.

    Parameters
    ----------
    site
        The checked site.
    folder
        Where it is.
    week, names, forecast
        As the options of the command.

    Raises
    ------
    SettingsError, InputError
        If the week or a model is wrong, or the forecast cannot be read.
    """
    told = None if forecast is None else read_forecast(forecast, site.settings)
    own = () if site.model is None else (site.model,)
    models = own if own and not names else site_models(names, folder)
    named = models[0].key if len(models) == 1 and (own or names) else ""
    return season_report(site, week, models, named=named, forecast=told)
