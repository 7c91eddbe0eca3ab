"""`sampling.html`, the charts to carry, `sampling.csv` and `sampling.json`."""

from __future__ import annotations

import json
import math
import re
from html import escape

import numpy as np
import pandas as pd

from data.version import VERSION
from maps.catalogue import Catalogue, figure
from maps.columns import SAMPLING
from maps.exports import csv_text
from maps.language_file import english
from maps.plain_page import paragraph, plain_page
from maps.sampling_chart import (
    ChartLabel,
    chart_page,
    page_style,
    stop_line_svg,
    stop_line_table,
)
from maps.sampling_words import (
    Unit,
    chart_sentences,
    dispersion_sentences,
    k_interval,
    line_sentences,
    performance_sentences,
    size_sentence,
    trial_sentence,
)
from spatial.class_sampling import ClassChart, ClassSampling, SiteSampling
from spatial.sampling import dispersion_table

_MEASURES = {
    "traps": ("adults_per_trap_week",),
    "cores": ("larvae_per_m2", "larvae_per_ft2"),
}
"""Settings that give a limit of each kind."""

_HALF_WIDTH_TAKES = 3.84
"""So many times as many units as a standard error: the square of 1.96."""

_NONE = "\N{EN DASH}"

_LAYOUT = (
    "table.lead td,table.lead th{min-width:0}table.lead tbody th{text-align:left}"
    "table.lead th{overflow-wrap:normal}table.lead .k{white-space:normal}"
    "@media(max-width:520px){.wide{display:none}}"
    # A thumb's width: 44 px, as on the map.
    "@media screen{.links a{display:inline-block;padding:11px 0}}"
    # On paper the numbers of the line stand beside its picture, open or not.
    "@media print{section{break-inside:avoid}section p{font-size:11px;line-height:1.3;margin:3px 0}"
    "summary{display:none}"
    "details::details-content{content-visibility:visible;height:auto}"
    ".line{display:grid;grid-template-columns:105mm 1fr;gap:5mm}.line table{margin:0}"
    ".line th,.line td{padding:0 3px;min-width:0}.line tbody tr{height:4.2mm}}"
)
_RIGHT_TO_LEFT = "table.lead tbody th{text-align:right}"


def unit_of(found: ClassSampling) -> Unit:
    """Return what is counted in a class."""
    if found.design:
        return Unit("traps", found.dispersion.nights)
    return Unit("cores", found.diameter_cm)


def place_of(found: ClassSampling, lang: Catalogue) -> str:
    """Return the name of a class."""
    key, use = unit_of(found).key("place"), first_use(found.dispersion.use, lang)
    if found.design:
        return lang.say(key, use=use, design=found.design)
    return lang.say(key, figure(found.diameter_cm), use=use)


def first_use(use: str, lang: Catalogue) -> str:
    """Return a zone's use as it begins a line; one without a message is the user's own word.

    Examples
    --------
    >>> from maps.language_file import english
    >>> first_use("sod_block", english()), first_use("putting_course", english())
    ('Sod block', 'Putting course')
    """
    plain = use.replace("_", " ")
    key = f"uses_first.{plain.replace(' ', '_')}"
    return lang.say(key) if key in lang.messages else plain[:1].upper() + plain[1:]


def class_sentences(
    found: ClassSampling, cutoff: str, lang: Catalogue, *, sizes: bool = True
) -> list[str]:
    """Return everything that is said of a class; without `sizes` those that could be told."""
    unit = unit_of(found)
    lines = [*dispersion_sentences(found.dispersion, unit, lang), *_given_k(found, lang)]
    if found.dispersion.mean > 0:
        lines += [size_sentence(size, unit, lang) for size in found.sizes if sizes or size.reason]
        law = "rest_k" if found.line.form == "nb" else "rest_taylor"
        lines += [] if found.sizes[0].reason else [lang.say(f"sampling.{law}")]
        lines += line_sentences(found.line, unit, lang)
    if found.trial is not None:
        lines.append(trial_sentence(found.trial, found.line, unit, lang))
    for chart in found.charts:
        lines += [_limit_sentence(chart, unit, lang), *chart_sentences(chart.chart, unit, lang)]
        for tried in (chart.performance, chart.patchier):
            if tried is not None:
                lines += performance_sentences(tried, chart.chart, unit, lang)
    return [*lines, *_no_limit(found, cutoff, lang)]


def _given_k(found: ClassSampling, lang: Catalogue) -> list[str]:
    k = found.given_k
    return [] if math.isnan(k) else [lang.say("sampling.given_k", k=lang.figure(k))]


def _no_limit(found: ClassSampling, cutoff: str, lang: Catalogue) -> list[str]:
    """Return why a class has no decision chart, and how it gets one; nothing if it has a limit."""
    if not found.no_limit:
        return []
    measure = lang.either(_MEASURES[unit_of(found).kind])
    key = f"sampling_no_limit.{found.no_limit}"
    return [lang.say(key, measure=measure, day=cutoff, design=found.design)]


def _limit_sentence(chart: ClassChart, unit: Unit, lang: Catalogue) -> str:
    limit = chart.limit
    return lang.say(
        unit.key("limit_of"),
        zones=lang.listed(chart.zones),
        amount=lang.figure(limit.amount, 4),
        source=limit.source,
        dated=limit.dated,
    )


def untold_sentences(classes: list[ClassSampling], lang: Catalogue) -> list[str]:
    """Return the classes of which nothing can be said, those with the same reason together."""
    places: dict[str, str] = {}
    for each in classes:
        key, place = _untold_key(each), place_of(each, lang)
        if key in places:
            place = lang.say("sampling.between", places=places[key], place=place)
        places[key] = place
    return [lang.say(key, places=named) for key, named in places.items()]


def _untold_key(found: ClassSampling) -> str:
    if found.dispersion.reason == "no_catch":
        return "sampling.untold_no_catch"
    return unit_of(found).key("untold_single_counts")


def sampling_sentences(found: SiteSampling, lang: Catalogue) -> list[str]:
    """Return the short account for the terminal: a heading and the sizes of every class."""
    cutoff = lang.day(found.season.cutoff)
    classes = [*found.traps, *found.cores]
    lines = [] if found.traps else [lang.say("sampling.no_counts", day=cutoff)]
    lines += [_short(each, lang) for each in classes if each.told]
    lines += untold_sentences([each for each in classes if not each.told], lang)
    lines.append(lang.say("sampling.charts", len(chart_names(found))))
    without = sorted(classes, key=lambda each: (each.no_limit, each.design))
    # Classes that lack the same thing are told once.
    return lines + list(dict.fromkeys(s for each in without for s in _no_limit(each, cutoff, lang)))


def _short(found: ClassSampling, lang: Catalogue) -> str:
    """Return what is said first of a class, and its sizes."""
    unit = unit_of(found)
    said = [dispersion_sentences(found.dispersion, unit, lang)[0], *_given_k(found, lang)]
    if not found.sizes[0].reason:
        said += [size_sentence(size, unit, lang) for size in found.sizes]
    return lang.say("sampling.of_class", place=place_of(found, lang), said=" ".join(said))


def core_sentences(found: SiteSampling, lang: Catalogue) -> list[str]:
    """Return why cores say nothing, where they do not."""
    lines = [] if found.cores else [lang.say("sampling.no_cores")]
    if found.pooled_cores:
        lines.append(lang.say("sampling.pooled", found.pooled_cores))
    return lines


def sampling_html(found: SiteSampling, lang: Catalogue, *, cores: bool = False) -> str:
    """Return the page: every class with its figures and its stop line."""
    cutoff = lang.day(found.season.cutoff)
    title = lang.say("sampling.title", site=found.site.settings.name)
    fold = lang.figure(_HALF_WIDTH_TAKES)
    scatter = lang.say("sampling.scatter", season=found.season.label, day=cutoff, fold=fold)
    parts = [f"<h1>{escape(title)}</h1>", paragraph(scatter)]
    parts += [] if found.traps else [paragraph(lang.say("sampling.no_counts", day=cutoff))]
    classes = [*found.traps, *found.cores]
    told = [each for each in classes if each.told]
    parts += [_lead(told, found.wanted.d, lang)] if told else []
    parts += map(paragraph, untold_sentences([each for each in classes if not each.told], lang))
    parts += [_section(each, cutoff, f"line{number}", lang) for number, each in enumerate(told)]
    if cores:
        parts += map(paragraph, core_sentences(found, lang))
    parts += _links(list(chart_names(found)), lang)
    made_by = lang.say("sampling.made_by", version=VERSION)
    parts.append(f"<footer>{paragraph(made_by)}</footer>")
    style = page_style(lang) + _LAYOUT
    style += _RIGHT_TO_LEFT if lang.direction == "rtl" else ""
    return plain_page(title, style, parts, language=(lang.tag, lang.direction))


def _links(names: list[str], lang: Catalogue) -> list[str]:
    """Return the list of charts to carry, if there are any."""
    items = "".join(f'<li><a href="{escape(name)}">{escape(name)}</a></li>' for name in names)
    head = escape(lang.say("sampling.to_carry"))
    return [f'<h2>{head}</h2><ul class="links">{items}</ul>'] if names else []


def _section(found: ClassSampling, cutoff: str, key: str, lang: Catalogue) -> str:
    label = ChartLabel(place_of(found, lang), unit_of(found), cutoff, key)
    parts = [f"<h2>{escape(label.place)}</h2>"]
    parts += map(paragraph, class_sentences(found, cutoff, lang, sizes=False))
    if found.dispersion.mean > 0 and not found.line.reason:
        summary = escape(lang.say("sampling.line_table"))
        parts.append(
            f'<div class="line">{stop_line_svg(found.line, label, lang)}<details open><summary>'
            f"{summary}</summary>{stop_line_table(found.line, label, lang)}</details></div>"
        )
    return f"<section>{''.join(parts)}</section>"


_CELLS = ("", "wide", "", "wide", "k", "", "")
"""Class of each column of the first table."""


def _lead(classes: list[ClassSampling], d: float, lang: Catalogue) -> str:
    """Return the table that comes first: one row per class that can be told."""
    heads = [escape(each).replace(" %", "&nbsp;%") for each in _lead_heads(classes, d, lang)]
    head = "".join(
        f'<th scope="col" class="{kind}">{name}</th>'
        for kind, name in zip(_CELLS, heads, strict=True)
    )
    rows = ""
    for each in classes:
        cells = zip(_CELLS[1:], _lead_cells(each, lang), strict=True)
        rows += f'<tr><th scope="row">{escape(place_of(each, lang))}</th>'
        rows += "".join(f'<td class="{kind}">{escape(text)}</td>' for kind, text in cells)
        rows += "</tr>"
    caption = escape(lang.say("sampling_table.caption"))
    return (
        f'<table class="lead"><caption>{caption}</caption><thead><tr>{head}</tr></thead>'
        f"<tbody>{rows}</tbody></table>"
    )


def _lead_heads(classes: list[ClassSampling], d: float, lang: Catalogue) -> list[str]:
    only_traps = all(each.design for each in classes)
    sizes = ("visits_se", "visits_half_width") if only_traps else ("units_se", "units_half_width")
    keys = ("place", "counts", "mean", "ratio", "k", *sizes)
    return [lang.say(f"sampling_table.{key}", share=lang.percent(d)) for key in keys]


def _lead_cells(found: ClassSampling, lang: Catalogue) -> list[str]:
    seen, ratio = found.dispersion, found.dispersion.variance_to_mean
    return [
        lang.number(seen.counts),
        lang.rate(seen.mean),
        _NONE if math.isnan(ratio) else lang.decimal(ratio, 1),
        _k_cell(found, lang),
        *(_NONE if size.reason else lang.number(size.whole) for size in found.sizes),
    ]


def _k_cell(found: ClassSampling, lang: Catalogue) -> str:
    k = found.dispersion.k.adjusted
    if not math.isnan(found.given_k):
        return lang.say("sampling_table.k_given", k=lang.figure(found.given_k))
    if k.reason:
        return lang.say("sampling_table.k_unknown")
    interval = k_interval(k.low, k.high, lang)
    return lang.say("sampling_table.k_interval", k=lang.figure(k.k, 2), interval=interval)


def chart_names(found: SiteSampling) -> dict[str, tuple[ClassSampling, ClassChart]]:
    """Return the file name of every decision chart that could be made."""
    charts = [
        (each, chart)
        for each in (*found.traps, *found.cores)
        for chart in each.charts
        if not chart.chart.reason
    ]
    named = {}
    for number, (each, chart) in enumerate(charts, 1):
        word = re.sub(r"[^a-z0-9]+", "-", _file_word(each).lower()).strip("-")
        named[f"chart-{number}-{word}.html"] = (each, chart)
    return named


def _file_word(found: ClassSampling) -> str:
    """Return a class as the names of files have it, in every language."""
    kind = f"{found.design}-traps" if found.design else f"cores-of-{found.diameter_cm:g}-cm"
    return f"{found.dispersion.use}-{kind}"


def chart_pages(found: SiteSampling, lang: Catalogue) -> dict[str, str]:
    """Return one page to print and carry per decision chart, by file name."""
    cutoff = lang.day(found.season.cutoff)
    pages = {}
    for name, (each, chart) in chart_names(found).items():
        label = ChartLabel(place_of(each, lang), unit_of(each), cutoff)
        pages[name] = chart_page(chart.chart, chart.performance, label, lang)
    return pages


def sampling_csv(found: SiteSampling) -> str:
    """Return `sampling.csv`: one row per class, columns `maps.columns.SAMPLING`."""
    classes = [*found.traps, *found.cores]
    names = [each.name for each in SAMPLING]
    if not classes:
        return csv_text(pd.DataFrame(columns=names), SAMPLING)
    table = dispersion_table([each.dispersion for each in classes]).assign(
        week=found.season.week,
        cutoff=found.season.cutoff.isoformat(),
        design=[each.design for each in classes],
        core_cm=[each.diameter_cm for each in classes],
        precision=found.wanted.d,
        units_se=[_whole(each, 0) for each in classes],
        units_half_width=[_whole(each, 1) for each in classes],
        k_given=[each.given_k for each in classes],
        size_reason=[each.sizes[0].reason for each in classes],
        stop_line_reason=[each.line.reason for each in classes],
        charts=[sum(not chart.chart.reason for chart in each.charts) for each in classes],
        no_limit=[each.no_limit for each in classes],
    )
    return csv_text(table.replace([math.inf, -math.inf], np.nan), SAMPLING)


def _whole(found: ClassSampling, place: int) -> float:
    size = found.sizes[place]
    return math.nan if size.reason else float(size.whole)


def sampling_json(found: SiteSampling, *, cores: bool = False) -> str:
    """Return `sampling.json`: sentences, charts and provenance; in English, as all JSON."""
    lang = english()
    cutoff = lang.day(found.season.cutoff)
    facts = {
        "format": "snoutline sampling 1",
        "site": found.site.settings.name,
        "week": found.season.week,
        "cutoff": found.season.cutoff.isoformat(),
        "precision": found.wanted.d,
        "fold": found.wanted.fold,
        "error": found.wanted.error,
        "k": None if math.isnan(found.wanted.k) else found.wanted.k,
        "classes": [
            {
                "class": place_of(each, lang),
                "sentences": class_sentences(each, cutoff, lang),
                "charts": [_chart_facts(chart) for chart in each.charts],
            }
            for each in (*found.traps, *found.cores)
        ],
        "cores": core_sentences(found, lang) if cores else [],
        "inputs": dict(sorted(found.site.hashes.items())),
        "snoutline": VERSION,
    }
    return json.dumps(facts, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _chart_facts(found: ClassChart) -> dict[str, object]:
    chart, tried = found.chart, found.performance
    facts: dict[str, object] = {
        "zones": list(found.zones),
        "limit": found.limit.amount,
        "source": found.limit.source,
        "dated": found.limit.dated,
        "reason": chart.reason,
    }
    if tried is None:
        return facts
    columns = ("mean", "below", "above", "undecided", "units", "wald_below", "wald_units")
    table = {name: [round(float(x), 4) for x in getattr(tried, name)] for name in columns}
    return facts | {
        "k": round(chart.k, 4),
        "slope": round(chart.slope, 6),
        "lower": round(chart.lower, 6),
        "upper": round(chart.upper, 6),
        "most": chart.most,
        "runs": tried.runs,
        "performance": table,
    }
