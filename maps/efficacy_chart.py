"""Catch before and after a treatment, beside the untreated zones, as a picture.

The treated zone is a solid line with filled dots, the untreated ones a dashed line with open dots:
they differ in grey, too. 400 units wide, so that letters are legible at 360 px.
"""

from __future__ import annotations

from datetime import date
from html import escape

import pandas as pd

from maps.catalogue import Catalogue
from maps.palette import INK, PAPER, SOFT
from spatial.treatment_effects import Course

_WIDTH, _HEIGHT = 400.0, 232.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 46.0, 14.0, 30.0, 62.0
_TICKS = (1, 2, 5)
_ENTRY, _LETTER = 130.0, 7.0
"""Least room of an entry of the legend, and the usual width of a letter."""


def efficacy_svg(course: Course, lang: Catalogue) -> str:
    """Return the picture as an SVG element; empty without a visit of the treated zone."""
    if course.treated.empty:
        return ""
    frame = _Frame(course, lang)
    effect = course.effect
    day = lang.day(effect.applied_on)
    title = lang.say("effect_picture.label", zone=effect.zone_id, day=day)
    parts = [
        frame.axes(),
        frame.cold(course.cold),
        frame.treatment(effect.applied_on),
        frame.series(course.untreated, effect.applied_on, treated=False),
        frame.series(course.treated, effect.applied_on, treated=True),
        _legend(lang, has_others=not course.untreated.empty),
    ]
    return (
        f'<svg viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" aria-label="{escape(title)}" '
        'xmlns="http://www.w3.org/2000/svg" font-family="Source Sans 3, Segoe UI, Roboto, '
        f'Liberation Sans, Arial, sans-serif" font-size="13" fill="{INK}">'
        f'<rect width="{_WIDTH:g}" height="{_HEIGHT:g}" fill="{PAPER}"/>'
        f"{''.join(parts)}</svg>"
    )


def _legend(lang: Catalogue, *, has_others: bool) -> str:
    def entry(x: float, text: str, *, treated: bool) -> str:
        dash = "" if treated else ' stroke-dasharray="5 4"'
        fill = INK if treated else PAPER
        return (
            f'<path d="M{x:g} 15H{x + 24:g}" stroke="{INK}" stroke-width="2"{dash}/>'
            f'<circle cx="{x + 12:g}" cy="15" r="3.5" fill="{fill}" stroke="{INK}"/>'
            f'<text x="{x + 30:g}" y="19">{escape(text)}</text>'
        )

    treated, others = (
        lang.say(f"effect_picture.{key}") for key in ("treated_zone", "untreated_zones")
    )
    legend = entry(_LEFT, treated, treated=True)
    if not has_others:
        return legend
    room = max(_ENTRY, 40 + _LETTER * len(treated))
    return legend + entry(_LEFT + room, others, treated=False)


class _Frame:
    """Days and rates to places in the picture."""

    def __init__(self, course: Course, lang: Catalogue) -> None:
        self.lang = lang
        rates = pd.concat([course.treated["rate"], course.untreated["rate"]])
        self.first, self.last = course.effect.first, course.effect.last
        self.top = max(float(rates.max()), 0.5) * 1.12

    def x(self, day: date) -> float:
        span = max((self.last - self.first).days, 1)
        return _LEFT + (day - self.first).days / span * (_WIDTH - _LEFT - _RIGHT)

    def y(self, rate: float) -> float:
        return _HEIGHT - _BOTTOM - rate / self.top * (_HEIGHT - _TOP - _BOTTOM)

    def axes(self) -> str:
        """Return grid, numbers and names of both axes."""
        base, parts = _HEIGHT - _BOTTOM, []
        for rate in _ticks(self.top):
            y = self.y(rate)
            parts.append(
                f'<path d="M{_LEFT:g} {y:.1f}H{_WIDTH - _RIGHT:g}" stroke="{SOFT}" '
                f'stroke-opacity=".35" stroke-width=".7"/><text x="{_LEFT - 5:g}" '
                f'y="{y + 4:.1f}" text-anchor="end">{self.lang.figure(rate)}</text>'
            )
        for day, anchor in ((self.first, "start"), (self.last, "end")):
            parts.append(
                f'<text x="{self.x(day):.1f}" y="{base + 30:g}" text-anchor="{anchor}">'
                f"{escape(self.lang.day(day))}</text>"
            )
        middle = (_TOP + base) / 2
        name = escape(self.lang.say("effect_picture.rate"))
        return "".join(parts) + (
            f'<path d="M{_LEFT:g} {_TOP:g}V{base:g}H{_WIDTH - _RIGHT:g}" fill="none" '
            f'stroke="{INK}"/><text transform="translate(13 {middle:g}) rotate(-90)" '
            f'text-anchor="middle">{name}</text>'
        )

    def cold(self, nights: tuple[date, ...]) -> str:
        """Return a tick under the axis for every cold night."""
        base = _HEIGHT - _BOTTOM
        ticks = "".join(f"M{self.x(day):.1f} {base + 3:g}v9" for day in nights)
        words = escape(self.lang.say("effect_picture.cold")) if nights else ""
        return (
            f'<path d="{ticks}" stroke="{INK}" stroke-width="2"/>' if ticks else ""
        ) + f'<text x="{_LEFT:g}" y="{_HEIGHT - 10:g}" fill="{SOFT}">{words}</text>'

    def treatment(self, day: date) -> str:
        """Return the line of the day of the treatment."""
        x, said = self.x(day), escape(self.lang.say("effect_picture.treated"))
        return (
            f'<path d="M{x:.1f} {_TOP:g}V{_HEIGHT - _BOTTOM:g}" stroke="{SOFT}" stroke-width="3" '
            f'stroke-opacity=".6"/><text x="{x:.1f}" y="{_HEIGHT - _BOTTOM + 30:g}" '
            f'text-anchor="middle" font-weight="600">{said}</text>'
        )

    def series(self, table: pd.DataFrame, applied_on: date, *, treated: bool) -> str:
        """Return line and dots of one group of zones; no line crosses the treatment."""
        days = [day.date() for day in table["checked_on"]]
        places = [
            (self.x(day), self.y(float(rate)), day > applied_on)
            for day, rate in zip(days, table["rate"], strict=True)
        ]
        dash = "" if treated else ' stroke-dasharray="5 4"'
        fill = INK if treated else PAPER
        lines = ""
        for after in (False, True):
            side = [f"{x:.1f} {y:.1f}" for x, y, late in places if late == after]
            if len(side) > 1:
                lines += (
                    f'<path d="M{"L".join(side)}" fill="none" stroke="{INK}" '
                    f'stroke-width="2"{dash}/>'
                )
        return lines + "".join(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{fill}" stroke="{INK}"/>'
            for x, y, _ in places
        )


def _ticks(top: float) -> list[float]:
    """Return round rates from 0, at most six of them.

    Examples
    --------
    >>> _ticks(4.5), _ticks(0.9)
    ([0.0, 1.0, 2.0, 3.0, 4.0], [0.0, 0.2, 0.4, 0.6, 0.8])
    """
    steps = (base * 10.0**power for power in range(-2, 5) for base in _TICKS)
    step = next(each for each in steps if top / each < 6)
    return [round(number * step, 6) for number in range(int(top / step) + 1)]
