"""The state of a zone against its limit, in sentences: evidence and next steps, no prescription."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from data.settings import M2_PER_FT2, DecisionSettings, LimitSettings, Units
from maps.catalogue import Catalogue, figure
from spatial.cores import CM2_PER_FT2, CUP_CUTTER_CM, core_area_cm2
from spatial.decision import STATES, Decision, Rule
from spatial.larvae import LarvalEvidence
from spatial.more_evidence import (
    MOST_CORES,
    MOST_TRAPS,
    MOST_WEEKS,
    Cutoffs,
    MoreCoring,
    MoreTrapping,
)

LETTERED = {"above": "map.letter_above", "undecided": "map.letter_undecided"}
"""Letters drawn in the zones that ask for something; B and Q are taken by the marks of traps."""

DISAGREE = "adults_above_larvae_below"
"""Reason of zones below by their larvae with adults over their limit; they are listed apart."""

STEPS_BY_REASON = (
    DISAGREE,
    "never_treated",
    "larvae_not_due",
    "no_larval_date",
    "no_nights",
)
"""Reasons whose next step says more than that of the state."""

_ODDS = (
    (0.95, "very_likely_over"),
    (0.8, "likely_over"),
    (0.5, "rather_over"),
    (0.2, "rather_under"),
    (0.05, "likely_under"),
    (0.0, "very_likely_under"),
)


def state_letter(state: str, lang: Catalogue) -> str:
    """Return the letter of a state; blank for those that ask for nothing.

    Examples
    --------
    >>> from maps.language_file import english
    >>> state_letter("above", english()), state_letter("below", english())
    ('A', '')
    """
    return lang.say(LETTERED[state]) if state in LETTERED else ""


def no_limit_sentence(limits: Sequence[LimitSettings], day: date, lang: Catalogue) -> str:
    """Return why no zone is judged: no limit is set, or none holds on the day.

    Examples
    --------
    >>> from maps.language_file import english
    >>> may = LimitSettings("own", "2026", None, None, "05-01", "05-31", adults_per_trap_week=4)
    >>> print(no_limit_sentence([may], date(2026, 6, 7), english()))
    None of your limits holds for a zone on 7 June 2026, so zones are shown by their catch rate \
and none is judged. They hold from 1 May to 31 May.
    """
    if not limits:
        return lang.say("limit.not_set")
    spans = sorted({(e.first_day, e.last_day) for e in limits if e.first_day and e.last_day})
    told = [
        lang.say("limit.hold_span", first=lang.month_day(first), last=lang.month_day(last))
        for first, last in spans
    ]
    listed = lang.listed(told, len(told))
    when = lang.say("limit.hold", spans=listed) if told else lang.say("limit.see")
    return lang.say("limit.none_today", day=lang.day(day), when=when)


def states_headline(decisions: Sequence[Decision], lang: Catalogue) -> str:
    """Return how many zones have each state.

    Examples
    --------
    >>> from maps.language_file import english
    >>> states_headline([], english())
    'There are no zones.'
    """
    if not decisions:
        return lang.say("state_counts.none")
    found = Counter(each.state for each in decisions)
    first, *rest = [state for state in STATES if found[state]]
    text = lang.say(f"state_counts.first_{first}", found[first])
    for state in rest:
        item = lang.say(f"state_counts.more_{state}", found[state])
        text = lang.say("list.between", items=text, item=item)
    return lang.say("page.sentence", text=text)


def decision_sentences(
    decision: Decision, rule: Rule, lang: Catalogue, units: Units = "us"
) -> list[str]:
    """Return state, figures and reasons of a zone, and then its next steps.

    Parameters
    ----------
    decision
        The zone.
    rule
        How it was judged.
    lang
        Language.
    units
        Of densities, where the limit has none of its own.
    """
    return [
        state_sentence(decision, rule, lang),
        *(reason_text(code, lang) for code in decision.reasons if not _said(decision, code)),
        *_larvae_lines(decision, rule, lang, units),
        *next_steps(decision, lang),
    ]


def reason_text(code: str, lang: Catalogue) -> str:
    """Return why a zone has its state.

    Examples
    --------
    >>> from maps.language_file import english
    >>> reason_text("no_traps", english())
    'No trap stands in the zone.'
    """
    if code == "traps_will_not_decide":
        return lang.say(f"reasons.{code}", traps=MOST_TRAPS, weeks=MOST_WEEKS)
    if code == "cores_will_not_decide":
        return lang.say(f"reasons.{code}", MOST_CORES)
    return lang.say(f"reasons.{code}")


def _larvae_lines(decision: Decision, rule: Rule, lang: Catalogue, units: Units) -> list[str]:
    if decision.larvae is None:
        return []
    assumed = [lang.say("decision_notes.assumed_k")] if rule.larval_k_assumed else []
    return [larvae_sentence(decision.larvae, lang, _units(decision, units)), *assumed]


def _units(decision: Decision, units: Units) -> Units:
    """Return the units of the limit for larvae, else those of the site."""
    limit = decision.limits.larvae
    if limit is None:
        return units
    return "metric" if limit.larvae_per_ft2 is None else "us"


def _said(decision: Decision, code: str) -> bool:
    """Tell whether another sentence says it already: that of the state, or of a disagreement."""
    if code == "larvae_undecided":
        return False
    disagree = any("_larvae_" in each for each in decision.reasons)
    judged = f"{decision.judged_by}_{decision.state}"
    return code in (decision.state, judged) or (
        disagree and code.startswith("adults_") and "_larvae_" not in code
    )


def state_sentence(decision: Decision, rule: Rule, lang: Catalogue) -> str:
    """Return the state with the chance behind it, the limit, and where the limit comes from."""
    limits = decision.limits
    limit = limits.larvae if decision.judged_by == "larvae" else limits.adults
    if limit is None or decision.state in ("no_traps", "no_limit") or not decision.judged_by:
        return lang.say(f"states_said.{decision.state}")
    told = {
        "limit": limit_text(limit, lang),
        "chance": stated_chance(decision.p_above, decision.judged_by, rule.cutoffs, lang),
    }
    above, below = lang.chance(rule.cutoffs.above), lang.chance(rule.cutoffs.below)
    if decision.state == "undecided":
        return lang.say("states_said.between", **told, above=above, below=below)
    if decision.state == "below":
        return lang.say("states_said.below_by_chance", **told, below=below)
    # A low cut-off, from costs, may call a zone above that is more likely under its limit.
    key = "by_cutoff" if decision.p_above <= 0.5 else "by_chance"
    return lang.say(f"states_said.{key}", **told, above=above)


def stated_chance(p_above: float, judged_by: str, cutoffs: Cutoffs, lang: Catalogue) -> str:
    """Return the chance that made a state; roughly where it is the zone model's."""
    if judged_by == "larvae":
        return _chance_beside(p_above, cutoffs, lang)
    return about_text(p_above, cutoffs, lang)


def about_text(chance: float, cutoffs: Cutoffs, lang: Catalogue) -> str:
    """Return a chance of the zone model with the digits it has earned: to the nearest 5 %.

    Closer to a cut-off it has as many as it takes to be on the right side.

    Examples
    --------
    >>> from maps.language_file import english
    >>> [about_text(p, Cutoffs(), english()) for p in (0.02, 0.366, 0.79, 0.81, 0.991)]
    ['under 5 %', 'about 35 %', 'about 79 %', 'about 80 %', 'over 95 %']
    """
    rough = round(20 * chance) / 20
    if rough == 0 and not _apart(chance, 0.05, cutoffs):
        return lang.say("numbers.chance_under", percent=lang.percent(0.05))
    if rough == 1 and not _apart(chance, 0.95, cutoffs):
        return lang.say("numbers.chance_over", percent=lang.percent(0.95))
    if rough in (0, 1) or _apart(chance, rough, cutoffs):
        return lang.say("odds.about", percent=_chance_beside(chance, cutoffs, lang))
    return lang.say("odds.about", percent=lang.chance(rough))


def _apart(chance: float, shown: float, cutoffs: Cutoffs) -> bool:
    """Tell whether a cut-off parts a chance from the one shown for it."""
    return (chance >= cutoffs.above) != (shown >= cutoffs.above) or (chance <= cutoffs.below) != (
        shown <= cutoffs.below
    )


def odds_text(chance: float, lang: Catalogue) -> str:
    """Return in words how likely a zone is over its limit; blank where that is not known.

    Examples
    --------
    >>> from maps.language_file import english
    >>> [odds_text(p, english()) for p in (0.97, 0.6, 0.37, 0.01)]
    ['very likely over', 'rather over than under', 'rather under than over', 'very likely under']
    """
    return next((lang.say(f"odds.{key}") for low, key in _ODDS if chance >= low), "")


def chance_words(decision: Decision, cutoffs: Cutoffs, lang: Catalogue) -> str:
    """Return the chance behind a state in words and as a number; blank without one."""
    if math.isnan(decision.p_above):
        return ""
    shown = round(20 * decision.p_above) / 20
    exact = decision.judged_by == "larvae" or _apart(decision.p_above, shown, cutoffs)
    odds = odds_text(decision.p_above if exact else shown, lang)
    chance = stated_chance(decision.p_above, decision.judged_by, cutoffs, lang)
    return lang.say("odds.with_chance", odds=odds, chance=chance)


def _chance_beside(chance: float, cutoffs: Cutoffs, lang: Catalogue) -> str:
    """Return a chance with as many digits as tell it from the cut-offs that it is not at."""
    others = [each for each in (cutoffs.above, cutoffs.below) if each != chance]
    text = lang.chance(chance)
    if text not in map(lang.chance, others):
        return text
    return next(
        lang.percent(chance, digits)
        for digits in (1, 2, 3, 9)
        if lang.percent(chance, digits) not in [lang.percent(each, digits) for each in others]
        or digits == 9
    )


def costs_sentence(settings: DecisionSettings, lang: Catalogue) -> str:
    """Return, in words, from which chance treating pays; blank where no costs are given.

    Examples
    --------
    >>> from maps.language_file import english
    >>> print(costs_sentence(DecisionSettings(
    ...     treatment_cost_per_ha=300, loss_per_ha=2000, efficacy=0.5), english()))
    By your costs treating pays from a chance of 30 % on: cost of treating / (loss where the limit \
is passed x share of it that treating prevents) = 300 / (2,000 x 0.5) = 0.3, all per hectare.
    >>> costs_sentence(DecisionSettings(), english())
    ''
    """
    even, cost, loss = settings.break_even, settings.treatment_cost_per_ha, settings.loss_per_ha
    if even is None or cost is None or loss is None or settings.efficacy is None:
        return ""
    return lang.say(
        "decision_notes.costs",
        chance=lang.chance(even),
        cost=lang.figure(cost),
        loss=lang.figure(loss),
        efficacy=lang.figure(settings.efficacy),
        ratio=_digits(even, lang),
    )


def _digits(number: float, lang: Catalogue) -> str:
    """Return a number with two digits that count."""
    return lang.number(Decimal(f"{number:.2g}"))


def limit_text(limit: LimitSettings, lang: Catalogue) -> str:
    """Return a limit in its own unit, with source and date.

    Examples
    --------
    >>> from maps.language_file import english
    >>> limit_text(LimitSettings("own records", "2026-03-01", adults_per_trap_week=4), english())
    '4 adults per trap-week (own records, 2026-03-01)'
    """
    amounts = (
        (limit.adults_per_trap_week, "adults"),
        (limit.larvae_per_m2, "larvae_m2"),
        (limit.larvae_per_ft2, "larvae_ft2"),
    )
    told = (lang.say(f"limit.{key}", figure(each)) for each, key in amounts if each is not None)
    amount = next(told, "") or lang.say("limit.nothing")
    return lang.say("limit.sourced", limit=amount, source=limit.source, dated=str(limit.dated))


def larvae_sentence(evidence: LarvalEvidence, lang: Catalogue, units: Units = "us") -> str:
    """Return what the cores of a zone say, with how little they may say."""
    sample, factor = evidence.sample, M2_PER_FT2 if units == "us" else 1.0
    days = lang.day(sample.first)
    if sample.last != sample.first:
        days = lang.say("larvae.days", first=days, last=lang.day(sample.last))
    return lang.say(
        "larvae.found",
        larvae=lang.say("larvae.larvae", sample.larvae),
        cores=lang.say("larvae.cores", sample.cores),
        days=days,
        density=lang.rate(evidence.density * factor),
        unit=_per(units, lang),
        low=lang.rate(evidence.low * factor),
        high=lang.rate(evidence.high * factor),
        k=_digits(evidence.k, lang),
        one=lang.rate(evidence.per_larva * factor),
    )


def _per(units: Units, lang: Catalogue) -> str:
    return lang.say("larvae.square_foot" if units == "us" else "larvae.square_metre")


def one_larva_warning(lang: Catalogue, units: Units = "us") -> str:
    """Return the warning that belongs beside every sheet for cores.

    Examples
    --------
    >>> from maps.language_file import english
    >>> print(one_larva_warning(english()))
    One larva in one cup-cutter core (4.25 inches) already reads as 10.15 per square foot. Pool at \
least ten cores before the number means anything.
    """
    per_ft2 = CM2_PER_FT2 / core_area_cm2(CUP_CUTTER_CM)
    metric = units == "metric"
    density = lang.decimal(per_ft2 / M2_PER_FT2, 0) if metric else lang.decimal(per_ft2, 2)
    return lang.say("larvae.one_larva", density=density, unit=_per(units, lang))


def next_steps(decision: Decision, lang: Catalogue) -> list[str]:
    """Return what to do next in a zone, the cheapest way to decide it included."""
    if _has_ways(decision):
        return _ways(decision, lang)
    return [lang.say(f"next_steps.{_step(decision)}")]


def _has_ways(decision: Decision) -> bool:
    return decision.state == "undecided" or (
        decision.state == "no_traps" and decision.more_cores is not None
    )


def _step(decision: Decision) -> str:
    """Return the key of the one next step of a zone that needs no more evidence."""
    if decision.state == "above" and "never_treated" in decision.reasons:
        return "never_treated"
    if decision.state in ("below", "no_limit"):
        by_reason = (code for code in decision.reasons if code in STEPS_BY_REASON)
        return next(by_reason, decision.state)
    return decision.state


def _ways(decision: Decision, lang: Catalogue) -> list[str]:
    first = [lang.say("next_steps.no_traps")] if decision.state == "no_traps" else []
    told = []
    if decision.more_traps and decision.cheapest in ("traps", ""):
        told.append(trapping_text(decision.more_traps, lang))
    if decision.more_cores and decision.cheapest in ("cores", ""):
        told.append(coring_text(decision.more_cores, lang))
    if not told:
        key = "no_nights" if "no_nights" in decision.reasons else "undecided"
        told = [lang.say(f"next_steps.{key}")]
    return [*first, *told]


def short_step(decision: Decision, lang: Catalogue) -> str:
    """Return the next step of a zone for a narrow table: both ways to decide it, and the cheaper.

    ``decision_notes.ways`` says how far the ways may be trusted.
    """
    ways = _short_ways(decision, lang) if decision.state in ("undecided", "no_traps") else ""
    if ways:
        return lang.say("page.sentence", text=ways)
    if not _has_ways(decision) and _step(decision) == "above":
        return lang.say("next_steps.above_short")
    return next_steps(decision, lang)[0]


def _short_ways(decision: Decision, lang: Catalogue) -> str:
    traps, cores = decision.more_traps, decision.more_cores
    text = _short_trapping(traps, lang) if traps else ""
    if cores:
        more, every = ("or_cut", "or_cut_all") if traps else ("cut", "cut_all")
        key = every if cores.basis == "twofold" else more
        way = lang.say(f"ways.{key}", cores.cores, **({"traps": text} if traps else {}))
        text = _with_minutes("ways.minutes", way, cores.minutes, lang)
    if traps and cores and decision.cheapest:
        key = {"traps": "traps_cheaper", "cores": "cores_cheaper"}[decision.cheapest]
        return lang.say(f"ways.{key}", ways=text)
    return text


def _short_trapping(way: MoreTrapping, lang: Catalogue) -> str:
    if way.new_traps:
        weeks = lang.say("ways.weeks", way.weeks)
        text = lang.say("ways.set", way.new_traps, weeks=weeks)
    else:
        text = lang.say("ways.go_on", way.weeks)
    return _with_minutes("ways.minutes", text, way.minutes, lang)


def _with_minutes(key: str, text: str, minutes: float | None, lang: Catalogue) -> str:
    """Return a way with the minutes that it takes, where they are known."""
    if minutes is None:
        return text
    return lang.say(key, math.ceil(minutes), way=text)


def trapping_text(way: MoreTrapping, lang: Catalogue) -> str:
    """Return what more trapping would decide.

    Examples
    --------
    >>> from maps.language_file import english
    >>> print(trapping_text(MoreTrapping(2, 3, 17, 98, 0.53, 51.0), english()))
    What would decide it: 2 more weeks with 3 more traps (98 trap-nights, 17 visits with setting \
them, about 51 minutes). The chance that this decides it is 53 %, if beetles go on walking as now.
    """
    weeks = lang.say("ways.weeks", way.weeks)
    if way.new_traps:
        weeks = lang.say("decide.with_traps", way.new_traps, weeks=weeks)
    nights = lang.say("method.nights", way.nights)
    visits = lang.say(
        f"decide.{'setting' if way.new_traps else 'visits'}", way.visits, nights=nights
    )
    effort = _with_minutes("decide.minutes", visits, way.minutes, lang)
    chance = lang.chance(way.chance)
    return lang.say("decide.traps", weeks=weeks, effort=effort, chance=chance)


def coring_text(way: MoreCoring, lang: Catalogue) -> str:
    """Return what more cores would decide.

    Examples
    --------
    >>> from maps.language_file import english
    >>> print(coring_text(MoreCoring(12, "expected", 0.55, None), english()))
    What would decide it: 12 more cores. The chance that they decide it is 55 %.
    >>> print(coring_text(MoreCoring(14, "twofold", 0.81, 56.0), english()))
    What would decide it: 14 cores, about 56 minutes. They tell half the limit from twice the \
limit, either with a chance of at least 81 %.
    """
    twofold = way.basis == "twofold"
    cores = lang.say("larvae.cores" if twofold else "decide.more_cores", way.cores)
    effort = _with_minutes("decide.minutes", cores, way.minutes, lang)
    key = "cores_twofold" if twofold else "cores"
    return lang.say(f"decide.{key}", effort=effort, chance=lang.chance(way.chance))
