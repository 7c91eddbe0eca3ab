"""`snoutline network`: what the traps can carry, and where the next ones go."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import shapely

from data.findings import SettingsError
from data.reading import read_site
from data.site import Site
from data.version import VERSION
from maps.catalogue import Catalogue
from maps.exports import WGS84, suggested_traps_geojson, suggested_traps_gpx
from maps.network_page import network_csv, network_html, network_json, suggested_csv
from maps.network_words import network_sentences, place_sentences
from maps.parts_sheet import SheetHead, parts_sheet
from maps.words import place_name
from scripts.language_option import language_of, language_option
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import aside_texts, going_options, refuse_errors, say
from spatial.network_report import NetworkReport, NetworkWish, network_report, week_of_season
from spatial.trap_parts import Chosen, trap_parts


@click.command(
    name="network",
    epilog="Example:  snoutline network my-course --new 8 --move 3",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="ISO week, e.g. 2026-W19.  [default: last with visits]"
)
@click.option(
    "--season", metavar="YEAR", help="Plan for the next season, from all of the one of that year."
)
@click.option(
    "--new", type=click.IntRange(0, 100), default=8, show_default=True, help="Traps to add."
)
@click.option(
    "--move",
    type=click.IntRange(0, 100),
    default=0,
    show_default=True,
    help="Most traps in use to put elsewhere.",
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
    """Say which statements the traps of SITE can carry, and where the next traps would tell most.

    Writes network.html (one page to print), network.csv (one row per zone), network.json,
    suggested-traps.csv, .geojson and .gpx, and parts-and-holes.html (what to buy and how to dig).
    The files of SITE are only read.
    """
    week, season = asked["week"], asked["season"]
    if week and season is not None:
        raise SettingsError("give --week or --season, not both")
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        lang = language_of(language, site, checked.settings)
        if not keep_going:
            refuse_errors(checked)
        progress.step("weighing places")
        wish = NetworkWish(asked["new"], asked["move"], next_season=season is not None)
        report = network_report(checked, _week(checked, week, season), wish)
        progress.step("drawing")
        folder = out or default_folder(site)
        texts = {**network_texts(report, lang), **aside_texts(checked, folder)}
        paths = written(texts, folder, site)
    numbered = [f"{rank}. {line}" for rank, line in enumerate(place_sentences(report, lang), 1)]
    say(checked.findings, [*network_sentences(report, lang), *numbered], paths, quiet=quiet)


def _week(site: Site, week: str | None, season: str | None) -> str | None:
    """Return the week that was asked for, or the last one of the season."""
    return week if season is None else week_of_season(site, season)


def network_texts(report: NetworkReport, lang: Catalogue) -> dict[str, str | bytes]:
    """Return the content of every file by its name."""
    analysis = replace(report.analysis, suggestions=report.plan.suggestions)
    return {
        "network.html": network_html(report, lang),
        "network.csv": network_csv(report),
        "network.json": network_json(report),
        "suggested-traps.csv": suggested_csv(report),
        "suggested-traps.geojson": suggested_traps_geojson(analysis),
        "suggested-traps.gpx": suggested_traps_gpx(analysis),
        "parts-and-holes.html": parts_text(report, lang),
    }


def parts_text(report: NetworkReport, lang: Catalogue) -> str:
    """Return the parts and hole sheet of the suggested traps."""
    analysis = report.analysis
    settings = analysis.site.settings
    head = SheetHead(
        site=settings.name,
        units=settings.units,
        about=lang.say("parts_sheet.about", week=analysis.season.week),
        source=lang.say("parts_sheet.source", version=VERSION),
    )
    found = trap_parts(chosen_traps(report, lang), settings.parts)
    return parts_sheet(found, settings.parts, head, lang)


def chosen_traps(report: NetworkReport, lang: Catalogue) -> list[Chosen]:
    """Return the suggested traps as the parts list takes them."""
    places = report.plan.suggestions
    degrees = shapely.get_coordinates(places.geometry.to_crs(WGS84).to_numpy())
    use = dict(zip(report.analysis.zones["zone_id"], report.analysis.zones["use"], strict=True))
    return [
        Chosen(
            label=str(row["rank"]),
            design=str(row["design"]),
            zone_id=str(row["zone_id"]),
            zone_use=str(use[row["zone_id"]]),
            place=place_name(str(row["place"]), lang),
            longitude=float(longitude),
            latitude=float(latitude),
            axis_deg=float(row["bearing_deg"]),
            bearing_deg=_known(float(row["uphill_deg"])),
            ground_fall=_known(float(row["ground_fall"])) or 0.0,
        )
        for row, (longitude, latitude) in zip(
            places.drop(columns="geometry").to_dict("records"), degrees, strict=True
        )
    ]


def _known(number: float) -> float | None:
    return None if math.isnan(number) else number
