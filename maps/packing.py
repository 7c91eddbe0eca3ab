"""Short text for long columns: one character a value, and a run of equal ones as a count.

A season of ten thousand traps is a few million values. Written as JSON numbers they make a page
that no mail carries; here a week of a column is one string that the page's script reads back
(``templates/unpack.js``, the same alphabet).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz!#$%()*+,-./:;=?@[]^_`"
"""One character for each number from 0 on; none of them needs escaping in JSON or HTML."""

WIDE = "~"
"""Before two characters, high one first: a number beyond the alphabet."""

WIDEST = "|"
"""Before four characters: a number beyond two of them."""

BLANK = " "
_RUN = re.compile(r"(.)\1{4,}", re.DOTALL)


def packed_run(text: str) -> str:
    """Return text in which five or more equal characters stand as one with their count.

    Examples
    --------
    >>> packed_run("oooooooofoo")
    'o{8}foo'
    """
    return _RUN.sub(lambda run: f"{run[1]}{{{len(run[0])}}}", text)


def packed_numbers(values: Iterable[float]) -> str:
    """Return whole numbers from 0 on as text; NaN is a blank.

    Raises
    ------
    ValueError
        If a number is negative, not whole, or beyond four characters.

    Examples
    --------
    >>> packed_numbers([7, 7, 0, float("nan"), 84, 170, 7, 7, 7, 7, 7])
    '770 ~10~227{5}'
    """
    return packed_run("".join(_char(value) for value in values))


def _char(value: float) -> str:
    if math.isnan(value):
        return BLANK
    number, size = int(value), len(ALPHABET)
    if number != value or not 0 <= number < size**4:
        msg = f"values must be whole numbers from 0 to {size**4 - 1}. Got {value}"
        raise ValueError(msg)
    if number < size:
        return ALPHABET[number]
    return WIDE + _digits(number, 2) if number < size**2 else WIDEST + _digits(number, 4)


def _digits(number: int, count: int) -> str:
    size = len(ALPHABET)
    return "".join(ALPHABET[number // size**place % size] for place in range(count - 1, -1, -1))


def packed_texts(texts: Sequence[str]) -> list[object]:
    """Return the distinct texts in order of appearance, and where each row finds its own.

    Examples
    --------
    >>> packed_texts(["inside", "edge", "inside", "inside"])
    [['inside', 'edge'], '0100']
    """
    places = {text: place for place, text in enumerate(dict.fromkeys(texts))}
    return [list(places), packed_numbers(places[text] for text in texts)]
