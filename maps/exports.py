"""The week's tables and suggested traps as files for other programs."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Iterable, Sequence
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd

from data.version import VERSION
from maps.columns import SUGGESTIONS, TRAPS, ZONES, Column
from maps.decision_words import next_steps
from maps.language_file import english
from maps.words import suggestion_sentence
from maps.xml_text import add_text
from spatial.results import Analysis

ACRES_PER_HA = 1e4 / 4046.8564224
"""International acre, 4046.8564224 m2 exactly (NIST SP 811, appendix B.8)."""

WGS84 = "EPSG:4326"

# What spreadsheets take for the start of a formula, full-width forms included, and the
# apostrophe itself, so that removing one leading apostrophe always restores the text.
_FORMULA_STARTS = tuple("=+-@\t\r\n'\uff1d\uff0b\uff0d\uff20")

# Texts that a spreadsheet would turn into another number, a date or a truth value.
_MISREAD_ID = re.compile(
    r"""
    0\d+(\.\d*)?                             # 007
    | \d{16,}                                # more digits than a spreadsheet keeps
    | \d*\.\d*                               # 7.10
    | \d+(\.\d*)?e[+-]?\d+                   # 1E5
    | \d{1,4}[-/.: ]\d{1,4}([-/.: ]\d{1,4})? # 7/1, 2-3, 12:30
    | (\d{1,4}[-/. ]?)?                     # MAR1, 1-Dec, march
      (jan(uary)?|feb(ruary)?|mar(ch)?|apr(il)?|may|june?|july?|aug(ust)?|sept?(ember)?
      |oct(ober)?|nov(ember)?|dec(ember)?)[-/. ]?\d{0,4}
    | true | false
    """,
    re.IGNORECASE | re.VERBOSE | re.ASCII,
)


def zones_csv(analysis: Analysis) -> str:
    """Return `zones.csv`: one row per zone, columns `maps.columns.ZONES`."""
    zones = pd.DataFrame(analysis.zones.drop(columns="geometry"))
    lang = english()
    steps = [" ".join(next_steps(each, lang)) for each in analysis.decisions]
    zones = zones.assign(
        area_acres=zones["area_ha"] * ACRES_PER_HA,
        next_step=steps if analysis.judged else "",
        **_stamp(analysis),
    )
    return csv_text(zones, ZONES)


def traps_csv(analysis: Analysis) -> str:
    """Return `traps.csv`: one row per trap location, columns `maps.columns.TRAPS`."""
    traps = pd.DataFrame(analysis.traps.drop(columns="geometry"))
    places = analysis.traps.geometry
    degrees = places.to_crs(WGS84)
    traps = traps.assign(
        longitude=degrees.x,
        latitude=degrees.y,
        easting_m=places.x,
        northing_m=places.y,
        **_stamp(analysis),
    )
    return csv_text(traps, TRAPS)


def suggested_traps_geojson(analysis: Analysis) -> str:
    """Return `suggested-traps.geojson` (RFC 7946): points in WGS 84 with at most 7 decimals."""
    document = {
        "type": "FeatureCollection",
        "provenance": provenance_facts(analysis),
        "features": [_feature(each) for each in _suggestions(analysis)],
    }
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def suggested_traps_gpx(analysis: Analysis) -> str:
    """Return `suggested-traps.gpx` (GPX 1.1): one waypoint per place, for a hand-held receiver."""
    facts = provenance_facts(analysis)
    root = ET.Element(
        "gpx",
        {
            "version": "1.1",
            "creator": f"snoutline {facts['snoutline']}",
            "xmlns": "http://www.topografix.com/GPX/1/1",
        },
    )
    about = ET.SubElement(root, "metadata")
    add_text(about, "name", f"Suggested traps, {facts['site']}, {facts['week']}")
    add_text(about, "desc", "; ".join(f"{key} {value}" for key, value in facts.items()))
    for suggestion in _suggestions(analysis):
        _add_waypoint(root, suggestion)
    ET.indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, "unicode") + "\n"


def csv_text(table: pd.DataFrame, columns: Sequence[Column]) -> str:
    r"""Return a table as CSV text with `\n` line ends that a spreadsheet opens unharmed.

    Parameters
    ----------
    table
        Holds every one of `columns`; others are left out.
    columns
        Columns to write, in order.

    Raises
    ------
    KeyError
        If a column is missing.

    Examples
    --------
    >>> rate = Column("rate", "adults per trap-week", "Catch rate.", 3)
    >>> name = Column("name", "text", "Name.")
    >>> table = pd.DataFrame({"name": ["=1+1", "pond"], "rate": [-1.5, float("nan")]})
    >>> print(csv_text(table, [name, rate]))
    name,rate
    '=1+1,-1.500
    pond,
    <BLANKLINE>
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([each.name for each in columns])
    cells = [[cell(value, each) for value in table[each.name]] for each in columns]
    writer.writerows(zip(*cells, strict=True))
    return text.getvalue()


def cell(value: object, column: Column) -> str:
    """Return one cell of a CSV file.

    Examples
    --------
    >>> trap = Column("trap_id", "id", "The trap.", is_id=True)
    >>> [cell(each, trap) for each in ("T07", "007", "7/1", "12", "-4", None)]
    ['T07', "'007", "'7/1", '12', "'-4", '']
    >>> [cell(each, Column("area_ha", "ha", "Area.", 2)) for each in (1, 2.345, -0.001)]
    ['1.00', '2.35', '0.00']
    >>> cell(True, Column("in_use", "true/false", "Still there."))
    'true'
    """
    if is_missing(value) or value in (math.inf, -math.inf):
        return ""
    if column.decimals is not None:
        return number_text(float(str(value)), column.decimals)
    text = str(value)
    if column.unit == "true/false":
        return text.lower()
    return quoted_text(text, is_id=column.is_id)


def is_missing(value: object) -> bool:
    """Return whether a value of a table stands for "not known"."""
    if isinstance(value, float):
        return math.isnan(value)
    return value is None or value is pd.NA or value is pd.NaT


def number_text(number: float, decimals: int) -> str:
    """Return a number with so many decimals; zero never carries a minus sign."""
    text = f"{number:.{decimals}f}"
    return text.removeprefix("-") if not text.strip("-0.") else text


def quoted_text(text: str, *, is_id: bool = False) -> str:
    """Return text with a leading apostrophe if a spreadsheet would not show it as it is.

    Removing one leading apostrophe restores the text.
    """
    misread = is_id and _MISREAD_ID.fullmatch(text.strip())
    return f"'{text}" if misread or text.startswith(_FORMULA_STARTS) else text


def rounded(value: object, decimals: int | None) -> object:
    """Return a value that JSON can hold: numbers rounded, missing and infinite ones as None.

    Examples
    --------
    >>> [rounded(each, 1) for each in (1.26, float("nan"), float("inf"))]
    [1.3, None, None]
    >>> rounded("R1", None)
    'R1'
    """
    if is_missing(value):
        return None
    if decimals is None:
        return str(value)
    number = float(str(value))
    if not math.isfinite(number):
        return None
    # Adding 0.0 turns a negative zero into zero.
    return round(number) if decimals == 0 else round(number, decimals) + 0.0


def _stamp(analysis: Analysis) -> dict[str, str]:
    return {"week": analysis.season.week, "cutoff": analysis.season.cutoff.isoformat()}


def provenance_facts(analysis: Analysis) -> dict[str, object]:
    """Return where the figures of a file come from."""
    return {
        "site": analysis.site.settings.name,
        **_stamp(analysis),
        "traps": int(analysis.traps["in_use"].sum()),
        "nights": rounded(analysis.traps["nights"].sum(), 1),
        "seed": analysis.seed,
        "permutations": analysis.permutations,
        "snoutline": VERSION,
    }


def _suggestions(analysis: Analysis) -> Iterable[dict[str, object]]:
    """Yield each suggestion as the values of `SUGGESTIONS`, its position and its sentence."""
    table: gpd.GeoDataFrame = analysis.suggestions
    degrees = table.geometry.to_crs(WGS84)
    for position, (longitude, latitude) in enumerate(zip(degrees.x, degrees.y, strict=True)):
        row = table.iloc[position]
        yield {
            **{each.name: rounded(row[each.name], each.decimals) for each in SUGGESTIONS},
            "longitude": rounded(longitude, 7),
            "latitude": rounded(latitude, 7),
            "sentence": suggestion_sentence(row.to_dict(), analysis.site.settings.units, english()),
        }


def _feature(suggestion: dict[str, object]) -> dict[str, object]:
    return {
        "type": "Feature",
        "id": suggestion["rank"],
        "geometry": {
            "type": "Point",
            "coordinates": [suggestion["longitude"], suggestion["latitude"]],
        },
        "properties": {each.name: suggestion[each.name] for each in SUGGESTIONS},
    }


def _add_waypoint(root: ET.Element, suggestion: dict[str, object]) -> None:
    place = {"lat": _degrees(suggestion["latitude"]), "lon": _degrees(suggestion["longitude"])}
    waypoint = ET.SubElement(root, "wpt", place)
    add_text(waypoint, "name", f"{suggestion['rank']} {suggestion['zone_id']}")
    add_text(waypoint, "desc", str(suggestion["sentence"]))


def _degrees(value: object) -> str:
    return f"{value:.7f}"
