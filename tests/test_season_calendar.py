"""What is due when: what each window rests on, and that nothing is made up."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pandas as pd

from data.degree_day_models import DegreeDayModel, ModelEvent
from spatial.degree_day_sums import DegreeDaySum, degree_day_sum
from spatial.results import Season
from spatial.season_calendar import BASES, WINDOWS, Ground, calendar
from spatial.season_dates import SeasonDates, ShareDate
from spatial.season_fit import ShareCurve

NOTHING = SeasonDates(None, (), pd.DataFrame(), "no_visit")


def season(cutoff: date) -> Season:
    return Season("2026", date(2026, 2, 15), date(2026, 8, 31), "2026-W20", cutoff, ("2026-W20",))


def dates(year: int, ten: str, half: str, ninety: str, first: str = "04-01") -> SeasonDates:
    shares = tuple(
        ShareDate(share, date.fromisoformat(f"{year}-{day}"), None, None)
        for share, day in ((0.1, ten), (0.5, half), (0.9, ninety))
    )
    begun = date.fromisoformat(f"{year}-{first}")
    return SeasonDates((begun, begun + timedelta(days=7)), shares, pd.DataFrame(), "")


def windows(ground: Ground) -> dict[str, tuple[date, date, str]]:
    return {each.what: (each.first, each.last, each.basis) for each in calendar(ground)}


def sums(per_day: float) -> DegreeDaySum:
    """Return degree-days that grow by the same amount every day from 1 March."""
    own = DegreeDayModel(
        "own", "Own", "here", "own records", (), "C", 10.0, None, "none", "simple", "03-01",
        (ModelEvent("first_adults", 100.0, 200.0, "read"),),
    )  # fmt: skip
    days = pd.date_range("2026-02-20", "2026-08-31")
    mean = 10 + per_day
    weather = pd.DataFrame({"date": days, "tmin_c": mean - 5, "tmax_c": mean + 5})
    return degree_day_sum(weather, own, date(2026, 8, 31))


def test_nothing_known_is_nothing_said() -> None:
    assert calendar(Ground(season(date(2026, 3, 8)), NOTHING, {})) == ()


def test_past_seasons_give_the_range_of_their_days() -> None:
    past = {
        "2025": dates(2025, "04-20", "05-10", "06-09"),
        "2024": dates(2024, "04-28", "05-22", "06-20", first="04-11"),
    }
    found = windows(Ground(season(date(2026, 3, 8)), NOTHING, past))
    assert list(found) == list(WINDOWS)
    assert found["first_adults"] == (date(2026, 4, 1), date(2026, 4, 18), "past_seasons")
    assert found["adult_middle"][:2] == (date(2026, 5, 10), date(2026, 5, 22))
    assert found["adult_window"][:2] == (date(2026, 4, 20), date(2026, 5, 22))
    # 20 April and a week; 20 June and two weeks.
    assert found["larvae_due"][:2] == (date(2026, 4, 27), date(2026, 7, 4))
    assert found["cores"][:2] == (date(2026, 5, 24), date(2026, 6, 19))
    assert found["soil_larvae"][:2] == (date(2026, 5, 31), date(2026, 6, 26))


def test_a_season_that_is_over_speaks_for_itself_and_one_that_lasts_does_not() -> None:
    own = dates(2026, "04-10", "05-01", "05-30")
    over = windows(Ground(season(date(2026, 8, 30)), own, {"2025": dates(2025, "05-20", "06-10",
                                                                         "07-09")}))  # fmt: skip
    assert over["adult_middle"] == (date(2026, 5, 1), date(2026, 5, 1), "observed")
    lasting = windows(Ground(season(date(2026, 5, 31)), own, {}))
    assert list(lasting) == ["first_adults"]
    assert lasting["first_adults"][2] == "observed"


def test_without_a_beetle_when_the_first_was_due_nothing_is_expected() -> None:
    past = {"2025": dates(2025, "05-20", "06-10", "07-09")}
    waiting = windows(Ground(season(date(2026, 4, 8)), NOTHING, past))
    assert waiting["first_adults"][:2] == (date(2026, 4, 1), date(2026, 4, 8))
    assert windows(Ground(season(date(2026, 4, 9)), NOTHING, past)) == {}
    assert windows(Ground(season(date(2026, 8, 30)), NOTHING, past)) == {}


def test_a_season_that_is_over_takes_nothing_from_those_before() -> None:
    few = SeasonDates((date(2026, 4, 6), date(2026, 4, 13)), (), pd.DataFrame(), "few_beetles")
    past = {"2025": dates(2025, "05-20", "06-10", "07-09")}
    assert list(windows(Ground(season(date(2026, 8, 30)), few, past))) == ["first_adults"]


def test_a_relation_that_has_proved_itself_goes_before_past_seasons() -> None:
    curve = ShareCurve("logistic", middle=300.0, scale=30.0, first=90.0)
    ground = Ground(
        season(date(2026, 3, 8)), NOTHING, {"2025": dates(2025, "05-20", "06-10", "07-09")},
        (sums(5.0), sums(6.0)), curve,
    )  # fmt: skip
    found = windows(ground)
    # 300 degree-days at 5 and 6 a day from 1 March on: the 60th and the 50th day.
    assert found["adult_middle"] == (date(2026, 4, 19), date(2026, 4, 29), "own_fit")
    assert found["first_adults"] == (date(2026, 3, 15), date(2026, 3, 18), "own_fit")


def test_what_the_relation_missed_by_widens_its_windows() -> None:
    curve = ShareCurve("logistic", middle=300.0, scale=30.0, first=90.0)
    misses = {"0.5": (-2, 3), "0.9": (4, 9), "0.1": (1, 1)}
    past = {"2025": dates(2025, "05-20", "06-10", "07-09")}
    courses = (sums(5.0), sums(6.0))
    ground = Ground(season(date(2026, 3, 8)), NOTHING, past, courses, curve, misses)
    plain = windows(replace(ground, misses={}))
    found = windows(ground)
    assert found["adult_middle"][:2] == (date(2026, 4, 17), date(2026, 5, 2))
    # Adults of which nine in ten came 4 to 9 days late leave the early end where it was.
    assert found["larvae_due"][0] == plain["larvae_due"][0]
    assert found["larvae_due"][1] == plain["larvae_due"][1] + timedelta(days=9)
    # Past the middle under every course, the weather to come has no part in it.
    late = Ground(season(date(2026, 5, 10)), dates(2026, "04-10", "05-01", "05-09"), past, courses,
                  curve, misses)  # fmt: skip
    assert [each.seasons for each in calendar(late) if each.what == "adult_middle"] == [0]
    assert [each.seasons for each in calendar(ground) if each.what == "adult_middle"] == [2]


def test_a_named_model_gives_first_adults_only() -> None:
    found = windows(Ground(season(date(2026, 3, 8)), NOTHING, {}, (sums(5.0), sums(10.0))))
    assert found == {"first_adults": (date(2026, 3, 10), date(2026, 4, 9), "model")}


def test_every_basis_can_occur() -> None:
    assert set(BASES) == {"observed", "own_fit", "past_seasons", "model"}
