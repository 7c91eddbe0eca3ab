"""Model files: what ships, and what is wrong with a user's own, all told at once."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from data.degree_day_models import STATUSES, read_model, shipped_models
from data.findings import SettingsError
from spatial.degree_days import CUT_OFFS, METHODS, DegreeDayRule

OWN = """
name = "Own"
region = "here"
source = "own records 2019 to 2025"
unit = "C"
base = 8
upper = 30
cut_off = "horizontal"
method = "sine"
start = "02-15"
[[events]]
event = "first_adults"
from = 120
to = 180
status = "own records"
"""


def test_every_model_that_ships_says_where_it_is_from_and_can_be_counted() -> None:
    models = shipped_models()
    assert len(models) >= 2
    for model in models:
        assert model.source
        assert model.region
        assert model.method_note
        assert model.method in METHODS
        assert model.cut_off in CUT_OFFS
        assert all(event.status in STATUSES for event in model.events)
        DegreeDayRule(model.base, "simple", model.upper or math.inf)


def test_the_eastern_thresholds_are_those_quoted_in_celsius_too() -> None:
    """280 to 352 in Fahrenheit are 155 to 195 in Celsius degree-days, as abstracts print both."""
    east = next(each for each in shipped_models() if each.key == "bluegrass_east_1march")
    first = east.events[0]
    assert (first.low / 1.8, first.high / 1.8) == pytest.approx((155.6, 195.6), abs=0.05)
    assert first.status == "read"
    assert {event.status for event in east.events[1:]} == {"as usually quoted"}


def test_a_users_own_file_works_the_same_way(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OWN, encoding="utf-8")
    model = read_model(path)
    assert (model.key, model.base, model.upper, model.method) == ("own", 8.0, 30.0, "sine")
    assert model.events[0].high == 180.0


def test_all_that_is_wrong_with_a_file_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    text = OWN.replace('unit = "C"', 'unit = "K"').replace('start = "02-15"', 'start = "Feb"')
    text = text.replace("base = 8", 'base = "8"').replace("to = 180", "to = 20\nfrm = 3")
    text = text.replace('event = "first_adults"', 'event = "first"').replace('name = "Own"', "")
    path.write_text(f"colour = 1\n{text}", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"own\.toml, colour: there is no such entry") as caught:
        read_model(path)
    lines = str(caught.value).splitlines()
    assert len(lines) == 8
    for part in ("name: it is missing", "unit: expected 'C' or 'F', found 'K'", "start: expected"):
        assert any(part in line for line in lines)
    assert any("events, item 1: event is one of first_adults" in line for line in lines)
    assert any("there is no 'frm' in an event" in line for line in lines)


def test_a_file_that_is_no_toml_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text("name = ", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"the model file own\.toml cannot be read"):
        read_model(path)
