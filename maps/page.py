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
from maps.catalogue import Catalogue
from maps.cautions import cautions
from maps.class_labels import class_labels
from maps.decision_words import costs_sentence, no_limit_sentence, states_headline
from maps.glyphs import outline
from maps.method_words import method_notes
from maps.offline import OfflinePage, PlainMap, Text
from maps.palette import activity_ramp, with_colours
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
from maps.weeks import week_days, week_number
from maps.zone_states import (
    evidence_fills,
    evidence_key,
    other_lines,
    state_cell,
    state_rows,
)
from spatial.results import GAP_REASONS, Analysis

SCRIPTS = (
    "say",
    "unpack",
    "shapes",
    "crowd",
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

LAYERS = ("zones", "traps", "marks", "suggestions", "refuges", "obstacles", "links", "aerial")
"""What the map can show, in the order of the boxes; the photo only where there is one."""

HIDDEN_AT_FIRST = "links"

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


def activity_map(analysis: Analysis, lang: Catalogue) -> str:
    """Return the weekly map page.

    Parameters
    ----------
    analysis
        What one weekly run found.
    lang
        Language.

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
    payload = map_payload(analysis, lang)
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
    plain.add_child(Drawing(payload, _page_parts(analysis, lang), lang))
    page = OfflinePage(_title(analysis, lang), lang)
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
    lang
        Language.
    """

    def __init__(self, payload: Json, parts: Json, lang: Catalogue) -> None:
        super().__init__()  # type: ignore[no-untyped-call]  # branca leaves this one untyped
        self._name = "Drawing"
        self.payload = payload
        self.parts = parts
        self.lang = lang

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
        page.html.add_child(Text(_body(self.parts | {"map_id": map_id}, self.lang)), name="body")
        page.html.add_child(Text(data), name="data")
        page.script.add_child(Text(_script(map_id)), name="drawing")
        return ""


def _title(analysis: Analysis, lang: Catalogue) -> str:
    week = week_number(analysis.season.week)
    return lang.say("map_page.page_title", site=analysis.site.settings.name, week=week)


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


def _body(parts: Json, lang: Catalogue) -> str:
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True
    )
    template = environment.from_string(template_text("body.html"))
    return template.render(parts | {"say": lang.say})


def _page_parts(analysis: Analysis, lang: Catalogue) -> Json:
    return _head_parts(analysis, lang) | _key_parts(analysis, lang) | _text_parts(analysis, lang)


def _head_parts(analysis: Analysis, lang: Catalogue) -> Json:
    season = analysis.season
    return {
        "site": analysis.site.settings.name,
        "week": week_number(season.week),
        "year": season.week.partition("-")[0],
        "span": lang.span(*week_days(season.week)),
        "cutoff": lang.day(season.cutoff),
        "full": lang.percent(1),
        "weeks": len(shown_weeks(analysis)),
        "week_sentence": words.week_sentence(analysis, season.week, lang),
        "due": [] if analysis.when is None else when_sentences(analysis.when, season.cutoff, lang),
        "headline": _headline(analysis, lang),
        "banner": words.banner(analysis, lang),
    }


def _headline(analysis: Analysis, lang: Catalogue) -> list[str]:
    """Return the sentences that open the page; the first one says round and states."""
    first, *rest = words.headline(analysis, lang)
    if not analysis.judged:
        return [first, *rest]
    return [f"{first} {states_headline(analysis.decisions, lang)}", *rest]


def _key_parts(analysis: Analysis, lang: Catalogue) -> Json:
    breaks, fills = analysis.site.settings.class_breaks, evidence_fills()
    classes = zip(activity_ramp(len(breaks) + 1), class_labels(breaks, lang), strict=True)
    photo = analysis.site.aerial is not None
    return {
        "classes": list(classes),
        "evidence": [(fills[char], text) for char, text in evidence_key(lang).items()],
        "judged": analysis.judged,
        "middle": activity_ramp(4)[1:3],
        "designs": _design_key(analysis, lang),
        "sizes": _size_key(analysis, lang),
        "marks": _mark_key(lang),
        "surroundings": _surroundings(analysis, lang),
        "layers": [(key, key != HIDDEN_AT_FIRST) for key in LAYERS if photo or key != "aerial"],
        "photo": photo,
        "reference": analysis.reference_design,
    }


def _design_key(analysis: Analysis, lang: Catalogue) -> list[tuple[str, str]]:
    return [
        (outline(SHAPES[k % len(SHAPES)], 7), lang.say("map_key.design", design=design))
        for k, design in enumerate(trap_designs(analysis))
    ]


def _size_key(analysis: Analysis, lang: Catalogue) -> list[tuple[float, str]]:
    """Return sample dots: radius in px and the catch rate that it stands for."""
    scale = dot_scale(analysis)
    most = (LARGEST_DOT_PX / scale) ** 2
    steps = [rate for rate in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if rate <= most][-5:]
    return [
        (round(scale * math.sqrt(rate), 2), lang.say("map_key.size", rate))
        for rate in steps[::-2][::-1]
    ]


def _mark_key(lang: Catalogue) -> list[tuple[str, str, str, str, str]]:
    return [
        (letter, outline(MARK_SHAPES[code], 9), f"mark-{letter}", code, lang.say(f"marks.{code}"))
        for code, letter in words.MARK_LETTERS.items()
    ]


def _surroundings(analysis: Analysis, lang: Catalogue) -> list[tuple[str, bool, str]]:
    refuges, obstacles = analysis.site.refuges, analysis.site.obstacles
    entries = []
    for kind in sorted({str(kind) for kind in refuges["kind"]}):
        shapes = refuges[refuges["kind"].astype(str).eq(kind)].geometry.geom_type
        line = bool(shapes.str.contains("Line").all())
        entries.append(("url(#fill-refuge)", line, lang.say("map_key.refuge", kind=kind)))
    for kind in sorted({str(kind) for kind in obstacles["kind"]}):
        entries.append(
            (KIND_FILLS.get(kind, OTHER_FILL), False, lang.say("map_key.obstacle", kind=kind))
        )
    return entries


def _text_parts(analysis: Analysis, lang: Catalogue) -> Json:
    units, table = analysis.site.settings.units, analysis.suggestions
    plain = table.drop(columns=table.geometry.name) if len(table) else table
    limits, day = analysis.site.settings.limits, analysis.season.cutoff
    return {
        "zones": _zone_rows(analysis, lang),
        "suggestions": [
            (int(row["rank"]), words.suggestion_sentence(row, units, lang))
            for row in plain.to_dict("records")
        ],
        "states": state_rows(analysis, lang) if analysis.judged else [],
        "others": other_lines(analysis.decisions, lang) if analysis.judged else [],
        "no_limit": no_limit_sentence(limits, day, lang),
        "notes": [*method_notes(analysis, lang), *_decision_notes(analysis, lang)],
        "cautions": cautions(lang),
        "provenance": words.provenance(analysis, lang),
    }


def _decision_notes(analysis: Analysis, lang: Catalogue) -> list[str]:
    if not analysis.judged:
        return []
    costs = costs_sentence(analysis.site.settings.decision, lang)
    larvae = any(each.limits.larvae for each in analysis.decisions)
    keys = ("chance", "rate", *(["larvae"] if larvae else []))
    return [*(lang.say(f"decision_notes.{key}") for key in keys), *([costs] if costs else [])]


def _zone_rows(analysis: Analysis, lang: Catalogue) -> list[Json]:
    trapped = set(analysis.traps["zone_id"].dropna())
    table = pd.DataFrame(analysis.zones.drop(columns=analysis.zones.geometry.name))
    rows = [
        _zone_row(analysis, row, row["zone_id"] in trapped, lang)
        for row in table.to_dict("records")
    ]
    rule = analysis.rule
    if not analysis.judged or rule is None:
        return rows
    cells = (state_cell(each, rule, lang) for each in analysis.decisions)
    return [row | cell for row, cell in zip(rows, cells, strict=True)]


def _zone_row(analysis: Analysis, zone: dict[Any, Any], has_traps: bool, lang: Catalogue) -> Json:
    settings, rate, gap = analysis.site.settings, float(zone["rate"]), str(zone["gap"])
    state = zone_state(rate, float(zone["nights"]), has_traps, settings.class_breaks)
    name = "" if pd.isna(zone["name"]) else str(zone["name"])
    nights = round(float(zone["nights"]))
    return {
        "id": str(zone["zone_id"]),
        "name": "" if name == str(zone["zone_id"]) else name,
        "use": lang.use(str(zone["use"])),
        "area": lang.area(float(zone["area_ha"]), settings.units),
        "area_ha": f"{zone['area_ha']:.4f}",
        "traps": int(zone["traps"]),
        "traps_said": lang.number(int(zone["traps"])),
        "nights": nights,
        "nights_said": lang.number(nights),
        "rate": words.zone_rate_text(zone, state, lang),
        "rate_value": "" if math.isnan(rate) else f"{rate:.4f}",
        "fill": _state_fill(state, len(settings.class_breaks) + 1),
        "mark": words.zone_mark_text(str(zone["mark"]), lang),
        "gap": lang.say(f"gaps.{gap}") if gap in GAP_REASONS else "",
    }


def _state_fill(state: str, classes: int) -> str:
    return activity_ramp(classes)[int(state)] if state.isdigit() else f"url(#fill-{state})"
