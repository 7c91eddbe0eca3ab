"""Checking that rows name zones that exist."""

from __future__ import annotations

from dataclasses import dataclass

from data.checks import Check, Draft, Fault, findings_at, quoted
from data.findings import Finding
from data.ids import unknown_fix


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
    fault = Fault(
        "IN-043",
        (ids != "") & ~ids.isin(zones.ids),
        lambda cell: f"zone {quoted(cell)} is not in {zones.file}",
        lambda cell: unknown_fix(cell, zones.ids, zones.file),
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
