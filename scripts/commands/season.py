"""`snoutline season`: when adults walk, beside past seasons and degree-day models."""

from __future__ import annotations

from pathlib import Path

import click

from data.degree_day_models import DegreeDayModel, read_model, shipped_models
from data.findings import SettingsError
from data.reading import read_site
from data.suggestions import did_you_mean
from maps.season_page import degree_days_csv, season_csv, season_html
from maps.season_words import season_sentences
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import aside_texts, going_options, refuse_errors, say
from spatial.season_report import season_report


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
    help="Key of a model that ships, or a file of yours; may be given again.  [default: all]",
)
@out_option()
@going_options
def command(
    site: Path,
    *,
    week: str | None,
    names: tuple[str, ...],
    out: Path | None,
    keep_going: bool,
    quiet: bool,
) -> None:
    """Say when the adults of SITE walk: first catch, and the days by which 10, 50 and 90 % did.

    Writes season.html (one page to print), season.csv (one row a night) and degree-days.csv. Past
    seasons and degree-day models stand beside this one; no model is chosen for you. The files of
    SITE are only read.
    """
    models = chosen_models(names)
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        if not keep_going:
            refuse_errors(checked)
        progress.step("dating the season")
        report = season_report(checked, week, models)
        texts: dict[str, str | bytes] = {
            "season.html": season_html(report),
            "season.csv": season_csv(report),
            "degree-days.csv": degree_days_csv(report),
        }
        folder = out or default_folder(site)
        paths = written({**texts, **aside_texts(checked, folder)}, folder, site)
    say(checked.findings, season_sentences(report), paths, quiet=quiet)


def chosen_models(names: tuple[str, ...]) -> tuple[DegreeDayModel, ...]:
    """Return the models asked for: by key or by file, and all that ship without a name.

    Raises
    ------
    SettingsError
        If a name is neither, or a file is wrong.
    """
    ships = {each.key: each for each in shipped_models()}
    if not names:
        return tuple(ships.values())
    found = []
    for name in names:
        if name in ships:
            found.append(ships[name])
        elif name.endswith(".toml"):
            found.append(read_model(Path(name)))
        else:
            hint = did_you_mean(name, list(ships), f"models are {', '.join(ships)}")
            raise SettingsError(
                f"--model {name!r} is neither a model that ships nor a file; {hint}"
            )
    return tuple(found)
