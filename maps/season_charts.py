"""Pictures of a season: its curve, what was caught by when, and the calendar of what is due.

520 units wide, so that letters are legible at 360 px. This season is a solid line, earlier ones are
dashed, a fitted relation is dotted: they differ in grey, too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from maps.catalogue import Catalogue
from maps.chart_parts import (
    LEFT,
    RIGHT,
    WIDTH,
    Days,
    chart_line,
    chart_svg,
    chart_text,
    dash,
    key_entry,
    round_steps,
)
from maps.palette import BAND, INK, PAPER, SOFT
from spatial.model_seasons import ModelSeason
from spatial.season_dates import SeasonDates
from spatial.season_fit import SHAPES
from spatial.season_report import SeasonReport

_LETTER = 7.0
"""Width of a letter, rather too much than too little."""


def curve_svg(report: SeasonReport, lang: Catalogue) -> str:
    """Return the curve of the season, its cold and wet nights, and degree-days as further axes.

    Parameters
    ----------
    report
        What is shown.
    lang
        Language.
    """
    days, base = Days(report.season.start, report.season.cutoff), 150.0
    rows = [each for each in report.models if each.sums.known_to is not None]
    parts = [_curve(report.dates, days, base, lang), _shares(report.dates, days, base, lang)]
    parts.append(_night_strips(report, days, base + 12, lang))
    at = base + 40
    parts.append(days.months(at, lang))
    for number, model in enumerate(rows):
        parts.append(_degree_axis(model, days, at + 42 + 34 * number, lang))
    height = at + 30 + 34 * len(rows)
    return chart_svg(height, lang.say("season_charts.curve_label"), parts)


def _curve(dates: SeasonDates, days: Days, base: float, lang: Catalogue) -> str:
    axis = f'<path d="M{LEFT} {base}H{WIDTH - RIGHT}" stroke="{SOFT}"/>'
    table = dates.nightly
    if table.empty:
        return axis
    top = max(float(table["rate"].max()), 0.1) * 1.1
    points = [
        (days.x(day.date()), base - (base - 24) * rate / top)
        for day, rate in zip(table["date"], table["rate"], strict=True)
    ]
    unit = lang.say("season_charts.rate_unit")
    return (
        f"{axis}{chart_line(points)}{chart_text(LEFT - 5, 34, lang.rate(top), 'end')}"
        f"{chart_text(LEFT - 5, base, lang.number(0), 'end')}"
        f"{chart_text(LEFT + 4, 12, unit, fill=SOFT)}"
    )


def _shares(dates: SeasonDates, days: Days, base: float, lang: Catalogue) -> str:
    parts = []
    for each in dates.dates:
        x = days.x(each.day)
        parts.append(
            f'<path d="M{x:.1f} 30V{base}" stroke="{INK}" stroke-dasharray="4 3"/>'
            + chart_text(x, 27, lang.percent(each.share), "middle")
        )
        if each.low and each.high:
            ends = f"M{days.x(each.low):.1f} {base + 4}H{days.x(each.high):.1f}"
            parts.append(f'<path d="{ends}" stroke="{INK}" stroke-width="3"/>')
    return "".join(parts)


def _night_strips(report: SeasonReport, days: Days, y: float, lang: Catalogue) -> str:
    """Return a row of cold nights, and one of wet ones where rain is known."""
    nights = report.nights
    rows = [("cold", nights["cold"])]
    if nights["rain_known"].any():
        rows.append(("wet", nights["wet"]))
    parts = []
    for number, (name, there) in enumerate(rows):
        at = y + 12 * number
        marks = "".join(
            f"M{days.x(day.date()):.1f} {at:g}v7" for day in nights.loc[there.astype(bool), "date"]
        )
        parts.append(f'<path d="{marks or "M0 0"}" stroke="{SOFT}" stroke-width="1.4"/>')
        text = chart_text(LEFT - 5, at + 8, lang.say(f"season_charts.{name}"), "end", SOFT)
        parts.append(f'<g font-size="12">{text}</g>')
    return "".join(parts) if len(nights) else ""


def _degree_axis(model: ModelSeason, days: Days, y: float, lang: Catalogue) -> str:
    """Return degree-days as a second axis: round sums where they were reached."""
    table = model.sums.table.dropna(subset=["total"])
    table = table[table["date"] >= pd.Timestamp(days.first)]
    parts = [f'<path d="M{LEFT} {y}H{WIDTH - RIGHT}" stroke="{SOFT}"/>']
    last_x = -99.0
    for amount in round_steps(float(table["total"].max()) if len(table) else 0.0):
        day = table.loc[table["total"] >= amount, "date"].iloc[0].date()
        x = days.x(day)
        if x - last_x > 34 and x < WIDTH - 24:
            parts.append(f'<path d="M{x:.1f} {y}v-5" stroke="{SOFT}"/>')
            parts.append(chart_text(x, y - 7, lang.figure(amount), "middle", SOFT))
            last_x = x
    name = chart_text(LEFT, y + 12, _sum_unit(model, lang), fill=SOFT)
    return "".join(parts) + f'<g font-size="12">{name}</g>'


def _sum_unit(model: ModelSeason, lang: Catalogue) -> str:
    rule = model.sums.model
    return lang.say("season_charts.sum_unit", unit=rule.unit, model=rule.key)


@dataclass(frozen=True, slots=True)
class CaughtWords:
    """Words in the picture of what was caught by each day.

    Parameters
    ----------
    label
        For readers who do not see it.
    unit
        Of its upright axis.
    """

    label: str
    unit: str


def caught_by_day_svg(report: SeasonReport, words: CaughtWords, lang: Catalogue) -> str:
    """Return the adults caught by each day of the season: this one beside earlier ones."""
    days, frame = Days(report.season.start, report.season.end), _Caught(report)
    parts = [frame.axes(words.unit, lang), days.months(frame.base, lang)]
    for number, (label, dates) in enumerate(_seasons(report)):
        shift = report.season.start - _start_of(report, label)
        points = [
            (days.x(day.date() + shift), frame.y(caught))
            for day, caught in zip(dates.nightly["date"], _caught(dates), strict=True)
        ]
        parts.append(chart_line(points, dash(number)))
        parts.append(key_entry(number, label, len(report.past), lang))
    return chart_svg(frame.base + 28, words.label, parts)


def caught_by_sum_svg(report: SeasonReport, model: ModelSeason, lang: Catalogue) -> str:
    """Return the adults caught by how many degree-days, and where the model puts its events."""
    frame, top = _Caught(report), _top_sum(model)
    unit = lang.say("season_charts.caught_unit")
    parts = [frame.axes(unit, lang), _event_bands(model, frame.base, top, lang)]
    sums = {each.label: each.sums for each in model.past} | {report.season.label: model.sums}
    for number, (label, dates) in enumerate(_seasons(report)):
        total = sums[label].table.set_index("date")["total"]
        both = pd.DataFrame({"total": total, "caught": _caught(dates)}).dropna()
        points = [
            (_sum_x(amount, top), frame.y(caught))
            for amount, caught in zip(both["total"], both["caught"], strict=True)
        ]
        parts.append(chart_line(points, dash(number)))
        parts.append(key_entry(number, label, len(report.past), lang))
    parts.append(_own_curve(report, model, frame, top))
    base = frame.base
    for amount in round_steps(top):
        x = _sum_x(amount, top)
        parts.append(f'<path d="M{x:.1f} {base}v5" stroke="{SOFT}"/>')
        parts.append(chart_text(x, base + 18, lang.figure(amount), "middle", SOFT))
    parts.append(chart_text(LEFT, base + 34, _sum_unit(model, lang), fill=SOFT))
    label = lang.say("season_charts.by_sum_label", model=model.sums.model.key)
    return chart_svg(base + 40, label, parts)


def _own_curve(report: SeasonReport, model: ModelSeason, frame: _Caught, top: float) -> str:
    """Return the site's own relation, at the mean catch of whole seasons, where it forecasts."""
    curve = model.fit.curve
    if curve is None or model.fit.reason:
        return ""
    whole = float(np.mean([_caught(each.dates).iloc[-1] for each in model.past]))
    amounts = np.linspace(0, top, 60)
    shares = SHAPES[curve.shape](amounts, curve.middle, curve.scale)
    places = [(_sum_x(d, top), frame.y(whole * s)) for d, s in zip(amounts, shares, strict=True)]
    return chart_line(places, ' stroke-dasharray="1 3"')


def _caught(dates: SeasonDates) -> pd.Series[float]:
    """Return adults per trap up to and with each night, by date."""
    table = dates.nightly
    return (table["rate"].cumsum() / 7).set_axis(table["date"])


class _Caught:
    """Adults per trap to places in the picture; one scale for all seasons of a report."""

    base = 170.0

    def __init__(self, report: SeasonReport) -> None:
        tops = [float(_caught(dates).max()) for _, dates in _seasons(report) if len(dates.nightly)]
        self.top = max([each for each in tops if each > 0] or [1.0]) * 1.08

    def y(self, caught: float) -> float:
        """Return the place of a number of adults per trap."""
        return self.base - (self.base - 34) * float(caught) / self.top

    def axes(self, unit: str, lang: Catalogue) -> str:
        """Return grid and numbers."""
        parts = [f'<path d="M{LEFT} {self.base}H{WIDTH - RIGHT}" stroke="{SOFT}"/>']
        parts.append(chart_text(LEFT - 5, self.base, lang.number(0), "end"))
        for amount in round_steps(self.top)[1::2]:
            y = self.y(amount)
            parts.append(
                f'<path d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}" stroke="{SOFT}" stroke-opacity=".35"/>'
            )
            parts.append(chart_text(LEFT - 5, y + 5, lang.figure(amount), "end"))
        parts.append(chart_text(LEFT, 31, unit, fill=SOFT))
        return "".join(parts)


def _seasons(report: SeasonReport) -> list[tuple[str, SeasonDates]]:
    return [(report.season.label, report.dates), *report.past.items()]


def _start_of(report: SeasonReport, label: str) -> date:
    """Return the first day of the season of that label."""
    back = int(report.season.label[:4]) - int(label[:4])
    start: pd.Timestamp = pd.Timestamp(report.season.start) - pd.DateOffset(years=back)
    return start.date()


def _sum_x(amount: float, top: float) -> float:
    return LEFT + float(amount) / top * (WIDTH - LEFT - RIGHT)


def _top_sum(model: ModelSeason) -> float:
    """Return the largest sum shown: all events, and all that was summed in season."""
    totals = [model.sums.table["total"].max(), *(e.event.high for e in model.events)]
    totals += [each.sums.table["total"].max() for each in model.past]
    return max([float(each) for each in totals if not math.isnan(each)] or [1.0]) * 1.02 or 1.0


def _event_bands(model: ModelSeason, base: float, top: float, lang: Catalogue) -> str:
    parts = []
    for number, each in enumerate(model.events):
        left, right = (_sum_x(end, top) for end in (each.event.low, each.event.high))
        y = 50 + 16 * number
        parts.append(
            f'<rect x="{left:.1f}" y="36" width="{max(right - left, 2):.1f}" height="{base - 36}" '
            f'fill="{BAND}" fill-opacity=".6" stroke="{SOFT}" stroke-width=".6"/>'
        )
        end = right + 4 < WIDTH * 0.7
        x = right + 4 if end else left - 4
        name = lang.say(f"season_events.{each.event.event}")
        parts.append(
            f'<g font-size="12" paint-order="stroke" stroke="{PAPER}" stroke-width="3">'
            f"{chart_text(x, y, name, 'start' if end else 'end')}</g>"
        )
    return "".join(parts)


def calendar_svg(report: SeasonReport, lang: Catalogue) -> str:
    """Return the windows of the season as bars, and the day of the cut-off."""
    windows = report.calendar
    if not windows:
        return ""
    last = max([report.season.end, *(each.last for each in windows)])
    days, row = Days(report.season.start, last), 30.0
    base = 22 + row * len(windows)
    parts = [days.months(base, lang), f'<path d="M{LEFT} {base}H{WIDTH - RIGHT}" stroke="{SOFT}"/>']
    for number, each in enumerate(windows):
        y, x = 24 + row * number, days.x(each.first)
        look = f'fill="{INK}"' if each.basis == "observed" else f'fill="{BAND}" stroke="{INK}"'
        wide = max(days.x(each.last) - x, 3)
        parts.append(f'<rect x="{x:.1f}" y="{y:g}" width="{wide:.1f}" height="9" {look}/>')
        name = lang.say(f"season_windows.{each.what}")
        # A long name begins further left, but inside the picture.
        at = max(min(x, WIDTH - RIGHT - _LETTER * len(name)), 4.0)
        parts.append(chart_text(at, y + 22, name))
    x = days.x(report.season.cutoff)
    parts.append(f'<path d="M{x:.1f} 18V{base}" stroke="{INK}" stroke-dasharray="4 3"/>')
    told = lang.say("season_charts.data_to", day=lang.day(report.season.cutoff))
    # At the season's end its middle moves to the left, so that the day is read.
    middle = min(x, WIDTH - 4.0 - _LETTER / 2 * len(told))
    parts.append(chart_text(middle, 13, told, "middle"))
    return chart_svg(base + 24, lang.say("season_charts.calendar_label"), parts)


def species_svg(report: SeasonReport, lang: Catalogue) -> str:
    """Return the weekly catch of each species and design as small pictures of one scale each."""
    groups = list(report.curves.groupby(["design", "species"], sort=False))
    if not groups:
        return ""
    days, high = Days(report.season.start, report.season.cutoff), 74.0
    parts = []
    for number, ((design, species), table) in enumerate(groups):
        base = high * (number + 1) - 8
        name = lang.say("season_tables.of_design", species=str(species), design=str(design))
        parts.append(_small(table, days, base, lang))
        parts.append(chart_text(LEFT, base - 50, name))
    foot = high * len(groups)
    parts.append(days.months(foot - 6, lang))
    return chart_svg(foot + 26, lang.say("season_charts.species_label"), parts)


def _small(table: pd.DataFrame, days: Days, base: float, lang: Catalogue) -> str:
    top = max(float(table["rate_high"].max()), 0.1)
    mondays = [date.fromisocalendar(int(w[:4]), int(w[6:]), 4) for w in table["week"]]
    x = [days.x(day) for day in mondays]

    def y(rates: pd.Series[float]) -> list[float]:
        return [base - 44 * float(rate) / top for rate in rates]

    band = [*zip(x, y(table["rate_high"]), strict=True)]
    band += [*zip(x, y(table["rate_low"]), strict=True)][::-1]
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in band)
    return (
        f'<polygon points="{points}" fill="{BAND}"/>'
        f'<path d="M{LEFT} {base}H{WIDTH - RIGHT}" stroke="{SOFT}"/>'
        f"{chart_line(zip(x, y(table['rate']), strict=True))}"
        f"{chart_text(LEFT - 5, base - 36, lang.rate(top), 'end')}"
        f"{chart_text(LEFT - 5, base, lang.number(0), 'end')}"
    )
