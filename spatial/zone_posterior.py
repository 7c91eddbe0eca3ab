"""The posterior of the zone model: zones summed out exactly, the few common numbers sampled.

Given the coefficients b, the spread of zones tau and the spread of traps phi = 1 / sqrt(k), zones
are independent and each has one unknown: its effect u. So the integral over u is done on a grid
that follows each zone; what is left has few dimensions. There, every cell of a grid over (tau, phi)
gets a normal approximation of b, draws are taken from the whole, and weights put right what the
approximation got wrong (importance sampling). Draws are quasi-random: the same data, the same draws.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, ndtri

from spatial.arrays import FloatArray, IntArray
from spatial.zone_terms import Terms

SPREAD_SD = 1.0
"""Scale of the half-normal priors of tau and phi, which are on the same footing: the sd of the log
rate between zones, and the relative sd of the rate between traps of a zone. Zones then differ up
to sevenfold either way at one tau = 2; k = .25 at phi = 2. Half-normal rather than inverse gamma
on the variance after Gelman (2006), Bayesian Analysis 1, 515-533."""

SPREAD_TOP = 4.0
"""Larger spreads are ruled out: four prior standard deviations."""

PHI_LEAST = 1e-3
"""k = 1e6: no longer to be told from Poisson."""
TAU_LEAST = 1e-4

CELLS = 9
"""Cells of the grid over tau and over phi."""
ZOOM_CELLS = 7
KEPT = 9.0
"""Cells this much less likely than the best one, in logarithms, are left out."""
STAGES = 8

HYPER_DRAWS = 1000
PER_DRAW = 4
"""Zone effects drawn for every draw of the common numbers."""

INFLATED = 1.15
"""Draws of b are this much wider than its normal approximation, so that no tail is missed."""

COARSE = np.arange(-8.0, 8.5, 1.0)
FINE_PER_COARSE = 4
CHUNK = 2_000_000
"""Numbers held at a time."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """Weighted draws; `HYPER_DRAWS` = s of the common numbers, `PER_DRAW` = m effects each.

    Parameters
    ----------
    coefficients
        Shape (s, p).
    tau, phi
        Shape (s,).
    effects
        Zone effects u on the log scale, shape (s, g, m).
    weights
        Of the s draws, sum 1.
    """

    coefficients: FloatArray
    tau: FloatArray
    phi: FloatArray
    effects: FloatArray
    weights: FloatArray

    @property
    def effective_draws(self) -> float:
        """How many equally likely draws the weighted ones are worth (Kong 1992)."""
        return float(1 / np.sum(self.weights**2))


def posterior(terms: Terms) -> Posterior:
    """Return draws from the posterior of the zone model.

    Examples
    --------
    Three zones of one trap; the middle effect of the zone that caught most is the largest:

    >>> from spatial.placement_effect import Places
    >>> from spatial.zone_terms import terms_of
    >>> zone, turf = np.array(["A", "B", "C"], dtype=object), np.full(3, "lawn", dtype=object)
    >>> caught, nights = np.array([2.0, 30, 3]), np.full(3, 70.0)
    >>> terms = terms_of(caught, nights, Places(np.full(3, np.nan), turf, zone, turf), 400, {})
    >>> drawn = posterior(terms)
    >>> int(np.argmax(np.median(drawn.effects, axis=(0, 2))))
    1
    >>> drawn.effective_draws > 500
    True
    """
    return _drawn(terms, _explored(terms))


@dataclass(frozen=True, slots=True)
class _Cell:
    """The fit of b at one (tau, phi): mode, Cholesky factor of its covariance, height."""

    mode: FloatArray
    factor: FloatArray
    height: float
    effects: FloatArray


@dataclass(frozen=True, slots=True)
class _Grid:
    """Cells of equal size over a box of (tau, phi); `edges` has shapes (CELLS + 1,)."""

    tau_edges: FloatArray
    phi_edges: FloatArray
    cells: tuple[_Cell, ...]

    @property
    def heights(self) -> FloatArray:
        """Log density at the middle of every cell, shape (tau, phi)."""
        heights = np.array([cell.height for cell in self.cells])
        return heights.reshape(len(self.tau_edges) - 1, len(self.phi_edges) - 1)


def _explored(terms: Terms) -> _Grid:
    """Zoom in on the box of (tau, phi) that holds the posterior, and return its cells."""
    box = (TAU_LEAST, SPREAD_TOP, PHI_LEAST, SPREAD_TOP)
    start = _Cell(_first_guess(terms), np.eye(0), 0.0, np.zeros((1, len(terms.names))))
    for _ in range(STAGES):
        grid = _gridded(terms, box, ZOOM_CELLS, start)
        smaller = _kept(grid)
        start = max(grid.cells, key=lambda cell: cell.height)
        shrunk = (smaller[1] - smaller[0]) * (smaller[3] - smaller[2])
        before = (box[1] - box[0]) * (box[3] - box[2])
        box = smaller
        if shrunk > 0.7 * before:
            break
    return _gridded(terms, box, CELLS, start)


def _first_guess(terms: Terms) -> FloatArray:
    """Return b with the level of the crude rate, half a beetle added."""
    guess = np.zeros(terms.columns.shape[1])
    guess[0] = math.log((terms.counts.sum() + 0.5) / terms.weeks.sum())
    return guess


def _gridded(
    terms: Terms, box: tuple[float, float, float, float], cells: int, start: _Cell
) -> _Grid:
    tau_edges = np.linspace(box[0], box[1], cells + 1)
    phi_edges = np.linspace(box[2], box[3], cells + 1)
    tau, phi = (edges[:-1] + np.diff(edges) / 2 for edges in (tau_edges, phi_edges))
    found: list[_Cell] = []
    for row in range(cells):
        near = found[-cells] if found else start
        for column in range(cells):
            near = _fitted(terms, float(tau[row]), float(phi[column]), near)
            found.append(near)
    return _Grid(tau_edges, phi_edges, tuple(found))


def _kept(grid: _Grid) -> tuple[float, float, float, float]:
    """Return the box of the likely cells and one cell around them, inside the present box."""
    likely = grid.heights > grid.heights.max() - KEPT
    ends: list[float] = []
    for axis, edges in ((1, grid.tau_edges), (0, grid.phi_edges)):
        there = np.flatnonzero(likely.any(axis=axis))
        ends += [edges[max(there[0] - 1, 0)], edges[min(there[-1] + 2, len(edges) - 1)]]
    return ends[0], ends[1], ends[2], ends[3]


def _fitted(terms: Terms, tau: float, phi: float, near: _Cell) -> _Cell:
    """Find the mode of b at one (tau, phi) by Newton steps, the zones summed out."""
    mode, effects = near.mode, near.effects
    spread = _Spread(np.array([tau]), np.array([phi]))
    best = -math.inf
    for _ in range(60):
        zones = _Zones.of(terms, mode[None], spread, effects)
        effects = zones.mode
        height = float(zones.log_density[0] + _log_prior(terms, mode[None])[0])
        gradient, curvature = _derivatives(terms, zones)
        gradient = gradient - mode / terms.prior_sd**2
        step = np.linalg.solve(curvature, gradient)
        settled = float(gradient @ step)
        if settled < 1e-4:
            break
        # Far from the mode a full step may overshoot: no coefficient moves by more than a
        # doubling or so, and a step that leads downhill is halved.
        if height < best - 1e-6:
            mode = (mode + previous) / 2
            continue
        best, previous = height, mode
        mode = mode + step * min(1.0, 1.5 / float(np.abs(step).max()))
    factor = np.linalg.cholesky(np.linalg.inv(curvature))
    hyper = float(spread.log_prior()[0])
    # The normal approximation's own integral over b.
    volume = float(np.log(np.diag(factor)).sum())
    return _Cell(mode, factor, height + hyper + volume, effects)
