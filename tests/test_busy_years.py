"""Zones busy year after year, and what is due, on the demo: as the weekly run has them."""

from __future__ import annotations

from html import escape
from pathlib import Path

from languages import EN

from data.reading import read_site
from maps.page import activity_map
from maps.season_words import when_sentences
from spatial.analysis import analyse
from spatial.busy_years import BUSY, busy_years, season_marks
from spatial.season_calendar import WINDOWS
from spatial.season_when import past_seasons

DEMO = Path(__file__).parents[1] / "data" / "demo" / "site"


def test_the_marks_are_those_of_the_weekly_run_and_years_are_counted() -> None:
    site = read_site(DEMO)
    analysis = analyse(site)
    this = season_marks(site, analysis.season)
    assert this["mark"].tolist() == analysis.traps["mark"].tolist()
    before = past_seasons(site, analysis.season)
    assert [each.label for each in before] == ["2025"]
    table = busy_years(site, [analysis.season, *before]).set_index("zone_id")
    last = season_marks(site, before[0])
    for zone, row in table.iterrows():
        marks = [each[each["zone_id"] == zone]["mark"] for each in (this, last)]
        told = [each for each in marks if (each != "not_testable").any()]
        assert row["testable"] == len(told)
        assert row["busy"] == sum(bool(each.isin(BUSY).any()) for each in told)
    assert analysis.when is not None
    page = activity_map(analysis, EN)
    for line in when_sentences(analysis.when, analysis.season.cutoff, EN):
        assert escape(line, quote=False) in page
    assert [each.what for each in analysis.when.calendar] == list(WINDOWS)
    assert (table["busy"] == 2).any()
    assert (table["busy"] == 0).any()
