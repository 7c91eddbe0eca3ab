"""The state of every zone against its limits: above, below, undecided, no traps, no limit.

The rules, in order:

1. **Adults.** A zone without traps is `no_traps`, whatever a model predicts for it; one without a
   limit for adults is `no_limit`. Otherwise the chance that its rate is over the limit makes it
   `above`, `below` or `undecided`.
2. **Larvae go before adults once they are due.** From `Rule.due_from` on, a zone that has a limit
   for larvae and at least `Rule.min_cores` recent cores has the state of the larvae: also without
   traps, and also where the catch says otherwise. Adults over the limit and larvae under theirs is
   `below`, with a reason of its own, since it is the larvae that feed on the turf. Larvae that
   decide nothing make it `undecided`.
3. Fewer cores, cores cut before larvae are due and cores cut too long ago decide nothing; the state
   of the adults stands. Where there is no limit for adults, but one for larvae that are due, the
   zone is `undecided` until there are cores.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
import pandas as pd

from data.limits import ZoneLimits
from data.settings import DecisionSettings, LimitSettings
from spatial.arrays import BoolArray, FloatArray, IntArray, NameArray
from spatial.cores import CM2_PER_M2, CUP_CUTTER_CM, core_area_cm2
from spatial.larvae import LarvalEvidence, ZoneCores, larval_evidence
from spatial.more_evidence import (
    MOST_WEEKS,
    Coring,
    Cutoffs,
    MoreCoring,
    MoreTrapping,
    Trapping,
    more_coring,
    more_trapping,
)

STATES = ("above", "below", "undecided", "no_traps", "no_limit")
"""What a zone's evidence can be against its limit."""

ADULT_REASONS = (
    "adults_above",
    "adults_below",
    "adults_undecided",
    "no_traps",
    "no_nights",
    "no_adult_limit",
)
"""What the traps of a zone say."""

LARVAL_REASONS = (
    "larvae_above",
    "larvae_below",
    "larvae_undecided",
    "adults_above_larvae_below",
    "adults_below_larvae_above",
    "no_larval_limit",
    "no_larval_date",
    "larvae_not_due",
    "no_cores",
    "few_cores",
    "cores_too_early",
    "cores_too_old",
    "one_larva",
)
"""What its cores say, or why they say nothing; see the rules of this module."""

WAY_REASONS = ("traps_will_not_decide", "season_over", "cores_will_not_decide")
"""Why there is no way to decide an undecided zone; see `spatial.more_evidence`."""

USE_REASONS = ("never_treated",)
"""What the user's settings say of the use of a zone above its limit."""

REASONS = (*ADULT_REASONS, *LARVAL_REASONS, *WAY_REASONS, *USE_REASONS)

_CORES_WANTED = ("no_cores", "few_cores", "cores_too_early", "cores_too_old")
"""Larvae are due and have a limit, but no cores that count."""


@dataclass(frozen=True, slots=True)
class Rule:
    """How zones are judged on one day.

    Parameters
    ----------
    day
        The day.
    cutoffs
        When a zone is above and below.
    due_from
        First day on which larvae are due; None: never.
    min_cores
        Fewer cores decide nothing.
    larval_k
        Of larvae per core, finite; from `spatial.larvae.working_k`.
    minutes_per_trap, minutes_per_core
        What the cheapest way to decide is reckoned in; None: not known.
    weeks_left
        Whole weeks of trapping until the season ends.
    larval_k_assumed
        Whether the site's cores do not tell `larval_k`.
    """

    day: date
    cutoffs: Cutoffs = field(default_factory=Cutoffs)
    due_from: date | None = None
    min_cores: int = 10
    larval_k: float = 1.0
    minutes_per_trap: float | None = None
    minutes_per_core: float | None = None
    weeks_left: int = MOST_WEEKS
    larval_k_assumed: bool = False


@dataclass(frozen=True, slots=True)
class AdultEvidence:
    """What the zone model says of every zone; all arrays of shape (zones,).

    Parameters
    ----------
    zone_ids
        Names of the zones.
    p_above
        Chance that the zone's rate is over its limit for adults; NaN without a limit, or without
        a countable night.
    has_traps
        Whether any trap stood there this season.
    traps
        Traps with countable nights.
    trap_weeks
        Their trap-weeks together, at the reference design.
    log_sd
        Standard deviation of the log rate (`spatial.more_evidence.log_sd_of`); NaN: not known.
    k
        Of the season's catch of a trap around its zone's rate.
    """

    zone_ids: NameArray
    p_above: FloatArray
    has_traps: BoolArray
    traps: IntArray
    trap_weeks: FloatArray
    log_sd: FloatArray
    k: float


@dataclass(frozen=True, slots=True)
class Decision:
    """The state of one zone.

    Parameters
    ----------
    zone_id
        The zone.
    state
        One of `STATES`.
    reasons
        Some of `REASONS`; the one that made the state first.
    judged_by
        ``"adults"``, ``"larvae"``, or ``""`` where nothing could be judged.
    p_above
        The chance that made the state; NaN where nothing could be judged.
    limits
        The limits of the zone on the day.
    adults_p_above
        Chance that the rate of adults is over its limit; NaN for none.
    larvae
        What the cores that count say, or None.
    more_traps, more_cores
        What would decide an undecided zone; cores also where larvae are due and there are no
        traps. None: not asked, or not within reason.
    cheapest
        ``"traps"`` or ``"cores"``: the one way there is, or the one that takes fewer minutes;
        ``""`` where there is none, or minutes are not known for both.
    """

    zone_id: str
    state: str
    reasons: tuple[str, ...]
    judged_by: str
    p_above: float
    limits: ZoneLimits
    adults_p_above: float = math.nan
    larvae: LarvalEvidence | None = None
    more_traps: MoreTrapping | None = None
    more_cores: MoreCoring | None = None
    cheapest: str = ""


def cutoffs_of(settings: DecisionSettings) -> Cutoffs:
    """Return the chances from which a zone is above and up to which it is below.

    With costs, `above` is the chance from which treating pays, cost / (loss * efficacy): at that
    chance, what treating saves, chance * loss * efficacy, is what it costs. `below` stays the
    user's, but never over it.

    Examples
    --------
    >>> cutoffs_of(DecisionSettings(treatment_cost_per_ha=300, loss_per_ha=2000, efficacy=0.5))
    Cutoffs(above=0.3, below=0.2)
    >>> cutoffs_of(DecisionSettings(treatment_cost_per_ha=100, loss_per_ha=2000, efficacy=0.5))
    Cutoffs(above=0.1, below=0.1)
    """
    above = settings.above if settings.break_even is None else settings.break_even
    return Cutoffs(above, min(settings.below, above))


def larvae_due(larvae_from: str | None, season_start: date) -> date | None:
    """Return the first day on which larvae are due in the season that starts on a day.

    Examples
    --------
    >>> larvae_due("05-15", date(2026, 2, 1)), larvae_due("01-10", date(2026, 10, 1))
    (datetime.date(2026, 5, 15), datetime.date(2027, 1, 10))
    """
    if larvae_from is None:
        return None
    due = date.fromisoformat(f"{season_start.year}-{larvae_from}")
    return due if due >= season_start else due.replace(year=due.year + 1)


def decide(
    adults: AdultEvidence,
    limits: Sequence[ZoneLimits],
    cores: Mapping[str, ZoneCores],
    rule: Rule,
) -> tuple[Decision, ...]:
    """Return the state of every zone, with the cheapest way to decide those that are undecided.

    Parameters
    ----------
    adults
        What the traps say.
    limits
        Limits of every zone on the day, in the same order; `data.limits.limits_of`.
    cores
        Zone -> its cores; `spatial.larvae.zone_cores`.
    rule
        How to judge.

    Examples
    --------
    Twenty cores without a larva outrank the beetles in the traps:

    >>> from data.settings import LimitSettings
    >>> from spatial.larvae import LarvalSample
    >>> one = np.array([1])
    >>> adults = AdultEvidence(np.array(["A"], dtype=object), np.array([0.95]), one > 0, 4 * one,
    ...                        16.0 * one, 0.5 * one, 1.5)
    >>> both = ZoneLimits(LimitSettings("own", "2026", adults_per_trap_week=4),
    ...                   LimitSettings("own", "2026", larvae_per_ft2=10))
    >>> june = Rule(date(2026, 6, 20), due_from=date(2026, 5, 15))
    >>> found = decide(adults, [both], {}, june)[0]
    >>> found.state, found.reasons
    ('above', ('adults_above', 'no_cores'))
    >>> clean = LarvalSample(20, 0, 0.183, date(2026, 6, 18), date(2026, 6, 18))
    >>> found = decide(adults, [both], {"A": ZoneCores(clean)}, june)[0]
    >>> found.state, found.reasons, found.judged_by
    ('below', ('adults_above_larvae_below', 'larvae_below', 'adults_above'), 'larvae')
    """
    judged = []
    for number, zone_limits in enumerate(limits):
        there = cores.get(str(adults.zone_ids[number]), ZoneCores())
        decision = _judged(adults, number, zone_limits, there, rule)
        judged.append(_with_ways(decision, adults, number, there, rule))
    return tuple(judged)


def state_at(p_above: float, cutoffs: Cutoffs) -> str:
    """Return `above`, `below` or `undecided`.

    Examples
    --------
    >>> [state_at(p, Cutoffs()) for p in (0.8, 0.79, 0.2)]
    ['above', 'undecided', 'below']
    """
    if p_above >= cutoffs.above:
        return "above"
    return "below" if p_above <= cutoffs.below else "undecided"


def _judged(
    adults: AdultEvidence, number: int, limits: ZoneLimits, cores: ZoneCores, rule: Rule
) -> Decision:
    """Return the state of one zone, without ways to decide it."""
    p_adults = float(adults.p_above[number]) if limits.adults else math.nan
    has_traps = bool(adults.has_traps[number])
    state, reasons = _of_adults(p_adults if has_traps else math.nan, has_traps, limits, rule)
    if not has_traps:
        p_adults = math.nan
    evidence = _evidence(cores, limits, rule)
    why_not = _cores_silent(cores, limits, rule)
    decision = Decision(
        zone_id=str(adults.zone_ids[number]),
        state=state,
        reasons=(*reasons, *why_not),
        judged_by="" if math.isnan(p_adults) else "adults",
        p_above=p_adults,
        limits=limits,
        adults_p_above=p_adults,
        larvae=evidence,
    )
    if evidence is not None and not why_not:
        return _by_larvae(decision, evidence.p_above, rule.cutoffs)
    if state == "no_limit" and set(why_not) & set(_CORES_WANTED):
        return replace(decision, state="undecided", reasons=(*why_not, *reasons))
    return decision


def _of_adults(
    p_above: float, has_traps: bool, limits: ZoneLimits, rule: Rule
) -> tuple[str, tuple[str, ...]]:
    without = () if limits.adults else ("no_adult_limit",)
    if not has_traps:
        return "no_traps", ("no_traps", *without)
    if limits.adults is None:
        return "no_limit", without
    if math.isnan(p_above):
        return "undecided", ("no_nights",)
    state = state_at(p_above, rule.cutoffs)
    return state, (f"adults_{state}",)


def _evidence(cores: ZoneCores, limits: ZoneLimits, rule: Rule) -> LarvalEvidence | None:
    if cores.counted is None:
        return None
    limit = limits.larvae.amount if limits.larvae else math.nan
    return larval_evidence(cores.counted, rule.larval_k, limit, rule.min_cores)


def _cores_silent(cores: ZoneCores, limits: ZoneLimits, rule: Rule) -> tuple[str, ...]:
    """Return why the cores of a zone decide nothing; empty when they do, or are not asked to."""
    if limits.larvae is None:
        return () if cores == ZoneCores() else ("no_larval_limit",)
    if rule.due_from is None:
        return ("no_larval_date",)
    if rule.day < rule.due_from:
        return ("larvae_not_due",)
    if cores.counted is None:
        return ("cores_too_early" if cores.early else "cores_too_old" if cores.old else "no_cores",)
    evidence = _evidence(cores, limits, rule)
    warnings = evidence.warnings if evidence else ()
    return tuple(warnings) if "few_cores" in warnings else ()


def _by_larvae(decision: Decision, p_above: float, cutoffs: Cutoffs) -> Decision:
    """Return the decision with the state of the larvae."""
    state = state_at(p_above, cutoffs)
    warned = () if decision.larvae is None else decision.larvae.warnings
    reasons = (f"larvae_{state}", *decision.reasons, *warned)
    if {decision.state, state} == {"above", "below"}:
        reasons = (f"adults_{decision.state}_larvae_{state}", *reasons)
    return replace(decision, state=state, reasons=reasons, judged_by="larvae", p_above=p_above)


def _with_ways(
    decision: Decision, adults: AdultEvidence, number: int, cores: ZoneCores, rule: Rule
) -> Decision:
    """Return the decision with what would most cheaply decide it."""
    open_ = decision.state in ("undecided", "no_traps")
    by_cores = open_ and bool(set(decision.reasons) & {*_CORES_WANTED, "larvae_undecided"})
    by_traps = open_ and decision.reasons[0] == "adults_undecided" and adults.log_sd[number] > 0
    more_cores = _more_cores(decision, cores, rule) if by_cores else None
    more_traps = _more_traps(decision, adults, number, rule) if by_traps else None
    hopeless = {
        "traps_will_not_decide": by_traps and more_traps is None and rule.weeks_left > 0,
        "season_over": by_traps and rule.weeks_left == 0,
        "cores_will_not_decide": by_cores and more_cores is None,
    }
    return replace(
        decision,
        reasons=(*decision.reasons, *(code for code, there in hopeless.items() if there)),
        more_traps=more_traps,
        more_cores=more_cores,
        cheapest=_cheapest(more_traps, more_cores),
    )


def _more_traps(
    decision: Decision, adults: AdultEvidence, number: int, rule: Rule
) -> MoreTrapping | None:
    if decision.limits.adults is None:
        return None
    now = Trapping(
        p_above=decision.adults_p_above,
        log_sd=float(adults.log_sd[number]),
        limit=decision.limits.adults.amount,
        traps=max(1, int(adults.traps[number])),
        trap_weeks=float(adults.trap_weeks[number]),
        k=adults.k,
    )
    return more_trapping(now, rule.cutoffs, rule.minutes_per_trap, most_weeks=rule.weeks_left)


def _more_cores(decision: Decision, cores: ZoneCores, rule: Rule) -> MoreCoring | None:
    if decision.limits.larvae is None:
        return None
    sample = cores.counted
    area = sample.area_m2 / sample.cores if sample else core_area_cm2(CUP_CUTTER_CM) / CM2_PER_M2
    wanted = Coring(decision.limits.larvae.amount, rule.larval_k, area, rule.min_cores)
    return more_coring(sample, wanted, rule.cutoffs, rule.minutes_per_core)


def _cheapest(traps: MoreTrapping | None, cores: MoreCoring | None) -> str:
    if traps is None or cores is None:
        return "traps" if traps else "cores" if cores else ""
    if traps.minutes is None or cores.minutes is None:
        return ""
    return "traps" if traps.minutes < cores.minutes else "cores"


def judging_limit(decision: Decision) -> LimitSettings | None:
    """Return the limit that made the state, else the one there is."""
    limits = decision.limits
    if decision.judged_by == "larvae":
        return limits.larvae
    return limits.adults or limits.larvae


def decision_table(decisions: Sequence[Decision]) -> pd.DataFrame:
    """Return the decisions as a table, one row per zone, in the same order.

    Returns
    -------
    pandas.DataFrame
        `zone_id`, `state`, `reasons` (joined by blanks), `judged_by`, `p_above`, `adults_p_above`,
        `limit_source`, `limit_dated` (of the limit that made the state), `adult_limit` (adults per
        trap-week), `larval_limit_m2`, `larvae_m2`, `larvae_m2_low`, `larvae_m2_high`, `cores`,
        `more_nights`, `more_traps`, `more_cores`, `cheapest`; NaN for what is not there.
    """
    return pd.DataFrame([_row(each) for each in decisions])


def _row(decision: Decision) -> dict[str, object]:
    limits, larvae = decision.limits, decision.larvae
    traps, cores = decision.more_traps, decision.more_cores
    limit = judging_limit(decision)
    return {
        "zone_id": decision.zone_id,
        "state": decision.state,
        "reasons": " ".join(decision.reasons),
        "judged_by": decision.judged_by,
        "p_above": decision.p_above,
        "adults_p_above": decision.adults_p_above,
        "limit_source": limit.source if limit else "",
        "limit_dated": limit.dated if limit else "",
        "adult_limit": limits.adults.amount if limits.adults else np.nan,
        "larval_limit_m2": limits.larvae.amount if limits.larvae else np.nan,
        "larvae_m2": larvae.density if larvae else np.nan,
        "larvae_m2_low": larvae.low if larvae else np.nan,
        "larvae_m2_high": larvae.high if larvae else np.nan,
        "cores": larvae.sample.cores if larvae else np.nan,
        "more_nights": traps.nights if traps else np.nan,
        "more_traps": traps.new_traps if traps else np.nan,
        "more_cores": cores.cores if cores else np.nan,
        "cheapest": decision.cheapest,
    }
