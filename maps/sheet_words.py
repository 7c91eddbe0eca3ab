"""Words of the round sheet: its sentences, and how directions and durations are said."""

from __future__ import annotations

import math

from data.settings import Units
from maps.words import count_of, distance_text
from spatial.round_plan import RoundPlan

STATUS_TEXT = {
    "ok": "ok",
    "flooded": "flooded",
    "disturbed": "disturbed",
    "missing": "missing",
    "covered": "covered",
    "not_checked": "not checked",
}
"""Status word of the files -> what is shown."""

CAUTION = (
    "No digging on this round: have buried services and irrigation lines located first. "
    "Animal-safe fluid only. Keep traps flush, out of play lines and marked for mower crews."
)

_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def compass(east_m: float, north_m: float) -> str:
    """Return the direction of a step as one of eight points; blank for no step.

    Examples
    --------
    >>> compass(0, 5), compass(-3, -3), compass(10, 1), compass(0, 0)
    ('N', 'SW', 'E', '')
    """
    if math.hypot(east_m, north_m) < 0.5:
        return ""
    return _POINTS[round(math.degrees(math.atan2(east_m, north_m)) / 45) % 8]


def long_distance_text(distance_m: float, units: Units) -> str:
    """Return the length of a round in miles or kilometres; one mile is 1609.344 m (NIST HB 44, C).

    Examples
    --------
    >>> long_distance_text(1609.344, "us"), long_distance_text(7597.4, "metric")
    ('1.0 miles', '7.6 km')
    """
    return f"{distance_m / 1609.344:.1f} miles" if units == "us" else f"{distance_m / 1000:.1f} km"


def duration_text(minutes: float) -> str:
    """Return a duration in hours and minutes, to five minutes.

    Examples
    --------
    >>> duration_text(326.9), duration_text(48), duration_text(119)
    ('5 h 25 min', '50 min', '2 h')
    """
    hours, rest = divmod(5 * round(minutes / 5), 60)
    parts = [f"{hours} h"] if hours else []
    parts += [f"{rest} min"] if rest or not hours else []
    return " ".join(parts)


def route_sentence(plan: RoundPlan) -> str:
    """Return how long the round is, and on what that rests."""
    units, rules = plan.site.settings.units, plan.site.settings.round
    speed = f"{rules.walking_kmh:g} km/h"
    if units == "us":
        speed = f"{rules.walking_kmh / 1.609344:.1f} mph"
    return (
        f"{count_of(len(plan.stops), 'trap')}, {long_distance_text(plan.length_m, units)} on foot, "
        f"about {duration_text(plan.minutes)} (at {speed} and {rules.minutes_per_trap:g} min a "
        f"trap). {_start_text(plan)}"
    )


def _start_text(plan: RoundPlan) -> str:
    back = f"last leg back {distance_text(plan.back_m, plan.site.settings.units)}"
    where = f"trap {plan.start_trap}" if plan.start_trap else "the start point"
    return f"Starts and ends at {where}; {back}."


def route_notes(plan: RoundPlan) -> list[str]:
    """Return what the scout must know about the route before walking it."""
    notes = []
    lost = plan.stops[~plan.stops["reachable"]]
    if len(lost):
        names = ", ".join(lost["trap_id"])
        notes.append(f"No path round the obstacles leads to {names}: at the end, without a length.")
    if plan.blocked_start:
        notes.append(
            "No path leads from the start point in site.toml; "
            f"the round starts at the nearest trap, {plan.start_trap}."
        )
    left_out = left_out_traps(plan)
    if left_out:
        notes.append(
            f"Not on this sheet: {', '.join(left_out)}, of which a row in the traps is set aside "
            "with a mistake."
        )
    recorded = int(plan.stops["recorded_on"].notna().sum())
    if recorded:
        notes.append(
            f"{count_of(recorded, 'trap')} of {len(plan.stops)} already "
            f"{'has' if recorded == 1 else 'have'} a visit in this week; "
            "a second one would be set aside."
        )
    return notes


def left_out_traps(plan: RoundPlan) -> list[str]:
    """Return the traps that are not walked because a row of them was set aside."""
    walked = set(plan.stops["trap_id"])
    return [trap for trap in plan.site.account.traps if trap not in walked]


def leg_texts(plan: RoundPlan) -> list[str]:
    """Return for each stop how to get there from the place before."""
    units, stops = plan.site.settings.units, plan.stops
    x, y = stops.geometry.x.tolist(), stops.geometry.y.tolist()
    before = [plan.start_m, *zip(x, y, strict=True)]
    names = ["the start", *stops["trap_id"]]
    texts = []
    for k, (leg_m, reachable) in enumerate(zip(stops["leg_m"], stops["reachable"], strict=True)):
        if not reachable:
            texts.append("no path on the map")
        elif leg_m == 0:
            texts.append("start")
        else:
            point = compass(x[k] - before[k][0], y[k] - before[k][1])
            texts.append(f"{distance_text(leg_m, units)} {point} of {names[k]}")
    return texts
