"""What a mistyped name may have been meant to be."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

_LOOKS_LIKE = str.maketrans({"o": "0", "i": "1", "l": "1"})

MOST_SPELLED = 500
"""More strange names than this are no slips of the pen: they belong to another list."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known name that `word` was most likely meant to be.

    Parameters
    ----------
    word
        As typed.
    known
        The names there are.

    Returns
    -------
    str or None
        A name that reads the same when case, signs, leading zeros and look-alikes (O and 0, l and
        1) are put aside; else the closest spelling; None when nothing is close.

    Examples
    --------
    >>> nearest("t-1", ["T01", "T02"])
    'T01'
    >>> nearest("TO2", ["T01", "T02"])
    'T02'
    >>> nearest("floded", ["ok", "flooded", "missing"])
    'flooded'
    >>> nearest("elephant", ["ok", "flooded"]) is None
    True
    """
    return close_names([word], known).get(word)


def close_names(words: Iterable[str], known: Iterable[str]) -> dict[str, str]:
    """Return word -> the known name it was most likely meant to be, as `nearest` finds it.

    Parameters
    ----------
    words
        As typed, of a whole column.
    known
        The names there are.

    Returns
    -------
    dict of str to str
        Without the words that nothing is close to. With more than `MOST_SPELLED` different words
        that do not even read the same as a name, none of those is compared letter by letter.

    Examples
    --------
    >>> close_names(["t-1", "floded", "elephant"], ["T01", "flooded"])
    {'t-1': 'T01', 'floded': 'flooded'}
    """
    names = sorted(set(known))
    same = {reading(name): name for name in reversed(names)}
    asked = {word: same.get(reading(word)) for word in dict.fromkeys(words)}
    found = {word: name for word, name in asked.items() if name is not None}
    strange = [word for word, name in asked.items() if name is None]
    if len(strange) > MOST_SPELLED:
        return found
    lower = {name.lower(): name for name in reversed(names)}
    spellings = sorted(lower)
    for word in strange:
        for close in difflib.get_close_matches(word.lower(), spellings, n=1, cutoff=0.75):
            found[word] = lower[close]
    return found


def did_you_mean(word: str, known: Iterable[str], otherwise: str) -> str:
    """Return ``"did you mean 'name'?"``, or `otherwise` when no name is close.

    Examples
    --------
    >>> did_you_mean("OK", ["ok"], "use one of: ok")
    "did you mean 'ok'?"
    """
    return asked_back(nearest(word, known), otherwise)


def asked_back(name: str | None, otherwise: str) -> str:
    """Return the question whether a name was meant, or `otherwise` without one.

    Examples
    --------
    >>> asked_back("ok", "use one of: ok"), asked_back(None, "use one of: ok")
    ("did you mean 'ok'?", 'use one of: ok')
    """
    return otherwise if name is None else f"did you mean {name!r}?"


def reading(word: str) -> str:
    """Return what is left of a name when case, signs, leading zeros and look-alikes are put aside.

    Examples
    --------
    >>> {reading(name) for name in ("T01", "t-1", "TO1", "T 1")}
    {'t1'}
    """
    plain = re.sub(r"[\W_]+", "", word.lower()).translate(_LOOKS_LIKE)
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", plain)
