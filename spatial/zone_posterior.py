"""The posterior of the zone model: zones summed out exactly, the few common numbers sampled.

Given the coefficients b, the spread of zones tau and the spread of traps phi = 1 / sqrt(k), zones
are independent and each has one unknown: its effect u. So u is integrated out at nodes that follow
each zone; what is left has few dimensions. There, a normal approximation of b at every point of a
grid over both spreads gives a density to draw from, and weights put right what the approximation
got wrong (importance sampling). The random numbers are always the same: same data, same draws.
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

SPREAD_TOP = 5.0
"""Largest tau and phi: anything beyond has a prior probability of 6e-7."""
SPREAD_LEAST = 1e-3
"""Smallest tau and phi: no spread of zones; k = 1e6, no longer to be told from Poisson."""

VALUES = (7, 11, 17)
"""Values of tau and of phi at which b is fitted first, and how many if that was too rough."""
ZOOM_VALUES = 5
KEPT = 9.0
"""Values this much less likely than the best ones, in logarithms, are left out."""
LOWEST = 20.0
STAGES = 8
SHRUNK = 0.6
"""Zooming ends when it leaves more than this share of the box."""
BETWEEN = 6
"""Steps from one value to the next at which the density is interpolated."""

HYPER_DRAWS = 500
PER_DRAW = 8
"""Zone effects drawn for every draw of the common numbers."""

ENOUGH = 250.0
"""Effective draws of `HYPER_DRAWS` below which the grid is made finer."""
INFLATED = 1.1
"""Draws of b are this much wider than its normal approximation, so that no tail is missed."""

SETTLED = 1e-4
"""The climb ends when a step promises less than this, in log density; weights do the rest."""
HALVINGS = 8
NEAR_ENOUGH = 0.05
"""The nodes of a zone need its mode only this well, in standard deviations."""
WIDEST_SCALE = 1.0
"""Nodes farther apart than this would step over the bend of a negative binomial likelihood: it has
a branch point at pi i, so trapezoids of width h are wrong by about exp(-2 pi pi / h)."""
LONGEST_STEP = 1.5
"""No number moves farther in one step, in logarithms."""

HALF_LOG_2PI = 0.5 * math.log(2 * math.pi)
SEED = 0

STEPS = 0.75 * np.arange(-9.0, 10.0)
STRETCH = 0.3
FINE_PER_STEP = 3


def _stretched(step: FloatArray) -> FloatArray:
    """Return where nodes lie, in sd from the mode: .75 sd apart there, to 12 sd in the tails."""
    return np.asarray(np.sinh(STRETCH * step) / STRETCH, dtype=float)


NODES = _stretched(STEPS)
NODE_WIDTHS = 0.75 * np.cosh(STRETCH * STEPS)
"""Trapezoids on a stretched scale: within 1e-4 of exact integrals in the tests."""

CHUNK = 200_000
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
    mean_fold
        Expectation of exp(u) in each draw of the common numbers, shape (s, g): steadier than the
        mean over a few drawn effects, because exp(u) has a long tail.
    weights
        Of the s draws, sum 1.
    """

    coefficients: FloatArray
    tau: FloatArray
    phi: FloatArray
    effects: FloatArray
    mean_fold: FloatArray
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
    >>> drawn.effective_draws > 250
    True
    """
    box, best = _explored(terms)
    for values in VALUES:
        drawn = _drawn(terms, _gridded(terms, box, values, best))
        if drawn.effective_draws >= ENOUGH:
            break
    return drawn


@dataclass(frozen=True, slots=True)
class Fit:
    """The fit of b at one (tau, phi): mode, Cholesky factor of its covariance, log density."""

    mode: FloatArray
    factor: FloatArray
    height: float
    effects: FloatArray


@dataclass(frozen=True, slots=True)
class _Grid:
    """Fits at the crossings of square roots of tau and of phi, both evenly spaced, row by row."""

    root_tau: FloatArray
    root_phi: FloatArray
    fits: tuple[Fit, ...]

    def of(self, name: str) -> FloatArray:
        """Return one field of all fits, shape (tau, phi, ..)."""
        values = np.array([getattr(fit, name) for fit in self.fits], dtype=float)
        return values.reshape(len(self.root_tau), len(self.root_phi), *values.shape[1:])

    @property
    def best(self) -> Fit:
        """The fit with the highest density."""
        return max(self.fits, key=lambda fit: fit.height)


Box = tuple[float, float, float, float]
"""Least and largest root of tau, least and largest root of phi."""


def _explored(terms: Terms) -> tuple[Box, Fit]:
    """Zoom in on the box of (tau, phi) that holds the posterior; return it and its best fit."""
    ends = (math.sqrt(SPREAD_LEAST), math.sqrt(SPREAD_TOP))
    box: Box = (*ends, *ends)
    best = Fit(_first_guess(terms), np.eye(0), 0.0, np.zeros((1, len(terms.names))))
    for _ in range(STAGES):
        grid = _gridded(terms, box, ZOOM_VALUES, best)
        best, before = grid.best, box
        box = _kept(grid)
        if _size(box) > SHRUNK * _size(before):
            break
    return box, best


def _size(box: Box) -> float:
    return (box[1] - box[0]) * (box[3] - box[2])


def _first_guess(terms: Terms) -> FloatArray:
    """Return b with the level of the crude rate, half a beetle added."""
    guess = np.zeros(terms.columns.shape[1])
    guess[0] = math.log((terms.counts.sum() + 0.5) / terms.weeks.sum())
    return guess


def _gridded(terms: Terms, box: Box, values: int, start: Fit) -> _Grid:
    root_tau, root_phi = np.linspace(box[0], box[1], values), np.linspace(box[2], box[3], values)
    found: list[Fit] = []
    # From the largest spreads down: there the fit is easiest from afar.
    for row in reversed(range(values)):
        near = found[-values] if found else start
        for column in reversed(range(values)):
            spread = Spread.of_roots(root_tau[[row]], root_phi[[column]])
            near = fitted(terms, spread, near)
            found.append(near)
    return _Grid(root_tau, root_phi, tuple(reversed(found)))


def _kept(grid: _Grid) -> Box:
    """Return the box that the likely fits lie in, and the values around them."""
    heights = grid.of("height")
    likely = heights > heights.max() - KEPT
    ends: list[float] = []
    for axis, values in ((1, grid.root_tau), (0, grid.root_phi)):
        there = np.flatnonzero(likely.any(axis=axis))
        ends += [values[max(there[0] - 1, 0)], values[min(there[-1] + 1, len(values) - 1)]]
    return ends[0], ends[1], ends[2], ends[3]


def fitted(terms: Terms, spread: Spread, near: Fit) -> Fit:
    """Find the mode of b at one tau and phi by Newton steps, the zones summed out.

    The log density is concave in b and u together, so it is concave in b with u summed out
    (Prekopa 1973): Newton steps, halved where they overshoot, cannot miss the mode.
    """
    mode, zones = near.mode, Zones.of(terms, near.mode[None], spread, near.effects)
    height = _height(terms, mode, zones)
    for _ in range(100):
        gradient, curvature = zones.derivatives(terms)
        step = np.linalg.solve(curvature, gradient - mode / terms.prior_sd**2)
        if step @ curvature @ step < SETTLED:
            break
        step = step * min(1.0, LONGEST_STEP / float(np.abs(step).max()))
        for halving in range(HALVINGS):
            moved = Zones.of(terms, (mode + step / 2**halving)[None], spread, zones.mode)
            higher = _height(terms, mode + step / 2**halving, moved)
            if higher >= height - SETTLED:
                break
        else:
            break
        mode, zones, height = mode + step / 2**halving, moved, higher
    factor = np.linalg.cholesky(np.linalg.inv(curvature))
    # The normal approximation's own integral over b.
    volume = float(np.log(np.diag(factor)).sum())
    return Fit(mode, factor, height + float(spread.log_prior()[0]) + volume, zones.mode)


def _height(terms: Terms, mode: FloatArray, zones: Zones) -> float:
    return float(zones.log_density[0] + _log_prior(terms, mode[None])[0])


def _log_prior(terms: Terms, coefficients: FloatArray) -> FloatArray:
    """Return the log prior density of b, shape (s,), but for a constant."""
    out: FloatArray = -0.5 * np.sum((coefficients / terms.prior_sd) ** 2, axis=1)
    return out


@dataclass(frozen=True, slots=True)
class Spread:
    """Values of tau and phi, shape (s,).

    The grid runs along their square roots: a density that is steep near zero, as that of phi after
    large catches, and one that does not end there, as that of tau on an even site, both fit it.
    """

    tau: FloatArray
    phi: FloatArray

    @classmethod
    def of_roots(cls, root_tau: FloatArray, root_phi: FloatArray) -> Spread:
        """Return the values of which the roots are given."""
        return cls(root_tau**2, root_phi**2)

    @property
    def k(self) -> FloatArray:
        """Negative binomial k, shape (s,)."""
        return np.asarray(self.phi**-2.0, dtype=float)

    def log_prior(self) -> FloatArray:
        """Return the log prior density along the roots, shape (s,), but for a constant."""
        half_normal = -0.5 * (self.tau**2 + self.phi**2) / SPREAD_SD**2
        return np.asarray(half_normal + 0.5 * np.log(self.tau * self.phi), dtype=float)

    def some(self, chosen: slice) -> Spread:
        """Return a part of the values."""
        return Spread(self.tau[chosen], self.phi[chosen])


@dataclass(frozen=True, slots=True)
class Zones:
    """The effect of every zone, given the common numbers: its density at nodes around its mode.

    Parameters
    ----------
    log_ratio
        Log of expected count / k but for the effects, shape (s, n).
    k
        Shape (s,).
    precision
        Prior precision of the effects, shape (s,).
    mode, scale
        Mode of each effect's density and the sd that the curvature there amounts to, (s, g).
    log_nodes
        Log density times width at the nodes ``mode + scale * NODES``, shape (s, nodes, g).
    log_density
        Log likelihood with all effects summed out, shape (s,).
    """

    log_ratio: FloatArray
    k: FloatArray
    precision: FloatArray
    mode: FloatArray
    scale: FloatArray
    log_nodes: FloatArray
    log_density: FloatArray

    @classmethod
    def of(cls, terms: Terms, b: FloatArray, spread: Spread, near: FloatArray) -> Zones:
        """Place the nodes and sum; `b` has shape (s, p), `near` (s, g) or (1, g)."""
        k, tau = spread.k[:, None], spread.tau[:, None, None]
        log_ratio = np.log(terms.weeks) + b @ terms.columns.T - np.log(k)
        mode, scale = _modes(terms, log_ratio, spread, near)
        u = mode[:, None, :] + NODES[:, None] * scale[:, None, :]
        # The log of 1 + ratio is not log1p, which takes four times as long; what is lost is of the
        # order of 1e-16 * (count + k).
        ratio = np.exp(log_ratio)[:, None, :] * np.exp(u)[..., terms.zone]
        told = u * terms.per_zone(terms.counts)
        told -= terms.per_zone((terms.counts + k)[:, None, :] * np.log(1 + ratio))
        width = np.log(NODE_WIDTHS)[:, None] + np.log(scale)[:, None, :]
        log_nodes = told - 0.5 * (u / tau) ** 2 - np.log(tau) - HALF_LOG_2PI + width
        fixed = log_ratio @ terms.counts + _log_constant(terms, spread.k)
        total = _log_sum(log_nodes).sum(axis=-1) + fixed
        precision = np.asarray(spread.tau**-2.0, dtype=float)
        return cls(log_ratio, spread.k, precision, mode, scale, log_nodes, total)

    def derivatives(self, terms: Terms) -> tuple[FloatArray, FloatArray]:
        """Return gradient and negative curvature in b, prior's curvature included (s = 1).

        The gradient is exact: the expectation over u of the one with u known. The curvature is
        that of Laplace's approximation in u, summed so that it cannot lose its sign: within zones
        that of a regression, between them what the precision of u leaves.
        """
        weight = np.exp(self.log_nodes[0] - _log_sum(self.log_nodes)[0])
        u = self.mode[0] + NODES[:, None] * self.scale[0]
        ratio, at_most = np.exp(self.log_ratio[0]), terms.counts + self.k
        share = _share(ratio * np.exp(u)[:, terms.zone])
        expected = np.sum(weight[:, terms.zone] * share, axis=0) * at_most
        gradient = terms.columns.T @ (terms.counts - expected)
        at_mode = _share(ratio * np.exp(self.mode[0])[terms.zone])
        bend = at_most * at_mode * (1 - at_mode)
        in_zone = terms.per_zone(bend)
        middle = terms.per_zone(bend * terms.columns.T) / in_zone
        apart = terms.columns.T - middle[:, terms.zone]
        between = in_zone * self.precision[0] / (in_zone + self.precision[0])
        curvature = (bend * apart) @ apart.T + (between * middle) @ middle.T
        return gradient, curvature + np.diag(terms.prior_sd**-2.0)

    def mean_fold(self) -> FloatArray:
        """Return the expectation of exp(u), shape (s, g)."""
        u = self.mode[:, None, :] + NODES[:, None] * self.scale[:, None, :]
        return np.asarray(np.exp(_log_sum(self.log_nodes + u) - _log_sum(self.log_nodes)), float)

    def draw(self, uniform: FloatArray) -> FloatArray:
        """Return effects, shape (s, g, m), from uniform numbers of that shape."""
        log_fine = np.swapaxes(self.log_nodes, 1, 2) @ _FINER.T
        density = np.exp(log_fine - log_fine.max(axis=-1, keepdims=True))
        cumulated = np.cumsum(density, axis=-1)
        out = np.empty(uniform.shape)
        for place in range(uniform.shape[-1]):
            wanted = uniform[..., place] * cumulated[..., -1]
            node = np.sum(cumulated < wanted[..., None], axis=-1)
            mass = np.take_along_axis(density, node[..., None], axis=-1)[..., 0]
            upper = np.take_along_axis(cumulated, node[..., None], axis=-1)[..., 0]
            inside = 0.5 - (upper - wanted) / mass
            out[..., place] = _stretched(STEPS[0] + 0.75 * (node + inside) / FINE_PER_STEP)
        return np.asarray(self.mode[..., None] + self.scale[..., None] * out, dtype=float)


def _modes(
    terms: Terms, log_ratio: FloatArray, spread: Spread, near: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return mode and scale of every effect by Newton steps, shape (s, g) each."""
    u = np.broadcast_to(near, (len(log_ratio), len(terms.names)))
    precision, ratio = spread.tau[:, None] ** -2.0, np.exp(log_ratio)
    at_most = terms.counts + spread.k[:, None]
    total = terms.per_zone(terms.counts)
    for _ in range(100):
        share = _share(ratio * np.exp(u)[:, terms.zone])
        weighted = at_most * share
        gradient = total - terms.per_zone(weighted) - precision * u
        scale = (terms.per_zone(weighted * (1 - share)) + precision) ** -0.5
        # A longer step could jump over the bend of the likelihood and back for ever.
        step = np.clip(gradient * scale**2, -LONGEST_STEP, LONGEST_STEP)
        u = u + step
        if np.all(np.abs(step) < NEAR_ENOUGH * scale):
            break
    return u, np.minimum(scale, WIDEST_SCALE)


def _share(ratio: FloatArray) -> FloatArray:
    """Return mean / (k + mean) from mean / k."""
    return np.asarray(ratio / (1 + ratio), dtype=float)


def _log_constant(terms: Terms, k: FloatArray) -> FloatArray:
    """Return the part of the log likelihood that counts and k settle, shape (s,)."""
    values, times = np.unique(terms.counts, return_counts=True)
    chosen = gammaln(values + k[:, None]) - gammaln(k)[:, None] - gammaln(values + 1)
    return np.asarray(chosen @ times, dtype=float)


def _log_sum(log_nodes: FloatArray) -> FloatArray:
    """Return the log of sums over nodes, the last axis but one."""
    top = log_nodes.max(axis=-2, keepdims=True)
    return np.asarray(top[..., 0, :] + np.log(np.exp(log_nodes - top).sum(axis=-2)), dtype=float)


def _between(values: int, steps: int, points: int) -> FloatArray:
    """Return the matrix that interpolates evenly spaced values at `steps` places per gap.

    Polynomials through the nearest `points` values: 2 for straight lines, 4 for cubics.

    Examples
    --------
    >>> _between(3, 2, 2) @ [0.0, 10.0, 40.0]
    array([ 0.,  5., 10., 25., 40.])
    >>> (_between(4, 2, 4) @ [0.0, 1.0, 8.0, 27.0])[[1, 3]]
    array([0.125, 3.375])
    """
    fine = np.arange(steps * (values - 1) + 1) / steps
    out = np.zeros((len(fine), values))
    for row, at in enumerate(fine):
        first = int(np.clip(np.floor(at) - points // 2 + 1, 0, values - points))
        for node in range(first, first + points):
            others = [other for other in range(first, first + points) if other != node]
            out[row, node] = math.prod((at - other) / (node - other) for other in others)
    return out


_FINER = _between(len(STEPS), FINE_PER_STEP, 4)


def _drawn(terms: Terms, grid: _Grid) -> Posterior:
    """Draw from the grid of normal approximations; weigh by the density aimed at."""
    random = np.random.default_rng(SEED)
    uniform = _latin_hypercube(random, HYPER_DRAWS, terms.columns.shape[1] + 3)
    proposed = _proposed(grid, uniform)
    summed = _summed(terms, proposed, random)
    aimed = summed.height + _log_prior(terms, proposed.b) + proposed.spread.log_prior()
    weights = np.exp(aimed - proposed.log_density - np.max(aimed - proposed.log_density))
    return Posterior(
        coefficients=proposed.b,
        tau=proposed.spread.tau,
        phi=proposed.spread.phi,
        effects=summed.effects,
        mean_fold=summed.mean_fold,
        weights=weights / weights.sum(),
    )


@dataclass(frozen=True, slots=True)
class _Proposed:
    """Draws of the common numbers, the log density they were drawn with, and effects near by."""

    b: FloatArray
    spread: Spread
    log_density: FloatArray
    near: FloatArray


def _proposed(grid: _Grid, uniform: FloatArray) -> _Proposed:
    """Draw tau and phi from the interpolated density, and b from the normal density there."""
    cubic, straight = (_between(len(grid.root_tau), BETWEEN, points) for points in (4, 2))
    # Cubics swing beyond values that fall off steeply; so far down nobody needs to be right.
    height = np.maximum(grid.of("height") - grid.best.height, -LOWEST)
    chance = np.exp(cubic @ height @ cubic.T)
    # A place at the rim of the box stands for half a step only, one in a corner for a quarter.
    rim = np.ones(len(cubic))
    rim[[0, -1]] = 0.5
    chance *= np.outer(rim, rim)
    cumulated = np.cumsum(chance)
    drawn = np.searchsorted(cumulated / cumulated[-1], uniform[:, 0])
    place = np.divmod(np.minimum(drawn, chance.size - 1), len(cubic))
    values = [
        _around(axis, at, uniform[:, 1 + number])
        for number, (axis, at) in enumerate(zip((grid.root_tau, grid.root_phi), place, strict=True))
    ]
    mode = np.einsum("ai,ijp,bj->abp", cubic, grid.of("mode"), cubic)[place]
    factor = np.einsum("ai,ijpq,bj->abpq", straight, grid.of("factor"), straight)[place]
    normal = ndtri(uniform[:, 3:])
    b = mode + INFLATED * np.einsum("spq,sq->sp", factor, normal)
    log_density = np.log((chance / np.outer(rim, rim))[place]) - 0.5 * np.sum(normal**2, axis=1)
    log_density -= np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
    nearest = tuple((at + BETWEEN // 2) // BETWEEN for at in place)
    near = grid.of("effects")[..., 0, :][nearest]
    return _Proposed(b, Spread.of_roots(values[0], values[1]), log_density, near)


def _around(values: FloatArray, place: IntArray, uniform: FloatArray) -> FloatArray:
    """Return numbers within half a step of the interpolated place, inside the ends of `values`."""
    low = np.maximum(place - 0.5, 0.0)
    high = np.minimum(place + 0.5, (len(values) - 1) * BETWEEN)
    step = (values[-1] - values[0]) / ((len(values) - 1) * BETWEEN)
    return np.asarray(values[0] + step * (low + uniform * (high - low)), dtype=float)


@dataclass(frozen=True, slots=True)
class _Summed:
    """Log likelihoods with the zones summed out, and what is known of the effects then."""

    height: FloatArray
    effects: FloatArray
    mean_fold: FloatArray


def _summed(terms: Terms, proposed: _Proposed, random: np.random.Generator) -> _Summed:
    """Sum out the zones in every draw and draw their effects; in parts, for memory."""
    draws, zones = proposed.near.shape
    out = _Summed(np.empty(draws), np.empty((draws, zones, PER_DRAW)), np.empty((draws, zones)))
    held = len(STEPS) * max(len(terms.counts), FINE_PER_STEP * zones)
    size = max(1, CHUNK // held)
    for first in range(0, draws, size):
        part = slice(first, first + size)
        spread = proposed.spread.some(part)
        found = Zones.of(terms, proposed.b[part], spread, proposed.near[part])
        stratum = np.arange(PER_DRAW) + random.random((len(found.k), zones, PER_DRAW))
        out.height[part] = found.log_density
        out.effects[part] = found.draw(stratum / PER_DRAW)
        out.mean_fold[part] = found.mean_fold()
    return out


def _latin_hypercube(random: np.random.Generator, draws: int, dimensions: int) -> FloatArray:
    """Return uniform numbers, one in each of `draws` strata of each dimension."""
    strata = random.permuted(np.tile(np.arange(draws), (dimensions, 1)), axis=1).T
    return np.asarray((strata + random.random(strata.shape)) / draws, dtype=float)
