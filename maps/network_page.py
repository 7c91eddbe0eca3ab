"""What a network can carry and where the next traps go: one page to print, and its tables."""

from __future__ import annotations

import json
import math
from collections.abc import Hashable, Iterable, Mapping
from decimal import Decimal
from html import escape
from typing import Any

import numpy as np
import pandas as pd

from data.version import VERSION
from maps.catalogue import Catalogue
from maps.cautions import cautions
from maps.columns import NETWORK, SUGGESTED
from maps.exports import WGS84, csv_text, rounded
from maps.language_file import english
from maps.network_map import HATCHES, KEY, STYLE, dot_swatch, network_map_svg, place_swatch
from maps.network_words import (
    counts_of,
    network_sentences,
    place_sentences,
    verdict_text,
)
from maps.page import template_text
from maps.palette import BAR, INK
from maps.plain_page import paragraph, plain_page
from maps.plan_map import key_svg
from spatial.network_report import NetworkReport
from spatial.precision import of_way
from spatial.trap_plan import TrapPlan
from spatial.verdicts import PURPOSES

_STYLE = (
    ".curve{display:block;width:100%;max-width:130mm}.curve text{font-size:13px}"
    ".net td{white-space:normal}.net{font-size:8.5pt}ol.list{padding-inline-start:7mm}"
    "@media screen{.net td:nth-child(n+7){min-width:10em}.net td,.net th{overflow-wrap:normal}}"
)

_CURVE_WIDTH, _CURVE_HEIGHT = 420.0, 170.0
_LEFT, _BOTTOM, _TOP = 46.0, 34.0, 12.0


def network_html(report: NetworkReport, lang: Catalogue) -> str:
    """Return the page: self-contained, offline, printable."""
    title = lang.say("network_page.title", site=report.analysis.site.settings.name)
    places = _items(place_sentences(report, lang))
    picture = network_map_svg(report, lang.say("network_page.map"), lang)
    parts = [
        f'<h1>{escape(title)}</h1><p class="sub">{escape(_about(report, lang))}</p>'
        f'<ul class="list">{_items(network_sentences(report, lang))}</ul>',
        f"<figure>{picture}<figcaption>{_key(report, lang)}</figcaption></figure>",
        f'{_head("places", lang)}<ol class="list">{places}</ol>' if places else "",
        _curve_part(report.plan, lang),
        _care(lang),
        f"{_head('zones_head', lang)}{_purposes(lang)}{_table(report, lang)}",
        _head("made", lang),
        *(paragraph(lang.say(f"network_page.{each}")) for each in HOW),
        f"<footer>{paragraph(_made_from(report, lang))}</footer>",
    ]
    style = template_text("work_order.css") + template_text("plan_map.css") + STYLE + _STYLE
    return plain_page(title, style, parts, language=(lang.tag, lang.direction))


HOW = ("how_worth", "how_places", "how_expected")
"""Keys of what the page says about its method."""


def _about(report: NetworkReport, lang: Catalogue) -> str:
    season, used = report.analysis.season, int(report.analysis.traps["in_use"].sum())
    day = lang.day(season.cutoff)
    return lang.say("network_page.about", used, season=season.label, day=day)


def _items(lines: Iterable[str]) -> str:
    return "".join(f"<li>{escape(line)}</li>" for line in lines)


def _head(key: str, lang: Catalogue) -> str:
    return f"<h2>{escape(lang.say(f'network_page.{key}'))}</h2>"


def _care(lang: Catalogue) -> str:
    head, dig = (lang.say(f"network_page.{key}") for key in ("dig_head", "dig"))
    return f'<div class="care"><b>{escape(head)}</b><ul>{_items((dig, *cautions(lang)))}</ul></div>'


def _made_from(report: NetworkReport, lang: Catalogue) -> str:
    own = {lang.file: lang.digest} if lang.file else {}
    hashes = sorted({**report.analysis.site.hashes, **own}.items())
    files = lang.joined([f"{name} {value[:12]}" for name, value in hashes], "apart")
    return lang.say("network_page.files", version=VERSION, files=files)


def _key(report: NetworkReport, lang: Catalogue) -> str:
    entries = [(key_svg(name, HATCHES.get(name)), key) for name, key in KEY]
    entries.append((dot_swatch("n-trap"), "key_trap"))
    if report.plan.moved:
        entries.append((dot_swatch("n-moved"), "key_moved"))
    if len(report.plan.suggestions):
        entries.append((place_swatch(), "key_place"))
    return "".join(
        f"<span>{swatch}{escape(lang.say(f'network_page.{key}'))}</span>" for swatch, key in entries
    )


def _curve_part(plan: TrapPlan, lang: Catalogue) -> str:
    return f"{_head('buy', lang)}{curve_svg(plan, lang)}" if len(plan.curve_ha) else ""


def curve_svg(plan: TrapPlan, lang: Catalogue) -> str:
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
    axis = lang.say("network_page.axis_knee", plan.knee) if plan.knee else ""
    axis = axis or lang.say("network_page.axis")
    label = escape(lang.say("network_page.curve"))
    zero = escape(lang.say("network_page.hectares", 0))
    return (
        f'<svg class="curve" viewBox="0 0 {_CURVE_WIDTH:g} {_CURVE_HEIGHT:g}" role="img" '
        f'aria-label="{label}">'
        f'{"".join(bars)}<text x="{_LEFT - 5:g}" y="{_TOP + 9:g}" text-anchor="end">'
        f"{lang.number(Decimal(f'{top:.2g}'))}"
        f'</text><text x="{_LEFT - 5:g}" y="{base:g}" text-anchor="end">{zero}</text>'
        f'<text x="{_LEFT:g}" y="{_CURVE_HEIGHT - 5:g}">{escape(axis)}</text></svg>'
    )


def _purposes(lang: Catalogue) -> str:
    rows = "".join(
        f"<li><b>{escape(lang.say(f'network_purposes.{each}'))}</b>: "
        f"{escape(lang.say('page.sentence', text=lang.say(f'network_asks.{each}')))}</li>"
        for each in PURPOSES
    )
    return f'<ul class="list">{rows}</ul>'


def _table(report: NetworkReport, lang: Catalogue) -> str:
    texts = [
        *(lang.say(f"network_page.{key}") for key in COLUMNS),
        *(lang.say(f"network_purposes.{each}") for each in PURPOSES),
    ]
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in texts)
    rows = "".join(_row(report, row, lang) for row in network_table(report).to_dict("records"))
    label = escape(lang.say("network_page.zones"))
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{label}">'
        f'<table class="net zones"><thead><tr>{head}</tr></thead>'
        f"<tbody>{rows}</tbody></table></div>"
    )


COLUMNS = ("zone", "traps", "per_ha", "in_reach", "open_edge", "expected")
"""Keys of the heads of the table, before the purposes."""


def _row(report: NetworkReport, row: Mapping[Hashable, Any], lang: Catalogue) -> str:
    settings = report.analysis.site.settings
    closed = row["use"] in settings.network.no_trap_uses
    open_edge = lang.distance(float(row["longest_open_m"]), settings.units)
    cells = [
        lang.decimal(row["traps"], 0),
        lang.decimal(row["traps_per_ha"], 1),
        "" if math.isnan(row["share_in_reach"]) else lang.percent(row["share_in_reach"]),
        open_edge if row["edge_m"] else lang.say("network_page.no_edge"),
        _expected(row, lang),
        *(_cell(report, str(row["zone_id"]), each, lang, closed=closed) for each in PURPOSES),
    ]
    use = f'<span class="sub">{escape(lang.use(str(row["use"])))}</span>'
    tds = "".join(f"<td>{escape(text)}</td>" for text in cells)
    return f'<tr><th scope="row">{escape(str(row["zone_id"]))} {use}</th>{tds}</tr>'


def _expected(row: Mapping[Hashable, Any], lang: Catalogue) -> str:
    rate, spread = lang.rate(float(row["rate"])), lang.rates(row["low_95"], row["high_95"])
    return lang.say("zone_rate.interval", rate=rate, interval=spread) if spread else rate


def _cell(
    report: NetworkReport, zone_id: str, purpose: str, lang: Catalogue, *, closed: bool
) -> str:
    told = report.verdicts
    row = told[(told["zone_id"] == zone_id) & (told["purpose"] == purpose)].iloc[0]
    if closed and row["missing"] > 0:
        verdict = lang.say(f"network_verdicts.{row['verdict']}")
        return lang.say("network_verdicts.closed", verdict=verdict)
    return verdict_text(str(row["verdict"]), float(row["missing"]), row["reasons"], lang)


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
        sentence=place_sentences(report, english()),
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
        "sentences": network_sentences(report, english()),
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
