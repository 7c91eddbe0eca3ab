"""The catch month by month: small maps beside each other, where a slider cannot go.

Each month is the same outline of the grounds with a disc for every trap; its area grows with the
catch, on one scale for the season. A ring is a trap that caught nothing; a trap without a count in
a month is not drawn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from html import escape

import geopandas as gpd
import pandas as pd
import shapely

from maps.palette import INK, PAPER, SMALL_ZONE, SMALL_ZONE_EDGE
from maps.plan_map import Frame, ring_path, rings_on_paper
from spatial.season_review import SeasonReview

COLUMNS = 4
_ROOM_MM = (54.0, 60.0)
_BLANK_MM, _FOOT_MM = 4.0, 7.0
"""What a frame leaves blank at its sides, and for the foot that these maps do not have."""

_HEAD_MM, _KEY_MM = 4.6, 7.0
_DISC_MM, _RING_MM = 2.6, 0.55
_NICE = (1.0, 2.0, 5.0)


def month_maps_svg(review: SeasonReview, names: Mapping[date, str], label: str, unit: str) -> str:
    """Return the maps as one SVG element; empty without a count.

    Parameters
    ----------
    review
        The season.
    names
        Month -> how it is called.
    label
        For readers who do not see it.
    unit
        What the key's numbers are, e.g. ``"per trap per week"``.
    """
    if not review.months:
        return ""
    zones, traps = review.analysis.zones, review.analysis.traps
    frame = Frame(list(zones.geometry), _ROOM_MM)
    wide = frame.width_mm - 2 * _BLANK_MM
    high = frame.height_mm - _FOOT_MM - 2 * _BLANK_MM + _HEAD_MM
    rows = math.ceil(len(review.months) / COLUMNS)
    size = (COLUMNS * wide, rows * high + _KEY_MM)
    scale = DiscScale(max(float(table["rate"].max()) for table in review.months.values()))
    # A trap outside all zones must not lie on the next month's map.
    panel = (
        f'<rect x="{_BLANK_MM}" y="{_BLANK_MM}" width="{wide:.1f}" height="{high - _HEAD_MM:.1f}"/>'
    )
    parts = [_grounds(zones, frame), f'<clipPath id="panel">{panel}</clipPath>']
    for number, (month, table) in enumerate(review.months.items()):
        x, y = number % COLUMNS * wide, number // COLUMNS * high
        parts.append(
            f'<text x="{x + 1:.1f}" y="{y + 3.8:.1f}" font-size="3" font-weight="700">'
            f"{escape(names[month])}</text>"
            f'<g transform="translate({x - _BLANK_MM:.1f} {y + _HEAD_MM - _BLANK_MM:.1f})" '
            f'clip-path="url(#panel)"><use href="#grounds"/>'
            f"{_discs(traps, table, frame, scale)}</g>"
        )
    parts.append(scale.key(rows * high + _KEY_MM / 2, unit))
    return (
        f'<svg class="months" viewBox="0 0 {size[0]:.1f} {size[1]:.1f}" role="img" '
        f'aria-label="{escape(label)}" fill="{INK}">{"".join(parts)}</svg>'
    )


class DiscScale:
    """Catch rates to discs: the area grows with the rate, the largest rate has the largest disc.

    Examples
    --------
    >>> scale = DiscScale(8.0)
    >>> scale.radius_mm(8.0) == 2 * scale.radius_mm(2.0), scale.steps()
    (True, [1.0, 5.0])
    """

    def __init__(self, top: float) -> None:
        self.top = top

    def radius_mm(self, rate: float) -> float:
        """Return the radius of a rate."""
        return _DISC_MM * math.sqrt(rate / self.top) if self.top > 0 else 0.0

    def steps(self) -> list[float]:
        """Return two round rates for the key; none where nothing was caught."""
        if self.top <= 0:
            return []
        power = 10.0 ** math.floor(math.log10(self.top))
        large = max(each * power for each in _NICE if each * power <= self.top)
        return [large / 5, large]

    def key(self, y: float, unit: str) -> str:
        """Return the key: a ring for nothing, and a disc for each step."""
        x, parts = 5.0, [f"{_ring(5.0, y)}{_note(8.0, y, f'0 {unit}')}"]
        for rate in self.steps():
            x += 44.0
            parts.append(
                f"{_disc(x, y, self.radius_mm(rate))}{_note(x + 4, y, f'{rate:g} {unit}')}"
            )
        return "".join(parts)


def _grounds(zones: gpd.GeoDataFrame, frame: Frame) -> str:
    """Return the outline of all zones once, for every month to use."""
    whole = shapely.union_all(zones.geometry.to_numpy())
    path = "".join(map(ring_path, rings_on_paper(whole, frame)))
    return (
        f'<defs><path id="grounds" d="{path}" fill="{SMALL_ZONE}" fill-rule="evenodd" '
        f'stroke="{SMALL_ZONE_EDGE}" stroke-width=".15"/></defs>'
    )


def _discs(traps: gpd.GeoDataFrame, table: pd.DataFrame, frame: Frame, scale: DiscScale) -> str:
    """Return the traps of a month; those without a catch below, small discs on large ones."""
    rate = table.set_index("location_id")["rate"]
    spots = dict(
        zip(traps["location_id"], shapely.get_coordinates(traps.geometry.to_numpy()), strict=True)
    )
    parts = []
    for location in rate.sort_values(ascending=False).index:
        x, y = frame.place(*map(float, spots[location]))
        caught = float(rate[location])
        parts.append(_disc(x, y, scale.radius_mm(caught)) if caught > 0 else _ring(x, y))
    return "".join(parts)


def _disc(x: float, y: float, radius: float) -> str:
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" fill="{INK}" fill-opacity=".8" '
        f'stroke="{PAPER}" stroke-width=".15"/>'
    )


def _ring(x: float, y: float) -> str:
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{_RING_MM}" fill="{PAPER}" stroke="{INK}" '
        'stroke-width=".2"/>'
    )


def _note(x: float, y: float, text: str) -> str:
    return f'<text x="{x:.1f}" y="{y + 1.2:.1f}" font-size="2.8">{escape(text)}</text>'
