"""What the classes of catch rates are called in a legend."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from maps.catalogue import Catalogue, figure


def class_labels(breaks: Sequence[float], lang: Catalogue) -> list[str]:
    """Return what each class of catch rates is called.

    Examples
    --------
    >>> from maps.language_file import english
    >>> class_labels((0.5, 1, 2), english()), class_labels((), english())
    (['under 0.5', '0.5 to 1', '1 to 2', '2 or more'], ['any'])
    """
    numbers = [figure(each) for each in breaks]
    if not numbers:
        return [lang.say("map.class_any")]
    between = [lang.say("map.class_between", low=a, high=b) for a, b in pairwise(numbers)]
    first, last = ("class_first", numbers[0]), ("class_last", numbers[-1])
    ends = [lang.say(f"map.{key}", number) for key, number in (first, last)]
    return [ends[0], *between, ends[1]]
