"""`snoutline committee`: the one page for the people who pay, and slides of it."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import click

from data.findings import SettingsError
from data.reading import read_site
from data.site import Site
from data.treatment_settings import TACTICS
from maps.catalogue import Catalogue
from maps.committee import CommitteePage, Findings, committee_page
from maps.committee_page import committee_html
from maps.committee_pdf import (
    PAPERS,
    Paper,
    committee_pdf,
    fitting_size,
    lacking_letters,
    legible,
    unprintable,
)
from maps.review import review_page
from maps.review_page import review_html
from scripts.language_option import language_of, language_option
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import aside_texts, going_options, refuse_errors, say
from spatial.analysis import analyse
from spatial.plan_or_not import plan_or_not
from spatial.season_comparison import site_comparison
from spatial.season_review import season_review

NO_SLIDES = "No slides: they need python-pptx (pip install 'snoutline[slides]')."

NO_PDF = {
    "letters": "No PDF: its font lacks letters of {file} ({letters}). Print committee.html.",
    "rtl": "No PDF: its text runs from left to right only. Print committee.html.",
}
"""Why a language has no PDF."""

MOST_SHOWN = 20
"""Of more letters than this the rest is not named."""


@click.command(
    name="committee",
    epilog="Example:  snoutline committee my-course --paper a4",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="ISO week, e.g. 2026-W19.  [default: last with visits]"
)
@click.option(
    "--season", metavar="YEAR", help="Look back on the season of that year, in six pictures."
)
@click.option(
    "--paper",
    type=click.Choice(PAPERS),
    default=PAPERS[0],
    show_default=True,
    help="Size of the one page.",
)
@click.option(
    "--zones", metavar="ZONES", help="Zones of the plan, as in plan.  [default: those above]"
)
@click.option("--tactic", type=click.Choice(TACTICS), help="Tactic of the plan, as in plan.")
@language_option
@out_option()
@going_options
def command(
    site: Path,
    *,
    paper: Paper,
    language: Path | None,
    out: Path | None,
    keep_going: bool,
    quiet: bool,
    **asked: str | None,
) -> None:
    """Write one page about SITE for a committee: found, planned, not known, next.

    Writes committee.html and committee.pdf, whose second page says how all was made, and, where
    python-pptx is installed, committee.pptx. With --season it writes season-review.html: the year
    in six pictures, what worked, and what to change in the network. Another language than English
    is a file that you translate; README says how. Your notes stand in [committee] of site.toml. The
    files of SITE are only read.
    """
    season = asked.pop("season")
    if season is not None and any(asked.values()):
        raise SettingsError(
            "--season looks back on a whole year; leave out --week, --zones and --tactic"
        )
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        lang = language_of(language, site, checked.settings)
        if not keep_going:
            refuse_errors(checked)
        progress.step("looking back" if season is not None else "weighing the zones")
        if season is not None:
            texts, lines = review_texts(checked, season, paper, lang)
        else:
            page = committee_page(findings(checked, **asked), lang)
            progress.step("drawing")
            texts = committee_texts(page, paper)
            lines = [page.lead, *page.section("found").lines, *_not_written(lang)]
            lines += _not_shown(checked)
        folder = out or default_folder(site)
        paths = written({**texts, **aside_texts(checked, folder)}, folder, site)
    say(checked.findings, lines, paths, quiet=quiet)


def review_texts(
    site: Site, season: str, paper: Paper, lang: Catalogue
) -> tuple[dict[str, str | bytes], list[str]]:
    """Return the file of a season looked back on, and what is said of it."""
    page = review_page(season_review(site, season), lang)
    return {"season-review.html": review_html(page, paper)}, [page.lead, *page.worked, *page.change]


def findings(
    site: Site, week: str | None = None, zones: str | None = None, tactic: str | None = None
) -> Findings:
    """Return what the page is made from.

    Parameters
    ----------
    site
        The checked site.
    week, zones, tactic
        As the options of the command.

    Raises
    ------
    SettingsError
        If the week, a zone or an input of the plan is wrong, or a tactic must be named.
    """
    analysis = analyse(site, week)
    named = tuple(each.strip() for each in (zones or "").split(",") if each.strip())
    plan, no_plan = plan_or_not(analysis, wanted_tactic(site, tactic), named)
    return Findings(analysis, site_comparison(site, analysis.season), plan, no_plan)


def wanted_tactic(site: Site, tactic: str | None) -> str:
    """Return the tactic whose prices and rules count: the one named, or the only one given.

    Without any section of a tactic the ground is reckoned all the same, and no price shown.

    Raises
    ------
    SettingsError
        If site.toml holds several and none is named.
    """
    held = tuple(site.settings.treatment.tactics)
    if tactic is not None or len(held) <= 1:
        return tactic or (held[0] if held else TACTICS[0])
    raise SettingsError(
        f"name a tactic with --tactic; site.toml [treatment] holds {', '.join(held)}"
    )


def committee_texts(page: CommitteePage, paper: Paper) -> dict[str, str | bytes]:
    """Return the content of every file by its name.

    Raises
    ------
    SettingsError
        If the texts are too long for one sheet.
    """
    try:
        size_pt = fitting_size(page, paper)
    except OverflowError as error:
        texts_of = "the notes in [committee]"
        texts_of += f" or the messages of {page.lang.file}" if page.lang.file else ""
        raise SettingsError(f"{error} on one sheet; shorten {texts_of}") from None
    texts: dict[str, str | bytes] = {"committee.html": committee_html(page, paper, size_pt)}
    if not no_pdf(page.lang):
        printed = committee_page(legible(page.findings), page.lang)
        texts["committee.pdf"] = committee_pdf(printed, paper)
    if has_slides():
        # An optional extra: it is imported only where it is installed.
        from maps.committee_slides import committee_slides  # noqa: PLC0415

        texts["committee.pptx"] = committee_slides(page)
    return texts


def _not_shown(site: Site) -> list[str]:
    """Return what is said where the user's own texts hold letters that the PDF cannot show."""
    notes = site.settings.committee
    own = (site.settings.name, notes.water, notes.pollinators, notes.players, notes.notes)
    lines = []
    if lacking_letters(site.zones["name"].astype(str)):
        lines.append("The PDF's font lacks letters of zone names: it shows the ids of those zones.")
    if letters := lacking_letters(own):
        lines.append(
            f"The PDF's font lacks letters of the site's name or notes and shows ? for {letters}: "
            "print committee.html."
        )
    return lines


def no_pdf(lang: Catalogue) -> str:
    """Return why a language has no PDF; blank if it has one."""
    if lang.direction == "rtl":
        return NO_PDF["rtl"]
    letters = unprintable(lang)
    shown = letters[:MOST_SHOWN] + ("..." if letters[MOST_SHOWN:] else "")
    return NO_PDF["letters"].format(file=lang.file, letters=shown) if letters else ""


def _not_written(lang: Catalogue) -> list[str]:
    return [each for each in (no_pdf(lang), "" if has_slides() else NO_SLIDES) if each]


def has_slides() -> bool:
    """Return whether slides can be written."""
    return find_spec("pptx") is not None
