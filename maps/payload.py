"""The data that the map page carries: compact lists, one JSON object.

Values that repeat for every week are strings with one character per trap or zone, so that a
season of a large network stays small. The characters are listed in `STATUS_CHARS`,
`MARK_CHARS` and `STATE_CHARS`; the page's script reads the same lists from the payload.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
from shapely.geometry import MultiPoint
from shapely.geometry.base import BaseGeometry

from maps import words
from maps.catalogue import Catalogue
from maps.labels import label_point
from maps.packing import ALPHABET, packed_numbers, packed_run, packed_texts
from maps.palette import activity_ramp, class_of
from maps.rounds import round_statuses, shown_weeks
from maps.script_words import script_words
from maps.weeks import week_days, week_number
from maps.zone_states import evidence_payload
from maps.zone_story import story_payload
from spatial.results import GAP_REASONS, NOT_TESTABLE, Analysis

Json = dict[str, Any]

STATUS_CHARS = {
    "ok": "o",
    "flooded": "f",
    "disturbed": "d",
    "missing": "m",
    "covered": "c",
    "not_checked": "n",
}
MARK_CHARS = {**words.MARK_LETTERS, "none": ".", "not_testable": "?"}
STATE_CHARS = {"no_traps": "t", "no_nights": "e", "not_comparable": "x"}
ABSENT = " "
LARGEST_DOT_PX = 13.0
"""Radius of the season's highest weekly catch rate; the others follow by area."""
SAID = ("map_script", "map_panel", "marks", "mark_names", "visit", "zone_rate")
"""Sections of the language file that the page's script says."""

SHAPES = ("circle", "square", "triangle", "diamond", "hexagon")

_WGS84 = "EPSG:4326"
_ESCAPES = str.maketrans(
    {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}
)


def map_payload(analysis: Analysis, lang: Catalogue) -> Json:
    """Return everything the page's script draws.

    Parameters
    ----------
    analysis
        What one weekly run found.
    lang
        Language.

    Returns
    -------
    dict
        JSON-ready: no NaN, coordinates as latitude and longitude with 6 decimals.
    """
    breaks = analysis.site.settings.class_breaks
    return {
        "site": analysis.site.settings.name,
        "alphabet": ALPHABET,
        "weeks": _weeks(analysis, lang),
        "classes": {"colours": activity_ramp(len(breaks) + 1)},
        "chars": {
            "status": _flipped(STATUS_CHARS),
            "mark": _flipped(MARK_CHARS),
            "state": _flipped(STATE_CHARS),
        },
        "said": script_words(lang, *SAID),
        "bounds": _bounds(analysis),
        "designs": trap_designs(analysis),
        "shapes": SHAPES,
        "dot": dot_scale(analysis),
        "zones": _zones(analysis, lang),
        "traps": _traps(analysis, lang),
        "curve": _curve(analysis),
        "links": _links(analysis),
        "refuges": _features(analysis.site.refuges, "refuge_id"),
        "obstacles": _features(analysis.site.obstacles, "obstacle_id"),
        "suggestions": _suggestions(analysis, lang),
        "story": story_payload(analysis, shown_weeks(analysis), lang),
        **evidence_payload(analysis, lang),
    }


def json_text(payload: Json) -> str:
    r"""Return JSON that is safe inside a script element of an HTML page.

    Examples
    --------
    >>> json_text({"name": "</script>"})
    '{"name":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(payload, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.translate(_ESCAPES)


def trap_designs(analysis: Analysis) -> list[str]:
    """Return the trap designs in use, the reference design first; their order sets the shape."""
    found = sorted(set(analysis.traps["design"].astype(str)) - {analysis.reference_design})
    return [analysis.reference_design, *found]


def dot_scale(analysis: Analysis) -> float:
    """Return the radius in px of a trap that catches one adult per trap-week.

    One scale for the whole season, so that a dot means the same in every week.
    """
    highest = analysis.rounds["rate"].max()
    highest = 1.0 if math.isnan(highest) else max(1.0, float(highest))
    return round(LARGEST_DOT_PX / math.sqrt(highest), 4)


def zone_state(rate: float, nights: float, has_traps: bool, breaks: Sequence[float]) -> str:
    """Return the character of a zone's state: its class of catch rate, or why there is none.

    Parameters
    ----------
    rate
        Adults per trap-week, season to date; NaN without one.
    nights
        Trap-nights, season to date.
    has_traps
        Whether any trap of the season stands in the zone.
    breaks
        Class breaks of the map.

    Examples
    --------
    >>> nan = float("nan")
    >>> [zone_state(3.0, 70, True, (1, 2)), zone_state(nan, 70, True, (1, 2)),
    ...  zone_state(nan, 0, True, (1, 2)), zone_state(nan, 0, False, (1, 2))]
    ['2', 'x', 'e', 't']
    """
    if not math.isnan(rate):
        return str(class_of(rate, breaks))
    if nights > 0:
        return STATE_CHARS["not_comparable"]
    return STATE_CHARS["no_nights" if has_traps else "no_traps"]


def _flipped(chars: Mapping[str, str]) -> dict[str, str]:
    return {char: code for code, char in chars.items()}


def _weeks(analysis: Analysis, lang: Catalogue) -> list[list[object]]:
    return [
        [
            week_number(week),
            lang.span(*week_days(week)),
            words.week_sentence(analysis, week, lang),
        ]
        for week in shown_weeks(analysis)
    ]


def _bounds(analysis: Analysis) -> list[list[float]]:
    parts = [analysis.zones.geometry, analysis.traps.geometry, analysis.suggestions.geometry]
    frames = [part.to_crs(_WGS84).total_bounds for part in parts if len(part)]
    west, south = (min(float(b[k]) for b in frames) for k in (0, 1))
    east, north = (max(float(b[k]) for b in frames) for k in (2, 3))
    return [[round(south, 6), round(west, 6)], [round(north, 6), round(east, 6)]]


def _zones(analysis: Analysis, lang: Catalogue) -> Json:
    zones, units = analysis.zones, analysis.site.settings.units
    weekly = _to_date_by_week(analysis, analysis.zone_weeks, "zone_id", zones["zone_id"])
    return {
        "id": _texts(zones["zone_id"]),
        "name": _texts(zones["name"]),
        "use": [lang.use(use) for use in _texts(zones["use"])],
        "area": [lang.area(float(ha), units) for ha in zones["area_ha"]],
        "traps": [int(n) for n in zones["traps"]],
        "interval": _zone_intervals(zones, lang),
        "gap": _gaps(zones["gap"], lang),
        "shape": _shapes(zones.geometry),
        "middle": _positions(_label_points(analysis)),
        "nights": [_numbers(table["nights"], 1) for table in weekly],
        "rate": [_numbers(table["rate"], 3) for table in weekly],
        "state": _zone_states(analysis, weekly),
        "mark": _zone_marks(analysis),
    }


def _gaps(codes: pd.Series[Any], lang: Catalogue) -> list[str]:
    said = {code: lang.say(f"gaps.{code}") for code in GAP_REASONS}
    return [said.get(str(code), "") for code in codes]


def _label_points(analysis: Analysis) -> gpd.GeoSeries:
    traps = MultiPoint([point.coords[0] for point in analysis.traps.geometry])
    trapped = set(analysis.traps["zone_id"].dropna())
    points = [
        label_point(zone, traps) if zone_id in trapped else zone.representative_point()
        for zone_id, zone in zip(analysis.zones["zone_id"], analysis.zones.geometry, strict=True)
    ]
    return gpd.GeoSeries(points, crs=analysis.zones.crs)


def _zone_states(analysis: Analysis, weekly: list[pd.DataFrame]) -> list[str]:
    breaks = analysis.site.settings.class_breaks
    has_traps = [traps > 0 for traps in analysis.zones["traps"]]
    return [
        "".join(
            zone_state(float(rate), float(nights), here, breaks)
            for rate, nights, here in zip(
                table["rate"], table["nights"].fillna(0.0), has_traps, strict=True
            )
        )
        for table in weekly
    ]


def _zone_marks(analysis: Analysis) -> list[str]:
    """One string per week."""
    ids = analysis.zones["zone_id"]
    tables = _to_date_by_week(analysis, analysis.zone_weeks, "zone_id", ids)
    return ["".join(_mark_char(mark) for mark in table["mark"]) for table in tables]


def _mark_char(mark: object) -> str:
    return MARK_CHARS.get(str(mark), ".")


def _traps(analysis: Analysis, lang: Catalogue) -> Json:
    traps, weeks = analysis.traps, shown_weeks(analysis)
    ids, names = _texts(traps["location_id"]), _texts(traps["trap_id"])
    rounds = _by_week(analysis, analysis.rounds, "location_id", traps["location_id"])
    to_date = _to_date_by_week(analysis, analysis.marks, "location_id", traps["location_id"])
    zone_rows = {zone: row for row, zone in enumerate(analysis.zones["zone_id"])}
    designs = trap_designs(analysis)
    return {
        "id": names,
        "location": ids if ids != names else None,
        "design": packed_numbers(designs.index(str(design)) for design in traps["design"]),
        "zone": packed_numbers(zone_rows.get(zone, math.nan) for zone in traps["zone_id"]),
        "placement": packed_texts([lang.say(f"placements.{code}") for code in traps["placement"]]),
        "interval": packed_texts(_intervals(traps, lang)),
        "why": packed_texts(_why(traps["reason"], lang)),
        "expected": packed_texts([words.place_text(row, lang) for row in _records(traps)]),
        "at": _positions(traps.geometry),
        "status": [packed_run(_status_line(analysis, week)) for week in weeks],
        "weekAdults": [packed_numbers(table["adults"]) for table in rounds],
        **_packed_nights([table["nights"] for table in rounds]),
        "mark": [
            packed_run("".join(_mark_char(mark) for mark in table["mark"])) for table in to_date
        ],
    }


def _why(codes: pd.Series[Any], lang: Catalogue) -> list[str]:
    """Return why a trap was not tested, in words; blank where it was."""
    return [lang.say(f"not_testable.{code}") if str(code) in NOT_TESTABLE else "" for code in codes]


def _records(table: gpd.GeoDataFrame) -> list[dict[Any, Any]]:
    return list(table.drop(columns=table.geometry.name).to_dict("records"))


def _packed_nights(weeks: Sequence[pd.Series[Any]]) -> Json:
    """Pack nights as they are where all are whole, else in tenths."""
    whole = all(((nights % 1) == 0).where(nights.notna(), True).all() for nights in weeks)
    per = 1 if whole else 10
    return {
        "perNight": per,
        "weekNights": [packed_numbers((per * nights).round()) for nights in weeks],
    }


def _status_line(analysis: Analysis, week: str) -> str:
    statuses = round_statuses(analysis, week)
    codes = (statuses.get(location, "") for location in analysis.traps["location_id"])
    return "".join(STATUS_CHARS.get(code, ABSENT) for code in codes)


def _by_week(
    analysis: Analysis, table: pd.DataFrame, key: str, ids: pd.Series[Any]
) -> list[pd.DataFrame]:
    """Cut a long table into one per week, each in the order of `ids`."""
    by_week = {week: rows.set_index(key) for week, rows in table.groupby("week")}
    nothing = table.iloc[:0].set_index(key)
    return [by_week.get(week, nothing).reindex(ids) for week in shown_weeks(analysis)]


def _to_date_by_week(
    analysis: Analysis, table: pd.DataFrame, key: str, ids: pd.Series[Any]
) -> list[pd.DataFrame]:
    """Cut a season-to-date table by week; a week without visits repeats the one before it."""
    parts = _by_week(analysis, table, key, ids)
    if len(parts) > 1 and analysis.season.week not in set(table["week"]):
        parts[-1] = parts[-2]
    return parts


def _curve(analysis: Analysis) -> Json:
    table = analysis.curve.set_index("week").reindex(list(shown_weeks(analysis)))
    return {
        "rate": _numbers(table["rate"], 3),
        "low": _numbers(table["rate_low"], 3),
        "high": _numbers(table["rate_high"], 3),
        "checked": _numbers(table["checked"].fillna(0), 0),
        "void": _numbers(table["void"].fillna(0), 0),
    }


def _links(analysis: Analysis) -> str:
    """Pack the pairs of neighbours one after the other; the first of a pair has the lower row."""
    rows = {location: row for row, location in enumerate(analysis.traps["location_id"])}
    pairs = sorted(
        (min(rows[focal], rows[neighbor]), max(rows[focal], rows[neighbor]))
        for focal, neighbor in zip(analysis.links["focal"], analysis.links["neighbor"], strict=True)
        if focal in rows and neighbor in rows
    )
    starts = [0, *(first for first, _ in pairs)]
    return packed_numbers(
        number
        for (first, second), before in zip(pairs, starts, strict=False)
        for number in (first - before, second - first)
    )


def _features(table: gpd.GeoDataFrame, key: str) -> list[list[object]]:
    if table.empty:
        return []
    columns = zip(
        _texts(table[key]), _texts(table["kind"]), table.geometry.to_crs(_WGS84), strict=True
    )
    return [[name, kind, _parts(shape)] for name, kind, shape in columns]


def _suggestions(analysis: Analysis, lang: Catalogue) -> list[list[object]]:
    table, units = analysis.suggestions, analysis.site.settings.units
    if table.empty:
        return []
    return [
        [int(str(row["rank"])), position, words.suggestion_sentence(row, units, lang)]
        for row, position in zip(
            table.drop(columns=table.geometry.name).to_dict("records"),
            _positions(table.geometry),
            strict=True,
        )
    ]


def _zone_intervals(zones: gpd.GeoDataFrame, lang: Catalogue) -> list[str]:
    plain = zones.drop(columns=zones.geometry.name)
    return [words.zone_interval_text(row, lang) for row in plain.to_dict("records")]


def _intervals(table: pd.DataFrame, lang: Catalogue) -> list[str]:
    return [
        lang.rates(float(low), float(high))
        for low, high in zip(table["rate_low"], table["rate_high"], strict=True)
    ]


def _texts(column: pd.Series[Any]) -> list[str]:
    return ["" if pd.isna(value) else str(value) for value in column]


def _numbers(column: pd.Series[Any], digits: int) -> list[float | int | None]:
    return [_number(float(value), digits) for value in column]


def _number(value: float, digits: int) -> float | int | None:
    if math.isnan(value) or math.isinf(value):
        return None
    rounded = round(value, digits)
    return int(rounded) if rounded == int(rounded) else rounded


def _positions(points: gpd.GeoSeries) -> list[list[float]]:
    return [_path(point.coords)[0] for point in points.to_crs(_WGS84)]


def _shapes(geometry: gpd.GeoSeries) -> list[list[list[list[list[float]]]]]:
    return [_parts(shape)[1] for shape in geometry.to_crs(_WGS84)]


def _parts(shape: BaseGeometry) -> tuple[str, list[list[list[list[float]]]]]:
    """Cut a shape into ``("area" or "line", parts)``; a part is a list of rings or one line."""
    singles = list(getattr(shape, "geoms", [shape]))
    areas = [s for s in singles if s.geom_type == "Polygon"]
    if areas:
        return "area", [[_path(r.coords) for r in (s.exterior, *s.interiors)] for s in areas]
    return "line", [[_path(s.coords)] for s in singles]


def _path(coords: Any) -> list[list[float]]:
    return [[round(float(c[1]), 6), round(float(c[0]), 6)] for c in coords]
