"""A Darwin Core archive of a site's records: an Event core with Occurrence and Humboldt rows."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from xml.etree import ElementTree as ET

from data.version import VERSION
from maps.darwin_core_rows import ArchiveChoice, ArchiveRows, Row, archive_rows
from maps.darwin_core_terms import EVENTS, FILES, ArchiveFile, Term
from maps.records import Records, short_provenance
from maps.xml_text import add_text, document, xml_text

EML = "https://eml.ecoinformatics.org/eml-2.2.0"
_TEXT = "http://rs.tdwg.org/dwc/text/"
_ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)

# Whatever some reader takes for the end of a cell or of a line.
_BREAKS = re.compile("[\t\n\r\v\f\x1c-\x1e\x85\u2028\u2029]+")
_SYMBOLS = str.maketrans("\t\n\r", "\u2409\u240a\u240d")


def darwin_core_archive(records: Records, choice: ArchiveChoice) -> bytes:
    """Return `darwin-core.zip`; the same records and choice give the same bytes.

    Parameters
    ----------
    records
        What was recorded.
    choice
        What is left out, coarsened or worded otherwise.
    """
    rows = archive_rows(records, choice)
    texts = {
        "meta.xml": meta_xml(),
        "eml.xml": eml_xml(records, rows),
        **{
            each.name: table_text(each, found)
            for each, found in zip(
                FILES, (rows.events, rows.occurrences, rows.inventories), strict=True
            )
        },
    }
    return _zipped(texts)


def table_text(file: ArchiveFile, rows: Iterable[Mapping[str, str]]) -> str:
    r"""Return one file: tab-separated, a header, a line for each row, nothing quoted.

    Raises
    ------
    KeyError
        If a row has a term that the file has not.

    Examples
    --------
    >>> from maps.darwin_core_terms import DWC
    >>> file = ArchiveFile("a.txt", DWC + "Event", (Term("eventID", "id"), Term("habitat")))
    >>> table_text(file, [{"eventID": "v/T\t1", "habitat": 'a\n"b"'}])
    'eventID\thabitat\nv/T␉1\ta "b"\n'
    """
    known = {term.name for term in file.terms}
    lines = ["\t".join(term.name for term in file.terms)]
    for row in rows:
        if stray := row.keys() - known:
            raise KeyError(f"{file.name} has no column {', '.join(sorted(stray))}")
        lines.append("\t".join(cell_text(row.get(term.name, ""), term) for term in file.terms))
    return "\n".join(lines) + "\n"


def cell_text(text: str, term: Term) -> str:
    r"""Return one cell without any character that would end it.

    Breaks become a space; in an id they become a symbol, so that two ids never fall together.

    Examples
    --------
    >>> cell_text("wet\r\nday", Term("fieldNotes"))
    'wet day'
    """
    if text.isprintable():
        return text
    if term.rule == "id":
        text = text.translate(_SYMBOLS)
    return xml_text(_BREAKS.sub(" ", text))


def meta_xml() -> str:
    """Return `meta.xml`, which says what every column of every file is (Darwin Core text guide)."""
    root = ET.Element("archive", {"xmlns": _TEXT, "metadata": "eml.xml"})
    for file in FILES:
        kind, key = ("core", "id") if file is EVENTS else ("extension", "coreid")
        element = ET.SubElement(root, kind, _layout(file))
        add_text(ET.SubElement(element, "files"), "location", file.name)
        ET.SubElement(element, key, {"index": "0"})
        for position, term in enumerate(file.terms):
            ET.SubElement(element, "field", {"index": str(position), "term": term.uri})
    return document(root)


def eml_xml(records: Records, rows: ArchiveRows) -> str:
    """Return `eml.xml` (EML 2.2.0): what the data set is about; it names no person.

    EML asks for a creator and a contact; both are the site, as an organisation.
    """
    site = records.site.settings.name
    root = ET.Element(
        "eml:eml",
        {
            "xmlns:eml": EML,
            "packageId": xml_text(f"snoutline/{site}/{records.cutoff.isoformat()}"),
            "system": "snoutline",
        },
    )
    dataset = ET.SubElement(root, "dataset")
    add_text(dataset, "title", f"Billbugs in pitfall traps, {site}, to {records.cutoff}")
    add_text(ET.SubElement(dataset, "creator"), "organizationName", site)
    add_text(dataset, "language", "en")
    _add_paragraph(dataset, "abstract", _abstract(rows))
    _add_paragraph(dataset, "additionalInfo", f"Made by snoutline {VERSION}. {_source(records)}")
    _add_paragraph(dataset, "intellectualRights", "No licence is given. Ask the site.")
    _add_coverage(dataset, rows)
    add_text(ET.SubElement(dataset, "contact"), "organizationName", site)
    return document(root)


def _layout(file: ArchiveFile) -> dict[str, str]:
    return {
        "rowType": file.row_type,
        "encoding": "UTF-8",
        "fieldsTerminatedBy": r"\t",
        "linesTerminatedBy": r"\n",
        "fieldsEnclosedBy": "",
        "ignoreHeaderLines": "1",
    }


def _abstract(rows: ArchiveRows) -> str:
    kinds = [event["eventType"] for event in rows.events]
    return (
        "Adult billbugs caught in pitfall traps in turf: "
        f"{count_of(kinds.count('trapVisit'), 'visit')} and "
        f"{count_of(kinds.count('soilCores'), 'coring')} in "
        f"{count_of(kinds.count('season'), 'season')}, with "
        f"{count_of(len(rows.occurrences), 'count')}, zeros included. "
        "A visit without an occurrence says nothing about beetles; its event tells why. "
        "A catch is activity, not density."
    )


def count_of(number: int, noun: str, plural: str = "") -> str:
    """Return a number with its noun, singular or plural.

    Examples
    --------
    >>> count_of(1, "trap"), count_of(3, "trap"), count_of(1240, "adult")
    ('1 trap', '3 traps', '1,240 adults')
    """
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def _source(records: Records) -> str:
    return f"From: {short_provenance(records)}."


def _add_paragraph(parent: ET.Element, tag: str, text: str) -> None:
    add_text(ET.SubElement(parent, tag), "para", text)


def _add_coverage(dataset: ET.Element, rows: ArchiveRows) -> None:
    coverage = ET.SubElement(dataset, "coverage")
    _add_box(coverage, rows.events)
    _add_days(coverage, rows.events)
    names = {(row.get("taxonRank", ""), row.get("scientificName", "")) for row in rows.occurrences}
    known = sorted((rank, name) for rank, name in names if name)
    if not known:
        return
    taxa = ET.SubElement(coverage, "taxonomicCoverage")
    for rank, name in known:
        taxon = ET.SubElement(taxa, "taxonomicClassification")
        add_text(taxon, "taxonRankName", rank)
        add_text(taxon, "taxonRankValue", name)


def _add_box(coverage: ET.Element, events: Sequence[Row]) -> None:
    """Add the box of the positions as they are written, which may be coarse."""
    placed = [event for event in events if event.get("decimalLatitude")]
    east = [float(event["decimalLongitude"]) for event in placed]
    north = [float(event["decimalLatitude"]) for event in placed]
    area = ET.SubElement(coverage, "geographicCoverage")
    add_text(area, "geographicDescription", placed[0]["locality"])
    box = ET.SubElement(area, "boundingCoordinates")
    for side, value in (
        ("west", min(east)),
        ("east", max(east)),
        ("north", max(north)),
        ("south", min(north)),
    ):
        add_text(box, f"{side}BoundingCoordinate", f"{value:.10g}")


def _add_days(coverage: ET.Element, events: Sequence[Row]) -> None:
    days = sorted(day for event in events for day in event["eventDate"].split("/"))
    span = ET.SubElement(ET.SubElement(coverage, "temporalCoverage"), "rangeOfDates")
    for tag, day in (("beginDate", days[0]), ("endDate", days[-1])):
        add_text(ET.SubElement(span, tag), "calendarDate", day)


def _zipped(texts: Mapping[str, str]) -> bytes:
    """Return a zip archive without the time, the machine or the order of the day in it."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, text in texts.items():
            member = zipfile.ZipInfo(name, _ZIP_EPOCH)
            member.compress_type = zipfile.ZIP_DEFLATED
            member.create_system = 3
            member.external_attr = 0o644 << 16
            archive.writestr(member, text.encode("utf-8"))
    return buffer.getvalue()
