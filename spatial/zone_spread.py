"""How much traps of one zone differ, from as near as the counts allow: the zone, its use, the site.

The unit is a trap's whole catch of the season so far, not a visit: visits to one trap repeat each
other, and only traps at other places tell how far places differ. 1 / k is the part of the scatter
that more rounds at the same traps never take away.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from spatial.arrays import BoolArray, NameArray
from spatial.common_k import common_k
from spatial.dispersion import usable_k
from spatial.sampling import NIGHTS_TOLERANCE
from spatial.spots import Trapped
from spatial.variance_laws import NegativeBinomial, TaylorLaw, taylor_of
from spatial.zones import dispersion_of_totals

K_FROM = ("zone", "use", "site", "between", "assumed")
"""Whose k it is: of the zone's own spots; common to the zones of its use; common to all zones; of
totals round the average of their use, which holds what differs between zones too and makes
intervals wider; or `spatial.dispersion.K_ASSUMED`."""

TAYLOR_FROM = ("use", "site", "between")
"""Whose law it is: of the zones of its use; of all zones; of uses as if each were one zone, as with
`K_FROM`. Without one, its reason says why (`spatial.variance_laws.NO_LAW`)."""

TAYLOR_TRAPS = 3
"""Samples of fewer spots are left out of Taylor's law: the logarithm of a variance from two counts
is too low by 1.3 on average. With samples of four the law found still is too low by a third
(`spatial.variance_laws.taylor_bias`): Taylor's intervals from few zones are too narrow."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How the season's catches of traps of one zone scatter, in two ways.

    Parameters
    ----------
    nb
        Negative binomial with the k to use.
    k_from
        One of `K_FROM`.
    taylor
        Taylor's law; may have a reason why it is none.
    taylor_from
        One of `TAYLOR_FROM`.
    """

    nb: NegativeBinomial
    k_from: str
    taylor: TaylorLaw
    taylor_from: str


def zone_spreads(zones: pd.DataFrame, spots: Trapped) -> list[Spread]:
    """Return the spread of every zone, from the nearest circle that can tell.

    A k common to several zones is `CommonK.adjusted`, every zone round its own mean. Only spots
    with like effort are compared, within `NIGHTS_TOLERANCE` of the middle one. A k that the counts
    of a circle cannot tell from infinity is not taken from it, but from the next wider one.

    Parameters
    ----------
    zones
        `zone_id` and `use` of the zones wanted.
    spots
        All spots of the site.

    Examples
    --------
    Two lawns of six traps each: neither has ten, both together have twelve.

    >>> zone = np.repeat(np.array(["a", "b"], dtype=object), 6)
    >>> use, ones = np.full(12, "lawn", dtype=object), np.ones(12)
    >>> caught = np.array([2.0, 9, 1, 14, 5, 0, 4, 20, 2, 9, 30, 1])
    >>> lawns = Trapped(zone, use, caught, 70 * ones, ones, ones.astype(bool))
    >>> one, other = zone_spreads(pd.DataFrame({"zone_id": ["a", "b"], "use": "lawn"}), lawns)
    >>> one.k_from, round(one.nb.k, 2), other == one
    ('use', 0.83, True)
    """
    of_use = {str(use): _spread(spots, str(use)) for use in zones["use"].unique()}
    found = []
    for zone, use in zip(zones["zone_id"], zones["use"], strict=True):
        shared = of_use[str(use)]
        k = _common(spots, spots.zone == zone)
        own = replace(shared, nb=NegativeBinomial(k), k_from="zone")
        found.append(own if np.isfinite(k) else shared)
    return found


def _spread(spots: Trapped, use: str) -> Spread:
    """Return the spread that the zones of one use share."""
    k, k_from = _k(spots, use)
    law, taylor_from = _taylor(spots, use)
    return Spread(NegativeBinomial(k), k_from, law, taylor_from)


def _k(spots: Trapped, use: str) -> tuple[float, str]:
    everywhere = np.ones(len(spots.zone), dtype=bool)
    for name, circle in (("use", spots.use == use), ("site", everywhere)):
        k = _common(spots, circle)
        if np.isfinite(k):
            return k, name
    totals = pd.DataFrame({"adults": spots.adults, "use": spots.use})
    between = dispersion_of_totals(totals, spots.effort)
    return usable_k(between), "assumed" if np.isnan(between) else "between"


def _common(spots: Trapped, circle: BoolArray) -> float:
    own = _alike(spots, circle)
    return common_k(spots.adults[own], spots.zone[own].astype(str)).adjusted.k


def _taylor(spots: Trapped, use: str) -> tuple[TaylorLaw, str]:
    everywhere = np.ones(len(spots.zone), dtype=bool)
    circles = (
        ("use", spots.use == use, spots.zone),
        ("site", everywhere, spots.zone),
        ("between", everywhere, spots.use),
    )
    laws = [(_law(spots, circle, sample), name) for name, circle, sample in circles]
    return next((each for each in laws if not each[0].reason), laws[-1])


def _law(spots: Trapped, circle: BoolArray, sample: NameArray) -> TaylorLaw:
    own = _alike(spots, circle)
    names, number = np.unique(sample.astype(str), return_inverse=True)
    several = np.bincount(number[own], minlength=len(names))[number] >= TAYLOR_TRAPS
    return taylor_of(spots.adults[own & several], number[own & several])


def _alike(spots: Trapped, circle: BoolArray) -> BoolArray:
    """Return the counted spots of a circle whose effort is near that of the middle one."""
    own = np.asarray(circle, dtype=bool) & spots.counted
    if not own.any():
        return own
    middle = float(np.quantile(spots.effort[own], 0.5, method="lower"))
    return own & (np.abs(spots.effort - middle) <= NIGHTS_TOLERANCE * middle)
