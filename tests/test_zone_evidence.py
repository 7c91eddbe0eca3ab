"""Every state of a zone through the whole analysis, and what the page then says of it."""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from analyses import usual_analysis
from languages import EN, section
from sites import SETTINGS as USUAL_SETTINGS
from sites import make_site

from data.findings import SettingsError
from data.reading import read_site
from maps.decision_words import (
    about_text,
    decision_sentences,
    next_steps,
    short_step,
)
from maps.exports import zones_csv
from maps.page import activity_map
from maps.payload import map_payload
from maps.summary import summary
from maps.treatment_words import choice_sentence, stage_sentence
from maps.words import headline
from maps.zone_states import EVIDENCE_KEY, evidence_fills, other_lines, state_rows
from scripts.commands import plan as plan_command
from spatial.analysis import analyse
from spatial.more_evidence import Cutoffs
from spatial.results import Analysis
from spatial.zone_evidence import MODEL_COLUMNS, log_ratio_errors

Limit = tuple[str, str, float]

NEXT_STEPS = section("next_steps")
NO_LIMIT_SET = EN.say("limit.not_set")
K_IS_ASSUMED = EN.say("decision_notes.assumed_k")
SETTINGS = f"{USUAL_SETTINGS}\n[marks]\npermutations = 999\n"
"""Quick ones: nothing here rests on the marks."""

ONE_OF_EACH: tuple[Limit, ...] = (
    ("Z1", "adults_per_trap_week", 0.01),
    ("Z2", "adults_per_trap_week", 1000),
    ("Z4", "adults_per_trap_week", 2),
    ("Z6", "adults_per_trap_week", 1),
)
"""Z1 catches 3 per trap-week, Z2 2, Z4 2; Z6 has no traps; Z3 and Z5 have no limit."""

LARVAE_DUE = '\n[decision]\nlarvae_from = "04-15"\n'


def text_of(limits: Sequence[Limit]) -> str:
    return "".join(
        f'\n[[limits]]\nzone = "{zone}"\n{name} = {amount}\nsource = "own"\ndated = "2026"\n'
        for zone, name, amount in limits
    )


def analysed(folder: Path, limits: Sequence[Limit], more: str = "") -> Analysis:
    return analyse(read_site(make_site(folder, settings=SETTINGS + more + text_of(limits))))


@pytest.fixture(scope="module")
def each(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return analysed(tmp_path_factory.mktemp("each"), ONE_OF_EACH)


@pytest.fixture(scope="module")
def page(each: Analysis) -> str:
    return activity_map(each, EN)


def test_each_state_comes_out_of_the_whole_analysis(each: Analysis) -> None:
    found = dict(zip(each.zones["zone_id"], each.zones["state"], strict=True))
    assert found == {
        "Z1": "above",
        "Z2": "below",
        "Z3": "no_limit",
        "Z4": "undecided",
        "Z5": "no_limit",
        "Z6": "no_traps",
    }


def test_only_a_zone_with_a_limit_and_nights_has_a_chance(each: Analysis) -> None:
    zones = each.zones.set_index("zone_id")
    assert zones["p_above"].notna().tolist() == [True, True, False, True, False, False]
    assert zones["adult_limit"].dropna().to_dict() == {"Z1": 0.01, "Z2": 1000, "Z4": 2, "Z6": 1}


def test_a_zone_without_traps_has_no_rate_of_the_model(each: Analysis) -> None:
    zones = each.zones.set_index("zone_id")
    assert zones.loc["Z6", list(MODEL_COLUMNS)].isna().all()
    inside = zones.loc[[f"Z{number}" for number in range(1, 6)]]
    assert (inside["model_low_95"] < inside["model_low_80"]).all()
    assert (inside["model_low_80"] < inside["model_rate"]).all()
    assert (inside["model_rate"] < inside["model_high_80"]).all()


def test_an_undecided_zone_says_what_would_decide_it(each: Analysis) -> None:
    row = each.zones.set_index("zone_id").loc["Z4"]
    assert row["cheapest"] == "traps"
    assert row["more_nights"] > 0
    assert short_step(each.decisions[3], EN).startswith(("Set ", "Go on "))


def test_without_limits_no_model_is_fitted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The model takes most of a run's time, and says nothing that would be shown."""

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("the zone model was fitted")

    monkeypatch.setattr("spatial.zone_evidence.zone_model", refuse)
    found = analysed(tmp_path, ())
    assert set(found.zones["state"]) == {"no_limit", "no_traps"}
    assert found.zones[list(MODEL_COLUMNS)].isna().to_numpy().all()
    assert not found.judged


def test_larvae_go_before_adults_once_they_are_due(tmp_path: Path) -> None:
    """Z1 is over a tiny limit for adults; 7 larvae in ten cores are 76 per m2, far under 1,000."""
    limits = [ONE_OF_EACH[0], ("Z1", "larvae_per_m2", 1000)]
    found = analysed(tmp_path, limits, LARVAE_DUE).zones.iloc[0]
    assert (found["state"], found["judged_by"]) == ("below", "larvae")
    assert found["reasons"].split()[0] == "adults_above_larvae_below"
    assert found["larvae_m2"] == pytest.approx(76.5, abs=0.1)


def test_a_ratio_of_the_user_counts_as_known() -> None:
    assert log_ratio_errors(usual_analysis().ratios).keys() == {"linear"}
    assert log_ratio_errors(()) == {}


def test_a_limit_for_a_place_that_is_not_there_is_a_finding(tmp_path: Path) -> None:
    settings = SETTINGS + text_of([("Z9", "adults_per_trap_week", 2)])
    site = read_site(make_site(tmp_path, settings=settings))
    told = [str(found) for found in site.findings if found.code == "IN-106"]
    assert len(told) == 1
    assert told[0].startswith("site.toml: limits, item 1: there is no zone 'Z9', so it holds")
    assert "it may be one of Z1, Z2" in told[0] or "did you mean" in told[0]


def test_the_files_carry_the_states(each: Analysis) -> None:
    header, *rows = zones_csv(each).splitlines()
    state = header.split(",").index("state")
    assert [row.split(",")[state] for row in rows][:2] == ["above", "below"]
    zones = summary(each)["zones"]
    assert isinstance(zones, dict)
    assert zones["by_state"] == {
        "above": 1,
        "below": 1,
        "undecided": 1,
        "no_traps": 1,
        "no_limit": 2,
    }


def test_the_list_starts_with_the_most_urgent_and_leaves_out_the_quiet(each: Analysis) -> None:
    assert [(row["id"], row["letter"]) for row in state_rows(each, EN)] == [
        ("Z1", "A"),
        ("Z4", "U"),
    ]


def test_the_page_says_state_chance_limit_and_next_step(page: str) -> None:
    for part in (
        "1 zone above its limit, 1 below its limit, 1 undecided, 1 without traps, 2 without a",
        "very likely over (over 95 %)",
        "0.01 adults per trap-week (own, 2026)",
        "Take it into your plan, or look again first.",
        "1 zone without traps (Z6). Set traps before anything is said about it.",
        "somewhat too high",
    ):
        assert part in page
    assert NO_LIMIT_SET not in page


def test_without_a_limit_the_page_has_one_line_more_and_no_states() -> None:
    text = activity_map(usual_analysis(), EN)
    assert text.count(NO_LIMIT_SET) == 1
    assert 'id="states"' not in text
    assert '"evidence":null' in text


def test_no_traps_is_hatched_and_never_drawn_as_low(each: Analysis) -> None:
    evidence = map_payload(each, EN)["evidence"]
    assert evidence["zone"] == "ablhlt"
    assert evidence["fills"]["t"] == "url(#fill-t)"
    assert evidence["letters"] == ["A", "", "", "U", "", ""]
    json.dumps(evidence, allow_nan=False)


def test_every_fill_is_explained_and_none_is_like_another() -> None:
    assert evidence_fills().keys() == EVIDENCE_KEY.keys()
    assert len(set(evidence_fills().values())) == len(EVIDENCE_KEY)


def test_every_pattern_is_on_the_page(page: str) -> None:
    patterns = {fill[5:-1] for fill in evidence_fills().values() if fill.startswith("url(#")}
    assert [name for name in patterns if f'id="{name}"' not in page] == []


def test_a_rough_chance_stays_on_its_side_of_the_cut_offs() -> None:
    cutoffs = Cutoffs(0.78, 0.23)
    for chance in (k / 400 for k in range(401)):
        text = about_text(chance, cutoffs, EN)
        shown = float(text.split()[-2]) / 100
        shown += {"under": -0.01, "over": 0.01}.get(text.split()[0], 0.0)
        assert (shown >= cutoffs.above) == (chance >= cutoffs.above)
        assert (shown <= cutoffs.below) == (chance <= cutoffs.below)
        assert abs(shown - chance) <= 0.06


def test_a_plan_without_zones_takes_those_above(tmp_path: Path) -> None:
    tactic = '\n[treatment.adult]\nproduct = "own"\n'
    site = read_site(make_site(tmp_path, settings=SETTINGS + tactic + text_of(ONE_OF_EACH)))
    planned = plan_command.planned(site, None, None, "adult")
    assert list(planned.areas.zones["zone_id"]) == ["Z1"]
    said = choice_sentence(planned, EN)
    assert said.endswith(
        "of evidence. Left out: 1 zone undecided; 1 zone below the limit; "
        "1 zone without traps, of which nothing is known; 2 zones without a limit."
    )
    bare = read_site(make_site(tmp_path / "bare", settings=SETTINGS + tactic))
    with pytest.raises(SettingsError, match="no limit holds for any zone on this day"):
        plan_command.planned(bare, None, None, "adult")


@pytest.mark.parametrize(("tactic", "late"), [("adult", True), ("larva", False)])
def test_a_plan_against_adults_says_where_larvae_decided(
    tmp_path: Path, tactic: str, late: bool
) -> None:
    limit = '\n[[limits]]\nzone = "Z1"\nlarvae_per_m2 = 1\nsource = "own"\ndated = "2026"\n'
    due = '[decision]\nlarvae_from = "04-01"\n'
    site = read_site(make_site(tmp_path, settings=SETTINGS + limit + due))
    planned = plan_command.planned(site, None, "Z1", tactic)
    assert planned.areas.zones["judged_by"].tolist() == ["larvae"]
    assert ("Judged by their larvae, not by adults: Z1." in stage_sentence(planned, EN)) == late


def test_a_plan_against_larvae_says_where_only_adults_were_judged(tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path, settings=SETTINGS + text_of(ONE_OF_EACH)))
    said = stage_sentence(plan_command.planned(site, None, "Z1", "larva"), EN)
    assert said.startswith("Judged by their adults, not by larvae: Z1. Whether larvae are there")


def test_limits_of_other_days_are_not_called_missing(tmp_path: Path) -> None:
    days = 'from = "06-01"\nto = "06-30"\n'
    found = analysed(tmp_path, [], text_of([ONE_OF_EACH[0]]) + days)
    page = activity_map(found, EN)
    assert "None of your limits holds for a zone on 10 May 2026" in page
    assert "They hold from 1 June to 30 June." in page
    assert NO_LIMIT_SET not in page


def test_a_zone_judged_by_its_cores_is_not_among_those_of_which_nothing_is_known(
    tmp_path: Path,
) -> None:
    """Z6 has no trap, and cores full of larvae."""
    folder = make_site(
        tmp_path, settings=SETTINGS + LARVAE_DUE + text_of([("Z6", "larvae_per_m2", 10)])
    )
    with (folder / "cores.csv").open("a", encoding="utf-8") as cores:
        cores.write("Z6,2026-05-04,20,10,cm,90,\n")
    found = analyse(read_site(folder))
    assert found.zones.set_index("zone_id").loc["Z6", "state"] == "above"
    said = " ".join(headline(found, EN))
    assert "1 zone has no traps and is judged by cores alone." in said
    assert "has no traps: nothing can be said" not in said


def test_a_zone_below_by_its_larvae_alone_is_listed_apart(tmp_path: Path) -> None:
    limits = [ONE_OF_EACH[0], ("Z1", "larvae_per_m2", 1000)]
    found = analysed(tmp_path, limits, LARVAE_DUE)
    lines = other_lines(found.decisions, EN)
    assert lines[0] == (
        "1 zone below by larvae while adults are over its limit (Z1). Leave it for now, and cut "
        "cores again in one to two weeks while adults still walk."
    )
    (step,) = next_steps(found.decisions[0], EN)
    assert step == NEXT_STEPS["adults_above_larvae_below"]


def test_a_use_that_is_never_treated_is_not_sent_into_the_plan(tmp_path: Path) -> None:
    use = read_site(make_site(tmp_path / "first")).zones["use"].iloc[0]
    never = f'\n[treatment]\nexclusion_uses = ["{use}"]\n'
    found = analysed(tmp_path / "second", ONE_OF_EACH[:1], never)
    assert found.decisions[0].state == "above"
    assert short_step(found.decisions[0], EN) == NEXT_STEPS["never_treated"]


def test_a_zone_above_before_larvae_are_due_is_for_the_plan(tmp_path: Path) -> None:
    limits = [ONE_OF_EACH[0], ("Z1", "larvae_per_m2", 1000)]
    found = analysed(tmp_path, limits, '\n[decision]\nlarvae_from = "08-01"\n').decisions[0]
    assert "larvae_not_due" in found.reasons
    assert next_steps(found, EN) == [NEXT_STEPS["above"]]


def test_more_trapping_ends_with_the_season(each: Analysis) -> None:
    """The season ends on 31 August; on its last day nothing is left for trapping."""
    assert each.rule is not None
    assert each.rule.weeks_left == (each.season.end - each.season.cutoff).days // 7
    way = each.decisions[3].more_traps
    assert way is not None
    assert way.weeks <= each.rule.weeks_left


def test_an_assumed_k_of_larvae_is_called_assumed(tmp_path: Path) -> None:
    found = analysed(tmp_path, [("Z1", "larvae_per_m2", 1000)], LARVAE_DUE)
    assert found.rule is not None
    assert found.rule.larval_k_assumed
    said = " ".join(decision_sentences(found.decisions[0], found.rule, EN))
    assert K_IS_ASSUMED in said
    known = replace(found.rule, larval_k_assumed=False)
    assert K_IS_ASSUMED not in " ".join(decision_sentences(found.decisions[0], known, EN))


def test_the_interval_beside_a_judged_zone_is_that_of_the_model(each: Analysis, page: str) -> None:
    row = each.zones.iloc[0]
    low, high = row["model_low_95"], row["model_high_95"]
    assert f"zone model {EN.rates(low, high)}" in page


def test_the_files_say_the_next_step_and_the_source_of_the_limit(each: Analysis) -> None:
    rows = list(csv.DictReader(zones_csv(each).splitlines()))
    assert rows[0]["limit_source"] == "own"
    assert rows[0]["next_step"] == NEXT_STEPS["above"]
    decisions = summary(each)["decisions"]
    assert isinstance(decisions, list)
    assert [found["state"] for found in decisions][:2] == ["above", "below"]
    assert decisions[0]["next_step"] == NEXT_STEPS["above"]
