"""What a network can carry and where the next traps go: one page to print, and its tables."""

from __future__ import annotations

import json
import math
from collections.abc import Hashable, Mapping
from html import escape
from typing import Any

import numpy as np
import pandas as pd

from data.version import VERSION
from maps.cautions import cautions
from maps.columns import NETWORK, SUGGESTED
from maps.exports import WGS84, csv_text, rounded
from maps.language_file import english
from maps.network_map import HATCHES, KEY, STYLE, dot_swatch, network_map_svg, place_swatch
from maps.network_words import (
    DIG_NOTE,
    HOW,
    PURPOSE_ASKS,
    PURPOSE_HEADS,
    counts_of,
    network_sentences,
    place_sentences,
    verdict_text,
)
from maps.page import template_text
from maps.palette import BAR, INK
from maps.plain_page import paragraph, plain_page
from maps.plan_map import key_svg
from maps.weeks import day_text
from maps.words import count_of, distance_text, interval_range, rate_text, use_text
from spatial.network_report import NetworkReport
from spatial.precision import of_way
from spatial.trap_plan import TrapPlan
from spatial.verdicts import PURPOSES

_STYLE = (
    ".curve{display:block;width:100%;max-width:130mm}.curve text{font-size:13px}"
    ".net td{white-space:normal}.net{font-size:8.5pt}ol.list{padding-left:7mm}"
    "@media screen{.net td:nth-child(n+7){min-width:10em}.net td,.net th{overflow-wrap:normal}}"
)

_CURVE_WIDTH, _CURVE_HEIGHT = 420.0, 170.0
_LEFT, _BOTTOM, _TOP = 46.0, 34.0, 12.0


def network_html(report: NetworkReport) -> str:
    """Return the page: self-contained, offline, printable."""
    analysis = report.analysis
    title = f"What the trap network can carry: {analysis.site.settings.name}"
    about = (
        f"Season {analysis.season.label}, up to {day_text(analysis.season.cutoff)}: "
        f"{count_of(int(analysis.traps['in_use'].sum()), 'trap')} in use."
    )
    said = "".join(f"<li>{escape(line)}</li>" for line in network_sentences(report))
    places = "".join(f"<li>{escape(line)}</li>" for line in place_sentences(report))
    cared = "".join(f"<li>{escape(line)}</li>" for line in (DIG_NOTE, *cautions(english())))
    parts = [
        f'<h1>{escape(title)}</h1><p class="sub">{escape(about)}</p><ul class="list">{said}</ul>',
        f"<figure>{network_map_svg(report)}<figcaption>{_key(report)}</figcaption></figure>",
        f'<h2>The next places, best first</h2><ol class="list">{places}</ol>' if places else "",
        _curve_part(report.plan),
        f'<div class="care"><b>Before digging</b><ul>{cared}</ul></div>',
        f"<h2>Zone by zone</h2>{_purposes()}{_table(report)}",
        "<h2>How this was made</h2>",
        *map(paragraph, HOW),
        f"<footer>{paragraph(f'snoutline {VERSION}. {_files(report)}')}</footer>",
    ]
    return plain_page(
        title,
        template_text("work_order.css") + template_text("plan_map.css") + STYLE + _STYLE,
        parts,
    )


def _files(report: NetworkReport) -> str:
    hashes = sorted(report.analysis.site.hashes.items())
    return "Files (SHA-256): " + "; ".join(f"{name} {value[:12]}" for name, value in hashes) + "."


def _key(report: NetworkReport) -> str:
    entries = [(key_svg(name, HATCHES.get(name)), text) for name, text in KEY]
    entries.append((dot_swatch("n-trap"), "trap in use"))
    if report.plan.moved:
        entries.append((dot_swatch("n-moved"), "trap that would do more elsewhere"))
    if len(report.plan.suggestions):
        entries.append((place_swatch(), "place for a new trap, numbered"))
    return "".join(f"<span>{swatch}{escape(text)}</span>" for swatch, text in entries)


def _curve_part(plan: TrapPlan) -> str:
    if not len(plan.curve_ha):
        return ""
    return f"<h2>What the next traps buy</h2>{curve_svg(plan)}"


def curve_svg(plan: TrapPlan) -> str:
    """Return what the next 1, 2, ... traps are worth together, as bars, with the knee marked."""
    worth = plan.curve_ha
    top, wide = float(worth.max()) or 1.0, (_CURVE_WIDTH - _LEFT) / len(worth)
    base = _CURVE_HEIGHT - _BOTTOM
    bars = []
    for number, value in enumerate(worth, 1):
        high = (base - _TOP) * float(value) / top
        x = _LEFT + wide * (number - 1)
        fill = INK if number == plan.knee else BAR
        bars.append(
            f'<rect x="{x + 1:.1f}" y="{base - high:.1f}" width="{wide - 2:.1f}" '
            f'height="{high:.1f}" fill="{fill}"/>'
        )
        if number == 1 or number % 5 == 0 or number == plan.knee:
            middle = x + wide / 2
            bars.append(f'<text x="{middle:.1f}" y="{base + 13:.0f}" text-anchor="middle">{number}')
            bars.append("</text>")
    knee = f"; black: the knee, {plan.knee}" if plan.knee else ""
    return (
        f'<svg class="curve" viewBox="0 0 {_CURVE_WIDTH:g} {_CURVE_HEIGHT:g}" role="img" '
        'aria-label="What the next traps are worth together">'
        f'{"".join(bars)}<text x="{_LEFT - 5:g}" y="{_TOP + 9:g}" text-anchor="end">{top:.2g}'
        f'</text><text x="{_LEFT - 5:g}" y="{base:g}" text-anchor="end">0 ha</text>'
        f'<text x="{_LEFT:g}" y="{_CURVE_HEIGHT - 5:g}">new traps, together worth hectares{knee}'
        "</text></svg>"
    )


def _purposes() -> str:
    rows = "".join(
        f"<li><b>{PURPOSE_HEADS[each]}</b>: {escape(PURPOSE_ASKS[each])}.</li>" for each in PURPOSES
    )
    return f'<ul class="list">{rows}</ul>'


def _table(report: NetworkReport) -> str:
    settings = report.analysis.site.settings
    units = settings.units

    def bare(row: Mapping[Hashable, Any]) -> bool:
        return row["use"] in settings.network.no_trap_uses

    heads = ("Zone", "Traps", "Per ha", "In reach", "Open edge", "Expected, 95 %", *_SHORT)
    head = "".join(f'<th scope="col">{text}</th>' for text in heads)
    rows = []
    for row in network_table(report).to_dict("records"):
        spread = interval_range(float(row["low_95"]), float(row["high_95"]))
        rate = "no rate" if math.isnan(row["rate"]) else rate_text(float(row["rate"]))
        cells = [
            f"{row['traps']:.0f}",
            f"{row['traps_per_ha']:.1f}",
            "" if math.isnan(row["share_in_reach"]) else f"{100 * row['share_in_reach']:.0f} %",
            distance_text(float(row["longest_open_m"]), units) if row["edge_m"] else "no edge",
            f"{rate} ({spread})" if spread else rate,
            *(_cell(report, str(row["zone_id"]), each, closed=bare(row)) for each in PURPOSES),
        ]
        name = (
            f'{escape(str(row["zone_id"]))} <span class="sub">{escape(use_text(row["use"]))}</span>'
        )
        tds = "".join(f"<td>{escape(text)}</td>" for text in cells)
        rows.append(f'<tr><th scope="row">{name}</th>{tds}</tr>')
    return (
        '<div class="scroll" tabindex="0" role="region" aria-label="Zones">'
        f'<table class="net zones"><thead><tr>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


_SHORT = tuple(PURPOSE_HEADS[each] for each in PURPOSES)


def _cell(report: NetworkReport, zone_id: str, purpose: str, *, closed: bool) -> str:
    told = report.verdicts
    row = told[(told["zone_id"] == zone_id) & (told["purpose"] == purpose)].iloc[0]
    if closed and row["missing"] > 0:
        return f"{row['verdict']}: its use carries no new traps"
    return verdict_text(str(row["verdict"]), float(row["missing"]), row["reasons"])


def network_table(report: NetworkReport) -> pd.DataFrame:
    """Return one row per zone with all that is known of its traps: columns `NETWORK`."""
    zones, season = report.analysis.zones, report.analysis.season
    ids = list(zones["zone_id"])
    nb = of_way(report.precision, "nb", ids)
    taylor = of_way(report.precision, "taylor", ids)
    table = report.zones.assign(
        week=season.week,
        cutoff=season.cutoff.isoformat(),
        use=zones["use"].to_numpy(),
        area_ha=zones["area_ha"].to_numpy(),
        taylor_d=taylor["d"],
        taylor_season_traps=taylor["season_traps"],
        **{name: nb[name] for name in _FROM_PRECISION},
        **_verdict_columns(report),
    )
    return table.replace([np.inf, -np.inf], np.nan)


_FROM_PRECISION = (
    *("rate", "k", "k_from", "d", "low_80", "high_80", "low_95", "high_95"),
    *("more_traps", "more_weeks", "season_traps"),
)


def _verdict_columns(report: NetworkReport) -> dict[str, pd.Series[Any]]:
    columns: dict[str, pd.Series[Any]] = {}
    order = list(report.analysis.zones["zone_id"])
    for purpose in PURPOSES:
        own = report.verdicts[report.verdicts["purpose"] == purpose].set_index("zone_id")
        rows = own.loc[order].reset_index()
        columns[purpose] = rows["verdict"]
        columns[f"{purpose}_missing"] = rows["missing"]
        columns[f"{purpose}_reasons"] = rows["reasons"].map(" ".join)
    return columns


def network_csv(report: NetworkReport) -> str:
    """Return `network.csv`: one row per zone, columns `maps.columns.NETWORK`."""
    return csv_text(network_table(report), NETWORK)


def suggested_csv(report: NetworkReport) -> str:
    """Return `suggested-traps.csv`: columns `maps.columns.SUGGESTED`."""
    places = report.plan.suggestions
    degrees = places.geometry.to_crs(WGS84)
    table = pd.DataFrame(places.drop(columns="geometry")).assign(
        added_min=report.minutes,
        longitude=degrees.x,
        latitude=degrees.y,
        sentence=place_sentences(report),
    )
    return csv_text(table, SUGGESTED)


def network_json(report: NetworkReport) -> str:
    """Return `network.json`: the whole in figures, with its provenance."""
    plan, analysis = report.plan, report.analysis
    facts = {
        "format": "snoutline network 1",
        "site": analysis.site.settings.name,
        "week": analysis.season.week,
        "cutoff": analysis.season.cutoff.isoformat(),
        "sentences": network_sentences(report),
        "verdicts": {purpose: counts_of(report, purpose) for purpose in PURPOSES},
        "new_places": len(plan.suggestions),
        "moved": list(plan.moved),
        "redundant": list(report.redundant),
        "worth_ha": rounded(plan.worth_ha, 4),
        "bound_ha": rounded(plan.bound_ha, 4),
        "curve_ha": [rounded(float(each), 4) for each in plan.curve_ha],
        "knee": plan.knee,
        "weeks": plan.weeks,
        "next_season": plan.next_season,
        "round_minutes": rounded(report.round_minutes, 1),
        "inputs": dict(sorted(analysis.site.hashes.items())),
        "snoutline": VERSION,
    }
    return json.dumps(facts, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
