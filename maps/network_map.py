"""The map of a trap network on paper: zones by what can be said, traps in use, places to add."""

from __future__ import annotations

from html import escape

import geopandas as gpd
import shapely
from shapely.geometry.base import BaseGeometry

from maps.catalogue import Catalogue
from maps.palette import INK, PAPER, PLAN_REFUGE, PLANNED, PLUM, SOFT
from maps.plan_map import Frame, foot_svg, hatched_svg, shapes_svg
from spatial.network_report import NetworkReport
from spatial.treatment import is_water

_HATCH_MM = 1.2

KEY = (
    ("n-enough", "key_enough"),
    ("n-thin", "key_thin"),
    ("n-none", "key_none"),
    ("m-obstacle", "key_obstacle"),
    ("m-water", "key_water"),
    ("n-refuge", "key_refuge"),
)
"""Class of a shape -> key of what it is called, in ``network_page`` of the language file."""

STYLE = (
    f".n-enough{{fill:{PLANNED};stroke:{PLUM};stroke-width:.2;fill-rule:evenodd}}"
    f".n-thin,.n-none{{fill:{PAPER};stroke:{SOFT};stroke-width:.15;fill-rule:evenodd}}"
    f".n-thin-line{{fill:none;stroke:{PLUM};stroke-width:.3}}"
    f".n-none-line{{fill:none;stroke:{INK};stroke-width:.15}}"
    f".n-refuge{{fill:{PLAN_REFUGE};stroke:none;fill-rule:evenodd}}"
    f".n-trap{{fill:{INK};stroke:{PAPER};stroke-width:.2}}"
    f".n-moved{{fill:{PAPER};stroke:{INK};stroke-width:.5}}"
)
"""Of what this map adds to the classes of `templates/plan_map.css`."""

HATCHES = {"n-thin": _HATCH_MM, "n-none": -_HATCH_MM / 1.7}
"""Thin and none differ by the way of their lines, not by shade alone."""


def network_map_svg(report: NetworkReport, label: str, lang: Catalogue) -> str:
    """Return the map as an SVG element, sized in mm; everything has its class for the style.

    Parameters
    ----------
    report
        The network.
    label
        For readers who do not see it.
    lang
        Language.
    """
    site, zones = report.analysis.site, report.analysis.zones
    frame = Frame(list(zones.geometry))
    told = report.verdicts[report.verdicts["purpose"] == "evidence"].set_index("zone_id")
    water = site.obstacles["kind"].map(is_water).to_numpy(dtype=bool)
    parts = [_refuges(list(site.refuges.geometry), frame)]
    for verdict in ("enough", "thin", "none"):
        own = zones[(told["verdict"].loc[zones["zone_id"]] == verdict).to_numpy()]
        name = f"n-{verdict}"
        parts.append(shapes_svg(own.geometry, frame, name))
        if name in HATCHES:
            parts.append(hatched_svg(own.geometry, frame, f"{name}-line", HATCHES[name]))
    parts += [
        shapes_svg(site.obstacles.geometry[~water], frame, "m-obstacle"),
        shapes_svg(site.obstacles.geometry[water], frame, "m-water"),
        *_traps(report, frame),
        *_places(report, frame),
        foot_svg(frame, site.settings.units, lang.distance, lang.say("map.north")),
    ]
    size = f"0 0 {frame.width_mm:.1f} {frame.height_mm:.1f}"
    return (
        f'<svg class="plan-map" viewBox="{size}" role="img" '
        f'aria-label="{escape(label)}">{"".join(parts)}</svg>'
    )


def dot_swatch(name: str) -> str:
    """Return a trap of the legend.

    Examples
    --------
    >>> dot_swatch("n-trap").count("<circle")
    1
    """
    return (
        '<svg class="swatch" viewBox="0 0 9 6" aria-hidden="true">'
        f'<circle class="{name}" cx="4.5" cy="3" r="1"/></svg>'
    )


def place_swatch() -> str:
    """Return a place for a new trap of the legend.

    Examples
    --------
    >>> place_swatch().count("<rect")
    1
    """
    return (
        '<svg class="swatch" viewBox="0 0 9 6" aria-hidden="true">'
        '<rect class="m-disc" x="2.5" y="1" width="4" height="4"/></svg>'
    )


def _refuges(refuges: list[BaseGeometry], frame: Frame) -> str:
    """Return refuges: areas, and lines as thin areas so that both are seen."""
    wide_m = 0.5 / frame.mm_per_m
    areas = [each if each.area > 0 else shapely.buffer(each, wide_m) for each in refuges]
    return shapes_svg(areas, frame, "n-refuge")


def _xy(table: gpd.GeoDataFrame) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in shapely.get_coordinates(table.geometry.to_numpy())]


def _traps(report: NetworkReport, frame: Frame) -> list[str]:
    traps = report.analysis.traps[report.analysis.traps["in_use"]]
    parts = []
    for (east, north), location in zip(_xy(traps), traps["location_id"], strict=True):
        x, y = frame.place(east, north)
        name = "n-moved" if location in report.plan.moved else "n-trap"
        parts.append(f'<circle class="{name}" cx="{x:.2f}" cy="{y:.2f}" r="1"/>')
    return parts


def _places(report: NetworkReport, frame: Frame) -> list[str]:
    table = report.plan.suggestions
    parts = []
    for (east, north), rank in zip(_xy(table), table["rank"], strict=True):
        x, y = frame.place(east, north)
        parts.append(
            f'<rect class="m-disc" x="{x - 2:.2f}" y="{y - 2:.2f}" width="4" height="4"/>'
            f'<text x="{x:.2f}" y="{y + 1.05:.2f}">{escape(str(rank))}</text>'
        )
    return parts
