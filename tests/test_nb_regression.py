"""Negative binomial regression against R's MASS and statsmodels, and its honest failures."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from reference.tables import table

from spatial.nb_regression import Regression, regression

DAYS_AWAY = {
    "AMF0S": [2, 11, 14],
    "AMF0A": [5, 5, 13, 20, 22],
    "AMF1S": [6, 6, 15],
    "AMF1A": [7, 14],
    "AMF2S": [6, 32, 53, 57],
    "AMF2A": [14, 16, 16, 17, 40, 43, 46],
    "AMF3A": [8, 23, 23, 28, 34, 36, 38],
    "AFF0S": [3],
    "AFF0A": [5, 11, 24, 45],
    "AFF1S": [5, 6, 6, 9, 13, 23, 25, 32, 53, 54],
    "AFF1A": [5, 5, 11, 17, 19],
    "AFF2S": [8, 13, 14, 20, 47, 48, 60, 81],
    "AFF2A": [2],
    "AFF3A": [0, 2, 3, 5, 10, 14, 21, 36, 40],
    "NMF0S": [6, 17, 67],
    "NMF0A": [0, 0, 2, 7, 11, 12],
    "NMF1S": [0, 0, 5, 5, 5, 11, 17],
    "NMF1A": [3, 4],
    "NMF2S": [22, 30, 36],
    "NMF2A": [8, 0, 1, 5, 7, 16, 27],
    "NMF3A": [0, 30, 10, 14, 27, 41, 69],
    "NFF0S": [25],
    "NFF0A": [10, 11, 20, 33],
    "NFF1S": [5, 7, 0, 1, 5, 5, 5, 5, 7, 11, 15],
    "NFF1A": [5, 14, 6, 6, 7, 28],
    "NFF2S": [0, 5, 14, 2, 2, 3, 8, 10, 12],
    "NFF2A": [1],
    "NFF3A": [1, 9, 22, 3, 3, 5, 15, 18, 22, 37],
}
"""Days absent of 146 children by origin, sex, age and learner: Quine 1975, `quine` of MASS."""

HOLDERS = [
    197, 264, 246, 1680, 284, 536, 696, 3582, 133, 286, 355, 1640, 24, 71, 99, 452,
    85, 139, 151, 931, 149, 313, 419, 2443, 66, 175, 221, 1110, 9, 48, 72, 322,
    35, 73, 89, 648, 53, 155, 240, 1635, 24, 78, 121, 692, 7, 29, 43, 245,
    20, 33, 40, 316, 31, 81, 122, 724, 18, 39, 68, 344, 3, 16, 25, 114,
]  # fmt: skip
CLAIMS = [
    38, 35, 20, 156, 63, 84, 89, 400, 19, 52, 74, 233, 4, 18, 19, 77,
    22, 19, 22, 87, 25, 51, 49, 290, 14, 46, 39, 143, 4, 15, 12, 53,
    5, 11, 10, 67, 10, 24, 37, 187, 8, 19, 24, 101, 3, 2, 8, 37,
    2, 5, 4, 36, 7, 10, 22, 102, 5, 7, 16, 63, 0, 6, 8, 33,
]  # fmt: skip
"""Car insurance by district, engine and age, four each: Baxter et al. 1980, `Insurance` of MASS."""

Columns = npt.NDArray[np.float64]


def trap_types() -> tuple[Columns, Columns, Columns]:
    """Return counts, days and columns (level, linear) of 40 invented traps."""
    traps = table("trap_types")
    linear = (traps["type"] == "linear").to_numpy(float)
    counts, days = traps["count"].to_numpy(float), traps["days"].to_numpy(float)
    return counts, days, np.column_stack([np.ones(len(traps)), linear])


def school() -> tuple[Columns, Columns]:
    """Return days absent and columns: level, Eth N, Sex M, Age F1, F2, F3, Lrn SL."""
    cells = [(cell, day) for cell, days in DAYS_AWAY.items() for day in days]
    columns = [
        [1, c[0] == "N", c[1] == "M", "F1" in c, "F2" in c, "F3" in c, c[4] == "S"]
        for c, _ in cells
    ]
    return np.array([day for _, day in cells], dtype=float), np.array(columns, dtype=float)


def insurance_columns() -> Columns:
    row = np.arange(64)
    factors = [row // 16, row // 4 % 4, row % 4]
    return np.column_stack(
        [np.ones(64), *((each == level) for each in factors for level in (1, 2, 3))]
    ).astype(float)


def blank(fit: Regression) -> bool:
    """Tell whether a failed fit holds no number at all."""
    arrays = (fit.coefficients, fit.covariance, fit.mean)
    return all(np.isnan(each).all() for each in arrays) and math.isnan(fit.k + fit.log_likelihood)


def test_trap_types_equal_mass() -> None:
    """Source: R MASS 7.3-58.2 `glm.nb(count ~ type + offset(log(days)))` on trap_types.csv."""
    fit = regression(*trap_types())
    assert_allclose(fit.coefficients, [-2.119816655, 1.467062207], atol=1e-9)
    assert fit.k == pytest.approx(0.929441959, abs=6e-9)
    assert fit.log_likelihood == pytest.approx(-99.647021, abs=6e-7)
    assert math.sqrt(fit.covariance[1, 1]) == pytest.approx(0.3806940608, abs=1e-9)


def test_absent_days_equal_mass() -> None:
    """Source: R MASS 7.3-58.2 `glm.nb(Days ~ Eth + Sex + Age + Lrn, quine)`."""
    days, columns = school()
    fit = regression(days, np.ones(len(days)), columns)
    assert fit.k == pytest.approx(1.274892645, abs=2e-9)
    assert fit.log_likelihood == pytest.approx(-546.575509, abs=6e-7)
    assert_allclose(fit.coefficients[[1, 6]], [-0.569371697, 0.292109157], atol=3e-9)


def test_absent_days_equal_statsmodels() -> None:
    """Source: statsmodels NB2, Newton's method: every coefficient, alpha = 1 / k, likelihood."""
    days, columns = school()
    other = sm.NegativeBinomial(days, columns).fit(method="newton", maxiter=200, tol=1e-12, disp=0)
    fit = regression(days, np.ones(len(days)), columns)
    assert_allclose(fit.coefficients, other.params[:-1], atol=1e-7)
    assert 1 / fit.k == pytest.approx(other.params[-1], rel=1e-7)
    assert fit.log_likelihood == pytest.approx(other.llf, abs=1e-9)


def test_claims_that_vary_no_more_than_poisson_get_the_poisson_fit() -> None:
    """Source: R `glm(Claims ~ District + Group + Age + offset(log(Holders)), poisson)`.

    Log likelihood -184.370777 (factors taken as unordered, which changes no likelihood);
    statsmodels' NB2 returns NaN and "converged" here. Its Poisson GLM gives the coefficients.
    """
    columns = insurance_columns()
    fit = regression(CLAIMS, HOLDERS, columns)
    assert fit.k == math.inf
    assert fit.log_likelihood == pytest.approx(-184.370777, abs=6e-7)
    model = sm.GLM(CLAIMS, columns, family=sm.families.Poisson(), offset=np.log(HOLDERS))
    other = model.fit(tol=1e-12)
    assert_allclose(fit.coefficients, other.params, atol=1e-8)
    assert_allclose(np.sqrt(np.diag(fit.covariance)), other.bse, rtol=1e-6)


def test_a_level_without_a_catch_is_called_separated() -> None:
    """Source: R and statsmodels return a coefficient of about -25 here and call it converged."""
    counts, days, columns = trap_types()
    fit = regression(np.where(columns[:, 1] > 0, 0, counts), days, columns)
    assert fit.reason == "separated"
    assert blank(fit)


def test_a_distance_beyond_which_all_is_zero_still_has_a_fit() -> None:
    """By hand: zeros at one end of a slope are no separation as long as catches overlap."""
    far = np.arange(20.0)
    counts = [9, 4, 12, 5, 0, 3, 6, 0, 2, 1] + [0] * 10
    fit = regression(counts, np.full(20, 7.0), np.column_stack([np.ones(20), far]))
    assert fit.reason == ""
    assert fit.coefficients[1] < 0


@pytest.mark.parametrize(
    ("counts", "columns", "reason"),
    [
        ([0] * 12, np.ones((12, 1)), "all_zero"),
        ([3, 0, 1, 8], np.ones((4, 1)), "few_counts"),
        (list(range(12)), np.ones((12, 2)), "collinear"),
    ],
)
def test_what_cannot_be_fitted_is_named(counts: list[int], columns: Columns, reason: str) -> None:
    fit = regression(counts, [7.0] * len(counts), columns)
    assert fit.reason == reason
    assert blank(fit)


@settings(max_examples=30)
@given(seed=st.integers(0, 2**32 - 1), effort=st.floats(0.1, 50))
def test_a_fit_meets_its_equations_and_the_unit_of_effort_does_not_matter(
    seed: int, effort: float
) -> None:
    """By hand: the score of every coefficient is zero at the maximum; the level takes the unit."""
    random = np.random.default_rng(seed)
    columns = np.column_stack([np.ones(30), random.normal(size=30)])
    nights = random.choice([7.0, 14, 28], size=30)
    mean = nights * np.exp(columns @ [0.0, 0.5])
    counts = random.negative_binomial(1.0, 1 / (1 + mean))
    fit = regression(counts, nights, columns)
    score = columns.T @ ((counts - fit.mean) / (1 + fit.mean / fit.k))
    assert_allclose(score, 0, atol=1e-5)
    again = regression(counts, nights * effort, columns)
    assert_allclose(again.mean, fit.mean, rtol=1e-6)
    assert again.coefficients[1] == pytest.approx(fit.coefficients[1], abs=1e-6)
