"""Charts of the season review: the catch by week, by each day of a season, and of treatments."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import timedelta

from maps.catalogue import Catalogue
from maps.chart_parts import (
    LEFT,
    RIGHT,
    WIDTH,
    Days,
    chart_svg,
    chart_text,
    round_steps,
)
from maps.committee import short
from maps.palette import BAND, INK, PAPER, SOFT
from maps.weeks import week_days
from spatial.efficacy import Efficacy
from spatial.results import Analysis

_BASE, _TOP = 170.0, 34.0
_ROW, _HEAD, _NAMES = 26.0, 30.0, 200.0

MOST_LETTERS = 16
"""Of a zone's name beside its row."""

WORST = -1.0
"""Left out of the scale of effects is what lies beyond twice the expected catch."""


def weeks_svg(analysis: Analysis, lang: Catalogue) -> str:
    """Return the catch of each week as bars, with its 95 % interval as a line through each.

    Parameters
    ----------
    analysis
        The season.
    lang
        Language of the words in the picture.

    Returns
    -------
    str
        An SVG element; empty without a countable night.
    """
    curve = analysis.curve[analysis.curve["rate"].notna()]
    if curve.empty:
        return ""
    days = Days(analysis.season.start, analysis.season.end)
    scale = _Rates(max(float(curve[["rate", "rate_high"]].max().max()), 0.1) * 1.05)
    parts = [scale.grid(lang)]
    for row in curve.to_dict("records"):
        monday = week_days(str(row["week"]))[0]
        ends = days.x(monday), days.x(monday + timedelta(days=6))
        parts.append(
            scale.bar(ends, float(row["rate"]), float(row["rate_low"]), float(row["rate_high"]))
        )
    parts.append(days.months(_BASE, lang))
    return chart_svg(_BASE + 28, lang.say("review_heads.weeks"), parts)


class _Rates:
    """Catch rates to places in the picture of weeks."""

    def __init__(self, top: float) -> None:
        self.top = top

    def y(self, rate: float) -> float:
        return _BASE - (_BASE - _TOP) * rate / self.top

    def grid(self, lang: Catalogue) -> str:
        parts = [f'<path d="M{LEFT} {_BASE}H{WIDTH - RIGHT}" stroke="{SOFT}"/>']
        for rate in [0.0, *round_steps(self.top)[1::2]]:
            y = self.y(rate)
            parts.append(
                f'<path d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}" stroke="{SOFT}" opacity=".35"/>'
            )
            parts.append(chart_text(LEFT - 5, y + 5, lang.figure(rate), "end"))
        return "".join(parts) + chart_text(LEFT, 20, lang.say("review_said.weeks_unit"), fill=SOFT)

    def bar(self, ends: tuple[float, float], rate: float, low: float, high: float) -> str:
        (left, right), y = ends, self.y(rate)
        bar = (
            f'<rect x="{left:.1f}" y="{y:.1f}" width="{max(right - left, 2):.1f}" '
            f'height="{_BASE - y:.1f}" fill="{BAND}" stroke="{INK}" stroke-width=".8"/>'
        )
        if not (math.isfinite(low) and math.isfinite(high)):
            return bar
        line = f"M{(left + right) / 2:.1f} {self.y(low):.1f}V{self.y(high):.1f}"
        return f'{bar}<path d="{line}" stroke="{INK}" stroke-width="1.6"/>'


def effects_svg(effects: Sequence[Efficacy], names: Mapping[str, str], lang: Catalogue) -> str:
    """Return what treatments did, one row each: a dot for what was found, a line for its interval.

    Parameters
    ----------
    effects
        Treatments in the order of the rows.
    names
        Zone id -> how it is called.
    lang
        Language of the words in the picture.

    Returns
    -------
    str
        An SVG element; empty without a treatment.
    """
    if not effects:
        return ""
    base = _HEAD + _ROW * len(effects)
    parts = [_effect_axis(base, lang)]
    for number, each in enumerate(effects):
        y = _HEAD + _ROW * (number + 0.5)
        zone, day = short(names[each.zone_id], MOST_LETTERS), lang.day(each.applied_on)
        name = lang.say("review_said.effect_name", zone=zone, day=day)
        parts.append(f'<g font-size="12">{chart_text(0, y + 4, name)}</g>')
        if each.reason:
            parts.append(
                chart_text(
                    _effect_x(0) + 8, y + 5, lang.say("review_said.effects_untold"), fill=SOFT
                )
            )
        else:
            parts.append(_effect_mark(each, y))
    return chart_svg(base + 26, lang.say("review_heads.effects"), parts)


def _effect_x(share: float) -> float:
    """Return the place of a share of the catch prevented; less catch lies to the left."""
    inside = min(max(share, WORST), 1.0)
    return _NAMES + (1.0 - inside) / (1.0 - WORST) * (WIDTH - RIGHT - _NAMES)


def _effect_axis(base: float, lang: Catalogue) -> str:
    zero = _effect_x(0.0)
    parts = [
        f'<path d="M{zero:.1f} {_HEAD - 6}V{base}" stroke="{INK}"/>',
        chart_text(zero - 8, 16, lang.say("review_said.effects_left"), "end"),
        chart_text(zero + 8, 16, lang.say("review_said.effects_right")),
    ]
    for share, anchor in (
        (1.0, "start"),
        (0.5, "middle"),
        (0.0, "middle"),
        (-0.5, "middle"),
        (-1.0, "end"),
    ):
        x = _effect_x(share)
        parts.append(f'<path d="M{x:.1f} {base}v5" stroke="{SOFT}"/>')
        parts.append(chart_text(x, base + 20, lang.percent(abs(share)), anchor, SOFT))
    return "".join(parts) + f'<path d="M{_NAMES} {base}H{WIDTH - RIGHT}" stroke="{SOFT}"/>'


def _effect_mark(effect: Efficacy, y: float) -> str:
    """Return dot and line; what is surely less or more has a filled dot."""
    sure = effect.low > 0 or effect.high < 0
    line = f"M{_effect_x(effect.high):.1f} {y:.1f}H{_effect_x(effect.low):.1f}"
    dot = ""
    if effect.efficacy >= WORST:
        dot = (
            f'<circle cx="{_effect_x(effect.efficacy):.1f}" cy="{y:.1f}" r="5" '
            f'fill="{INK if sure else PAPER}" stroke="{INK}" stroke-width="1.6"/>'
        )
    # An interval that goes on beyond the picture ends in an arrow.
    x = _effect_x(WORST)
    arrow = f'<path d="M{x - 7:.1f} {y - 4:.1f}l7 4l-7 4" fill="none" stroke="{INK}"/>'
    beyond = arrow if effect.low < WORST else ""
    return f'<path d="{line}" stroke="{INK}" stroke-width="2"/>{dot}{beyond}'
