"""The weekly activity map: one HTML page that opens anywhere, with or without a network."""

from __future__ import annotations

import math
from importlib.resources import files
from typing import Any

import jinja2
import pandas as pd
from branca.element import MacroElement

from maps import words
from maps.aerial import aerial_layer
from maps.cautions import cautions
from maps.decision_words import (
    CHANCE_NOTE,
    RATE_NOTE,
    RULE_OF_LARVAE,
    WAYS_NOTE,
    costs_sentence,
    no_limit_sentence,
    states_headline,
)
from maps.glyphs import outline
from maps.language_file import english
from maps.method_words import method_notes
from maps.offline import OfflinePage, PlainMap, Text
from maps.palette import activity_ramp, class_labels, with_colours
from maps.payload import (
    LARGEST_DOT_PX,
    SHAPES,
    Json,
    dot_scale,
    json_text,
    map_payload,
    trap_designs,
    zone_state,
)
from maps.rounds import shown_weeks
from maps.season_words import when_sentences
from maps.weeks import day_text, week_number, week_span
from maps.zone_states import (
    EVIDENCE_KEY,
    evidence_fills,
    other_lines,
    state_cell,
    state_rows,
)
from spatial.results import Analysis

SCRIPTS = (
    "unpack",
    "shapes",
    "layers",
    "curve",
    "weeks",
    "detail",
    "table",
    "search",
    "state",
    "tools",
    "print",
)
"""Parts of the page's script, in the order in which they need each other."""

PHOTO_LAYER = ("aerial", "Aerial photo", True)
LAYERS = (
    ("zones", "Zones", True),
    ("traps", "Traps", True),
    ("marks", "Marks", True),
    ("suggestions", "Suggested places", True),
    ("refuges", "Refuges", True),
    ("obstacles", "Obstacles", True),
    ("links", "Neighbour links", False),
)
MARK_SHAPES = {
    "busy_patch": "circle",
    "quiet_patch": "square",
    "lone_busy": "diamond",
    "lone_quiet": "hexagon",
}
KIND_FILLS = {
    "water": "url(#fill-water)",
    "bunker": "url(#fill-bunker)",
    "building": "url(#fill-building)",
}
OTHER_FILL = "url(#fill-other)"


def activity_map(analysis: Analysis) -> str:
    """Return the weekly map page.

    Parameters
    ----------
    analysis
        What one weekly run found.

    Returns
    -------
    str
        One HTML document without any link; equal analyses give equal bytes.

    Raises
    ------
    SettingsError
        If there are more class breaks than shades that can be told apart.
    OfflineError
        If the installed Leaflet is not the one this code was checked with.
    """
    payload = map_payload(analysis)
    photo = analysis.site.aerial
    if photo is not None:
        payload["aerial"] = aerial_layer(photo)
    (south, west), (north, east) = payload["bounds"]
    plain = PlainMap(
        location=[(south + north) / 2, (west + east) / 2],
        tiles=None,
        zoom_start=16,
        zoom_snap=0.25,
        zoom_delta=0.75,
        max_zoom=22,
        scroll_wheel_zoom=False,
        attribution_control=False,
    )
    plain.add_child(Drawing(payload, _page_parts(analysis)))
    page = OfflinePage(_title(analysis))
    page.add_child(plain)
    return page.render()


class Drawing(MacroElement):
    """Everything on the page but Leaflet: styles, text, data and script.

    Parameters
    ----------
    payload
        Data for the script.
    parts
        Values of ``templates/body.html``; escaped there.
    """

    def __init__(self, payload: Json, parts: Json) -> None:
        super().__init__()  # type: ignore[no-untyped-call]  # branca leaves this one untyped
        self._name = "Drawing"
        self.payload = payload
        self.parts = parts

    def render(self, **_: object) -> str:
        """Add the parts to the page; as `Text`, because none of it is a template any more."""
        page, owner = self.get_root(), self._parent
        if not isinstance(page, OfflinePage) or owner is None:
            msg = "a Drawing must be the child of a map on an OfflinePage"
            raise TypeError(msg)
        map_id = owner.get_name()
        data = f'<script type="application/json" id="data">{json_text(self.payload)}</script>'
        styles = template_text("page.css") + template_text("one_page.css")
        page.header.add_child(Text(f"<style>{styles}</style>"), name="style")
        page.html.add_child(Text(_body(self.parts | {"map_id": map_id})), name="body")
        page.html.add_child(Text(data), name="data")
        page.script.add_child(Text(_script(map_id)), name="drawing")
        return ""


def _title(analysis: Analysis) -> str:
    week = week_number(analysis.season.week)
    return f"Billbug activity, {analysis.site.settings.name}, week {week}"


def template_text(name: str) -> str:
    """Return one of the page's own styles, scripts or outlines, its colours filled in.

    Raises
    ------
    LookupError
        If it asks for a colour that `maps.palette` does not name.

    Examples
    --------
    >>> template_text("body.html").startswith("{% macro swatch")
    True
    """
    text = (files("maps") / "templates" / name).read_text(encoding="utf-8")
    return with_colours(text, f"maps/templates/{name}")


def _script(map_id: str) -> str:
    parts = "\n".join(template_text(f"{name}.js") for name in SCRIPTS)
    data = "JSON.parse(document.getElementById('data').textContent)"
    return f"(function (map, data) {{\n'use strict';\n{parts}}})({map_id}, {data});\n"


def _body(parts: Json) -> str:
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True
    )
    return environment.from_string(template_text("body.html")).render(parts)


def _page_parts(analysis: Analysis) -> Json:
    return _head_parts(analysis) | _key_parts(analysis) | _text_parts(analysis)


def _head_parts(analysis: Analysis) -> Json:
    season = analysis.season
    return {
        "site": analysis.site.settings.name,
        "week": week_number(season.week),
        "year": season.week.partition("-")[0],
        "span": week_span(season.week),
        "cutoff": day_text(season.cutoff),
        "weeks": len(shown_weeks(analysis)),
        "week_sentence": words.week_sentence(analysis, season.week),
        "due": [] if analysis.when is None else when_sentences(analysis.when, season.cutoff),
        "headline": _headline(analysis),
        "banner": words.banner(analysis),
    }


def _headline(analysis: Analysis) -> list[str]:
    """Return the sentences that open the page; the first one says round and states."""
    first, *rest = words.headline(analysis)
    if not analysis.judged:
        return [first, *rest]
    return [f"{first} {states_headline(analysis.decisions)}", *rest]


def _key_parts(analysis: Analysis) -> Json:
    breaks = analysis.site.settings.class_breaks
    classes = zip(activity_ramp(len(breaks) + 1), class_labels(breaks), strict=True)
    return {
        "classes": list(classes),
        "evidence": [(evidence_fills()[char], text) for char, text in EVIDENCE_KEY.items()],
        "judged": analysis.judged,
        "middle": activity_ramp(4)[1:3],
        "designs": _design_key(analysis),
        "sizes": _size_key(analysis),
        "marks": _mark_key(),
        "surroundings": _surroundings(analysis),
        "layers": LAYERS if analysis.site.aerial is None else (*LAYERS, PHOTO_LAYER),
        "reference": analysis.reference_design,
    }


def _design_key(analysis: Analysis) -> list[tuple[str, str]]:
    return [
        (outline(SHAPES[k % len(SHAPES)], 7), f"{design} trap")
        for k, design in enumerate(trap_designs(analysis))
    ]


def _size_key(analysis: Analysis) -> list[tuple[float, str]]:
    """Return sample dots: radius in px and the catch rate that it stands for."""
    scale = dot_scale(analysis)
    most = (LARGEST_DOT_PX / scale) ** 2
    steps = [rate for rate in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if rate <= most][-5:]
    return [
        (round(scale * math.sqrt(rate), 2), f"{rate} per trap-week") for rate in steps[::-2][::-1]
    ]


def _mark_key() -> list[tuple[str, str, str, str, str]]:
    return [
        (letter, outline(MARK_SHAPES[code], 9), f"mark-{letter}", code, words.MARKS[code])
        for code, letter in words.MARK_LETTERS.items()
    ]


def _surroundings(analysis: Analysis) -> list[tuple[str, bool, str]]:
    refuges, obstacles = analysis.site.refuges, analysis.site.obstacles
    entries = []
    for kind in sorted({str(kind) for kind in refuges["kind"]}):
        shapes = refuges[refuges["kind"].astype(str).eq(kind)].geometry.geom_type
        line = bool(shapes.str.contains("Line").all())
        entries.append(("url(#fill-refuge)", line, f"refuge: {kind}"))
    for kind in sorted({str(kind) for kind in obstacles["kind"]}):
        entries.append((KIND_FILLS.get(kind, OTHER_FILL), False, f"obstacle: {kind}"))
    return entries


def _text_parts(analysis: Analysis) -> Json:
    units, table = analysis.site.settings.units, analysis.suggestions
    plain = table.drop(columns=table.geometry.name) if len(table) else table
    return {
        "zones": _zone_rows(analysis),
        "suggestions": [
            (int(row["rank"]), words.suggestion_sentence(row, units))
            for row in plain.to_dict("records")
        ],
        "states": state_rows(analysis) if analysis.judged else [],
        "others": other_lines(analysis.decisions) if analysis.judged else [],
        "no_limit": no_limit_sentence(analysis.site.settings.limits, analysis.season.cutoff),
        "ways_note": WAYS_NOTE,
        "notes": [*method_notes(analysis, english()), *_decision_notes(analysis)],
        "cautions": cautions(english()),
        "provenance": words.provenance(analysis),
    }


def _decision_notes(analysis: Analysis) -> list[str]:
    if not analysis.judged:
        return []
    costs = costs_sentence(analysis.site.settings.decision)
    larvae = any(each.limits.larvae for each in analysis.decisions)
    return [
        CHANCE_NOTE,
        RATE_NOTE,
        *([RULE_OF_LARVAE] if larvae else []),
        *([costs] if costs else []),
    ]


def _zone_rows(analysis: Analysis) -> list[Json]:
    trapped = set(analysis.traps["zone_id"].dropna())
    table = pd.DataFrame(analysis.zones.drop(columns=analysis.zones.geometry.name))
    rows = [_zone_row(analysis, row, row["zone_id"] in trapped) for row in table.to_dict("records")]
    rule = analysis.rule
    if not analysis.judged or rule is None:
        return rows
    cells = (state_cell(each, rule) for each in analysis.decisions)
    return [row | cell for row, cell in zip(rows, cells, strict=True)]


def _zone_row(analysis: Analysis, zone: dict[Any, Any], has_traps: bool) -> Json:
    settings, rate = analysis.site.settings, float(zone["rate"])
    state = zone_state(rate, float(zone["nights"]), has_traps, settings.class_breaks)
    name = "" if pd.isna(zone["name"]) else str(zone["name"])
    return {
        "id": str(zone["zone_id"]),
        "name": "" if name == str(zone["zone_id"]) else name,
        "use": words.use_text(str(zone["use"])),
        "area": words.area_text(float(zone["area_ha"]), settings.units),
        "area_ha": f"{zone['area_ha']:.4f}",
        "traps": int(zone["traps"]),
        "nights": round(float(zone["nights"])),
        "rate": words.zone_rate_text(zone, state),
        "rate_value": "" if math.isnan(rate) else f"{rate:.4f}",
        "fill": _state_fill(state, len(settings.class_breaks) + 1),
        "mark": words.zone_mark_text(str(zone["mark"])),
        "gap": words.GAP_REASONS.get(str(zone["gap"]), ""),
    }


def _state_fill(state: str, classes: int) -> str:
    return activity_ramp(classes)[int(state)] if state.isdigit() else f"url(#fill-{state})"
