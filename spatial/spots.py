"""Traps that share beetles count as one: a spot, with the effort of one trap.

Two cups side by side catch from the same ground. Their catch is a better count of one place, not a
count of two; so nothing that is said of a zone may rest on there being two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import KDTree

from spatial.arrays import BoolArray, FloatArray, IntArray, NameArray
from spatial.reach import SHARED_M
from spatial.zones import comparable_nights


@dataclass(frozen=True, slots=True)
class Trapped:
    """What traps, or spots, have caught so far, and how their effort grows.

    Parameters
    ----------
    zone, use
        Zone and its use, shape (n,), objects; no missing ones.
    adults
        Adults to date, shape (n,).
    effort
        Trap-nights of the reference design to date, shape (n,); 0 without a countable night or
        where the design has no ratio.
    ratio
        Nights of the reference design that one night of the trap is worth, shape (n,); 0 where the
        design has no ratio.
    in_use
        Whether it will be set again, shape (n,).
    """

    zone: NameArray
    use: NameArray
    adults: FloatArray
    effort: FloatArray
    ratio: FloatArray
    in_use: BoolArray

    @property
    def counted(self) -> BoolArray:
        """Those with effort, shape (n,)."""
        return np.asarray(self.effort > 0, dtype=bool)


def site_spots(
    traps: gpd.GeoDataFrame,
    use: Mapping[str, str],
    ratio: Mapping[str, float],
    apart_m: float = SHARED_M,
) -> Trapped:
    """Return the spots of a site; traps outside every zone are left out.

    Parameters
    ----------
    traps
        `zone_id`, `design`, `adults`, `nights`, `in_use`, geometry in metres: `Analysis.traps`.
    use
        Zone -> use.
    ratio
        Design -> catch relative to the reference design, from `spatial.ratios.ratio_by_design`.
    apart_m
        See `spot_numbers`.
    """
    inside = traps[traps["zone_id"].notna()]
    zone = inside["zone_id"].to_numpy(dtype=object)
    design = inside["design"].to_numpy()
    known = Trapped(
        zone=zone,
        use=np.array([use[name] for name in zone], dtype=object),
        adults=inside["adults"].to_numpy(dtype=float),
        effort=comparable_nights(inside["nights"], design, ratio),
        ratio=comparable_nights(np.ones(len(inside)), design, ratio),
        in_use=inside["in_use"].to_numpy(dtype=bool),
    )
    places_m = shapely.get_coordinates(inside.geometry.to_numpy())
    return as_spots(known, spot_numbers(places_m, zone, apart_m))


def spot_numbers(
    places_m: npt.ArrayLike, group: npt.ArrayLike, apart_m: float = SHARED_M
) -> IntArray:
    """Return the spot of every trap, numbered from 0.

    From west to east (then south to north) a trap opens a new spot unless one of its group has its
    first trap closer than `apart_m`, straight; so a long row of close traps is cut into several
    spots, and the order of the traps, or a trap put twice on one place, changes nothing.

    Parameters
    ----------
    places_m
        Coordinates in metres, shape (n, 2).
    group
        Traps of different groups (zones) never share a spot, shape (n,).
    apart_m
        Traps closer than this share beetles; see `spatial.reach.SHARED_M`.

    Examples
    --------
    A trap, its neighbour at 3 m, one more 3 m on (6 m from the first), and one in another zone:

    >>> spot_numbers([[0, 0], [3, 0], [6, 0], [1, 0]], ["a", "a", "a", "b"]).tolist()
    [0, 0, 2, 1]
    """
    xy = np.asarray(places_m, dtype=float).reshape(-1, 2)
    names = np.asarray(group)
    spot = np.zeros(len(xy), dtype=np.int64)
    opened: dict[int, int] = {}
    near = KDTree(xy).query_ball_point(xy, apart_m) if len(xy) else []
    for trap in np.lexsort((xy[:, 1], xy[:, 0])).tolist():
        shared = [
            opened[first]
            for first in near[trap]
            if first in opened
            and names[trap] == names[first]
            and np.hypot(*(xy[trap] - xy[first])) < apart_m
        ]
        spot[trap] = min(shared, default=len(opened))
        if not shared:
            opened[trap] = len(opened)
    return spot


def as_spots(traps: Trapped, spot: IntArray) -> Trapped:
    """Return one row per spot: the catch rate of its traps together, and the effort of one of them.

    The effort is that of its trap with most, and the adults are the rate times that effort; they
    need not be whole.

    Examples
    --------
    Two traps on one spot caught 4 and 6 in 70 nights each: as one trap that caught 5 in 70.

    >>> names = np.array(["a", "a"], dtype=object)
    >>> pair = Trapped(
    ...     names, names, np.array([4.0, 6.0]), np.full(2, 70.0), np.ones(2), np.ones(2, bool)
    ... )
    >>> one = as_spots(pair, np.array([0, 0]))
    >>> one.adults.tolist(), one.effort.tolist()
    ([5.0], [70.0])
    """
    size = int(spot.max(initial=-1)) + 1
    caught = np.bincount(spot, weights=np.where(traps.counted, traps.adults, 0.0), minlength=size)
    nights = np.bincount(spot, weights=traps.effort, minlength=size)
    effort, ratio = np.zeros(size), np.zeros(size)
    in_use = np.zeros(size, dtype=bool)
    np.maximum.at(effort, spot, traps.effort)
    np.maximum.at(ratio, spot, np.where(traps.in_use, traps.ratio, 0.0))
    np.logical_or.at(in_use, spot, traps.in_use)
    rate = np.divide(caught, nights, out=np.zeros(size), where=nights > 0)
    _, first = np.unique(spot, return_index=True)
    return Trapped(traps.zone[first], traps.use[first], rate * effort, effort, ratio, in_use)
