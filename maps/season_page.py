"""The season on one page: what is due, its curve, what was caught by when, and what models say."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import pandas as pd

from data.degree_day_models import DegreeDayModel
from data.version import VERSION
from maps.catalogue import Catalogue, figure
from maps.cautions import cautions
from maps.columns import CALENDAR, DEGREE_DAYS, SEASON, SEASON_WEEKS
from maps.exports import csv_text
from maps.plain_page import STYLE, paragraph, plain_page
from maps.season_charts import (
    CaughtWords,
    calendar_svg,
    caught_by_day_svg,
    caught_by_sum_svg,
    curve_svg,
    species_svg,
)
from maps.season_words import (
    basis_text,
    busy_sentences,
    compared_sentence,
    due_sentences,
    generation_lines,
    model_sentence,
    nights_note,
    own_lines,
    paired_sentence,
    past_sentence,
)
from maps.words import treated_sentences
from spatial.model_seasons import EventDays
from spatial.season_calendar import DueWindow
from spatial.season_dates import SHARES
from spatial.season_report import SeasonReport

MOST_ZONES = 12
"""Zones listed for cores; the others follow in the order of the adults."""

_NONE = "\N{EN DASH}"


def season_html(report: SeasonReport, lang: Catalogue) -> str:
    """Return the page: self-contained, offline, printable."""
    title = lang.say("season_page.title", site=report.site.settings.name)
    cutoff = lang.day(report.season.cutoff)
    subtitle = lang.say("season_page.subtitle", season=report.season.label, day=cutoff)
    first = [
        subtitle,
        *own_lines(report.dates, lang),
        *generation_lines(report, lang),
        *due_sentences(report.calendar, report.season.cutoff, lang),
        *treated_sentences(report.site, report.season, lang),
    ]
    footer = lang.say("season_page.footer", day=cutoff, version=VERSION)
    parts = [
        f"<h1>{escape(title)}</h1>",
        *map(paragraph, first),
        *_calendar(report, lang),
        *_curve(report, lang),
        *_beside(report, lang),
        *_models(report, lang),
        *_cores(report, lang),
        _heading("made", lang),
        *(paragraph(lang.say(f"season_notes.{key}")) for key in ("season", "calendar")),
        paragraph(cautions(lang)[0]),
        f"<footer>{paragraph(footer)}</footer>",
    ]
    style = STYLE + _MORE_STYLE + (_RTL_STYLE if lang.direction == "rtl" else "")
    return plain_page(title, style, parts, language=(lang.tag, lang.direction))


_MORE_STYLE = (
    "h2{break-after:avoid}td{white-space:normal}th{hyphens:manual;overflow-wrap:normal}"
    "tbody th,th:first-child,.prose th{text-align:left;min-width:6.5em}"
    ".prose td{text-align:left}.prose td:nth-child(2){min-width:8em}"
)

_RTL_STYLE = (
    "td{text-align:left}caption,tbody th,th:first-child,.prose th,.prose td{text-align:right}"
)


def _heading(key: str, lang: Catalogue) -> str:
    return f"<h2>{escape(lang.say(f'season_heads.{key}'))}</h2>"


def _heads(keys: Sequence[str], lang: Catalogue) -> list[str]:
    return [lang.say(f"season_tables.{key}") for key in keys]


def _calendar(report: SeasonReport, lang: Catalogue) -> list[str]:
    if not report.calendar:
        return []
    bases = list(dict.fromkeys(basis_text(each, lang) for each in _expected(report)))
    once = bases[0] if len(bases) == 1 else ""
    rows = [
        (
            lang.say(f"season_window_heads.{each.what}"),
            lang.span(each.first, each.last),
            _why(each, once, lang),
        )
        for each in report.calendar
    ]
    caption, *heads = _heads(("windows", "window", "days", "why"), lang)
    return [
        _heading("due", lang),
        calendar_svg(report, lang),
        paragraph(lang.say("season_due.rest_on", basis=once)) if once else "",
        _table(caption, heads, rows, "prose"),
    ]


def _why(window: DueWindow, once: str, lang: Catalogue) -> str:
    """Return why a window is there and what it rests on, unless that was said `once` for all."""
    why, basis = lang.say(f"season_why.{window.what}"), basis_text(window, lang)
    return why if basis == once else lang.say("season_due.why_and_basis", why=why, basis=basis)


def _expected(report: SeasonReport) -> list[DueWindow]:
    """Return the windows that are not simply what was caught."""
    return [each for each in report.calendar if each.basis != "observed"]


def _curve(report: SeasonReport, lang: Catalogue) -> list[str]:
    settings = report.site.settings
    note = nights_note(settings.treatment.cold_c, settings.phenology.wet_mm, settings.units, lang)
    heading = _heading("curve", lang)
    if report.dates.nightly.empty:
        return [heading, paragraph(lang.say(f"season_no_dates.{report.dates.reason}"))]
    caption, *heads = _heads(
        ("peaks", "species_design", "adults", "nights", "busiest_week", "rate"), lang
    )
    return [
        heading,
        curve_svg(report, lang),
        paragraph(note),
        species_svg(report, lang),
        _table(caption, heads, _peaks(report, lang)),
    ]


def _peaks(report: SeasonReport, lang: Catalogue) -> list[tuple[str, ...]]:
    """Return a row for each species in each design: its sums, and its busiest week."""
    return [
        (
            lang.say("season_tables.of_design", species=str(species), design=str(design)),
            lang.decimal(float(table["adults"].sum()), 0),
            lang.decimal(float(table["nights"].sum()), 0),
            str(peak["week"]),
            lang.say(
                "season_tables.rate_between",
                rate=lang.rate(peak["rate"]),
                low=lang.rate(peak["rate_low"]),
                high=lang.rate(peak["rate_high"]),
            ),
        )
        for (design, species), table in report.curves.groupby(["design", "species"], sort=False)
        for peak in [table.sort_values("rate").iloc[-1]]
    ]


def _beside(report: SeasonReport, lang: Catalogue) -> list[str]:
    lines = []
    for label in report.past:
        lines += [
            past_sentence(label, report.past[label], lang),
            compared_sentence(label, report.compared[label], lang),
        ]
    rows = [
        (label, *([lang.day(each.day) for each in dates.dates] or [_NONE] * len(SHARES)))
        for label, dates in [(report.season.label, report.dates), *report.past.items()]
    ]
    caption, season = _heads(("shares", "season"), lang)
    return [
        _heading("beside", lang),
        *map(paragraph, [*lines, *busy_sentences(report, lang)]),
        *_caught(report, lang),
        _table(caption, (season, *map(lang.percent, SHARES)), rows),
    ]


def _caught(report: SeasonReport, lang: Catalogue) -> list[str]:
    if not _walked(report):
        return []
    label, unit = (lang.say(f"season_charts.{key}") for key in ("caught_label", "caught_unit"))
    picture = caught_by_day_svg(report, CaughtWords(label, unit), lang)
    return [picture, paragraph(lang.say("season_notes.caught"))]


def _walked(report: SeasonReport) -> bool:
    """Tell whether any season has a curve to draw."""
    return any(len(each.nightly) for each in (report.dates, *report.past.values()))


def _models(report: SeasonReport, lang: Catalogue) -> list[str]:
    notes = ("models",) if report.named else ("none_named", "models")
    note = " ".join(lang.say(f"season_notes.{key}") for key in notes)
    parts = [_heading("models", lang), paragraph(note)]
    for each in report.models:
        parts.append(paragraph(model_sentence(each, report.dates, lang)))
        if each.sums.known_to is not None and len(report.dates.nightly):
            parts.append(caught_by_sum_svg(report, each, lang))
    caption, *heads = _heads(
        ("events", "event_model", "degree_days", "reached", "passed", "expected"), lang
    )
    rows = [
        _event_row(event, each.sums.model, lang) for each in report.models for event in each.events
    ]
    return [*parts, _table(caption, heads, rows)]


def _event_row(found: EventDays, model: DegreeDayModel, lang: Catalogue) -> tuple[str, ...]:
    event = lang.say(f"season_events.{found.event.event}")
    return (
        lang.say("season_tables.of_model", event=event, model=model.key),
        lang.say(
            "season_tables.degree_days_between",
            low=figure(found.event.low),
            high=figure(found.event.high),
            unit=model.unit,
        ),
        *(lang.day(day) if day else _NONE for day in (found.low, found.high)),
        lang.span(*found.ahead) if found.ahead else _NONE,
    )


def _cores(report: SeasonReport, lang: Catalogue) -> list[str]:
    due = report.paired.due
    waiting = due[(due["cores"] == 0) & (due["rate"] > 0)].head(MOST_ZONES)
    rows = [
        (str(row.zone_id), lang.rate(float(str(row.rate))), lang.decimal(float(str(row.nights)), 0))
        for row in waiting.itertuples()
    ]
    said = [paired_sentence(report.paired, lang)] if len(report.site.cores) else []
    said.append(lang.say("season_paired.cut", len(due), cut=int((due["cores"] > 0).sum())))
    caption, *heads = _heads(("no_cores", "zone", "rate", "nights"), lang)
    return [
        _heading("cores", lang),
        *map(paragraph, said),
        _table(caption, heads, rows),
    ]


def _table(
    caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]], kind: str = ""
) -> str:
    if not rows:
        return ""
    head = "".join(f'<th scope="col">{escape(each)}</th>' for each in heads)
    body = "".join(
        f'<tr><th scope="row">{escape(first).replace("_", "_<wbr>")}</th>'
        + "".join(f"<td>{escape(each)}</td>" for each in rest)
        + "</tr>"
        for first, *rest in rows
    )
    return (
        f'<table class="{kind}"><caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table>"
    )


def season_csv(report: SeasonReport) -> str:
    """Return `season.csv`: one row a night, columns `maps.columns.SEASON`."""
    nights = report.nights.assign(wet=report.nights["wet"].where(report.nights["rain_known"]))
    table = report.dates.nightly.merge(nights, on="date", how="left")
    return csv_text(_stamped(report, table), SEASON)


def season_weeks_csv(report: SeasonReport) -> str:
    """Return `season-weeks.csv`: one row per design, species and week."""
    return csv_text(report.curves, SEASON_WEEKS)


def calendar_csv(report: SeasonReport) -> str:
    """Return `calendar.csv`: one row per window of what is due."""
    rows = [
        {
            "window": each.what,
            "first_day": each.first.isoformat(),
            "last_day": each.last.isoformat(),
            "basis": each.basis,
            "seasons": each.seasons,
        }
        for each in report.calendar
    ]
    table = pd.DataFrame(rows, columns=["window", "first_day", "last_day", "basis", "seasons"])
    week, cutoff = report.season.week, report.season.cutoff.isoformat()
    return csv_text(table.assign(week=week, cutoff=cutoff), CALENDAR)


def _stamped(report: SeasonReport, table: pd.DataFrame) -> pd.DataFrame:
    days = [day.date().isoformat() for day in table["date"]]
    return table.assign(week=report.season.week, cutoff=report.season.cutoff.isoformat(), date=days)


def degree_days_csv(report: SeasonReport) -> str:
    """Return `degree-days.csv`: one row per model and day, columns `maps.columns.DEGREE_DAYS`."""
    tables = [
        each.sums.table.assign(model=each.sums.model.key, unit=each.sums.model.unit)
        for each in report.models
    ]
    names = [each.name for each in DEGREE_DAYS]
    table = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=names)
    days = [day.date().isoformat() for day in table["date"]]
    return csv_text(table.assign(date=days), DEGREE_DAYS)
