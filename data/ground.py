"""Whether traps stand where they can: apart, in zones, and on firm ground."""

from __future__ import annotations

import re
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from data.checks import Check, Draft, Fault, findings_at, quoted, rows_of, run_checks
from data.findings import Finding
from data.pairs import MOST_PAIRS, MOST_POSITION_TESTS, meeting
from data.places import as_array
from data.settings import SiteSettings
from data.suggestions import asked_back, close_names
from data.toml_text import toml_key
from data.traps import ALWAYS, NEAREST_M, STILL, locations

FARTHEST_MOVE_M = 500.0
"""A trap that moved farther has rather given its name to another one (common practice, no source).
"""

EDGE_M = 5.0
"""How far a hand-held receiver and a drawn outline may disagree (common practice, no source)."""

NO_GROUND = frozenset(
    (
        *("water", "pond", "lake", "stream", "river", "creek"),
        *("building", "house", "clubhouse", "greenhouse", "warehouse", "boathouse"),
        *("shed", "barn", "garage", "pumphouse"),
    )
)
"""Words of the kinds of obstacle on which no pitfall trap can stand."""

_STILL_GROUND = frozenset(("dry", "former", "old"))
"""Words that say that a bed of water is none now."""

_WORD = re.compile(r"[^\W\d_]+")


_PLACED = ("geometry", "trap_id", "installed", "removed")
"""Columns that say where and when a trap stands."""


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is drawn around the traps, in metres.

    Parameters
    ----------
    zones, refuges
        Shapes that a trap should be in or near.
    barriers
        Water and buildings.
    kinds
        The kind of each barrier.
    complete
        Whether no zone or refuge was set aside; if one was, a trap may well stand there.
    """

    zones: gpd.GeoSeries
    refuges: gpd.GeoSeries
    barriers: gpd.GeoSeries
    kinds: pd.Series[str]
    complete: bool = True


def surroundings_of(
    zones: Draft | None, refuges: Draft | None, obstacles: Draft | None
) -> Surroundings:
    """Collect the sound shapes of the three drafts; a missing one gives none."""
    words = pd.Series("", index=pd.RangeIndex(0), dtype=object)
    barriers = gpd.GeoSeries([])
    if obstacles is not None:
        kinds = obstacles.sound["kind"].astype(str).str.lower()
        barred = kinds.map(has_no_ground).astype(bool)
        words = kinds[barred]
        barriers = gpd.GeoSeries(obstacles.sound["geometry"][barred])
    complete = all(draft is None or bool(draft.good().all()) for draft in (zones, refuges))
    return Surroundings(_shapes(zones), _shapes(refuges), barriers, words, complete)


def has_no_ground(kind: str) -> bool:
    """Return whether no trap can stand on an obstacle of this kind.

    Examples
    --------
    >>> [has_no_ground(kind) for kind in ("Water hazard", "ponds", "dry streambed", "dry pond")]
    [True, True, False, False]
    """
    words = _WORD.findall(kind.lower())
    named = {*words, *(word.removesuffix("s") for word in words)}
    return bool(named & NO_GROUND) and not named & _STILL_GROUND


def check_ground(traps: Draft, around: Surroundings, settings: SiteSettings) -> Draft:
    """Check the places of traps against each other and against what is drawn around them.

    Parameters
    ----------
    traps
        The checked traps, in metres.
    around
        Shapes in the same CRS.
    settings
        Distances within which a trap belongs to a zone or a refuge, and the designs declared.
    """

    def zones(draft: Draft) -> list[Finding]:
        return _outside(draft, around, settings)

    def barriers(draft: Draft) -> list[Finding]:
        return _on_barriers(draft, around)

    def designs(draft: Draft) -> list[Finding]:
        return _unknown_designs(draft, settings)

    if _is_too_much(traps, around):
        return traps.with_findings([_too_much(traps)])
    checks: list[Check] = [barriers, zones, _too_near, _far_moves, designs]
    return run_checks(traps, checks)


def _is_too_much(traps: Draft, around: Surroundings) -> bool:
    """Return whether finding what each trap stands in could take minutes."""
    shapes = (around.zones, around.refuges, around.barriers)
    vertices = sum(int(shapely.get_num_coordinates(as_array(each)).sum()) for each in shapes)
    return len(traps.typed) * vertices > MOST_POSITION_TESTS


def _too_much(traps: Draft) -> Finding:
    problem = "the traps are too many for shapes with so many vertices"
    fix = "simplify the outlines in your GIS; a vertex every half metre is plenty"
    return Finding("IN-095", traps.file, problem, fix)


def _crowded(draft: Draft, what: str) -> Finding:
    problem = f"there are more than {MOST_PAIRS:,} pairs of {what}; only some are listed"
    return Finding("IN-095", draft.file, problem, "check the positions", severity="warning")


def _shapes(draft: Draft | None) -> gpd.GeoSeries:
    return gpd.GeoSeries([]) if draft is None else gpd.GeoSeries(draft.sound["geometry"])


def _points(draft: Draft) -> tuple[pd.Index[int], npt.NDArray[np.object_]]:
    placed = draft.typed[draft.good(*_PLACED)]
    placed = placed[gpd.GeoSeries(placed["geometry"]).notna()]
    return placed.index, as_array(gpd.GeoSeries(placed["geometry"]))


def _outside(draft: Draft, around: Surroundings, settings: SiteSettings) -> list[Finding]:
    """Report traps that are in no zone; one beside a refuge stands there to meet the beetles."""
    if around.zones.empty or not around.complete:
        return []
    rows, points = _points(draft)
    to_zone = _distances(points, around.zones)
    far = to_zone > settings.network.near_m
    far &= _distances(points, around.refuges) > settings.network.refuge_reach_m
    said = [f"the trap is {metres:,.0f} m outside every zone" for metres in to_zone]
    fault = Fault(
        "IN-057",
        rows_of(draft, rows[far]),
        pd.Series(said, index=rows, dtype=object),
        "check its position and the outline of the zone; its catch counts for no zone",
        severity="warning",
    )
    return findings_at(draft, fault)


def _distances(points: npt.NDArray[np.object_], shapes: gpd.GeoSeries) -> npt.NDArray[np.float64]:
    """Return each point's distance to the nearest shape, infinite without any."""
    found = np.full(len(points), np.inf)
    if len(shapes) and len(points):
        tree = shapely.STRtree(as_array(shapes))
        (place, _), metres = tree.query_nearest(points, return_distance=True, all_matches=False)
        found[place] = metres
    return found


def _on_barriers(draft: Draft, around: Surroundings) -> list[Finding]:
    rows, points = _points(draft)
    if around.barriers.empty or not len(points):
        return []
    shapes = as_array(around.barriers)
    pairs = meeting(points, shapes, "within")
    trap, barrier = pairs.first, pairs.second
    inside = shapely.distance(points[trap], shapely.boundary(shapes[barrier]))
    said = pd.Series(
        [f"the trap stands in {kind}" for kind in around.kinds.iloc[barrier]],
        index=rows[trap],
        dtype=object,
    )
    said = said[~said.index.duplicated()]
    deep = set(rows[trap[inside > EDGE_M]])
    shallow = set(rows[trap]) - deep
    fix = "check its position, and the outline of the obstacle"
    faults = [
        Fault("IN-058", rows_of(draft, deep), said, fix),
        Fault("IN-059", rows_of(draft, shallow), said + ", near its edge", fix, None, "warning"),
    ]
    found = [finding for fault in faults for finding in findings_at(draft, fault)]
    return found if pairs.complete else [*found, _crowded(draft, "traps and obstacles")]


def _too_near(draft: Draft) -> list[Finding]:
    """Report each pair of traps that stand too near at the same time, on the later row."""
    rows, points = _points(draft)
    traps = draft.typed.loc[rows]
    start = traps["installed"].fillna(ALWAYS).to_numpy()
    end = traps["removed"].fillna(STILL).to_numpy()
    names = traps["trap_id"].to_numpy()
    near = meeting(points, points, "dwithin", NEAREST_M)
    later = near.first < near.second
    one, other = near.first[later], near.second[later]
    together = (start[one] < end[other]) & (start[other] < end[one]) & (names[one] != names[other])
    pairs = sorted(zip(one[together], other[together], strict=True))
    crowded = [] if near.complete else [_crowded(draft, "traps near each other")]
    return crowded + [
        Finding(
            "IN-056",
            draft.file,
            f"it stands {shapely.distance(points[a], points[b]):.1f} m from trap {names[a]!r}",
            f"check both positions; traps nearer than {NEAREST_M:.0f} m share their beetles",
            severity="warning",
            row=int(rows[b]),
            column=draft.headers.get("trap_id"),
            value=str(names[b]),
        )
        for a, b in pairs
    ]


def _far_moves(draft: Draft) -> list[Finding]:
    places = locations(draft)
    shapes = as_array(gpd.GeoSeries(places["geometry"]))
    same = (places["trap_id"] == places["trap_id"].shift()).to_numpy()
    metres = np.zeros(len(places))
    metres[1:] = shapely.distance(shapes[1:], shapes[:-1])
    far = same & (metres > FARTHEST_MOVE_M)
    said = [f"the trap moved {length:,.0f} m under the same id" for length in metres]
    fault = Fault(
        "IN-055",
        rows_of(draft, places.index[far]),
        pd.Series(said, index=places.index, dtype=object),
        "check the position; give a new trap a name of its own",
        "trap_id",
        "warning",
    )
    return findings_at(draft, fault)


def _unknown_designs(draft: Draft, settings: SiteSettings) -> list[Finding]:
    known = [design.name for design in settings.designs]
    designs = draft.typed["design"]
    unknown = (designs != "") & ~designs.isin(known) & bool(known)
    close = close_names(draft.text["design"][unknown], known)
    fault = Fault(
        "IN-047",
        unknown,
        lambda cell: f"{quoted(cell)} is not among the designs of site.toml",
        lambda cell: asked_back(
            close.get(cell), f"add [designs.{toml_key(cell)}] to site.toml, or mend it"
        ),
        "design",
        "warning",
    )
    return findings_at(draft, fault)
