"""A site's records as rows of Darwin Core terms: events, occurrences and inventories.

The season is the parent event; each visit of a trap and each coring of a zone is an event of its
own. Each count is an occurrence, zeros included. A visit that says nothing about beetles (flooded,
missing, ...) has no occurrence, and its event says why.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from data.site import Site
from maps.exports import WGS84, number_text
from maps.records import Records, day_text
from spatial.assign import assign_zones
from spatial.cores import core_area_cm2
from spatial.seasons import season_bounds

AbsenceWord = Literal["notDetected", "absent"]
Row = dict[str, str]
_Record = Mapping[Hashable, Any]

PRESENCE_WORDS: Mapping[AbsenceWord, str] = {"notDetected": "detected", "absent": "present"}
"""The word for "found" of the vocabulary that each word for "not found" belongs to."""

POSITION_UNCERTAINTY_M = 30.0
"""What Darwin Core takes for a GPS position whose accuracy was not noted (after May 2000)."""

GENUS = "Sphenophorus"

_LIST = " | "
_CM_PER_INCH = 2.54
_CM2_PER_M2 = 1e4
_WORD = r"[a-z-]{3,}"
_AUTHOR = r"(?: [A-Z(].*)?"
_BINOMIAL = re.compile(rf"(?P<scientificName>[A-Z][a-z-]+ {_WORD}{_AUTHOR})")

_RANKS = (
    ("family", re.compile(r"(?P<scientificName>[A-Z][a-z]+idae)")),
    ("genus", re.compile(r"(?P<scientificName>[A-Z][a-z-]+) (?:spp?|indet)\.?")),
    (
        "genus",
        re.compile(
            r"(?P<scientificName>[A-Z][a-z-]+) (?P<identificationQualifier>(?:cf|aff|nr)\.? .+)"
        ),
    ),
    ("genus", re.compile(rf"(?P<scientificName>{GENUS})")),
    ("species", _BINOMIAL),
    ("subspecies", re.compile(rf"(?P<scientificName>[A-Z][a-z-]+ {_WORD} {_WORD}{_AUTHOR})")),
)
"""Rank -> how a name of it is written; the first that fits is taken."""


@dataclass(frozen=True, slots=True)
class ArchiveChoice:
    """What the person who shares an archive decides.

    Parameters
    ----------
    coarsen_m
        Side of the grid to whose cell centres positions are moved, in metres; 0 keeps them.
    absence_word
        Word for a count of zero. ``"notDetected"`` is that of the vocabulary since 2026-05-26,
        ``"absent"`` the one before, which older programs expect.
    notes
        Whether the free-text notes go in; they may name people.
    """

    coarsen_m: float = 0.0
    absence_word: AbsenceWord = "notDetected"
    notes: bool = False


@dataclass(frozen=True, slots=True)
class ArchiveRows:
    """The rows of the three files, each a mapping of term to text, blanks left out."""

    events: list[Row]
    occurrences: list[Row]
    inventories: list[Row]


@dataclass(frozen=True, slots=True)
class _Count:
    """One count of one visit."""

    taxon: str
    quantity: int
    target: bool


@dataclass(frozen=True, slots=True)
class _Facts:
    """What the rows of all visits share."""

    site: Site
    choice: ArchiveChoice
    targets: tuple[str, ...]
    places: Mapping[str, Row]
    habitats: Mapping[str, str]
    traps: Mapping[str, _Record]
    counts: Mapping[str, list[_Count]]


def archive_rows(records: Records, choice: ArchiveChoice) -> ArchiveRows:
    """Return all rows, sorted: the seasons, then the visits, then the corings.

    Parameters
    ----------
    records
        What was recorded.
    choice
        What is left out, coarsened or worded otherwise.
    """
    site = records.site
    facts = _facts(site, choice)
    rows = ArchiveRows([], [], [])
    for visit in site.visits.to_dict("records"):
        _add_visit(rows, visit, facts)
    _add_corings(rows, facts)
    parents = _seasons(rows, records, facts)
    return ArchiveRows(
        [event for event, _ in parents] + rows.events,
        rows.occurrences,
        [inventory for _, inventory in parents] + rows.inventories,
    )


def taxon_terms(name: str, *, is_group: bool = False) -> Row:
    """Return the terms of a name as it was typed; nothing is made up for it.

    Parameters
    ----------
    name
        Name of a species, genus or by-catch group.
    is_group
        Whether it heads a by-catch column, where it is a word of everyday language.

    Examples
    --------
    >>> taxon_terms("Sphenophorus venatus vestitus")["taxonRank"]
    'subspecies'
    >>> row = taxon_terms("Sphenophorus cf. parvulus")
    >>> row["scientificName"], row["taxonRank"], row["identificationQualifier"]
    ('Sphenophorus', 'genus', 'cf. parvulus')
    >>> taxon_terms("ground beetles", is_group=True)
    {'verbatimIdentification': 'ground beetles', 'vernacularName': 'ground beetles'}
    """
    row = {"verbatimIdentification": name}
    for rank, pattern in _RANKS:
        found = pattern.fullmatch(name)
        if found is not None and (rank == "family" or not is_group):
            return {**row, "taxonRank": rank, **found.groupdict()}
    return {**row, "vernacularName": name}


def coarsened(points: gpd.GeoSeries, side_m: float) -> gpd.GeoSeries:
    """Move points to the centres of the cells of a square grid that starts at the CRS's origin.

    Examples
    --------
    >>> points = gpd.GeoSeries.from_xy([1234.0, 1266.0], [99.0, 101.0], crs="EPSG:32623")
    >>> [(p.x, p.y) for p in coarsened(points, 100)]
    [(1250.0, 50.0), (1250.0, 150.0)]
    """
    if side_m <= 0:
        return points
    x, y = ((np.floor(axis / side_m) + 0.5) * side_m for axis in (points.x, points.y))
    return gpd.GeoSeries.from_xy(x, y, index=points.index, crs=points.crs)


def places(points: gpd.GeoSeries, uncertainty_m: Iterable[float], coarsen_m: float) -> list[Row]:
    """Return the position terms of points.

    Parameters
    ----------
    points
        In a CRS in metres.
    uncertainty_m
        Radius around each point that surely holds the true place, before coarsening.
    coarsen_m
        See `ArchiveChoice`; half the diagonal of a cell is added to the uncertainty.
    """
    degrees = coarsened(points, coarsen_m).to_crs(WGS84)
    decimals = 5 if coarsen_m > 0 else 7
    # A coarse position is written with five decimals, 1 m, which the radius must cover too.
    more = coarsen_m * math.sqrt(0.5) + 1 if coarsen_m > 0 else 0.0
    said = generalization(coarsen_m, str(points.crs))
    return [
        {
            "decimalLatitude": number_text(y, decimals),
            "decimalLongitude": number_text(x, decimals),
            "geodeticDatum": WGS84,
            "coordinateUncertaintyInMeters": str(math.ceil(max(radius, 1.0) + more)),
            **said,
        }
        for x, y, radius in zip(degrees.x, degrees.y, uncertainty_m, strict=True)
    ]


def generalization(coarsen_m: float, crs: str) -> Row:
    """Say how positions were coarsened; nothing when they were not.

    Examples
    --------
    >>> generalization(100, "EPSG:32623")["dataGeneralizations"]
    'positions moved to the centres of a 100 m grid in EPSG:32623; outlines left out'
    """
    if coarsen_m <= 0:
        return {}
    text = f"positions moved to the centres of a {coarsen_m:g} m grid in {crs}; outlines left out"
    return {"dataGeneralizations": text}


def common_genus(targets: Collection[str]) -> str:
    """Return the genus of all targets, and *Sphenophorus* when they do not share one.

    Examples
    --------
    >>> common_genus(["Sphenophorus parvulus", "Sphenophorus venatus"])
    'Sphenophorus'
    """
    genera = {name.split()[0] for name in targets if _BINOMIAL.fullmatch(name)}
    return genera.pop() if len(genera) == 1 else GENUS


def _facts(site: Site, choice: ArchiveChoice) -> _Facts:
    traps = site.traps
    found = places(traps.geometry, [POSITION_UNCERTAINTY_M] * len(traps), choice.coarsen_m)
    zones = assign_zones(traps, site.zones, site.settings.network.near_m)["zone_id"]
    uses = zones.map(dict(zip(site.zones["zone_id"], site.zones["use"], strict=True)))
    names = traps["location_id"]
    seen = tuple(sorted(set(site.catches["species"])))
    return _Facts(
        site,
        choice,
        site.settings.target_species or seen or (GENUS,),
        dict(zip(names, found, strict=True)),
        dict(zip(names, uses.fillna("").astype(str), strict=True)),
        dict(zip(names, traps[["design", "slot_m"]].to_dict("records"), strict=True)),
        _counts(site),
    )


def _counts(site: Site) -> dict[str, list[_Count]]:
    counts: dict[str, list[_Count]] = defaultdict(list)
    for table, target in ((site.catches, True), (site.bycatch, False)):
        for visit, taxon, count in table.itertuples(index=False, name=None):
            counts[visit].append(_Count(taxon, int(count), target))
    return counts


def _add_visit(rows: ArchiveRows, visit: _Record, facts: _Facts) -> None:
    nights = (visit["checked_on"] - visit["set_on"]).days
    event = {
        "eventID": f"visit/{visit['visit_id']}",
        "parentEventID": _season_id(visit["checked_on"], facts.site),
        "eventType": "trapVisit",
        "fieldNumber": visit["trap_id"],
        **_interval(visit["set_on"], visit["checked_on"]),
        "habitat": facts.habitats[visit["location_id"]],
        **_trap_protocol(visit, nights, facts),
        "eventRemarks": _status_remark(visit["status"]),
        "fieldNotes": visit["note"] if facts.choice.notes else "",
        "locationID": f"trap/{visit['location_id']}",
        "locality": facts.site.settings.name,
        **facts.places[visit["location_id"]],
    }
    counts = _said(visit, facts)
    rows.events.append(event)
    rows.occurrences.extend(_visit_occurrence(event, each, facts) for each in counts)
    rows.inventories.append(_visit_inventory(event, visit["status"], nights, counts, facts))


def _said(visit: _Record, facts: _Facts) -> list[_Count]:
    """Return the counts of a visit; none was typed but 0 adults: a zero for each target."""
    counts = facts.counts.get(visit["visit_id"], [])
    if visit["status"] != "ok" or any(each.target for each in counts):
        return counts
    return [*(_Count(name, 0, target=True) for name in facts.targets), *counts]


def _status_remark(status: str) -> str:
    return "status ok" if status == "ok" else f"status {status}: no count, which is not a zero"


def _trap_protocol(visit: _Record, nights: int, facts: _Facts) -> Row:
    trap = facts.traps[visit["location_id"]]
    ok = visit["status"] == "ok"
    minutes, slot_m = float(visit["minutes"]), float(trap["slot_m"])
    effort = [
        f"{nights} trap-nights" if ok else "",
        "" if math.isnan(minutes) else f"{minutes:.10g} minutes",
    ]
    size: Row = {}
    if slot_m > 0:
        size = {"sampleSizeValue": f"{slot_m:.10g}", "sampleSizeUnit": "metre"}
    elif ok:
        size = {"sampleSizeValue": str(nights), "sampleSizeUnit": "day"}
    return {
        "samplingProtocol": f"pitfall trap, {trap['design']}",
        **size,
        "samplingEffort": "; ".join(each for each in effort if each),
    }


def _visit_occurrence(event: Row, count: _Count, facts: _Facts) -> Row:
    is_group = count.taxon in facts.site.settings.bycatch_columns and not count.target
    kind = "catch" if count.target else "bycatch"
    return {
        **_occurrence(event["eventID"], f"{kind}/{count.taxon}", count.quantity, facts),
        **taxon_terms(count.taxon, is_group=is_group),
        "lifeStage": "" if is_group else "adult",
        "occurrenceRemarks": "" if count.target else "by-catch",
    }


def _occurrence(event_id: str, name: str, quantity: int, facts: _Facts) -> Row:
    word = facts.choice.absence_word
    return {
        "eventID": event_id,
        "occurrenceID": f"{event_id}/{name}",
        "basisOfRecord": "HumanObservation",
        "occurrenceStatus": PRESENCE_WORDS[word] if quantity else word,
        "organismQuantity": str(quantity),
        "organismQuantityType": "individuals",
        "individualCount": str(quantity),
    }


def _visit_inventory(
    event: Row, status: str, nights: int, counts: list[_Count], facts: _Facts
) -> Row:
    shared = {
        "eventID": event["eventID"],
        "siteCount": "1",
        "verbatimSiteNames": event["locationID"].removeprefix("trap/"),
        "targetHabitatScope": event["habitat"],
        "eventDurationValue": str(nights),
        "eventDurationUnit": "days",
        **_scope(facts.targets, "adult"),
        "protocolNames": "pitfallTrapping",
    }
    if status != "ok":
        said = f"trap {status}".replace("_", " ")
        return {**shared, "isSamplingEffortReported": "false", "reportedExtremeConditions": said}
    return {
        **shared,
        **_reported(counts, facts.targets),
        "isSamplingEffortReported": "true",
        "samplingEffortValue": str(nights),
        "samplingEffortUnit": "trapDays",
    }


def _scope(targets: Iterable[str], stages: str) -> Row:
    return {
        "targetTaxonomicScope": _LIST.join(targets),
        "targetLifeStageScope": stages,
        "inventoryTypes": "restrictedSearch",
    }


def _reported(counts: list[_Count], targets: Collection[str]) -> Row:
    """Return what an inventory with counts says about its own completeness."""
    absent = [each.taxon for each in counts if each.target and not each.quantity]
    others = [each.taxon for each in counts if not each.target and each.quantity]
    counted = {each.taxon for each in counts}
    return {
        "isTaxonomicScopeFullyReported": _truth(counted.issuperset(targets)),
        "isAbsenceReported": _truth(bool(absent)),
        "absentTaxa": _LIST.join(absent),
        "hasNonTargetTaxa": _truth(bool(others)),
        "nonTargetTaxa": _LIST.join(others),
        # Only the groups that the site counts are there, never all that fell in.
        "areNonTargetTaxaFullyReported": "false",
        "isAbundanceReported": "true",
        "isAbundanceCapReported": "false",
        # A row of a genus holds what was not named further, not the sum of its species.
        "isLeastSpecificTargetCategoryQuantityInclusive": "false",
    }


def _truth(value: bool) -> str:
    return "true" if value else "false"


def _interval(first: pd.Timestamp, last: pd.Timestamp) -> Row:
    return {
        "eventDate": f"{day_text(first)}/{day_text(last)}",
        "startDayOfYear": str(first.day_of_year),
        "endDayOfYear": str(last.day_of_year),
        "year": str(first.year) if first.year == last.year else "",
    }


def _season_id(day: pd.Timestamp, site: Site) -> str:
    first, _ = season_bounds(day.date(), site.settings.season)
    return f"season/{first.isoformat()}"


def _add_corings(rows: ArchiveRows, facts: _Facts) -> None:
    cores = facts.site.cores
    zones = facts.site.zones.set_index("zone_id")
    numbers = cores.groupby(["zone_id", "sampled_on"]).cumcount() + 1
    for core, number in zip(cores.to_dict("records"), numbers, strict=True):
        event = _core_event(core, int(number), zones, facts)
        counts = {stage: core[key] for stage, key in (("larva", "larvae"), ("pupa", "pupae"))}
        known = {stage: int(value) for stage, value in counts.items() if not pd.isna(value)}
        rows.events.append(event)
        rows.occurrences.extend(
            _core_occurrence(event["eventID"], stage, count, facts)
            for stage, count in known.items()
        )
        rows.inventories.append(_core_inventory(event, core, known, facts))


def _core_event(core: _Record, number: int, zones: gpd.GeoDataFrame, facts: _Facts) -> Row:
    day, diameter = core["sampled_on"], core["diameter_cm"]
    return {
        "eventID": f"cores/{core['zone_id']}/{day_text(day)}/{number}",
        "parentEventID": _season_id(day, facts.site),
        "eventType": "soilCores",
        **_interval(day, day),
        "habitat": str(zones.loc[core["zone_id"], "use"]),
        "samplingProtocol": f"soil core, {diameter:.10g} cm ({diameter / _CM_PER_INCH:.4g} in)",
        "sampleSizeValue": _cored_m2(core),
        "sampleSizeUnit": "square metre",
        "samplingEffort": f"{int(core['cores'])} cores",
        "locationID": f"zone/{core['zone_id']}",
        "locality": facts.site.settings.name,
        **_zone_place(zones.loc[[core["zone_id"]]], facts.choice.coarsen_m),
    }


def _cored_m2(core: _Record) -> str:
    area = core["cores"] * core_area_cm2(core["diameter_cm"]) / _CM2_PER_M2
    return f"{area:.5g}"


def _zone_place(zone: gpd.GeoDataFrame, coarsen_m: float) -> Row:
    """Return a point inside a zone, the radius around it that holds the zone, and its outline."""
    point = zone.geometry.representative_point()
    corners = shapely.get_coordinates(zone.geometry.iloc[0])
    radius = float(np.hypot(*(corners - [point.x.iloc[0], point.y.iloc[0]]).T).max())
    place = places(point, [radius], coarsen_m)[0]
    if coarsen_m > 0:
        return place
    outline = zone.geometry.to_crs(WGS84).iloc[0]
    wkt = shapely.to_wkt(outline, rounding_precision=7)
    return {**place, "footprintWKT": wkt, "footprintSRS": WGS84}


def _core_occurrence(event_id: str, stage: str, count: int, facts: _Facts) -> Row:
    return {
        **_occurrence(event_id, stage, count, facts),
        **taxon_terms(f"{common_genus(facts.targets)} sp."),
        "lifeStage": stage,
    }


def _core_inventory(event: Row, core: _Record, counts: Mapping[str, int], facts: _Facts) -> Row:
    genus = common_genus(facts.targets)
    return {
        "eventID": event["eventID"],
        "siteCount": "1",
        "verbatimSiteNames": event["locationID"].removeprefix("zone/"),
        "targetHabitatScope": event["habitat"],
        **_scope([genus], _LIST.join(counts)),
        "isTaxonomicScopeFullyReported": "true",
        "isAbsenceReported": _truth(not any(counts.values())),
        "absentTaxa": "" if any(counts.values()) else genus,
        "isAbundanceReported": "true",
        "isAbundanceCapReported": "false",
        "protocolNames": "soilCoring",
        "isSamplingEffortReported": "true",
        "samplingEffortValue": str(int(core["cores"])),
        "samplingEffortUnit": "cores",
        "totalAreaSampledValue": event["sampleSizeValue"],
        "totalAreaSampledUnit": event["sampleSizeUnit"],
    }


def _seasons(rows: ArchiveRows, records: Records, facts: _Facts) -> list[tuple[Row, Row]]:
    """Return event and inventory of each season that has an event, in order."""
    children: dict[str, list[Row]] = defaultdict(list)
    for event in rows.events:
        children[event["parentEventID"]].append(event)
    return [_season(name, children[name], records, facts) for name in sorted(children)]


def _season(name: str, events: list[Row], records: Records, facts: _Facts) -> tuple[Row, Row]:
    days = [pd.Timestamp(day) for event in events for day in event["eventDate"].split("/")]
    sites = {event["locationID"] for event in events}
    uses = sorted({event["habitat"] for event in events} - {""})
    coarse = generalization(facts.choice.coarsen_m, str(facts.site.traps.crs))
    event = {
        "eventID": name,
        "eventType": "season",
        **_interval(min(days), max(days)),
        "eventRemarks": f"one season of the site, data up to {records.cutoff.isoformat()}",
        "locality": facts.site.settings.name,
        **coarse,
    }
    inventory = {
        "eventID": name,
        "siteCount": str(len(sites)),
        "verbatimSiteNames": facts.site.settings.name,
        "targetHabitatScope": _LIST.join(uses),
        **_scope(facts.targets, ""),
    }
    return event, inventory
