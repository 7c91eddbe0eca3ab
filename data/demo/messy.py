"""One season of the demo as a hurried scout types it, with the list of every planted mistake."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np

from data.demo.build import build_demo

MESSY_SEED = 20260504
SEASON = "2026"
PLANTED_FILE = "planted.json"

Row = dict[str, str]
Slip = Callable[[Row], tuple[str, str, str]]
"""Spoils a row and returns the column, the code and the column in which it is found."""


@dataclass(slots=True)
class Notebook:
    """The tables while they are spoiled, and what was planted: file, row, column, code."""

    tables: dict[str, list[Row]]
    planted: list[tuple[str, int, str, str]] = field(default_factory=list)

    def spoil(self, file: str, place: int, slip: Slip) -> None:
        """Spoil the row at a place (counted from 0) and note it."""
        _, code, column = slip(self.tables[file][place])
        self.planted.append((file, place + 2, column, code))

    def append(self, file: str, row: Row, column: str, code: str) -> None:
        """Add a mistaken row at the end of a table and note it."""
        self.tables[file].append(row)
        self.planted.append((file, len(self.tables[file]) + 1, column, code))


def messy_files() -> dict[str, bytes]:
    """Return every file of the messy twin: name -> bytes, with the list of what was planted.

    Examples
    --------
    >>> files = messy_files()
    >>> len(json.loads(files["planted.json"])) >= 60
    True
    """
    clean = build_demo()
    book = Notebook({name: _rows(clean[name]) for name in clean if name.endswith(".csv")})
    visits = book.tables["visits.csv"]
    book.tables["visits.csv"] = [row for row in visits if row["checked_on"].startswith(SEASON)]
    random = np.random.Generator(np.random.PCG64(MESSY_SEED))
    _spoil_visits(book, random)
    _spoil_traps(book)
    _spoil_records(book)
    files = {name: _text(rows) for name, rows in book.tables.items()}
    files |= {name: clean[name] for name in clean if not name.endswith(".csv")}
    files["zones.geojson"] = _spoiled_zones(clean["zones.geojson"], book)
    keys = ("file", "row", "column", "code")
    planted = [dict(zip(keys, each, strict=True)) for each in sorted(book.planted)]
    lines = ",\n".join(json.dumps(each) for each in planted)
    files[PLANTED_FILE] = f"[\n{lines}\n]\n".encode()
    return files


def _cell(column: str, code: str, typed: str | Callable[[str], str], found: str = "") -> Slip:
    """Return a slip of one cell: a text, or a function of what was there."""

    def slip(row: Row) -> tuple[str, str, str]:
        row[column] = typed if isinstance(typed, str) else typed(row[column])
        return column, code, found or column

    return slip


def _later(days: int) -> Callable[[str], str]:
    return lambda text: (date.fromisoformat(text) + timedelta(days=days)).isoformat()


def _us_date(text: str) -> str:
    day = date.fromisoformat(text)
    return f"{day.month}/{day.day}/{day.year % 100:02d}"


def _to_2062(row: Row) -> tuple[str, str, str]:
    for column in ("set_on", "checked_on"):
        row[column] = row[column].replace(SEASON, "2062")
    return "checked_on", "IN-048", "checked_on"


OK_SLIPS: tuple[Slip, ...] = (
    _cell("trap_id", "IN-040", str.lower),
    _cell("trap_id", "IN-040", lambda text: f"{text[0]}-{text[1:]}"),
    _cell("trap_id", "IN-040", lambda text: f"{text[0]} {text[1:]}"),
    _cell("trap_id", "IN-040", lambda text: text[1:]),
    _cell("trap_id", "IN-040", lambda text: f"{text[0]}0{text[1:]}"),
    _cell("status", "IN-014", "OK"),
    _cell("status", "IN-014", "ok."),
    _cell("status", "IN-014", "x"),
    *(_cell(name, "IN-020", "") for name in ("parvulus", "venatus", "cicatristriatus")),
    *(_cell("parvulus", "IN-021", typed) for typed in ("2?", "l", "3+", "1 or 2", "-", "none")),
    *(_cell("carabids", "IN-021", typed) for typed in ("many", "~10", "2.5")),
    _cell("venatus", "IN-022", "-1"),
    _cell("parvulus", "IN-023", "22222"),
    _cell("minutes", "IN-012", "3 min"),
    _cell("minutes", "IN-012", "2,5"),
    _cell("set_on", "IN-011", _us_date),
    _cell("checked_on", "IN-011", _us_date),
    _cell("set_on", "IN-011", lambda text: text.replace("-", ".")),
    _cell("checked_on", "IN-010", ""),
    _cell("set_on", "IN-030", _later(14)),
    _cell("set_on", "IN-031", _later(-21)),
    _cell("set_on", "IN-032", _later(-3)),
    _cell("set_on", "IN-032", _later(-1)),
    _cell("set_on", "IN-038", _later(2)),
    _cell("set_on", "IN-038", _later(1)),
    _to_2062,
)
"""What happens to a visit with a count, once for each entry, each at another trap."""

VOID_SLIPS: tuple[Slip, ...] = (
    _cell("parvulus", "IN-024", "0"),
    _cell("venatus", "IN-024", "2"),
    _cell("carabids", "IN-024", "0"),
    _cell("status", "IN-014", lambda text: text[:-2] + text[-1:]),
)


def _spoil_visits(book: Notebook, random: np.random.Generator) -> None:
    """Drop two visits, spoil one visit of each of many traps, and type some visits twice."""
    visits = book.tables["visits.csv"]
    # The trap that moved is left alone, so that every trap has one place.
    order = [str(name) for name in random.permutation(sorted({row["trap_id"] for row in visits}))]
    traps = iter([name for name in order if name != "T48"])
    dropped = [_inner(visits, next(traps), random) for _ in range(2)]
    after = [visits[_next(visits, place)] for place in dropped]
    book.tables["visits.csv"] = [row for n, row in enumerate(visits) if n not in dropped]
    visits = book.tables["visits.csv"]
    rows = [next(n for n, row in enumerate(visits) if row is missed) for missed in after]
    book.planted += [("visits.csv", n + 2, "set_on", "IN-038") for n in rows]
    for slip in OK_SLIPS:
        book.spoil("visits.csv", _inner(visits, next(traps), random), slip)
    taken = {visits[row - 2]["trap_id"] for _, row, _, _ in book.planted}
    void = [
        n
        for n, row in enumerate(visits)
        if row["status"] not in ("ok", "not_checked") and row["trap_id"] in set(order) - taken
    ]
    for place, slip in zip(random.permutation(void)[: len(VOID_SLIPS)], VOID_SLIPS, strict=True):
        book.spoil("visits.csv", int(place), slip)
    for _ in range(3):
        copy = dict(visits[_inner(visits, next(traps), random)])
        book.append("visits.csv", copy, "checked_on", "IN-034")
    late = dict(visits[_inner(visits, next(traps), random)])
    late |= {"set_on": "2026-10-05", "checked_on": "2026-10-12"}
    book.append("visits.csv", late, "checked_on", "IN-039")
    stranger = {**late, "trap_id": "Q9", "set_on": "2026-05-04", "checked_on": "2026-05-11"}
    book.append("visits.csv", stranger, "trap_id", "IN-040")


def _inner(visits: list[Row], trap: str, random: np.random.Generator) -> int:
    """Return a visit of the trap, neither its first nor its last, between ok visits of 7 nights."""
    mine = [n for n, row in enumerate(visits) if row["trap_id"] == trap]
    fit = [
        place
        for before, place, after in zip(mine, mine[1:], mine[2:], strict=False)
        if all(visits[n]["status"] == "ok" for n in (before, place, after))
        and visits[before]["checked_on"] == visits[place]["set_on"]
        and visits[place]["checked_on"] == visits[after]["set_on"]
        and _nights(visits[place]) in (6, 7, 8)
    ]
    return int(random.choice(fit))


def _next(visits: list[Row], place: int) -> int:
    trap = visits[place]["trap_id"]
    return next(n for n in range(place + 1, len(visits)) if visits[n]["trap_id"] == trap)


def _nights(row: Row) -> int:
    return (date.fromisoformat(row["checked_on"]) - date.fromisoformat(row["set_on"])).days


def _spoil_traps(book: Notebook) -> None:
    """Type designs carelessly, one trap twice, and new traps with bad names and places."""
    traps = book.tables["traps.csv"]
    book.spoil("traps.csv", 0, _cell("design", "IN-047", "Cup"))
    book.spoil("traps.csv", 2, _cell("design", "IN-047", "linaer"))
    book.append("traps.csv", dict(traps[4]), "trap_id", "IN-041")
    x, y = float(traps[9]["longitude"]), float(traps[9]["latitude"])
    plain = {**traps[9], "note": "new"}
    places = (
        ("T81", "0", "0", "", "IN-051"),
        ("T82", f"{-x}", f"{y}", "", "IN-052"),
        ("T83", f"{y}", f"{x}", "", "IN-052"),
        ("T84", f"{x + 0.00001:.7f}", f"{y}", "trap_id", "IN-056"),
        ("T85", f"{x + 0.03:.7f}", f"{y}", "", "IN-057"),
    )
    for name, longitude, latitude, column, code in places:
        row = {**plain, "trap_id": name, "longitude": longitude, "latitude": latitude}
        book.append("traps.csv", row, column, code)
    spots = (("5-Jan", traps[20], "IN-045"), ("t-61", traps[30], "IN-046"))
    for name, host, code in spots:
        latitude = f"{float(host['latitude']) + 0.00006:.7f}"
        row = {**host, "trap_id": name, "latitude": latitude}
        book.append("traps.csv", row, "trap_id", code)


def _spoil_records(book: Notebook) -> None:
    """Spoil cores, treatments and weather."""
    book.spoil("cores.csv", 2, _cell("zone_id", "IN-043", str.lower))
    book.spoil("cores.csv", 5, _cell("cores", "IN-013", "0"))
    larvae = int(book.tables["cores.csv"][5]["larvae"])
    if larvae:
        book.planted[-1] = ("cores.csv", 7, "cores", "IN-028")
    book.spoil("cores.csv", 8, _cell("diameter_unit", "IN-014", "inch"))
    book.append("cores.csv", dict(book.tables["cores.csv"][0]), "zone_id", "IN-029")
    book.spoil("treatments.csv", 1, _cell("zone_id", "IN-043", lambda text: text.replace("-", "")))
    book.spoil("treatments.csv", 3, _cell("applied_on", "IN-011", _us_date))
    del book.tables["weather.csv"][300:303]
    book.planted.append(("weather.csv", 302, "date", "IN-072"))
    book.spoil("weather.csv", 100, _cell("tmin_f", "IN-070", "99.0"))
    book.spoil("weather.csv", 150, _cell("tmax_f", "IN-012", "71F"))
    book.spoil("weather.csv", 200, _cell("tmin_f", "IN-013", "-99.9"))
    book.spoil("weather.csv", 250, _cell("tmax_f", "IN-010", ""))
    book.append("weather.csv", dict(book.tables["weather.csv"][20]), "date", "IN-071")


def _spoiled_zones(content: bytes, book: Notebook) -> bytes:
    """Return the zones with a sliver and a zone of two parts at the end."""
    layer: dict[str, Any] = json.loads(content)
    x, y = layer["features"][0]["geometry"]["coordinates"][0][0]
    x += 0.02
    sliver = [[x, y], [x + 0.001, y], [x + 0.001, y + 0.000001], [x, y + 0.000001], [x, y]]
    one = [[x, y + 0.001], [x + 0.001, y + 0.001], [x + 0.001, y + 0.002], [x, y + 0.001]]
    other = [[a, b + 0.002] for a, b in one]
    shapes = (("sliver", [sliver], "IN-065"), ("halves", [one, other], "IN-066"))
    for name, rings, code in shapes:
        parts = [[[[round(a, 7), round(b, 7)] for a, b in ring]] for ring in rings]
        shape = {"coordinates": parts, "type": "MultiPolygon"}
        words = {"zone_id": name, "use": "rough", "name": "", "priority": 3, "note": ""}
        layer["features"].append({"geometry": shape, "properties": words, "type": "Feature"})
        book.planted.append(("zones.geojson", len(layer["features"]), "", code))
    options: dict[str, Any] = {"sort_keys": True, "separators": (",", ":")}
    body = ",\n".join(json.dumps(feature, **options) for feature in layer["features"])
    return f'{{"type":"FeatureCollection","features":[\n{body}\n]}}\n'.encode()


def _rows(content: bytes) -> list[Row]:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def _text(rows: list[Row]) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()
