"""Where a curve of gains bends: up to there another trap buys more than the average one."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt


def knee(gains: npt.ArrayLike) -> int:
    """Return the number of steps at the knee of a curve; 0 if it never rises.

    The knee is where the curve stands highest above the straight line from its start to its end:
    the first rule of Satopää, Albrecht, Irwin & Raghavan (2011), Finding a "kneedle" in a haystack,
    ICDCS Workshops 166-171, without its smoothing, as nothing here is noisy (cited from memory).
    Up to the knee every further stretch of the curve is steeper than the whole on average. It
    depends on how far the curve is drawn. A straight curve has no knee: its end is returned, since
    there the last step buys as much as the first.

    Parameters
    ----------
    gains
        What 1, 2, ... steps have gained together, shape (n,); zero steps gain nothing.

    Examples
    --------
    >>> knee([5.0, 8.0, 9.0, 9.5, 9.6])
    2
    >>> knee([1.0, 2.0, 3.0]), knee([0.0, 0.0])
    (3, 0)
    """
    reached = np.concatenate([[0.0], np.asarray(gains, dtype=float)])
    if len(reached) < 2 or not reached.max() > 0:
        return 0
    above = reached - np.linspace(0.0, reached[-1], len(reached))
    if above.max() <= 1e-9 * reached.max():
        return len(reached) - 1
    return int(np.argmax(above))
