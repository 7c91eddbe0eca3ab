"""The parts that charts are drawn from: days, lines, letters, keys.

520 units wide, so that letters are legible at 360 px.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date
from html import escape

import numpy as np
import pandas as pd

from maps.catalogue import Catalogue
from maps.palette import INK, PAPER, SOFT

WIDTH, LEFT, RIGHT = 520.0, 46.0, 14.0
_FONT = (
    'xmlns="http://www.w3.org/2000/svg" font-family="Source Sans 3, Segoe UI, Roboto, '
    'Liberation Sans, Arial, sans-serif"'
)
DASHES = ("6 4", "3 3", "9 3 2 3", "2 2 6 2")
"""Of earlier seasons, the latest first; older ones share the last."""


class Days:
    """Days to places across a picture; `first` and `last` are its ends."""

    def __init__(self, first: date, last: date) -> None:
        self.first, self.last = first, last
        self.span = max((last - first).days, 1)

    def x(self, day: date) -> float:
        """Return the place of a day, at an end of the picture where it lies outside."""
        share = min(max((day - self.first).days / self.span, 0.0), 1.0)
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def months(self, y: float, lang: Catalogue) -> str:
        """Return ticks and names of the months under a base line."""
        return "".join(
            f'<path d="M{self.x(day.date()):.1f} {y:g}v5" stroke="{SOFT}"/>'
            + chart_text(self.x(day.date()), y + 18, lang.short_month(day.date()), "middle", SOFT)
            for day in pd.date_range(self.first, self.last, freq="MS")
        )


def chart_text(x: float, y: float, text: str, anchor: str = "start", fill: str = INK) -> str:
    """Return a text; `x` is its start, middle or end."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}">{escape(text)}</text>'
    )


def chart_line(points: Iterable[tuple[float, float]], more: str = "") -> str:
    """Return a line through points, `more` its further attributes; nothing without a point."""
    listed = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return (
        f'<polyline points="{listed}" fill="none" stroke="{INK}" stroke-width="1.6"{more}/>'
        if listed
        else ""
    )


def chart_svg(height: float, label: str, parts: Iterable[str]) -> str:
    """Return the whole picture; `label` is for readers who do not see it."""
    return (
        f'<svg viewBox="0 0 {WIDTH:g} {height:g}" role="img" aria-label="{escape(label)}" '
        f'{_FONT} font-size="14" fill="{INK}"><rect width="{WIDTH:g}" height="{height:g}" '
        f'fill="{PAPER}"/>{"".join(parts)}</svg>'
    )


def round_steps(top: float) -> list[float]:
    """Return round numbers above zero up to a sum, about six of them.

    Examples
    --------
    >>> round_steps(1180)
    [200.0, 400.0, 600.0, 800.0, 1000.0]
    """
    if top <= 0:
        return []
    power = 10.0 ** math.floor(math.log10(top / 6))
    step = power * next(m for m in (1, 2, 5, 10) if power * m >= top / 6)
    return [float(each) for each in np.arange(step, top, step)]


def dash(number: int) -> str:
    """Return how the line of a season is broken: whole for this one, 0."""
    if number == 0:
        return ""
    return f' stroke-dasharray="{DASHES[min(number, len(DASHES)) - 1]}"'


def key_entry(number: int, label: str, past: int, lang: Catalogue) -> str:
    """Return an entry of the key over the picture; of many past seasons the oldest share one.

    Examples
    --------
    >>> from maps.language_file import english
    >>> "to 2021" in key_entry(4, "2021", 6, english()), key_entry(5, "2020", 6, english())
    (True, '')
    """
    if number > len(DASHES):
        return ""
    if number == len(DASHES) < past:
        label = lang.say("season_charts.older", season=label)
    x = LEFT + 92 * number
    return chart_line([(x, 10), (x + 24, 10)], dash(number)) + chart_text(x + 28, 15, label)
