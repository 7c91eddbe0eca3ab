"""Words for what a network can carry: every verdict and its reasons, and the next traps."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from data.settings import Units
from maps.language_file import english
from maps.words import (
    area_text,
    chance_sentence,
    count_of,
    distance_text,
    listed,
    suggestion_sentence,
    use_text,
)
from spatial.network_report import NetworkReport
from spatial.trap_plan import TrapPlan
from spatial.verdicts import PURPOSES, VERDICTS, verdict_counts

PURPOSE_HEADS = {
    "timing": "When adults walk",
    "evidence": "What each zone catches",
    "patches": "Where it clusters",
}

PURPOSE_ASKS = {
    "timing": "traps at refuge edges within reach of the zone, whichever zone they stand in",
    "evidence": "the zone's own traps, against the precision that you want",
    "patches": "traps in the zone that can be tested, in a network that finds such a patch",
}

VERDICT_TEXT = {"enough": "enough", "thin": "thin", "none": "none"}

REASON_TEXT = {
    "no_traps_in_reach": "no trap in reach",
    "no_refuges": "no refuge is drawn, so edge traps cannot be told",
    "no_edge_traps": "no trap in reach stands at a refuge edge",
    "few_edge_traps": "too few traps at refuge edges in reach",
    "no_traps": "no trap",
    "few_traps": "one trap's word",
    "no_rate": "no rate yet",
    "wide_interval": "its interval will be wide",
    "decided": "decided all the same",
    "low_anyway": "low in any case",
    "few_traps_site": "too few traps on the whole site",
    "not_testable": "its traps cannot be tested",
    "few_traps_near": "too few traps round it",
    "small_site": "the site is too small for such a patch",
    "weak_network": "the network would miss most such patches",
    "power_unknown": "what the network finds is not known",
}
"""Short, for a table."""

DIG_NOTE = (
    "Places are worked out on the map. Look at each on the ground, and have buried services and "
    "irrigation lines located before anyone digs."
)

HOW = (
    "A trap is worth the hectares that it is expected to settle of its zone, and a strip as wide "
    "as its reach along the refuge-facing edge that it is the first to watch. Where a zone has a "
    "limit, it is settled when the season is expected to put it above or below; where it has none, "
    "by how much narrower its interval gets.",
    "Places are never on uses that carry no traps, on obstacles or too near to them, to lines of "
    "play or to another trap, and can be walked to. The best set is searched for by adding the "
    "best place again and again and then swapping; no choice can be worth more than the bound.",
    "Expectations take beetles to go on walking as they have. Two traps so close that they share "
    "beetles count as one. A trap's reach is an assumption: nothing is published for turf.",
)


def network_sentences(report: NetworkReport) -> list[str]:
    """Return what the network can carry, and what the next traps would add."""
    lines = [_count_sentence(purpose, counts_of(report, purpose)) for purpose in PURPOSES]
    chance = chance_sentence(report.analysis.chance, english())
    lines += [chance] if chance else []
    lines += _closed_sentences(report)
    lines += _pair_sentences(report)
    lines += _left_bare(report)
    return [*lines, *plan_sentences(report.plan, report.analysis.site.settings.units)]


def _closed_sentences(report: NetworkReport) -> list[str]:
    analysis = report.analysis
    closed = analysis.site.settings.network.no_trap_uses
    zones = analysis.zones
    bare = zones["use"].isin(closed)
    uses = sorted(set(zones["use"][bare]))
    if not uses:
        return []
    verb = "carries" if bare.sum() == 1 else "carry"
    return [
        f"{count_of(int(bare.sum()), 'zone')} {verb} no new traps by your settings "
        f"({listed([use_text(each) for each in uses])}); what is said of them must come from traps "
        "around them, or from cores."
    ]


def counts_of(report: NetworkReport, purpose: str) -> dict[str, int]:
    """Return how many zones have each verdict for a purpose."""
    counts = verdict_counts(report.verdicts).loc[purpose].to_numpy(dtype=int)
    return dict(zip(VERDICTS, counts.tolist(), strict=True))


def _count_sentence(purpose: str, counts: dict[str, int]) -> str:
    total = sum(counts.values())
    said = f"{counts['enough']} of {count_of(total, 'zone')} have enough traps"
    rest = [f"{counts[each]} {words}" for each, words in _FEWER.items() if counts[each]]
    return f"{PURPOSE_HEADS[purpose]}: {said}{''.join(f', {each}' for each in rest)}."


_FEWER = {"thin": "too few", "none": "none that tell"}


def _pair_sentences(report: NetworkReport) -> list[str]:
    lines = []
    if len(report.pairs):
        near = listed([f"{a} and {b}" for a, b in report.pairs[["first", "second"]].to_numpy()])
        lines.append(f"So close that they share beetles and count as one: {near}.")
    if report.redundant:
        verb = "is" if len(report.redundant) == 1 else "are each"
        lines.append(
            f"{listed(list(report.redundant))} {verb} one that could go: without it every verdict "
            "stays as it is."
        )
    return lines


def _left_bare(report: NetworkReport) -> list[str]:
    """Return which zones would lose their last trap by the moves."""
    traps = report.analysis.traps[report.analysis.traps["in_use"]]
    moved = traps["location_id"].isin(report.plan.moved)
    stay = {*traps.loc[~moved, "zone_id"].dropna(), *report.plan.suggestions["zone_id"]}
    bare = sorted(set(traps.loc[moved, "zone_id"].dropna()) - stay)
    if not bare:
        return []
    where = listed(bare)
    return [f"With these moves no trap would be left in {where}; the verdicts are those of today."]


def plan_sentences(plan: TrapPlan, units: Units) -> list[str]:
    """Return what the suggested traps are worth together, and which are to be moved."""
    count = len(plan.suggestions)
    if not count:
        return ["No place for another trap keeps all the rules, or none would add anything."]
    season = "next season" if plan.next_season else f"the {count_of(plan.weeks, 'week')} left"
    settled = area_text(float(plan.suggestions["settles_ha"].sum()), units)
    edge = distance_text(float(plan.suggestions["edge_m"].sum()), units)
    watch = f", and to watch {edge} of refuge-facing edge that no trap watches now"
    gained = plan.suggestions["edge_m"].sum() >= 1
    verb = "is" if count == 1 else "are"
    lines = [
        f"The {count_of(count, 'place')} below {verb} expected to settle {settled} in "
        f"{season}{watch if gained else ''}."
    ]
    if plan.moved:
        them = "it takes one" if len(plan.moved) == 1 else "they take some"
        lines.append(f"{listed(list(plan.moved))} would do more elsewhere: {them} of these places.")
    if plan.knee:
        lines.append(
            f"From the {_ordinal(plan.knee + 1)} new trap on each adds little beside those before."
        )
    share = plan.worth_ha / plan.bound_ha if plan.bound_ha > 0 else 1.0
    lines.append(
        f"No choice of as many traps can be worth more than {1 / max(share, 1e-9):.2f} times this "
        "one."
    )
    return lines


def _ordinal(number: int) -> str:
    """Return a number as a place in a row.

    Examples
    --------
    >>> [_ordinal(each) for each in (1, 2, 3, 4, 11, 21)]
    ['1st', '2nd', '3rd', '4th', '11th', '21st']
    """
    last = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else last}"


def place_sentences(report: NetworkReport) -> list[str]:
    """Return every suggested place in words, with what it adds to the round."""
    units = report.analysis.site.settings.units
    table = pd.DataFrame(report.plan.suggestions.drop(columns="geometry"))
    return [
        suggestion_sentence(row, units, english()) + _minutes_text(float(minutes))
        for row, minutes in zip(table.to_dict("records"), report.minutes, strict=True)
    ]


def _minutes_text(minutes: float) -> str:
    return (
        ""
        if math.isnan(minutes)
        else f" It adds {count_of(round(minutes), 'minute')} to the round."
    )


def verdict_text(verdict: str, missing: float, reasons: Sequence[str]) -> str:
    """Return a verdict for a table.

    Examples
    --------
    >>> verdict_text("thin", 1.0, ("few_traps", "decided"))
    "thin, 1 missing: one trap's word; decided all the same"
    >>> verdict_text("enough", 0.0, ())
    'enough'
    """
    head = VERDICT_TEXT[verdict]
    if missing > 0:
        head += f", {missing:.0f} missing"
    why = "; ".join(REASON_TEXT[code] for code in reasons)
    return f"{head}: {why}" if why else head
