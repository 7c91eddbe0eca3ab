"""`snoutline efficacy`: the planted effect, the files, and sites that cannot tell."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner
from languages import EN
from sites import make_site

from data.reading import read_site
from maps.columns import EFFICACY
from maps.efficacy_chart import efficacy_svg
from maps.efficacy_page import efficacy_csv, efficacy_html
from maps.efficacy_words import efficacy_sentences
from scripts.cli import cli, run
from spatial.efficacy import CANNOT_TELL
from spatial.treatment_effects import TreatmentEffects, treatment_effects

DEMO = Path(__file__).parents[1] / "data" / "demo"
SITE = DEMO / "site"


@cache
def demo() -> TreatmentEffects:
    return treatment_effects(read_site(SITE))


def test_the_planted_effect_lies_inside_every_interval() -> None:
    """Source: data/demo/truth.json, written by the demo's generator."""
    planted = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["treatments"]
    effects = [each.effect for each in demo().courses]
    assert {each.zone_id for each in effects} == set(planted["zones"])
    known = [each for each in effects if not each.reason]
    assert len(known) == 5
    for each in known:
        assert each.low <= 1 - planted["factor"] <= each.high


def test_the_picture_shows_the_rates_that_were_compared() -> None:
    """Adults of the drawn weeks add up to those of the effect, before and after together."""
    for each in demo().courses:
        if each.effect.reason:
            continue
        assert each.treated["adults"].sum() == each.effect.before_adults + each.effect.after_adults
        root = ET.fromstring(efficacy_svg(each, EN))
        dots = [node for node in root.iter() if node.tag.endswith("circle")]
        assert len(dots) == len(each.treated) + len(each.untreated) + 2


def test_cold_nights_drawn_are_those_counted() -> None:
    for each in demo().courses:
        before, after = each.effect.weather_before, each.effect.weather_after
        assert before is not None
        assert after is not None
        assert len(each.cold) == before.cold + after.cold > 0


def test_the_page_names_every_untreated_zone_and_asks_nothing_of_a_network() -> None:
    page = efficacy_html(demo(), EN)
    for each in demo().courses:
        for zone in each.effect.untreated:
            assert zone in page
    assert "cannot tell: too few beetles before" in page
    assert "://" not in page.replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize("reason", CANNOT_TELL)
def test_the_page_says_why_an_effect_cannot_be_told(reason: str) -> None:
    course = demo().courses[1]
    effect = replace(
        course.effect, reason=reason, reference="", untreated=(), efficacy=math.nan, low=math.nan
    )
    page = efficacy_html(replace(demo(), courses=(replace(course, effect=effect),)), EN)
    why = EN.say(f"effect_untold.{reason}")
    assert f">cannot tell: {why}</td>" in page
    assert f"<p>Cannot tell; {why}.</p>" in page
    assert "the effect can be told in 0." in page
    assert "nan" not in page
    assert "fewer than expected" not in page


SITES: dict[str, tuple[Mapping[tuple[str, int, str], str], Sequence[str]]] = {
    "no_traps": ({("treatments.csv", 2, "zone_id"): "Z6"}, ()),
    "treated_before": ({}, ("Z1,2026-04-27,adult,3A,,",)),
    "no_before": ({("treatments.csv", 2, "applied_on"): "2026-04-02"}, ()),
    "no_after": ({("treatments.csv", 2, "applied_on"): "2026-05-04"}, ()),
}


@pytest.mark.parametrize("reason", SITES)
def test_a_made_site_ends_in_each_reason_on_its_page(reason: str, tmp_path: Path) -> None:
    cells, more = SITES[reason]
    site = make_site(tmp_path / "site", cells=cells, more={"treatments.csv": more})
    found = treatment_effects(read_site(site))
    assert found.courses[-1].effect.reason == reason
    assert EN.say("effect.untold_alone", why=EN.say(f"effect_untold.{reason}")) in efficacy_html(
        found, EN
    )


def test_untreated_zones_are_listed_once_and_the_heading_is_not_repeated() -> None:
    page = efficacy_html(demo(), EN)
    for each in demo().courses:
        name = f"{each.effect.zone_id}, treated on {EN.day(each.effect.applied_on)}"
        assert page.count(f">{name}") == 1
        assert "<text" in efficacy_svg(each, EN)
        assert each.effect.zone_id not in " ".join(ET.fromstring(efficacy_svg(each, EN)).itertext())
    assert page.count("H01-RO, H02-RO") == sum(
        "H01-RO" in c.effect.untreated for c in demo().courses
    )


def test_the_table_has_every_described_column_and_treatment() -> None:
    lines = efficacy_csv(demo()).splitlines()
    assert lines[0].split(",") == [each.name for each in EFFICACY]
    assert len(lines) == 7


def test_the_command_writes_its_files(tmp_path: Path) -> None:
    done = CliRunner().invoke(cli, ["efficacy", str(SITE), "--out", str(tmp_path)])
    assert done.exit_code == 0, done.output
    names = {"efficacy.html", "efficacy.csv", "efficacy.json"}
    assert {path.name for path in tmp_path.iterdir()} == names
    facts = json.loads((tmp_path / "efficacy.json").read_text(encoding="utf-8"))
    assert len(facts["treatments"]) == 6
    assert facts["treatments"][0]["efficacy"] is None


def test_an_empty_log_is_said_and_is_no_error(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", files={"treatments.csv": None, "weather.csv": None})
    found = treatment_effects(read_site(site))
    assert "holds nothing up to" in efficacy_sentences(found, EN)[0]
    assert efficacy_csv(found).count("\n") == 1
    assert "no effect to look at" in efficacy_html(found, EN)


def test_without_weather_it_is_said_that_cold_cannot_be_told(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", files={"weather.csv": None})
    page = efficacy_html(treatment_effects(read_site(site)), EN)
    assert "a cold week cannot be told from control" in page


def test_a_week_that_is_none_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["efficacy", str(SITE), "--week", "2026-W60"]) == 2
    assert "2026-W60" in capsys.readouterr().err
