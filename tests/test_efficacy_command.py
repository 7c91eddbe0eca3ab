"""`snoutline efficacy`: the planted effect, the files, and sites that cannot tell."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner

from data.reading import read_site
from maps.columns import EFFICACY
from maps.efficacy_chart import efficacy_svg
from maps.efficacy_page import efficacy_csv, efficacy_html, efficacy_sentences
from scripts.cli import cli, run
from spatial.treatment_effects import TreatmentEffects, treatment_effects
from tests.sites import make_site

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
        root = ET.fromstring(efficacy_svg(each))
        dots = [node for node in root.iter() if node.tag.endswith("circle")]
        assert len(dots) == len(each.treated) + len(each.untreated) + 2


def test_cold_nights_drawn_are_those_counted() -> None:
    for each in demo().courses:
        before, after = each.effect.weather_before, each.effect.weather_after
        assert before is not None
        assert after is not None
        assert len(each.cold) == before.cold + after.cold > 0


def test_the_page_names_every_untreated_zone_and_asks_nothing_of_a_network() -> None:
    page = efficacy_html(demo())
    for each in demo().courses:
        for zone in each.effect.untreated:
            assert zone in page
    assert "cannot tell: too few beetles before" in page
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")


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
    assert "holds nothing up to" in efficacy_sentences(found)[0]
    assert efficacy_csv(found).count("\n") == 1
    assert "no effect to look at" in efficacy_html(found)


def test_without_weather_it_is_said_that_cold_cannot_be_told(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", files={"weather.csv": None})
    page = efficacy_html(treatment_effects(read_site(site)))
    assert "a cold week cannot be told from control" in page


def test_a_week_that_is_none_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["efficacy", str(SITE), "--week", "2026-W60"]) == 2
    assert "2026-W60" in capsys.readouterr().err
