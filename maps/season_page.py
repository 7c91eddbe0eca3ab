"""The season on one page: what is due, its curve, what was caught by when, and what models say."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import pandas as pd

from data.version import VERSION
from maps.cautions import cautions
from maps.columns import CALENDAR, DEGREE_DAYS, SEASON, SEASON_WEEKS
from maps.exports import csv_text
from maps.language_file import english
from maps.plain_page import STYLE, paragraph, plain_page
from maps.season_charts import (
    calendar_svg,
    caught_by_day_svg,
    caught_by_sum_svg,
    curve_svg,
    species_svg,
)
from maps.season_words import (
    CALENDAR_NOTE,
    CAUGHT_NOTE,
    EVENT_TEXT,
    MODELS_NOTE,
    NO_DATES_TEXT,
    NONE_NAMED,
    SEASON_NOTE,
    WHY_TEXT,
    WINDOW_TEXT,
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
from maps.weeks import day_text, span_text
from maps.words import count_of, rate_text, treated_sentences
from spatial.season_calendar import DueWindow
from spatial.season_report import SeasonReport

MOST_ZONES = 12
"""Zones listed for cores; the others follow in the order of the adults."""

_NONE = "\N{EN DASH}"


def season_html(report: SeasonReport) -> str:
    """Return the page: self-contained, offline, printable."""
    title = f"When adults walk: {report.site.settings.name}"
    cutoff = day_text(report.season.cutoff)
    first = [
        *own_lines(report.dates),
        *generation_lines(report),
        *due_sentences(report.calendar, report.season.cutoff),
        *treated_sentences(report.site, report.season, english()),
    ]
    parts = [
        f"<h1>{escape(title)}</h1>",
        paragraph(f"Season {report.season.label}, up to {cutoff}."),
        *map(paragraph, first),
        *_calendar(report),
        *_curve(report),
        *_beside(report),
        *_models(report),
        *_cores(report),
        "<h2>How this was made</h2>",
        *map(paragraph, (SEASON_NOTE, CALENDAR_NOTE, cautions(english())[0])),
        f"<footer>{paragraph(f'Data to {cutoff}. snoutline {VERSION}.')}</footer>",
    ]
    return plain_page(title, STYLE + _MORE_STYLE, parts)


_MORE_STYLE = (
    "h2{break-after:avoid}td{white-space:normal}th{hyphens:manual;overflow-wrap:normal}"
    "tbody th,th:first-child,.prose th{text-align:left;min-width:6.5em}"
    ".prose td{text-align:left}.prose td:nth-child(2){min-width:8em}"
)


def _calendar(report: SeasonReport) -> list[str]:
    if not report.calendar:
        return []
    bases = list(dict.fromkeys(map(basis_text, _expected(report))))
    once = bases[0] if len(bases) == 1 else ""
    rows = [
        (
            WINDOW_TEXT[each.what].capitalize(),
            span_text(each.first, each.last),
            "; ".join(
                text for text in (WHY_TEXT[each.what], basis_text(each)) if text and text != once
            ),
        )
        for each in report.calendar
    ]
    return [
        "<h2>What is due when</h2>",
        calendar_svg(report),
        paragraph(f"What the windows rest on: {once}.") if once else "",
        _table("Windows of this season", ("Window", "Days", "Why"), rows, "prose"),
    ]


def _expected(report: SeasonReport) -> list[DueWindow]:
    """Return the windows that are not simply what was caught."""
    return [each for each in report.calendar if each.basis != "observed"]


def _curve(report: SeasonReport) -> list[str]:
    settings = report.site.settings
    note = nights_note(settings.treatment.cold_c, settings.phenology.wet_mm, settings.units)
    if report.dates.nightly.empty:
        return ["<h2>The curve</h2>", paragraph(NO_DATES_TEXT["no_visit"])]
    rows = [
        (
            f"{species}, {design}",
            f"{table['adults'].sum():.0f}",
            f"{table['nights'].sum():.0f}",
            str(peak["week"]),
            f"{rate_text(peak['rate'])} ({rate_text(peak['rate_low'])} to "
            f"{rate_text(peak['rate_high'])})",
        )
        for (design, species), table in report.curves.groupby(["design", "species"], sort=False)
        for peak in [table.sort_values("rate").iloc[-1]]
    ]
    heads = ("Species, design", "Adults", "Trap-nights", "Busiest week", "Adults per trap-week")
    caption = "Busiest week of each species in each trap design, with 95 % interval"
    return [
        "<h2>The curve</h2>",
        curve_svg(report),
        paragraph(note),
        species_svg(report),
        _table(caption, heads, rows),
    ]


def _beside(report: SeasonReport) -> list[str]:
    lines = []
    for label in report.past:
        lines += [
            past_sentence(label, report.past[label]),
            compared_sentence(label, report.compared[label]),
        ]
    rows = [
        (label, *([day_text(each.day) for each in dates.dates] or [_NONE] * 3))
        for label, dates in [(report.season.label, report.dates), *report.past.items()]
    ]
    return [
        "<h2>Beside earlier seasons</h2>",
        *map(paragraph, [*lines, *busy_sentences(report)]),
        *([caught_by_day_svg(report), paragraph(CAUGHT_NOTE)] if _walked(report) else []),
        _table(
            "Day by which a share of the season's adults was caught",
            ("Season", "10 %", "50 %", "90 %"),
            rows,
        ),
    ]


def _walked(report: SeasonReport) -> bool:
    """Tell whether any season has a curve to draw."""
    return any(len(each.nightly) for each in (report.dates, *report.past.values()))


def _models(report: SeasonReport) -> list[str]:
    note = MODELS_NOTE if report.named else f"{NONE_NAMED} {MODELS_NOTE}"
    parts = ["<h2>What degree-day models make of it</h2>", paragraph(note)]
    for each in report.models:
        parts.append(paragraph(model_sentence(each, report.dates)))
        if each.sums.known_to is not None and len(report.dates.nightly):
            parts.append(caught_by_sum_svg(report, each))
    rows = [
        (
            f"{EVENT_TEXT[event.event.event]}, {each.sums.model.key}",
            f"{event.event.low:g} to {event.event.high:g} {each.sums.model.unit}",
            *[day_text(day) if day else _NONE for day in (event.low, event.high)],
            span_text(*event.ahead) if event.ahead else _NONE,
        )
        for each in report.models
        for event in each.events
    ]
    heads = ("Event, model", "Degree-days", "Reached", "Passed", "Expected")
    return [*parts, _table("Events of the models in this season", heads, rows)]


def _cores(report: SeasonReport) -> list[str]:
    due = report.paired.due
    waiting = due[(due["cores"] == 0) & (due["rate"] > 0)].head(MOST_ZONES)
    rows = [
        (str(row.zone_id), rate_text(float(str(row.rate))), f"{float(str(row.nights)):.0f}")
        for row in waiting.itertuples()
    ]
    said = [paired_sentence(report.paired)] if len(report.site.cores) else []
    cut = int((due["cores"] > 0).sum())
    said.append(f"{cut} of {count_of(len(due), 'zone')} with a count had cores cut this season.")
    return [
        "<h2>Where to cut cores first</h2>",
        *map(paragraph, said),
        _table(
            "Zones without cores this season, most adults first",
            ("Zone", "Adults per trap-week", "Trap-nights"),
            rows,
        ),
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
