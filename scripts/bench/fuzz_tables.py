"""Spoiling plain tables and settings by their structure."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence

from scripts.bench.fuzz_corpus import hostile_cells
from scripts.bench.fuzz_values import Chance, word

Rows = list[list[str]]

CELLS, SHAPES = hostile_cells()

TOML_VALUES = (
    *(
        '""',
        '"x"',
        "0",
        "-1",
        "1e400",
        "nan",
        "inf",
        "true",
        "[]",
        "{}",
        "[[]]",
        "2025-02-15",
        "9" * 400,
    ),
    *(
        '"EPSG:4326"',
        '"EPSG:2263"',
        '"EPSG:32761"',
        '"EPSG:999999"',
        '"EPSG:3857"',
        '"02-29"',
        '"13-40"',
    ),
    *(
        '["", ""]',
        '["a", "a"]',
        '{a = ""}',
        '"../x"',
        '"a\\u0000b"',
        '"con"',
        "12:00:00",
        '"%Y"',
        '"."',
    ),
    *(
        '"visits.csv"',
        '"zones.geojson"',
        '"Africa"',
        '"America/Chicago"',
        '"DD/MM/YYYY"',
        '","',
        '";"',
    ),
)

TOML_LINES = (
    *("[read]", "[read.visits]", "[read.zones]", "[files]", "[columns.visits]", "[columns.zones]"),
    *(
        "[local_grid]",
        "[network]",
        "[marks]",
        "[round]",
        "[map]",
        "[season]",
        "[[season]]",
        "[designs.x]",
    ),
    *(
        'all = "visits.csv"',
        'visits = "zones.geojson"',
        'zones = "visits.csv"',
        "allow_large = true",
    ),
    *('crs = "EPSG:4326"', 'crs = "EPSG:2263"', 'units = "us_survey_ft"', 'decimal = ","'),
    *('date_format = "D.M.YY"', 'encoding = "utf-16"', 'encoding = "cp437"', 'delimiter = ";"'),
    *('"trap_id" = "note"', '"note" = "trap_id"', '"status" = "species"', "origin = [0, 91]"),
    *("origin = [-44, 43]", "bearing_deg = 1e400", 'time_zone = "America/Chicago"', 'design = " "'),
    *("ratio = 0.0", "reference = true", 'species = "adults"', "a.b.c = 1", "permutations = 1e9"),
)


def spoil_csv(content: bytes, chance: Chance) -> bytes:
    """Change a table of text by its rows, columns and cells."""
    rows = list(csv.reader(io.StringIO(content.decode("utf-8", "replace"), newline="")))
    if rows and rows[0]:
        rows = chance.choice(_TABLE_CHANGES)([list(row) for row in rows], chance)
    return _written(rows, chance).encode("utf-8", "replace")


def _written(rows: Rows, chance: Chance) -> str:
    buffer = io.StringIO(newline="")
    csv.writer(
        buffer,
        delimiter="," if chance.random() < 0.8 else chance.choice(";\t|"),
        quoting=csv.QUOTE_MINIMAL if chance.random() < 0.8 else csv.QUOTE_ALL,
        lineterminator="\n" if chance.random() < 0.8 else chance.choice(("\r", "\r\n", "\n\r")),
    ).writerows(rows)
    return buffer.getvalue()


def _cells(rows: Rows, chance: Chance) -> Rows:
    for _ in range(chance.choice((1, 3, 30))):
        row = chance.choice(rows[1:] or rows)
        if row:
            row[chance.randrange(len(row))] = word(chance, CELLS)
    return rows


def _whole_column(rows: Rows, chance: Chance) -> Rows:
    place, value = chance.randrange(len(rows[0])), word(chance, CELLS)[:2000]
    for row in rows[1:]:
        if place < len(row):
            row[place] = value
    return rows


def _columns(rows: Rows, chance: Chance) -> Rows:
    one, other = (chance.randrange(len(rows[0])) for _ in range(2))
    change = chance.choice(("drop", "double", "swap", "add"))
    for row in rows:
        if max(one, other) >= len(row):
            continue
        if change == "drop":
            del row[one]
        elif change == "double":
            row.insert(other, row[one])
        elif change == "swap":
            row[one], row[other] = row[other], row[one]
        else:
            row.insert(one, word(chance)[:100])
    return rows


def _header(rows: Rows, chance: Chance) -> Rows:
    known = (
        *rows[0],
        "geometry",
        "wkt",
        "easting",
        "x_m",
        "species",
        "index",
        "source_row",
        "level_0",
    )
    for _ in range(chance.choice((1, 1, 4))):
        rows[0][chance.randrange(len(rows[0]))] = word(chance, known)
    return rows


def _rows(rows: Rows, chance: Chance) -> Rows:
    row = chance.choice(rows)
    place = chance.randrange(len(rows) + 1)
    times = chance.choice((1, 2, 50))
    change = chance.choice(("drop", "double", "shuffle", "blank", "headless", "short"))
    if change == "drop":
        return [each for each in rows if each is not row]
    if change == "shuffle":
        chance.shuffle(rows)
    elif change == "headless":
        return rows[1:]
    elif change == "short":
        return rows[: chance.choice((1, 2, 3))]
    else:
        rows[place:place] = [list(row) if change == "double" else [] for _ in range(times)]
    return rows


def _ragged(rows: Rows, chance: Chance) -> Rows:
    for _ in range(chance.choice((1, 5))):
        row = chance.choice(rows)
        if chance.random() < 0.5:
            del row[chance.randrange(len(row) + 1) :]
        else:
            row.extend([word(chance)[:50]] * chance.choice((1, 3, 2000)))
    return rows


def _wide(rows: Rows, chance: Chance) -> Rows:
    count = chance.choice((50, 500))
    return [[*row, *(f"c{n}" if row is rows[0] else "" for n in range(count))] for row in rows]


_TABLE_CHANGES: Sequence[Callable[[Rows, Chance], Rows]] = (
    *(_cells, _cells, _cells, _whole_column, _columns, _header, _rows, _ragged, _wide),
)


def spoil_toml(content: bytes, chance: Chance) -> bytes:
    """Change settings by their lines and values."""
    lines = content.decode("utf-8", "replace").splitlines()
    for _ in range(chance.choice((1, 2, 4))):
        lines = _toml_change(lines, chance)
    return "\n".join(lines).encode("utf-8", "replace")


def _toml_change(lines: list[str], chance: Chance) -> list[str]:
    place = chance.randrange(len(lines) + 1)
    change = chance.random()
    if change < 0.4:
        return [*lines[:place], chance.choice(TOML_LINES), *lines[place:]]
    if change < 0.5:
        return [*lines, chance.choice(TOML_LINES[:14]), *chance.sample(TOML_LINES[14:], 2)]
    if change < 0.85:
        keys = [n for n, line in enumerate(lines) if "=" in line]
        if keys:
            chosen = chance.choice(keys)
            lines[chosen] = f"{lines[chosen].partition('=')[0]}= {chance.choice(TOML_VALUES)}"
        return lines
    if change < 0.95:
        return lines[:place] + lines[place + 1 :]
    return [*lines, f"{'a.' * chance.choice((1, 500))}b = {'[' * 3000}", word(chance)]
