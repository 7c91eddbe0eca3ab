"""The cautions that ship with every page that names a trap, a treatment or a hole in the ground."""

from __future__ import annotations

from maps.catalogue import Catalogue

CAUTIONS = ("activity", "evidence", "pollinators", "lines", "flush")
"""Keys of the cautions, in the order in which they are shown."""


def cautions(lang: Catalogue) -> tuple[str, ...]:
    """Return the cautions as sentences.

    Examples
    --------
    >>> from maps.language_file import english
    >>> cautions(english())[0]
    'A catch is activity, not density: it tells where beetles walk, not how many larvae feed.'
    """
    return tuple(lang.say(f"cautions.{key}") for key in CAUTIONS)
