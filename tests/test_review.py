"""The season review: its six pictures, its sentences against the analysis, its words, its paper."""

from __future__ import annotations

import html
import io
import re
from collections import Counter
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pypdf
import pytest
import textstat
from click.testing import CliRunner
from committee_sites import state_site
from languages import language, plain_runs, pseudo, translated
from plain_words import PLAIN_FORM
from playwright.sync_api import Browser

from data.findings import SettingsError
from data.reading import read_site
from maps.committee_pdf import PAPERS
from maps.language_file import english
from maps.review import MOST_EFFECTS, PICTURES, ReviewPage, review_page
from maps.review_charts import effects_svg, weeks_svg
from maps.review_page import review_html
from scripts.commands import committee
from spatial.efficacy import Efficacy
from spatial.season_review import EffectTally, RoundsKept, SeasonReview, season_review

EN = english()
DEMO = Path(__file__).resolve().parent.parent / "data" / "demo" / "site"
DAY = date(2025, 5, 20)
LOSERS = ["trap_id", "lost", "visits"]


@pytest.fixture(scope="module")
def review() -> SeasonReview:
    return season_review(read_site(DEMO), "2025")


@pytest.fixture(scope="module")
def page(review: SeasonReview) -> ReviewPage:
    return review_page(review, EN)


def said(page: ReviewPage) -> list[str]:
    """Return every sentence of the page."""
    captions = [line for lines in page.captions.values() for line in lines]
    return [page.subtitle, page.lead, *captions, *page.worked, *page.change]


def test_there_are_six_pictures_in_their_order(page: ReviewPage) -> None:
    shown = review_html(page, "letter")
    heads = re.findall(r"<h2>(\d)\. <bdi>([^<]+)</bdi></h2>", shown)
    assert heads == [
        (str(number), EN.say(f"review_heads.{name}")) for number, name in enumerate(PICTURES, 1)
    ]
    for name in PICTURES:
        section = shown[shown.index(f'<section class="{name}">') :].split("</section>")[0]
        assert '<svg class="' in section or "<svg viewBox" in section


def test_the_figures_are_those_of_the_season(review: SeasonReview, page: ReviewPage) -> None:
    adults = round(sum(table["adults"].sum() for table in review.months.values()))
    half = review.when.dates.dates[1].day
    assert page.lead == (
        f"{adults:,} adult billbugs were caught this season, half of them by {EN.day(half)}."
    )
    kept, tally = review.rounds, review.effects
    assert f"{kept.counted:,} of {kept.visits:,} visits gave a count." in page.worked[0]
    states = Counter(each.state for each in review.analysis.decisions)
    assert page.worked[2].startswith(f"{states['above'] + states['below']} of 100 zones")
    assert page.worked[3].startswith(f"After {tally.less} of {tally.treatments} treatments")
    names = review.analysis.zones.set_index("zone_id")["name"]
    new = next(line for line in page.change if "new traps would help most" in line)
    for zone in review.network.plan.suggestions["zone_id"]:
        assert names[zone] in new


def test_a_season_without_treatments_or_years_before_says_so(page: ReviewPage) -> None:
    nothing = replace(page.review, courses=(), effects=EffectTally(0, 0, 0, 0, {}))
    bare = review_page(nothing, EN)
    assert bare.captions["effects"] == ("No treatment was written down this season.",)
    assert bare.captions["years"] == ("There is no earlier season to show.",)
    assert not any("treatments" in line for line in bare.worked)


def test_what_went_wrong_with_the_rounds_asks_for_a_change(page: ReviewPage) -> None:
    losers = pd.DataFrame({"trap_id": ["T7"], "lost": [9], "visits": [20]})
    kept = RoundsKept(20, ("2025-W20", "2025-W21"), 400, 300, losers)
    told = review_page(replace(page.review, rounds=kept), EN)
    assert "T7 gave no count in 9 of 20 visits. See why, or set it elsewhere." in told.change
    gap = next(line for line in told.change if line.startswith("In 2 weeks between"))
    assert "(weeks 20 and 21 of the year)" in gap
    assert "No week in between was left out." not in told.worked


def test_more_than_fit_two_sheets_are_counted(page: ReviewPage) -> None:
    review = page.review
    course = review.courses[0]
    many = review_page(replace(review, courses=(course,) * (MOST_EFFECTS + 3)), EN)
    assert many.captions["effects"][1] == "3 earlier treatments of the season are not drawn."
    drawn = review_html(many, "letter").split('class="effects"')[1].split("</section>")[0]
    day = EN.day(course.effect.applied_on)
    assert drawn.count(day) == MOST_EFFECTS
    losers = pd.DataFrame({"trap_id": list("abcdef"), "lost": [5] * 6, "visits": [9] * 6})
    rounds = replace(review.rounds, losers=losers)
    said = review_page(replace(review, rounds=rounds), EN).change
    assert "2 more traps gave no count in a quarter of their visits or more." in said


def test_months_of_two_years_carry_their_year(page: ReviewPage) -> None:
    table = next(iter(page.review.months.values()))
    months = {date(2025, 12, 1): table, date(2026, 1, 1): table}
    text = review_html(review_page(replace(page.review, months=months), EN), "letter")
    assert ">December 2025</text>" in text
    assert ">January 2026</text>" in text


def test_the_foot_says_what_it_was_made_from(page: ReviewPage) -> None:
    foot = review_html(page, "letter").split("<footer>")[1]
    analysis = page.review.analysis
    assert all(digest[:8] in foot for digest in analysis.site.hashes.values())
    assert f"seed {analysis.seed}" in foot


def test_a_season_that_caught_nothing_and_one_that_caught_little(page: ReviewPage) -> None:
    review = page.review
    analysis = review.analysis
    bare = replace(analysis, traps=analysis.traps.assign(adults=0.0))
    none = replace(review, network=replace(review.network, analysis=bare))
    assert review_page(none, EN).lead == "No billbug was caught this season."
    blank = replace(review, rounds=replace(review.rounds, counted=0), months={})
    told = review_page(blank, EN)
    assert told.lead == (
        "No trap gave a count this season, so we cannot say whether billbugs walked."
    )
    assert told.captions["weeks"] == ("No trap gave a count.",)
    few = replace(review.when, dates=replace(review.when.dates, dates=(), reason="few_beetles"))
    little = review_page(replace(review, when=few), EN)
    assert little.lead.endswith("adult billbugs were caught this season.")
    assert "Too few were caught to say" in little.captions["weeks"][0]


def test_a_season_that_is_not_over_is_not_summed_up(page: ReviewPage) -> None:
    analysis = page.review.analysis
    early = replace(analysis.season, cutoff=date(2025, 5, 31))
    running = replace(analysis, season=early)
    network = replace(page.review.network, analysis=running)
    told = review_page(replace(page.review, network=network), EN)
    assert told.lead.endswith("were caught up to 31 May 2025. The season is not over.")
    assert told.captions["weeks"][0].startswith("The season is not over, so it is too early")
    assert any("are settled so far" in line for line in told.worked)
    assert not any("at the end" in line for line in told.worked)


def test_no_word_of_the_trade_and_no_hard_sentence(page: ReviewPage) -> None:
    low = " ".join(said(page)).lower()
    assert [word for word in PLAIN_FORM if word in low] == []
    assert textstat.flesch_kincaid_grade(" ".join(said(page))) <= 9
    assert textstat.gunning_fog(" ".join(said(page))) <= 9


def test_no_word_of_the_page_bypasses_the_language_file(
    review: SeasonReview, tmp_path: Path
) -> None:
    strange = language(tmp_path, "el", translated("el", pseudo))
    kept = RoundsKept(2, ("2025-W20",), 9, 5, pd.DataFrame([("T7", 4, 9)], columns=LOSERS))
    for case in (review, replace(review, rounds=kept)):
        shown = review_html(review_page(case, strange), "letter")
        body = re.sub(r"<style>.*?</style>", " ", shown, flags=re.DOTALL)
        labels = re.findall(r'aria-label="([^"]*)"', body)
        text = html.unescape(" | ".join([*labels, re.sub(r"<[^>]+>", " | ", body)]))
        for own in sorted({*review.analysis.zones["name"], "Ostrel Common Municipal Grounds"},
                          key=len, reverse=True):  # fmt: skip
            text = text.replace(own, "|").replace(f"{own[:15]}\N{HORIZONTAL ELLIPSIS}", "|")
        assert len(text) > 1000
        assert plain_runs(text, set(review.analysis.site.hashes)) == []


def effect(low: float, middle: float, high: float, reason: str = "") -> Efficacy:
    return Efficacy(
        "Z", DAY, "3A", "adult", DAY, DAY, efficacy=middle, low=low, high=high, reason=reason
    )


def test_a_dot_is_filled_only_where_the_effect_is_sure() -> None:
    rows = [effect(0.1, 0.5, 0.8), effect(-0.4, 0.3, 0.7), effect(-3.0, -2.0, -1.5),
            effect(0, 0, 0, reason="no_after")]  # fmt: skip
    svg = effects_svg(rows, {"Z": "Hole 1"}, EN)
    dots = re.findall(r'<circle cx="([\d.]+)" cy="[\d.]+" r="5" fill="(#\w+)"', svg)
    assert [fill for _, fill in dots] == ["#1d2321", "#ffffff"]
    # More prevented lies further to the left; what lies beyond the picture ends in an arrow.
    assert float(dots[0][0]) < float(dots[1][0])
    assert svg.count("l7 4l-7 4") == 1
    assert svg.count(">cannot tell<") == 1
    assert effects_svg([], {}, EN) == ""


def test_each_week_with_a_count_has_a_bar(review: SeasonReview) -> None:
    svg = weeks_svg(review.analysis, EN)
    assert svg.count("<rect") == 1 + review.analysis.curve["rate"].notna().sum()
    bare = replace(review.analysis, curve=review.analysis.curve.iloc[:0])
    assert weeks_svg(bare, EN) == ""


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPERS)
def test_it_prints_on_two_sheets_and_fits_a_phone(
    page: ReviewPage, browser: Browser, tmp_path: Path, paper: str
) -> None:
    path = tmp_path / "review.html"
    path.write_text(review_html(page, paper), encoding="utf-8")
    shown = browser.new_page(viewport={"width": 360, "height": 780}, offline=True)
    asked: list[str] = []
    shown.on("request", lambda request: asked.append(request.url))
    shown.goto(path.as_uri())
    assert shown.evaluate("document.documentElement.scrollWidth") <= 360
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    printed = pypdf.PdfReader(io.BytesIO(shown.pdf(prefer_css_page_size=True)))
    assert len(printed.pages) == 2
    assert "Month by month" in printed.pages[0].extract_text()
    assert "What to change in the network" in printed.pages[1].extract_text()
    shown.close()


def test_the_command_writes_one_file_and_refuses_what_does_not_go_with_it(tmp_path: Path) -> None:
    site = state_site("busy", tmp_path / "site")
    arguments = [str(site), "--season", "2025", "--out", str(tmp_path / "out")]
    done = CliRunner().invoke(committee.command, arguments)
    assert done.exit_code == 0, done.output
    assert [each.name for each in (tmp_path / "out").iterdir()] == ["season-review.html"]
    assert "visits gave a count." in done.output
    again = tmp_path / "out" / "season-review.html"
    first = again.read_bytes()
    CliRunner().invoke(committee.command, arguments)
    assert again.read_bytes() == first
    wrong = CliRunner().invoke(committee.command, [*arguments, "--week", "2025-W20"])
    with pytest.raises(SettingsError, match="--season looks back on a whole year; leave out"):
        raise wrong.exception or AssertionError
    unknown = [str(site), "--season", "1999", "--out", str(tmp_path / "out")]
    with pytest.raises(SettingsError, match="no visit lies in season '1999'; there are visits of"):
        raise CliRunner().invoke(committee.command, unknown).exception or AssertionError
