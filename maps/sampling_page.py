"""`sampling.html`, the charts to carry, `sampling.csv` and `sampling.json`."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from html import escape

import numpy as np
import pandas as pd

from data.version import VERSION
from maps.columns import SAMPLING
from maps.exports import csv_text
from maps.percent import percent_text
from maps.plain_page import STYLE, paragraph, plain_page
from maps.sampling_chart import (
    ChartLabel,
    chart_page,
    stop_line_svg,
    stop_line_table,
)
from maps.sampling_words import (
    CORE,
    NO_DISPERSION,
    REMEDIES,
    VISIT,
    Unit,
    chart_sentences,
    dispersion_sentences,
    k_interval,
    line_sentences,
    performance_sentences,
    size_sentence,
    trial_sentence,
)
from maps.weeks import day_text
from maps.words import count_of, listed, rate_text, use_text
from spatial.class_sampling import ClassChart, ClassSampling, SiteSampling
from spatial.sampling import dispersion_table

NO_LIMIT_TEXT = {
    "no_limit": "No decision chart: site.toml sets no limit for these zones. A chart needs one: "
    "add [[limits]] with {measure}, source and dated; none is ours to give.",
    "other_days": "No decision chart: the limits that site.toml sets for these zones do not hold "
    "on {cutoff}; choose another week, or add one for these days.",
    "no_ratio": "No decision chart: the limit belongs to the reference design, and how much more "
    "or less the design {design} catches is not known; set its ratio in [designs.{design}].",
}
"""Why a class has no decision chart, and how it gets one."""

_MEASURES = {True: "adults_per_trap_week", False: "larvae_per_m2 or larvae_per_ft2"}

NO_COUNTS = "No countable visit in a zone up to {cutoff}: nothing can be said about sampling."
NO_CORES = "No cores were recorded one by one this season, so their scatter is not known."
POOLED = (
    "{rows} of cores pooled several at a time: they say nothing about scatter between cores. "
    "For a chart, write one row per core (cores = 1)."
)


GIVEN_K = "k = {k:g} is yours (--k), not measured here: the counts of this class tell none."

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


def unit_of(found: ClassSampling) -> Unit:
    """Return what is counted in a class."""
    if found.design:
        nights = f"{found.dispersion.nights:g} trap-nights"
        return replace(VISIT, size=nights)
    return replace(CORE, size=f"{found.diameter_cm:g} cm across")


def place_of(found: ClassSampling) -> str:
    """Return the name of a class."""
    kind = f"{found.design} traps" if found.design else f"cores of {found.diameter_cm:g} cm"
    return f"{use_text(found.dispersion.use).capitalize()}, {kind}"


def class_sentences(found: ClassSampling, cutoff: str, *, sizes: bool = True) -> list[str]:
    """Return everything that is said of a class; without `sizes` those that could be told."""
    unit = unit_of(found)
    _, *more = dispersion_sentences(found.dispersion, unit)
    lines = [_first_sentence(found), *more]
    lines += [] if math.isnan(found.given_k) else [GIVEN_K.format(k=found.given_k)]
    if found.dispersion.mean > 0:
        lines += [size_sentence(size, unit) for size in found.sizes if sizes or size.reason]
        law = "one k" if found.line.form == "nb" else "Taylor's law"
        lines += [] if found.sizes[0].reason else [f"These numbers rest on {law}."]
        lines += line_sentences(found.line, unit)
    if found.trial is not None:
        lines.append(trial_sentence(found.trial, found.line, unit))
    for chart in found.charts:
        lines += [_limit_sentence(chart), *chart_sentences(chart.chart, unit)]
        for tried in (chart.performance, chart.patchier):
            if tried is not None:
                lines += performance_sentences(tried, chart.chart, unit)
    if found.no_limit:
        measure = _MEASURES[bool(found.design)]
        text = NO_LIMIT_TEXT[found.no_limit]
        lines.append(text.format(measure=measure, cutoff=cutoff, design=found.design))
    return lines


def untold_sentences(classes: list[ClassSampling]) -> list[str]:
    """Return the classes of which nothing can be said, those with the same reason together."""
    names: dict[str, list[str]] = {}
    for each in classes:
        reason = each.dispersion.reason
        remedy = REMEDIES[reason].format(remedy=unit_of(each).remedy)
        text = f"{NO_DISPERSION[reason]} {remedy}"
        names.setdefault(text[0].lower() + text[1:], []).append(place_of(each))
    return [f"{'; '.join(places)}: {text}" for text, places in names.items()]


def _first_sentence(found: ClassSampling) -> str:
    """Return how patchy a class is, without the name of the use in front."""
    return dispersion_sentences(found.dispersion, unit_of(found))[0].partition(": ")[2]


def _limit_sentence(chart: ClassChart) -> str:
    limit = chart.limit
    each = "adults per trap-week" if limit.stage == "adults" else "larvae per m2"
    return (
        f"Limit of {listed(list(chart.zones))}: {limit.amount:.4g} {each} "
        f"({limit.source}, {limit.dated})."
    )


def sampling_sentences(found: SiteSampling) -> list[str]:
    """Return the short account for the terminal: a heading and the sizes of every class."""
    cutoff = day_text(found.season.cutoff)
    classes = [*found.traps, *found.cores]
    lines = [] if found.traps else [NO_COUNTS.format(cutoff=cutoff)]
    for each in (each for each in classes if each.told):
        said = [_first_sentence(each)]
        said += [] if math.isnan(each.given_k) else [GIVEN_K.format(k=each.given_k)]
        if not each.sizes[0].reason:
            said += [size_sentence(size, unit_of(each)) for size in each.sizes]
        lines.append(f"{place_of(each)}: {' '.join(said)}")
    lines += untold_sentences([each for each in classes if not each.told])
    charts = len(chart_names(found))
    lines.append(f"{count_of(charts, 'decision chart')} to carry.")
    reasons = sorted({(each.no_limit, bool(each.design)) for each in classes if each.no_limit})
    for reason, traps in reasons:
        text = NO_LIMIT_TEXT[reason]
        designs = listed(sorted({each.design for each in classes if each.no_limit == reason}))
        lines.append(text.format(measure=_MEASURES[traps], cutoff=cutoff, design=designs))
    return lines


def core_sentences(found: SiteSampling) -> list[str]:
    """Return why cores say nothing, where they do not."""
    lines = [] if found.cores else [NO_CORES]
    if found.pooled_cores:
        lines.append(POOLED.format(rows=count_of(found.pooled_cores, "row")))
    return lines


def sampling_html(found: SiteSampling, *, cores: bool = False) -> str:
    """Return the page: every class with its figures and its stop line."""
    cutoff = day_text(found.season.cutoff)
    title = f"How much sampling is enough? {found.site.settings.name}"
    parts = [
        f"<h1>{escape(title)}</h1>",
        paragraph(
            f"Season {found.season.label} to {cutoff}. Scatter is measured within one zone in one "
            "round. A standard error and the half-width of a 95 % interval are two meanings of "
            "precision; the second takes 3.84 times as many."
        ),
    ]
    parts += [] if found.traps else [paragraph(NO_COUNTS.format(cutoff=cutoff))]
    classes = [*found.traps, *found.cores]
    told = [each for each in classes if each.told]
    parts += [_lead(told, found.wanted.d)] if told else []
    parts += map(paragraph, untold_sentences([each for each in classes if not each.told]))
    parts += [_section(each, cutoff, f"line{number}") for number, each in enumerate(told)]
    if cores:
        parts += map(paragraph, core_sentences(found))
    links = chart_names(found)
    if links:
        items = "".join(f'<li><a href="{escape(name)}">{escape(name)}</a></li>' for name in links)
        parts.append(f'<h2>Decision charts to carry</h2><ul class="links">{items}</ul>')
    parts.append(f"<footer>{paragraph(f'snoutline {VERSION}.')}</footer>")
    return plain_page(title, STYLE + _LAYOUT, parts)


def _section(found: ClassSampling, cutoff: str, key: str) -> str:
    label = ChartLabel(place_of(found), unit_of(found), cutoff, key, headed=True)
    parts = [f"<h2>{escape(label.place)}</h2>"]
    parts += map(paragraph, class_sentences(found, cutoff, sizes=False))
    if found.dispersion.mean > 0 and not found.line.reason:
        parts.append(
            f'<div class="line">{stop_line_svg(found.line, label)}<details open><summary>Stop line '
            f"as a table</summary>{stop_line_table(found.line, label)}</details></div>"
        )
    return f"<section>{''.join(parts)}</section>"


def _lead(classes: list[ClassSampling], d: float) -> str:
    """Return the table that comes first: one row per class that can be told."""
    share = percent_text(d)
    heads = {
        "Class": "",
        "Counts used": "wide",
        "Mean": "",
        "Variance / mean": "wide",
        "k (95 % interval)": "k",
        f"Visits for a standard error of {share}": "",
        f"Visits for a 95 % half-width of {share}": "",
    }
    if any(not each.design for each in classes):
        heads = {name.replace("Visits", "Visits or cores"): kind for name, kind in heads.items()}
    kinds = list(heads.values())
    head = "".join(
        f'<th scope="col" class="{kind}">{name.replace(" %", "&nbsp;%")}</th>'
        for name, kind in heads.items()
    )
    rows = ""
    for each in classes:
        cells = zip(kinds[1:], _lead_cells(each), strict=True)
        rows += f'<tr><th scope="row">{escape(place_of(each))}</th>'
        rows += "".join(f'<td class="{kind}">{escape(text)}</td>' for kind, text in cells)
        rows += "</tr>"
    caption = "How patchy, and how many are enough"
    return (
        f'<table class="lead"><caption>{caption}</caption><thead><tr>{head}</tr></thead>'
        f"<tbody>{rows}</tbody></table>"
    )


def _lead_cells(found: ClassSampling) -> list[str]:
    seen, k = found.dispersion, found.dispersion.k.adjusted
    own = f"{k.k:.2g} ({k_interval(k.low, k.high)})" if not k.reason else "not known"
    return [
        f"{seen.counts:,}",
        rate_text(seen.mean),
        _NONE if math.isnan(seen.variance_to_mean) else f"{seen.variance_to_mean:.1f}",
        own if math.isnan(found.given_k) else f"{found.given_k:g} (yours)",
        *(_NONE if size.reason else f"{size.whole:,}" for size in found.sizes),
    ]


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
        word = re.sub(r"[^a-z0-9]+", "-", place_of(each).lower()).strip("-")
        named[f"chart-{number}-{word}.html"] = (each, chart)
    return named


def chart_pages(found: SiteSampling) -> dict[str, str]:
    """Return one page to print and carry per decision chart, by file name."""
    cutoff = day_text(found.season.cutoff)
    return {
        name: chart_page(
            chart.chart, chart.performance, ChartLabel(place_of(each), unit_of(each), cutoff)
        )
        for name, (each, chart) in chart_names(found).items()
    }


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
    """Return `sampling.json`: sentences, charts and provenance."""
    cutoff = day_text(found.season.cutoff)
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
                "class": place_of(each),
                "sentences": class_sentences(each, cutoff),
                "charts": [_chart_facts(chart) for chart in each.charts],
            }
            for each in (*found.traps, *found.cores)
        ],
        "cores": core_sentences(found) if cores else [],
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
