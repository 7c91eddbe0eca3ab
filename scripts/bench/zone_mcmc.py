"""A long Markov chain of the zone model, written apart from it: the reference of its tests.

Run as ``python -m scripts.bench.zone_mcmc [--iterations 20000] [--write]``. Plain random-walk
Metropolis in numpy, 24 chains side by side, a third of each thrown away; nothing of
`spatial.zone_model` is used. Prints every quantity with R-hat and Monte Carlo error, and with
``--write`` makes `tests/reference/zone_model_mcmc.csv` and `zone_model_mcmc_traps.csv`.

The model: count ~ NB(mean = weeks * exp(level + use + slope * (log2(1 + refuge_m) - mean of it)
+ design + u[zone]), k = 1 / phi^2); level ~ N(0, 3), use ~ N(0, 1), slope ~ N(0, .5),
design ~ N(0, its standard error), u ~ N(0, tau), tau and phi ~ half-normal(1), both below 5.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import gammaincc, gammaln

from spatial.arrays import BoolArray, FloatArray

FOLDER = Path(__file__).resolve().parents[2] / "tests" / "reference"
CHAINS, THIN, SEED = 24, 10, 20261
LIMIT = 3.0
"""Adults per trap-week, for P(rate > limit)."""
SPREAD_TOP = 5.0
USES = ("fairway", "rough", "surround", "tee")


@dataclass(frozen=True, slots=True)
class DataSet:
    """Traps of an invented site, and the standard error of the log ratio of linear traps."""

    name: str
    traps: pd.DataFrame
    linear_se: float


@dataclass(frozen=True, slots=True)
class Recipe:
    """What a data set is drawn from."""

    name: str
    zones: int
    most_traps: int
    level: float
    tau: float
    k: float
    uses: int
    linear_se: float


RECIPES = (
    Recipe("course", 24, 3, 0.8, 0.6, 2.0, 4, 0.2),
    Recipe("few zones, few beetles", 5, 3, -1.2, 0.5, 1.0, 2, 0.0),
    Recipe("one trap per zone", 30, 1, 1.2, 0.9, 2.5, 1, 0.0),
    Recipe("many traps", 8, 20, 0.5, 0.8, 0.7, 2, 0.0),
)


def data_sets() -> list[DataSet]:
    """Return the invented sites."""
    return [_drawn(recipe, number) for number, recipe in enumerate(RECIPES)]


def _drawn(recipe: Recipe, number: int) -> DataSet:
    random = np.random.default_rng([SEED, number])
    size = random.integers(1, recipe.most_traps + 1, recipe.zones)
    zone = np.repeat(np.arange(recipe.zones), size)
    n = len(zone)
    use = np.asarray(USES)[zone % recipe.uses]
    refuge_m = np.round(random.gamma(1.5, 30.0, n), 1)
    linear = (random.random(n) < 0.3) & (recipe.linear_se > 0)
    weeks = random.choice([2.0, 6.0, 10.0, 14.0], n) * np.where(linear, 2.5, 1.0)
    effect = recipe.tau * random.standard_normal(recipe.zones)[zone]
    log_rate = recipe.level + effect - 0.25 * (np.log2(1 + refuge_m) - 5)
    # Nobody ever caught anything on a tee: the use must not run away to zero.
    rate = np.where(use == "tee", 0.0, np.exp(log_rate))
    counts = random.poisson(random.gamma(recipe.k, weeks * rate / recipe.k, n))
    traps = pd.DataFrame(
        {
            "data": recipe.name,
            "zone": [f"Z{each:02d}" for each in zone],
            "use": use,
            "design": np.where(linear, "linear", "cup"),
            "refuge_m": refuge_m,
            "nights": 7 * weeks,
            "adults": counts,
        }
    )
    return DataSet(recipe.name, traps, recipe.linear_se)


class Chains:
    """The state of all chains and its moves; arrays have one row per chain."""

    def __init__(self, data: DataSet, random: np.random.Generator) -> None:
        traps = data.traps
        self.random = random
        self.counts = traps["adults"].to_numpy(dtype=float)
        self.log_weeks = np.log(traps["nights"].to_numpy(dtype=float) / 7)
        self.names, self.zone = np.unique(traps["zone"].to_numpy(dtype=str), return_inverse=True)
        self.member = (self.zone[:, None] == np.arange(len(self.names))).astype(float)
        self.matrix, self.prior_sd = _matrix(traps, data.linear_se)
        self.designs = int(data.linear_se > 0)
        columns = self.matrix.shape[1]
        self.b = random.normal(0, 0.3, (CHAINS, columns))
        self.tau, self.phi = random.uniform(0.3, 1.2, (2, CHAINS))
        self.u = random.normal(0, 0.3, (CHAINS, len(self.names)))
        self.step = {"b": 0.2 * np.ones(columns), "u": 0.7 * np.ones(len(self.names))}
        self.step |= {name: np.array([0.4]) for name in ("tau", "scale", "phi", "shift")}
        self.accepted = {name: np.zeros(step.shape) for name, step in self.step.items()}
        self.tried = 0

    def sweep(self) -> None:
        """Move everything once."""
        self.tried += 1
        for column in range(self.matrix.shape[1]):
            self._move_coefficient(column)
        self._move_effects()
        self._move_shift()
        self._move_tau()
        self._move_scale()
        self._move_phi()

    def adapt(self) -> None:
        """Bring the share of accepted moves towards .4; only while burning in."""
        for name, step in self.step.items():
            share = self.accepted[name] / (self.tried * CHAINS)
            self.step[name] = step * np.exp(1.5 * (share - 0.4))
            self.accepted[name] = np.zeros(step.shape)
        self.tried = 0

    def _trap_terms(self, b: FloatArray, u: FloatArray, phi: FloatArray) -> FloatArray:
        """Return log likelihoods, (chains, traps), but for the terms in counts and k alone."""
        k = phi[:, None] ** -2.0
        log_mean = self.log_weeks + b @ self.matrix.T + u[:, self.zone]
        together = np.logaddexp(np.log(k), log_mean)
        return np.asarray(
            self.counts * log_mean - (self.counts + k) * together + k * np.log(k), dtype=float
        )

    def _full(self, b: FloatArray, u: FloatArray, phi: FloatArray) -> FloatArray:
        k = phi[:, None] ** -2.0
        own = gammaln(self.counts + k) - gammaln(k)
        return np.asarray((self._trap_terms(b, u, phi) + own).sum(axis=1), dtype=float)

    def _yes(self, log_ratio: FloatArray) -> BoolArray:
        return np.asarray(np.log(self.random.random(log_ratio.shape)) < log_ratio, dtype=bool)

    def _move_coefficient(self, column: int) -> None:
        new = self.b.copy()
        new[:, column] += self.step["b"][column] * self.random.standard_normal(CHAINS)
        gain = self._trap_terms(new, self.u, self.phi) - self._trap_terms(self.b, self.u, self.phi)
        prior = (self.b[:, column] ** 2 - new[:, column] ** 2) / (2 * self.prior_sd[column] ** 2)
        yes = self._yes(gain.sum(axis=1) + prior)
        self.b = np.where(yes[:, None], new, self.b)
        self.accepted["b"][column] += yes.sum()

    def _move_effects(self) -> None:
        new = self.u + self.step["u"] * self.random.standard_normal(self.u.shape)
        gain = self._trap_terms(self.b, new, self.phi) - self._trap_terms(self.b, self.u, self.phi)
        prior = (self.u**2 - new**2) / (2 * self.tau[:, None] ** 2)
        yes = self._yes(gain @ self.member + prior)
        self.u = np.where(yes, new, self.u)
        self.accepted["u"] += yes.sum(axis=0)

    def _move_shift(self) -> None:
        """Move the level up and all effects down: the likelihood stays what it is."""
        by = self.step["shift"] * self.random.standard_normal(CHAINS)
        level, u = self.b[:, 0] + by, self.u - by[:, None]
        prior = (self.b[:, 0] ** 2 - level**2) / (2 * self.prior_sd[0] ** 2)
        prior = prior + ((self.u**2 - u**2) / (2 * self.tau[:, None] ** 2)).sum(axis=1)
        yes = self._yes(prior)
        self.b[:, 0] = np.where(yes, level, self.b[:, 0])
        self.u = np.where(yes[:, None], u, self.u)
        self.accepted["shift"] += yes.sum()

    def _move_tau(self) -> None:
        """Move tau with the effects standing."""
        new = self.tau * np.exp(self.step["tau"] * self.random.standard_normal(CHAINS))
        squares = (self.u**2).sum(axis=1) / 2
        ratio = squares * (self.tau**-2.0 - new**-2.0) + (self.tau**2 - new**2) / 2
        ratio += (1 - self.u.shape[1]) * np.log(new / self.tau)
        yes = self._yes(np.where(new < SPREAD_TOP, ratio, -np.inf))
        self.tau = np.where(yes, new, self.tau)
        self.accepted["tau"] += yes.sum()

    def _move_scale(self) -> None:
        """Move tau and stretch the effects with it."""
        fold = np.exp(self.step["scale"] * self.random.standard_normal(CHAINS))
        new, u = self.tau * fold, self.u * fold[:, None]
        gain = self._trap_terms(self.b, u, self.phi) - self._trap_terms(self.b, self.u, self.phi)
        ratio = gain.sum(axis=1) + (self.tau**2 - new**2) / 2 + np.log(fold)
        yes = self._yes(np.where(new < SPREAD_TOP, ratio, -np.inf))
        self.tau = np.where(yes, new, self.tau)
        self.u = np.where(yes[:, None], u, self.u)
        self.accepted["scale"] += yes.sum()

    def _move_phi(self) -> None:
        fold = np.exp(self.step["phi"] * self.random.standard_normal(CHAINS))
        new = self.phi * fold
        gain = self._full(self.b, self.u, new) - self._full(self.b, self.u, self.phi)
        ratio = gain + (self.phi**2 - new**2) / 2 + np.log(fold)
        inside = (new < SPREAD_TOP) & (new > 1e-3)
        yes = self._yes(np.where(inside, ratio, -np.inf))
        self.phi = np.where(yes, new, self.phi)
        self.accepted["phi"] += yes.sum()

    def state(self) -> Mapping[str, FloatArray]:
        """Return every quantity that is kept, one number per chain."""
        places = self.b.shape[1] - self.designs
        log_rate = self.b[:, :places] @ self.matrix[:, :places].T + self.u[:, self.zone]
        size = self.member.sum(axis=0)
        rates = np.exp(log_rate) @ self.member / size
        k = self.phi[:, None] ** -2.0
        expected = np.exp(self.log_weeks + self.b @ self.matrix.T + self.u[:, self.zone])
        over = gammaincc(k + self.counts, (k + expected) * LIMIT / np.exp(log_rate))
        stretch = gammaincc(k, k * LIMIT / np.exp(log_rate))
        out = {"tau": self.tau, "k": k[:, 0]}
        for number, name in enumerate(self.names):
            out[f"rate {name}"] = rates[:, number]
            out[f"traps_over {name}"] = (over @ self.member / size)[:, number]
            out[f"stretch_over {name}"] = (stretch @ self.member / size)[:, number]
        return out


def _matrix(traps: pd.DataFrame, linear_se: float) -> tuple[FloatArray, FloatArray]:
    doublings = np.log2(1 + traps["refuge_m"].to_numpy(dtype=float))
    columns: list[FloatArray] = [np.ones(len(traps))]
    prior_sd = [3.0]
    uses = sorted(set(traps["use"]))
    if len(uses) > 1:
        columns += [np.asarray(traps["use"] == use, dtype=float) for use in uses]
        prior_sd += [1.0] * len(uses)
    columns.append(doublings - doublings.mean())
    prior_sd.append(0.5)
    if linear_se > 0:
        columns.append(np.asarray(traps["design"] == "linear", dtype=float))
        prior_sd.append(linear_se)
    return np.column_stack(columns), np.array(prior_sd)


def sampled(data: DataSet, iterations: int) -> dict[str, FloatArray]:
    """Run the chains; return kept draws of every quantity, shape (draws, chains)."""
    chains = Chains(data, np.random.default_rng([SEED, iterations]))
    burn_in = iterations // 3
    kept: list[Mapping[str, FloatArray]] = []
    for number in range(iterations):
        chains.sweep()
        if number < burn_in and number % 100 == 99:
            chains.adapt()
        if number >= burn_in and number % THIN == 0:
            kept.append(chains.state())
    return {name: np.array([each[name] for each in kept]) for name in kept[0]}


SUMMARIES: Mapping[str, Callable[[FloatArray], float]] = {
    "mean": lambda draws: float(draws.mean()),
    "sd": lambda draws: float(draws.std()),
    "q025": lambda draws: float(np.quantile(draws, 0.025)),
    "q10": lambda draws: float(np.quantile(draws, 0.1)),
    "q50": lambda draws: float(np.quantile(draws, 0.5)),
    "q90": lambda draws: float(np.quantile(draws, 0.9)),
    "q975": lambda draws: float(np.quantile(draws, 0.975)),
    "p_above": lambda draws: float((draws > LIMIT).mean()),
}


def summary(data: str, draws: Mapping[str, FloatArray]) -> pd.DataFrame:
    """Return one row per quantity, with R-hat and the Monte Carlo error of the mean."""
    rows = []
    for name, values in draws.items():
        row: dict[str, object] = {"data": data, "quantity": name}
        row |= {key: f"{of(values):.6g}" for key, of in SUMMARIES.items()}
        means = values.mean(axis=0)
        within = values.var(axis=0, ddof=1).mean()
        rhat = np.sqrt(1 + means.var(ddof=1) / within) if within > 0 else 1.0
        row |= {"mc_error": f"{means.std(ddof=1) / np.sqrt(CHAINS):.2g}", "r_hat": f"{rhat:.4f}"}
        rows.append(row)
    return pd.DataFrame(rows)


def main(arguments: list[str]) -> None:
    """Sample every data set, print, and write if so wished."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--iterations", type=int, default=20_000)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args(arguments)
    sites = data_sets()
    tables = []
    for site in sites:
        tables.append(summary(site.name, sampled(site, options.iterations)))
        print(tables[-1].to_string(index=False), flush=True)
    if options.write:
        found = pd.concat(tables)
        found.to_csv(FOLDER / "zone_model_mcmc.csv", index=False, lineterminator="\n")
        traps = pd.concat([site.traps for site in sites])
        traps.to_csv(FOLDER / "zone_model_mcmc_traps.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    main(sys.argv[1:])
