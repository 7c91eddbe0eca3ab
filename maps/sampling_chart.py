"""The sequential chart that a scout carries: a picture, a table to fill in, and one page of both.

Pictures are 400 units wide, so that their letters are legible at 360 px. Above is hatched on a
shade, below is dotted, "go on" is plain: they differ in grey, too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from html import escape

import numpy as np

from maps.palette import INK, PAPER, SOFT, activity_ramp
from maps.percent import percent_text
from maps.plain_page import STYLE, paragraph, plain_page
from maps.sampling_words import (
    Unit,
    chart_sentences,
    end_sentence,
    how_to_use,
    line_sentences,
    performance_sentences,
)
from spatial.arrays import FloatArray
from spatial.sample_size import StopLine
from spatial.sequential import DecisionChart, Performance

SHADE = activity_ramp(5)[1]

_WIDTH, _HEIGHT = 400.0, 400.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 46.0, 12.0, 30.0, 62.0
_NONE = "\N{EN DASH}"


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
    headed
        The heading above names the place, so that picture and table do not repeat it.
    """

    place: str
    unit: Unit
    cutoff: str
    key: str = "sampling"
    headed: bool = False

    def caption(self, text: str) -> str:
        """Return the caption of a table."""
        return text[0].upper() + text[1:] if self.headed else f"{self.place}: {text}"

    def __post_init__(self) -> None:
        if not self.key.isalnum():
            raise ValueError(f"expected a key of letters and digits; found {self.key!r}")


def decision_svg(chart: DecisionChart, label: ChartLabel) -> str:
    """Return the picture of a decision chart as an SVG element; a sentence where there is none."""
    if chart.reason:
        return paragraph(chart_sentences(chart, label.unit)[0])
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
        frame.axes(_axis(label.unit), f"Running total of {label.unit.animals}"),
        frame.line([(n[0], high[0]), (n[1], high[1])]),
        frame.line(below[:2]),
        *_tags(chart, frame),
    ]
    return _svg("Decision chart", label, "Between the lines: go on", parts)


def _tags(chart: DecisionChart, frame: _Frame) -> list[str]:
    """Return the words in the three parts of the chart, each where its part is roomy."""
    n = chart.most * np.array([0.3, 0.62, 0.8])
    low, high = chart.lower + chart.slope * n, chart.upper + chart.slope * n
    tags = [frame.tag(n[0], (high[0] + frame.top) / 2, "ABOVE: stop")]
    if frame.height(chart.upper - chart.lower) > 26:
        tags.append(frame.tag(n[1], (low[1] + high[1]) / 2, "go on"))
    return [*tags, frame.tag(n[2], max(low[2], 0.0) / 2, "BELOW: stop")]


def decision_table(chart: DecisionChart, label: ChartLabel) -> str:
    """Return the decision chart as a table with room to write; empty where there is none."""
    if chart.reason:
        return ""
    rows = zip(chart.units, chart.below_at_most, chart.above_at_least, strict=True)
    animals = label.unit.animals
    return _table(
        label.caption("stop as soon as the running total says so"),
        (
            label.unit.one.capitalize(),
            animals.capitalize(),
            "Running total",
            "Below the limit: stop at or under",
            "Above the limit: stop at or over",
        ),
        [(str(n), "", "", _number(low), _number(high)) for n, low, high in rows],
    ) + paragraph(end_sentence(chart, label.unit))


def stop_line_svg(line: StopLine, label: ChartLabel) -> str:
    """Return the picture of a stop line as an SVG element; a sentence where there is none."""
    if line.reason:
        return paragraph(line_sentences(line, label.unit)[0])
    # A line that starts next to a pole would press the rest flat; the table has those numbers.
    top = min(float(line.total.max()), 3 * float(line.total.min())) * 1.15
    frame = _Frame(line.most, top)
    points = [(n, t) for n, t in zip(line.units, line.total, strict=True) if t <= top]
    over = [(points[0][0], top), *points, (points[-1][0], top)]
    parts = [
        _patterns(label.key),
        frame.shape(over, SHADE),
        frame.shape(over, f"url(#{label.key}-lines)"),
        frame.axes(_axis(label.unit), f"Running total of {label.unit.animals}"),
        frame.line(points),
        frame.tag((points[0][0] + line.most) / 2, top * 0.93, "Precise enough: stop"),
        frame.tag(line.most * 0.5, float(line.total.min()) * 0.4, "go on"),
    ]
    return _svg("Stop line", label, "Under the line: go on", parts)


def stop_line_table(line: StopLine, label: ChartLabel) -> str:
    """Return the stop line as a table with room to write; empty where there is none."""
    if line.reason:
        return ""
    stops = dict(zip(line.units.tolist(), line.whole_total.tolist(), strict=True))
    rows = [(str(n), "", "", str(stops.get(n, _NONE))) for n in range(1, line.most + 1)]
    heads = (label.unit.one.capitalize(), label.unit.animals.capitalize(), "Running total")
    caption = label.caption("stop when the mean is precise enough")
    return _table(caption, (*heads, "Stop at or over"), rows)


def performance_table(found: Performance, label: ChartLabel) -> str:
    """Return what a chart does at each true mean, simulated beside Wald's approximation."""
    columns = (
        found.mean, found.below, found.wald_below, found.above, found.undecided, found.units,
        found.wald_units,
    )  # fmt: skip
    rows = [
        (f"{mean:.2f}", *map(percent_text, shares), f"{units:.1f}", f"{wald:.1f}")
        for mean, *shares, units, wald in zip(*columns, strict=True)
    ]
    many = label.unit.many
    return _table(
        label.caption(f"what the chart does in {found.runs:,} simulated rounds, k = {found.k:.2g}"),
        (
            f"True mean per {label.unit.one}",
            "Says below",
            "Wald's formula",
            "Says above",
            "Undecided",
            f"{many.capitalize()} on average",
            "Wald's formula",
        ),
        rows,
    )


def chart_page(chart: DecisionChart, found: Performance | None, label: ChartLabel) -> str:
    """Return one page to print and carry: picture, rules, table to fill in, and what it can do.

    Parameters
    ----------
    chart
        The decision chart; without one the page says why.
    found
        Its simulated performance; None leaves that part out.
    label
        What stands on it.
    """
    title = f"{label.place}: below or above the limit?"
    label = replace(label, headed=True)
    tried = [] if found is None else performance_sentences(found, chart, label.unit)
    parts = [
        f"<h1>{escape(title)}</h1>",
        *map(paragraph, [] if chart.reason else chart_sentences(chart, label.unit)),
    ]
    if chart.reason:
        parts.append(decision_svg(chart, label))
    else:
        rules = "".join(f"<li>{escape(text)}</li>" for text in how_to_use(label.unit))
        picture = f"<div>{decision_svg(chart, label)}<ul>{rules}</ul></div>"
        parts.append(f'<div class="carry">{picture}<div>{decision_table(chart, label)}</div></div>')
    if found is not None:
        parts += ["<h2>What this chart can do</h2>", *map(paragraph, tried)]
        parts.append(performance_table(found, label))
    return plain_page(title, STYLE, parts, "card")


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

    def axes(self, across: str, up: str) -> str:
        """Return grid, numbers and names of both axes."""
        parts = []
        for n in _ticks(self.most):
            x, y = self.place(n, 0).split()
            parts.append(_rule(f"M{x} {y}V{_TOP:g}"))
            parts.append(f'<text x="{x}" y="{float(y) + 15:.1f}" text-anchor="middle">{n:g}</text>')
        for total in _ticks(self.top):
            x, y = self.place(0, total).split()
            parts.append(_rule(f"M{x} {y}H{_WIDTH - _RIGHT:g}"))
            parts.append(
                f'<text x="{float(x) - 5:.1f}" y="{float(y) + 4:.1f}" text-anchor="end">'
                f"{total:g}</text>"
            )
        middle = (_TOP + _HEIGHT - _BOTTOM) / 2
        return "".join(parts) + (
            f'<path d="M{_LEFT:g} {_TOP:g}V{_HEIGHT - _BOTTOM:g}H{_WIDTH - _RIGHT:g}" fill="none" '
            f'stroke="{INK}"/><text x="{(_LEFT + _WIDTH - _RIGHT) / 2:g}" '
            f'y="{_HEIGHT - _BOTTOM + 32:g}" text-anchor="middle">{escape(across)}</text>'
            f'<text transform="translate(13 {middle:g}) rotate(-90)" text-anchor="middle">'
            f"{escape(up)}</text>"
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


def _axis(unit: Unit) -> str:
    each = f", {unit.size} each" if unit.size else ""
    return f"{unit.many.capitalize()}{each}"


def _svg(kind: str, label: ChartLabel, advice: str, parts: Sequence[str]) -> str:
    title, foot = f"{kind}: {label.place}", f"Made from data to {label.cutoff}"
    shown = kind if label.headed else title
    return (
        f'<svg viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" aria-label="{escape(title)}" '
        'xmlns="http://www.w3.org/2000/svg" font-family="Source Sans 3, Segoe UI, Roboto, '
        f'Liberation Sans, Arial, sans-serif" font-size="13" fill="{INK}">'
        f'<rect width="{_WIDTH:g}" height="{_HEIGHT:g}" fill="{PAPER}"/>'
        f'<text x="{_LEFT:g}" y="19" font-size="15" font-weight="600">{escape(shown)}</text>'
        f"{''.join(parts)}"
        f'<text x="{_WIDTH - _RIGHT:g}" y="{_HEIGHT - 8:g}" text-anchor="end" font-size="12" '
        f'fill="{SOFT}">{escape(foot)}</text><text x="{_LEFT:g}" y="{_HEIGHT - 8:g}" '
        f'font-size="12" fill="{SOFT}">{escape(advice)}</text></svg>'
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


def _number(value: int) -> str:
    return _NONE if value < 0 else str(value)
