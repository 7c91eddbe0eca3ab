"""The `[treatment]` section of `site.toml`: what only the user can say about a treatment.

Rates, buffers, re-entry, notification and registration numbers are on the label and in local rules.
None has a default; what is left out is listed as missing wherever a treatment is planned.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Literal, get_args

Tactic = Literal["adult", "larva", "biological", "cultural"]

TACTICS: tuple[Tactic, ...] = get_args(Tactic)

MOST_NIGHTS = 120
"""A longer window would reach from one part of the season into another."""


@dataclass(frozen=True, slots=True)
class TacticSettings:
    """What is applied against one stage; every value is text as on the label, blank if not given.

    Parameters
    ----------
    product
        Product as the user calls it.
    registration_number
        Registration number on its label.
    irac_group
        IRAC mode-of-action group on its label, e.g. ``"3A"``; several joined by ``+``.
    target_pest
        Target pest as the record must name it.
    rate
        Amount of product per area or per volume of spray, e.g. ``"0.5 fl oz/1000 ft2"``,
        ``"1.2 L/ha"`` or ``"4 fl oz/100 gal"``.
    spray_volume
        Spray per area, e.g. ``"2 gal/1000 ft2"``; blank for what is spread dry.
    tank
        Volume of the tank, or the hopper's load of a dry product, e.g. ``"160 gal"``, ``"50 lb"``.
    price
        Price of the product, number first, e.g. ``"62/gal"``.
    application_cost
        Cost of going over an area, number first, e.g. ``"20/acre"``.
    re_entry, notification, restrictions
        What label and local rules ask for, in the user's words.

    Examples
    --------
    >>> TacticSettings(rate="1.2 L/ha").product
    ''
    """

    product: str = ""
    registration_number: str = ""
    irac_group: str = ""
    target_pest: str = ""
    rate: str = ""
    spray_volume: str = ""
    tank: str = ""
    price: str = ""
    application_cost: str = ""
    re_entry: str = ""
    notification: str = ""
    restrictions: str = ""


@dataclass(frozen=True, slots=True)
class TreatmentSettings:
    """How treatments are planned, and how their effect is looked at.

    Parameters
    ----------
    customer
        Name and address of whom the work is done for, as the record must name them.
    currency
        What is written before an amount of money.
    buffers
        Word of the kind of an obstacle or refuge -> width kept untreated around it, e.g.
        ``{"water": "25 ft"}``; ``"0 ft"`` leaves out the shape itself. ``water`` stands for every
        word for water.
    exclusion_uses
        Uses of zones that are never treated, and are cut out of zones that they overlap.
    before_nights, after_nights
        Nights before and after a treatment whose visits are compared (common practice, no source).
    cold_c
        Nights below this mean temperature are marked as cold. Walking is held back below 20 C
        (68 F) (Patterson, Xiong & Barrett 2017, GCM July, 60-65).
    tactics
        Tactic -> what is applied.
    """

    customer: str = ""
    currency: str = ""
    buffers: Mapping[str, str] = field(default_factory=dict)
    exclusion_uses: tuple[str, ...] = ()
    before_nights: int = 28
    after_nights: int = 28
    cold_c: float = 20.0
    tactics: Mapping[str, TacticSettings] = field(default_factory=dict)


Problem = tuple[str, str]
"""Key inside `[treatment]`, and what is wrong with its value."""


def parse_treatment(table: Mapping[str, Any]) -> tuple[TreatmentSettings, list[Problem]]:
    """Check and type the `[treatment]` table of a `site.toml`.

    Amounts stay as typed; `spatial.units` reads them where they are used.

    Returns
    -------
    TreatmentSettings, list
        The settings, and every problem; with a problem the settings are not to be used.

    Examples
    --------
    >>> given = {"buffers": {"water": "25 ft"}, "adult": {"rate": "1.2 L/ha"}}
    >>> settings, problems = parse_treatment(given)
    >>> settings.tactics["adult"].rate, problems
    ('1.2 L/ha', [])
    >>> parse_treatment({"adult": {"rate": 1.2}})[1]
    [('adult.rate', 'expected text in quotation marks, found 1.2')]
    """
    known = [entry.name for entry in fields(TreatmentSettings) if entry.name != "tactics"]
    problems = _unknown("", table, (*known, *TACTICS))
    values: dict[str, Any] = {}
    for key in known:
        if key in table:
            values[key], found = _READERS[key](key, table[key])
            problems += found
    tactics: dict[str, TacticSettings] = {
        name: _tactic(name, table[name], problems) for name in TACTICS if name in table
    }
    return TreatmentSettings(**values, tactics=tactics), problems


def _tactic(name: str, given: Any, problems: list[Problem]) -> TacticSettings:
    if not isinstance(given, dict):
        problems.append((name, f"expected a table [treatment.{name}], found {given!r}"))
        return TacticSettings()
    known = [entry.name for entry in fields(TacticSettings)]
    problems += _unknown(f"{name}.", given, known)
    texts = {}
    for key in known:
        if key in given:
            texts[key], found = _text(f"{name}.{key}", given[key])
            problems += found
    return TacticSettings(**texts)


def _unknown(place: str, given: Mapping[str, Any], known: tuple[str, ...] | list[str]) -> list[Any]:
    listed = ", ".join(known)
    return [
        (f"{place}{key}", f"there is no such setting; it may be one of {listed}")
        for key in given
        if key not in known
    ]


def _text(key: str, value: Any) -> tuple[str, list[Problem]]:
    if isinstance(value, str):
        # One line each: they go into rows of a record.
        return " ".join(value.split()), []
    return "", [(key, f"expected text in quotation marks, found {value!r}")]


def _texts(key: str, value: Any) -> tuple[dict[str, str], list[Problem]]:
    if not isinstance(value, dict):
        return {}, [(key, f"expected a table [treatment.{key}], found {value!r}")]
    read = {name.strip().lower(): _text(f"{key}.{name}", text) for name, text in value.items()}
    problems = [problem for _, found in read.values() for problem in found]
    problems += [(f"{key}.{name}", "it is blank") for name, (text, _) in read.items() if not text]
    return {name: text for name, (text, _) in read.items()}, problems


def _words(key: str, value: Any) -> tuple[tuple[str, ...], list[Problem]]:
    if isinstance(value, list) and all(isinstance(word, str) and word.strip() for word in value):
        return tuple(word.strip() for word in value), []
    return (), [(key, f"expected a list of texts in square brackets, found {value!r}")]


def _nights(key: str, value: Any) -> tuple[int, list[Problem]]:
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= MOST_NIGHTS:
        return value, []
    return 1, [(key, f"expected a whole number from 1 to {MOST_NIGHTS}, found {value!r}")]


def _temperature(key: str, value: Any) -> tuple[float, list[Problem]]:
    if isinstance(value, int | float) and not isinstance(value, bool) and -50 <= value <= 50:
        return float(value), []
    return 0.0, [(key, f"expected a temperature in C from -50 to 50, found {value!r}")]


_READERS = {
    "customer": _text,
    "currency": _text,
    "buffers": _texts,
    "exclusion_uses": _words,
    "before_nights": _nights,
    "after_nights": _nights,
    "cold_c": _temperature,
}
"""Setting -> the function that checks its value."""
