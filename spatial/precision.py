"""How well every zone's catch rate will be known when the season ends, and what more that takes.

The unit is a spot: a trap, or traps that share beetles (`spatial.spots`). A spot with expected
catch m does a share of the work that a precision takes, one over the units of that catch which
`spatial.sample_size.units_needed` asks for; shares of unequal spots add up (they are their
information on the logarithm of the rate). All the rest follows: the precision is reached when the
shares reach 1, a new trap brings one over its own number, and a further week raises every m.

There are two ways, which differ in how catches of one zone scatter: negative binomial (``"nb"``)
and Taylor's law (``"taylor"``), from `spatial.zone_spread`. Both take a longer season for what a
busier place would be. Emptying more often adds nothing: it is the same trap-nights.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import gammaincinv

from data.findings import SettingsError
from spatial.arrays import FloatArray
from spatial.exposure import NIGHTS_PER_WEEK
from spatial.sample_size import Precision, units_needed
from spatial.spots import Trapped
from spatial.variance_laws import VarianceLaw
from spatial.zone_spread import zone_spreads

WAYS = ("nb", "taylor")
"""How the scatter of catches in a zone is reckoned."""

NO_PRECISION = ("no_traps", "no_rate", "no_law")
"""Why there is no interval: no spot has or will have a comparable night; nothing was caught on the
whole site; there is no Taylor's law, for its own reason."""

MOST_WEEKS = 52
"""More rounds than this are no plan (common practice, no source)."""

LEVELS = (0.8, 0.95)


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is left of the season, and what is wanted of it.

    Parameters
    ----------
    weeks_left
        Weeks in which the traps in use will still stand.
    season_weeks
        Weeks of a whole season, for what next year would take.
    kept
        Share of coming trap-nights that will count; the rest is flooded, disturbed, not checked.
    wanted
        The user's precision. .5 is what four traps give at k = 1 (common practice, no source; at
        least four cups in a trapping area are advised by Gireesh & Joseph 2025, doi
        10.1002/cft2.70045).

    Raises
    ------
    SettingsError
        If a value is outside its range.

    Examples
    --------
    >>> Outlook(weeks_left=3).kept
    1.0
    """

    weeks_left: int = 0
    season_weeks: int = 26
    kept: float = 1.0
    wanted: Precision = field(default_factory=lambda: Precision(0.5))

    def __post_init__(self) -> None:
        if self.weeks_left < 0 or self.season_weeks < 1:
            raise SettingsError(
                "weeks_left must be 0 or more and season_weeks 1 or more; "
                f"got {self.weeks_left} and {self.season_weeks}"
            )
        if not 0 < self.kept <= 1:
            raise SettingsError(f"kept must be above 0 and at most 1; got {self.kept:g}")


def zone_precision(
    zones: pd.DataFrame,
    spots: Trapped,
    outlook: Outlook,
    expected: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Return, for every zone and either way, the interval it will have and what more it takes.

    Parameters
    ----------
    zones
        `zone_id` and `use` of every zone.
    spots
        From `spatial.spots.as_spots`.
    outlook
        What is left of the season, and the precision wanted.
    expected
        Zone -> adults per trap-week of the reference design, e.g. those of the zone model; None, or
        a zone left out: as in `expected_rates`.

    Returns
    -------
    pandas.DataFrame
        Two rows per zone, in their order: `zone_id`, `way` (one of `WAYS`), `spots` (in use),
        `rate` (expected, adults per trap-week), `k` and `k_from` (NaN and Taylor's circle for that
        way), `d` (precision at season's end, in the meaning wanted; inf without a spot), `low_80`,
        `high_80`, `low_95`, `high_95` (of the rate then), `more_traps` (to put out now; NaN when
        the season is over), `more_weeks` (beyond season's end, with the traps there are; NaN when
        `MOST_WEEKS` do not help), `season_traps` (that a whole season would take), `reason` (empty,
        or one of `NO_PRECISION`).

    Examples
    --------
    Four traps on a lawn, eight weeks so far, 8 adults each; k = 1 is assumed. In eight weeks more
    each will have caught 16: D = sqrt((1/16 + 1/1) / 4) = .515, so one more trap is missing.

    >>> zone, use = np.full(4, "a", dtype=object), np.full(4, "lawn", dtype=object)
    >>> ones = np.ones(4)
    >>> spots = Trapped(zone, use, 8 * ones, 56 * ones, ones, ones.astype(bool))
    >>> lawn = pd.DataFrame({"zone_id": ["a"], "use": ["lawn"]})
    >>> found = zone_precision(lawn, spots, Outlook(weeks_left=8)).iloc[0]
    >>> round(float(found["d"]), 3), int(found["more_traps"]), int(found["season_traps"])
    (0.515, 1, 5)
    """
    rates, spreads = expected_rates(zones, spots), zone_spreads(zones, spots)
    rows = []
    for zone, rate, spread in zip(zones["zone_id"], rates, spreads, strict=True):
        own = _of_zone(spots, str(zone))
        known = float(rate) if expected is None else float(expected.get(str(zone), rate))
        ways = (
            (spread.nb, {"way": "nb", "k": spread.nb.k, "k_from": spread.k_from}),
            (spread.taylor, {"way": "taylor", "k": math.nan, "k_from": spread.taylor_from}),
        )
        for law, named in ways:
            told = _told(_Zone(own, known, law, outlook))
            rows.append({"zone_id": zone, **named, "spots": int(own.in_use.sum()), **told})
    return pd.DataFrame(rows, columns=list(COLUMNS))


COLUMNS = (
    "zone_id", "way", "spots", "rate", "k", "k_from", "d", "low_80", "high_80", "low_95", "high_95",
    "more_traps", "more_weeks", "season_traps", "reason",
)  # fmt: skip
"""Columns of `zone_precision`."""


def expected_rates(zones: pd.DataFrame, spots: Trapped) -> FloatArray:
    """Return what every zone is expected to catch, adults per trap-week; NaN if nothing was caught.

    As if one more trap in the zone, out as long as the middle one, had caught what its use catches;
    and a use's rate likewise with one more trap that caught what the site catches. So a zone that
    caught nothing is expected to catch little, not nothing, and one without traps what its use does
    (common practice, no source; the zone model says it better where there is one).

    Examples
    --------
    Lawns a and b caught 30 and 0 in 70 nights each; c has no trap.

    >>> names, lawn = np.array(["a", "b"], dtype=object), np.full(2, "lawn", dtype=object)
    >>> ones = np.ones(2)
    >>> spots = Trapped(names, lawn, np.array([30.0, 0]), 70 * ones, ones, ones.astype(bool))
    >>> zones = pd.DataFrame({"zone_id": list("abc"), "use": "lawn"})
    >>> expected_rates(zones, spots).tolist()
    [2.25, 0.75, 1.5]
    """
    counted = spots.counted
    if not counted.any() or not spots.adults[counted].sum() > 0:
        return np.full(len(zones), np.nan)
    one = float(np.quantile(spots.effort[counted], 0.5, method="lower"))
    site = float(spots.adults[counted].sum() / spots.effort[counted].sum())

    def drawn(own: npt.ArrayLike, to: float) -> float:
        chosen = np.asarray(own, dtype=bool) & counted
        adults, effort = spots.adults[chosen].sum(), spots.effort[chosen].sum()
        return float((adults + to * one) / (effort + one))

    uses = {use: drawn(spots.use == use, site) for use in set(zones["use"])}
    pairs = zip(zones["zone_id"], zones["use"], strict=True)
    per_night = [drawn(spots.zone == zone, uses[use]) for zone, use in pairs]
    return NIGHTS_PER_WEEK * np.asarray(per_night, dtype=float)


def rate_interval(rate: float, relative_se: float, level: float) -> tuple[float, float]:
    """Return the interval of a rate that is a mean of spots, equal in both tails.

    A mean of negative binomial counts over its expectation is close to gamma with the same relative
    standard error: exactly so when catches are large, and as near as gamma is to Poisson when
    places do not differ. Round the mean of a simulated season, k known, it holds the truth as often
    as it says, to .03, where the spots together catch 20 or more. With less it holds it less often:
    .91 in place of .95 for two traps of three adults each at k = 1, .48 for one trap of one adult,
    since nothing caught has no fold. It is for planning; what was caught is judged by the zone
    model and by `spatial.dispersion.rate_intervals`.

    Parameters
    ----------
    rate
        Expected.
    relative_se
        Standard error over the rate.
    level
        E.g. 0.95.

    Examples
    --------
    Four places that differ as an exponential distribution does, k = 1:

    >>> low, high = rate_interval(1.0, 0.5, 0.95)
    >>> round(low, 2), round(high, 2)
    (0.46, 3.67)
    """
    if not 0 < relative_se < math.inf:
        return math.nan, math.nan
    shape = relative_se**-2
    ends = gammaincinv(shape, [(1 + level) / 2, (1 - level) / 2])
    with np.errstate(over="ignore", divide="ignore"):
        # An end near 0 is that of a rate without an upper end.
        low, high = rate * shape / ends
    return float(low), float(high)


@dataclass(frozen=True, slots=True)
class _Zone:
    """One zone's spots, its expected rate and its law of scatter."""

    spots: Trapped
    rate: float
    law: VarianceLaw
    outlook: Outlook

    def catch(self, nights: float) -> float:
        return self.rate / NIGHTS_PER_WEEK * nights

    def units(self, catch: float) -> float:
        """Return how many spots of a catch the precision takes; NaN without a law."""
        return units_needed(catch, self.law, Precision(self.outlook.wanted.relative_se)).units

    def new_nights(self, weeks: int) -> float:
        """Return trap-nights that will count of a trap that stands so many weeks from now."""
        return NIGHTS_PER_WEEK * self.outlook.kept * weeks

    def done(self, weeks: int) -> float:
        """Return the share of the work that is done after so many weeks from now."""
        coming = np.where(self.spots.in_use, self.spots.ratio, 0.0) * self.new_nights(weeks)
        nights = self.spots.effort + coming
        return float(sum(1 / self.units(self.catch(each)) for each in nights if each > 0))


def _told(zone: _Zone) -> dict[str, object]:
    outlook = zone.outlook
    left, wanted = outlook.weeks_left, outlook.wanted
    whole = zone.units(zone.catch(zone.new_nights(outlook.season_weeks)))
    if math.isnan(whole):
        return {**_EMPTY, "rate": zone.rate, "reason": "no_law" if zone.rate > 0 else "no_rate"}
    done = zone.done(left)
    told: dict[str, object] = {
        "rate": zone.rate,
        "d": wanted.d / math.sqrt(done) if done else math.inf,
        "more_traps": _more_traps(zone, done),
        "more_weeks": _more_weeks(zone),
        "season_traps": _whole(whole),
        "reason": "" if done else "no_traps",
    }
    for level in LEVELS:
        se = wanted.relative_se / math.sqrt(done) if done else math.inf
        low, high = rate_interval(zone.rate, se, level)
        told |= {f"low_{100 * level:.0f}": low, f"high_{100 * level:.0f}": high}
    return told


def _more_traps(zone: _Zone, done: float) -> float:
    """Return how many traps of the reference design, put out now, do the rest of the work."""
    if done >= 1:
        return 0.0
    nights = zone.new_nights(zone.outlook.weeks_left)
    return float(_whole(zone.units(zone.catch(nights)) * (1 - done))) if nights else math.nan


def _more_weeks(zone: _Zone) -> float:
    left = zone.outlook.weeks_left
    if not zone.spots.in_use.any():
        return math.nan
    enough = (week for week in range(MOST_WEEKS + 1) if zone.done(left + week) >= 1)
    return float(next(enough, math.nan))


def _whole(number: float) -> int:
    return max(math.ceil(number - 1e-9 * max(number, 1.0)), 1)


_EMPTY: dict[str, object] = {
    **dict.fromkeys(("low_80", "high_80", "low_95", "high_95"), math.nan),
    **{"d": math.nan, "more_traps": math.nan, "more_weeks": math.nan, "season_traps": 0},
}


def _of_zone(spots: Trapped, zone: str) -> Trapped:
    own = np.flatnonzero(spots.zone == zone)
    return Trapped(
        spots.zone[own],
        spots.use[own],
        spots.adults[own],
        spots.effort[own],
        spots.ratio[own],
        spots.in_use[own],
    )


def kept_share(statuses: Mapping[str, int]) -> float:
    """Return the share of visits that counted, to expect of the coming ones; 1 without a visit.

    Visits that were not made have no row, so this is of visits that were: the true share is lower.

    Examples
    --------
    >>> kept_share({"ok": 18, "flooded": 1, "missing": 1})
    0.9
    """
    every = sum(statuses.values())
    return statuses.get("ok", 0) / every if every and statuses.get("ok", 0) else 1.0


def of_way(precision: pd.DataFrame, way: str, zone_ids: Sequence[str]) -> pd.DataFrame:
    """Return the rows of one way, in the order of the zones given."""
    return precision[precision["way"] == way].set_index("zone_id").loc[list(zone_ids)].reset_index()
