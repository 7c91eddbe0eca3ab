"""Parsing XML of strangers: no document type, no entities, no depth without end."""

from __future__ import annotations

from typing import NoReturn
from xml.etree import ElementTree
from xml.parsers import expat

from data.findings import Finding, InputError

DEEPEST = 100
"""More elements inside each other than any file of places needs."""


class _UnsafeError(ValueError):
    """The text declares a document type or is nested too deeply."""


def parse_xml(content: bytes, file: str) -> ElementTree.Element:
    """Parse XML once it is known to be harmless.

    Parameters
    ----------
    content
        The bytes, in any encoding that XML knows.
    file
        Its name, for messages.

    Raises
    ------
    InputError
        When the text is not XML, or not safe.

    Examples
    --------
    >>> parse_xml(b"<kml><Document/></kml>", "zones.kml").tag
    'kml'
    """
    try:
        _look_through(content)
        return ElementTree.fromstring(content)
    except _UnsafeError as error:
        raise _refusal("IN-082", file, str(error), "export it again as plain KML or GPX") from None
    except (expat.ExpatError, ElementTree.ParseError, ValueError, LookupError):
        raise _refusal("IN-002", file, "the text is not valid XML", "export it again") from None


def _look_through(content: bytes) -> None:
    """Stop at the first document type: entities can only be declared inside one."""
    parser = expat.ParserCreate()
    depth = 0

    def refuse(*_: object) -> NoReturn:
        raise _UnsafeError("the XML declares a document type, which can hide a trap")

    def start(_name: str, _attributes: object) -> None:
        nonlocal depth
        depth += 1
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
