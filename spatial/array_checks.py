"""What counts, exposure and graph must be before anything is tested with them."""

from __future__ import annotations

import numpy as np

from spatial.arrays import AnyArray, FloatArray
from spatial.neighbours import Neighbours

MOST = 1e12
"""Nobody caught more; beyond, squares and sums are no longer numbers to rely on."""

FEWEST_PERMUTATIONS = 99


def check_arrays(
    counts: FloatArray, exposure: FloatArray, design: AnyArray, graph: Neighbours
) -> None:
    """Refuse arrays that are not of the same traps, or hold impossible values.

    Raises
    ------
    ValueError
        Naming what was expected and found.

    Examples
    --------
    >>> graph = Neighbours(("A",), np.zeros((1, 1), dtype=bool), np.zeros((1, 1)))
    >>> check_arrays(np.array([-1.0]), np.array([7.0]), np.array(["cup"]), graph)
    Traceback (most recent call last):
    ...
    ValueError: expected counts from 0 to 1e+12 (NaN: none), found -1 at position 0
    """
    shapes = [np.shape(each) for each in (counts, exposure, design)]
    if set(shapes) != {(len(graph.ids),)}:
        message = (
            f"expected counts, exposure and design of the graph's {len(graph.ids)} traps; "
            f"found shapes {', '.join(map(str, shapes))}"
        )
        raise ValueError(message)
    for name, values in (("counts", counts), ("exposure", exposure)):
        wrong = np.flatnonzero((values < 0) | (values > MOST))
        if len(wrong):
            message = (
                f"expected {name} from 0 to {MOST:g} (NaN: none), found {values[wrong[0]]:g} "
                f"at position {wrong[0]}"
            )
            raise ValueError(message)


def check_rules(permutations: int, alpha: float) -> None:
    """Refuse too few permutations and an alpha that is no share.

    Raises
    ------
    ValueError
        Naming what was expected and found.

    Examples
    --------
    >>> check_rules(999, 5)
    Traceback (most recent call last):
    ...
    ValueError: expected alpha between 0 and 1, found 5
    """
    if not 0 < alpha < 1:
        message = f"expected alpha between 0 and 1, found {alpha:g}"
        raise ValueError(message)
    if permutations < FEWEST_PERMUTATIONS:
        message = f"expected at least {FEWEST_PERMUTATIONS} permutations, found {permutations}"
        raise ValueError(message)
