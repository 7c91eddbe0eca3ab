"""The messages that a page's script says itself, handed over as data."""

from __future__ import annotations

from typing import Any

from maps.catalogue import Catalogue

Json = dict[str, Any]


def script_words(lang: Catalogue, *sections: str) -> Json:
    """Return what ``templates/say.js`` needs to speak a language.

    Parameters
    ----------
    lang
        Language.
    sections
        Sections of the language file whose messages the script says; numbers always go along.

    Examples
    --------
    >>> from maps.language_file import english
    >>> said = script_words(english(), "uses")
    >>> said["locale"], said["messages"]["uses.sod_block"]
    ('en', 'sod block')
    """
    wanted = {"numbers", *sections}
    messages = {
        key: message if isinstance(message, str) else dict(message)
        for key, message in lang.messages.items()
        if key.partition(".")[0] in wanted
    }
    return {"locale": lang.tag, "messages": messages}
