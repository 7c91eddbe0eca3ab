"""What a mistyped name may have been meant to be."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

_LOOKS_LIKE = str.maketrans({"o": "0", "i": "1", "l": "1"})


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
    names = sorted(set(known))
    same = [name for name in names if reading(name) == reading(word)]
    if same:
        return same[0]
    lower = {name.lower(): name for name in reversed(names)}
    close = difflib.get_close_matches(word.lower(), sorted(lower), n=1, cutoff=0.75)
    return lower[close[0]] if close else None


def did_you_mean(word: str, known: Iterable[str], otherwise: str) -> str:
    """Return ``"did you mean 'name'?"``, or `otherwise` when no name is close.

    Examples
    --------
    >>> did_you_mean("OK", ["ok"], "use one of: ok")
    "did you mean 'ok'?"
    """
    name = nearest(word, known)
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
