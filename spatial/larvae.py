"""Larval density from pooled soil cores: intervals, and the chance that it is over a limit.

Larvae per core are taken as negative binomial with mean ``density * area`` and k; then the sum
over M cores is negative binomial too, with k * M (exact for cores of one diameter; for mixed ones
an approximation). Everything follows in closed form from the share q = mean / (mean + k):

- the exact interval from the tails of the count, as Garwood (1936) has it for Poisson counts;
- the chance over a limit from Jeffreys' prior of q, ``q**(-1/2) / (1 - q)``, under which q given
  the larvae is beta with ``larvae + 1/2`` and ``k * M``.

As k grows without end these become Garwood's interval, and gamma with ``larvae + 1/2``.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.special import betainc, betaincinv, digamma, gammaincc, gammaincinv

from spatial.arrays import FloatArray
from spatial.cores import CM2_PER_M2, core_area_cm2
from spatial.dispersion import K_RANGE, MIN_COUNTS, usable_k

CORE_WARNINGS = ("few_cores", "one_larva")
"""`few_cores`: fewer than the settings ask for. `one_larva`: a single larva in these cores reads as
a density at or over the limit."""

TAIL = 0.025
"""Of each side of a 95 % interval."""


@dataclass(frozen=True, slots=True)
class LarvalSample:
    """The cores of one zone that count, pooled.

    Parameters
    ----------
    cores, larvae
        Numbers of both; pupae are not counted.
    area_m2
        Area of all cores together.
    first, last
        First and last day on which they were cut.
    """

    cores: int
    larvae: int
    area_m2: float
    first: date
    last: date


@dataclass(frozen=True, slots=True)
class ZoneCores:
    """The cores of one zone.

    Parameters
    ----------
    counted
        Those that count, pooled, or None.
    early, old
        Numbers of recent cores that were cut before larvae are due, and of those cut since then
        but too long ago; neither counts.
    """

    counted: LarvalSample | None = None
    early: int = 0
    old: int = 0


@dataclass(frozen=True, slots=True)
class LarvalEvidence:
    """What the pooled cores of a zone say; densities in larvae per m2.

    Parameters
    ----------
    sample
        The cores.
    density
        Larvae over area.
    low, high
        95 % interval, negative binomial; the one to go by.
    poisson_low, poisson_high
        95 % interval if larvae lay about independently of each other; too narrow for most turf.
    k
        Of larvae per core.
    per_larva
        The density that a single larva in these cores reads as.
    p_above
        Chance that the density is over the limit; NaN without one.
    warnings
        Some of `CORE_WARNINGS`.
    """

    sample: LarvalSample
    density: float
    low: float
    high: float
    poisson_low: float
    poisson_high: float
    k: float
    per_larva: float
    p_above: float
    warnings: tuple[str, ...]


def larval_evidence(
    sample: LarvalSample, k: float, limit_per_m2: float = math.nan, min_cores: int = 10
) -> LarvalEvidence:
    """Return what pooled cores say of the density, and of a limit.

    Parameters
    ----------
    sample
        The cores.
    k
        Of larvae per core, from `larval_k` via `spatial.dispersion.usable_k`.
    limit_per_m2
        Limit of larvae per m2; NaN: none.
    min_cores
        Fewer cores carry a warning.

    Examples
    --------
    One larva in one cup-cutter core reads 109 per m2 (10.15 per square foot), and may as well be 3
    or 8,576:

    >>> one = LarvalSample(1, 1, 0.009153, date(2026, 6, 20), date(2026, 6, 20))
    >>> said = larval_evidence(one, k=1.0, limit_per_m2=100)
    >>> [round(number) for number in (said.density, said.low, said.high)], said.warnings
    ([109, 3, 8576], ('few_cores', 'one_larva'))
    """
    area, size = sample.area_m2, k * sample.cores
    low, high = (end / area for end in mean_interval(sample.larvae, size))
    poisson = [end / area for end in mean_interval(sample.larvae, math.inf)]
    warnings = {
        "few_cores": sample.cores < min_cores,
        "one_larva": 1 / area >= limit_per_m2,
    }
    return LarvalEvidence(
        sample=sample,
        density=sample.larvae / area,
        low=low,
        high=high,
        poisson_low=poisson[0],
        poisson_high=poisson[1],
        k=k,
        per_larva=1 / area,
        p_above=chance_over(sample.larvae, size, limit_per_m2 * area),
        warnings=tuple(code for code, there in warnings.items() if there),
    )


def mean_interval(count: int, size: float, tail: float = TAIL) -> tuple[float, float]:
    """Return the exact interval of the mean of one count.

    Parameters
    ----------
    count
        What was counted.
    size
        k of the count; infinite for Poisson.
    tail
        Chance of a count at least as far out, at either end.

    References
    ----------
    Garwood, F. (1936). Fiducial limits for the Poisson distribution. Biometrika 28, 437-442 (the
    Poisson case; cited from memory).

    Examples
    --------
    Nothing found is no proof of nothing there:

    >>> [round(end, 3) for end in mean_interval(0, math.inf)]
    [0.0, 3.689]
    >>> [round(end, 3) for end in mean_interval(0, 10.0)]
    [0.0, 4.461]
    """
    if math.isinf(size):
        low = float(gammaincinv(count, tail)) if count else 0.0
        return low, float(gammaincinv(count + 1, 1 - tail))
    low_share = float(betaincinv(count, size, tail)) if count else 0.0
    high_share = float(betaincinv(count + 1, size, 1 - tail))
    return _mean_of(low_share, size), _mean_of(high_share, size)


def _mean_of(share: float, size: float) -> float:
    return size * share / (1 - share) if share < 1 else math.inf


def chance_over(count: int, size: float, mean: float) -> float:
    """Return the chance, given one count, that its mean is over a value; NaN for no value.

    Parameters
    ----------
    count
        What was counted.
    size
        k of the count; infinite for Poisson.
    mean
        The value.

    References
    ----------
    Jeffreys, H. (1946). An invariant form for the prior probability in estimation problems.
    Proceedings of the Royal Society A 186, 453-461 (cited from memory).

    Examples
    --------
    >>> round(chance_over(10, math.inf, 5.0), 3), round(chance_over(0, 10.0, 5.0), 4)
    (0.979, 0.0049)
    """
    if math.isnan(mean):
        return math.nan
    if math.isinf(size):
        return float(gammaincc(count + 0.5, mean))
    return float(betainc(size, count + 0.5, size / (size + mean)))


def zone_cores(
    cores: pd.DataFrame, day: date, due_from: date | None, keep_days: int
) -> dict[str, ZoneCores]:
    """Pool the cores of every zone that has any that matter on a day.

    Cores count that were cut on the day or up to `keep_days` before it, and not before larvae are
    due; all of a zone are pooled.

    Parameters
    ----------
    cores
        As in `data.site.Site.cores`.
    day
        Cores cut later are not known yet.
    due_from
        First day on which larvae are due; None: never, and no core counts.
    keep_days
        Age in days that a core may have.

    Examples
    --------
    >>> days = pd.to_datetime(["2026-06-20", "2026-05-20", "2026-06-19"])
    >>> table = pd.DataFrame({"zone_id": ["A", "A", "A"], "sampled_on": days, "cores": [10, 5, 10],
    ...                       "diameter_cm": 10.0, "larvae": [4, 9, 2]})
    >>> found = zone_cores(table, date(2026, 6, 22), date(2026, 6, 1), 28)["A"]
    >>> found.counted.cores, found.counted.larvae, round(found.counted.area_m2, 4), found.old
    (20, 6, 0.1571, 0)
    """
    since = pd.Timestamp(day - timedelta(days=keep_days))
    due = pd.Timestamp.max if due_from is None else pd.Timestamp(due_from)
    cut = cores[cores["sampled_on"] <= pd.Timestamp(day)]
    grouped = {str(zone): rows for zone, rows in cut.groupby("zone_id")}
    found = {
        zone: ZoneCores(
            counted=_pooled(rows[rows["sampled_on"] >= max(since, due)]),
            early=_number(rows[rows["sampled_on"].between(since, due, inclusive="left")]),
            old=_number(rows[rows["sampled_on"].between(due, since, inclusive="left")]),
        )
        for zone, rows in grouped.items()
    }
    return {zone: each for zone, each in found.items() if each != ZoneCores()}


def _number(rows: pd.DataFrame) -> int:
    return int(rows["cores"].sum())


def _pooled(rows: pd.DataFrame) -> LarvalSample | None:
    if rows.empty:
        return None
    return LarvalSample(
        cores=_number(rows),
        larvae=int(rows["larvae"].sum()),
        area_m2=math.fsum(_area_m2(row) for row in rows.to_dict("records")),
        first=rows["sampled_on"].min().date(),
        last=rows["sampled_on"].max().date(),
    )


def _area_m2(row: Mapping[Hashable, Any]) -> float:
    return float(row["cores"]) * core_area_cm2(float(row["diameter_cm"])) / CM2_PER_M2


def larval_k(cores: pd.DataFrame) -> float:
    """Return the maximum-likelihood k of larvae per core around the density of zone and day.

    Parameters
    ----------
    cores
        `zone_id`, `sampled_on`, `cores`, `diameter_cm`, `larvae`; a row with several cores is
        their sum. Only zones and days with at least two rows say something.

    Returns
    -------
    float
        k; ``inf`` when larvae vary no more than Poisson; NaN with fewer than `MIN_COUNTS` rows or
        without larvae.

    Notes
    -----
    Given k, the best density of a zone and day is larvae over area whatever k is, so that k alone
    is left to be found (exact for cores of one diameter).

    References
    ----------
    Bliss, C. I. & Fisher, R. A. (1953). Fitting the negative binomial distribution to biological
    data. Biometrics 9, 176-200.

    Examples
    --------
    Red mites on 150 leaves, from the paper (k = 1.0246 there), as if each leaf were a core:

    >>> mites = np.repeat(range(9), [70, 38, 17, 10, 9, 3, 2, 1, 0])
    >>> table = pd.DataFrame({"zone_id": "A", "sampled_on": pd.Timestamp("2026-06-20"), "cores": 1,
    ...                       "diameter_cm": 10.0, "larvae": mites})
    >>> round(larval_k(table), 4)
    1.0246
    """
    rows = cores.assign(area=core_area_cm2(1.0) * cores["cores"] * cores["diameter_cm"] ** 2)
    groups = rows.groupby(["zone_id", "sampled_on"])
    sums = groups[["larvae", "area"]].transform("sum")
    told = (groups["cores"].transform("size") > 1) & (sums["larvae"] > 0)
    y = rows.loc[told, "larvae"].to_numpy(dtype=float)
    mean = (rows["area"] * sums["larvae"] / sums["area"])[told].to_numpy(dtype=float)
    units = rows.loc[told, "cores"].to_numpy(dtype=float)
    if len(y) < MIN_COUNTS:
        return math.nan
    low, high = K_RANGE
    if _score(high, y, mean, units) >= 0:
        return math.inf
    if _score(low, y, mean, units) <= 0:
        return low
    return float(brentq(_score, low, high, args=(y, mean, units), xtol=1e-10))


def _score(k: float, y: FloatArray, mean: FloatArray, units: FloatArray) -> float:
    """Return the derivative of the log likelihood in k; each count is a sum over `units` cores."""
    size = k * units
    terms = digamma(y + size) - digamma(size) - np.log1p(mean / size) + (mean - y) / (mean + size)
    return float((units * terms).sum())


def working_k(cores: pd.DataFrame) -> float:
    """Return the k to work with: that of the site's cores, or the assumed one.

    Examples
    --------
    >>> working_k(pd.DataFrame({"zone_id": [], "sampled_on": [], "cores": [], "diameter_cm": [],
    ...                         "larvae": []}))
    1.0
    """
    return usable_k(larval_k(cores))
