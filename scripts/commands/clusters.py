"""`snoutline clusters`: everything the cluster tests can say of one week."""

from __future__ import annotations

from pathlib import Path

import click

from data.reading import read_site
from maps.cluster_words import cluster_sentences
from maps.clusters import clusters_csv, clusters_json, known_chances
from scripts.language_option import language_of, language_option
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import going_options, refuse_errors, say
from spatial.analysis import analyse
from spatial.cluster_detail import cluster_detail
from spatial.results import Chance


@click.command(
    name="clusters",
    epilog="Example:  snoutline clusters my-course --week 2026-W19",
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
    help="Seed of permutations and simulated patches; the same seed gives the same files.",
)
@click.option(
    "--maps",
    type=click.IntRange(min=20),
    default=200,
    show_default=True,
    help="Maps to simulate for each patch that the network might find.",
)
@language_option
@going_options
def command(
    site: Path,
    *,
    week: str | None,
    out: Path | None,
    language: Path | None,
    keep_going: bool,
    quiet: bool,
    **numbers: int,
) -> None:
    """Test the traps of SITE for busy and quiet patches, and say what the network could find.

    Writes clusters.csv (every trap: season to date, beyond what its place explains, and the chosen
    week alone) and clusters.json (the whole network, persistence from round to round, neighbour
    links, and how often patches of several sizes would be found).
    """
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        lang = language_of(language, site, checked.settings)
        if not keep_going:
            refuse_errors(checked)
        progress.step("looking for patches")
        analysis = analyse(checked, week, seed=numbers["seed"])
        folder = out or default_folder(site)
        detail = cluster_detail(
            analysis,
            maps=numbers["maps"],
            known=_known(folder / "clusters.json"),
            told=progress.step,
        )
        texts = {"clusters.csv": clusters_csv(detail), "clusters.json": clusters_json(detail)}
        paths = written(texts, folder, site)
    say(checked.findings, cluster_sentences(detail, lang), paths, quiet=quiet)


def _known(earlier: Path) -> dict[str, tuple[Chance, ...]]:
    """Return what an earlier run in the same folder has simulated already."""
    try:
        return known_chances(earlier.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):
        return {}
