"""The zone model against a long Markov chain, exact integrals and negative binomial regression."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from reference.tables import table
from scipy import integrate, stats
from scipy.special import gammaincc

from spatial.dispersion import negative_binomial_k
from spatial.nb_regression import regression
from spatial.placement_effect import Places
from spatial.zone_model import ZoneModel, zone_model
from spatial.zone_posterior import Fit, Spread, Zones, fitted
from spatial.zone_terms import Terms

DATA = ("course", "few zones, few beetles", "one trap per zone", "many traps")
LIMIT = 3.0
LINEAR_SE = {"course": 0.2}
QUANTILES = {"q025": 0.025, "q10": 0.1, "q50": 0.5, "q90": 0.9, "q975": 0.975}

Floats = npt.NDArray[np.float64]


def chain(data: str) -> pd.DataFrame:
    """Return what `scripts/bench/zone_mcmc.py` found, by quantity."""
    rows = table("zone_model_mcmc")
    return rows[rows["data"] == data].set_index("quantity")


def model(data: str) -> ZoneModel:
    rows = table("zone_model_mcmc_traps")
    traps = rows[rows["data"] == data]
    use, zone, design = (traps[name].to_numpy(dtype=object) for name in ("use", "zone", "design"))
    places = Places(traps["refuge_m"].to_numpy(dtype=float), use, zone, design)
    return zone_model(
        traps["adults"],
        traps["nights"],
        places,
        zones=sorted(set(zone)),
        cutoff_m=1e6,
        log_ratio_se={"linear": LINEAR_SE.get(data, 0.0)},
    )


def of_zones(rows: pd.DataFrame, what: str, column: str, found: ZoneModel) -> Floats:
    names = [f"{what} {zone}" for zone in found.table["zone_id"]]
    return rows.loc[names, column].to_numpy(dtype=float)


@pytest.mark.parametrize("data", DATA)
def test_the_chains_agree_among_themselves(data: str) -> None:
    """A reference that has not converged is none."""
    rows = chain(data)
    rates = rows[rows.index.str.startswith(("rate", "tau"))]
    assert (rates["r_hat"] < 1.01).all()


@pytest.mark.parametrize("data", DATA)
def test_quantiles_of_zone_rates_agree_with_a_long_chain(data: str) -> None:
    """Where the chain has its quantile, the model has the same probability, within .025."""
    found, rows = model(data), chain(data)
    for column, p in QUANTILES.items():
        over = found.p_above(of_zones(rows, "rate", column, found))
        assert_allclose(1 - over, p, atol=0.025)
        assert abs(np.mean(1 - over) - p) < 0.012


@pytest.mark.parametrize("data", ["course", "few zones, few beetles", "many traps"])
def test_means_of_zone_rates_agree_with_a_long_chain(data: str) -> None:
    """Within a tenth of a standard deviation; with one trap per zone the chain's own is no use."""
    found, rows = model(data), chain(data)
    away = found.table["rate"] - of_zones(rows, "rate", "mean", found)
    assert (np.abs(away) < 0.1 * of_zones(rows, "rate", "sd", found)).all()


@pytest.mark.parametrize("data", DATA)
def test_probabilities_and_shares_over_a_limit_agree_with_a_long_chain(data: str) -> None:
    found, rows = model(data), chain(data)
    assert_allclose(found.p_above(LIMIT), of_zones(rows, "rate", "p_above", found), atol=0.025)
    share = found.share_over(LIMIT)
    traps = of_zones(rows, "traps_over", "mean", found)
    stretch = of_zones(rows, "stretch_over", "mean", found)
    assert_allclose(share["traps_over"], traps, atol=0.04)
    assert_allclose(share["stretch_over"], stretch, atol=0.04)


@pytest.mark.parametrize("data", DATA)
def test_spreads_agree_with_a_long_chain(data: str) -> None:
    """Medians and 80 % ends of tau and phi = 1 / sqrt(k), within .08."""
    found, rows = model(data), chain(data)
    tau = [found.tau.low_80, found.tau.median, found.tau.high_80]
    k = np.array([found.k.low_80, found.k.median, found.k.high_80])
    columns = ["q10", "q50", "q90"]
    assert_allclose(tau, rows.loc["tau", columns].to_numpy(dtype=float), atol=0.08)
    phi = rows.loc["k", columns].to_numpy(dtype=float) ** -0.5
    assert_allclose(k**-0.5, phi, atol=0.08)


def plain_terms(
    counts: npt.ArrayLike, zone: npt.ArrayLike, columns: npt.ArrayLike, prior_sd: float
) -> Terms:
    numbers = np.asarray(zone)
    names, starts = np.unique(numbers, return_index=True)
    matrix = np.asarray(columns, dtype=float)
    return Terms(
        names=names.astype(object),
        counts=np.asarray(counts, dtype=float),
        weeks=np.ones(len(numbers)),
        zone=numbers,
        starts=starts,
        columns=matrix,
        prior_sd=np.full(matrix.shape[1], prior_sd),
        labels=tuple(("level", "") for _ in range(matrix.shape[1])),
    )


CASES = [
    ([0], 0.5, 1.0),
    ([0, 0, 0, 0], 3.0, 0.3),
    ([1], 4.0, 2.5),
    ([3, 0, 40], 0.7, 0.8),
    ([250, 260, 255], 1.0, 0.02),
    ([2, 5], 0.01, 0.5),
    ([100_000], 4.0, 1.0),
]
"""Counts of one zone, tau, phi."""


@pytest.mark.parametrize(("counts", "tau", "phi"), CASES)
def test_the_likelihood_of_a_zone_is_the_exact_integral(
    counts: list[int], tau: float, phi: float
) -> None:
    """Against scipy's adaptive quadrature of nbinom times normal, within 1e-4 of its logarithm."""
    terms = plain_terms(counts, [0] * len(counts), np.ones((len(counts), 1)), 1.0)
    spread = Spread(np.array([tau]), np.array([phi]))
    level = 0.4
    found = Zones.of(terms, np.array([[level]]), spread, np.zeros((1, 1)))
    k = phi**-2

    def log_density(u: float) -> float:
        p = k / (k + np.exp(level + u))
        return float(np.sum(stats.nbinom.logpmf(counts, k, p)) + stats.norm.logpdf(u, 0, tau))

    nodes = np.linspace(-10 * tau, 10 * tau, 20_001)
    top = max(log_density(float(u)) for u in nodes[::20])
    middle = max(nodes[::20], key=lambda u: log_density(float(u)))
    exact, _ = integrate.quad(
        lambda u: np.exp(log_density(u) - top),
        middle - 12 * tau,
        middle + 12 * tau,
        points=[middle, middle - 0.1 * tau, middle + 0.1 * tau],
        limit=500,
    )
    assert found.log_density[0] == pytest.approx(top + np.log(exact), abs=1e-4)


def test_drawn_effects_follow_the_exact_density() -> None:
    """Four counts of zero, a skewed density: mean and sd by quadrature, within 1 %."""
    terms = plain_terms([0] * 4, [0] * 4, np.ones((4, 1)), 1.0)
    spread = Spread(np.array([1.5]), np.array([0.8]))
    zones = Zones.of(terms, np.array([[0.4]]), spread, np.zeros((1, 1)))
    u = np.linspace(-15, 15, 30_001)
    log_density = -4 * 0.8**-2 * np.log1p(np.exp(0.4 + u) * 0.8**2) - 0.5 * (u / 1.5) ** 2
    density = np.exp(log_density - log_density.max())
    mean = (u * density).sum() / density.sum()
    sd = np.sqrt(((u - mean) ** 2 * density).sum() / density.sum())
    drawn = zones.draw((np.arange(20_000) + 0.5)[None, None] / 20_000)
    assert drawn.mean() == pytest.approx(mean, abs=0.01 * sd)
    assert drawn.std() == pytest.approx(sd, rel=0.01)
    fold = (np.exp(u) * density).sum() / density.sum()
    assert zones.mean_fold()[0, 0] == pytest.approx(fold, rel=1e-4)


def test_without_spread_between_zones_the_fit_is_negative_binomial_regression() -> None:
    """With tau -> 0 and flat priors: `spatial.nb_regression`, itself held to MASS::glm.nb."""
    random = np.random.default_rng(12)
    columns = np.column_stack([np.ones(120), random.normal(size=120), np.arange(120) % 2])
    mean = np.exp(columns @ [1.0, 0.5, -0.7])
    counts = random.poisson(random.gamma(1.5, mean / 1.5)).astype(float)
    glm = regression(counts, np.ones(120), columns)
    terms = plain_terms(counts, np.arange(120) // 3, columns, 1e3)
    spread = Spread(np.array([1e-3]), np.array([glm.k**-0.5]))
    start = Fit(np.zeros(3), np.eye(3), 0.0, np.zeros((1, 40)))
    fit = fitted(terms, spread, start)
    assert_allclose(fit.mode, glm.coefficients, atol=0.01 * np.sqrt(np.diag(glm.covariance)).min())
    # Observed against expected information: the same in the long run, not in one sample.
    ours, theirs = np.diag(fit.factor @ fit.factor.T), np.diag(glm.covariance)
    assert_allclose(ours, theirs, rtol=0.2)


def test_one_zone_of_many_traps_is_the_negative_binomial_sample() -> None:
    """Rate, its standard error sqrt((1/m + 1/k) / n) and k by maximum likelihood."""
    random = np.random.default_rng(13)
    counts = random.poisson(random.gamma(1.2, 8.0 / 1.2, 400)).astype(float)
    turf = np.full(400, "lawn", dtype=object)
    places = Places(np.full(400, np.nan), turf, turf, turf)
    found = zone_model(counts, np.full(400, 7.0), places, zones=["lawn"], cutoff_m=400)
    k, m = negative_binomial_k(counts), counts.mean()
    row = found.table.iloc[0]
    assert row["rate"] == pytest.approx(m, rel=0.01)
    se = np.sqrt((1 / m + 1 / k) / 400)
    width = np.log(row["rate_high_95"] / row["rate_low_95"])
    assert width == pytest.approx(2 * 1.96 * se, rel=0.1)
    assert found.k.median == pytest.approx(k, rel=0.02)
    # Gamma-Poisson, zone and k as good as known: a trap's own rate is gamma(k + count, k/m + 1).
    own = gammaincc(k + counts, (k / m + 1) * 10.0)
    share = found.share_over(10.0).iloc[0]
    assert share["traps_over"] == pytest.approx(own.mean(), abs=0.01)
    assert share["stretch_over"] == pytest.approx(gammaincc(k, k * 10.0 / m), abs=0.01)
