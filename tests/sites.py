"""A tiny invented site on disk, valid as it stands, with handles to spoil any part of it.

Six zones in two rows of three, a hedge, a wood and a pond at an invented place in the open ocean;
16 traps of two designs, one of which moves; four weekly rounds with a few void visits. Zone Z6 has
no trap. Every number follows from a short rule, so that a test can be checked by hand.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

WEST, SOUTH = -39.0, 40.0
FIRST_SET = date(2026, 4, 6)
ROUNDS = 4
MOVED = "T16"
MOVED_ON = "2026-04-20"
VOID = {("T03", 2): "flooded", ("T09", 1): "disturbed", ("T12", 3): "missing"}
"""(trap, round) -> status of the visits that carry no count; rounds are counted from 0."""

SPECIES = {"parvulus": "Sphenophorus parvulus", "venatus": "Sphenophorus venatus"}

SETTINGS = """
name = "Kestwick Green"
target_species = ["Sphenophorus parvulus", "Sphenophorus venatus"]
bycatch_columns = ["carabids"]
[season]
start = "02-15"
end = "08-31"
[species_columns]
parvulus = "Sphenophorus parvulus"
venatus = "Sphenophorus venatus"
[designs.cup]
reference = true
[designs.linear]
"""

LONG_SETTINGS = SETTINGS.replace(
    '[species_columns]\nparvulus = "Sphenophorus parvulus"\nvenatus = "Sphenophorus venatus"\n', ""
)
"""Settings for visits with one row per species; see `long_visits`."""

Cells = Mapping[tuple[str, int, str], Any]


def make_site(
    folder: Path,
    *,
    settings: str = SETTINGS,
    cells: Cells | None = None,
    more: Mapping[str, Sequence[str]] | None = None,
    files: Mapping[str, str | bytes | None] | None = None,
) -> Path:
    """Write the site and return its folder.

    Parameters
    ----------
    folder
        Made when it is not there.
    settings
        The text of `site.toml`.
    cells
        (file, row, column) -> new value. In a CSV, row 1 is the header. In a GeoJSON, row counts
        features from 1, and the column ``"geometry"`` takes a GeoJSON geometry or None.
    more
        File -> lines added at the end of a CSV.
    files
        File -> its whole text or bytes, or None to leave the file out.
    """
    folder.mkdir(parents=True, exist_ok=True)
    tables = csv_tables()
    layers = shape_layers()
    for (name, row, column), value in (cells or {}).items():
        if name in layers:
            _set_property(layers[name][row - 1], column, value)
        else:
            place = tables[name][0].index(column)
            tables[name][row - 1][place] = value
    texts: dict[str, str | bytes | None] = {"site.toml": settings}
    texts |= {name: _csv_text(rows, (more or {}).get(name, ())) for name, rows in tables.items()}
    texts |= {name: collection(features) for name, features in layers.items()}
    for name, content in {**texts, **(files or {})}.items():
        if content is not None:
            data = content.encode() if isinstance(content, str) else content
            (folder / name).write_bytes(data)
    return folder


def csv_tables() -> dict[str, list[list[str]]]:
    """Return every plain table as rows of text, the header first."""
    return {
        "traps.csv": _traps(),
        "visits.csv": _visits(),
        "weather.csv": _weather(),
        "cores.csv": [
            ["zone_id", "sampled_on", "cores", "diameter", "diameter_unit", "larvae", "pupae"],
            ["Z1", "2026-05-04", "10", "4.25", "in", "7", "1"],
            ["Z2", "2026-05-04", "10", "10", "cm", "2", ""],
        ],
        "treatments.csv": [
            ["zone_id", "applied_on", "tactic", "irac_group", "area", "note"],
            ["Z1", "2026-04-22", "adult", "3A", "", ""],
        ],
    }


def shape_layers() -> dict[str, list[dict[str, Any]]]:
    """Return every layer of shapes as GeoJSON features."""
    uses = ["fairway", "green", "tee", "rough", "field", "lawn"]
    zones = [
        feature(
            {"zone_id": f"Z{n + 1}", "use": use, "name": f"Zone {n + 1}"}, square(n % 3, n // 3)
        )
        for n, use in enumerate(uses)
    ]
    hedge = {"type": "LineString", "coordinates": [[WEST, 39.9995], [WEST + 0.004, 39.9995]]}
    refuges = [
        feature({"id": "R1", "kind": "hedge"}, hedge),
        feature({"id": "R2", "kind": "wood"}, square(3, 0)),
    ]
    return {
        "zones.geojson": zones,
        "refuges.geojson": refuges,
        "obstacles.geojson": [feature({"id": "P1", "kind": "water"}, square(3, 1))],
    }


def square(column: int, row: int, size: float = 0.0010) -> dict[str, Any]:
    """Return a square of the site as a GeoJSON polygon; neighbours are 0.0002 degrees apart."""
    west, south = round(WEST + column * 0.0012, 6), round(SOUTH + row * 0.0012, 6)
    east, north = round(west + size, 6), round(south + size, 6)
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def feature(properties: Mapping[str, Any], geometry: object) -> dict[str, Any]:
    """Return a GeoJSON feature."""
    return {"type": "Feature", "properties": dict(properties), "geometry": geometry}


def collection(features: Sequence[Mapping[str, Any]]) -> str:
    """Return the text of a GeoJSON feature collection."""
    return json.dumps({"type": "FeatureCollection", "features": list(features)})


def long_visits() -> str:
    """Return the same visits with one row per species, for a file of its own.

    A void visit has one row without a species.
    """
    header = ["trap_id", "set_on", "checked_on", "status", "species", "adults", "carabids"]
    rows = [header]
    for trap, set_on, checked_on, status, *counts, carabids, _minutes, _note in _visits()[1:]:
        visit = [trap, set_on, checked_on, status]
        if status == "ok":
            rows += [
                [*visit, species, count, carabids]
                for species, count in zip(SPECIES.values(), counts, strict=True)
            ]
        else:
            rows.append([*visit, "", "", ""])
    return _csv_text(rows, ())


def visit_row(trap: str, week: int) -> int:
    """Return the spreadsheet row of one trap's visit in one round (counted from 0)."""
    return 2 + week * 16 + int(trap[1:]) - 1


def count(trap: str, week: int, species: str) -> int:
    """Return the adults of a visit: trap number times (round + 1), modulo 5; venatus modulo 3."""
    number = int(trap[1:]) * (week + 1)
    return number % 5 if species == "parvulus" else number % 3


def _traps() -> list[list[str]]:
    header = ["trap_id", "design", "longitude", "latitude", "installed", "removed", "axis_deg"]
    rows = [header]
    for n in range(16):
        zone, second = divmod(n, 3)
        west, south = WEST + (zone % 3) * 0.0012, SOUTH + (zone // 3) * 0.0012
        x, y = west + 0.0002 + 0.0003 * second, south + 0.0001
        if n == 15:
            x, y = WEST + 0.0006, SOUTH - 0.0002
        design, axis = ("linear", "90") if n % 4 == 3 else ("cup", "")
        removed = MOVED_ON if n == 15 else ""
        rows.append([f"T{n + 1:02d}", design, f"{x:.6f}", f"{y:.6f}", "2026-04-06", removed, axis])
    moved = [MOVED, "linear", f"{WEST + 0.0018:.6f}", f"{SOUTH - 0.0002:.6f}", MOVED_ON, "", "90"]
    return [*rows, moved]


def _visits() -> list[list[str]]:
    header = ["trap_id", "set_on", "checked_on", "status", *SPECIES, "carabids", "minutes", "note"]
    rows = [header]
    for week in range(ROUNDS):
        set_on = FIRST_SET + timedelta(days=7 * week)
        for n in range(16):
            trap = f"T{n + 1:02d}"
            status = VOID.get((trap, week), "ok")
            counts = [str(count(trap, week, species)) for species in SPECIES]
            counts = [*counts, "1", "2.5"] if status == "ok" else ["", "", "", ""]
            days = [str(set_on), str(set_on + timedelta(days=7))]
            rows.append([trap, *days, status, *counts, ""])
    return rows


def _weather() -> list[list[str]]:
    days = [date(2026, 3, 1) + timedelta(days=n) for n in range(64)]
    rows = [[str(day), f"{2 + n / 8:.1f}", f"{12 + n / 8:.1f}"] for n, day in enumerate(days)]
    return [["date", "tmin_c", "tmax_c"], *rows]


def _set_property(given: dict[str, Any], column: str, value: object) -> None:
    if column == "geometry":
        given["geometry"] = value
    else:
        given["properties"][column] = value


def _csv_text(rows: Sequence[Sequence[str]], more: Sequence[str]) -> str:
    return "\n".join([*(",".join(row) for row in rows), *more]) + "\n"
