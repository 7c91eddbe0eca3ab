"""The round of a week that is still to be walked: which traps, in which order, set since when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from data.findings import SettingsError
from data.settings import RoundSettings
from data.site import Site
from spatial.arrays import FloatArray
from spatial.assign import assign_zones
from spatial.route import Tour, closed_tour
from spatial.seasons import iso_week, week_sunday
from spatial.walking import walking_distances

WGS84 = "EPSG:4326"


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """One round to be walked.

    Parameters
    ----------
    site
        The site as read.
    week
        ISO week of the round.
    stops
        One row per trap in walking order, those that no path reaches at the end: `trap_id`,
        `location_id`, `design`, `zone_id` (missing outside every zone), `set_on` (NaT when it is
        not known), `recorded_on` (day of a visit that this week already has, else NaT), `leg_m`
        (metres on foot from the place before; NaN when unreachable), `reachable`, point geometry.
    start_m
        Easting and northing where the walk starts and ends.
    start_trap
        The trap it starts at; blank when the site names a start point.
    blocked_start
        Whether the site's start point lies inside an obstacle, so that the trap nearest to it
        took its place.
    back_m
        Metres from the last trap back to the start.
    length_m
        The whole walk in metres.
    minutes
        Walking and checking together, with the site's `[round]` settings.
    """

    site: Site
    week: str
    stops: gpd.GeoDataFrame
    start_m: tuple[float, float]
    start_trap: str
    blocked_start: bool
    back_m: float
    length_m: float
    minutes: float

    @property
    def usual_day(self) -> date:
        """The day of the week on which most traps were last emptied, as a day of this week.

        Of days that tie, and when no trap was emptied yet, the earliest.
        """
        monday = week_sunday(self.week) - timedelta(days=6)
        weekdays = self.stops["set_on"].dropna().dt.day_of_week.mode()
        return monday + timedelta(days=int(weekdays.iloc[0]) if len(weekdays) else 0)


def plan_round(site: Site, week: str | None = None) -> RoundPlan:
    """Plan the round of a week.

    Parameters
    ----------
    site
        The site as read; visits up to the Sunday before the week tell when each trap was set.
    week
        ISO week, or None for the week after the last visit.

    Returns
    -------
    RoundPlan
        Every trap in use in that week, once.

    Raises
    ------
    SettingsError
        If `week` is malformed, or no trap is in use then.
    """
    week = week or next_week(site.visits["checked_on"])
    sunday = week_sunday(week)
    monday = sunday - timedelta(days=6)
    traps = _in_use(site.traps, monday, sunday)
    if traps.empty:
        raise SettingsError(
            f"no trap is in use in week {week}; choose another week, or mend installed and "
            "removed of the traps"
        )
    traps = _with_visits(traps, site.visits, monday, sunday)
    zones = assign_zones(traps, site.zones, site.settings.network.near_m)["zone_id"]
    return _walked(site, week, traps.assign(zone_id=zones.to_numpy()))


def next_week(checked_on: pd.Series[pd.Timestamp]) -> str:
    """Return the ISO week after the last visit.

    Examples
    --------
    >>> next_week(pd.Series(pd.to_datetime(["2026-05-04", "2026-12-30"])))
    '2027-W01'
    """
    later = checked_on.max() + pd.Timedelta(days=7)
    return iso_week(pd.Series([later])).iloc[0]


def minutes_of(length_m: float, traps: int, settings: RoundSettings) -> float:
    """Return the minutes that a round takes.

    Examples
    --------
    >>> minutes_of(2000, 10, RoundSettings(walking_kmh=4.0, minutes_per_trap=3.0))
    60.0
    """
    return length_m / 1000 / settings.walking_kmh * 60 + traps * settings.minutes_per_trap


def _in_use(traps: gpd.GeoDataFrame, monday: date, sunday: date) -> gpd.GeoDataFrame:
    """Return the traps with nights to empty; of a trap that moves this week, the old place."""
    # A trap put out on Sunday has no night before the week ends.
    begun = traps["installed"].isna() | (traps["installed"] < pd.Timestamp(sunday))
    there = traps["removed"].isna() | (traps["removed"] >= pd.Timestamp(monday))
    chosen = traps[begun & there].sort_values(["trap_id", "installed"], na_position="first")
    return chosen.drop_duplicates("trap_id").reset_index(drop=True)


def _with_visits(
    traps: gpd.GeoDataFrame, visits: pd.DataFrame, monday: date, sunday: date
) -> gpd.GeoDataFrame:
    """Add when each trap was set, and when it was already checked in this week."""
    emptied = visits[visits["status"] != "not_checked"]
    last = emptied[emptied["checked_on"] < pd.Timestamp(monday)]
    in_week = (visits["checked_on"] >= pd.Timestamp(monday)) & (
        visits["checked_on"] <= pd.Timestamp(sunday)
    )
    set_on, recorded_on = (
        visited.groupby("location_id")["checked_on"].max().reindex(traps["location_id"])
        for visited in (last, visits[in_week])
    )
    return traps.assign(set_on=set_on.to_numpy(), recorded_on=recorded_on.to_numpy()).fillna(
        {"set_on": traps["installed"]}
    )


def _walked(site: Site, week: str, traps: gpd.GeoDataFrame) -> RoundPlan:
    rules = site.settings.round
    places = shapely.get_coordinates(traps.geometry.to_numpy())
    given = _start_point(rules, str(traps.crs))
    nodes = places if given is None else np.vstack([places, given])
    solid = [shape for shape in site.obstacles.geometry if shape.area > 0]
    distance_m = walking_distances(nodes, solid, np.inf)
    start = _central(places, distance_m) if given is None else len(places)
    blocked = given is not None and not np.isfinite(distance_m[start, :-1]).any()
    if blocked:
        distance_m = distance_m[:-1, :-1]
        start = _nearest_trap(places, nodes[-1], distance_m)
    tour = closed_tour(distance_m, start)
    stops = _stops(traps, tour)
    at_trap = start < len(places)
    return RoundPlan(
        site=site,
        week=week,
        stops=stops,
        start_m=(float(nodes[start][0]), float(nodes[start][1])),
        start_trap=str(traps["trap_id"].iloc[start]) if at_trap else "",
        blocked_start=blocked,
        back_m=float(tour.legs_m[-1]),
        length_m=tour.length_m,
        minutes=minutes_of(tour.length_m, len(stops), rules),
    )


def _start_point(rules: RoundSettings, crs: str) -> FloatArray | None:
    if rules.start_point is None:
        return None
    to_metres = pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)
    return np.asarray(to_metres.transform(*rules.start_point), dtype=float)


def _central(places: FloatArray, distance_m: FloatArray) -> int:
    """Return the trap nearest to the middle of all traps, among those that reach the most."""
    return _nearest_trap(places, places.mean(axis=0), distance_m)


def _nearest_trap(places: FloatArray, point: FloatArray, distance_m: FloatArray) -> int:
    reached = np.isfinite(distance_m).sum(axis=1)
    away = np.hypot(*(places - point).T)
    return int(np.argmin(np.where(reached == reached.max(), away, np.inf)))


def _stops(traps: gpd.GeoDataFrame, tour: Tour) -> gpd.GeoDataFrame:
    """Order the traps as they are walked; the start point is no stop unless a trap stands there."""
    leg_of = dict(zip(tour.order.tolist(), np.roll(tour.legs_m, 1).tolist(), strict=True))
    walked = [place for place in tour.order.tolist() if place < len(traps)]
    if tour.order[0] < len(traps):
        leg_of[walked[0]] = 0.0
    lost = [place for place in tour.unreachable.tolist() if place < len(traps)]
    columns = ["trap_id", "location_id", "design", "zone_id", "set_on", "recorded_on", "geometry"]
    return (
        traps[columns]
        .iloc[[*walked, *lost]]
        .assign(
            leg_m=[leg_of[place] for place in walked] + [np.nan] * len(lost),
            reachable=[True] * len(walked) + [False] * len(lost),
        )
        .reset_index(drop=True)
    )
