"""A share in per cent, written as everywhere on the pages: the sign after a space."""

from __future__ import annotations


def percent_text(share: float, *, signed: bool = False) -> str:
    """Return a share in whole per cent.

    Examples
    --------
    >>> percent_text(0.254), percent_text(-0.75), percent_text(-0.001)
    ('25 %', '-75 %', '0 %')
    >>> percent_text(0.03, signed=True)
    '+3 %'
    """
    return f"{100 * share:{'+' if signed else ''}z.0f} %"
