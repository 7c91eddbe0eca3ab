"""Parsing XML of strangers: no document type, no entities, no depth without end."""

from __future__ import annotations

from collections.abc import Sized
from typing import NoReturn
from xml.etree import ElementTree
from xml.parsers import expat

from data.findings import Finding, InputError

DEEPEST = 100
"""More elements inside each other than any file of places needs."""

LARGEST_XML_MB = 50
"""Text of one XML file, however small it is packed; 20 times as much with `[read] allow_large`."""

MOST_PARTS = 1_000_000
"""Elements and attributes of it, ten times as many with `allow_large`: each takes some 100 bytes of
memory, however short its text is."""


class _UnsafeError(ValueError):
    """The text declares a document type or is nested too deeply."""


class _TooManyError(ValueError):
    """The text has more elements than are read at a time."""


def parse_xml(content: bytes, file: str, *, large: bool = False) -> ElementTree.Element:
    """Parse XML once it is known to be harmless.

    Parameters
    ----------
    content
        The bytes, in any encoding that XML knows.
    file
        Its name, for messages.
    large
        Allow more text and more elements.

    Raises
    ------
    InputError
        When the text is not XML, too large, or not safe.

    Examples
    --------
    >>> parse_xml(b"<kml><Document/></kml>", "zones.kml").tag
    'kml'
    """
    if len(content) > LARGEST_XML_MB * 1_000_000 * (20 if large else 1):
        fix = "split it into several files"
        raise _refusal("IN-017", file, f"its text is more than {LARGEST_XML_MB} MB", fix)
    try:
        _look_through(content, MOST_PARTS * (10 if large else 1))
        return ElementTree.fromstring(content)
    except _UnsafeError as error:
        raise _refusal("IN-082", file, str(error), "export it again as plain KML or GPX") from None
    except _TooManyError as error:
        raise _refusal("IN-094", file, str(error), "keep only the places needed") from None
    except (expat.ExpatError, ElementTree.ParseError, ValueError, LookupError):
        raise _refusal("IN-002", file, "the text is not valid XML", "export it again") from None


def _look_through(content: bytes, most: int) -> None:
    """Stop at the first document type: entities can only be declared inside one."""
    parser = expat.ParserCreate()
    depth = parts = 0

    def refuse(*_: object) -> NoReturn:
        raise _UnsafeError("the XML declares a document type, which can hide a trap")

    def start(_name: str, attributes: Sized) -> None:
        nonlocal depth, parts
        depth, parts = depth + 1, parts + 1 + len(attributes)
        if parts > most:
            raise _TooManyError(f"it has more than {most:,} elements and attributes")
        if depth > DEEPEST:
            raise _UnsafeError(f"more than {DEEPEST} elements are inside each other")

    def end(_name: str) -> None:
        nonlocal depth
        depth -= 1

    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.Parse(content, True)


def _refusal(code: str, file: str, problem: str, fix: str) -> InputError:
    return InputError([Finding(code, file, problem, fix)])
