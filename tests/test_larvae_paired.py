"""Larvae beside adults: the correlation against SciPy, the lag, and the order of what is due."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy.stats import spearmanr

from spatial.larvae_paired import FEWEST_ZONES, larvae_paired

SINCE = date(2026, 2, 1)


def tables(adults: list[float], larvae: list[int]) -> tuple[pd.DataFrame, pd.DataFrame]:
    zones = [f"Z{n}" for n in range(len(adults))]
    visits = pd.DataFrame(
        {
            "zone_id": zones,
            "checked_on": pd.Timestamp("2026-05-01"),
            "adults": adults,
            "nights": 14.0,
        }
    )
    cores = pd.DataFrame(
        {
            "zone_id": zones,
            "sampled_on": pd.Timestamp("2026-05-20"),
            "cores": 10,
            "diameter_cm": 10.8,
            "larvae": larvae,
        }
    )
    return visits, cores


def test_it_is_spearmans_correlation_with_ties() -> None:
    random = np.random.default_rng(3)
    adults = random.poisson(3, 15).astype(float).tolist()
    larvae = random.poisson(2, 15).tolist()
    found = larvae_paired(*tables(adults, larvae), SINCE)
    assert found.rho == pytest.approx(spearmanr(adults, larvae).statistic)
    assert found.low < found.rho < found.high


def test_the_interval_is_that_of_the_worked_example() -> None:
    """Fieller's: tanh(atanh(rho) -+ 1.96 sqrt(1.06 / (n - 3))); 12 zones, by hand."""
    visits, cores = tables([float(n) for n in range(12)], [2, 1, 4, 3, 6, 5, 8, 7, 10, 9, 12, 11])
    found = larvae_paired(visits, cores, SINCE)
    # Twelve differences of one: 1 - 6 x 12 / (12 x 143).
    assert found.rho == pytest.approx(1 - 72 / 1716)
    assert found.low == pytest.approx(
        np.tanh(np.arctanh(found.rho) - 1.959964 * 0.343188), abs=1e-5
    )


def test_adults_caught_within_a_week_of_the_cores_do_not_count() -> None:
    visits, cores = tables([float(n) for n in range(8)], list(range(8)))
    late = visits.assign(checked_on=pd.Timestamp("2026-05-14"), adults=visits["adults"].max() * 9)
    both = larvae_paired(pd.concat([visits, late.iloc[:1]]), cores, SINCE)
    assert both.rho == pytest.approx(1.0)
    assert larvae_paired(late, cores, SINCE).reason == "few_zones"


def test_too_few_zones_and_no_variation_have_their_reasons() -> None:
    few = larvae_paired(*tables([1.0] * 7, [1] * 7), SINCE)
    assert (few.reason, few.zones) == ("few_zones", FEWEST_ZONES - 1)
    assert larvae_paired(*tables([1.0, 2.0] * 4, [0] * 8), SINCE).reason == "no_variation"


def test_cores_are_due_where_most_adults_were_caught_and_old_cores_do_not_count() -> None:
    visits, cores = tables([1.0, 9.0, 4.0], [0, 0, 3])
    cores.loc[0, "sampled_on"] = pd.Timestamp("2025-05-20")
    due = larvae_paired(visits, cores, SINCE).due
    assert due["zone_id"].tolist() == ["Z1", "Z2", "Z0"]
    assert due["cores"].tolist() == [10, 10, 0]
    assert due["rate"].tolist() == [4.5, 2.0, 0.5]
