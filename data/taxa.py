"""Names under which adults are counted: species, genus totals, and beetles that were not named.

The rule, in one place:

* A target species counts. So do adults that could not be named further, when they may be one:
  ``Sphenophorus sp.``, ``Sphenophorus cf. venatus`` and a bare ``Sphenophorus`` where a target
  species is of that genus, and ``unknown``.
* A bare genus beside other rows of that genus, in one visit, is their **total**. Only what it
  holds beyond them is added, so that no beetle counts twice.
* Every other name is by-catch, and so is whatever `bycatch_species` in site.toml names.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable

import pandas as pd

_UNKNOWN = re.compile(r"(unknown|unidentified|undetermined|indet\.?|\?+)", re.IGNORECASE)
_OPEN = re.compile(r"\b(sp|spp|cf|aff|nr|indet)\b\.?|\?", re.IGNORECASE)
_GENUS = re.compile(r"[A-Za-z][a-z]+")

_CLOSE = 0.75

_SHORTEST_STEM = 3
"""Letters of an abbreviated epithet, e.g. ``parv.``"""


def is_unknown(name: str) -> bool:
    """Return whether a name says that the beetle could not be told.

    Examples
    --------
    >>> [is_unknown(name) for name in ("unknown", "Unidentified", "?", "unknown spider")]
    [True, True, True, False]
    """
    return _UNKNOWN.fullmatch(name) is not None


def is_bare_genus(name: str) -> bool:
    """Return whether a name is one word, as a genus alone is.

    Examples
    --------
    >>> [is_bare_genus(name) for name in ("Sphenophorus", "Sphenophorus sp.", "unknown")]
    [True, False, False]
    """
    return _GENUS.fullmatch(name) is not None and not is_unknown(name)


def genus_of(name: str) -> str:
    """Return the first word of a name in small letters.

    Examples
    --------
    >>> genus_of("Sphenophorus cf. venatus")
    'sphenophorus'
    """
    words = name.split()
    return words[0].lower() if words else ""


def is_open_name(name: str, genera: Collection[str]) -> bool:
    """Return whether a name may stand for a species of one of the genera.

    Parameters
    ----------
    name
        As typed.
    genera
        Genera in small letters.

    Examples
    --------
    >>> names = ("Sphenophorus sp.", "Sphenophorus cf. venatus", "Sphenophorus", "unknown")
    >>> [is_open_name(name, {"sphenophorus"}) for name in names]
    [True, True, True, True]
    >>> names = ("Sphenophorus minimus", "Listronotus sp.", "spiders")
    >>> [is_open_name(name, {"sphenophorus"}) for name in names]
    [False, False, False]
    """
    if is_unknown(name):
        return True
    open_name = is_bare_genus(name) or _OPEN.search(name) is not None
    return open_name and genus_of(name) in genera


def counts_as_target(
    names: pd.Series[str], targets: Collection[str], bycatch: Collection[str] = ()
) -> pd.Series[bool]:
    """Return True where the adults of a name count; without targets every name but by-catch does.

    Parameters
    ----------
    names
        As `spelt_as_known` leaves them.
    targets
        The target species.
    bycatch
        Names that are known to be by-catch.

    Examples
    --------
    >>> names = pd.Series(["Sphenophorus venatus", "Sphenophorus sp.", "Carabidae"])
    >>> list(counts_as_target(names, {"Sphenophorus venatus"}))
    [True, True, False]
    """
    genera = {genus_of(target) for target in targets}
    counted = {
        name: name not in bycatch and (not targets or name in targets or is_open_name(name, genera))
        for name in set(names)
    }
    return names.map(counted).astype(bool)


def spelt_as_known(names: pd.Series[str], known: Iterable[str]) -> pd.Series[str]:
    """Write each name as `known` does when only capitals and blanks differ.

    Examples
    --------
    >>> names = pd.Series(["sphenophorus  VENATUS", "Spiders"])
    >>> list(spelt_as_known(names, ["Sphenophorus venatus"]))
    ['Sphenophorus venatus', 'Spiders']
    """
    spellings = {_plain(name): name for name in known}
    meant = {name: spellings.get(_plain(name), name) for name in set(names)}
    changed = {name: target for name, target in meant.items() if name != target}
    return names.replace(changed) if changed else names


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def meant_target(name: str, targets: Iterable[str]) -> str | None:
    """Return the target species that a name is a slip of, or None.

    Genus and species are compared apart, for all species of a genus share half of their letters.
    The epithet may stand alone or be abbreviated, and an author or the like may follow.

    Examples
    --------
    >>> targets = ["Sphenophorus parvulus", "Sphenophorus venatus"]
    >>> meant_target("Sphenophorus venata", targets), meant_target("S. parvulus", targets)
    ('Sphenophorus venatus', 'Sphenophorus parvulus')
    >>> names = ("parvulus", "Sphenophorus parv.", "Sphenophorus parvulus Gyllenhal, 1838")
    >>> {meant_target(name, targets) for name in names}
    {'Sphenophorus parvulus'}
    >>> meant_target("Sphenophorus minimus", targets) is None
    True
    """
    words = name.lower().split()
    scored = [(_likeness(words, target.lower().split()), target) for target in targets]
    score, best = max(scored, default=(0.0, ""))
    return best if score >= _CLOSE and best != name else None


def split_genus_totals(catches: pd.DataFrame) -> pd.DataFrame:
    """Take the named beetles of a genus out of the row that holds its total.

    Parameters
    ----------
    catches
        `visit_id`, `species`, `adults`, one row per visit and name.

    Returns
    -------
    pandas.DataFrame
        The same rows. Where a bare genus stands beside other rows of it, its `adults` are what it
        holds beyond them; below zero when the total is too small (such visits are set aside).

    Examples
    --------
    >>> names = ["Sphenophorus", "Sphenophorus venatus", "Sphenophorus sp."]
    >>> catches = pd.DataFrame({"visit_id": "a", "species": names, "adults": [7.0, 4.0, 1.0]})
    >>> list(split_genus_totals(catches)["adults"])
    [2.0, 4.0, 1.0]
    """
    names = sorted(set(catches["species"]))
    bare = {name for name in names if is_bare_genus(name)}
    if not bare:
        return catches
    genus = catches["species"].map({name: genus_of(name) for name in names})
    total = catches["species"].isin(bare)
    named = catches.assign(genus=genus)[~total].groupby(["visit_id", "genus"])["adults"].sum()
    keys = pd.MultiIndex.from_arrays([catches["visit_id"], genus])
    others = pd.Series(named.reindex(keys).fillna(0.0).to_numpy(), index=catches.index)
    return catches.assign(adults=catches["adults"] - others.where(total, 0.0))


def _likeness(words: list[str], target: list[str]) -> float:
    """Return how close two names are, by their least alike word; S. stands for its genus."""
    if len(words) == 1 < len(target):
        return _epithet_likeness(words[0], target[-1])
    # What follows a whole name is its author, its sex or the like.
    if len(words) < len(target) or (len(words) > len(target) and len(target) < 2):
        return 0.0
    scores = [
        1.0
        if number == 0 and word.rstrip(".") == goal[:1]
        else difflib.SequenceMatcher(None, word, goal).ratio()
        if number == 0
        else _epithet_likeness(word, goal)
        for number, (word, goal) in enumerate(zip(words, target, strict=False))
    ]
    return min(scores, default=0.0)


def _epithet_likeness(word: str, goal: str) -> float:
    stem = word.rstrip(".")
    if len(stem) >= _SHORTEST_STEM and word.endswith(".") and goal.startswith(stem):
        return 1.0
    return difflib.SequenceMatcher(None, word, goal).ratio()
