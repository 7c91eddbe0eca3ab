"""Words for every code, and sentences that say no more than the numbers."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date

import pandas as pd
import pytest
from analyses import (
    nine_trap_analysis,
    one_visit_analysis,
    quiet_analysis,
    usual_analysis,
    with_season_week,
    zero_analysis,
)
from languages import EN, section

from data.set_aside import Account, Tally
from data.settings import MarkSettings
from data.site import STATUSES
from maps import words
from maps.cautions import cautions
from maps.method_words import ratio_sentence
from maps.rounds import round_statuses
from maps.weeks import week_days
from spatial import results
from spatial.results import Analysis, DesignRatio, GlobalTest
from spatial.trap_plan import OPEN_EDGE, UNDECIDED

MARK_NAMES = {key: text for key, text in section("mark_names").items() if key != "lettered"}
ALL_WORDS: tuple[Mapping[str, str], ...] = (
    *map(section, ("marks", "not_testable", "no_test", "gaps", "visit", "placements")),
    *map(section, ("suggestion", "suggestion_why", "ratio", "zone_rate")),
    MARK_NAMES,
    {"zone_interior": section("suggestion")["inside"], "rough": section("suggestion")["inside"]},
    section("cluster_terms"),
)
TEST_OF_NOTHING = GlobalTest(0.02, -0.03, 0.5, 0.62, 36)


def text_of(analysis: Analysis) -> str:
    return " ".join(words.headline(analysis, EN))


@pytest.mark.parametrize(
    ("codes", "said"),
    [
        (results.MARKS, section("marks")),
        (results.MARKS, MARK_NAMES),
        (results.NOT_TESTABLE, section("not_testable")),
        (results.NOT_TESTABLE, section("no_test")),
        (results.GAP_REASONS, section("gaps")),
        ((*results.GAP_REASONS, UNDECIDED, OPEN_EDGE), section("suggestion_why")),
        (STATUSES, section("visit")),
    ],
)
def test_every_listed_code_has_words_and_no_words_are_left_over(
    codes: tuple[str, ...], said: Mapping[str, str]
) -> None:
    assert set(said) == set(codes)


def test_every_code_quoted_in_the_contract_has_words() -> None:
    """The docstrings of the results quote each code they may hold; all of them can be said."""
    documents = [each.__doc__ or "" for each in vars(results).values() if isinstance(each, type)]
    quoted = set(re.findall(r'``"([a-z_]+)"``', " ".join(documents)))
    said = {code for dictionary in ALL_WORDS for code in dictionary}
    assert len(quoted) > 15
    assert quoted - said == set()


def test_no_words_are_empty_or_hold_a_code() -> None:
    texts = [text for dictionary in ALL_WORDS for text in dictionary.values()]
    assert [text for text in texts if not text.strip() or "_" in text] == []


def test_the_headline_starts_with_the_round() -> None:
    assert words.headline(usual_analysis(), EN)[0] == (
        "Week 20 (11 to 17 May 2026): 33 of 36 traps checked, 2 void, 1 not checked."
    )


def test_clustering_and_marks_are_said_with_their_figures_and_places() -> None:
    text = text_of(usual_analysis())
    assert "Activity this season is clustered (Moran's I = 0.31, p = 0.0002)" in text
    assert "4 traps are marked as busy patch (Z01)." in text
    assert "1 trap is marked as quiet patch (Z02)." in text
    assert "Trap T03 catches more than the traps around it (Z03)." in text
    assert "Trap T13 catches less than the traps around it (Z04)." in text
    assert "3 of 12 zones have no traps: nothing can be said about them." in text


def test_nothing_significant_is_the_usual_result_and_not_a_proof() -> None:
    text = text_of(quiet_analysis())
    assert "no clustering beyond chance was found (Moran's I = 0.02, p = 0.62)." in text
    assert "That is the usual result and no proof that there is none." in text
    assert "No single trap stands out" in text
    assert "busy patch" not in text


def test_a_season_of_zeros_says_that_there_is_nothing_to_test() -> None:
    text = text_of(zero_analysis())
    assert "No adults were caught in 1,386 trap-nights this season." in text
    assert "All traps caught at the same rate" in text
    assert "stands out" not in text


def test_nine_traps_are_not_tested_and_carry_a_banner() -> None:
    analysis = nine_trap_analysis()
    text = text_of(analysis)
    assert "9 traps can be compared and the test needs at least 14" in text
    assert "Not tested does not mean nothing there." in text
    assert "stands out" not in text
    assert "9 traps can be compared. A map without marks says nothing" in words.banner(analysis, EN)


def test_one_visit_reads_well_in_the_singular() -> None:
    analysis = one_visit_analysis()
    text = text_of(analysis)
    assert "1 of 1 trap checked" in text
    assert "1 trap can be compared" in text
    assert "11 of 12 zones have no traps: nothing can be said about them." in text
    assert "1 traps" not in text + words.banner(analysis, EN)


def test_a_network_of_thirty_or_more_carries_no_banner() -> None:
    assert words.banner(usual_analysis(), EN) == ""


@pytest.mark.parametrize("reason", [r for r in results.NOT_TESTABLE if r != "few_traps"])
def test_each_reason_for_no_test_is_said_and_never_as_nothing_found(reason: str) -> None:
    nan = float("nan")
    text = words.clustering_sentence(GlobalTest(nan, nan, nan, nan, 20, reason), MarkSettings(), EN)
    assert text == f"Clustering was not tested. {section('no_test')[reason]}"
    assert "nan" not in text


def test_scatter_is_not_sold_as_clustering() -> None:
    test = replace(TEST_OF_NOTHING, i=-0.3, p=0.001)
    assert "scattered" in words.clustering_sentence(test, MarkSettings(), EN)


def test_the_limit_of_chance_is_the_users() -> None:
    test = replace(TEST_OF_NOTHING, i=0.2, p=0.08)
    assert "no clustering" in words.clustering_sentence(test, MarkSettings(), EN)
    assert "is clustered" in words.clustering_sentence(test, MarkSettings(alpha=0.1), EN)


def test_some_traps_without_a_test_may_be_busy_or_quiet() -> None:
    analysis = quiet_analysis()
    mark = ["not_testable"] * 2 + ["none"] * 34
    analysis = replace(analysis, traps=analysis.traps.assign(mark=mark))
    assert "2 traps could not be tested, and may be busy or quiet." in text_of(analysis)


@pytest.mark.parametrize("source", ["estimated", "user", "not_estimable"])
def test_a_ratio_is_shown_with_its_source(source: str) -> None:
    reason = {"estimated": "", "user": "club trial", "not_estimable": "no_overlap"}[source]
    text = ratio_sentence(DesignRatio("linear", "cup", 2.4, 1.6, 3.6, 24, source, reason), EN)
    assert {"estimated": "1.6 to 3.6", "user": "club trial", "not_estimable": "never checked"}[
        source
    ] in text


def test_a_week_sentence_tells_dots_from_shading() -> None:
    text = words.week_sentence(usual_analysis(), "2026-W16", EN)
    assert text.startswith("Dots: catch of week 16 alone (33 of 36 traps checked")
    assert text.endswith("Shading and marks: season to date, up to 19 April 2026.")


def test_a_week_outside_the_season_is_refused() -> None:
    with pytest.raises(ValueError, match=r"week must be one of 2026-W15.*Got '2026-W40'"):
        words.week_sentence(usual_analysis(), "2026-W40", EN)


def test_a_chosen_week_without_visits_is_still_shown() -> None:
    analysis = usual_analysis()
    traps = analysis.traps.assign(week_status="not_checked")
    analysis = with_season_week(replace(analysis, traps=traps), "2026-W21")
    assert "0 of 36 traps checked, 36 not checked" in words.headline(analysis, EN)[0]


def test_a_trap_not_in_use_is_no_missed_visit() -> None:
    analysis = usual_analysis()
    found = round_statuses(with_lives(analysis, "removed", "2026-04-01"), "2026-W20")
    assert len(found) == 35
    assert "T01" not in found


def test_a_trap_set_out_this_week_is_not_yet_due() -> None:
    """A trap set on the Monday of a week is first checked the week after."""
    found = round_statuses(with_lives(usual_analysis(), "installed", "2026-05-11"), "2026-W20")
    assert "T01" not in found


def with_lives(analysis: Analysis, column: str, day: str) -> Analysis:
    """Return the analysis with another day for the first trap, which has no visit in week 20."""
    lives = analysis.site.traps
    days = [pd.Timestamp(day), *lives[column][1:]]
    rounds = analysis.rounds
    kept = rounds[~((rounds["location_id"] == "T01") & (rounds["week"] == "2026-W20"))]
    site = replace(analysis.site, traps=lives.assign(**{column: days}))
    return replace(analysis, site=site, rounds=kept)


# ISO 8601 weeks of the turns of the year 2026/27 and 2024/25: 2026 has 53 weeks.
@pytest.mark.parametrize(
    ("week", "monday", "sunday", "span"),
    [
        ("2026-W53", (2026, 12, 28), (2027, 1, 3), "28 December 2026 to 3 January 2027"),
        ("2025-W01", (2024, 12, 30), (2025, 1, 5), "30 December 2024 to 5 January 2025"),
    ],
)
def test_weeks_cross_the_new_year(
    week: str, monday: tuple[int, int, int], sunday: tuple[int, int, int], span: str
) -> None:
    assert week_days(week) == (date(*monday), date(*sunday))
    assert EN.span(*week_days(week)) == span


def test_cautions_name_services_label_pollinators_and_activity() -> None:
    text = " ".join(cautions(EN))
    for needed in (
        "irrigation lines",
        "does not prescribe",
        "label is the law",
        "ollinators",
        "not density",
        "IRAC",
    ):
        assert needed in text


def test_rows_outside_every_season_are_told_in_the_headline() -> None:
    analysis = usual_analysis()
    account = Account((Tally("visits.csv", read=9, used=7, set_aside=0, out_of_season=2),))
    told = words.headline(replace(analysis, site=replace(analysis.site, account=account)), EN)[-1]
    window = analysis.site.settings.season
    assert told == (
        f"2 rows of the visits lie outside every season ({window.start} to {window.end}) and no "
        "figure rests on them."
    )
