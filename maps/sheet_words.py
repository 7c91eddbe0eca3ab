"""Words of the round sheet: its sentences, and how directions and durations are said."""

from __future__ import annotations

import math

from data.settings import Units
from data.site import STATUSES
from maps.catalogue import Catalogue, figure, rounded
from spatial.round_plan import RoundPlan

_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")

_KM_PER_MILE = 1.609344
"""NIST HB 44, appendix C."""


def compass(east_m: float, north_m: float) -> str:
    """Return the direction of a step as one of eight points; blank for no step.

    They are codes; section `compass` of the language file has their letters.

    Examples
    --------
    >>> compass(0, 5), compass(-3, -3), compass(10, 1), compass(0, 0)
    ('N', 'SW', 'E', '')
    """
    if math.hypot(east_m, north_m) < 0.5:
        return ""
    return _POINTS[round(math.degrees(math.atan2(east_m, north_m)) / 45) % 8]


def long_distance_text(distance_m: float, units: Units, lang: Catalogue) -> str:
    """Return the length of a round in miles or kilometres.

    Examples
    --------
    >>> from maps.language_file import english
    >>> long_distance_text(1609.344, "us", english())
    '1.0 miles'
    >>> long_distance_text(7597.4, "metric", english())
    '7.6 km'
    """
    length_km = distance_m / 1000
    if units == "us":
        return lang.say("sheet_route.miles", rounded(length_km / _KM_PER_MILE, 1))
    return lang.say("sheet_route.kilometres", rounded(length_km, 1))


def duration_text(minutes: float, lang: Catalogue) -> str:
    """Return a duration in hours and minutes, to five minutes.

    Examples
    --------
    >>> from maps.language_file import english
    >>> [duration_text(minutes, english()) for minutes in (326.9, 48, 119)]
    ['5 h 25 min', '50 min', '2 h']
    """
    hours, rest = divmod(5 * round(minutes / 5), 60)
    if hours and rest:
        return lang.say("sheet_route.hours_minutes", hours=hours, minutes=rest)
    if hours:
        return lang.say("sheet_route.hours", hours)
    return lang.say("sheet_route.minutes", rest)


def status_texts(lang: Catalogue) -> list[tuple[str, str]]:
    """Return each status word of the files, and what is shown for it.

    Examples
    --------
    >>> from maps.language_file import english
    >>> status_texts(english())[-1]
    ('not_checked', 'not checked')
    """
    return [(status, lang.say(f"sheet_status.{status}")) for status in STATUSES]


def route_sentence(plan: RoundPlan, lang: Catalogue) -> str:
    """Return how long the round is, and on what that rests."""
    units, rules = plan.site.settings.units, plan.site.settings.round
    return lang.say(
        "sheet_route.route",
        len(plan.stops),
        length=long_distance_text(plan.length_m, units, lang),
        duration=duration_text(plan.minutes, lang),
        speed=_speed_text(rules.walking_kmh, units, lang),
        minutes=lang.figure(rules.minutes_per_trap),
        ends=_ends_text(plan, lang),
    )


def _speed_text(speed_kmh: float, units: Units, lang: Catalogue) -> str:
    if units == "us":
        return lang.say("sheet_route.mph", rounded(speed_kmh / _KM_PER_MILE, 1))
    return lang.say("sheet_route.kmh", figure(speed_kmh))


def _ends_text(plan: RoundPlan, lang: Catalogue) -> str:
    back = lang.distance(plan.back_m, plan.site.settings.units)
    if plan.start_trap:
        return lang.say("sheet_route.ends_at_trap", name=plan.start_trap, distance=back)
    return lang.say("sheet_route.ends_at_point", distance=back)


def route_notes(plan: RoundPlan, lang: Catalogue) -> list[str]:
    """Return what the scout must know about the route before walking it."""
    notes = []
    lost = plan.stops[~plan.stops["reachable"]]
    if len(lost):
        notes.append(lang.say("sheet_route.no_path", names=lang.joined(lost["trap_id"].tolist())))
    if plan.blocked_start:
        notes.append(lang.say("sheet_route.blocked_start", name=plan.start_trap))
    left_out = left_out_traps(plan)
    if left_out:
        notes.append(lang.say("sheet_route.left_out", names=lang.joined(left_out)))
    recorded = int(plan.stops["recorded_on"].notna().sum())
    if recorded:
        notes.append(lang.say("sheet_route.recorded", recorded, all=len(plan.stops)))
    return notes


def left_out_traps(plan: RoundPlan) -> list[str]:
    """Return the traps that are not walked because a row of them was set aside."""
    walked = set(plan.stops["trap_id"])
    return [trap for trap in plan.site.account.traps if trap not in walked]


def leg_texts(plan: RoundPlan, lang: Catalogue) -> list[str]:
    """Return for each stop how to get there from the place before."""
    units, stops = plan.site.settings.units, plan.stops
    x, y = stops.geometry.x.tolist(), stops.geometry.y.tolist()
    before = [plan.start_m, *zip(x, y, strict=True)]
    names = ["", *stops["trap_id"]]
    texts = []
    for k, (leg_m, reachable) in enumerate(zip(stops["leg_m"], stops["reachable"], strict=True)):
        if not reachable:
            texts.append(lang.say("sheet_leg.no_path"))
        elif leg_m == 0:
            texts.append(lang.say("sheet_leg.start"))
        else:
            point = compass(x[k] - before[k][0], y[k] - before[k][1])
            texts.append(_leg_text(lang.distance(leg_m, units), point, names[k], lang))
    return texts


def _leg_text(distance: str, point: str, trap: str, lang: Catalogue) -> str:
    """Return how to get to a trap from another, or from the start if that has no name."""
    if not point:
        near = {"distance": distance}
        if trap:
            return lang.say("sheet_leg.near_trap", name=trap, **near)
        return lang.say("sheet_leg.near_start", **near)
    way = {"distance": distance, "direction": lang.say(f"compass.{point}")}
    if trap:
        return lang.say("sheet_leg.from_trap", name=trap, **way)
    return lang.say("sheet_leg.from_start", **way)
