"""The texts of the degree-day models that ship, in the language of the page."""

from __future__ import annotations

from typing import Literal

from data.degree_day_models import DegreeDayModel, shipped_models
from maps.catalogue import Catalogue

ModelText = Literal["name", "source", "method_note"]
"""A text of a model that pages show."""


def model_text(model: DegreeDayModel, part: ModelText, lang: Catalogue) -> str:
    """Return a text of a model; one of the user's own stands as it is, even under a name of ours.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from maps.language_file import english
    >>> model = next(each for each in shipped_models() if each.key == "mixed_mountain_west_2015")
    >>> model_text(model, "source", english())
    'ASA-CSSA-SSSA meeting 2015, abstract 217-2'
    >>> model_text(replace(model, source="own records"), "source", english())
    'own records'
    """
    text, key = getattr(model, part), f"season_models.{model.key}.{part}"
    ours = {each.key: getattr(each, part) for each in shipped_models()}
    return lang.say(key) if ours.get(model.key) == text and key in lang.messages else str(text)
