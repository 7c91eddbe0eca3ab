"""Values that readers stumble over, and spoiling text without knowing what it says."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from typing import Any

Chance = random.Random
Spoil = Callable[[bytes, Chance], bytes]

LONGEST = 300_000
"""Bytes or characters that one change may add; what is larger is a matter of the size limits."""

WORDS = (
    *("", " ", "\t", "\u00a0", "\u200b", "\ufeff", "\u202e", "\u2028", "\x85", "\x00", "\x1b[2J"),
    *(
        "NaN",
        "nan",
        "inf",
        "-inf",
        "Infinity",
        "None",
        "null",
        "NULL",
        "NA",
        "#N/A",
        "true",
        "<NA>",
    ),
    *("0", "-0", "-1", "1e308", "1e400", "1e-400", "9" * 400, "0x10", "1_000", "1,5", "1.5.2", "+"),
    *("\u0663", "\u00bd", "\u00b2", "\uff11", "12\u00a0345", "=1+1", "@SUM(A1)", "-2+3", "'7", '"'),
    *(
        "ok",
        "OK ",
        "flooded",
        "T01",
        "T1",
        "t-01",
        "H01-FW",
        "\u212a",
        "\u0130",
        "\ud7ff",
        "a" * 5000,
    ),
    *(
        "2025-02-30",
        "0000-00-00",
        "0001-01-01",
        "9999-12-31",
        "10000-01-01",
        "1677-09-20",
        "-2025-01-01",
    ),
    *(
        "2262-04-12",
        "2025-W10",
        "2025-056",
        "24.02.2025",
        "2/3/25",
        "2025-02-24T23:59:60Z",
        "45000",
    ),
    *("2025-02-24T00:00:00+14:00", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00"),
    *(
        "91",
        "181",
        "-180.0000001",
        "40\u00b0 26' 46.2\" N",
        "80 0.5 W",
        "40d",
        "N",
        "1e5 N",
        "\u00b0",
    ),
    *(
        "POINT EMPTY",
        "POLYGON EMPTY",
        "POINT (nan nan)",
        "SRID=4326;POINT (1 2)",
        "POINT Z (1 2 3)",
    ),
    *(
        "POLYGON ((0 0, 1 1, 1 0))",
        "LINESTRING (0 0)",
        "MULTIPOLYGON (((0 0,1 0,1 1,0 0)))",
        "{}",
        "[]",
    ),
    *(
        "CURVEPOLYGON (CIRCULARSTRING (0 0, 1 0, 0 0))",
        "../x",
        "/vsicurl/x",
        "{0}",
        "%s",
        "\\",
        "\n",
    ),
)

JSON_TEXTS = (
    *("null", "true", "0", "-1", "1e999", "-1e999", "NaN", "Infinity", "1e-999", "9" * 5000, '""'),
    *('"\\ud800"', '"\\u0000"', '"x"', "[]", "{}", "[[]]", "[null]", '[{"a": []}]', "1.0", "1E5"),
    *('{"type": "Point"}', '{"type": "Point", "coordinates": [1, 2, 3, 4, 5]}', '[1, "2"]'),
    *('{"type": "Point", "coordinates": []}', '{"type": "Polygon", "coordinates": [[]]}'),
    *('{"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [1, 0]]]}', '{"type": 7}'),
    *(
        '{"type": "MultiPolygon", "coordinates": []}',
        '{"type": "LineString", "coordinates": [[0, 0]]}',
    ),
    *('{"type": "GeometryCollection", "geometries": [null]}', '{"coordinates": [0, 0]}'),
)

MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", b"\xff\xfe\x00\x00", b"\x00", b"\n\n", b"\x1a")
ENCODINGS = ("utf-16", "utf-16-le", "utf-32", "cp1252", "utf-7", "cp037", "shift-jis", "utf-8-sig")


def flip(content: bytes, chance: Chance) -> bytes:
    """Change some bytes."""
    spoiled = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 4, 16)) if spoiled else 0):
        place = chance.randrange(len(spoiled))
        spoiled[place] = chance.choice((0, 0xFF, spoiled[place] ^ (1 << chance.randrange(8))))
    return bytes(spoiled)


def cut(content: bytes, chance: Chance) -> bytes:
    """Leave out the end, the start or a piece."""
    one, other = sorted(chance.randrange(len(content) + 1) for _ in range(2))
    return chance.choice((content[:one], content[other:], content[:one] + content[other:]))


def repeat(content: bytes, chance: Chance) -> bytes:
    """Write a piece again, a few times."""
    one = chance.randrange(len(content) + 1)
    other = min(len(content), one + chance.choice((1, 4, 64, 4096)))
    piece = content[one:other]
    times = min(chance.choice((1, 2, 100)), LONGEST // max(1, len(piece)))
    return content[:other] + piece * times + content[other:]


def insert(content: bytes, chance: Chance) -> bytes:
    """Put a mark or a hostile word somewhere, mostly at the start."""
    piece = chance.choice((*MARKS, chance.choice(WORDS).encode()))
    place = 0 if chance.random() < 0.5 else chance.randrange(len(content) + 1)
    return content[:place] + piece + content[place:]


def number(content: bytes, chance: Chance) -> bytes:
    """Write an extreme whole number over some bytes, in either order."""
    size = chance.choice((1, 2, 4, 8))
    if len(content) <= size:
        return content
    value: int = chance.choice(
        (0, 1, 2**31 - 1, 2**31, 2**32 - 1, 2**63, 2**64 - 1, 100_001, 0x7FFF)
    )
    value = value % (1 << 8 * size)
    place = chance.randrange(len(content) - size)
    order = chance.choice(("little", "big"))
    written = value.to_bytes(size, "little") if order == "little" else value.to_bytes(size, "big")
    return content[:place] + written + content[place + size :]


def recode(content: bytes, chance: Chance) -> bytes:
    """Write a text in another encoding."""
    text = content.decode("utf-8", "replace") + chance.choice(("", "\u00fc", "\u20ac"))
    return text.encode(chance.choice(ENCODINGS), "replace")


BYTES: Sequence[Spoil] = (flip, cut, repeat, insert, number)
TEXT: Sequence[Spoil] = (*BYTES, recode)


def any_of(spoils: Sequence[Spoil]) -> Spoil:
    """Return a change that is one of several by chance."""

    def spoil(content: bytes, chance: Chance) -> bytes:
        chosen: Spoil = chance.choice(spoils)
        return chosen(content, chance)

    return spoil


def word(chance: Chance, more: Sequence[Any] = ()) -> str:
    """Return a hostile word, or one of some more."""
    if chance.random() < 0.05:
        return chance.choice(("x", "\u00e9", "7 ", '"')) * chance.choice((1000, 140_000))
    return str(chance.choice(more)) if more and chance.random() < 0.4 else chance.choice(WORDS)
