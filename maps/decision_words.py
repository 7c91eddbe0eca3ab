"""The state of a zone against its limit, in sentences: evidence and next steps, no prescription."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from datetime import date

from data.settings import M2_PER_FT2, DecisionSettings, LimitSettings, Units
from maps.weeks import day_text, month_day_text
from maps.words import count_of, rate_text
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

STATE_NAMES = {
    "above": "above its limit",
    "below": "below its limit",
    "undecided": "undecided",
    "no_traps": "no traps",
    "no_limit": "no limit",
}

STATE_LETTERS = {"above": "A", "undecided": "U"}
"""Drawn in the zones that ask for something; B and Q are taken by the marks of traps."""

STATE_SENTENCES = {
    "above": "The evidence is above your limit.",
    "below": "The evidence is below your limit. That is no promise that nothing is there.",
    "undecided": "The evidence does not say whether the zone is over your limit.",
    "no_traps": "No traps: nothing can be said. That is not the same as nothing there.",
    "no_limit": "You have set no limit that could be compared, so there is nothing to judge by.",
}

REASONS = {
    "adults_above": "The traps say: the chance that adults are over their limit is high enough to "
    "call it so.",
    "adults_below": "The traps say: the chance that adults are over their limit is low enough to "
    "call it below.",
    "adults_undecided": "The traps say neither: adults may well be over their limit, and may well "
    "not.",
    "no_traps": "No trap stands in the zone.",
    "no_nights": "There are traps, but no countable nights that can be compared: none yet, or only "
    "those of a design whose ratio to the reference design is not known.",
    "no_adult_limit": "There is no limit for adults in this zone on this day.",
    "larvae_above": "The cores say: the chance that larvae are over their limit is high enough to "
    "call it so.",
    "larvae_below": "The cores say: the chance that larvae are over their limit is low enough to "
    "call it below.",
    "larvae_undecided": "The cores say neither: larvae may well be over their limit, and may well "
    "not. Once larvae are due, cores go before traps, so the zone stays undecided.",
    "adults_above_larvae_below": "Traps and cores disagree: adults are over their limit, larvae "
    "are under theirs. Once larvae are due, cores go before traps, since it is the larvae that "
    "feed on the turf. More larvae may follow while adults still walk.",
    "adults_below_larvae_above": "Traps and cores disagree: adults are under their limit, larvae "
    "are over theirs. Once larvae are due, cores go before traps, since it is the larvae that "
    "feed on the turf.",
    "no_larval_limit": "Cores were cut, but there is no limit for larvae in this zone on this day.",
    "no_larval_date": "There is a limit for larvae, but site.toml does not say from when they are "
    "due ([decision], larvae_from), so cores are not looked at.",
    "larvae_not_due": "Larvae are not due yet, so the limit for larvae is not looked at.",
    "no_cores": "Larvae are due, but no cores have been cut here.",
    "few_cores": "Larvae are due, but too few cores have been cut here to decide anything.",
    "cores_too_early": "Larvae are due, but the cores here were cut before that.",
    "cores_too_old": "Larvae are due, but the cores here were cut too long ago.",
    "one_larva": "So little turf was looked at that a single larva already reads as over the "
    "limit.",
    "traps_will_not_decide": f"Not even {MOST_TRAPS} more traps, for {MOST_WEEKS} weeks or until "
    "the season ends, would be as likely as not to decide it: it is too near its limit.",
    "never_treated": "By your settings zones of this use are never treated.",
    "season_over": "The season is over, so more trapping can no longer decide it.",
    "cores_will_not_decide": f"Not even {MOST_CORES} more cores would be as likely as not to "
    "decide it: it is too near its limit.",
}
"""Why a zone has its state."""

NEXT_STEPS = {
    "above": "Take the zone into your plan, or look again first. What may be done, and when, is "
    "for the label, local codes and a licensed applicator to say.",
    "below": "Leave it, and go on with the round.",
    "undecided": "Look again before you decide.",
    "no_traps": "Set traps before anything is said about this zone.",
    "no_limit": "Set a limit of your own in site.toml ([[limits]]), with its source and date.",
    "adults_above_larvae_below": "Leave it for now, and cut cores again in one to two weeks while "
    "adults still walk.",
    "never_treated": "Look again, and leave it out of the plan: [treatment] exclusion_uses.",
    "larvae_not_due": "Wait until larvae are due, and cut cores then.",
    "no_larval_date": "Say in site.toml from when larvae are due ([decision], larvae_from).",
    "no_nights": "Check the traps; where their design has no ratio, set traps of both designs "
    "side by side in three zones, or give its ratio in site.toml ([designs]).",
}
"""What to do next, by state, or by the reason where it says more."""

RULE_OF_LARVAE = (
    "Once larvae are due, cores go before traps, wherever enough of them have been cut and there "
    "is a limit for larvae."
)

K_IS_ASSUMED = (
    "That k is assumed, since your cores do not tell how much larvae crowd; several cores of one "
    "zone and day, each in a row of its own, would."
)

HEADLINES = {
    "above": "above their limit",
    "below": "below their limit",
    "undecided": "undecided",
    "no_traps": "without traps",
    "no_limit": "without a limit",
}

NO_LIMIT_SET = (
    "No limit is set, so zones are shown by their catch rate and none is judged. To have them "
    "judged, write a limit of your own into site.toml: [[limits]] with adults_per_trap_week, "
    "source and dated."
)

SHORT_STEPS = {"above": "Take it into your plan, or look again first."}
"""Next steps for a narrow table, where they are shorter; cautions stand elsewhere on the page."""

NO_LIMIT_TODAY = (
    "None of your limits holds for a zone on {day}, so zones are shown by their catch rate and "
    "none is judged. {when}"
)

DISAGREE = "adults_above_larvae_below"
"""Reason of zones below by their larvae with adults over their limit; they are listed apart."""

GROUP_HEADS = {**HEADLINES, DISAGREE: "below by larvae while adults are over their limit"}

GROUP_STEPS = {
    DISAGREE: "Leave them for now, and cut cores again in one to two weeks while adults still "
    "walk.",
    "below": "Leave them, and go on with the round.",
    "no_traps": "Set traps before anything is said about them.",
    "no_limit": "Set limits of your own in site.toml ([[limits]]), with source and date.",
}
"""Next steps of all zones of such a group together."""

WAYS_NOTE = (
    "More traps or cores: at least as likely as not to decide it; press a zone for the chance. "
    "What may be done, and when, is for the label, local codes and a licensed applicator to say."
)

CHANCE_NOTE = (
    "The chance of being over a limit is that of a model in which zones of one use learn from each "
    "other, so it is given roughly. In simulated seasons it was somewhat too high for zones that "
    "it holds likely over: where it said 88 %, 76 % were over. Take it as a ranking first."
)
"""The figures are those of `scripts/bench/decisions.py`; see `spatial.zone_model.zone_model`."""

RATE_NOTE = (
    "Beside the catch rate of a zone stands the 95 % interval of the same model. It may not hold "
    "the catch rate itself: a zone with few traps is drawn towards others of its use."
)


def no_limit_sentence(limits: Sequence[LimitSettings], day: date) -> str:
    """Return why no zone is judged: no limit is set, or none holds on the day.

    Examples
    --------
    >>> may = LimitSettings("own", "2026", None, None, "05-01", "05-31", adults_per_trap_week=4)
    >>> no_limit_sentence([may], date(2026, 6, 7))  # doctest: +NORMALIZE_WHITESPACE
    'None of your limits holds for a zone on 7 June 2026, so zones are shown by their catch rate and
    none is judged. They hold from 1 May to 31 May.'
    """
    if not limits:
        return NO_LIMIT_SET
    spans = sorted({(e.first_day, e.last_day) for e in limits if e.first_day and e.last_day})
    days = [f"from {month_day_text(first)} to {month_day_text(last)}" for first, last in spans]
    when = f"They hold {' and '.join(days)}." if days else "See [[limits]] in site.toml."
    return NO_LIMIT_TODAY.format(day=day_text(day), when=when)


def states_headline(decisions: Sequence[Decision]) -> str:
    """Return how many zones have each state.

    Examples
    --------
    >>> states_headline([])
    'There are no zones.'
    """
    if not decisions:
        return "There are no zones."
    found = Counter(each.state for each in decisions)
    first, *rest = [state for state in STATES if found[state]]
    parts = [f"{count_of(found[first], 'zone')} {_headline(first, found[first])}"]
    parts += [f"{found[state]} {_headline(state, found[state])}" for state in rest]
    return ", ".join(parts) + "."


def _headline(state: str, number: int) -> str:
    return HEADLINES[state].replace("their", "its") if number == 1 else HEADLINES[state]


def decision_sentences(decision: Decision, rule: Rule, units: Units = "us") -> list[str]:
    """Return state, figures and reasons of a zone, and then its next steps.

    Parameters
    ----------
    decision
        The zone.
    rule
        How it was judged.
    units
        Of densities, where the limit has none of its own.
    """
    return [
        state_sentence(decision, rule),
        *(REASONS[code] for code in decision.reasons if not _said_by_state(decision, code)),
        *(_larvae_lines(decision, rule, units)),
        *next_steps(decision),
    ]


def _larvae_lines(decision: Decision, rule: Rule, units: Units) -> list[str]:
    if decision.larvae is None:
        return []
    assumed = [K_IS_ASSUMED] if rule.larval_k_assumed else []
    return [larvae_sentence(decision.larvae, _units(decision, units)), *assumed]


def _units(decision: Decision, units: Units) -> Units:
    """Return the units of the limit for larvae, else those of the site."""
    limit = decision.limits.larvae
    if limit is None:
        return units
    return "metric" if limit.larvae_per_ft2 is None else "us"


def _said_by_state(decision: Decision, code: str) -> bool:
    """Tell whether another sentence says it already: that of the state, or of a disagreement."""
    if code == "larvae_undecided":
        return False
    disagree = any("_larvae_" in each for each in decision.reasons)
    judged = f"{decision.judged_by}_{decision.state}"
    return code in (decision.state, judged) or (
        disagree and code.startswith("adults_") and "_larvae_" not in code
    )


def state_sentence(decision: Decision, rule: Rule) -> str:
    """Return the state with the chance behind it, the limit, and where the limit comes from."""
    limits = decision.limits
    limit = limits.larvae if decision.judged_by == "larvae" else limits.adults
    if limit is None or decision.state in ("no_traps", "no_limit") or not decision.judged_by:
        return STATE_SENTENCES[decision.state]
    chance = stated_chance(decision.p_above, decision.judged_by, rule.cutoffs)
    above, below = chance_text(rule.cutoffs.above), chance_text(rule.cutoffs.below)
    if decision.state == "undecided":
        return (
            f"Undecided against your limit of {limit_text(limit)}: the chance of being over it is "
            f"{chance}, between your {below} for below and your {above} for above."
        )
    if decision.state == "below":
        return (
            f"Evidence is below your limit of {limit_text(limit)}: the chance of being over it is "
            f"{chance}, and up to {below} you call it below. That is no promise that nothing is "
            "there."
        )
    if decision.p_above <= 0.5:
        # A low cut-off, from costs: more likely under the limit than over it.
        return (
            f"Above your cut-off: the chance of being over your limit of {limit_text(limit)} is "
            f"{chance}, and from {above} on you call it above."
        )
    return (
        f"Evidence is above your limit of {limit_text(limit)}: the chance of being over it is "
        f"{chance}, and from {above} on you call it above."
    )


def stated_chance(p_above: float, judged_by: str, cutoffs: Cutoffs) -> str:
    """Return the chance that made a state; roughly where it is the zone model's."""
    if judged_by == "larvae":
        return _chance_beside(p_above, cutoffs)
    return about_text(p_above, cutoffs)


def about_text(chance: float, cutoffs: Cutoffs) -> str:
    """Return a chance of the zone model with the digits it has earned: to the nearest 5 %.

    Closer to a cut-off it has as many as it takes to be on the right side.

    Examples
    --------
    >>> [about_text(p, Cutoffs()) for p in (0.02, 0.366, 0.79, 0.81, 0.991)]
    ['under 5 %', 'about 35 %', 'about 79 %', 'about 80 %', 'over 95 %']
    """
    rough = round(20 * chance) / 20
    if rough == 0 and not _apart(chance, 0.05, cutoffs):
        return "under 5 %"
    if rough == 1 and not _apart(chance, 0.95, cutoffs):
        return "over 95 %"
    if rough in (0, 1) or _apart(chance, rough, cutoffs):
        return f"about {_chance_beside(chance, cutoffs)}"
    return f"about {chance_text(rough)}"


def _apart(chance: float, shown: float, cutoffs: Cutoffs) -> bool:
    """Tell whether a cut-off parts a chance from the one shown for it."""
    return (chance >= cutoffs.above) != (shown >= cutoffs.above) or (chance <= cutoffs.below) != (
        shown <= cutoffs.below
    )


def odds_text(chance: float) -> str:
    """Return in words how likely a zone is over its limit; blank where that is not known.

    Examples
    --------
    >>> [odds_text(p) for p in (0.97, 0.85, 0.6, 0.37, 0.1, 0.01)]  # doctest: +NORMALIZE_WHITESPACE
    ['very likely over', 'likely over', 'rather over than under', 'rather under than over',
     'likely under', 'very likely under']
    """
    steps = (
        (0.95, "very likely over"),
        (0.8, "likely over"),
        (0.5, "rather over than under"),
        (0.2, "rather under than over"),
        (0.05, "likely under"),
        (0.0, "very likely under"),
    )
    return next((words for low, words in steps if chance >= low), "")


def chance_words(decision: Decision, cutoffs: Cutoffs) -> str:
    """Return the chance behind a state in words and as a number; blank without one."""
    if math.isnan(decision.p_above):
        return ""
    shown = round(20 * decision.p_above) / 20
    exact = decision.judged_by == "larvae" or _apart(decision.p_above, shown, cutoffs)
    odds = odds_text(decision.p_above if exact else shown)
    return f"{odds} ({stated_chance(decision.p_above, decision.judged_by, cutoffs)})"


def _chance_beside(chance: float, cutoffs: Cutoffs) -> str:
    """Return a chance with as many digits as tell it from the cut-offs that it is not at."""
    others = [each for each in (cutoffs.above, cutoffs.below) if each != chance]
    text = chance_text(chance)
    if text not in map(chance_text, others):
        return text
    finer = (f".{digits}f" for digits in (1, 2, 3))
    return next(
        f"{100 * chance:{form}} %"
        for form in (*finer, ".9f")
        if f"{100 * chance:{form}}" not in [f"{100 * each:{form}}" for each in others]
        or form == ".9f"
    )


def costs_sentence(settings: DecisionSettings) -> str:
    """Return, in words, from which chance treating pays; blank where no costs are given.

    Examples
    --------
    >>> print(costs_sentence(DecisionSettings(
    ...     treatment_cost_per_ha=300, loss_per_ha=2000, efficacy=0.5)))
    By your costs treating pays from a chance of 30 % on: cost of treating / (loss where the limit \
is passed x share of it that treating prevents) = 300 / (2,000 x 0.5) = 0.3, all per hectare.
    >>> costs_sentence(DecisionSettings())
    ''
    """
    if settings.break_even is None:
        return ""
    return (
        f"By your costs treating pays from a chance of {chance_text(settings.break_even)} on: cost "
        "of treating / (loss where the limit is passed x share of it that treating prevents) = "
        f"{settings.treatment_cost_per_ha:,g} / ({settings.loss_per_ha:,g} x "
        f"{settings.efficacy:g}) = {settings.break_even:.2g}, all per hectare."
    )


def limit_text(limit: LimitSettings) -> str:
    """Return a limit in its own unit, with source and date.

    Examples
    --------
    >>> limit_text(LimitSettings("own records", "2026-03-01", adults_per_trap_week=4))
    '4 adults per trap-week (own records, 2026-03-01)'
    """
    for amount, unit in (
        (limit.adults_per_trap_week, "adults per trap-week"),
        (limit.larvae_per_m2, "larvae per m2"),
        (limit.larvae_per_ft2, "larvae per square foot"),
    ):
        if amount is not None:
            return f"{amount:g} {unit} ({limit.source}, {limit.dated})"
    return f"nothing ({limit.source}, {limit.dated})"


def larvae_sentence(evidence: LarvalEvidence, units: Units = "us") -> str:
    """Return what the cores of a zone say, with how little they may say."""
    factor, unit = (M2_PER_FT2, "square foot") if units == "us" else (1.0, "m2")
    density, low, high, one = (
        rate_text(number * factor)
        for number in (evidence.density, evidence.low, evidence.high, evidence.per_larva)
    )
    sample = evidence.sample
    days = day_text(sample.first)
    if sample.last != sample.first:
        days += f" to {day_text(sample.last)}"
    return (
        f"{count_of(sample.larvae, 'larva', 'larvae')} in {count_of(sample.cores, 'core')} "
        f"({days}): {density} per {unit} (95 % interval {low} to {high}, negative binomial with "
        f"k = {evidence.k:.2g}). A single larva in these cores reads as {one} per {unit}."
    )


def one_larva_warning(units: Units = "us") -> str:
    """Return the warning that belongs beside every sheet for cores.

    Examples
    --------
    >>> print(one_larva_warning())
    One larva in one cup-cutter core (4.25 inches) already reads as 10.15 per square foot. Pool at \
least ten cores before the number means anything.
    """
    per_ft2 = CM2_PER_FT2 / core_area_cm2(CUP_CUTTER_CM)
    read = f"{per_ft2:.2f} per square foot"
    if units == "metric":
        read = f"{per_ft2 / M2_PER_FT2:.0f} per m2"
    return (
        f"One larva in one cup-cutter core (4.25 inches) already reads as {read}. Pool at least "
        "ten cores before the number means anything."
    )


def next_steps(decision: Decision) -> list[str]:
    """Return what to do next in a zone, the cheapest way to decide it included."""
    if decision.state == "undecided" or (decision.state == "no_traps" and decision.more_cores):
        return _ways(decision)
    by_reason = (code for code in decision.reasons if code in NEXT_STEPS and code not in STATES)
    key = decision.state
    if key in ("below", "no_limit"):
        key = next(by_reason, key)
    elif key == "above" and "never_treated" in decision.reasons:
        key = "never_treated"
    return [NEXT_STEPS[key]]


def _ways(decision: Decision) -> list[str]:
    first = [NEXT_STEPS["no_traps"]] if decision.state == "no_traps" else []
    told = []
    if decision.more_traps and decision.cheapest in ("traps", ""):
        told.append(trapping_text(decision.more_traps))
    if decision.more_cores and decision.cheapest in ("cores", ""):
        told.append(coring_text(decision.more_cores))
    if not told:
        key = "no_nights" if "no_nights" in decision.reasons else "undecided"
        told = [NEXT_STEPS[key]]
    return [*first, *told]


def short_step(decision: Decision) -> str:
    """Return the next step of a zone for a narrow table: both ways to decide it, and the cheaper.

    `WAYS_NOTE` says how far the ways may be trusted.
    """
    ways = _short_ways(decision)
    if decision.state not in ("undecided", "no_traps") or not ways:
        steps = next_steps(decision)
        usual = steps == [NEXT_STEPS[decision.state]]
        return SHORT_STEPS[decision.state] if usual and decision.state in SHORT_STEPS else steps[0]
    cheaper = f"; {decision.cheapest} are cheaper" if len(ways) > 1 and decision.cheapest else ""
    return f"{', or '.join(ways).capitalize()}{cheaper}."


def _short_ways(decision: Decision) -> list[str]:
    traps, cores = decision.more_traps, decision.more_cores
    ways = []
    if traps:
        weeks = count_of(traps.weeks, "more week")
        more = f"set {count_of(traps.new_traps, 'more trap')}" if traps.new_traps else "go on"
        ways.append(f"{more} for {weeks}{_bracketed(traps.minutes)}")
    if cores:
        noun = "core" if cores.basis == "twofold" else "more core"
        ways.append(f"cut {count_of(cores.cores, noun)}{_bracketed(cores.minutes)}")
    return ways


def _bracketed(minutes: float | None) -> str:
    return f" ({_minutes(minutes).removeprefix(', ')})" if minutes is not None else ""


def trapping_text(way: MoreTrapping) -> str:
    """Return what more trapping would decide.

    Examples
    --------
    >>> print(trapping_text(MoreTrapping(2, 3, 17, 98, 0.53, 51.0)))
    What would decide it: 2 more weeks with 3 more traps (98 trap-nights, 17 visits with setting \
them, about 51 minutes). The chance that this decides it is 53 %, if beetles go on walking as now.
    """
    weeks = count_of(way.weeks, "more week")
    new = f" with {count_of(way.new_traps, 'more trap')}" if way.new_traps else ""
    setting = " with setting them" if way.new_traps else ""
    return (
        f"What would decide it: {weeks}{new} ({count_of(way.nights, 'trap-night')}, "
        f"{count_of(way.visits, 'visit')}{setting}{_minutes(way.minutes)}). The chance that this "
        f"decides it is {chance_text(way.chance)}, if beetles go on walking as now."
    )


def coring_text(way: MoreCoring) -> str:
    """Return what more cores would decide.

    Examples
    --------
    >>> print(coring_text(MoreCoring(12, "expected", 0.55, None)))
    What would decide it: 12 more cores. The chance that they decide it is 55 %.
    >>> print(coring_text(MoreCoring(14, "twofold", 0.81, 56.0)))
    What would decide it: 14 cores, about 56 minutes. They tell half the limit from twice the \
limit, either with a chance of at least 81 %.
    """
    if way.basis == "twofold":
        return (
            f"What would decide it: {count_of(way.cores, 'core')}{_minutes(way.minutes)}. They "
            "tell half the limit from twice the limit, either with a chance of at least "
            f"{chance_text(way.chance)}."
        )
    return (
        f"What would decide it: {count_of(way.cores, 'more core')}{_minutes(way.minutes)}. The "
        f"chance that they decide it is {chance_text(way.chance)}."
    )


def _minutes(minutes: float | None) -> str:
    return "" if minutes is None else f", about {count_of(math.ceil(minutes), 'minute')}"


def chance_text(chance: float) -> str:
    """Return a chance in per cent; never 0 or 100, which nothing that was sampled can have.

    Examples
    --------
    >>> chance_text(0.912), chance_text(0.9997), chance_text(0.001), chance_text(0.045)
    ('91 %', 'over 99 %', 'under 1 %', '4.5 %')
    """
    if math.isnan(chance):
        return "not known"
    if chance > 0.99:
        return "over 99 %"
    if chance < 0.01:
        return "under 1 %"
    per_cent = 100 * chance
    return f"{per_cent:.1f} %" if per_cent < 10 and per_cent % 1 > 1e-9 else f"{per_cent:.0f} %"
