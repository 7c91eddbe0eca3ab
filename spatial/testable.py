"""Which traps a cluster test can speak about, and why it must be silent on the others."""

from __future__ import annotations

import numpy as np

from spatial.arrays import AnyArray, BoolArray, FloatArray, NameArray


def not_testable(
    counts: FloatArray,
    exposure: FloatArray,
    design: AnyArray,
    adjacency: BoolArray,
    min_traps: int,
) -> NameArray:
    """Return why each trap cannot be tested: one of `spatial.results.NOT_TESTABLE`, or ``""``.

    Parameters
    ----------
    counts, exposure, design
        Adults, trap-nights and design of every trap, shape (n,).
    adjacency
        Neighbours, shape (n, n), diagonal False.
    min_traps
        Fewer testable traps than this, and none is tested: a working limit (common practice, no
        source), because with so few one trap's catch decides the outcome and power is small.

    Examples
    --------
    Four cups in a row, a far one, one never checked, and a single linear trap beside the first:

    >>> near = np.zeros((7, 7), dtype=bool)
    >>> near[[0, 1, 1, 2, 2, 3, 0, 6], [1, 0, 2, 1, 3, 2, 6, 0]] = True
    >>> designs = np.array(["cup"] * 6 + ["linear"])
    >>> caught, nights = np.array([3.0, 1, 2, 5, 2, 0, 9]), np.array([7.0, 7, 7, 7, 7, 0, 7])
    >>> not_testable(caught, nights, designs, near, min_traps=3).tolist()
    ['', '', '', '', 'no_neighbours', 'no_nights', 'lone_design']
    """
    reason = np.full(len(counts), "", dtype=object)
    reason[~((exposure > 0) & np.isfinite(exposure) & np.isfinite(counts))] = "no_nights"
    if (reason == "").sum() >= min_traps:
        _rule_out(reason, counts, design, adjacency)
    left = reason == ""
    if left.sum() < min_traps:
        reason[left] = "few_traps"
    elif _same_rate(counts[left], exposure[left], design[left]):
        reason[left] = "no_variation"
    return reason


def main_reason(reason: NameArray) -> tuple[str, int]:
    """Return what stands in the way of the whole network, and how many traps could be compared.

    The reason is that of the traps that came nearest to a test.

    Examples
    --------
    >>> main_reason(np.array(["no_nights", "few_traps", "few_traps"], dtype=object))
    ('few_traps', 2)
    """
    order = (
        "few_traps",
        "no_variation",
        "no_neighbours",
        "all_neighbours",
        "lone_design",
        "no_nights",
    )
    main = next((name for name in order if name in reason), "no_traps")
    left = int((reason == main).sum()) if main in ("few_traps", "no_variation") else 0
    return main, left


def _rule_out(
    reason: NameArray,
    counts: FloatArray,
    design: AnyArray,
    adjacency: BoolArray,
) -> None:
    """Rule traps out until nobody else loses the last neighbour or the last of its design."""
    while True:
        left = reason == ""
        alone, empty = np.zeros(len(left), dtype=bool), np.zeros(len(left), dtype=bool)
        for name in np.unique(design[left]):
            members = left & (design == name)
            alone |= members & (members.sum() < 2)
            empty |= members & (counts[members].sum() == 0)
        reached = (adjacency & left).sum(axis=1)
        isolated = left & (reached == 0)
        crowded = left & (reached >= left.sum() - 1) & ~isolated
        reason[isolated] = "no_neighbours"
        reason[crowded] = "all_neighbours"
        reason[empty] = "no_variation"
        reason[alone] = "lone_design"
        if not (alone | empty | isolated | crowded).any():
            return


def _same_rate(counts: FloatArray, exposure: FloatArray, design: AnyArray) -> bool:
    rates = counts / exposure
    return all(
        np.ptp(rates[design == name]) <= 1e-9 * rates[design == name].max()
        for name in np.unique(design)
    )
