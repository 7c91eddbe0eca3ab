"""What the zone model is told of every trap: counts, effort, zone and columns with their priors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from spatial.arrays import BoolArray, FloatArray, IntArray, NameArray
from spatial.exposure import NIGHTS_PER_WEEK
from spatial.placement_effect import Places

LEVEL_SD = 3.0
"""Prior sd of the log of the site's rate (adults per trap-week) around 0: .003 to 360 a trap-week.
Published seasons run from under 1 to over 1,000 a trap-week (common practice, no source)."""

USE_SD = 1.0
"""Prior sd of a use's log rate: uses differ by up to sevenfold either way. It keeps the rate of a
use without a catch away from zero (common practice, no source)."""

REFUGE_SD = 0.5
"""Prior sd of the log of what a doubling of 1 m + walk does: a factor of .37 to 2.7 at 95 %."""


@dataclass(frozen=True, slots=True)
class Terms:
    """The traps of a fit, sorted by zone and then by content, so that their order is no input.

    Parameters
    ----------
    names
        Names of the zones with effort, sorted, shape (g,).
    counts, weeks
        Adults, and reference-design trap-weeks above zero, shape (n,).
    zone
        Number of the zone, ascending, shape (n,).
    starts
        First trap of every zone, shape (g,).
    columns
        Level, uses, refuge and then uncertain design ratios, shape (n, p).
    prior_sd
        Prior standard deviation of every coefficient around zero, shape (p,).
    labels
        What every column is, as ``("use", "green")``.
    """

    names: NameArray
    counts: FloatArray
    weeks: FloatArray
    zone: IntArray
    starts: IntArray
    columns: FloatArray
    prior_sd: FloatArray
    labels: tuple[tuple[str, str], ...]

    @property
    def of_place(self) -> FloatArray:
        """The columns, but those of design ratios zero: a rate is one of the reference design."""
        keep = np.array([kind != "design" for kind, _ in self.labels])
        return np.where(keep, self.columns, 0.0)

    def per_zone(self, values: FloatArray) -> FloatArray:
        """Return sums over the traps of every zone, along the last axis."""
        return np.asarray(np.add.reduceat(values, self.starts, axis=-1), dtype=float)


@dataclass(frozen=True, slots=True)
class _Column:
    kind: str
    level: str
    cells: FloatArray
    prior_sd: float


def terms_of(
    counts: FloatArray,
    nights: FloatArray,
    places: Places,
    cutoff_m: float,
    log_ratio_se: Mapping[str, float],
) -> Terms | None:
    """Return the terms of the traps with effort inside zones; None where there is no such trap.

    Parameters
    ----------
    counts, nights
        Adults and reference-design trap-nights, shape (n,).
    places
        The same traps, in the same order.
    cutoff_m
        Walks beyond it count as that long.
    log_ratio_se
        Design -> standard error of its log catch ratio.
    """
    told = takes_part(counts, nights, places.zone)
    if not told.any():
        return None
    chosen = _sorted(
        pd.DataFrame(
            {
                "zone": places.zone[told].astype(str),
                "use": np.where(pd.isna(places.use), "", places.use)[told].astype(str),
                "design": places.design[told].astype(str),
                "doublings": np.log2(1 + np.minimum(places.refuge_m, cutoff_m))[told],
                "weeks": nights[told] / NIGHTS_PER_WEEK,
                "counts": counts[told],
            }
        )
    )
    columns = list(_columns(chosen, log_ratio_se))
    names, starts, zone = np.unique(
        chosen["zone"].to_numpy(dtype=object), return_index=True, return_inverse=True
    )
    return Terms(
        names=names,
        counts=chosen["counts"].to_numpy(dtype=float),
        weeks=chosen["weeks"].to_numpy(dtype=float),
        zone=zone.astype(np.int64),
        starts=starts.astype(np.int64),
        columns=np.column_stack([each.cells for each in columns]),
        prior_sd=np.array([each.prior_sd for each in columns]),
        labels=tuple((each.kind, each.level) for each in columns),
    )


def takes_part(counts: FloatArray, nights: FloatArray, zone: npt.ArrayLike) -> BoolArray:
    """Return which traps say something: a count, effort above zero, and a zone.

    Examples
    --------
    >>> zone = np.array(["A", None, "A"], dtype=object)
    >>> takes_part(np.array([0.0, 3.0, 5.0]), np.array([7.0, 7.0, 0.0]), zone).tolist()
    [True, False, False]
    """
    effort = np.isfinite(counts) & np.isfinite(nights) & (nights > 0)
    return np.asarray(effort & ~pd.isna(np.asarray(zone, dtype=object)), dtype=bool)


def _sorted(traps: pd.DataFrame) -> pd.DataFrame:
    return traps.sort_values(list(traps.columns), kind="stable", ignore_index=True)


def _columns(traps: pd.DataFrame, log_ratio_se: Mapping[str, float]) -> Iterator[_Column]:
    yield _Column("level", "", np.ones(len(traps)), LEVEL_SD)
    uses = sorted(set(traps["use"]))
    if len(uses) > 1:
        for use in uses:
            yield _Column("use", use, (traps["use"] == use).to_numpy(dtype=float), USE_SD)
    refuge = traps["doublings"].to_numpy(dtype=float)
    known = np.isfinite(refuge)
    if known.any() and np.ptp(refuge[known]) > 1e-6:
        # A trap whose walk is not known stands at the middle of the others.
        centred = np.where(known, refuge - refuge[known].mean(), 0.0)
        yield _Column("refuge", "", centred, REFUGE_SD)
    for design in sorted(set(traps["design"])):
        se = log_ratio_se.get(design, 0.0)
        if se > 0:
            yield _Column("design", design, (traps["design"] == design).to_numpy(dtype=float), se)
