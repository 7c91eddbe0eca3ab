"""The sequential chart that a scout carries: a picture, a table to fill in, and one page of both.

Pictures are 400 units wide, so that their letters are legible at 360 px. Above is hatched on a
shade, below is dotted, "go on" is plain: they differ in grey, too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from maps.catalogue import Catalogue, figure
from maps.palette import INK, PAPER, SOFT, activity_ramp
from maps.plain_page import STYLE, paragraph, plain_page
from maps.sampling_words import (
    Unit,
    chart_sentences,
    end_sentence,
    how_to_use,
    line_sentences,
    performance_sentences,
)
from spatial.arrays import FloatArray, IntArray
from spatial.sample_size import StopLine
from spatial.sequential import DecisionChart, Performance

SHADE = activity_ramp(5)[1]

_WIDTH, _HEIGHT = 400.0, 400.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 46.0, 12.0, 30.0, 62.0
_NONE = "\N{EN DASH}"

_RIGHT_TO_LEFT = "caption{text-align:right}ul{padding-left:0;padding-right:20px}"


@dataclass(frozen=True, slots=True)
class ChartLabel:
    """What stands on a chart.

    Parameters
    ----------
    place
        Zone or class of zones it is made for.
    unit
        What is counted.
    cutoff
        Last day of the data that k or the law came from, as read.
    key
        Letters and digits that no other picture on the page has; names its patterns.
    """

    place: str
    unit: Unit
    cutoff: str
    key: str = "sampling"

    def __post_init__(self) -> None:
        if not self.key.isalnum():
            raise ValueError(f"expected a key of letters and digits; found {self.key!r}")


def decision_svg(chart: DecisionChart, label: ChartLabel, lang: Catalogue) -> str:
    """Return the picture of a decision chart as an SVG element; a sentence where there is none."""
    if chart.reason:
        return paragraph(chart_sentences(chart, label.unit, lang)[0])
    n = np.array([chart.least, chart.most], dtype=float)
    low, high = chart.lower + chart.slope * n, chart.upper + chart.slope * n
    frame = _Frame(chart.most, float(high[-1]) * 1.12)
    crosses = max(chart.least, -chart.lower / chart.slope)
    above = [(n[0], high[0]), (n[1], high[1]), (n[1], frame.top), (n[0], frame.top)]
    below = [(crosses, chart.lower + chart.slope * crosses), (n[1], low[1]), (n[1], 0.0)]
    parts = [
        _patterns(label.key),
        frame.shape([*below, (crosses, 0.0)], f"url(#{label.key}-dots)"),
        frame.shape(above, SHADE),
        frame.shape(above, f"url(#{label.key}-lines)"),
        frame.axes(label.unit, lang),
        frame.line([(n[0], high[0]), (n[1], high[1])]),
        frame.line(below[:2]),
        *_tags(chart, frame, lang),
    ]
    return _svg("decision", "between_lines", label, parts, lang)


def _tags(chart: DecisionChart, frame: _Frame, lang: Catalogue) -> list[str]:
    """Return the words in the three parts of the chart, each where its part is roomy."""
    n = chart.most * np.array([0.3, 0.62, 0.8])
    low, high = chart.lower + chart.slope * n, chart.upper + chart.slope * n
    tags = [frame.tag(n[0], (high[0] + frame.top) / 2, lang.say("sampling_chart.above"))]
    if frame.height(chart.upper - chart.lower) > 26:
        go_on = lang.say("sampling_chart.go_on")
        tags.append(frame.tag(n[1], (low[1] + high[1]) / 2, go_on))
    return [*tags, frame.tag(n[2], max(low[2], 0.0) / 2, lang.say("sampling_chart.below"))]


def decision_table(chart: DecisionChart, label: ChartLabel, lang: Catalogue) -> str:
    """Return the decision chart as a table with room to write; empty where there is none."""
    if chart.reason:
        return ""
    columns = (chart.units, chart.below_at_most, chart.above_at_least)
    rows = zip(*(_numbers(each, lang) for each in columns), strict=True)
    heads = (*_room_heads(label.unit), "sampling_chart.below_at", "sampling_chart.above_at")
    table = _table(
        lang.say("sampling_chart.decision_caption"),
        [lang.say(key) for key in heads],
        [(n, "", "", low, high) for n, low, high in rows],
    )
    return table + paragraph(end_sentence(chart, label.unit, lang))


def _room_heads(unit: Unit) -> tuple[str, ...]:
    """Return the keys of the first heads of a table to fill in."""
    return unit.key("unit_head"), unit.key("animals_head"), "sampling_chart.running_total"


def stop_line_svg(line: StopLine, label: ChartLabel, lang: Catalogue) -> str:
    """Return the picture of a stop line as an SVG element; a sentence where there is none."""
    if line.reason:
        return paragraph(line_sentences(line, label.unit, lang)[0])
    # A line that starts next to a pole would press the rest flat; the table has those numbers.
    top = min(float(line.total.max()), 3 * float(line.total.min())) * 1.15
    frame = _Frame(line.most, top)
    points = [(n, t) for n, t in zip(line.units, line.total, strict=True) if t <= top]
    over = [(points[0][0], top), *points, (points[-1][0], top)]
    precise, go_on = (lang.say(f"sampling_chart.{tag}") for tag in ("precise", "go_on"))
    parts = [
        _patterns(label.key),
        frame.shape(over, SHADE),
        frame.shape(over, f"url(#{label.key}-lines)"),
        frame.axes(label.unit, lang),
        frame.line(points),
        frame.tag((points[0][0] + line.most) / 2, top * 0.93, precise),
        frame.tag(line.most * 0.5, float(line.total.min()) * 0.4, go_on),
    ]
    return _svg("stop_line", "under_line", label, parts, lang)


def stop_line_table(line: StopLine, label: ChartLabel, lang: Catalogue) -> str:
    """Return the stop line as a table with room to write; empty where there is none."""
    if line.reason:
        return ""
    stops = dict(zip(line.units.tolist(), _numbers(line.whole_total, lang), strict=True))
    rows = [(lang.number(n), "", "", stops.get(n, _NONE)) for n in range(1, line.most + 1)]
    heads = (*_room_heads(label.unit), "sampling_chart.stop_at")
    caption = lang.say("sampling_chart.line_caption")
    return _table(caption, [lang.say(key) for key in heads], rows)


def performance_table(found: Performance, unit: Unit, lang: Catalogue) -> str:
    """Return what a chart does at each true mean, simulated beside Wald's approximation."""
    columns = (
        found.mean, found.below, found.wald_below, found.above, found.undecided, found.units,
        found.wald_units,
    )  # fmt: skip
    rows = [
        (
            lang.decimal(mean, 2),
            *map(lang.percent, shares),
            *(lang.decimal(each, 1) for each in (units, wald)),
        )
        for mean, *shares, units, wald in zip(*columns, strict=True)
    ]
    heads = [
        unit.key("true_mean"),
        *(f"sampling_chart.{key}" for key in ("says_below", "wald", "says_above", "undecided")),
        unit.key("on_average"),
        "sampling_chart.wald",
    ]
    caption = lang.say("sampling_chart.tried_caption", found.runs, k=lang.figure(found.k, 2))
    return _table(caption, [lang.say(key) for key in heads], rows)


def chart_page(
    chart: DecisionChart, found: Performance | None, label: ChartLabel, lang: Catalogue
) -> str:
    """Return one page to print and carry: picture, rules, table to fill in, and what it can do.

    Parameters
    ----------
    chart
        The decision chart; without one the page says why.
    found
        Its simulated performance; None leaves that part out.
    label
        What stands on it.
    lang
        Language.
    """
    title = lang.say("sampling_chart.title", place=label.place)
    said = [] if chart.reason else chart_sentences(chart, label.unit, lang)
    parts = [f"<h1>{escape(title)}</h1>", *map(paragraph, said), _carried(chart, label, lang)]
    if found is not None:
        tried = performance_sentences(found, chart, label.unit, lang)
        parts += [f"<h2>{escape(lang.say('sampling_chart.can_do'))}</h2>", *map(paragraph, tried)]
        parts.append(performance_table(found, label.unit, lang))
    return plain_page(title, page_style(lang), parts, "card", language=(lang.tag, lang.direction))


def _carried(chart: DecisionChart, label: ChartLabel, lang: Catalogue) -> str:
    """Return picture, rules and table of a chart, or why there is none."""
    picture = decision_svg(chart, label, lang)
    if chart.reason:
        return picture
    rules = "".join(f"<li>{escape(text)}</li>" for text in how_to_use(label.unit, lang))
    table = decision_table(chart, label, lang)
    return f'<div class="carry"><div>{picture}<ul>{rules}</ul></div><div>{table}</div></div>'


def page_style(lang: Catalogue) -> str:
    """Return the CSS of a page with charts."""
    return STYLE + (_RIGHT_TO_LEFT if lang.direction == "rtl" else "")


class _Frame:
    """Units and running totals to places in the picture."""

    def __init__(self, most: int, top: float) -> None:
        self.most, self.top = most, max(top, 1.0)

    def place(self, units: float, total: float) -> str:
        x = _LEFT + units / self.most * (_WIDTH - _LEFT - _RIGHT)
        y = _HEIGHT - _BOTTOM - self.height(total)
        return f"{x:.1f} {y:.1f}"

    def height(self, total: float) -> float:
        return total / self.top * (_HEIGHT - _TOP - _BOTTOM)

    def path(self, points: Iterable[tuple[float, float]]) -> str:
        return "M" + "L".join(self.place(float(n), float(total)) for n, total in points)

    def shape(self, points: Iterable[tuple[float, float]], fill: str) -> str:
        return f'<path d="{self.path(points)}Z" fill="{fill}"/>'

    def line(self, points: Iterable[tuple[float, float]]) -> str:
        return f'<path d="{self.path(points)}" fill="none" stroke="{INK}" stroke-width="2"/>'

    def tag(self, units: float, total: float, text: str) -> str:
        """Return words on a patch of paper, so that no pattern runs through them."""
        x, y = map(float, self.place(units, total).split())
        wide = 7.2 * len(text) + 10
        x = min(max(x, _LEFT + wide / 2 + 2), _WIDTH - _RIGHT - wide / 2 - 2)
        y = min(max(y, _TOP + 10), _HEIGHT - _BOTTOM - 10)
        return (
            f'<rect x="{x - wide / 2:.1f}" y="{y - 9:.1f}" width="{wide:.1f}" height="18" rx="3" '
            f'fill="{PAPER}"/><text x="{x:.1f}" y="{y + 4.5:.1f}" text-anchor="middle" '
            f'font-weight="600">{escape(text)}</text>'
        )

    def axes(self, unit: Unit, lang: Catalogue) -> str:
        """Return grid, numbers and names of both axes."""
        across = lang.say(unit.key("across"), figure(unit.amount))
        parts = []
        for n in _ticks(self.most):
            x, y = self.place(n, 0).split()
            parts.append(_rule(f"M{x} {y}V{_TOP:g}"))
            parts.append(
                f'<text x="{x}" y="{float(y) + 15:.1f}" text-anchor="middle">'
                f"{lang.figure(n)}</text>"
            )
        for total in _ticks(self.top):
            x, y = self.place(0, total).split()
            parts.append(_rule(f"M{x} {y}H{_WIDTH - _RIGHT:g}"))
            parts.append(
                f'<text x="{float(x) - 5:.1f}" y="{float(y) + 4:.1f}" text-anchor="end">'
                f"{lang.figure(total)}</text>"
            )
        middle = (_TOP + _HEIGHT - _BOTTOM) / 2
        return "".join(parts) + (
            f'<path d="M{_LEFT:g} {_TOP:g}V{_HEIGHT - _BOTTOM:g}H{_WIDTH - _RIGHT:g}" fill="none" '
            f'stroke="{INK}"/><text x="{(_LEFT + _WIDTH - _RIGHT) / 2:g}" '
            f'y="{_HEIGHT - _BOTTOM + 32:g}" text-anchor="middle">{escape(across)}</text>'
            f'<text transform="translate(13 {middle:g}) rotate(-90)" text-anchor="middle">'
            f"{escape(lang.say(unit.key('total')))}</text>"
        )


def _rule(path: str) -> str:
    return f'<path d="{path}" stroke="{SOFT}" stroke-opacity=".35" stroke-width=".7"/>'


def _ticks(end: float) -> FloatArray:
    """Return round numbers from 0, about six of them.

    Examples
    --------
    >>> _ticks(30).tolist(), _ticks(96.3).tolist()
    ([0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0], [0.0, 20.0, 40.0, 60.0, 80.0])
    """
    rough = max(end, 1.0) / 6
    power = 10.0 ** math.floor(math.log10(rough))
    step = max(1.0, power * next(m for m in (1, 2, 5, 10) if power * m >= rough * (1 - 1e-9)))
    return np.arange(math.floor(end / step + 1e-9) + 1, dtype=np.float64) * step


def _patterns(key: str) -> str:
    return (
        f'<defs><pattern id="{key}-lines" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><path d="M0 0V7" stroke="{INK}" stroke-opacity=".55"/>'
        f'</pattern><pattern id="{key}-dots" width="8" height="8" patternUnits="userSpaceOnUse">'
        f'<circle cx="2" cy="2" r="1.1" fill="{SOFT}"/></pattern></defs>'
    )


def _svg(kind: str, advice: str, label: ChartLabel, parts: Sequence[str], lang: Catalogue) -> str:
    """Return a picture; its kind and its advice are keys of the section of charts."""
    head, told = (lang.say(f"sampling_chart.{key}") for key in (kind, advice))
    named = lang.say(f"sampling_label.{kind}", place=label.place)
    foot = lang.say("sampling_chart.data_to", day=label.cutoff)
    return (
        f'<svg viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" aria-label="{escape(named)}" '
        'xmlns="http://www.w3.org/2000/svg" font-family="Source Sans 3, Segoe UI, Roboto, '
        f'Liberation Sans, Arial, sans-serif" font-size="13" fill="{INK}">'
        f'<rect width="{_WIDTH:g}" height="{_HEIGHT:g}" fill="{PAPER}"/>'
        f'<text x="{_LEFT:g}" y="19" font-size="15" font-weight="600">{escape(head)}</text>'
        f"{''.join(parts)}"
        f'<text x="{_WIDTH - _RIGHT:g}" y="{_HEIGHT - 8:g}" text-anchor="end" font-size="12" '
        f'fill="{SOFT}">{escape(foot)}</text><text x="{_LEFT:g}" y="{_HEIGHT - 8:g}" '
        f'font-size="12" fill="{SOFT}">{escape(told)}</text></svg>'
    )


def _table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f'<th scope="col">{escape(each)}</th>' for each in heads)
    body = "".join(
        f'<tr><th scope="row">{escape(first)}</th>'
        + "".join(f"<td>{escape(each)}</td>" if each else '<td class="room"></td>' for each in rest)
        + "</tr>"
        for first, *rest in rows
    )
    return (
        f'<table class="sampling"><caption>{escape(caption)}</caption><thead><tr>{head}</tr>'
        f"</thead><tbody>{body}</tbody></table>"
    )


def _numbers(values: IntArray, lang: Catalogue) -> list[str]:
    """Return whole numbers as read; one below zero means that there is none."""
    return [_NONE if value < 0 else lang.number(value) for value in values.tolist()]
