"""The committee page: what it says in five states of a site, in which words, and never more."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import textstat
from analyses import HOSTILE
from committee_sites import NOTES, STATES, state_page, state_site
from plain_words import PLAIN_FORM

from data.committee_settings import MOST_LETTERS, CommitteeSettings, parse_committee
from data.findings import SettingsError
from data.reading import read_site
from data.settings_file import parse_settings
from data.zone_uses import KNOWN_USES
from maps.committee import CommitteePage, change_text, committee_page, numbered_above
from maps.committee_map import KEY as MAP_KEY
from maps.language_file import ENGLISH_FILE, english
from scripts.commands.committee import findings, wanted_tactic
from spatial.next_dates import KINDS, next_dates
from spatial.plan_or_not import NO_PLAN, plan_or_not
from spatial.results import Analysis
from spatial.season_comparison import NOT_COMPARED, SeasonComparison

EN = english()
MOST_GRADE = 9.0
PRESCRIBES = re.compile(
    r"\b(spray\w*|apply|applied|should|must|ought|recommend\w*|need to|have to)\b", re.IGNORECASE
)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, CommitteePage]:
    folder = tmp_path_factory.mktemp("states")
    return {state: state_page(state, folder / state) for state in STATES}


def lines_of(page: CommitteePage, *keys: str) -> list[str]:
    return [line for key in keys for line in page.section(key).lines]


def own_words(page: CommitteePage) -> list[str]:
    """Return every sentence of the page but the user's own notes."""
    glossary = [f"{head} {text}" for head, text in page.section("glossary").items]
    sections = [line for section in page.sections for line in section.lines]
    return [page.subtitle, page.lead, *sections, *glossary]


MAPS = Path(__file__).resolve().parent.parent / "maps"
TECHNICAL = ("method.", "ratio.")
"""Messages of the second page, for whoever asks."""


def committee_sections() -> set[str]:
    """Return the sections of the language file that the committee page and the review say."""
    text = ENGLISH_FILE.read_text(encoding="utf-8")
    own = text.partition("# The committee page")[2].partition("# The weekly map")[0]
    return {*re.findall(r"^\[(\w+)\]", own, re.MULTILINE), "list", "dates", "numbers", "uses"}


def every_template() -> Iterator[str]:
    """Yield every English text that can reach the first page."""
    sections = committee_sections()
    for key, message in EN.messages.items():
        here = key.partition(".")[0] in sections and key not in ("numbers.p", "numbers.p_under")
        if here and not key.startswith(TECHNICAL):
            yield from (message,) if isinstance(message, str) else message.values()


def test_the_lead_says_what_is_so_in_every_state(pages: dict[str, CommitteePage]) -> None:
    assert {state: page.lead for state, page in pages.items()} == {
        "busy": "4 zones are above their limit and 3 are undecided. 41 zones have no trap.",
        "quiet": "No zone is known to be above its limit. 41 zones have no trap.",
        "undecided": "No zone is known to be above its limit and 4 are undecided. "
        "1 zone has no trap.",
        "few_traps": "No zone is known to be above its limit. 3 zones have no trap.",
        "no_limit": "No zone is judged, as we have set no limit. 41 zones have no trap.",
    }


@pytest.mark.parametrize("state", STATES)
def test_the_figures_are_those_of_the_analysis(state: str, pages: dict[str, CommitteePage]) -> None:
    page = pages[state]
    analysis = page.findings.analysis
    found = " ".join(lines_of(page, "found"))
    assert f"{round(analysis.traps['adults'].sum()):,} adult billbugs" in found
    for name, noun in (("above", "above"), ("below", "below"), ("undecided", "undecided")):
        number = int(analysis.zones["state"].eq(name).sum()) if analysis.judged else 0
        told = re.search(rf"(\d+) zones? (?:is|are) {noun}", found)
        assert (int(told[1]) if told else 0) == number
    empty = int(analysis.zones["gap"].eq("no_traps").sum())
    assert f"{empty} of {len(analysis.zones)} zones" in " ".join(lines_of(page, "unknown"))


def test_what_is_found_is_not_oversold_when_nothing_stands_out(
    pages: dict[str, CommitteePage],
) -> None:
    quiet = " ".join(own_words(pages["quiet"]))
    assert "No group of traps stands out. Chance alone could make the differences" in quiet
    assert "So we cannot say that it went up or down." in quiet
    assert "so nothing is planned" in quiet
    assert "That does not prove that no billbugs are there." in quiet
    few = " ".join(own_words(pages["few_traps"]))
    assert "too few traps, or too few counts, to tell a busy spot from chance" in few
    assert "stands out" not in few
    assert "Some traps caught far more than chance" in " ".join(own_words(pages["busy"]))


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        ("no_variation", "All traps caught alike, so no spot is busier than the rest."),
        ("no_nights", EN.say("found.few_traps")),
        ("all_neighbours", EN.say("found.not_tested")),
    ],
)
def test_why_no_busy_spot_can_be_told_is_said(
    reason: str, said: str, pages: dict[str, CommitteePage]
) -> None:
    analysis = pages["few_traps"].findings.analysis
    told = replace(analysis, global_test=replace(analysis.global_test, reason=reason))
    page = committee_page(replace(pages["few_traps"].findings, analysis=told), EN)
    assert lines_of(page, "found")[-1] == said


def test_the_plan_is_the_one_of_the_plan_command(pages: dict[str, CommitteePage]) -> None:
    page = pages["busy"]
    plan = page.findings.plan
    assert plan is not None
    said = " ".join(lines_of(page, "plan", "cost"))
    assert f"The plan covers {len(plan.areas.zones)} zones, all above their limit" in said
    assert "It leaves 96 zones alone: 3 undecided, 52 below and 41 without traps." in said
    acres = plan.areas.net_m2 / 4046.8564224
    assert f"The plan covers {acres:.1f} acres." in said
    assert plan.dose.cost is not None
    assert f"It would cost ${plan.dose.cost:.2f}, against $403" in said
    assert plan.blanket_dose.cost == pytest.approx(403, abs=0.5)


def test_no_price_means_no_cost_and_no_plan_means_no_ground(
    pages: dict[str, CommitteePage], tmp_path: Path
) -> None:
    toml = state_site("busy", tmp_path / "busy") / "site.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace(NOTES, ""), encoding="utf-8")
    page = committee_page(findings(read_site(tmp_path / "busy")), EN)
    said = " ".join(lines_of(page, "cost"))
    assert "No price was given, so we show no cost." in said
    assert "$" not in said
    assert "No note was given on water, bees or players." in lines_of(page, "notes")
    assert "keeps no distance from it yet" in " ".join(lines_of(page, "plan"))
    for state in ("quiet", "undecided", "few_traps", "no_limit"):
        assert lines_of(pages[state], "cost") == [EN.say("cost.nothing")]


def test_the_users_notes_stand_there_as_they_are(pages: dict[str, CommitteePage]) -> None:
    items = {head.rstrip(":"): text for head, text in pages["busy"].section("notes").items}
    assert (
        items["Water"] == "The pond at hole 9 keeps a strip of 25 ft. No drain lies in the zones."
    )
    assert list(items) == ["Water", "Bees and other pollinators", "Players", "Also"]
    assert lines_of(pages["busy"], "notes") == []


def test_zones_are_numbered_as_on_the_map(pages: dict[str, CommitteePage]) -> None:
    above = numbered_above(pages["busy"].findings.analysis)
    assert [each.p_above for each in above] == sorted((e.p_above for e in above), reverse=True)
    line = next(line for line in lines_of(pages["busy"], "found") if "(A1)" in line)
    assert line.index("(A1)") < line.index("(A4)")
    assert numbered_above(pages["no_limit"].findings.analysis) == []


BANNED = tuple(PLAIN_FORM)


def forbidden(text: str) -> list[str]:
    low = text.lower()
    return [word for word in BANNED if word in low]


@pytest.mark.parametrize("state", STATES)
def test_no_word_of_the_trade_stands_on_the_page(
    state: str, pages: dict[str, CommitteePage]
) -> None:
    assert {line: forbidden(line) for line in own_words(pages[state]) if forbidden(line)} == {}


def test_the_sections_of_the_page_are_those_under_its_banner() -> None:
    modules = [*MAPS.glob("committee*.py"), *MAPS.glob("review*.py")]
    code = "\n".join(path.read_text(encoding="utf-8") for path in modules)
    used = set(re.findall(r'say\(\s*f?"(\w+)\.', code))
    assert len(used) > 15
    assert used <= committee_sections()


def test_no_template_holds_a_word_of_the_trade() -> None:
    assert {text: forbidden(text) for text in every_template() if forbidden(text)} == {}


def test_the_list_of_words_sees_one_and_gives_a_plain_form() -> None:
    assert forbidden("Moran's I, by permutation (p < 0.05)") == ["moran", "permutation", "p <"]
    for word in ("binomial", "dispersion", "posterior", "gi*", "irac", "trap-night", "p-value"):
        assert PLAIN_FORM[word]
        assert not forbidden(PLAIN_FORM[word])


@pytest.mark.parametrize("state", STATES)
def test_nothing_is_prescribed(state: str, pages: dict[str, CommitteePage]) -> None:
    said = own_words(pages[state])
    assert [line for line in said if PRESCRIBES.search(line)] == []
    assert EN.say("plan.caution") in said


@pytest.mark.parametrize("state", STATES)
def test_the_reading_grade_is_nine_at_most(state: str, pages: dict[str, CommitteePage]) -> None:
    text = " ".join(own_words(pages[state]))
    assert textstat.flesch_kincaid_grade(text) <= MOST_GRADE
    assert textstat.gunning_fog(text) <= MOST_GRADE


def test_no_sentence_of_the_words_file_is_hard_by_itself() -> None:
    hard = {
        text: textstat.flesch_kincaid_grade(re.sub(r"\{\w+\}", "four", text))
        for text in every_template()
        if len(text.split()) > 8
    }
    assert {text: grade for text, grade in hard.items() if grade > 11} == {}


def test_the_grade_sees_a_hard_sentence() -> None:
    hard = "Posterior probabilities characterise heterogeneous overdispersed populations."
    assert textstat.flesch_kincaid_grade(hard) > MOST_GRADE


def test_every_code_of_the_steps_has_its_words() -> None:
    assert set(NOT_COMPARED) <= keys_of("last_year")
    assert set(NO_PLAN) <= keys_of("plan")
    assert set(KINDS) == keys_of("next")
    assert {use.replace(" ", "_") for use in KNOWN_USES} == keys_of("uses")
    assert set(MAP_KEY.values()) <= keys_of("map")


def keys_of(section: str) -> set[str]:
    return {key.partition(".")[2] for key in EN.messages if key.startswith(f"{section}.")}


def compared(found: SeasonComparison, page: CommitteePage) -> list[str]:
    told = replace(page.findings, comparison=found)
    return lines_of(committee_page(told, EN), "last_year")


def test_every_reason_not_to_compare_is_said(pages: dict[str, CommitteePage]) -> None:
    base = SeasonComparison(date(2025, 2, 15), date(2025, 5, 31), traps=3, rate=1.0, past_rate=0.1)
    said = {
        reason: " ".join(compared(replace(base, reason=reason), pages["quiet"]))
        for reason in NOT_COMPARED
    }
    assert len(set(said.values())) == len(NOT_COMPARED)
    assert "3 traps stood in the same place" in said["few_traps"]
    assert "% " not in "".join(said.values())


def test_the_change_and_its_ends_are_those_of_the_comparison(
    pages: dict[str, CommitteePage],
) -> None:
    past = date(2025, 2, 15), date(2025, 5, 31)
    more = SeasonComparison(*past, 40, 900, 0, 9, 9, 3.0, 2.0, 1.5, 1.2, 3.4)
    said = " ".join(compared(more, pages["quiet"]))
    assert "they caught 3.0 now and 2.0 then." in said
    assert "That is 50 % more. Allowing for chance, it may be from 20 % more to 3.4 times" in said
    assert "went up or down" not in said
    assert "treated" not in said
    assert change_text(0.5, EN) == "50 % less"


def kinds(analysis: Analysis) -> list[tuple[str, date | None, date | None]]:
    return [(each.kind, each.first, each.last) for each in next_dates(analysis, planned=True)]


def test_next_dates_follow_from_the_files_and_the_settings(
    pages: dict[str, CommitteePage],
) -> None:
    assert kinds(pages["busy"].findings.analysis) == [
        ("next_check", date(2026, 6, 1), date(2026, 6, 7)),
        # Cores from 2 June on by last season; they count from the 8th on by site.toml.
        ("cores_time", date(2026, 6, 8), date(2026, 6, 16)),
        ("plan_open", None, None),
    ]
    assert kinds(pages["few_traps"].findings.analysis) == [
        ("next_check", date(2026, 5, 11), date(2026, 5, 17)),
        ("effect_told", None, date(2026, 5, 20)),
        ("plan_open", None, None),
    ]


def test_a_day_that_has_come_is_no_next_date(pages: dict[str, CommitteePage]) -> None:
    analysis = pages["busy"].findings.analysis
    assert analysis.rule is not None
    due = replace(analysis, rule=replace(analysis.rule, due_from=analysis.season.cutoff))
    assert "larvae_due" not in [kind for kind, *_ in kinds(due)]
    told = analysis.site.settings.treatment
    long = replace(analysis.site.settings, treatment=replace(told, after_nights=100))
    late = replace(analysis, site=replace(analysis.site, settings=long))
    assert "effect_told" not in [kind for kind, *_ in kinds(late)]


def test_after_the_season_the_next_one_is_named(pages: dict[str, CommitteePage]) -> None:
    analysis = pages["quiet"].findings.analysis
    ended = replace(analysis.season, week="2026-W36", cutoff=analysis.season.end)
    assert kinds(replace(analysis, season=ended))[-2:] == [
        ("season_over", date(2027, 2, 15), date(2026, 8, 31)),
        ("plan_open", None, None),
    ]


def test_named_zones_are_planned_even_where_none_is_above(tmp_path: Path) -> None:
    site = read_site(state_site("undecided", tmp_path / "site"))
    page = committee_page(findings(site, zones="Z1, Z3"), EN)
    said = " ".join(lines_of(page, "plan"))
    assert "The plan covers 2 zones, picked by name" in said
    assert "It leaves 4 zones alone." in said
    assert "The plan has no day yet." in " ".join(lines_of(page, "next"))


def test_why_there_is_no_plan(pages: dict[str, CommitteePage], tmp_path: Path) -> None:
    assert {state: page.findings.no_plan for state, page in pages.items()} == {
        "busy": "", "quiet": "none_above", "undecided": "only_undecided",
        "few_traps": "none_above", "no_limit": "no_limit",
    }  # fmt: skip
    toml = state_site("busy", tmp_path / "site") / "site.toml"
    text = toml.read_text(encoding="utf-8")
    uses = 'exclusion_uses = ["green", "sod_block", "surround"]'
    toml.write_text(text.replace('exclusion_uses = ["green"]', uses), encoding="utf-8")
    never = findings(read_site(toml.parent))
    assert (never.plan, never.no_plan) == (None, "never_treated")
    toml.write_text(text.replace('water = "25 ft"', 'water = "3 mi"'), encoding="utf-8")
    site = read_site(toml.parent)
    with pytest.raises(SettingsError, match="3 mi"):
        findings(site)
    toml.write_text(text.replace('water = "25 ft"', 'water = "9000 ft"'), encoding="utf-8")
    covered = replace(pages["busy"].findings.analysis, site=read_site(toml.parent))
    assert plan_or_not(covered, "adult") == (None, "no_ground")


def test_two_tactics_ask_for_a_name(tmp_path: Path) -> None:
    toml = state_site("busy", tmp_path / "site") / "site.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + "[treatment.larva]\n", encoding="utf-8")
    site = read_site(toml.parent)
    with pytest.raises(SettingsError, match=r"name a tactic with --tactic; .* holds adult, larva"):
        wanted_tactic(site, None)
    assert wanted_tactic(site, "larva") == "larva"


def test_notes_are_checked() -> None:
    assert parse_committee({"water": " a\n b "})[0] == CommitteeSettings(water="a b")
    assert parse_committee({"water": "x" * MOST_LETTERS})[1] == []
    with pytest.raises(SettingsError, match=r"committee.players: it has 281 letters, and one page"):
        parse_settings({"name": "K", "committee": {"players": "x" * 281}})
    with pytest.raises(SettingsError, match=r"committee.bees: there is no such setting"):
        parse_settings({"name": "K", "committee": {"bees": "x"}})
    assert parse_settings({"name": "K", "committee": {"notes": HOSTILE[0]}}).committee.notes


def test_long_lists_and_long_names_are_cut(pages: dict[str, CommitteePage]) -> None:
    analysis = pages["busy"].findings.analysis
    zones = analysis.zones.assign(name="a very long name of a zone " * 5)
    page = committee_page(
        replace(pages["busy"].findings, analysis=replace(analysis, zones=zones)), EN
    )
    assert max(len(line) for line in lines_of(page, "found")) < 400
