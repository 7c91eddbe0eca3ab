"""Whether a treatment worked: the correction, its interval, and when it cannot be told."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from languages import EN

from data.reading import read_site
from data.treatment_settings import TreatmentSettings
from maps.efficacy_words import efficacy_sentence, weather_sentence
from spatial.assign import assign_zones
from spatial.efficacy import Efficacy, countable_visits, efficacies, henderson_tilton

APPLIED = date(2026, 5, 18)
START = APPLIED - timedelta(days=28)
RATES = st.floats(0.01, 1000)
WEEKS = 8
"""Four rounds before and four after."""

DEMO = Path(__file__).parents[1] / "data" / "demo" / "site"
PLANTED = 1 - 0.35
"""Share of the catch that the demo's treatments prevent for 28 nights: truth.json, `treatments`."""


def visits(counts: dict[tuple[str, str], list[float]], start: date = START) -> pd.DataFrame:
    """Return weekly visits: (zone, trap) -> adults of each round."""
    rows = [
        {
            "zone_id": zone,
            "location_id": trap,
            "set_on": pd.Timestamp(start + timedelta(days=7 * week)),
            "checked_on": pd.Timestamp(start + timedelta(days=7 * week + 7)),
            "adults": adults,
            "nights": 7.0,
        }
        for (zone, trap), series in counts.items()
        for week, adults in enumerate(series)
    ]
    return pd.DataFrame(rows)


def log(*rows: tuple[str, date]) -> pd.DataFrame:
    days = pd.to_datetime([str(day) for _, day in rows])
    return pd.DataFrame(
        {"zone_id": [zone for zone, _ in rows], "applied_on": days, "irac_group": "3A"}
    )


NO_WEATHER = pd.DataFrame({"date": [], "tmin_c": [], "tmax_c": []})
USES = pd.Series({"T": "rough", "U": "rough", "F": "fairway"})

# 40 before and 6 after in T; 50 before and 30 after in U: the docstring's example.
WORKED = {("T", "T1"): [10.0] * 4 + [1.5] * 4, ("U", "U1"): [12.5] * 4 + [7.5] * 4}


def effects(
    seen: pd.DataFrame, treatments: pd.DataFrame, cutoff: date = date(2026, 8, 1), **settings: Any
) -> tuple[Efficacy, ...]:
    return efficacies(seen, treatments, NO_WEATHER, USES, cutoff, TreatmentSettings(**settings))


def effect(counts: dict[tuple[str, str], list[float]], *more: tuple[str, date]) -> Efficacy:
    return effects(visits(counts), log(("T", APPLIED), *more))[0]


def test_the_correction_by_hand() -> None:
    """Henderson & Tilton (1955), J. Econ. Entomol. 48, 157-161: 1 - (6 / 40) (50 / 30)."""
    found = effect(WORKED)
    assert found.efficacy == pytest.approx(0.75)
    assert (found.untreated, found.reference, found.reason) == (("U",), "same_use", "")
    assert (found.before, found.after) == (10.0, 1.5)
    assert found.low < 0.75 < found.high


@given(RATES, RATES, RATES)
def test_equal_starts_give_abbotts_formula(start: float, treated: float, untreated: float) -> None:
    """Abbott (1925), J. Econ. Entomol. 18, 265-267: (untreated - treated) / untreated."""
    abbott = (untreated - treated) / untreated
    found = henderson_tilton(start, treated, start, untreated)
    assert found == pytest.approx(abbott, rel=1e-9, abs=1e-9)


@given(RATES, RATES, RATES, RATES, RATES, RATES)
def test_what_changes_everywhere_cancels(
    tb: float, ta: float, ub: float, ua: float, cold: float, late: float
) -> None:
    """A factor on all catches before, and another on all after, changes nothing."""
    plain = henderson_tilton(tb, ta, ub, ua)
    changed = henderson_tilton(cold * tb, late * ta, cold * ub, late * ua)
    assert 1 - changed == pytest.approx(1 - plain, rel=1e-9)


def test_a_shuffled_table_gives_the_same_interval() -> None:
    table = visits(WORKED)
    found = effects(table, log(("T", APPLIED)))
    assert effects(table.iloc[::-1].reset_index(drop=True), log(("T", APPLIED))) == found


def test_a_visit_that_spans_the_day_counts_on_neither_side() -> None:
    spanning = visits(WORKED, START - timedelta(days=3))
    (found,) = effects(spanning, log(("T", APPLIED)), before_nights=40, after_nights=40)
    assert (found.before_adults, found.after_adults) == (40, 4.5)


def test_only_traps_seen_on_both_sides_are_compared() -> None:
    """A busy trap that was lost at the treatment must not look like control."""
    table = visits({**WORKED, ("T", "lost"): [99.0] * 4})
    (found,) = effects(table, log(("T", APPLIED)))
    assert found.efficacy == pytest.approx(0.75)


def test_nothing_caught_afterwards_is_not_certainty() -> None:
    found = effect({**WORKED, ("T", "T1"): [10.0] * 4 + [0.0] * 4})
    assert found.efficacy == 1.0
    assert 0.5 < found.low < 1.0


def test_untreated_zones_of_another_use_are_taken_only_without_others() -> None:
    counts = {("T", "T1"): WORKED["T", "T1"], ("F", "F1"): WORKED["U", "U1"]}
    assert effect(counts).reference == "other_use"
    assert effect({**counts, ("U", "U1"): [1.0] * 8}).untreated == ("F", "U")
    assert effect({**counts, ("U", "U1"): [5.0] * 8}).untreated == ("U",)


@pytest.mark.parametrize(
    ("counts", "more", "reason"),
    [
        ({("U", "U1"): [9.0] * 8}, [], "no_traps"),
        (WORKED, [("T", APPLIED - timedelta(days=9))], "treated_before"),
        ({**WORKED, ("T", "T1"): [math.nan] * 4 + [1.0] * 4}, [], "no_before"),
        ({**WORKED, ("T", "T1"): [9.0] * 4 + [math.nan] * 4}, [], "no_after"),
        ({**WORKED, ("T", "T1"): [2.0] * 4 + [1.0] * 4}, [], "few_before"),
        ({("T", "T1"): [9.0] * 8}, [], "no_untreated"),
        (WORKED, [("U", APPLIED + timedelta(days=9))], "no_untreated"),
        (WORKED, [("U", START - timedelta(days=9))], "no_untreated"),
        ({**WORKED, ("U", "U1"): [2.0] * 8}, [], "few_untreated"),
    ],
)
def test_cannot_tell_is_said_with_its_reason(
    counts: dict[tuple[str, str], list[float]], more: list[tuple[str, date]], reason: str
) -> None:
    table = visits(counts).dropna(subset="adults")
    found = [each for each in effects(table, log(("T", APPLIED), *more)) if each.zone_id == "T"]
    last = found[-1]
    assert last.reason == reason
    assert math.isnan(last.efficacy)
    assert "cannot tell; " in efficacy_sentence(last, EN)


def test_the_window_ends_at_the_next_treatment_and_at_the_cut_off() -> None:
    again = APPLIED + timedelta(days=14)
    assert effect(WORKED, ("T", again)).last == again
    (found,) = effects(visits(WORKED), log(("T", APPLIED)), APPLIED + timedelta(days=7))
    assert found.last == APPLIED + timedelta(days=7)
    assert effects(visits(WORKED), log(("T", APPLIED)), APPLIED - timedelta(days=1)) == ()


def test_cold_nights_are_counted_on_both_sides() -> None:
    days = pd.date_range(START, periods=56)
    mean = np.where(days < pd.Timestamp(APPLIED), 22.0, 15.0)
    weather = pd.DataFrame({"date": days, "tmin_c": mean - 5, "tmax_c": mean + 5})
    (found,) = efficacies(
        visits(WORKED), log(("T", APPLIED)), weather, USES, date(2026, 8, 1), TreatmentSettings()
    )
    assert found.weather_before is not None
    assert found.weather_after is not None
    assert (found.weather_before.cold, found.weather_after.cold) == (0, 28)
    said = weather_sentence(found, 20.0, EN)
    assert said.startswith("Nights under 20 C: 0 of 28 before, 28 of 28 after.")
    assert weather_sentence(effect(WORKED), 20.0, EN) == ""


def test_an_effect_that_is_not_ruled_in_is_said_so() -> None:
    found = replace(effect(WORKED), low=-0.2, high=0.9)
    assert "no effect is not ruled out" in efficacy_sentence(found, EN)
    worse = replace(found, efficacy=-0.3, low=-0.9, high=-0.1)
    assert "30 % more than expected" in efficacy_sentence(worse, EN)


def test_intervals_hold_the_planted_effect_as_often_as_they_say() -> None:
    """120 simulated treatments, 3 traps treated, 9 not, k = 2, weather from week to week.

    Three sd of a proportion of 0.95 in 120 are 0.06; resampling traps held it in 0.6 to 0.84.
    """
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(120):
        season = 5 * np.exp(rng.normal(0, 0.3, WEEKS))
        counts = {}
        for n in range(12):
            zone, worth = ("T", 0.35) if n < 3 else ("U", 1.0)
            mean = season * np.exp(rng.normal(0, 0.4)) * np.repeat([1.0, worth], WEEKS // 2)
            drawn = rng.negative_binomial(2.0, 2.0 / (2.0 + mean)).astype(float)
            counts[zone, f"{zone}{n}"] = drawn.tolist()
        found = effect(counts)
        held += bool(found.low <= 1 - 0.35 <= found.high)
    assert held / 120 >= 0.89


def test_the_planted_effect_lies_inside_the_demos_intervals() -> None:
    """All treatments of the demo's first year that can be told; the ratio of designs is planted."""
    site = read_site(DEMO)
    placed = assign_zones(site.traps, site.zones, site.settings.network.near_m)
    traps = placed.assign(design=site.traps["design"].to_numpy())
    seen = countable_visits(site.visits, traps, {"cup": 1.0, "linear": 2.5})
    uses = site.zones.set_index("zone_id")["use"]
    found = efficacies(
        seen, site.treatments, site.weather, uses, date(2025, 8, 31), TreatmentSettings()
    )
    told = [each for each in found if not each.reason]
    assert {each.zone_id for each in told} == {"H04-RO", "H08-RO", "H09-RO", "H17-RO", "SF-1"}
    assert all(each.low <= PLANTED <= each.high for each in told)
    assert all(each.weather_before is not None for each in told)
    (untold,) = [each for each in found if each.reason]
    assert (untold.zone_id, untold.reason) == ("H09-FW", "few_before")
