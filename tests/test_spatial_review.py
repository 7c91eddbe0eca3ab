"""Sites on which an earlier version of the analysis said something wrong."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from languages import EN
from sites import SETTINGS, csv_tables, make_site

from data.findings import SettingsError
from data.reading import read_site
from data.settings import SeasonWindow
from maps.words import headline
from spatial.analysis import analyse
from spatial.dispersion import rate_intervals
from spatial.results import Analysis
from spatial.seasons import choose_season

Rows = list[list[str]]


def analysed(
    folder: Path, change: Callable[[Rows, Rows], None], settings: str = SETTINGS
) -> Analysis:
    tables = csv_tables()
    change(tables["traps.csv"], tables["visits.csv"])
    text = {
        name: "\n".join(",".join(row) for row in tables[name]) + "\n"
        for name in ("traps.csv", "visits.csv")
    }
    return analyse(read_site(make_site(folder, settings=settings, files=text)))


def test_an_interval_holds_the_rate_that_is_shown_beside_it() -> None:
    """One trap with 98 adults in 98 nights, ten later ones with none in 7 nights each."""
    counts, nights = [98] + [0] * 10, [98] + [7] * 10
    low, high = rate_intervals(counts, nights, [0] * 11, 1.6)
    assert low[0] <= 98 / 168 <= high[0]


@pytest.mark.parametrize("seed", range(20))
def test_intervals_hold_the_crude_rate_under_any_effort(seed: int) -> None:
    random = np.random.default_rng(seed)
    counts, nights = random.negative_binomial(0.5, 0.05, 40), random.integers(1, 100, 40)
    group = np.repeat(np.arange(8), 5)
    low, high = rate_intervals(counts, nights, group, 0.7)
    crude = np.bincount(group, counts) / np.bincount(group, nights)
    assert (low <= crude).all()
    assert (crude <= high).all()


def test_zone_rates_and_ratios_refer_to_one_design(tmp_path: Path) -> None:
    """The commonest design of this season is the reference of the ratios, whatever came before."""

    def more_linear_before(traps: Rows, visits: Rows) -> None:
        traps[1:1] = [
            [f"L{n:02d}", "linear", *traps[n][2:4], "2025-03-03", "2025-06-02", "90"]
            for n in range(1, 16)
        ]

    plain = SETTINGS.replace("[designs.cup]\nreference = true\n[designs.linear]\n", "")
    analysis = analysed(tmp_path / "site", more_linear_before, plain)
    assert analysis.reference_design == "cup"
    assert {ratio.reference for ratio in analysis.ratios} == {"cup"}


def test_too_few_left_to_compare_is_told_with_the_number_left(tmp_path: Path) -> None:
    """Linear traps that caught nothing drop out; the sentence counts what is left: 12 cups."""

    def no_linear_catch(traps: Rows, visits: Rows) -> None:
        linear = {row[0] for row in traps if row[1] == "linear"}
        for row in visits[1:]:
            if row[0] in linear and row[3] == "ok":
                row[4:6] = ["0", "0"]

    analysis = analysed(tmp_path / "site", no_linear_catch)
    assert analysis.global_test.reason == "few_traps"
    assert analysis.global_test.traps == 12
    assert "12 traps can be compared and the test needs at least 14" in " ".join(
        headline(analysis, EN)
    )


def test_a_zone_whose_last_trap_is_gone_is_no_zone_with_a_trap(tmp_path: Path) -> None:
    def all_gone_in_the_first_zone(traps: Rows, visits: Rows) -> None:
        for row in traps[1:4]:
            row[5] = "2026-04-27"
        late = {row[0] for row in traps[1:4]}
        visits[:] = [row for row in visits if row[0] not in late or row[2] <= "2026-04-27"]

    zones = analysed(tmp_path / "site", all_gone_in_the_first_zone).zones.set_index("zone_id")
    assert zones.loc["Z1", "gap"] == "removed_traps"
    assert zones.loc["Z1", "counted_traps"] == 3
    assert zones.loc["Z1", "traps"] == 0


def test_a_treatment_of_the_season_is_mentioned(tmp_path: Path) -> None:
    """The tiny site's zone Z1 was treated on 22 April 2026."""
    text = " ".join(headline(analyse(read_site(make_site(tmp_path / "site"))), EN))
    assert "1 zone was treated this season, first on 22 April 2026" in text
    assert "before and after" in text


def test_a_week_after_the_last_visit_is_refused() -> None:
    days = pd.Series(pd.to_datetime(["2026-04-20"]))
    with pytest.raises(SettingsError, match="no visit was made since week 2026-W17"):
        choose_season(days, SeasonWindow(), "2026-W30")


@pytest.mark.parametrize("week", ["0001-W01", "\uff12\uff10\uff12\uff16-W16", "2026-16"])
def test_a_week_that_is_none_is_refused(week: str) -> None:
    days = pd.Series(pd.to_datetime(["2026-04-20"]))
    with pytest.raises(SettingsError, match="is not an ISO 8601 week"):
        choose_season(days, SeasonWindow(), week)


def test_the_last_week_of_a_season_that_fills_the_year_can_be_asked_for() -> None:
    """Week 53 of 2026 ends on 3 January 2027, but its visits belong to 2026."""
    days = pd.Series(pd.to_datetime(["2026-12-22", "2026-12-29"]))
    season = choose_season(days, SeasonWindow("01-01", "12-31"), "2026-W53")
    assert season.cutoff == date(2026, 12, 31)
