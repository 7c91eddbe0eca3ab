"""Whether a treatment would follow one of the same IRAC mode-of-action group in the same zone."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

ROTATION = ("same_group", "same_main_group", "group_not_recorded", "group_not_given")
"""What can be wrong: the last treatment of the zone had the same group; it had another subgroup of
the same number, which shares its mode of action (from memory of the IRAC classification); its group
is not in the log; the user has not said which group is planned."""

_GROUP = re.compile(r"\b(\d{1,2}[a-z]?|un[a-z]?)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Repeat:
    """One zone in which groups may not be rotating.

    Parameters
    ----------
    zone_id
        The zone.
    reason
        One of `ROTATION`.
    applied_on
        Day of the last treatment there.
    groups
        Groups of that treatment that are planned again or are related, sorted.
    """

    zone_id: str
    reason: str
    applied_on: date
    groups: tuple[str, ...] = ()


def irac_groups(text: str) -> frozenset[str]:
    """Return the IRAC groups that a text names.

    Examples
    --------
    >>> [sorted(irac_groups(text)) for text in ("3A", "Group 3a + 4A", "IRAC 28", "", "none")]
    [['3A'], ['3A', '4A'], ['28'], [], []]
    """
    return frozenset(found.upper() for found in _GROUP.findall(text))


def repeats(
    treatments: pd.DataFrame, zones: Sequence[str], group: str, cutoff: date
) -> tuple[Repeat, ...]:
    """Return the zones where the planned group would follow itself, or where that is not known.

    Parameters
    ----------
    treatments
        `zone_id`, `applied_on`, `irac_group`; cultural treatments have no group and are passed by
        if `tactic` says so.
    zones
        Zones of the plan.
    group
        The planned group, as typed.
    cutoff
        Treatments later than this day are not looked at.

    Examples
    --------
    >>> log = pd.DataFrame({"zone_id": ["A", "A", "B"], "irac_group": ["28", "3A", "28"],
    ...                     "applied_on": pd.to_datetime(["2025-05-01"] + ["2026-05-01"] * 2)})
    >>> [each.zone_id for each in repeats(log, ["A", "B"], "3A", date(2026, 6, 1))]
    ['A']
    """
    past = treatments[treatments["applied_on"] <= pd.Timestamp(cutoff)]
    if "tactic" in past:
        past = past[past["tactic"].astype(str).str.lower() != "cultural"]
    found = (
        _repeat(past[past["zone_id"] == zone], str(zone), irac_groups(group)) for zone in zones
    )
    return tuple(each for each in found if each is not None)


def _repeat(past: pd.DataFrame, zone: str, planned: frozenset[str]) -> Repeat | None:
    if past.empty:
        return None
    day = past["applied_on"].max()
    texts = past.loc[past["applied_on"] == day, "irac_group"].fillna("").astype(str)
    groups = [irac_groups(text) for text in texts]
    if not planned:
        return Repeat(zone, "group_not_given", day.date())
    before = frozenset().union(*groups)
    same = planned & before
    if same:
        return Repeat(zone, "same_group", day.date(), tuple(sorted(same)))
    related = frozenset(each for each in before if _main(each) in {_main(g) for g in planned})
    if related:
        return Repeat(zone, "same_main_group", day.date(), tuple(sorted(related)))
    return None if all(groups) else Repeat(zone, "group_not_recorded", day.date())


def _main(group: str) -> str:
    return group.rstrip("ABCDEFGH") if group[0].isdigit() else group
