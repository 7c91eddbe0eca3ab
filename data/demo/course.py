"""The eighteen holes: where they run, and the zones that each is made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from data.demo.outlines import Point, bend, blob, chord_m, ribbon, without


@dataclass(frozen=True, slots=True)
class Hole:
    """One hole: its par, and the tee, turning point and green of its centre line in metres."""

    number: int
    par: int
    line: tuple[Point, Point, Point]
    bunkers: tuple[float, ...] = ()
    """Directions from the middle of the green to its bunkers, degrees from the line of play."""


HOLES = (
    Hole(1, 4, ((545, 190), (522, 375), (543, 560)), (70,)),
    Hole(2, 4, ((548, 640), (515, 790), (385, 878)), (-80,)),
    Hole(3, 3, ((308, 886), (240, 880), (166, 850)), (150, -100)),
    Hole(4, 5, ((104, 858), (46, 640), (80, 395)), (60,)),
    Hole(5, 4, ((68, 326), (50, 165), (168, 42)), (-90,)),
    Hole(6, 4, ((228, 52), (236, 215), (172, 382)), (100,)),
    Hole(7, 3, ((160, 458), (214, 512), (258, 596)), (130, -70)),
    Hole(8, 4, ((170, 640), (262, 736), (430, 752)), (80,)),
    Hole(9, 5, ((442, 678), (352, 470), (412, 200)), (-60,)),
    Hole(10, 4, ((652, 194), (668, 385), (642, 562)), (-80,)),
    Hole(11, 5, ((634, 636), (704, 800), (944, 880)), (70,)),
    Hole(12, 3, ((1026, 886), (1106, 872), (1180, 834)), (-120, 100)),
    Hole(13, 4, ((1222, 780), (1198, 590), (1230, 402)), (90,)),
    Hole(14, 4, ((1228, 330), (1190, 165), (1062, 66)), (-70,)),
    Hole(15, 3, ((1058, 142), (1082, 222), (1084, 304)), (120,)),
    Hole(16, 4, ((1118, 374), (1104, 540), (1012, 688)), (-80,)),
    Hole(17, 4, ((930, 764), (850, 626), (862, 452)), (80,)),
    Hole(18, 5, ((978, 482), (926, 262), (742, 172)), (100,)),
)
"""Invented; two loops of nine from the clubhouse."""

CORRIDOR_M = 30.5
FAIRWAY_M = 16.5
TEE_M = 7.0
CARRY_M = 125.0
"""Rough between the tee and the start of the fairway."""


@dataclass(frozen=True, slots=True)
class HoleGround:
    """What one hole is made of; `fairway` is None on a par three."""

    green: Polygon
    surround: Polygon
    tee: Polygon
    fairway: Polygon | None
    rough: Polygon
    bunkers: tuple[Polygon, ...]

    def zones(self, number: int) -> list[tuple[str, str, Polygon]]:
        """Return (zone id, use, polygon), as in ``("H07-FW", "fairway", ...)``."""
        parts = [("TE", "tee", self.tee), ("FW", "fairway", self.fairway)]
        parts += [("RO", "rough", self.rough), ("SU", "surround", self.surround)]
        parts += [("GR", "green", self.green)]
        return [(f"H{number:02d}-{code}", use, p) for code, use, p in parts if p is not None]


def hole_ground(hole: Hole, rng: np.random.Generator) -> HoleGround:
    """Return the shapes of one hole, cut so that none overlaps another."""
    length = chord_m(hole.line)
    corridor = ribbon(bend(hole.line, -24, length + 36, 15), CORRIDOR_M, 0.22, rng)
    tee = ribbon(bend(hole.line, -12, 30, 7), TEE_M, 0.1, rng)
    apron = blob(hole.line[2], (29, 25), float(rng.uniform(0, 180)), rng)
    green = blob(hole.line[2], (15, 12.5), float(rng.uniform(0, 180)), rng)
    bunkers = tuple(without(_bunker(hole, angle, rng), green) for angle in hole.bunkers)
    fairway = None
    if hole.par > 3:
        band = ribbon(bend(hole.line, CARRY_M, length, 13), FAIRWAY_M, 0.25, rng)
        fairway = without(band, apron, tee, *bunkers)
    played = [tee, apron] if fairway is None else [tee, apron, fairway]
    surround = without(apron, green, *bunkers)
    return HoleGround(green, surround, tee, fairway, without(corridor, *played, *bunkers), bunkers)


def _bunker(hole: Hole, angle_deg: float, rng: np.random.Generator) -> Polygon:
    """Return a bunker between the green and the outer edge of its surround."""
    middle, end = np.asarray(hole.line[1]), np.asarray(hole.line[2])
    play = end - middle
    turn = np.arctan2(play[1], play[0]) + np.radians(angle_deg)
    centre = end + 20.5 * np.array([np.cos(turn), np.sin(turn)])
    along = float(np.degrees(turn)) + 90
    return blob((float(centre[0]), float(centre[1])), (6.0, 3.0), along, rng)
