"""Words of the decision: one for every code, figures and sources shown, and nothing prescribed."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from languages import EN, section

from data.limits import ZoneLimits
from data.settings import DecisionSettings, LimitSettings
from maps import decision_words as words
from maps.words import MARK_LETTERS
from spatial.decision import REASONS, STATES, AdultEvidence, Decision, Rule, cutoffs_of, decide
from spatial.larvae import LarvalSample, ZoneCores
from spatial.more_evidence import Cutoffs, MoreCoring, MoreTrapping

ADULT = LimitSettings("own records", "2026-03-01", adults_per_trap_week=2)
LARVAL = LimitSettings("committee", "2025", larvae_per_ft2=10)
BOTH = ZoneLimits(ADULT, LARVAL)
JUNE, APRIL = date(2026, 6, 20), date(2026, 4, 20)
RULE = Rule(JUNE, due_from=date(2026, 5, 15))
COUNTS = {
    key.removeprefix("more_").partition(".")[0]: text
    for key, text in section("state_counts").items()
    if key.startswith("more_")
}
WITH_CHANCE = {"by_chance", "by_cutoff", "below_by_chance", "between"}
PRESCRIBED = re.compile(
    r"\b(spray|sprays|sprayed|apply|applied|application|insecticide|pesticide|product|dose|should|"
    r"must|ought|recommend\w*|gallons?|ounces?)\b",
    re.IGNORECASE,
)


def cored(larvae: int, cores: int = 20) -> ZoneCores:
    return ZoneCores(LarvalSample(cores, larvae, cores * 0.009153, date(2026, 6, 18), JUNE))


def judged(
    p_above: float,
    limits: ZoneLimits = BOTH,
    cores: ZoneCores | None = None,
    rule: Rule = RULE,
    has_traps: bool = True,
) -> Decision:
    one = np.ones(1)
    evidence = AdultEvidence(
        zone_ids=np.array(["Z1"], dtype=object),
        p_above=one * p_above,
        has_traps=np.array([has_traps]),
        traps=np.array([4]),
        trap_weeks=16 * one,
        log_sd=0.5 * one,
        k=1.5,
    )
    return decide(evidence, [limits], {"Z1": cores or ZoneCores()}, rule)[0]


def text_of(decision: Decision, rule: Rule = RULE) -> str:
    return " ".join(words.decision_sentences(decision, rule, EN))


def every_case() -> list[tuple[Decision, Rule]]:
    low = Cutoffs(0.3, 0.2)
    rules = (
        RULE,
        replace(RULE, day=APRIL),
        replace(RULE, due_from=None),
        replace(RULE, cutoffs=low),
    )
    cores = (ZoneCores(), cored(0), cored(80), cored(19), cored(1, 1), ZoneCores(early=3))
    limits = (BOTH, ZoneLimits(ADULT), ZoneLimits(None, LARVAL), ZoneLimits())
    chances = (0.97, 0.5, 0.35, 0.03, math.nan)
    return [
        (judged(p_above, limit, there, rule, has_traps), rule)
        for p_above, limit, there, rule, has_traps in itertools.product(
            chances, limits, cores, rules, (True, False)
        )
    ]


@pytest.mark.parametrize("said", [section("states"), COUNTS])
def test_every_state_has_words_and_no_words_are_left_over(said: dict[str, str]) -> None:
    assert set(said) == set(STATES)


def test_every_state_is_said_without_a_chance() -> None:
    assert set(section("states_said")) - WITH_CHANCE == set(STATES)


def test_every_reason_has_words_and_no_words_are_left_over() -> None:
    assert set(section("reasons")) == set(REASONS)


def test_every_state_has_a_next_step() -> None:
    steps = set(section("next_steps")) - {"above_short"}
    assert steps - set(words.STEPS_BY_REASON) == set(STATES)
    assert set(words.STEPS_BY_REASON) <= steps & set(REASONS)


def test_letters_tell_states_from_each_other_and_from_the_marks_of_traps() -> None:
    letters = [words.state_letter(each, EN) for each in words.LETTERED]
    assert len({*letters, *MARK_LETTERS.values()}) == len(letters) + len(MARK_LETTERS)


def test_no_words_are_empty_or_hold_a_code() -> None:
    said = map(section, ("states", "states_said", "reasons", "next_steps"))
    texts = [text for each in said for text in each.values()]
    plain = [text.replace("larvae_from", "").replace("exclusion_uses", "") for text in texts]
    assert [text for text in plain if not text.strip() or "_" in text] == []


def test_nothing_is_prescribed_in_any_case() -> None:
    """No product, rate or order to treat in any sentence; the label and others decide."""
    found = {text_of(decision, rule) for decision, rule in every_case()}
    assert len(found) > 40
    assert [text for text in found if PRESCRIBED.search(text)] == []
    assert PRESCRIBED.search("You should spray.")


def test_every_case_ends_with_a_next_step() -> None:
    for decision, _ in every_case():
        assert all(step.endswith(".") for step in words.next_steps(decision, EN))
        assert words.next_steps(decision, EN)


def test_above_names_limit_source_date_and_chance() -> None:
    found = judged(0.91, ZoneLimits(ADULT))
    assert words.state_sentence(found, RULE, EN) == (
        "Evidence is above your limit of 2 adults per trap-week (own records, 2026-03-01): the "
        "chance of being over it is about 90 %, and from 80 % on you call it above."
    )


def test_below_is_no_promise() -> None:
    text = words.state_sentence(judged(0.04, ZoneLimits(ADULT)), RULE, EN)
    assert text.startswith("Evidence is below your limit of 2 adults per trap-week (own records,")
    assert "the chance of being over it is about 5 %" in text
    assert text.endswith("That is no promise that nothing is there.")


def test_undecided_names_both_cut_offs_and_the_way() -> None:
    text = text_of(judged(0.5, ZoneLimits(ADULT)))
    assert (
        "the chance of being over it is about 50 %, between your 20 % for below and your 80 %"
        in text
    )
    assert re.search(r"What would decide it: \d+ more weeks?.*\d+ trap-nights", text)


def test_a_chance_just_short_of_a_cut_off_does_not_read_like_it() -> None:
    text = words.state_sentence(judged(0.7996, ZoneLimits(ADULT)), RULE, EN)
    assert "is about 79.96 %, between your 20 % for below and your 80 % for above" in text
    exact = words.state_sentence(judged(0.8, ZoneLimits(ADULT)), RULE, EN)
    assert "is about 80 %, and from 80 % on" in exact


def test_a_low_cut_off_never_says_that_the_zone_is_over_its_limit() -> None:
    """With costs, treating may pay although the zone is more likely under its limit."""
    settings = DecisionSettings(treatment_cost_per_ha=300, loss_per_ha=2000, efficacy=0.5)
    rule = replace(RULE, cutoffs=cutoffs_of(settings))
    text = words.state_sentence(judged(0.35, ZoneLimits(ADULT), rule=rule), rule, EN)
    assert text == (
        "Above your cut-off: the chance of being over your limit of 2 adults per trap-week (own "
        "records, 2026-03-01) is about 35 %, and from 30 % on you call it above."
    )


def test_adults_over_and_larvae_under_is_below_with_its_reason_and_step() -> None:
    found = judged(0.95, cores=cored(0))
    text = text_of(found)
    assert "Evidence is below your limit of 10 larvae per square foot (committee, 2025)" in text
    assert "Traps and cores disagree: adults are over their limit, larvae are under theirs." in text
    assert "it is the larvae that feed on the turf" in text
    assert "The traps say" not in text, "said once is enough"
    assert text.endswith("cut cores again in one to two weeks while adults still walk.")


def test_larvae_are_told_with_interval_and_what_one_larva_means() -> None:
    text = text_of(judged(0.95, cores=cored(19)))
    assert "19 larvae in 20 cores (18 June 2026 to 20 June 2026): 9.6 per square foot" in text
    assert "negative binomial with k = 1)" in text
    assert "A single larva in these cores reads as 0.51 per square foot." in text


def test_densities_are_in_the_unit_of_their_limit() -> None:
    metric = ZoneLimits(ADULT, LimitSettings("committee", "2025", larvae_per_m2=100))
    assert "104 per m2" in text_of(judged(0.95, metric, cored(19)))
    without = judged(0.95, ZoneLimits(ADULT), cored(19))
    assert "104 per m2" in " ".join(words.decision_sentences(without, RULE, EN, "metric"))


def test_one_larva_reads_as_ten_per_square_foot() -> None:
    """4.25-inch core: 0.09852 square foot, x 10.15."""
    assert "reads as 10.15 per square foot" in words.one_larva_warning(EN)
    assert "reads as 109 per m2" in words.one_larva_warning(EN, "metric")


def test_no_traps_never_reads_like_low() -> None:
    text = text_of(judged(math.nan, ZoneLimits(ADULT), has_traps=False))
    assert text.startswith("No traps: nothing can be said. That is not the same as nothing there.")
    assert "below" not in text


def test_no_traps_once_larvae_are_due_is_offered_cores_too() -> None:
    steps = words.next_steps(judged(math.nan, has_traps=False), EN)
    assert steps[0] == "Set traps before anything is said about this zone."
    assert steps[1].startswith("What would decide it: 14 cores")


def test_without_a_limit_the_next_step_is_to_set_one() -> None:
    text = text_of(judged(0.9, ZoneLimits()))
    assert "You have set no limit" in text
    assert text.endswith("([[limits]]), with its source and date.")


def test_both_ways_are_told_where_minutes_are_not_known() -> None:
    text = text_of(judged(0.5))
    assert text.count("What would decide it:") == 2
    timed = judged(0.5, rule=replace(RULE, minutes_per_trap=3.0, minutes_per_core=4.0))
    assert text_of(timed).count("What would decide it:") == 1
    assert "minutes" in text_of(timed)


def test_a_single_thing_is_singular() -> None:
    one = words.trapping_text(MoreTrapping(1, 1, 6, 35, 0.5, 1.0), EN)
    assert "1 more week with 1 more trap (35 trap-nights, 6 visits with setting them" in one
    assert "about 1 minute)" in one
    assert "1 more core." in words.coring_text(MoreCoring(1, "expected", 0.5, None), EN)


def test_the_headline_counts_every_state_once() -> None:
    states = ["above"] * 3 + ["undecided"] * 4 + ["no_traps"] * 2
    decisions = [replace(judged(0.5), state=state) for state in states]
    assert words.states_headline(decisions, EN) == (
        "3 zones above their limit, 4 undecided, 2 without traps."
    )
    assert words.states_headline(decisions[:1], EN) == "1 zone above its limit."


def test_costs_are_told_with_their_numbers() -> None:
    text = words.costs_sentence(
        DecisionSettings(treatment_cost_per_ha=450, loss_per_ha=2500, efficacy=0.6), EN
    )
    assert "from a chance of 30 % on" in text
    assert "= 450 / (2,500 x 0.6) = 0.3, all per hectare." in text


@pytest.mark.parametrize(
    ("chance", "said"),
    [(1.0, "over 99 %"), (0.0, "under 1 %"), (0.05, "5 %"), (math.nan, "not known")],
)
def test_no_chance_reads_as_certain(chance: float, said: str) -> None:
    assert EN.chance(chance) == said
