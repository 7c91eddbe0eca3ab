"""What the traps of every zone can carry: when, how much, and where it clusters.

Three purposes, each ``enough``, ``thin`` or ``none``, with the number of traps missing:

* ``timing``: when adults walk. Beetles start together over a neighbourhood, so traps at refuge
  edges within reach count, whichever zone they stand in.
* ``evidence``: what the zone catches, against its limit. Only the zone's own traps count.
* ``patches``: whether traps in the zone and round it would show a patch. It takes traps in the
  zone that can be tested, and a network that finds such a patch.

Traps are spots (`spatial.spots`): two within 5 m count as one. Every threshold is a field of
`Demands`, with its source.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from spatial.arrays import BoolArray, FloatArray, IntArray
from spatial.power import USUAL_PATCH, WANTED
from spatial.reach import SHARED_M
from spatial.results import Chance
from spatial.spots import spot_numbers

PURPOSES = ("timing", "evidence", "patches")

VERDICTS = ("enough", "thin", "none")

REASONS = {
    "timing": ("no_traps_in_reach", "no_refuges", "no_edge_traps", "few_edge_traps"),
    "evidence": ("no_traps", "few_traps", "no_rate", "wide_interval", "decided", "low_anyway"),
    "patches": (
        "no_traps",
        "few_traps_site",
        "not_testable",
        "few_traps_near",
        "small_site",
        "weak_network",
        "power_unknown",
    ),
}
"""Purpose -> what may be the reason. `decided` and `low_anyway` say why a wide interval is enough;
all others why something is missing."""

COLUMNS = ("zone_id", "purpose", "verdict", "missing", "spots", "reasons")


@dataclass(frozen=True, slots=True)
class Demands:
    """What is asked of a network.

    Parameters
    ----------
    timing_spots
        Edge spots in reach from which timing is known: four per course or site in Florida (Huang &
        Buss 2007) and Georgia (Gireesh & Joseph 2020, doi 10.1093/jee/toaa133).
    timing_reach_m
        Straight distance from the zone within which a trap tells its timing; 0: only its own
        (common practice, no source). 30 m of relief can mean 7 to 10 days.
    edge_m
        A trap stands at a refuge edge within this walk of a refuge (common practice, no source).
    evidence_spots
        Spots below which a rate is one trap's word (common practice, no source).
    low_rate
        Adults per trap-week below which it does not matter how low a zone is: the map's first
        class (common practice, no source); 0: it always matters.
    site_least
        Tested spots on the site below which no local test is made: with fewer than 12 to 14 the
        smallest p that a permutation can give is too large (combinatorics of C(n-1, k)).
    site_few
        Tested spots below which a network sees little; "30 or so" is the usual advice (from
        memory).
    patch_traps, patch_fold
        The patch that the network must find: its number of traps, and its catch over the rest's
        (common practice, no source).
    patch_share
        How often it must find it (the usual power of a test, .8).
    patch_reach_m
        Traps farther from the zone are no neighbours of its traps (common practice, no source;
        the marks' own cut-off).
    apart_m
        See `spatial.reach.SHARED_M`.
    """

    timing_spots: int = 4
    timing_reach_m: float = 400.0
    edge_m: float = 60.0
    evidence_spots: int = 2
    low_rate: float = 0.5
    site_least: int = 14
    site_few: int = 30
    patch_traps: int = USUAL_PATCH[0]
    patch_fold: float = USUAL_PATCH[1]
    patch_share: float = WANTED
    patch_reach_m: float = 400.0
    apart_m: float = SHARED_M


def verdicts(
    zones: gpd.GeoDataFrame,
    traps: gpd.GeoDataFrame,
    precision: pd.DataFrame,
    chances: Sequence[Chance],
    demands: Demands,
) -> pd.DataFrame:
    """Return the verdict of every zone for every purpose.

    Parameters
    ----------
    zones
        `zone_id`, geometry; and `state` where zones are judged against limits (`Analysis.zones`).
    traps
        `zone_id`, `in_use`, `reason` (why not testable), `refuge_m`, geometry (`Analysis.traps`).
    precision
        One row per zone in their order, from `spatial.precision.of_way`; made from the same spots.
    chances
        What the whole network finds: `spatial.power.smallest_found`, or `Analysis.chance` alone, or
        nothing where it is not known.
    demands
        The thresholds.

    Returns
    -------
    pandas.DataFrame
        Three rows per zone: `zone_id`, `purpose` (one of `PURPOSES`), `verdict` (one of
        `VERDICTS`), `missing` (traps; NaN where no number of traps is known to be enough), `spots`
        (that count for this purpose), `reasons` (tuple of codes, see `REASONS`).

    Notes
    -----
    Traps missing for patches are anywhere on the site for `few_traps_site` and `small_site`, and
    round the zone otherwise.
    """
    stand = _Stand.of(zones, traps, demands.apart_m)
    found = [
        *_timing(stand, demands),
        *_evidence(zones, stand, precision, demands),
        *_patches(stand, chances, demands),
    ]
    rows = [
        {"zone_id": zone, "purpose": purpose, **verdict.row()}
        for (purpose, verdict), zone in zip(found, list(zones["zone_id"]) * 3, strict=True)
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    order = {zone: place for place, zone in enumerate(zones["zone_id"])}
    return table.sort_values("zone_id", key=lambda ids: ids.map(order), kind="stable").reset_index(
        drop=True
    )


def verdict_counts(table: pd.DataFrame) -> pd.DataFrame:
    """Return how many zones have each verdict: purposes as rows, verdicts as columns.

    Examples
    --------
    >>> told = pd.DataFrame({"purpose": ["timing", "timing"], "verdict": ["thin", "thin"]})
    >>> verdict_counts(told).loc["timing"].tolist()
    [0, 2, 0]
    """
    counts = pd.crosstab(table["purpose"], table["verdict"])
    return counts.reindex(index=list(PURPOSES), columns=list(VERDICTS), fill_value=0)


@dataclass(frozen=True, slots=True)
class _Verdict:
    """Missing traps, the spots that count, and the reasons for and against."""

    spots: int
    missing: float
    against: tuple[str, ...] = ()
    nothing: bool = False
    in_favour: tuple[str, ...] = ()

    def row(self) -> dict[str, object]:
        verdict = "none" if self.nothing else "thin" if self.against else "enough"
        missing = self.missing if self.against else 0.0
        reasons = (*self.against, *self.in_favour)
        return {"verdict": verdict, "missing": missing, "spots": self.spots, "reasons": reasons}


_Named = tuple[str, _Verdict]


@dataclass(frozen=True, slots=True)
class _Stand:
    """The traps in use: where they stand, as seen from each of z zones.

    Parameters
    ----------
    own
        Spot of each trap within its zone, shape (n,).
    anywhere
        Spot of each trap whatever its zone, shape (n,).
    inside
        Whether it is the zone's own, shape (z, n).
    distance_m
        Straight, from zone to trap, shape (z, n).
    refuge_m
        Walk to a refuge, shape (n,); NaN where none is known.
    tested
        Shape (n,).
    """

    own: IntArray
    anywhere: IntArray
    inside: BoolArray
    distance_m: FloatArray
    refuge_m: FloatArray
    tested: BoolArray

    @classmethod
    def of(cls, zones: gpd.GeoDataFrame, traps: gpd.GeoDataFrame, apart_m: float) -> _Stand:
        used = traps[traps["in_use"].to_numpy(dtype=bool)]
        points = used.geometry.to_numpy()
        places_m = shapely.get_coordinates(points)
        zone = used["zone_id"].fillna("").to_numpy(dtype=str)
        inside = zones["zone_id"].to_numpy(dtype=str)[:, None] == zone[None, :]
        distance_m = shapely.distance(zones.geometry.to_numpy()[:, None], points[None, :])
        return cls(
            own=spot_numbers(places_m, zone, apart_m),
            anywhere=spot_numbers(places_m, np.zeros(len(used)), apart_m),
            inside=inside,
            distance_m=np.where(inside, 0.0, distance_m),
            refuge_m=used["refuge_m"].to_numpy(dtype=float),
            tested=(used["reason"] == "").to_numpy(dtype=bool),
        )

    def within(self, zone: int, far_m: float) -> BoolArray:
        """Return the traps of a zone and those no farther from it; only its own at 0."""
        near = self.distance_m[zone] <= far_m if far_m > 0 else False
        return np.asarray(self.inside[zone] | near, dtype=bool)

    def count(self, chosen: BoolArray) -> int:
        return len(np.unique(self.anywhere[chosen]))

    def count_own(self, zone: int, chosen: BoolArray | bool = True) -> int:
        return len(np.unique(self.own[self.inside[zone] & chosen]))

    @property
    def zones(self) -> range:
        return range(len(self.inside))


def _timing(stand: _Stand, demands: Demands) -> list[_Named]:
    # Where no refuge is drawn, an edge trap cannot be told from any other.
    unknown = bool(np.isnan(stand.refuge_m).all())
    at_edge = stand.refuge_m <= demands.edge_m
    found = []
    for zone in stand.zones:
        near = stand.within(zone, demands.timing_reach_m)
        spots = stand.count(near & at_edge)
        missing = float(demands.timing_spots - spots)
        if not near.any():
            verdict = _Verdict(0, missing, ("no_traps_in_reach",), nothing=True)
        elif unknown:
            verdict = _Verdict(0, math.nan, ("no_refuges",))
        elif missing > 0:
            verdict = _Verdict(spots, missing, ("few_edge_traps" if spots else "no_edge_traps",))
        else:
            verdict = _Verdict(spots, 0.0)
        found.append(("timing", verdict))
    return found


def _evidence(
    zones: gpd.GeoDataFrame, stand: _Stand, precision: pd.DataFrame, demands: Demands
) -> list[_Named]:
    states = zones["state"] if "state" in zones else pd.Series("", index=zones.index)
    rows = zip(stand.zones, states, precision.to_dict("records"), strict=True)
    return [
        ("evidence", _of_evidence(stand.count_own(zone), str(state), row, demands))
        for zone, state, row in rows
    ]


def _of_evidence(spots: int, state: str, row: Mapping[Hashable, Any], demands: Demands) -> _Verdict:
    more = _more(row, spots)
    few = float(demands.evidence_spots - spots)
    if not spots:
        return _Verdict(0, max(few, more), ("no_traps",), nothing=True)
    settled = ("decided",) if state in ("above", "below") else ()
    low = ("low_anyway",) if float(row["high_95"]) < demands.low_rate else ()
    if few > 0:
        missing = few if settled or low else max(few, more)
        return _Verdict(spots, missing, ("few_traps",), in_favour=(*settled, *low))
    if row["reason"]:
        return _Verdict(spots, math.nan, ("no_rate",))
    if more > 0 and not (settled or low):
        return _Verdict(spots, more, ("wide_interval",))
    return _Verdict(spots, 0.0, in_favour=(*settled, *low) if more > 0 else ())


def _more(row: Mapping[Hashable, Any], spots: int) -> float:
    """Return the traps that the precision still takes: now, or of next season once this is over."""
    now = float(row["more_traps"])
    if not math.isnan(now):
        return now
    if row["reason"] in ("no_rate", "no_law"):
        return math.nan if spots else 0.0
    return max(float(row["season_traps"]) - spots, 1.0)


def _patches(stand: _Stand, chances: Sequence[Chance], demands: Demands) -> list[_Named]:
    network = stand.count(stand.tested)
    return [
        ("patches", _of_patches(stand, zone, network, chances, demands)) for zone in stand.zones
    ]


def _of_patches(
    stand: _Stand, zone: int, network: int, chances: Sequence[Chance], demands: Demands
) -> _Verdict:
    own = stand.count_own(zone, stand.tested)
    near = stand.count(stand.within(zone, demands.patch_reach_m) & stand.tested)
    if network < demands.site_least:
        reason = "few_traps_site" if stand.inside[zone].any() else "no_traps"
        return _Verdict(own, float(demands.site_least - network), (reason,), nothing=True)
    few = float(max(demands.patch_traps - near, 0))
    if not own:
        reason = "not_testable" if stand.inside[zone].any() else "no_traps"
        return _Verdict(0, max(few, 1.0), (reason,), nothing=True)
    lacking, unseen = _unseen(chances, demands)
    against = {
        "few_traps_near": few,
        "small_site": float(max(demands.site_few - network, 0)),
        unseen: lacking,
    }
    short = {reason: missing for reason, missing in against.items() if reason and missing != 0}
    return _Verdict(near, float(np.max([0.0, *short.values()])), tuple(short))


def _unseen(chances: Sequence[Chance], demands: Demands) -> tuple[float, str]:
    """Return how many traps more the wanted patch must hold to be found, and why; 0 if it is found.

    The smallest patch that is found at that strength holds so many traps, the one wanted so many;
    the difference, put among the traps of the wanted one, makes it as large. NaN if no size that
    was looked at is found at that strength.
    """
    seen = [each for each in chances if each.maps]
    if not seen:
        return math.nan, "power_unknown"
    held = [
        each.traps
        for each in seen
        if each.share >= demands.patch_share and each.fold <= demands.patch_fold
    ]
    if not held:
        return math.nan, "weak_network"
    lacking = max(min(held) - demands.patch_traps, 0)
    return float(lacking), "weak_network" if lacking else ""
