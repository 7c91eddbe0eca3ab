"""The Darwin Core and Humboldt terms that the archive uses, each with the rule of its values.

Names and rules: Darwin Core (https://dwc.tdwg.org/terms/, term list of August 2026) and the
Humboldt Extension for ecological inventories (https://eco.tdwg.org/terms/, 2025-07-10). The rules
are those of the definitions; where the archive keeps a narrower one, the note beside it says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

DWC = "http://rs.tdwg.org/dwc/terms/"
ECO = "http://rs.tdwg.org/eco/terms/"

Rule = Literal["text", "id", "words", "days", "whole", "number", "above zero", "true/false"]
"""What a value may be, blank apart: `days` is an ISO 8601 interval of two days, `words` one of a
closed list, `whole` a whole number from 0, `above zero` a number greater than 0."""


@dataclass(frozen=True, slots=True)
class Term:
    """One term, a column of a file of the archive.

    Parameters
    ----------
    name
        Local name, the column's header.
    rule
        What its values may be.
    namespace
        `DWC` or `ECO`.
    needed
        Whether every row has a value.
    words
        Allowed values of a `words` term, as this archive writes them.

    Examples
    --------
    >>> Term("eventID", "id").uri
    'http://rs.tdwg.org/dwc/terms/eventID'
    """

    name: str
    rule: Rule = "text"
    namespace: str = DWC
    needed: bool = False
    words: tuple[str, ...] = ()

    @property
    def uri(self) -> str:
        """The term's identifier."""
        return self.namespace + self.name


@dataclass(frozen=True, slots=True)
class ArchiveFile:
    """One file of the archive.

    Parameters
    ----------
    name
        File name.
    row_type
        Identifier of the class that a row is about.
    terms
        Its columns; the first one, `eventID`, ties the row to its event.
    """

    name: str
    row_type: str
    terms: tuple[Term, ...]


def _eco(name: str, rule: Rule = "text", words: tuple[str, ...] = ()) -> Term:
    return Term(name, rule, ECO, words=words)


_EVENT_ID = Term("eventID", "id", needed=True)

EVENTS = ArchiveFile(
    "event.txt",
    DWC + "Event",
    (
        _EVENT_ID,
        Term("parentEventID", "id"),
        Term("eventType", "words", needed=True, words=("season", "trapVisit", "soilCores")),
        Term("fieldNumber"),
        Term("eventDate", "days", needed=True),
        # Both are 1 to 366; the year is blank where an event crosses New Year.
        Term("startDayOfYear", "whole", needed=True),
        Term("endDayOfYear", "whole", needed=True),
        Term("year", "whole"),
        Term("habitat"),
        Term("samplingProtocol"),
        Term("sampleSizeValue", "above zero"),
        Term("sampleSizeUnit"),
        Term("samplingEffort"),
        Term("eventRemarks"),
        Term("fieldNotes"),
        Term("locationID", "id"),
        Term("locality"),
        Term("decimalLatitude", "number"),
        Term("decimalLongitude", "number"),
        Term("geodeticDatum", "words", words=("EPSG:4326",)),
        Term("coordinateUncertaintyInMeters", "above zero"),
        Term("footprintWKT"),
        Term("footprintSRS", "words", words=("EPSG:4326",)),
        Term("dataGeneralizations"),
    ),
)
"""The core: a parent event for each season, and one event for each visit and each coring."""

OCCURRENCES = ArchiveFile(
    "occurrence.txt",
    DWC + "Occurrence",
    (
        _EVENT_ID,
        Term("occurrenceID", "id", needed=True),
        Term("basisOfRecord", "words", needed=True, words=("HumanObservation",)),
        Term(
            "occurrenceStatus",
            "words",
            needed=True,
            words=("detected", "notDetected", "present", "absent"),
        ),
        # Blank for a by-catch group that the site does not give a scientific name.
        Term("scientificName"),
        Term("taxonRank", "words", words=("subspecies", "species", "genus", "family")),
        Term("identificationQualifier"),
        Term("verbatimIdentification", needed=True),
        Term("vernacularName"),
        Term("organismQuantity", "whole", needed=True),
        Term("organismQuantityType", "words", needed=True, words=("individuals",)),
        Term("individualCount", "whole", needed=True),
        Term("lifeStage", "words", words=("adult", "larva", "pupa")),
        Term("occurrenceRemarks"),
    ),
)
"""An extension: one row for each count, zeros included."""

HUMBOLDT = ArchiveFile(
    "humboldt.txt",
    ECO + "Event",
    (
        _EVENT_ID,
        _eco("siteCount", "whole"),
        _eco("verbatimSiteNames"),
        _eco("targetHabitatScope"),
        _eco("eventDurationValue", "above zero"),
        _eco("eventDurationUnit", "words", words=("days",)),
        _eco("targetTaxonomicScope"),
        _eco("isTaxonomicScopeFullyReported", "true/false"),
        _eco("isAbsenceReported", "true/false"),
        _eco("absentTaxa"),
        _eco("hasNonTargetTaxa", "true/false"),
        _eco("nonTargetTaxa"),
        _eco("areNonTargetTaxaFullyReported", "true/false"),
        _eco("targetLifeStageScope"),
        _eco("isAbundanceReported", "true/false"),
        _eco("isAbundanceCapReported", "true/false"),
        _eco("isLeastSpecificTargetCategoryQuantityInclusive", "true/false"),
        _eco("inventoryTypes", "words", words=("restrictedSearch",)),
        _eco("protocolNames"),
        _eco("isSamplingEffortReported", "true/false"),
        _eco("samplingEffortValue", "above zero"),
        _eco("samplingEffortUnit", "words", words=("trapDays", "cores")),
        _eco("totalAreaSampledValue", "above zero"),
        _eco("totalAreaSampledUnit", "words", words=("square metre",)),
        _eco("reportedExtremeConditions"),
    ),
)
"""An extension: how the inventory of each event was made, one row for each event."""

FILES = (EVENTS, OCCURRENCES, HUMBOLDT)

PAIRS = (
    ("sampleSizeValue", "sampleSizeUnit"),
    ("decimalLatitude", "decimalLongitude"),
    ("decimalLatitude", "geodeticDatum"),
    ("decimalLatitude", "coordinateUncertaintyInMeters"),
    ("footprintWKT", "footprintSRS"),
    ("organismQuantity", "organismQuantityType"),
    ("eventDurationValue", "eventDurationUnit"),
    ("samplingEffortValue", "samplingEffortUnit"),
    ("totalAreaSampledValue", "totalAreaSampledUnit"),
)
"""Terms of which a row has both or neither."""
