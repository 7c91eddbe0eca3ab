"""Limits and cut-offs of `site.toml`: what they may say, and which limit holds where and when."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from data.findings import SettingsError
from data.limits import ZoneLimits, limits_of, unknown_places
from data.settings import DecisionSettings, LimitSettings, SiteSettings
from data.settings_file import parse_settings

EXAMPLES = Path(__file__).resolve().parents[1] / "data" / "limits_examples.toml"
ADULTS = {"adults_per_trap_week": 4, "source": "own records", "dated": "2026-03-01"}
LARVAE = {"larvae_per_ft2": 10, "source": "own records", "dated": "2026-03-01"}


def parse(**given: Any) -> SiteSettings:
    return parse_settings({"name": "K", **given})


def parse_toml(text: str) -> SiteSettings:
    return parse_settings({"name": "K", **tomllib.loads(text)})


def limit(amount: float, **given: Any) -> LimitSettings:
    return LimitSettings("own records", "2026", adults_per_trap_week=amount, **given)


def held(limits: list[LimitSettings], day: date, zone: str = "Z1", use: str = "green") -> float:
    """Return the limit for adults that holds."""
    found = limits_of(limits, zone, use, day).adults
    assert found is not None
    return found.amount


def test_every_key_of_a_limit_is_read() -> None:
    text = """
    [[limits]]
    zone = "H01-GR"
    from = "04-01"
    to = "06-30"
    adults_per_trap_week = 2.5
    source = " own records 2023 to 2025 "
    dated = 2026-03-01
    [[limits]]
    use = "fairway"
    larvae_per_m2 = 100
    source = "committee"
    dated = "2026"
    """
    assert parse_toml(text).limits == (
        LimitSettings(
            source="own records 2023 to 2025",
            dated="2026-03-01",
            zone="H01-GR",
            first_day="04-01",
            last_day="06-30",
            adults_per_trap_week=2.5,
        ),
        LimitSettings("committee", "2026", use="fairway", larvae_per_m2=100.0),
    )


def test_no_limit_ships_switched_on() -> None:
    """Without [[limits]] no zone has a limit of any kind."""
    settings = parse()
    assert settings.limits == ()
    assert limits_of(settings.limits, "Z1", "green", date(2026, 5, 1)) == ZoneLimits(None, None)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({**ADULTS, "source": ""}, "item 1, source: expected text in quotation marks, found ''"),
        ({**ADULTS, "dated": "March"}, "item 1, dated: expected a year, month or day like"),
        ({**ADULTS, "dated": "2026-13"}, "item 1, dated: expected a year, month or day like"),
        ({**ADULTS, "dated": 2026}, "item 1, dated: expected a year, month or day like"),
        ({**ADULTS, "zone": 1}, "item 1, zone: expected text in quotation marks, found 1"),
        ({**ADULTS, "zone": "A", "use": "green"}, "item 1: it names a zone and a use; keep one"),
        ({**ADULTS, "from": "05-01"}, "item 1: it has no to; give both days, or neither"),
        ({**ADULTS, "to": "05-01"}, "item 1: it has no from; give both days, or neither"),
        (
            {**ADULTS, "from": "5-1", "to": "06-01"},
            'item 1, from: expected month-day like "05-15", found',
        ),
        (
            {**ADULTS, "from": "05-01", "to": "05-01"},
            "item 1: from and to are the same day; leave both out for the whole year",
        ),
        ({**ADULTS, **LARVAE}, "item 1: it has adults_per_trap_week and larvae_per_ft2; keep one"),
        (
            {"source": "a", "dated": "2026"},
            "item 1: it has no number; add one of adults_per_trap_week, larvae_per_m2",
        ),
        ({**ADULTS, "adults_per_trap_week": 0}, "adults_per_trap_week: expected a number from"),
        ({**ADULTS, "adults_per_trap_week": True}, "adults_per_trap_week: expected a number from"),
        ({**ADULTS, "adults_per_trap_week": "4"}, "adults_per_trap_week: expected a number from"),
        (
            {**ADULTS, "adults_per_trap_week": float("nan")},
            "adults_per_trap_week: expected a number from 0.001 to 1,000,000, found nan",
        ),
        ({**ADULTS, "zones": "A"}, "item 1, zones: there is no such setting; did you mean 'zone'?"),
    ],
)
def test_a_wrong_limit_is_told_in_one_line(given: dict[str, Any], message: str) -> None:
    with pytest.raises(SettingsError, match=r"\Asite\.toml, limits, item 1[^\n]+\Z") as raised:
        parse(limits=[given])
    assert message in str(raised.value)


@pytest.mark.parametrize(
    ("key", "message"),
    [
        ("source", r'a limit needs its source; add source = "\.\.\."'),
        ("dated", r'a limit needs its date; add dated = "2026-03-01"'),
    ],
)
def test_a_limit_without_source_or_date_is_refused_with_the_fix(key: str, message: str) -> None:
    given = {name: value for name, value in ADULTS.items() if name != key}
    with pytest.raises(SettingsError, match=message):
        parse(limits=[ADULTS | {"zone": "A"}, given])


def test_limits_that_are_no_tables_are_told() -> None:
    with pytest.raises(SettingsError, match=r"expected tables that start with \[\[limits\]\]"):
        parse(limits={"adults_per_trap_week": 4})


def test_the_most_specific_limit_wins() -> None:
    """Zone before use before all; on equal footing one with days before one without."""
    june = {"first_day": "06-01", "last_day": "06-30"}
    every, all_june = limit(1), limit(2, **june)
    use, use_june = limit(3, use="green"), limit(4, use="green", **june)
    zone, zone_june = limit(5, zone="Z1"), limit(6, zone="Z1", **june)
    limits = [zone_june, use, all_june, every, zone, use_june]
    in_june, in_may = date(2026, 6, 1), date(2026, 5, 31)
    assert (held(limits, in_june), held(limits, in_may)) == (6, 5)
    assert (held(limits, in_june, "Z2"), held(limits, in_may, "Z2")) == (4, 3)
    assert (held(limits, in_june, "Z2", "tee"), held(limits, in_may, "Z2", "tee")) == (2, 1)
    assert held([all_june, zone], in_june) == 5, "a zone without days goes before all with days"


def test_adults_and_larvae_have_limits_of_their_own() -> None:
    limits = parse(limits=[ADULTS, LARVAE]).limits
    found = limits_of(limits, "Z1", "green", date(2026, 5, 1))
    assert found == ZoneLimits(limits[0], limits[1])


@pytest.mark.parametrize(
    ("day", "inside"),
    [("2026-10-31", False), ("2026-11-01", True), ("2027-02-28", True), ("2028-02-29", True),
     ("2028-03-01", False)],
)  # fmt: skip
def test_days_may_cross_new_year_and_29_february_counts_as_the_28th(day: str, inside: bool) -> None:
    winter = limit(1, first_day="11-01", last_day="02-28")
    found = limits_of([winter], "Z1", "green", date.fromisoformat(day)).adults
    assert (found is not None) == inside


def test_the_last_days_of_a_month_are_days_of_their_own() -> None:
    spring = limit(1, first_day="03-01", last_day="05-30")
    found = [limits_of([spring], "Z1", "green", date(2026, 5, day)).adults for day in (30, 31)]
    assert found == [spring, None]


@pytest.mark.parametrize(
    ("one", "other", "place"),
    [
        ({}, {}, "every zone and the whole year"),
        ({"zone": "A"}, {"zone": "A"}, "zone 'A' and the whole year"),
        (
            {"use": "tee", "from": "03-01", "to": "05-01"},
            {"use": "tee", "from": "05-01", "to": "06-01"},
            "use 'tee' and days that overlap, 03-01 to 05-01 and 05-01 to 06-01",
        ),
        (
            {"from": "11-01", "to": "02-01"},
            {"from": "01-01", "to": "03-01"},
            "every zone and days that overlap",
        ),
    ],
)
def test_two_equally_specific_limits_are_an_error_that_names_both(
    one: dict[str, str], other: dict[str, str], place: str
) -> None:
    with pytest.raises(SettingsError, match="limits, items 1 and 3: both are for adults") as raised:
        parse(limits=[ADULTS | one, LARVAE, ADULTS | other])
    assert place in str(raised.value)


def test_square_feet_and_square_metres_are_one_kind_of_limit() -> None:
    metric = {"larvae_per_m2": 100, "source": "a", "dated": "2026"}
    with pytest.raises(SettingsError, match="items 1 and 2: both are for larvae in every zone"):
        parse(limits=[LARVAE, metric])


def test_limits_that_share_no_day_are_no_error() -> None:
    spring, summer = {"from": "03-01", "to": "05-31"}, {"from": "06-01", "to": "08-31"}
    assert len(parse(limits=[ADULTS | spring, ADULTS | summer]).limits) == 2


def test_larvae_per_square_foot_are_the_same_per_square_metre() -> None:
    """1 international foot = 0.3048 m exactly (NIST Special Publication 811, appendix B.8)."""
    assert LimitSettings("a", "2026", larvae_per_ft2=10).amount == pytest.approx(107.639104, 1e-8)
    assert LimitSettings("a", "2026", larvae_per_m2=10).amount == 10


def test_a_limit_for_a_zone_or_use_that_is_not_there_is_told() -> None:
    limits = [limit(1, zone="Z-1"), limit(1, use="tee"), limit(1)]
    told = unknown_places(limits, ["Z1", "Z2"], ["green"])
    assert told == (
        ("limits, item 1: there is no zone 'Z-1'", "did you mean 'Z1'?"),
        ("limits, item 2: no zone has the use 'tee'", "it may be one of green"),
    )


def test_examples_can_be_copied_once_they_have_a_date() -> None:
    """As they stand each is refused for its date alone; none is for the catch of a trap."""
    examples = tomllib.loads(EXAMPLES.read_text(encoding="utf-8"))["limits"]
    assert len(examples) >= 2
    for example in examples:
        with pytest.raises(SettingsError, match=r"\A[^\n]+item 1, dated: expected a year[^\n]+\Z"):
            parse(limits=[example])
        (read,) = parse(limits=[example | {"dated": "2026-03-01"}]).limits
        assert read.stage == "larvae"
        assert read.source


def test_every_example_states_how_its_source_was_seen() -> None:
    above = EXAMPLES.read_text(encoding="utf-8").split("\n[[limits]]")[:-1]
    comments = [part.rpartition("\n\n")[2] for part in above]
    assert len(comments) >= 2
    assert [text for text in comments if not text.startswith("# status: ")] == []


def test_every_setting_of_the_decision_is_read() -> None:
    text = """
    [decision]
    below = 0.1
    treatment_cost_per_ha = 300
    loss_per_ha = 2000
    efficacy = 0.5
    larvae_from = "05-15"
    min_cores = 12
    cores_days = 21
    minutes_per_core = 4
    """
    assert parse_toml(text).decision == DecisionSettings(
        below=0.1,
        treatment_cost_per_ha=300.0,
        loss_per_ha=2000.0,
        efficacy=0.5,
        larvae_from="05-15",
        min_cores=12,
        cores_days=21,
        minutes_per_core=4.0,
    )
    assert parse().decision == DecisionSettings(above=0.8, below=0.2)


COSTS = {"treatment_cost_per_ha": 300, "loss_per_ha": 2000, "efficacy": 0.5}


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"above": 0.3, "below": 0.3}, "decision: below (0.3) is not under above (0.3); set below"),
        ({"above": 1.5}, "decision.above: expected a number from 0.01 to 0.999, found 1.5"),
        ({"abov": 0.5}, "decision.abov: there is no such setting; did you mean 'above'?"),
        ({"loss_per_ha": 10}, "costs need treatment_cost_per_ha and efficacy too; add, or leave"),
        ({**COSTS, "above": 0.8}, "both above and costs say when a zone is above; keep one"),
        (
            {**COSTS, "loss_per_ha": 500},
            "by these costs treating never pays, since treatment_cost_per_ha / (loss_per_ha * "
            "efficacy) = 1.2; check them, or leave them out",
        ),
        ({**COSTS, "efficacy": 80}, "decision.efficacy: expected a number from 0.01 to 1, found"),
        ({"larvae_from": "15 May"}, 'larvae_from: expected month-day like "05-15", found'),
        ({"larvae_from": 5}, "decision.larvae_from: expected text in quotation marks, found 5"),
        ({"min_cores": 2.5}, "decision.min_cores: expected a whole number, found 2.5"),
    ],
)
def test_a_wrong_setting_of_the_decision_is_told_in_one_line(
    given: dict[str, Any], message: str
) -> None:
    with pytest.raises(SettingsError, match=r"\Asite\.toml, decision[^\n]+\Z") as raised:
        parse(decision=given)
    assert message in str(raised.value)
