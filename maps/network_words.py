"""Words for what a network can carry: every verdict and its reasons, and the next traps."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from data.settings import Units
from maps.catalogue import Catalogue
from maps.words import chance_sentence, suggestion_sentence
from spatial.network_report import NetworkReport
from spatial.trap_plan import TrapPlan
from spatial.verdicts import PURPOSES, VERDICTS, verdict_counts


def network_sentences(report: NetworkReport, lang: Catalogue) -> list[str]:
    """Return what the network can carry, and what the next traps would add."""
    lines = [_count_sentence(purpose, counts_of(report, purpose), lang) for purpose in PURPOSES]
    chance = chance_sentence(report.analysis.chance, lang)
    lines += [chance] if chance else []
    lines += _closed_sentences(report, lang)
    lines += _pair_sentences(report, lang)
    lines += _left_bare(report, lang)
    return [*lines, *plan_sentences(report.plan, report.analysis.site.settings.units, lang)]


def _closed_sentences(report: NetworkReport, lang: Catalogue) -> list[str]:
    analysis = report.analysis
    zones = analysis.zones
    bare = zones["use"].isin(analysis.site.settings.network.no_trap_uses)
    uses = [lang.use(each) for each in sorted(set(zones["use"][bare]))]
    if not uses:
        return []
    return [lang.say("network_said.closed", int(bare.sum()), uses=lang.listed(uses))]


def counts_of(report: NetworkReport, purpose: str) -> dict[str, int]:
    """Return how many zones have each verdict for a purpose."""
    counts = verdict_counts(report.verdicts).loc[purpose].to_numpy(dtype=int)
    return dict(zip(VERDICTS, counts.tolist(), strict=True))


def _count_sentence(purpose: str, counts: dict[str, int], lang: Catalogue) -> str:
    text = lang.say("network_said.enough", sum(counts.values()), enough=counts["enough"])
    for code in ("thin", "none"):
        if counts[code]:
            text = lang.say(f"network_said.{code}", counts[code], counts=text)
    head = lang.say(f"network_purposes.{purpose}")
    return lang.say("network_said.counts", purpose=head, counts=text)


def _pair_sentences(report: NetworkReport, lang: Catalogue) -> list[str]:
    lines = []
    pairs = [
        lang.say("network_said.pair", first=str(first), second=str(second))
        for first, second in report.pairs[["first", "second"]].to_numpy()
    ]
    if pairs:
        lines.append(lang.say("network_said.close", pairs=lang.listed(pairs)))
    if gone := list(report.redundant):
        lines.append(lang.say("network_said.redundant", len(gone), names=lang.listed(gone)))
    return lines


def _left_bare(report: NetworkReport, lang: Catalogue) -> list[str]:
    """Return which zones would lose their last trap by the moves."""
    traps = report.analysis.traps[report.analysis.traps["in_use"]]
    moved = traps["location_id"].isin(report.plan.moved)
    stay = {*traps.loc[~moved, "zone_id"].dropna(), *report.plan.suggestions["zone_id"]}
    bare = sorted(set(traps.loc[moved, "zone_id"].dropna()) - stay)
    return [lang.say("network_said.bare", zones=lang.listed(bare))] if bare else []


def plan_sentences(plan: TrapPlan, units: Units, lang: Catalogue) -> list[str]:
    """Return what the suggested traps are worth together, and which are to be moved."""
    if not len(plan.suggestions):
        return [lang.say("network_said.no_place")]
    lines = [_settled_sentence(plan, units, lang)]
    if moved := list(plan.moved):
        lines.append(lang.say("network_said.move", len(moved), names=lang.listed(moved)))
    if plan.knee:
        lines.append(lang.say("network_said.knee", plan.knee))
    share = plan.worth_ha / plan.bound_ha if plan.bound_ha > 0 else 1.0
    times = lang.decimal(1 / max(share, 1e-9), 2)
    return [*lines, lang.say("network_said.bound", times=times)]


def _settled_sentence(plan: TrapPlan, units: Units, lang: Catalogue) -> str:
    places, edge_m = plan.suggestions, float(plan.suggestions["edge_m"].sum())
    weeks = lang.say("network_said.weeks_left", plan.weeks)
    told = {
        "area": lang.area(float(places["settles_ha"].sum()), units),
        "when": lang.say("network_said.next_season") if plan.next_season else weeks,
    }
    if edge_m < 1:
        return lang.say("network_said.settles", len(places), **told)
    edge = lang.distance(edge_m, units)
    return lang.say("network_said.settles_watches", len(places), **told, edge=edge)


def place_sentences(report: NetworkReport, lang: Catalogue) -> list[str]:
    """Return every suggested place in words, with what it adds to the round."""
    units = report.analysis.site.settings.units
    table = pd.DataFrame(report.plan.suggestions.drop(columns="geometry"))
    return [
        " ".join([suggestion_sentence(row, units, lang), *_minutes(float(minutes), lang)])
        for row, minutes in zip(table.to_dict("records"), report.minutes, strict=True)
    ]


def _minutes(minutes: float, lang: Catalogue) -> list[str]:
    return [] if math.isnan(minutes) else [lang.say("network_said.minutes", round(minutes))]


def verdict_text(verdict: str, missing: float, reasons: Sequence[str], lang: Catalogue) -> str:
    """Return a verdict for a table.

    Examples
    --------
    >>> from maps.language_file import english
    >>> verdict_text("thin", 1.0, ("few_traps", "decided"), english())
    "thin, 1 missing: one trap's word; decided all the same"
    >>> verdict_text("enough", 0.0, (), english())
    'enough'
    """
    text = lang.say(f"network_verdicts.{verdict}")
    if missing > 0:
        text = lang.say("network_verdicts.missing", round(missing), verdict=text)
    why = lang.joined([lang.say(f"network_reasons.{code}") for code in reasons], "apart")
    return lang.say("network_verdicts.why", verdict=text, reasons=why) if why else text
