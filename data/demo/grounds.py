"""Everything around the course: fields, sod, lawns, refuges, water and buildings."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from data.demo.outlines import GRID_M, Point, blob, block, fan, largest, rounded, without

PRACTICE_GREEN: tuple[Point, Point, float] = ((486, 96), (17, 13), 20)

LAWNS: Mapping[str, tuple[Point, Point, float, str]] = {
    "LAWN-1": ((602, 118), (62, 56), 10, "Terrace lawn"),
    "LAWN-2": ((484, 92), (46, 36), 20, "Practice lawn"),
    "LAWN-3": ((596, 18), (62, 24), 4, "Entrance lawn"),
    "LAWN-4": ((592, -104), (36, 50), 10, "Picnic lawn"),
}
"""Zone id -> centre, radii, angle, name."""

SOD_ROWS: tuple[tuple[float, float], ...] = ((-56, 0.0), (-118, 4.0))
SOD_COLUMNS: tuple[float, ...] = (104, 202, 300)

AREAS: Mapping[str, tuple[str, Point, Point, float]] = {
    "R-01": ("woods", (446, 430), (150, 62), 96),
    "R-02": ("woods", (292, 420), (150, 58), 82),
    "R-03": ("woods", (762, 572), (212, 86), 82),
    "R-04": ("woods", (1154, 560), (170, 62), 86),
    "R-05": ("woods", (962, 590), (120, 76), 55),
    "R-06": ("woods", (236, 808), (110, 40), 12),
    "R-07": ("tall grass", (120, 540), (110, 40), 86),
    "R-08": ("tall grass", (1010, 300), (110, 40), 76),
}
"""Refuge id -> kind, centre, radii, angle, before the zones are cut out."""

LINES: Mapping[str, tuple[str, tuple[Point, ...]]] = {
    "R-09": (
        "hedge",
        (
            *((424, -8), (352, -16), (262, -10), (150, -18), (64, -20), (18, 24), (2, 130)),
            *((8, 260), (6, 420), (-2, 560), (12, 700), (32, 820), (70, 900), (140, 928)),
            *((260, 934), (380, 926), (452, 914)),
        ),
    ),
    "R-10": (
        "hedge",
        (
            *((660, -24), (760, -18), (880, -20), (984, -34), (1072, -20), (1150, 22)),
            *((1214, 90), (1262, 190), (1276, 320), (1280, 470), (1262, 640), (1272, 780)),
            *((1240, 870), (1160, 912), (1040, 934), (930, 932), (840, 926)),
        ),
    ),
    "R-11": ("building litter", ((574, 114), (575, 87), (604, 87))),
}
"""Refuge id -> kind, line."""

PONDS: Mapping[str, tuple[Point, Point, float]] = {
    "P-01": ((312, 168), (52, 32), 70),
    "P-02": ((838, 322), (46, 28), 40),
    "P-03": ((1104, 776), (58, 27), -12),
    "P-04": ((1138, 236), (48, 21), 80),
}

BUILDINGS: Mapping[str, tuple[Point, Point, float, str]] = {
    "B-01": ((600, 102), (46, 24), 4, "Clubhouse"),
    "B-02": ((418, -84), (34, 22), -6, "Sod shed"),
    "B-03": ((790, -158), (30, 14), 0, "Field pavilion"),
}


def practice_green(rng: np.random.Generator) -> Polygon:
    """Return the practice green beside the clubhouse."""
    return blob(*PRACTICE_GREEN, rng)


def lawns(rng: np.random.Generator, taken: BaseGeometry) -> list[tuple[str, str, Polygon]]:
    """Return (zone id, use, polygon) of the lawns, clear of what is `taken`."""
    return [
        (zone_id, "lawn", without(blob(centre, radii, angle, rng), taken))
        for zone_id, (centre, radii, angle, _) in LAWNS.items()
    ]


def fields() -> list[tuple[str, str, Polygon]]:
    """Return the three sports fields: two pitches and a ball field, about 0.6 ha each."""
    return [
        ("SF-1", "field", block((722, -68), (98, 62), 3)),
        ("SF-2", "field", block((850, -68), (96, 64), -2)),
        ("SF-3", "field", fan((972, -138), 88, 46)),
    ]


def sod_blocks() -> list[tuple[str, str, Polygon]]:
    """Return the six sod blocks, about 0.4 ha each, on slightly skewed rows."""
    places = [((x + skew, y + 0.05 * (x - 200)), 3.0) for y, skew in SOD_ROWS for x in SOD_COLUMNS]
    return [
        (f"SOD-{letter}", "sod_block", block(centre, (86, 48), angle, 3.0))
        for letter, (centre, angle) in zip("ABCDEF", places, strict=True)
    ]


def buildings() -> dict[str, Polygon]:
    """Return the buildings; the clubhouse has a wing."""
    shapes = {key: block(c, size, a, 0.0) for key, (c, size, a, _) in BUILDINGS.items()}
    wing = block((616, 82), (14, 24), 4, 0.0)
    shapes["B-01"] = largest(shapely.union_all([shapes["B-01"], wing], grid_size=GRID_M))
    return shapes


def ponds(rng: np.random.Generator, taken: BaseGeometry) -> dict[str, Polygon]:
    """Return the ponds, clear of what is `taken`."""
    return {key: without(blob(*place, rng), taken) for key, place in PONDS.items()}


def refuges(rng: np.random.Generator, taken: BaseGeometry) -> dict[str, BaseGeometry]:
    """Return the refuges: areas clear of what is `taken`, and lines."""
    shapes: dict[str, BaseGeometry] = {}
    for key, (_, centre, radii, angle) in AREAS.items():
        area = without(blob(centre, radii, angle, rng), taken)
        shapes[key] = without(largest(area.simplify(1.2)), taken, *shapes.values())
    for key, (_, points) in LINES.items():
        shapes[key] = rounded(points)
    return shapes
