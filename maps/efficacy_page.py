"""`efficacy.html`, `efficacy.csv` and `efficacy.json`: whether the treatments worked."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from datetime import date
from html import escape

import pandas as pd

from data.version import VERSION
from maps.catalogue import Catalogue
from maps.columns import EFFICACY
from maps.efficacy_chart import efficacy_svg
from maps.efficacy_words import (
    change_range,
    change_text,
    effect_text,
    efficacy_sentences,
    untold_text,
    untreated_sentence,
    weather_sentence,
)
from maps.exports import csv_text
from maps.language_file import english
from maps.method_words import ratio_sentence
from maps.plain_page import STYLE, paragraph, plain_page
from spatial.treatment_effects import Course, TreatmentEffects

_ON_PAPER = ' class="wide"'
"""Cells that a narrow screen leaves out: the heading and picture of the zone hold them."""

_NARROW = (
    "section{break-inside:avoid}table{overflow-wrap:normal}tbody th{white-space:nowrap}"
    "td.words{text-align:start;white-space:normal}@media(max-width:520px){.wide{display:none}}"
)

_FROM_RIGHT = "caption{text-align:start}th,td{text-align:end}"
"""Where text runs from the right."""

_HEADS = ("zone", "treated", "group", "before", "after", "change", "interval")
"""Columns of the table."""

METHOD = ("efficacy", "visits", "activity")
"""How the numbers were made, in the order in which it is said."""


def efficacy_html(found: TreatmentEffects, lang: Catalogue) -> str:
    """Return the page: self-contained, offline, printable."""
    settings = found.site.settings
    title = lang.say("effects.title", site=settings.name)
    first = efficacy_sentences(found, lang)[0]
    parts = [f"<h1>{escape(title)}</h1>", paragraph(first)]
    if found.courses:
        parts.append(_table(found, lang))
        parts += [_section(each, settings.treatment.cold_c, lang) for each in found.courses]
        parts.append(f"<h2>{escape(lang.say('effects.made'))}</h2>")
        parts += [paragraph(lang.say(f"effect_method.{key}")) for key in METHOD]
        parts += [paragraph(ratio_sentence(ratio, lang)) for ratio in found.ratios]
    day = lang.day(found.season.cutoff)
    last = paragraph(lang.say("effects.footer", day=day, version=VERSION))
    parts.append(f"<footer>{last}</footer>")
    style = STYLE + _NARROW + (_FROM_RIGHT if lang.direction == "rtl" else "")
    return plain_page(title, style, parts, language=(lang.tag, lang.direction))


def _section(course: Course, cold_c: float, lang: Catalogue) -> str:
    effect = course.effect
    weather = weather_sentence(effect, cold_c, lang) or lang.say("effect.no_weather")
    lines = [effect_text(effect, lang), untreated_sentence(effect, lang), weather]
    text = "".join(paragraph(line) for line in lines if line)
    named = {"zone": effect.zone_id, "day": lang.day(effect.applied_on)}
    name = lang.say("effect.heading", **named)
    if effect.irac_group:
        name = lang.say("effect.heading_group", **named, group=effect.irac_group)
    return f"<section><h2>{escape(name)}</h2>{efficacy_svg(course, lang)}{text}</section>"


def _table(found: TreatmentEffects, lang: Catalogue) -> str:
    head = "".join(
        f'<th scope="col"{_ON_PAPER if place in (1, 2) else ""}>'
        f"{escape(lang.say(f'effect_table.{key}'))}</th>"
        for place, key in enumerate(_HEADS)
    )
    rows = "".join(_row(course, lang) for course in found.courses)
    caption = escape(lang.say("effect_table.caption"))
    return (
        f"<table><caption>{caption}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table>"
    )


def _row(course: Course, lang: Catalogue) -> str:
    effect = course.effect
    group = effect.irac_group or lang.say("effect_table.no_group")
    cells = [lang.day(effect.applied_on), group]
    cells += [_rate(effect.before, lang), _rate(effect.after, lang)]
    row = f'<tr><th scope="row">{escape(effect.zone_id)}</th>'
    row += "".join(
        f"<td{_ON_PAPER if place < 2 else ''}>{escape(text)}</td>"
        for place, text in enumerate(cells)
    )
    if effect.reason:
        why = lang.say("effect_table.untold", why=untold_text(effect, lang))
        return f'{row}<td class="words" colspan="2">{escape(why)}</td></tr>'
    change = change_text(effect.efficacy, lang)
    interval = change_range(effect.low, effect.high, lang)
    return f"{row}<td>{escape(change)}</td><td>{escape(interval)}</td></tr>"


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
        "sentences": efficacy_sentences(found, english()),
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


def _rate(rate: float, lang: Catalogue) -> str:
    return "\N{EN DASH}" if math.isnan(rate) else lang.decimal(rate, 2)
