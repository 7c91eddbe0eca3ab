"""The property as it lies on the map: zones, refuges, obstacles and trap places."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from data.demo import grounds
from data.demo.course import HOLES, HoleGround, hole_ground
from data.demo.network import Shapes, TrapPlace, plan_marks, trap_places
from data.demo.outlines import GRID_M, Array, largest, turned

Shape = TypeVar("Shape", bound=BaseGeometry)

CRS = "EPSG:32623"
LAYOUT_SEED = 7
TURN_DEG = 13.0
SHIFT_M = (556_500.0, 4_783_000.0)
"""The drawing board's origin in the CRS: open ocean, so that no real place is meant."""

PRIORITY = {"green": 1, "tee": 2, "fairway": 1, "surround": 1, "rough": 3, "field": 1}
USE_NAMES = {"green": "green", "tee": "tee", "fairway": "fairway", "surround": "green surround"}


@dataclass(frozen=True, slots=True)
class Feature:
    """One shape of the map with its words; `kind` is the use of a zone."""

    feature_id: str
    kind: str
    name: str
    shape: BaseGeometry


@dataclass(frozen=True, slots=True)
class DemoLayout:
    """The ground and the traps, the same in every season; metres in `CRS`."""

    zones: tuple[Feature, ...]
    refuges: tuple[Feature, ...]
    obstacles: tuple[Feature, ...]
    traps: tuple[TrapPlace, ...]


@cache
def demo_layout() -> DemoLayout:
    """Return the layout of the demo site; drawn once, then kept.

    Examples
    --------
    >>> layout = demo_layout()
    >>> len(layout.zones), len({trap.trap_id for trap in layout.traps}), len(layout.traps)
    (100, 72, 73)
    """
    rng = np.random.Generator(np.random.PCG64(LAYOUT_SEED))
    holes = {hole.number: hole_ground(hole, rng) for hole in HOLES}
    buildings = {key: _moved(s) for key, s in grounds.buildings().items()}
    drawn = _zones(holes, rng)
    cover = _cover([shape for *_, shape in drawn])
    ponds = grounds.ponds(rng, cover.buffer(5))
    taken = shapely.union_all([cover.buffer(2.5), *[p.buffer(4) for p in ponds.values()]])
    refuges = {key: _moved(shape) for key, shape in grounds.refuges(rng, taken).items()}
    zones = _shared_edges([(zone_id, use, _moved(shape)) for zone_id, use, shape in drawn])
    obstacles = _obstacles(ponds, buildings, holes)
    marks = {key: _moved(point) for key, point in plan_marks().items()}
    traps = trap_places({z.feature_id: largest(z.shape) for z in zones}, refuges, marks)
    return DemoLayout(zones, _refuges(refuges), obstacles, tuple(traps))


def _zones(
    holes: Mapping[int, HoleGround], rng: np.random.Generator
) -> list[tuple[str, str, Polygon]]:
    """Return (zone id, use, shape) of all zones on the drawing board."""
    zones = [zone for number, hole in holes.items() for zone in hole.zones(number)]
    practice = grounds.practice_green(rng)
    zones.append(("PG-GR", "green", practice))
    sheltered = grounds.buildings()["B-01"].buffer(5, join_style="mitre")
    taken = shapely.union_all([_cover([shape for *_, shape in zones]), sheltered])
    return zones + grounds.lawns(rng, taken) + grounds.fields() + grounds.sod_blocks()


def _cover(shapes: list[Polygon]) -> BaseGeometry:
    return shapely.union_all(shapes, grid_size=GRID_M)


def _moved(shape: Shape) -> Shape:
    """Return a shape turned and shifted to its place on the map, on the grid."""

    def place(points: Array) -> Array:
        out: Array = np.round(turned(points, TURN_DEG) + np.asarray(SHIFT_M), 2)
        return out

    return shapely.transform(shape, place)


def _shared_edges(zones: list[tuple[str, str, Polygon]]) -> tuple[Feature, ...]:
    """Return the zones with every corner that touches a neighbour present in both outlines."""
    edges = shapely.union_all([s.boundary for *_, s in zones], grid_size=GRID_M)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(edges)))
    tree = shapely.STRtree(faces)
    out = []
    for zone_id, use, shape in zones:
        inner = shapely.point_on_surface(shape)
        face = faces[int(tree.query(inner, predicate="within")[0])]
        out.append(Feature(zone_id, use, _zone_name(zone_id, use), shapely.normalize(face)))
    return tuple(sorted(out, key=lambda zone: zone.feature_id))


def _zone_name(zone_id: str, use: str) -> str:
    """Return a zone's name in words.

    Examples
    --------
    >>> _zone_name("H07-SU", "surround"), _zone_name("SOD-B", "sod_block")
    ('Hole 7 green surround', 'Sod block B')
    """
    if zone_id.startswith("H"):
        return f"Hole {int(zone_id[1:3])} {USE_NAMES.get(use, use)}"
    if zone_id in grounds.LAWNS:
        return grounds.LAWNS[zone_id][3]
    kinds = {"sod_block": "Sod block", "field": "Sports field"}
    return f"{kinds[use]} {zone_id.split('-')[1]}" if use in kinds else "Practice green"


def _refuges(shapes: Shapes) -> tuple[Feature, ...]:
    kinds = {key: place[0] for key, place in grounds.AREAS.items()}
    kinds |= {key: place[0] for key, place in grounds.LINES.items()}
    return tuple(
        Feature(key, kinds[key], "", shapely.normalize(shapes[key])) for key in sorted(shapes)
    )


def _obstacles(
    ponds: Mapping[str, Polygon], buildings: Shapes, holes: Mapping[int, HoleGround]
) -> tuple[Feature, ...]:
    names = {key: words for key, (*_, words) in grounds.BUILDINGS.items()}
    sand = [bunker for number in sorted(holes) for bunker in holes[number].bunkers]
    out = [Feature(key, "water", "Pond", _moved(shape)) for key, shape in ponds.items()]
    out += [Feature(key, "building", names[key], shape) for key, shape in buildings.items()]
    out += [
        Feature(f"S-{number:02d}", "bunker", "", _moved(shape))
        for number, shape in enumerate(sand, start=1)
    ]
    tidy = [Feature(f.feature_id, f.kind, f.name, shapely.normalize(f.shape)) for f in out]
    return tuple(sorted(tidy, key=lambda feature: feature.feature_id))
