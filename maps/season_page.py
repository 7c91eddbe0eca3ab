"""The season on one page: its curve, what was caught by when, and the models' calendar."""

from __future__ import annotations

from datetime import date
from html import escape

import pandas as pd

from data.version import VERSION
from maps.columns import DEGREE_DAYS, SEASON
from maps.exports import csv_text
from maps.palette import INK, PAPER
from maps.percent import percent_text
from maps.plain_page import STYLE, paragraph, plain_page
from maps.season_words import EVENT_TEXT, MODELS_NOTE, SEASON_NOTE, season_sentences
from maps.weeks import day_text
from maps.words import CAUTIONS
from spatial.season_report import SeasonReport

_WIDTH, _LEFT, _RIGHT, _TOP, _CURVE, _ROW = 520.0, 46.0, 12.0, 16.0, 130.0, 28.0
SOFT, FILL = "#52584f", "#cdbfd6"


def season_html(report: SeasonReport) -> str:
    """Return the page: self-contained, offline, printable."""
    title = f"When adults walk: {report.site.settings.name}"
    cutoff = day_text(report.season.cutoff)
    parts = [
        f"<h1>{escape(title)}</h1>",
        paragraph(f"Season {report.season.label}, up to {cutoff}."),
        *map(paragraph, season_sentences(report)),
        season_svg(report),
        _table(report),
        "<h2>How this was made</h2>",
        *map(paragraph, (SEASON_NOTE, MODELS_NOTE, CAUTIONS[0])),
        f"<footer>{paragraph(f'Data to {cutoff}. snoutline {VERSION}.')}</footer>",
    ]
    return plain_page(title, STYLE, parts)


class _Frame:
    """Days to places across the picture."""

    def __init__(self, report: SeasonReport) -> None:
        self.first, self.last = report.season.start, report.season.cutoff
        self.days = max((self.last - self.first).days, 1)

    def x(self, day: date) -> float:
        share = min(max((day - self.first).days / self.days, 0.0), 1.0)
        return _LEFT + share * (_WIDTH - _LEFT - _RIGHT)


def season_svg(report: SeasonReport) -> str:
    """Return curve, shares and the models' calendar as one SVG element."""
    frame = _Frame(report)
    rows = [(each, event) for each in report.models for event in each.events if event.low]
    height = _TOP + _CURVE + 36 + _ROW * len(rows)
    parts = [_curve(report, frame), _shares(report, frame), _months(frame)]
    for number, (model, event) in enumerate(rows):
        y = _TOP + _CURVE + 30 + _ROW * number
        low = event.low or frame.last
        right = frame.x(event.high or frame.last)
        open_ = "" if event.high else ' stroke-dasharray="3 2"'
        name = f"{EVENT_TEXT[event.event.event]} ({model.sums.model.key})"
        parts.append(
            f'<rect x="{frame.x(low):.1f}" y="{y:.0f}" width="{max(right - frame.x(low), 2):.1f}" '
            f'height="8" fill="{FILL}" stroke="{INK}"{open_}/>'
            f'<text x="{_LEFT}" y="{y + 21:.0f}" font-size="13">{escape(name)}</text>'
        )
    return (
        f'<svg viewBox="0 0 {_WIDTH:g} {height:g}" role="img" '
        'aria-label="Catch through the season, and the calendar of the models" '
        'xmlns="http://www.w3.org/2000/svg" font-family="Source Sans 3, Segoe UI, Roboto, '
        f'Liberation Sans, Arial, sans-serif" font-size="14" fill="{INK}">'
        f'<rect width="{_WIDTH:g}" height="{height:g}" fill="{PAPER}"/>{"".join(parts)}</svg>'
    )


def _curve(report: SeasonReport, frame: _Frame) -> str:
    table, base = report.dates.nightly, _TOP + _CURVE
    axis = f'<path d="M{_LEFT} {base}H{_WIDTH - _RIGHT}" stroke="{SOFT}"/>'
    if table.empty:
        return axis
    top = max(float(table["rate"].max()), 0.1) * 1.1
    points = " ".join(
        f"{frame.x(day.date()):.1f},{base - _CURVE * rate / top:.1f}"
        for day, rate in zip(table["date"], table["rate"], strict=True)
    )
    return (
        f'{axis}<polyline points="{points}" fill="none" stroke="{INK}" stroke-width="1.6"/>'
        f'<text x="{_LEFT - 5}" y="{_TOP + 8}" text-anchor="end">{top:.2g}</text>'
        f'<text x="{_LEFT - 5}" y="{base}" text-anchor="end">0</text>'
        f'<text x="{_LEFT + 4}" y="{_TOP + 4}" fill="{SOFT}">adults per trap-week</text>'
    )


def _shares(report: SeasonReport, frame: _Frame) -> str:
    parts = []
    for each in report.dates.dates:
        x = frame.x(each.day)
        text = percent_text(each.share)
        parts.append(
            f'<path d="M{x:.1f} {_TOP + 12}V{_TOP + _CURVE}" stroke="{INK}" '
            f'stroke-dasharray="4 3"/><text x="{x:.1f}" y="{_TOP + 10}" '
            f'text-anchor="middle">{text}</text>'
        )
        if each.low and each.high:
            y = _TOP + _CURVE + 4
            parts.append(
                f'<path d="M{frame.x(each.low):.1f} {y}H{frame.x(each.high):.1f}" '
                f'stroke="{INK}" stroke-width="3"/>'
            )
    return "".join(parts)


def _months(frame: _Frame) -> str:
    firsts = pd.date_range(frame.first, frame.last, freq="MS")
    y = _TOP + _CURVE + 20
    return "".join(
        f'<path d="M{frame.x(day.date()):.1f} {_TOP + _CURVE}v5" stroke="{SOFT}"/>'
        f'<text x="{frame.x(day.date()):.1f}" y="{y}" text-anchor="middle" fill="{SOFT}">'
        f"{day_text(day.date()).split()[1][:3]}</text>"
        for day in firsts
    )


def _table(report: SeasonReport) -> str:
    """Return the dates of every season as a table, for readers of screens and for paper."""
    heads = "".join(f'<th scope="col">{text}</th>' for text in ("Season", "10 %", "50 %", "90 %"))
    rows = []
    for label, dates in [(report.season.label, report.dates), *report.past.items()]:
        cells = [day_text(each.day) for each in dates.dates] or ["\N{EN DASH}"] * 3
        tds = "".join(f"<td>{escape(text)}</td>" for text in cells)
        rows.append(f'<tr><th scope="row">{escape(label)}</th>{tds}</tr>')
    return (
        "<table><caption>Day by which a share of the season's adults was caught</caption>"
        f"<thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
    )


def season_csv(report: SeasonReport) -> str:
    """Return `season.csv`: one row a night, columns `maps.columns.SEASON`."""
    table = report.dates.nightly.assign(
        week=report.season.week, cutoff=report.season.cutoff.isoformat()
    )
    days = [day.date().isoformat() for day in table["date"]]
    return csv_text(table.assign(date=days), SEASON)


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
