"""Where things are: the site's CRS in metres, and positions that cannot be right."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyproj
import shapely

from data.checks import Draft, Fault, findings_at
from data.findings import Finding

FARTHEST_KM = 50
"""A position farther from the zones than this is a mistake (common practice, no source)."""

LARGEST_STRETCH = 0.01
"""A CRS may stretch or shrink distances at the site by this share; UTM stays under 0.002."""

_AREA_MARGIN_DEG = 1.0

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Grid:
    """The site's own coordinates.

    Parameters
    ----------
    crs
        A projected CRS in metres, e.g. ``"EPSG:32617"``.
    box
        West, south, east and north end of the zones in metres; None without usable zones.
    """

    crs: str
    box: Box | None = None


def utm_zone(longitude: float, latitude: float) -> str:
    """Return the UTM zone of a place on WGS 84.

    Parameters
    ----------
    longitude, latitude
        In degrees.

    Returns
    -------
    str
        ``"EPSG:326.."`` in the north, ``"EPSG:327.."`` in the south.

    Notes
    -----
    Zones are 6 degrees wide and counted from 180 degrees west (Snyder, J.P. 1987, Map projections:
    a working manual, USGS Professional Paper 1395, p. 57). The exceptions around Norway and
    Svalbard are not made; set `crs` in site.toml there.

    Examples
    --------
    >>> utm_zone(-80.0, 40.4), utm_zone(151.2, -33.9)
    ('EPSG:32617', 'EPSG:32756')
    """
    number = int((longitude + 180) // 6) % 60 + 1
    return f"EPSG:{326 if latitude >= 0 else 327}{number:02d}"


def latitude_of(grid: Grid) -> float | None:
    """Return the latitude of the middle of the zones in degrees, None when it is unknown.

    Examples
    --------
    >>> latitude_of(Grid("EPSG:32617", (500_000, 4_428_000, 500_000, 4_428_000)))
    40.0
    """
    if grid.box is None:
        return None
    west, south, east, north = grid.box
    middle = gpd.GeoSeries.from_xy([(west + east) / 2], [(south + north) / 2], crs=grid.crs)
    return round(float(middle.to_crs("EPSG:4326").y.iloc[0]), 1)


def shapes_of(draft: Draft) -> gpd.GeoSeries:
    """Return the shapes of a draft, in the CRS of the file."""
    return gpd.GeoSeries(draft.typed["geometry"])


def as_array(shapes: gpd.GeoSeries) -> npt.NDArray[np.object_]:
    """Return the shapes as a plain array, None where there is none."""
    return np.asarray(shapes.array, dtype=object)


def far_from(box: Box, points: gpd.GeoSeries) -> pd.Series[bool]:
    """Return True where a point is more than 50 km from a box; blank points are not far.

    Examples
    --------
    >>> points = gpd.GeoSeries.from_xy([0.0, 60_000.0], [0.0, 0.0])
    >>> list(far_from((0.0, 0.0, 100.0, 100.0), points))
    [False, True]
    """
    west, south, east, north = box
    x, y = shapely.get_x(as_array(points)), shapely.get_y(as_array(points))
    with np.errstate(invalid="ignore"):
        east_west = np.maximum(np.maximum(west - x, x - east), 0)
        north_south = np.maximum(np.maximum(south - y, y - north), 0)
        near = np.hypot(east_west, north_south) <= FARTHEST_KM * 1000
    return pd.Series(~near & ~points.isna().to_numpy(), index=points.index)


def point_findings(draft: Draft, grid: Grid) -> list[Finding]:
    """Find positions that are out of range, at 0, 0 or far from the zones.

    Parameters
    ----------
    draft
        With a `geometry` of points in the CRS of the file.
    grid
        Where the zones are.

    Returns
    -------
    list of Finding
        At most one for each row.
    """
    points = shapes_of(draft)
    x: pd.Series[float] = pd.Series(shapely.get_x(as_array(points)), index=points.index)
    y: pd.Series[float] = pd.Series(shapely.get_y(as_array(points)), index=points.index)
    degrees = points.crs is not None and points.crs.is_geographic
    beyond = ((x.abs() > 180) | (y.abs() > 90)) & degrees
    zero = (x == 0) & (y == 0)
    range_fix = "check for metres in place of degrees, and for swapped columns"
    faults = [
        Fault("IN-050", beyond, _said(x, y) + " is not a longitude and latitude", range_fix),
        Fault("IN-051", zero, "the position is 0, 0", "type the true position"),
    ]
    if grid.box is not None:
        # A shape that is no point has no position; another finding says so.
        far = far_from(grid.box, points.to_crs(grid.crs)) & ~beyond & ~zero & x.notna()
        faults.append(_far_fault(far, points, grid, grid.box))
    return [finding for fault in faults for finding in findings_at(draft, fault)]


def _far_fault(far: pd.Series[bool], points: gpd.GeoSeries, grid: Grid, box: Box) -> Fault:
    rows = points.index[far]
    bad = as_array(points)[far.to_numpy()]
    said = _said(pd.Series(shapely.get_x(bad), rows), pd.Series(shapely.get_y(bad), rows))
    return Fault(
        "IN-052",
        far,
        said + f" is more than {FARTHEST_KM} km from the zones",
        pd.Series([_suspicion(point, points, grid, box) for point in bad], rows, dtype=object),
    )


def _suspicion(point: shapely.Point, points: gpd.GeoSeries, grid: Grid, box: Box) -> str:
    degrees = points.crs is not None and points.crs.is_geographic
    first, second = ("longitude", "latitude") if degrees else ("easting", "northing")
    readings = {
        "the two coordinates look swapped": (point.y, point.x),
        f"the {first} seems to have lost or gained its minus sign": (-point.x, point.y),
        f"the {second} seems to have lost or gained its minus sign": (point.x, -point.y),
        "the two coordinates look swapped, and a minus sign is missing": (-point.y, point.x),
    }
    for words, (x, y) in readings.items():
        guess = gpd.GeoSeries([shapely.Point(x, y)], crs=points.crs).to_crs(grid.crs)
        if not far_from(box, guess).iloc[0]:
            return words
    if not degrees and far_from(box, points.to_crs(grid.crs)).sum() == len(points) > 1:
        return (
            "all positions are: say in what system or unit they were measured, with crs or units "
            "under [read.traps] in site.toml"
        )
    return "check the position"


def _said(x: pd.Series[float], y: pd.Series[float]) -> pd.Series[str]:
    text = [f"position {a:.10g}, {b:.10g}" for a, b in zip(x, y, strict=True)]
    return pd.Series(text, index=x.index, dtype=object)


def outside_area_of_use(crs: str, points: gpd.GeoSeries) -> pd.Series[bool]:
    """Return True where a point is more than a degree outside the area a CRS is made for.

    Parameters
    ----------
    crs
        A projected CRS.
    points
        On WGS 84.

    Examples
    --------
    >>> points = gpd.GeoSeries.from_xy([-80.0, 20.0], [40.4, 50.0], crs="EPSG:4326")
    >>> list(outside_area_of_use("EPSG:32617", points))
    [False, True]
    """
    area = pyproj.CRS.from_user_input(crs).area_of_use
    if area is None:
        return pd.Series(False, index=points.index)
    inside = points.y.between(area.south - _AREA_MARGIN_DEG, area.north + _AREA_MARGIN_DEG)
    if area.west <= area.east:
        inside &= points.x.between(area.west - _AREA_MARGIN_DEG, area.east + _AREA_MARGIN_DEG)
    return ~inside & ~points.isna()


def stretch(crs: str, longitude: float, latitude: float) -> float:
    """Return the share by which a CRS stretches or shrinks distances at a place, at worst.

    Parameters
    ----------
    crs
        A projected CRS.
    longitude, latitude
        On WGS 84, in degrees.

    Notes
    -----
    The scale factors along the meridian and the parallel (Snyder 1987, p. 20-24), by pyproj. A map
    projection for the whole world makes a metre longer the farther it is from the equator: on
    spherical Mercator by 1 / cos(latitude).

    Examples
    --------
    >>> round(stretch("EPSG:32617", -81.0, 40.4), 4), round(stretch("EPSG:3857", -81.0, 60.0), 1)
    (0.0004, 1.0)
    """
    factors = pyproj.Proj(crs).get_factors(longitude, latitude)
    return max(abs(factors.meridional_scale - 1), abs(factors.parallel_scale - 1))
