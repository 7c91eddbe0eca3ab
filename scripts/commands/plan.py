"""`snoutline plan`: the work order, shapes and record form of a treatment by zones."""

from __future__ import annotations

import csv
import os
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click
import pandas as pd

from data.findings import SettingsError
from data.reading import read_site
from data.site import Site
from data.treatment_settings import TACTICS, TreatmentSettings
from maps.catalogue import Catalogue
from maps.language_file import english
from maps.plan_files import plan_csv, plan_geojson, plan_geopackage, plan_kml, plan_shapefile
from maps.record_form import KEPT_YEARS, Done, blank_elements, record_form, record_rows
from maps.treatment_words import (
    choice_sentence,
    missing_head,
    missing_text,
    plan_sentence,
    rotation_text,
    stage_sentence,
)
from maps.work_order import work_order
from scripts.language_option import language_of, language_option
from scripts.out_folder import default_folder, out_option, written
from scripts.progress import Progress
from scripts.site_run import aside_texts, refuse_errors, say
from spatial.analysis import analyse
from spatial.treatment_plan import TreatmentPlan, Wish, evidence_of, plan_treatment

RECORDS = "treatment-records.csv"

NEAR_DAYS = 28
"""A treatment further from its evidence is asked about (common practice, no source)."""


@click.command(
    name="plan",
    epilog="Example:  snoutline plan my-course --tactic adult --zones H09-RO,H17-RO",
)
@click.argument("site", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--week", metavar="WEEK", help="ISO week of the evidence.  [default: last with visits]"
)
@click.option(
    "--zones", metavar="ZONES", help="Zones to plan, parted by commas.  [default: those above]"
)
@click.option(
    "--tactic",
    type=click.Choice(TACTICS),
    help="Which section [treatment.TACTIC] of site.toml.  [default: the only one there]",
)
@language_option
@out_option()
@click.option(
    "--record",
    metavar="DATE",
    type=click.DateTime(["%Y-%m-%d"]),
    help=f"Append the plan to {RECORDS} as carried out on that day; old rows stay as they are.",
)
@click.option("--time", "applied_at", metavar="TEXT", default="", help="For the record.")
@click.option("--applicator", metavar="NAME", default="", help="For the record.")
@click.option("--certificate", metavar="NUMBER", default="", help="For the record.")
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
    keep_going: bool,
    quiet: bool,
    **asked: Any,
) -> None:
    """Plan a treatment of SITE by zones, with the rates, buffers and rules of your [treatment].

    Writes work-order.html, treatment-record.html (the form of the record), plan.csv and the shapes
    plan.gpkg, plan-shapefile.zip, plan.kml and plan.geojson. What you have not given is listed as
    missing, never filled in. The files of SITE are only read.
    """
    with Progress(quiet=quiet) as progress:
        progress.step("reading the site")
        checked = read_site(site)
        lang = language_of(language, site, checked.settings)
        if not keep_going:
            refuse_errors(checked)
        progress.step("weighing the zones")
        plan = planned(checked, week, asked["zones"], asked["tactic"])
        progress.step("drawing")
        folder = out or default_folder(site)
        paths = written({**plan_texts(plan, lang), **aside_texts(checked, folder)}, folder, site)
        recorded: list[str] = []
        if asked["record"] is not None:
            done = _done(asked)
            recorded += day_warning(done.applied_on, plan.cutoff)
            recorded += append_records(folder / RECORDS, record_rows(plan, done))
            recorded += _blank_lines(plan, done)
            paths.append(folder / RECORDS)
    say(checked.findings, summary(plan, lang), [*recorded, *paths], quiet=quiet)


def planned(site: Site, week: str | None, zones: str | None, tactic: str | None) -> TreatmentPlan:
    """Return the plan that is asked for.

    Raises
    ------
    SettingsError
        If a zone, the tactic or an input is wrong, or no zone is above its limit.
    """
    settings = treatment_settings(site)
    analysis = analyse(site, week)
    wish = Wish(
        tactic=chosen_tactic(settings, tactic),
        zones=tuple(each.strip() for each in zones.split(",") if each.strip()) if zones else (),
        week=analysis.season.week,
        cutoff=analysis.season.cutoff,
    )
    return plan_treatment(site, evidence_of(pd.DataFrame(analysis.zones)), wish, settings)


def treatment_settings(site: Site) -> TreatmentSettings:
    """Return the site's `[treatment]`."""
    return site.settings.treatment


def chosen_tactic(settings: TreatmentSettings, tactic: str | None) -> str:
    """Return the tactic asked for, or the only one that the settings hold.

    Raises
    ------
    SettingsError
        If there are several or none, and none was named.
    """
    if tactic is not None:
        return tactic
    if len(settings.tactics) == 1:
        return next(iter(settings.tactics))
    held = ", ".join(settings.tactics) or "none"
    raise SettingsError(
        f"name a tactic with --tactic ({', '.join(TACTICS)}); site.toml [treatment] holds {held}"
    )


def plan_texts(plan: TreatmentPlan, lang: Catalogue) -> dict[str, str | bytes]:
    """Return the content of every file of a plan by its name."""
    texts: dict[str, str | bytes] = {
        "work-order.html": work_order(plan, lang),
        "treatment-record.html": record_form(plan, lang),
        "plan.csv": plan_csv(plan),
    }
    if plan.areas.net_m2 == 0:
        raise SettingsError(
            "nothing is left to treat: buffers, obstacles and exclusions cover these zones; "
            "choose others with --zones, or look at [treatment] in site.toml"
        )
    return {
        **texts,
        "plan.gpkg": plan_geopackage(plan),
        "plan-shapefile.zip": plan_shapefile(plan),
        "plan.kml": plan_kml(plan),
        "plan.geojson": plan_geojson(plan),
    }


def summary(plan: TreatmentPlan, lang: Catalogue) -> list[str]:
    """Return what is said about a plan."""
    covered = plan_sentence(plan, lang)
    rotation = [rotation_text(each, lang) for each in plan.repeats]
    missing = missing_text(plan, lang)
    lines = [
        lang.say("plan_said.summary", week=plan.week, plan=covered),
        choice_sentence(plan, lang),
        stage_sentence(plan, lang),
        *(lang.say("plan_said.rotation", text=text) for text in rotation),
        " ".join([missing_head(lang), missing]) if missing else "",
    ]
    return [line for line in lines if line]


def append_records(path: Path, text: str) -> list[str]:
    """Append rows to the treatment records, and return what to say; no old byte is ever changed.

    Rows that are there already, letter for letter, are not written twice.

    Parameters
    ----------
    path
        The file; its folder exists.
    text
        Header and rows.

    Raises
    ------
    SettingsError
        If the file has another header, or cannot be written to.
    """
    header, *rows = text.removesuffix("\n").split("\n")
    try:
        old = path.read_bytes().decode("utf-8") if path.exists() else ""
        lines = [line.removesuffix("\r") for line in old.split("\n")]
        if old and lines[0] != header:
            raise SettingsError(
                f"{path} has other columns than the records of this version; it is left as it is: "
                "move it to a safe place, and a new one is begun"
            )
        new = [row for row in rows if row not in lines]
        added = new if old else [header, *new]
        start = "" if old.endswith("\n") or not old else "\n"
        _append(path, start + "".join(f"{row}\n" for row in added) if added else "")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(
            f"{path} cannot be added to: {error}; close it and run again"
        ) from error
    twice = _recorded_before([header, *new], lines)
    kept = f"Keep the file at least {KEPT_YEARS} years; local rules may ask for more."
    there = f"; {len(rows) - len(new)} were there already" if len(new) < len(rows) else ""
    return [f"{len(new)} rows appended to {path.name}{there}. {kept}", *twice]


SAME_TREATMENT = ("applied_on", "zone_id", "product")


def _recorded_before(new: list[str], old: list[str]) -> list[str]:
    """Return a warning of new rows about a zone, day and product that old ones hold already."""
    keys = [
        [tuple(row.get(name) or "" for name in SAME_TREATMENT) for row in csv.DictReader(rows)]
        for rows in (old, new)
    ]
    zones = sorted({zone for day, zone, product in set(keys[0]) & set(keys[1])})
    if not zones:
        return []
    return [
        f"Recorded before, for the same day and product: {english().listed(zones)}. Old rows "
        "are never changed; if the new rows mend them, write so in the file, or it reads as "
        "applied twice."
    ]


def day_warning(applied_on: str, cutoff: date) -> list[str]:
    """Return a warning of a day far from the evidence that the plan rests on.

    Examples
    --------
    >>> day_warning("2062-06-01", date(2026, 5, 31))[0][:60]
    '2062-06-01 is 13,150 days after the evidence of this plan; m'
    >>> day_warning("2026-06-02", date(2026, 5, 31))
    []
    """
    days = (date.fromisoformat(applied_on) - cutoff).days
    if -NEAR_DAYS <= days <= NEAR_DAYS:
        return []
    side = "after" if days > 0 else "before"
    return [
        f"{applied_on} is {abs(days):,} days {side} the evidence of this plan; make sure that the "
        "day is right, for a record is never changed."
    ]


def _append(path: Path, text: str) -> None:
    """Add to the end of a file in one write, and see it onto the disk."""
    if not text:
        return
    with path.open("ab") as file:
        file.write(text.encode("utf-8"))
        file.flush()
        os.fsync(file.fileno())


def _done(asked: dict[str, Any]) -> Done:
    day: datetime = asked["record"]
    return Done(
        applied_on=day.date().isoformat(),
        applied_at=" ".join(asked["applied_at"].split()),
        applicator=" ".join(asked["applicator"].split()),
        certificate=" ".join(asked["certificate"].split()),
    )


def _blank_lines(plan: TreatmentPlan, done: Done) -> list[str]:
    blank = blank_elements(plan, done)
    if not blank:
        return []
    return [f"The record lacks: {', '.join(blank)}. Write them on the form, treatment-record.html."]
