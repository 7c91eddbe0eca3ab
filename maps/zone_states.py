"""Zones by their state against their limit: the short list, and how the map fills them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from maps.catalogue import Catalogue
from maps.decision_words import (
    DISAGREE,
    chance_words,
    decision_sentences,
    limit_text,
    next_steps,
    short_step,
    state_letter,
)
from maps.palette import activity_ramp
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
    "a": "above",
    "h": "over",
    "w": "under",
    "b": "below",
    "t": "no_traps",
    "e": "no_nights",
    "l": "no_limit",
}
"""Legend, most urgent first: character -> what is said of it."""

LISTED = (DISAGREE, "below", "no_traps", "no_limit")
"""Groups of zones that are told in one line each."""


def evidence_key(lang: Catalogue) -> dict[str, str]:
    """Return the legend's text of every character, most urgent first.

    Examples
    --------
    >>> from maps.language_file import english
    >>> evidence_key(english())["a"]
    'A: above your limit'
    """
    letters = {
        "above": "above",
        "over": "undecided",
        "under": "undecided",
        "no_nights": "undecided",
    }
    return {
        char: lang.say(f"evidence_key.{key}", letter=state_letter(letters[key], lang))
        if key in letters
        else lang.say(f"evidence_key.{key}")
        for char, key in EVIDENCE_KEY.items()
    }


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


def evidence_payload(analysis: Analysis, lang: Catalogue) -> Json:
    """Return what the map's script needs of the evidence; None for all where no limit is set."""
    rule = analysis.rule
    if not analysis.judged or rule is None:
        return {"evidence": None}
    decisions = analysis.decisions
    verdicts = [_verdict(each, rule, analysis, lang) for each in decisions]
    nexts = [" ".join(next_steps(each, lang)) for each in decisions]
    return {
        "evidence": {
            "zone": "".join(evidence_char(each) for each in decisions),
            "fills": evidence_fills(),
            "letters": [state_letter(each.state, lang) for each in decisions],
            "verdicts": verdicts,
            "nexts": nexts,
        }
    }


def _verdict(decision: Decision, rule: Rule, analysis: Analysis, lang: Catalogue) -> str:
    """Return state and reasons, without the next steps."""
    steps = next_steps(decision, lang)
    said = decision_sentences(decision, rule, lang, analysis.site.settings.units)
    return " ".join(said[: len(said) - len(steps)])


def state_rows(analysis: Analysis, lang: Catalogue) -> list[Json]:
    """Return the zones to act on or to look at again, those most likely over the limit first."""
    rule = analysis.rule
    if rule is None:
        return []
    numbered = [(n, each) for n, each in enumerate(analysis.decisions) if each.state in ACTED_ON]
    numbered.sort(key=lambda item: _urgency(item[1]))
    return _merged([_row(number, each, rule, lang) for number, each in numbered])


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


def _row(number: int, decision: Decision, rule: Rule, lang: Catalogue) -> Json:
    limit = judging_limit(decision)
    return {
        "index": number,
        "id": decision.zone_id,
        "letter": state_letter(decision.state, lang),
        "fill": evidence_fills()[evidence_char(decision)],
        "state": lang.say(f"states.{decision.state}"),
        "chance": chance_words(decision, rule.cutoffs, lang) or lang.say("odds.nothing"),
        "limit": limit_text(limit, lang) if limit else "",
        "next": short_step(decision, lang),
    }


def other_lines(decisions: Sequence[Decision], lang: Catalogue) -> list[str]:
    """Return a line for every other state: how many zones, which, and what to do."""
    lines = []
    for group in LISTED:
        names = [each.zone_id for each in decisions if _group(each) == group]
        if names:
            lines.append(lang.say(f"other_zones.{group}", len(names), zones=lang.listed(names)))
    return lines


def _group(decision: Decision) -> str:
    return DISAGREE if DISAGREE in decision.reasons else decision.state


def state_cell(decision: Decision, rule: Rule, lang: Catalogue) -> Json:
    """Return the cell of a zone in the large table: its words, and the chance to sort by."""
    odds, state = chance_words(decision, rule.cutoffs, lang), lang.say(f"states.{decision.state}")
    return {
        "state": lang.say("odds.state", state=state, odds=odds) if odds else state,
        "p": "" if math.isnan(decision.p_above) else f"{decision.p_above:.4f}",
        "state_fill": evidence_fills()[evidence_char(decision)],
    }
