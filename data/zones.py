"""Checking zones, refuges and obstacles, and choosing the site's CRS."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from data.checks import Check, Draft, Fault, findings_at, quoted, rows_of, run_checks
from data.coordinates import COORDINATE_PAIRS, WGS84
from data.findings import Finding
from data.ids import id_checks
from data.pairs import MOST_PAIRS, cross_too_often, meeting
from data.places import (
    FARTHEST_KM,
    LARGEST_STRETCH,
    Box,
    Grid,
    as_array,
    far_from,
    outside_area_of_use,
    shapes_of,
    stretch,
    utm_zone,
)
from data.raw import NamedTable
from data.schemas import ZONES, Shape, Table
from data.settings import M2_PER_FT2, Units
from data.values import draft_of
from data.zone_uses import use_checks

LARGEST_OVERLAP_M2 = 1.0
"""Zones that share more than this are reported."""

SLIVER_AREA_M2 = 5.0
"""A zone smaller than this is what is left over from drawing (common practice, no source)."""

SLIVER_WIDTH_M = 0.5
"""So is one narrower than this on average: twice its area over the length of its outline."""

MOST_VERTICES = 200_000
"""A shape of more vertices is a traced picture; all checks of shapes take longer with each."""

MOST_VERTICES_TOGETHER = 1_000_000
"""Vertices of all shapes of one file."""

MOST_RINGS = 1000
"""Outlines and holes of one shape: whether it is valid is asked of each hole at each vertex."""

PLACE_COLUMNS = ("geometry", *(name for pair in COORDINATE_PAIRS for name in pair))
"""Columns whose mistakes leave a row without a place."""

_KINDS: dict[Shape, tuple[str, ...]] = {
    "polygon": ("Polygon", "MultiPolygon"),
    "point": ("Point",),
    "polygon or line": ("Polygon", "MultiPolygon", "LineString", "MultiLineString"),
}


def check_zones(
    named: NamedTable, crs: str | None, units: Units = "metric"
) -> tuple[Draft, Grid | None]:
    """Check the zones and settle where the site is.

    Parameters
    ----------
    named
        The zones under our column names.
    crs
        The CRS that site.toml sets, or None to take the UTM zone of the zones.
    units
        Units in which areas are told.

    Returns
    -------
    Draft, Grid or None
        The zones with their `geometry` in the grid's CRS; no grid when no shape is usable.
    """
    checks = [*shape_checks(ZONES), _one_zone_an_id, *id_checks("zone_id"), *use_checks()]
    draft = run_checks(shape_draft(named, ZONES), checks)
    centres = _centres(draft)
    if centres.empty:
        return draft, Grid(crs) if crs else None
    grid = Grid(crs or utm_zone(float(centres.x.median()), float(centres.y.median())))
    draft = draft.with_findings(_misplaced_zones(draft, centres, grid))
    draft = in_metres(draft, grid)
    draft = run_checks(draft, [lambda each: _overlaps(each, units), _slivers, _several_parts])
    sound = gpd.GeoSeries(draft.sound["geometry"])
    return draft, replace(grid, box=_box(sound)) if len(sound) else grid


def check_surroundings(named: NamedTable, table: Table, grid: Grid | None) -> Draft:
    """Check refuges or obstacles and bring them into the site's CRS.

    Parameters
    ----------
    named
        The table under our column names.
    table
        Refuges or obstacles.
    grid
        Where the zones are; None when unknown.

    Returns
    -------
    Draft
        Its `id` is filled with ``"refuges-3"`` and the like where the file has none.
    """
    draft = shape_draft(named, table)
    numbers = pd.Series([f"{table.name}-{row}" for row in draft.typed.index], draft.typed.index)
    filled = draft.typed["id"].where(draft.typed["id"] != "", numbers)
    draft = replace(draft, typed=draft.typed.assign(id=filled))
    draft = run_checks(draft, [*shape_checks(table), unique_ids("id")])
    if grid is None:
        return draft
    if grid.box is not None:
        draft = draft.with_findings(_far_shapes(draft, grid, grid.box))
    return in_metres(draft, grid)


def shape_draft(named: NamedTable, table: Table) -> Draft:
    """Understand the cells of a shape table; its shapes become the value column `geometry`."""
    draft = draft_of(named, table)
    return replace(draft, typed=draft.typed.assign(geometry=named.raw.geometry))


def in_metres(draft: Draft, grid: Grid) -> Draft:
    """Return the draft with its shapes in the grid's CRS; shapes of bad rows are blanked."""
    shapes = shapes_of(draft).where(draft.good(*PLACE_COLUMNS)).to_crs(grid.crs)
    return replace(draft, typed=draft.typed.assign(geometry=shapes))


def shape_checks(table: Table) -> list[Check]:
    """Return the checks of single shapes for a table."""

    def kinds(draft: Draft) -> list[Finding]:
        return _wrong_kind(draft, _KINDS[table.shape], table.shape)

    return [_missing_shape, kinds, _too_detailed, _invalid_shape, _degrees_out_of_range]


def unique_ids(column: str) -> Check:
    """Return a check that no two rows bear the same id; the first row keeps it."""

    def check(draft: Draft) -> list[Finding]:
        ids = draft.typed[column]
        fault = Fault(
            "IN-041",
            (ids != "") & ids.duplicated(),
            lambda cell: f"{quoted(cell)} is there twice",
            "give every row its own",
            column,
        )
        return findings_at(draft, fault)

    return check


def _one_zone_an_id(draft: Draft) -> list[Finding]:
    """Report each id that two zones bear; a row that says the same as the first is a copy of it.

    Which of two different zones the id belongs to cannot be told from the file.
    """
    named = draft.typed[draft.typed["zone_id"] != ""]
    shapes = pd.Series(shapely.to_wkb(as_array(gpd.GeoSeries(named["geometry"]))), named.index)
    said = named.drop(columns=["geometry", "note"]).assign(shape=shapes)
    ids = named["zone_id"]
    copy = said.duplicated()
    differ = ids.isin(ids[~copy][ids[~copy].duplicated()])
    first = pd.Series(ids.index, ids.index).groupby(ids).transform("first")
    faults = [
        Fault(
            "IN-041",
            rows_of(draft, ids.index[copy & ~differ]),
            first.map("the zone is there twice, first in row {}".format),
            "delete one of the two",
            "zone_id",
        ),
        Fault(
            "IN-041",
            rows_of(draft, ids.index[differ]),
            lambda cell: f"two zones that differ bear the id {quoted(cell)}",
            "give every zone its own; while they share one, neither is used",
            "zone_id",
        ),
    ]
    return [finding for fault in faults for finding in findings_at(draft, fault)]


def _missing_shape(draft: Draft) -> list[Finding]:
    shapes = shapes_of(draft)
    missing = shapes.isna() | shapes.is_empty
    problem = "the shape is missing, empty, or has an open ring or a coordinate that is no number"
    return findings_at(draft, Fault("IN-060", missing, problem, "draw it again"))


def _wrong_kind(draft: Draft, kinds: tuple[str, ...], wanted: str) -> list[Finding]:
    found = shapes_of(draft).geom_type.fillna("")
    wrong = draft.good("geometry") & ~found.isin(kinds)
    problem = "the shape is a " + found
    return findings_at(draft, Fault("IN-061", wrong, problem, f"draw it as a {wanted}"))


def _too_detailed(draft: Draft) -> list[Finding]:
    shapes = as_array(shapes_of(draft))
    vertices = pd.Series(shapely.get_num_coordinates(shapes), draft.typed.index)
    many = vertices > MOST_VERTICES
    together = vertices.where(~many, 0).cumsum() > MOST_VERTICES_TOGETHER
    rings = pd.Series(_ring_counts(shapes), draft.typed.index) > MOST_RINGS
    simplify = "simplify its outline in your GIS; a vertex every half metre is plenty"
    holes = "draw it as several shapes, and leave out small holes"
    large = f"the shape has more than {MOST_VERTICES:,} vertices"
    torn = f"the shape has more than {MOST_RINGS:,} outlines and holes"
    all_large = f"with the shapes before it, it has more than {MOST_VERTICES_TOGETHER:,} vertices"
    faults = [
        Fault("IN-093", many, large, simplify),
        Fault("IN-093", rings & ~many, torn, holes),
        Fault("IN-094", together & ~many & ~rings, all_large, simplify),
    ]
    return [finding for fault in faults for finding in findings_at(draft, fault)]


def _ring_counts(shapes: npt.NDArray[np.object_]) -> npt.NDArray[np.int64]:
    parts, place = shapely.get_parts(shapes, return_index=True)
    rings = 1 + np.maximum(shapely.get_num_interior_rings(parts), 0)
    return np.bincount(place, weights=rings, minlength=len(shapes)).astype(np.int64)


def _invalid_shape(draft: Draft) -> list[Finding]:
    shapes = shapes_of(draft)
    # Shapes that were refused before are not looked at: with many vertices it would take long.
    good = draft.good("geometry")
    looked_at = as_array(shapes)[good.to_numpy()]
    reasons = pd.Series(_invalid_reasons(looked_at), shapes.index[good], dtype=object)
    invalid = (reasons != "").reindex(shapes.index, fill_value=False)
    problem = "the shape is not valid: " + reasons
    return findings_at(draft, Fault("IN-062", invalid, problem, "mend the outline at that place"))


def _invalid_reasons(shapes: npt.NDArray[np.object_]) -> list[str]:
    """Return why each shape is not valid, blank where it is."""
    try:
        with np.errstate(over="ignore", invalid="ignore"):
            invalid = ~shapely.is_valid(shapes)
            reasons = np.full(len(shapes), "", dtype=object)
            reasons[invalid] = shapely.is_valid_reason(shapes[invalid])
        return [str(reason) for reason in reasons]
    except shapely.GEOSException:
        # GEOS itself fails on some outlines, e.g. one that reaches 1e300.
        if len(shapes) == 1:
            return ["its outline cannot be followed"]
        return [reason for shape in shapes for reason in _invalid_reasons(np.array([shape]))]


def _degrees_out_of_range(draft: Draft) -> list[Finding]:
    shapes = shapes_of(draft)
    if shapes.crs is None or not shapes.crs.is_geographic:
        return []
    west, south, east, north = shapely.bounds(as_array(shapes)).T
    beyond = (west < -180) | (east > 180) | (south < -90) | (north > 90)
    fault = Fault(
        "IN-050",
        draft.good("geometry") & beyond,
        "the coordinates are not longitudes and latitudes",
        "export the file in WGS 84, or as a GeoPackage with its CRS",
    )
    return findings_at(draft, fault)


def _centres(draft: Draft) -> gpd.GeoSeries:
    return _middles(_good_shapes(draft)).to_crs(WGS84)


def _good_shapes(draft: Draft) -> gpd.GeoSeries:
    return gpd.GeoSeries(draft.typed["geometry"][draft.good("geometry")])


def _middles(shapes: gpd.GeoSeries) -> gpd.GeoSeries:
    ends = shapes.bounds
    x, y = (ends["minx"] + ends["maxx"]) / 2, (ends["miny"] + ends["maxy"]) / 2
    return gpd.GeoSeries.from_xy(x, y, index=shapes.index, crs=shapes.crs)


def _misplaced_zones(draft: Draft, centres: gpd.GeoSeries, grid: Grid) -> list[Finding]:
    outside = outside_area_of_use(grid.crs, centres)
    if outside.all():
        problem = f"all zones are outside the area that {grid.crs} is made for"
        fix = "set crs in site.toml to the CRS of the place, or leave it out"
        return [Finding("IN-053", draft.file, problem, fix)]
    stretched = stretch(grid.crs, float(centres.x.median()), float(centres.y.median()))
    if stretched > LARGEST_STRETCH:
        problem = f"{grid.crs} changes distances at the zones by {stretched:.0%}"
        fix = "set crs in site.toml to one made for the place, or leave it out"
        return [Finding("IN-054", draft.file, problem, fix)]
    placed = centres.to_crs(grid.crs)
    x, y = float(placed.x.median()), float(placed.y.median())
    far = far_from((x, y, x, y), placed)
    faults = [
        Fault(
            "IN-052",
            far,
            f"the zone is more than {FARTHEST_KM} km from the others",
            "check its coordinates for swapped columns or a lost minus sign",
        ),
        Fault(
            "IN-053",
            outside & ~far,
            f"the zone is outside the area that {grid.crs} is made for",
            "set crs in site.toml to the CRS of the place",
        ),
    ]
    return [
        finding
        for fault in faults
        for finding in findings_at(draft, replace(fault, bad=_on(draft, fault.bad)))
    ]


def _far_shapes(draft: Draft, grid: Grid, box: Box) -> list[Finding]:
    points = _middles(_good_shapes(draft).to_crs(grid.crs))
    fault = Fault(
        "IN-052",
        _on(draft, far_from(box, points)),
        f"the shape is more than {FARTHEST_KM} km from the zones",
        "check its coordinates for swapped columns or a lost minus sign",
    )
    return findings_at(draft, fault)


def _area_text(area_m2: float, units: Units) -> str:
    """Return a small area in the site's units; one square foot is 0.3048 squared m2.

    Examples
    --------
    >>> _area_text(9.290304, "us"), _area_text(2368.04, "metric")
    ('100 square feet', '2,368.0 m2')
    """
    return f"{area_m2 / M2_PER_FT2:,.0f} square feet" if units == "us" else f"{area_m2:,.1f} m2"


def _overlaps(draft: Draft, units: Units) -> list[Finding]:
    """Report each pair of zones that overlap, on the row of the later one."""
    sound = draft.typed[draft.good("geometry", "zone_id")]
    shapes = as_array(gpd.GeoSeries(sound["geometry"]))
    pairs = meeting(shapes, shapes)
    if not pairs.complete:
        return [_too_many_pairs(draft)]
    later = pairs.first < pairs.second
    first, second = pairs.first[later], pairs.second[later]
    names, rows = sound["zone_id"].to_numpy(), sound.index.to_numpy()
    tangled = cross_too_often(shapes[first], shapes[second])
    unmeasured = [
        _tangled(draft, names[a], names[b], rows[b])
        for a, b in zip(first[tangled], second[tangled], strict=True)
    ]
    first, second = first[~tangled], second[~tangled]
    areas = shapely.area(shapely.intersection(shapes[first], shapes[second]))
    return unmeasured + [
        Finding(
            "IN-063",
            draft.file,
            f"zone {names[b]!r} overlaps zone {names[a]!r} by {_area_text(area, units)}",
            "cut one out of the other, or accept that traps there go to one of them",
            severity="warning",
            row=int(rows[b]),
            column=draft.headers.get("zone_id"),
            value=str(names[b]),
        )
        for a, b, area in sorted(zip(first, second, areas, strict=True))
        if area > LARGEST_OVERLAP_M2
    ]


def _too_many_pairs(draft: Draft) -> Finding:
    problem = f"more than {MOST_PAIRS:,} pairs of zones lie on each other"
    return Finding("IN-095", draft.file, problem, "keep each zone once")


def _tangled(draft: Draft, one: str, other: str, row: int) -> Finding:
    return Finding(
        "IN-095",
        draft.file,
        f"the outlines of zones {other!r} and {one!r} cross too often to measure their overlap",
        "draw the two outlines again, with fewer vertices",
        row=int(row),
        column=draft.headers.get("zone_id"),
        value=str(other),
    )


def _slivers(draft: Draft) -> list[Finding]:
    shapes = _good_shapes(draft)
    area, width = shapes.area, 2 * shapes.area / shapes.length
    said = [
        f"the zone has {a:,.1f} m2 and is {w:,.1f} m wide" for a, w in zip(area, width, strict=True)
    ]
    fault = Fault(
        "IN-065",
        _on(draft, (area < SLIVER_AREA_M2) | (width < SLIVER_WIDTH_M)),
        pd.Series(said, shapes.index, dtype=object),
        "delete it, or draw its outline again",
        severity="warning",
    )
    return findings_at(draft, fault)


def _several_parts(draft: Draft) -> list[Finding]:
    shapes = _good_shapes(draft)
    parts = pd.Series(shapely.get_num_geometries(as_array(shapes)), shapes.index)
    fault = Fault(
        "IN-066",
        _on(draft, parts > 1),
        parts.map("the zone is in {} parts".format),
        "make each part a zone of its own, unless they are managed as one",
        severity="warning",
    )
    return findings_at(draft, fault)


def _box(shapes: gpd.GeoSeries) -> Box:
    west, south, east, north = (float(end) for end in shapes.total_bounds)
    return west, south, east, north


def _on(draft: Draft, mask: pd.Series[bool]) -> pd.Series[bool]:
    return mask.reindex(draft.typed.index, fill_value=False)
