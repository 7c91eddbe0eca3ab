"""The state of a zone: every rule of the decision, and what costs make of the cut-offs."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from data.limits import ZoneLimits
from data.settings import DecisionSettings, LimitSettings
from spatial.decision import (
    REASONS,
    STATES,
    USE_REASONS,
    AdultEvidence,
    Decision,
    Rule,
    cutoffs_of,
    decide,
    decision_table,
    larvae_due,
    state_at,
)
from spatial.larvae import LarvalSample, ZoneCores
from spatial.more_evidence import Cutoffs

ADULT = LimitSettings("own records", "2026-03-01", adults_per_trap_week=2)
LARVAL = LimitSettings("own records", "2026-03-01", larvae_per_ft2=10)
BOTH, ADULTS_ONLY, LARVAE_ONLY = (
    ZoneLimits(ADULT, LARVAL),
    ZoneLimits(ADULT),
    ZoneLimits(None, LARVAL),
)
NONE = ZoneLimits()
JUNE, APRIL = date(2026, 6, 20), date(2026, 4, 20)
DUE = date(2026, 5, 15)
RULE = Rule(JUNE, due_from=DUE, minutes_per_trap=3.0, minutes_per_core=4.0)


def adults(*p_above: float, has_traps: bool = True) -> AdultEvidence:
    n = len(p_above)
    return AdultEvidence(
        zone_ids=np.array([f"Z{number}" for number in range(1, n + 1)], dtype=object),
        p_above=np.array(p_above),
        has_traps=np.full(n, has_traps),
        traps=np.full(n, 4),
        trap_weeks=np.full(n, 16.0),
        log_sd=np.full(n, 0.5),
        k=1.5,
    )


def cored(larvae: int, cores: int = 20) -> ZoneCores:
    return ZoneCores(LarvalSample(cores, larvae, cores * 0.009153, JUNE, JUNE))


CLEAN, FULL, NEAR = cored(0), cored(80), cored(19)
NO_CORES = ZoneCores()


def judged(
    p_above: float,
    limits: ZoneLimits,
    cores: ZoneCores = NO_CORES,
    rule: Rule = RULE,
    has_traps: bool = True,
) -> Decision:
    (found,) = decide(adults(p_above, has_traps=has_traps), [limits], {"Z1": cores}, rule)
    return found


@pytest.mark.parametrize(
    ("p_above", "state"),
    [(0.95, "above"), (0.8, "above"), (0.79, "undecided"), (0.21, "undecided"), (0.2, "below"),
     (0.0, "below")],
)  # fmt: skip
def test_the_chance_of_adults_over_their_limit_makes_the_state(p_above: float, state: str) -> None:
    found = judged(p_above, ADULTS_ONLY)
    assert (found.state, found.reasons[0]) == (state, f"adults_{state}")
    assert (found.judged_by, found.p_above) == ("adults", p_above)


@pytest.mark.parametrize("predicted", [0.01, 0.99, math.nan])
def test_a_zone_without_traps_is_no_traps_whatever_is_predicted(predicted: float) -> None:
    found = judged(predicted, ADULTS_ONLY, has_traps=False)
    assert (found.state, found.reasons) == ("no_traps", ("no_traps",))
    assert math.isnan(found.p_above)
    assert math.isnan(found.adults_p_above)


def test_no_traps_goes_before_no_limit() -> None:
    found = judged(math.nan, NONE, has_traps=False)
    assert (found.state, found.reasons) == ("no_traps", ("no_traps", "no_adult_limit"))


def test_a_zone_without_a_limit_is_no_limit_and_its_chance_is_not_used() -> None:
    found = judged(0.99, NONE)
    assert (found.state, found.reasons) == ("no_limit", ("no_adult_limit",))
    assert math.isnan(found.p_above)


def test_traps_without_nights_leave_a_zone_undecided() -> None:
    found = judged(math.nan, ADULTS_ONLY)
    assert (found.state, found.reasons) == ("undecided", ("no_nights",))
    assert found.more_traps is None


@pytest.mark.parametrize(
    ("p_above", "cores", "state", "reasons"),
    [
        (0.95, CLEAN, "below", ("adults_above_larvae_below", "larvae_below", "adults_above")),
        (0.05, FULL, "above", ("adults_below_larvae_above", "larvae_above", "adults_below")),
        (0.95, FULL, "above", ("larvae_above", "adults_above")),
        (0.05, CLEAN, "below", ("larvae_below", "adults_below")),
        (0.50, CLEAN, "below", ("larvae_below", "adults_undecided")),
        (0.95, NEAR, "undecided", ("larvae_undecided", "adults_above")),
    ],
)
def test_larvae_outrank_adults_once_they_are_due(
    p_above: float, cores: ZoneCores, state: str, reasons: tuple[str, ...]
) -> None:
    found = judged(p_above, BOTH, cores)
    assert (found.state, found.reasons[: len(reasons)], found.judged_by) == (
        state,
        reasons,
        "larvae",
    )
    assert found.larvae is not None
    assert found.p_above == found.larvae.p_above
    assert found.adults_p_above == p_above


@pytest.mark.parametrize(
    ("cores", "rule", "reason"),
    [
        (CLEAN, replace(RULE, day=APRIL), "larvae_not_due"),
        (CLEAN, replace(RULE, due_from=None), "no_larval_date"),
        (cored(0, 9), RULE, "few_cores"),
        (NO_CORES, RULE, "no_cores"),
        (ZoneCores(early=12), RULE, "cores_too_early"),
        (ZoneCores(old=12), RULE, "cores_too_old"),
    ],
)
def test_cores_that_do_not_count_leave_the_state_of_the_adults(
    cores: ZoneCores, rule: Rule, reason: str
) -> None:
    found = judged(0.95, BOTH, cores, rule)
    assert (found.state, found.judged_by, found.p_above) == ("above", "adults", 0.95)
    assert found.reasons == ("adults_above", reason)


def test_larvae_are_due_on_the_very_day() -> None:
    assert judged(0.95, BOTH, CLEAN, replace(RULE, day=DUE)).judged_by == "larvae"


def test_one_larva_in_too_few_cores_is_said_and_decides_nothing() -> None:
    found = judged(0.1, BOTH, cored(1, 1))
    assert (found.state, found.reasons) == ("below", ("adults_below", "few_cores", "one_larva"))


def test_cores_without_a_limit_for_larvae_decide_nothing() -> None:
    found = judged(0.9, ADULTS_ONLY, FULL)
    assert (found.state, found.reasons) == ("above", ("adults_above", "no_larval_limit"))
    assert found.larvae is not None


def test_cores_judge_a_zone_without_traps() -> None:
    found = judged(math.nan, BOTH, FULL, has_traps=False)
    assert (found.state, found.reasons[:2]) == ("above", ("larvae_above", "no_traps"))


def test_with_a_limit_for_larvae_alone_a_zone_waits_and_then_needs_cores() -> None:
    early = judged(math.nan, LARVAE_ONLY, rule=replace(RULE, day=APRIL))
    assert (early.state, early.reasons) == ("no_limit", ("no_adult_limit", "larvae_not_due"))
    due = judged(math.nan, LARVAE_ONLY)
    assert (due.state, due.reasons) == ("undecided", ("no_cores", "no_adult_limit"))
    assert (due.cheapest, due.judged_by) == ("cores", "")
    cut = judged(math.nan, LARVAE_ONLY, FULL)
    assert (cut.state, cut.judged_by) == ("above", "larvae")


def test_an_undecided_zone_is_told_the_cheapest_way() -> None:
    found = judged(0.5, BOTH)
    assert found.state == "undecided"
    assert found.more_traps is not None
    assert found.more_cores is not None
    assert found.more_traps.minutes == 3.0 * found.more_traps.visits
    assert found.more_cores.minutes == 4.0 * found.more_cores.cores
    fewer = "traps" if found.more_traps.minutes < found.more_cores.minutes else "cores"
    assert found.cheapest == fewer
    slow = judged(0.5, BOTH, rule=replace(RULE, minutes_per_core=100.0))
    assert slow.cheapest == "traps"
    unknown = judged(0.5, BOTH, rule=replace(RULE, minutes_per_core=None))
    assert unknown.cheapest == ""


def test_more_traps_do_not_decide_where_larvae_judge() -> None:
    found = judged(0.5, BOTH, NEAR)
    assert found.reasons[0] == "larvae_undecided"
    assert found.more_traps is None
    assert found.cheapest == "cores"


def test_before_larvae_are_due_no_cores_are_asked_for() -> None:
    found = judged(0.5, BOTH, rule=replace(RULE, day=APRIL))
    assert found.more_cores is None
    assert found.cheapest == "traps"


def test_a_decided_zone_is_asked_for_nothing() -> None:
    for p_above in (0.05, 0.95):
        found = judged(p_above, BOTH)
        assert (found.more_traps, found.more_cores, found.cheapest) == (None, None, "")


def test_a_way_that_leads_nowhere_is_said() -> None:
    evidence = replace(adults(0.5), log_sd=np.array([0.05]))
    (found,) = decide(evidence, [ADULTS_ONLY], {}, RULE)
    assert found.reasons == ("adults_undecided", "traps_will_not_decide")
    low = ZoneLimits(None, replace(LARVAL, larvae_per_ft2=0.01))
    assert judged(math.nan, low).reasons[-1] == "cores_will_not_decide"


def test_an_unknown_spread_gives_no_plan_and_no_false_reason() -> None:
    evidence = replace(adults(0.5), log_sd=np.array([math.nan]))
    (found,) = decide(evidence, [ADULTS_ONLY], {}, RULE)
    assert (found.reasons, found.more_traps) == (("adults_undecided",), None)


def test_zones_are_judged_one_by_one_whatever_their_order() -> None:
    chances = (0.95, 0.5, 0.1, 0.6)
    limits = [BOTH, ADULTS_ONLY, BOTH, NONE]
    cores = {"Z1": CLEAN, "Z3": FULL}
    there = decide(adults(*chances), limits, cores, RULE)
    back = np.arange(4)[::-1]
    evidence = adults(*chances)
    turned = replace(evidence, zone_ids=evidence.zone_ids[back], p_above=evidence.p_above[back])
    again = decide(turned, limits[::-1], cores, RULE)
    assert decision_table(again[::-1]).equals(decision_table(there))


def test_treating_pays_from_the_chance_at_which_it_saves_what_it_costs() -> None:
    """Cost 300, loss 2000 of which half is prevented: at .3 either way costs the same.

    The rule is the cost-loss ratio of decision theory (Murphy 1977, Monthly Weather Review 105,
    803-816; from memory), with the loss that treating prevents.
    """
    settings = DecisionSettings(treatment_cost_per_ha=300, loss_per_ha=2000, efficacy=0.5)
    p = settings.break_even
    assert p is not None
    assert p == pytest.approx(0.3)

    def cost(chance: float, treated: bool) -> float:
        return 300 + chance * 2000 * (1 - 0.5) if treated else chance * 2000

    assert cost(p, True) == pytest.approx(cost(p, False))
    assert cost(p + 0.01, True) < cost(p + 0.01, False)
    assert cost(p - 0.01, True) > cost(p - 0.01, False)
    assert cutoffs_of(settings) == Cutoffs(p, 0.2)


def test_a_cheap_treatment_lowers_both_cut_offs() -> None:
    settings = DecisionSettings(treatment_cost_per_ha=50, loss_per_ha=2000, efficacy=0.5)
    cutoffs = cutoffs_of(settings)
    assert cutoffs == Cutoffs(0.05, 0.05)
    assert [state_at(p, cutoffs) for p in (0.04, 0.05)] == ["below", "above"]


def test_larvae_are_due_once_in_every_season() -> None:
    assert larvae_due(None, date(2026, 2, 1)) is None
    assert larvae_due("05-15", date(2026, 5, 15)) == date(2026, 5, 15)
    assert larvae_due("01-10", date(2026, 11, 1)) == date(2027, 1, 10)


def test_the_table_has_a_row_per_zone_and_blanks_for_what_is_not_there() -> None:
    found = decide(adults(0.95, 0.5), [BOTH, ADULTS_ONLY], {"Z1": CLEAN}, RULE)
    table = decision_table(found)
    assert list(table["zone_id"]) == ["Z1", "Z2"]
    assert list(table["state"]) == ["below", "undecided"]
    assert table.loc[0, "reasons"] == "adults_above_larvae_below larvae_below adults_above"
    assert table.loc[0, "larval_limit_m2"] == pytest.approx(107.639, abs=1e-3)
    assert (table.loc[0, "cores"], table.loc[0, "larvae_m2"]) == (20, 0)
    assert table.loc[1, ["larval_limit_m2", "larvae_m2", "cores", "more_cores"]].isna().all()
    assert table["more_nights"].gt(0).tolist() == [False, True]


def test_every_state_and_reason_can_come_about() -> None:
    """Each listed code is reached by a case; none is dead."""
    rules = (RULE, replace(RULE, day=APRIL), replace(RULE, due_from=None))
    cores = (NO_CORES, CLEAN, FULL, NEAR, cored(1, 1), ZoneCores(early=5), ZoneCores(old=5))
    low = ZoneLimits(None, replace(LARVAL, larvae_per_ft2=0.01))
    found = [
        judged(p_above, limits, there, rule, has_traps)
        for rule in rules
        for there in cores
        for limits in (BOTH, ADULTS_ONLY, LARVAE_ONLY, NONE, low)
        for p_above in (0.95, 0.5, 0.05, math.nan)
        for has_traps in (True, False)
    ]
    evidence = replace(adults(0.5), log_sd=np.array([0.05]))
    found += decide(evidence, [ADULTS_ONLY], {}, RULE)
    found += decide(evidence, [ADULTS_ONLY], {}, replace(RULE, weeks_left=0))
    assert {each.state for each in found} == set(STATES)
    assert {code for each in found for code in each.reasons} == set(REASONS) - set(USE_REASONS)
    assert all(each.reasons for each in found)
