"""One error rate for several kinds of mark: the weighted minimum-p adjustment.

A map can be wrong in three ways: a busy patch, a quiet patch, a lone trap that chance alone made.
Each kind has its own scale; as a p among the maps drawn they can be compared, and divided by their
weight they share one error rate: the share of maps without clustering that carry any mark is held
at alpha over all kinds together (Westfall & Young 1993, sections 2.3 and 2.8). Against splitting
alpha beforehand nothing is lost where a kind cannot reach its share, as quiet patches often cannot
in sparse counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from spatial.arrays import FloatArray

WEIGHTS: Mapping[str, float] = {"busy": 0.95, "quiet": 0.03, "lone": 0.02}
"""Nearly all of the error rate goes to busy patches, which are what a network is for.

With .8 / .1 / .1 a five-fold patch is found in about two maps of a hundred fewer.
"""


@dataclass(frozen=True, slots=True)
class Family:
    """The most extreme statistic of every kind in every map drawn.

    Parameters
    ----------
    drawn
        Kind -> statistic of each map, larger is more extreme, in order of size.
    lowest
        Smallest weighted p of any kind, of each map drawn, in order of size.
    """

    drawn: Mapping[str, FloatArray]
    lowest: FloatArray

    @classmethod
    def of(cls, drawn: Mapping[str, FloatArray]) -> Family:
        """Sort what the maps gave.

        Parameters
        ----------
        drawn
            Kind -> most extreme statistic of each map, shape (maps,), maps in the same order.
        """
        ordered = {kind: np.sort(values) for kind, values in drawn.items()}
        weighted = [
            _reached(ordered[kind], values) / len(values) / WEIGHTS[kind]
            for kind, values in drawn.items()
        ]
        return cls(ordered, np.sort(np.minimum.reduce(weighted)))

    def adjusted(self, kind: str, observed: FloatArray) -> FloatArray:
        """Return the p of each observed statistic, adjusted for all windows and all kinds.

        Examples
        --------
        Ninety-nine maps; a busy window beyond them all has the smallest p there is, and the same
        number as an unlikeness costs far more, since lone traps have a small share:

        >>> maps = np.arange(99.0)
        >>> family = Family.of({"busy": maps, "quiet": maps * 0, "lone": maps})
        >>> family.adjusted("busy", np.array([99.0, 98.0])).tolist()
        [0.01, 0.02]
        >>> family.adjusted("lone", np.array([99.0])).round(2).tolist()
        [0.48]
        """
        maps = len(self.lowest)
        p = (_reached(self.drawn[kind], observed) + 1.0) / (maps + 1.0) / WEIGHTS[kind]
        beaten = np.searchsorted(self.lowest, p * (1 + 1e-12), side="right")
        return np.asarray((beaten + 1.0) / (maps + 1.0), dtype=float)


def _reached(ordered: FloatArray, observed: FloatArray) -> FloatArray:
    """Return how many maps reach what was observed; rounding makes no difference."""
    finite = observed[np.isfinite(observed)]
    tolerance = 1e-9 * max(1.0, float(np.abs(finite).max(initial=0.0)))
    return np.asarray(len(ordered) - np.searchsorted(ordered, observed - tolerance), dtype=float)
