"""From the bytes of a text file to its text."""

from __future__ import annotations

import codecs
from dataclasses import dataclass

ENCODINGS = (
    *("utf-8", "utf-16", "windows-1250", "windows-1251", "windows-1252", "windows-1254"),
    *("iso-8859-1", "iso-8859-2", "iso-8859-15", "mac-roman", "cp437", "cp850"),
)
"""What `[read] encoding` may say."""

_MARKS = (
    # The mark of UTF-32 begins with that of UTF-16, so it is looked for first.
    (codecs.BOM_UTF32_LE, ""),
    (codecs.BOM_UTF32_BE, ""),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


@dataclass(frozen=True, slots=True)
class DecodedText:
    """The text of a file.

    Parameters
    ----------
    text
        Without a byte-order mark.
    guessed_at
        Line (from 1) of the first character that is not UTF-8, when the text was read as
        Windows-1252 without being declared so; None otherwise.
    """

    text: str
    guessed_at: int | None = None


def has_wide_mark(content: bytes) -> bool:
    """Return whether a byte-order mark says that the text is UTF-16."""
    return _marked(content) == "utf-16"


def decode(content: bytes, declared: str | None = None) -> DecodedText:
    """Decode a text file.

    Parameters
    ----------
    content
        Its bytes.
    declared
        One of `ENCODINGS`, or None. A byte-order mark is a fact and goes first.

    Raises
    ------
    ValueError
        Saying what is wrong, when the bytes do not fit.

    Examples
    --------
    >>> decode("Grün".encode("utf-16")), decode("Grün".encode("cp1252"))
    (DecodedText(text='Grün', guessed_at=None), DecodedText(text='Grün', guessed_at=1))
    """
    encoding = _marked(content)
    if encoding == "":
        raise ValueError("the text is UTF-32")
    encoding = encoding or (declared and declared.lower()) or "utf-8"
    try:
        return DecodedText(content.decode(encoding).removeprefix("\ufeff"))
    except UnicodeDecodeError as error:
        if declared or encoding != "utf-8":
            name = encoding.upper().removesuffix("-SIG")
            line = _line_of(content, error.start)
            problem = f"line {line} (byte {error.start} of the file) is not {name} text"
            raise ValueError(problem) from None
        return _windows(content, error.start)


def _windows(content: bytes, first: int) -> DecodedText:
    """Read as Windows-1252, in which five bytes mean nothing."""
    try:
        text = content.decode("windows-1252")
    except UnicodeDecodeError as error:
        line = _line_of(content, error.start)
        problem = (
            f"line {line} (byte {error.start} of the file) is neither UTF-8 nor Windows-1252 text"
        )
        raise ValueError(problem) from None
    return DecodedText(text, guessed_at=_line_of(content, first))


def _line_of(content: bytes, place: int) -> int:
    return content.count(b"\n", 0, place) + 1


def _marked(content: bytes) -> str | None:
    return next((name for mark, name in _MARKS if content.startswith(mark)), None)
