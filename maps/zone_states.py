"""Zones by their state against their limit: the short list, and how the map fills them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from maps.decision_words import (
    DISAGREE,
    GROUP_HEADS,
    GROUP_STEPS,
    STATE_LETTERS,
    STATE_NAMES,
    chance_words,
    decision_sentences,
    limit_text,
    next_steps,
    short_step,
)
from maps.palette import activity_ramp
from maps.words import count_of, listed
from spatial.decision import Decision, Rule, judging_limit
from spatial.results import Analysis

Json = dict[str, Any]

ACTED_ON = ("above", "undecided")
"""States of the zones that are listed one by one, most urgent first."""

EVIDENCE_CHARS = {
    "below": "b",
    "under": "w",
    "over": "h",
    "above": "a",
    "no_traps": "t",
    "no_nights": "e",
    "no_limit": "l",
}
"""What a zone is filled by; `under` and `over` are undecided, rather under or over the limit."""

EVIDENCE_KEY = {
    "a": "A: above your limit",
    "h": "U: undecided, rather over than under",
    "w": "U: undecided, rather under than over",
    "b": "below your limit",
    "t": "no traps: nothing can be said",
    "e": "U: undecided, nothing to judge by yet",
    "l": "no limit set for this zone",
}
"""Legend, most urgent first."""


def evidence_char(decision: Decision) -> str:
    """Return the character of what a zone is filled by."""
    kind = decision.state
    if kind == "undecided":
        unknown = math.isnan(decision.p_above)
        kind = "no_nights" if unknown else "over" if decision.p_above >= 0.5 else "under"
    return EVIDENCE_CHARS[kind]


def evidence_fills() -> dict[str, str]:
    """Return the fill of every character: darker is more likely over; the rest are patterns.

    Examples
    --------
    >>> evidence_fills()["b"] == activity_ramp(4)[0], evidence_fills()["t"]
    (True, 'url(#fill-t)')
    """
    ramp = activity_ramp(4)
    return {
        char: {"b": ramp[0], "a": ramp[3]}.get(char, f"url(#fill-{char})") for char in EVIDENCE_KEY
    }


def evidence_payload(analysis: Analysis) -> Json:
    """Return what the map's script needs of the evidence; None for all where no limit is set."""
    rule = analysis.rule
    if not analysis.judged or rule is None:
        return {"evidence": None}
    decisions = analysis.decisions
    verdicts = [_verdict(each, rule, analysis) for each in decisions]
    nexts = [" ".join(next_steps(each)) for each in decisions]
    return {
        "evidence": {
            "zone": "".join(evidence_char(each) for each in decisions),
            "fills": evidence_fills(),
            "letters": [STATE_LETTERS.get(each.state, "") for each in decisions],
            "verdicts": verdicts,
            "nexts": nexts,
        }
    }


def _verdict(decision: Decision, rule: Rule, analysis: Analysis) -> str:
    """Return state and reasons, without the next steps."""
    steps = next_steps(decision)
    said = decision_sentences(decision, rule, analysis.site.settings.units)
    return " ".join(said[: len(said) - len(steps)])


def state_rows(analysis: Analysis) -> list[Json]:
    """Return the zones to act on or to look at again, those most likely over the limit first."""
    rule = analysis.rule
    if rule is None:
        return []
    numbered = [(n, each) for n, each in enumerate(analysis.decisions) if each.state in ACTED_ON]
    numbered.sort(key=lambda item: _urgency(item[1]))
    return _merged([_row(number, each, rule) for number, each in numbered])


def _merged(rows: list[Json]) -> list[Json]:
    """Return one row for all zones of which the same is said, where the first of them stood."""
    groups: dict[tuple[str, ...], Json] = {}
    for row in rows:
        key = tuple(str(row[name]) for name in ("fill", "state", "chance", "limit", "next"))
        groups.setdefault(key, row | {"zones": []})["zones"].append((row["index"], row["id"]))
    return list(groups.values())


def _urgency(decision: Decision) -> tuple[int, float, str]:
    unknown = math.isnan(decision.p_above)
    chance = -1.0 if unknown else decision.p_above
    return ACTED_ON.index(decision.state), -chance, decision.zone_id


def _row(number: int, decision: Decision, rule: Rule) -> Json:
    limit = judging_limit(decision)
    return {
        "index": number,
        "id": decision.zone_id,
        "letter": STATE_LETTERS[decision.state],
        "fill": evidence_fills()[evidence_char(decision)],
        "state": STATE_NAMES[decision.state],
        "chance": chance_words(decision, rule.cutoffs) or "nothing to judge by yet",
        "limit": limit_text(limit) if limit else "",
        "next": short_step(decision),
    }


def other_lines(decisions: Sequence[Decision]) -> list[str]:
    """Return a line for every other state: how many zones, which, and what to do."""
    lines = []
    for group, step in GROUP_STEPS.items():
        names = [each.zone_id for each in decisions if _group(each) == group]
        said = f"{GROUP_HEADS[group]} ({listed(names)}). {step}"
        for many, one in _SINGULAR if len(names) == 1 else ():
            said = said.replace(many, one)
        lines += [f"{count_of(len(names), 'zone')} {said}"] if names else []
    return lines


_SINGULAR = ((" them", " it"), ("their", "its"))


def _group(decision: Decision) -> str:
    return DISAGREE if DISAGREE in decision.reasons else decision.state


def state_cell(decision: Decision, rule: Rule) -> Json:
    """Return the cell of a zone in the large table: its words, and the chance to sort by."""
    chance = chance_words(decision, rule.cutoffs)
    return {
        "state": STATE_NAMES[decision.state] + (f", {chance}" if chance else ""),
        "p": "" if math.isnan(decision.p_above) else f"{decision.p_above:.4f}",
        "state_fill": evidence_fills()[evidence_char(decision)],
    }
