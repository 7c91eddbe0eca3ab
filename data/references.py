"""Checking that names agree across tables: zones, designs, and the places of moved traps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from data.checks import Check, Draft, Fault, findings_at, quoted, rows_of
from data.findings import Finding
from data.ids import unknown_fix
from data.schemas import SITE_FILE
from data.settings import DesignSettings
from data.suggestions import did_you_mean
from data.toml_text import toml_key
from data.traps import locations


@dataclass(frozen=True, slots=True)
class KnownZones:
    """What rows that name a zone are checked against.

    Parameters
    ----------
    ids
        Every zone id in the file of zones, also of rows set aside; empty when it was not readable.
    sound
        The ids of the rows that are used.
    file
        Name of the file of zones, for messages.
    """

    ids: frozenset[str]
    sound: frozenset[str]
    file: str


def zone_checks(zones: KnownZones) -> list[Check]:
    """Return the checks that the `zone_id` of each row is a zone of the site."""

    def unknown(draft: Draft) -> list[Finding]:
        return _unknown_zone(draft, zones) if zones.ids else []

    def orphan(draft: Draft) -> list[Finding]:
        return _zone_set_aside(draft, zones) if zones.ids else []

    return [unknown, orphan]


def _unknown_zone(draft: Draft, zones: KnownZones) -> list[Finding]:
    ids = draft.typed["zone_id"]
    unknown = (ids != "") & ~ids.isin(zones.ids)
    fault = Fault(
        "IN-043",
        unknown,
        lambda cell: f"zone {quoted(cell)} is not in {zones.file}",
        unknown_fix(draft.text["zone_id"][unknown], zones.ids, zones.file),
        "zone_id",
    )
    return findings_at(draft, fault)


def _zone_set_aside(draft: Draft, zones: KnownZones) -> list[Finding]:
    ids = draft.typed["zone_id"]
    fault = Fault(
        "IN-044",
        ids.isin(zones.ids) & ~ids.isin(zones.sound),
        lambda cell: f"zone {quoted(cell)} was set aside",
        f"mend its row in {zones.file}",
        "zone_id",
    )
    return findings_at(draft, fault)


def unused_designs(designs: Iterable[DesignSettings], traps: Draft) -> list[Finding]:
    """Report each design of `site.toml` that no row of the traps has, set aside or not.

    Examples
    --------
    >>> import pandas as pd
    >>> typed = pd.DataFrame({"design": ["cup", "linear"]}, index=[2, 3])
    >>> draft = Draft("traps.csv", typed, typed, {})
    >>> print(unused_designs([DesignSettings("cup"), DesignSettings("linaer")], draft)[0])
    site.toml: no trap has the design of [designs.linaer]; did you mean 'linear'? [IN-098]
    """
    there = set(traps.typed["design"]) - {""}
    declared = [design.name for design in designs]
    likely = there.difference(declared) or there
    return [
        Finding(
            "IN-098",
            SITE_FILE,
            f"no trap has the design of [designs.{toml_key(name)}]",
            did_you_mean(name, likely, "mend its name, or delete it"),
            severity="warning",
        )
        for name in declared
        if there and name not in there
    ]


def trap_named_as_place(traps: Draft) -> list[Finding]:
    """Report a trap whose own name is what the place of a moved trap is called, e.g. T07/1."""
    places = locations(traps)
    twice = places[places["location_id"].duplicated(keep=False)]
    alone = twice[twice["location_id"] == twice["trap_id"]]
    fault = Fault(
        "IN-099",
        rows_of(traps, alone.index),
        lambda cell: f"{quoted(cell)} is also the name of a place of a trap that moved",
        "rename this trap; places of a moved trap are numbered after a slash",
        "trap_id",
    )
    return findings_at(traps, fault)
