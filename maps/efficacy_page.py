"""`efficacy.html`, `efficacy.csv` and `efficacy.json`: whether the treatments worked."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from datetime import date
from html import escape

import pandas as pd

from data.version import VERSION
from maps.columns import EFFICACY
from maps.efficacy_chart import efficacy_svg
from maps.exports import csv_text
from maps.language_file import english
from maps.method_words import ratio_sentence
from maps.plain_page import STYLE, paragraph, plain_page
from maps.treatment_words import (
    CANNOT_TELL_TEXT,
    REFERENCE_TEXT,
    change_range,
    change_text,
    effect_text,
    efficacy_sentence,
    weather_sentence,
)
from maps.weeks import day_text
from maps.words import count_of
from spatial.treatment_effects import Course, TreatmentEffects

NO_TREATMENT = (
    "The treatment log holds nothing up to {cutoff}, so there is no effect to look at. "
    "Write every treatment into treatments.csv: zone_id, applied_on, tactic, irac_group."
)

_ON_PAPER = ' class="wide"'
"""Cells that a narrow screen leaves out: the heading and picture of the zone hold them."""

_NARROW = (
    "section{break-inside:avoid}table{overflow-wrap:normal}tbody th{white-space:nowrap}"
    "td.words{text-align:left;white-space:normal}@media(max-width:520px){.wide{display:none}}"
)

HOW = (
    "Efficacy is 1 - (treated after / treated before) x (untreated before / untreated after) "
    "(Henderson and Tilton 1955): what fell everywhere cancels. It can be read only as far as "
    "treated and untreated zones would have gone the same way.",
    "A visit that spans the day of the treatment counts on neither side and is not drawn. "
    "Intervals are 95 %, by bootstrap of negative binomial counts.",
    "A catch is activity, not density. A cold spell looks like control; it cancels only as far as "
    "the untreated zones felt it too. Rain and wind are not in the weather file.",
)
"""How the numbers were made."""


def efficacy_sentences(found: TreatmentEffects) -> list[str]:
    """Return what was found, the whole first and then every treatment."""
    if not found.courses:
        return [NO_TREATMENT.format(cutoff=day_text(found.season.cutoff))]
    told = sum(not each.effect.reason for each in found.courses)
    treatments = count_of(len(found.courses), "treatment of a zone", "treatments of a zone")
    first = f"{treatments} up to {day_text(found.season.cutoff)}; the effect can be told in {told}."
    return [first, *(efficacy_sentence(each.effect) for each in found.courses)]


def efficacy_html(found: TreatmentEffects) -> str:
    """Return the page: self-contained, offline, printable."""
    settings = found.site.settings
    title = f"Did it work? {settings.name}"
    first = efficacy_sentences(found)[0]
    parts = [f"<h1>{escape(title)}</h1>", paragraph(first)]
    if found.courses:
        parts.append(_table(found))
        parts += [_section(each, settings.treatment.cold_c) for each in found.courses]
        parts.append("<h2>How this was made</h2>")
        parts += [paragraph(text) for text in HOW]
        parts += [paragraph(ratio_sentence(ratio, english())) for ratio in found.ratios]
    last = paragraph(f"Data to {day_text(found.season.cutoff)}. snoutline {VERSION}.")
    parts.append(f"<footer>{last}</footer>")
    return plain_page(title, STYLE + _NARROW, parts)


def _section(course: Course, cold_c: float) -> str:
    effect = course.effect
    said = effect_text(effect, "the untreated zones")
    lines = [said[0].upper() + said[1:]]
    if effect.untreated:
        kind = REFERENCE_TEXT[effect.reference].capitalize()
        lines.append(f"{kind}: {', '.join(effect.untreated)}.")
    weather = weather_sentence(effect, cold_c)
    lines += [weather] if weather else ["Without weather, a cold week cannot be told from control."]
    group = f", IRAC group {effect.irac_group}" if effect.irac_group else ""
    name = f"{effect.zone_id}, treated on {day_text(effect.applied_on)}{group}"
    text = "".join(map(paragraph, lines))
    return f"<section><h2>{escape(name)}</h2>{efficacy_svg(course)}{text}</section>"


def _table(found: TreatmentEffects) -> str:
    heads = (
        "Zone",
        "Treated",
        "IRAC group",
        "Before",
        "After",
        "Than expected",
        "95 % interval",
    )
    head = "".join(
        f'<th scope="col"{_ON_PAPER if place in (1, 2) else ""}>{text}</th>'
        for place, text in enumerate(heads)
    )
    rows = "".join(_row(course) for course in found.courses)
    caption = "Adults per trap-week of the treated zone, and the catch prevented"
    return (
        f"<table><caption>{caption}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table>"
    )


def _row(course: Course) -> str:
    effect = course.effect
    cells = [day_text(effect.applied_on), effect.irac_group or "not in the log"]
    cells += [_rate(effect.before), _rate(effect.after)]
    row = f'<tr><th scope="row">{escape(effect.zone_id)}</th>'
    row += "".join(
        f"<td{_ON_PAPER if place < 2 else ''}>{escape(text)}</td>"
        for place, text in enumerate(cells)
    )
    if effect.reason:
        why = CANNOT_TELL_TEXT[effect.reason]
        return f'{row}<td class="words" colspan="2">cannot tell: {escape(why)}</td></tr>'
    interval = change_range(effect.low, effect.high)
    return f"{row}<td>{change_text(effect.efficacy)}</td><td>{interval}</td></tr>"


def efficacy_csv(found: TreatmentEffects) -> str:
    """Return `efficacy.csv`: one row per treated zone and day, columns `maps.columns.EFFICACY`."""
    rows = [
        asdict(each.effect) | _nights(each) | {"untreated": " ".join(each.effect.untreated)}
        for each in found.courses
    ]
    names = [each.name for each in EFFICACY]
    table = pd.DataFrame(rows, columns=None if rows else names)
    stamp = {"week": found.season.week, "cutoff": found.season.cutoff.isoformat()}
    days = {name: table[name].map(str) for name in ("applied_on", "first", "last")}
    return csv_text(table.assign(**stamp, **days), EFFICACY)


def _nights(course: Course) -> dict[str, float]:
    before, after = course.effect.weather_before, course.effect.weather_after
    return {
        "cold_before": math.nan if before is None else before.cold,
        "cold_after": math.nan if after is None else after.cold,
    }


def efficacy_json(found: TreatmentEffects) -> str:
    """Return `efficacy.json`: the same facts with their provenance."""
    facts = {
        "format": "snoutline efficacy 1",
        "site": found.site.settings.name,
        "week": found.season.week,
        "cutoff": found.season.cutoff.isoformat(),
        "reference_design": found.reference,
        "sentences": efficacy_sentences(found),
        "treatments": [_plain(asdict(each.effect)) for each in found.courses],
        "cold_nights": {
            f"{each.effect.zone_id} {each.effect.applied_on}": [str(day) for day in each.cold]
            for each in found.courses
        },
        "inputs": dict(sorted(found.site.hashes.items())),
        "snoutline": VERSION,
    }
    return json.dumps(facts, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value: object) -> object:
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    if isinstance(value, float):
        return round(value, 4) if math.isfinite(value) else None
    return value.isoformat() if isinstance(value, date) else value


def _rate(rate: float) -> str:
    return "\N{EN DASH}" if math.isnan(rate) else f"{rate:.2f}"
