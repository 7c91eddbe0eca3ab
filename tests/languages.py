"""Made-up languages: files as a translator would write them, from the English messages."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Callable, Mapping
from html.parser import HTMLParser
from pathlib import Path

from babel import Locale

from maps.catalogue import Catalogue, Message
from maps.language_file import english, needed_forms, read_catalogue

EN = english()

OPEN = "\N{SINGLE LEFT-POINTING ANGLE QUOTATION MARK}"
CLOSE = "\N{SINGLE RIGHT-POINTING ANGLE QUOTATION MARK}"

_ASCII = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
_STRANGE = str.maketrans({each: chr(0x410 + n) for n, each in enumerate(_ASCII)})
"""Latin letters -> Cyrillic ones, which the font of the page has."""

_BRACES = re.compile(r"(\{\w+\})")


def section(name: str) -> dict[str, str]:
    """Return the messages of a section by the rest of their key, every plural form in one text."""
    return {
        key.removeprefix(f"{name}."): text if isinstance(text, str) else " ".join(text.values())
        for key, text in EN.messages.items()
        if key.startswith(f"{name}.")
    }


def pseudo(text: str) -> str:
    """Return a message between two rare signs, without a Latin letter outside its braces."""
    parts = _BRACES.split(text)
    strange = [each if n % 2 else each.translate(_STRANGE) for n, each in enumerate(parts)]
    return f"{OPEN}{''.join(strange)}{CLOSE}"


def same(text: str) -> str:
    return text


def translated(
    locale: str, change: Callable[[str], str] = same, **own: Message
) -> dict[str, Message]:
    """Return every message in the plural forms of a locale; `own` by key, dots as two strokes."""
    forms = needed_forms(Locale.parse(locale, sep="-"))
    messages: dict[str, Message] = {}
    for key, message in EN.messages.items():
        if isinstance(message, str):
            messages[key] = change(message)
        else:
            messages[key] = {form: change(message.get(form, message["other"])) for form in forms}
    return messages | {key.replace("__", "."): message for key, message in own.items()}


def toml_of(locale: str, messages: Mapping[str, object]) -> str:
    """Return a language file with one line for each message and plural form."""
    lines = [f'locale = "{locale}"', 'name = "made up"']
    for key, message in messages.items():
        if isinstance(message, Mapping):
            lines += [f"{key}.{form} = {json.dumps(text)}" for form, text in message.items()]
        else:
            lines.append(f"{key} = {json.dumps(message)}")
    return "\n".join(lines) + "\n"


def written(path: Path, locale: str, messages: Mapping[str, object]) -> Path:
    path.write_text(toml_of(locale, messages), encoding="utf-8")
    return path


def language(folder: Path, locale: str, messages: Mapping[str, object]) -> Catalogue:
    """Write a language file and read it as the command does."""
    return read_catalogue(written(folder / f"{locale}.toml", locale, messages))


# What bypasses a language file.

RUN = re.compile(r"(?<!\w)[A-Za-z]+(?:\s+[A-Za-z]+)+(?!\w)")


def plain_runs(text: str, users: set[str]) -> list[str]:
    """Return every run of two or more words in plain Latin letters that is not the user's own."""
    flat = " ".join(text.split())
    for own in sorted(users, key=lambda each: (-len(each), each)):
        flat = flat.replace(own, "\N{BULLET}")
    return RUN.findall(flat)


SENTENCE = re.compile(r"(?:[A-Za-z]{2,},? ){2,}[A-Za-z]{2,}")


def sentences_of(tree: ast.Module) -> set[str]:
    """Return the strings of a module that read like a sentence, docstrings left out."""
    alone = {id(each.value) for each in ast.walk(tree) if isinstance(each, ast.Expr)}
    for node in ast.walk(tree):
        alone |= {id(each) for each in node.values} if isinstance(node, ast.JoinedStr) else set()
    texts = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = [each.value for each in node.values if isinstance(each, ast.Constant)]
            texts.add("".join(map(str, parts)))
        elif isinstance(node, ast.Constant) and id(node) not in alone:
            texts.add(node.value if isinstance(node.value, str) else "")
    return {text for text in texts if SENTENCE.search(text)}


class Tags(HTMLParser):
    """The tags and attributes of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.names: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names += [tag, *(name for name, _ in attrs)]
