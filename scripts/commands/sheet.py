"""`snoutline sheet`: the round sheet of one week, for phone and paper."""

from __future__ import annotations

from pathlib import Path

import click

from data.dialects import visits_delimiter
from data.reading import read_site
from maps.catalogue import Catalogue
from maps.sheet import round_sheet
from maps.sheet_words import route_notes, route_sentence
from maps.xlsform import read_back_toml, read_back_words, round_form
from scripts.language_option import language_of, language_option
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import aside_texts, refuse_errors, rows_text, say
from spatial.round_plan import RoundPlan, plan_round

SHEET, FORM = "round-sheet.html", "round-form.xlsx"


@click.command(
    name="sheet",
    epilog="Example:  snoutline sheet my-course --week 2026-W19 --out round",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week",
    metavar="WEEK",
    help="ISO week of the round, e.g. 2026-W19.  [default: the week after the last visit]",
)
@language_option
@out_option()
@click.option("--xlsform", is_flag=True, help="Also write round-form.xlsx, an XLSForm.")
@click.option(
    "--keep-going", is_flag=True, help="Go on without the rows that hold errors; list them."
)
@click.option("--quiet", is_flag=True, help="Say nothing but errors and the paths written.")
def command(
    site: Path,
    *,
    week: str | None,
    language: Path | None,
    out: Path | None,
    xlsform: bool,
    keep_going: bool,
    quiet: bool,
) -> None:
    """Write the round sheet of SITE: its traps in walking order, to print or to tap on a phone.

    round-sheet.html holds both and needs no network. It keeps what is tapped, and saves it as rows
    for your visits. The files of SITE are only read. When they hold errors nothing is written,
    unless --keep-going is given: then the sheet names the traps that are left out, and
    set-aside.csv holds their rows.
    """
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        lang = language_of(language, site, checked.settings)
        if not keep_going:
            refuse_errors(checked)
        progress.step("finding a short way")
        plan = plan_round(checked, week)
        progress.step("drawing")
        separator = visits_delimiter(site, checked)
        files: dict[str, str | bytes] = {SHEET: round_sheet(plan, separator, lang)}
        if xlsform:
            files[FORM] = round_form(plan, lang)
        folder = out or default_folder(site)
        paths = written({**files, **aside_texts(checked, folder)}, folder, site)
    say(checked.findings, summary(plan, lang, xlsform=xlsform), paths, quiet=quiet)


def summary(plan: RoundPlan, lang: Catalogue, *, xlsform: bool) -> list[str]:
    """Return what is said about the round, and how the answers of the form are read back."""
    route = route_sentence(plan, lang)
    lines = [lang.say("sheet.summary", week=plan.week, route=route), *route_notes(plan, lang)]
    lines += [rows_text(plan.site.account)] if plan.site.account.count else []
    if xlsform:
        lines += [read_back_words(plan.site, lang)]
        lines += [f"  {line}" for line in read_back_toml(plan.site).splitlines()]
    return lines
