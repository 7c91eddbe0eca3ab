"""A language file read and checked: our own English one, or a user's translation of it."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from string import Formatter
from typing import Any

from babel import Locale, UnknownLocaleError

from data.findings import SettingsError
from data.suggestions import did_you_mean
from maps.catalogue import PLURALS, Catalogue, Message

ENGLISH_FILE = Path(__file__).resolve().parent / "languages" / "en.toml"

HEAD = ("locale", "name")
"""Keys of a language file that are no messages."""

_COUNTED = 1000
"""Forms that no count below this takes are not asked for: only millions take them."""

_SINGULAR = {"zero", "one", "two"}
"""Forms that may say their number in a word of their own."""


@cache
def english() -> Catalogue:
    """Return the language that ships.

    Examples
    --------
    >>> english().tag, english().direction, english().say("headings.where")
    ('en', 'ltr', 'Where')
    """
    parsed = tomllib.loads(ENGLISH_FILE.read_text(encoding="utf-8"))
    return Catalogue(Locale.parse(parsed["locale"]), dict(_messages(parsed)))


def _messages(tables: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Message]]:
    """Yield the messages of our own file; what has a plural form under it is one message."""
    for key, value in tables.items():
        name = f"{prefix}{key}"
        if name in HEAD:
            continue
        if isinstance(value, str) or "other" in value:
            yield name, value
        else:
            yield from _messages(value, f"{name}.")


def read_catalogue(path: Path) -> Catalogue:
    """Read a user's language file; what it leaves out stands in English and is told.

    Parameters
    ----------
    path
        A translated copy of `ENGLISH_FILE`, or of a part of it.

    Raises
    ------
    SettingsError
        If it cannot be read, or a message is unknown or does not fit: all faults at once.
    """
    try:
        data = path.read_bytes()
        parsed = tomllib.loads(data.decode("utf-8-sig"))
    except OSError as error:
        raise SettingsError(f"{path.name} cannot be read ({error.strerror})") from None
    except UnicodeDecodeError:
        raise SettingsError(f"{path.name} is not UTF-8 text; save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(
            f"{path.name} is not valid TOML: {error}; every text stands between double quotes, "
            "each message on a line of its own"
        ) from None
    return _checked(path.name, parsed, hashlib.sha256(data).hexdigest())


def _checked(name: str, parsed: Mapping[str, Any], digest: str) -> Catalogue:
    known = english().messages
    given = dict(_given(parsed, known))
    locale = _locale(parsed.get("locale"))
    faults = [*_head_faults(parsed, locale)]
    forms = needed_forms(locale) if locale else None
    for key, message in known.items():
        if key in given:
            faults += [(f"{key}{at}", text) for at, text in _faults(given[key], message, forms)]
    faults += [(key, _unknown(key, known)) for key in given if key not in known]
    if not any(key in given for key in known):
        faults.append(("messages", "expected lines of the English file; found none; copy it"))
    if faults or locale is None:
        raise SettingsError("\n".join(f"{name}, {key}: {text}" for key, text in faults))
    # In the order of the English file, so that the user's order changes nothing.
    messages = {key: given.get(key, message) for key, message in known.items()}
    left_out = tuple(key for key in known if key not in given)
    return Catalogue(locale, messages, name, digest, left_out)


def _given(
    tables: Mapping[str, Any], known: Mapping[str, Message], prefix: str = ""
) -> Iterator[tuple[str, Any]]:
    """Yield every key of a user's file with what stands there, whatever it is."""
    for key, value in tables.items():
        name = f"{prefix}{key}"
        if name in HEAD:
            continue
        if isinstance(value, dict) and name not in known:
            yield from _given(value, known, f"{name}.")
        else:
            yield name, value


def _locale(tag: object) -> Locale | None:
    # A tag with a modifier is none of BCP 47, and a browser refuses it.
    if not isinstance(tag, str) or "@" in tag:
        return None
    try:
        return Locale.parse(tag.strip().replace("_", "-"), sep="-")
    except (ValueError, UnknownLocaleError):
        return None


def _head_faults(parsed: Mapping[str, Any], locale: Locale | None) -> Iterator[tuple[str, str]]:
    if locale is None:
        found = _shown(parsed["locale"]) if "locale" in parsed else "nothing"
        yield (
            "locale",
            'expected the tag of a language that the Unicode CLDR knows, such as "de" or '
            f'"pt-BR"; found {found}; write it at the top of the file',
        )
    name = parsed.get("name")
    if not isinstance(name, str) or not name.strip():
        found = _shown(name) if "name" in parsed else "nothing"
        yield "name", f'expected the name of the language; found {found}; write name = "Deutsch"'


def needed_forms(locale: Locale) -> tuple[str, ...]:
    """Return the plural forms that a language needs for counts, in the order of the CLDR.

    Examples
    --------
    >>> [needed_forms(Locale(each)) for each in ("en", "pl", "ja")]
    [('one', 'other'), ('one', 'few', 'many', 'other'), ('other',)]
    """
    taken = {locale.plural_form(number) for number in range(_COUNTED)} | {"other"}
    return tuple(form for form in PLURALS if form in taken)


def _faults(
    given: object, message: Message, forms: tuple[str, ...] | None
) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with one message: where under its key, and the text."""
    wanted = placeholders([message] if isinstance(message, str) else message.values())
    if isinstance(given, str):
        if not isinstance(message, str) and forms not in {None, ("other",)}:
            yield "", _not_split(forms or ())
        yield from (("", text) for text in _text_faults(given, wanted, wanted))
    elif not isinstance(given, dict):
        yield "", f"expected a text; found {_shown(given)}; put it between double quotes"
    elif "number" not in wanted and isinstance(message, str):
        yield "", "expected one text, as it holds no {number}; found several; write one line"
    else:
        yield from _form_faults(given, wanted, forms)


def _form_faults(
    given: Mapping[str, object], wanted: set[str], forms: tuple[str, ...] | None
) -> Iterator[tuple[str, str]]:
    for form in forms or ():
        if form not in given:
            yield f".{form}", _not_split(forms or (), "nothing")
    for form, text in given.items():
        if form not in (forms or PLURALS):
            allowed = ", ".join(forms or PLURALS)
            yield f".{form}", f"expected one of {allowed}; found {form}; take the line out"
        elif not isinstance(text, str):
            yield f".{form}", f"expected a text; found {_shown(text)}; put it between double quotes"
        else:
            least = wanted - {"number"} if form in _SINGULAR else wanted
            yield from ((f".{form}", fault) for fault in _text_faults(text, least, wanted))


def _text_faults(text: str, least: set[str], most: set[str]) -> Iterator[str]:
    if not text.strip():
        yield "expected a text; found a blank one; translate the English one"
        return
    if any(letter < " " or "\x7f" <= letter <= "\x9f" for letter in text):
        yield "expected one line of text; found a line end or control sign; take it out"
    try:
        found = placeholders([text])
    except ValueError as error:
        yield (
            f"expected {_braced(most)}; found braces that cannot be read ({error}); write each "
            "name between { and }"
        )
        return
    if not least <= found <= most:
        yield (
            f"expected {_braced(most)}; found {_braced(found)}; keep what stands in braces, spelt "
            "as in the English file"
        )


def placeholders(texts: Iterable[str]) -> set[str]:
    """Return what is filled into some texts.

    Raises
    ------
    ValueError
        If braces do not match, or hold more than a name.

    Examples
    --------
    >>> sorted(placeholders(["{number} of {all} zones"]))
    ['all', 'number']
    """
    found = set()
    for text in texts:
        for _, name, layout, conversion in Formatter().parse(text):
            if layout or conversion or (name is not None and not name.isidentifier()):
                raise ValueError("braces hold one name and nothing else")
            found |= {name} if name else set()
    return found


def _unknown(key: str, known: Mapping[str, Message]) -> str:
    hint = did_you_mean(key, list(known), "take the line out")
    return f"expected a key of the English file; found {key}; {hint}"


def _not_split(forms: Iterable[str], found: str = "one text") -> str:
    wanted = ", ".join(f".{form}" for form in forms)
    return f"expected a line for each of {wanted}; found {found}; write them all"


def _braced(names: Iterable[str]) -> str:
    return ", ".join(f"{{{name}}}" for name in sorted(names)) or "no braces"


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."
