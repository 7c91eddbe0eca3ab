"""Spoiling archives, GeoPackages, Shapefiles and Parquet files by their structure."""

from __future__ import annotations

import contextlib
import importlib
import io
import json
import sqlite3
import struct
import zipfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any

from scripts.bench.fuzz_corpus import zipped
from scripts.bench.fuzz_tables import CELLS, spoil_csv, spoil_toml
from scripts.bench.fuzz_trees import spoil_json, spoil_xml
from scripts.bench.fuzz_values import BYTES, JSON_TEXTS, TEXT, Chance, Spoil, any_of, flip, word

Members = dict[str, bytes]

NAMES = (
    *("../x.kml", "/x.xml", "C:\\x.kml", "a\\..\\b.shp", "x\x00.kml", "", "doc.kml/", "\u00e9.kml"),
    *("a/" * 200 + "x.kml", "zones.shp", "ZONES.SHP", "__MACOSX/._zones.shp", "xl/workbook.xml"),
    *(
        "content.xml",
        "doc.KML",
        "xl/worksheets/sheet1.xml",
        "x.kml",
        "traps.dbf",
        ".shp",
        "a/zones.dbf",
    ),
)

PATCHES = (
    *("DELETE FROM {any}", "DROP TABLE {any}", "ALTER TABLE {any} RENAME TO zones2"),
    *(
        "UPDATE gpkg_contents SET {contents} = {value}",
        "UPDATE gpkg_geometry_columns SET {geo} = {value}",
    ),
    *("UPDATE gpkg_spatial_ref_sys SET {srs} = {value}", "UPDATE {layer} SET {column} = {value}"),
    *(
        "UPDATE {layer} SET {column} = {value} WHERE fid % 7 = 3",
        "UPDATE {layer} SET geom = {shape}",
    ),
    *(
        "UPDATE {layer} SET geom = {shape} WHERE fid % 5 = 1",
        "ALTER TABLE {layer} ADD COLUMN {name} {type}",
    ),
    *(
        "ALTER TABLE {layer} DROP COLUMN {column}",
        "ALTER TABLE {layer} RENAME COLUMN {column} TO {name}",
    ),
    *("CREATE VIEW v AS SELECT * FROM {layer}", "UPDATE gpkg_contents SET table_name = 'v'"),
    *("CREATE TABLE zones (a)", "CREATE TRIGGER t AFTER INSERT ON {layer} BEGIN SELECT 1; END"),
    *("ALTER TABLE {layer} ADD COLUMN g AS (hex(zeroblob(100000)))", "PRAGMA user_version = 10400"),
    *(
        "INSERT INTO gpkg_contents SELECT {value}, data_type, {value}, description, last_change,"
        " min_x, min_y, max_x, max_y, srs_id FROM gpkg_contents",
    ),
    *(
        "UPDATE sqlite_sequence SET seq = -5",
        "UPDATE gpkg_ogr_contents SET feature_count = 999999999",
    ),
    *(
        "INSERT INTO {layer} DEFAULT VALUES",
        "UPDATE {layer} SET fid = -fid",
        "PRAGMA encoding = 'UTF-16'",
    ),
    *("PRAGMA writable_schema = 1", "UPDATE sqlite_master SET sql = replace(sql, 'TEXT', {value})"),
    *(
        "UPDATE sqlite_master SET rootpage = 3 WHERE name = '{layer}'",
        "UPDATE sqlite_master SET sql = {value} WHERE name = '{layer}'",
    ),
)

TYPES = (
    "BLOB",
    "INTEGER",
    "REAL",
    "BOOLEAN",
    "DATE",
    "DATETIME",
    "TEXT(3)",
    "GEOMETRY",
    "JSON",
    "x",
)


def spoil_zip(content: bytes, chance: Chance) -> bytes:
    """Change an archive by its members, mostly by what is in one of them."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    if chance.random() < 0.75 and members:
        largest = max(members, key=lambda name: len(members[name]))
        name = largest if chance.random() < 0.6 else chance.choice(sorted(members))
        members[name] = spoil_member(name)(members[name], chance)
        return _packed(members, chance)
    return chance.choice(_ZIP_CHANGES)(members, chance)


def _packed(members: Mapping[str, bytes], chance: Chance) -> bytes:
    ways = (zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
    return zipped(members, ways[0] if chance.random() < 0.9 else chance.choice(ways))


def _renamed(members: Members, chance: Chance) -> bytes:
    name = chance.choice(sorted(members))
    return zipped(
        {(chance.choice(NAMES) if each == name else each): m for each, m in members.items()}
    )


def _dropped(members: Members, chance: Chance) -> bytes:
    name = chance.choice(sorted(members))
    return zipped({each: text for each, text in members.items() if each != name})


def _added(members: Members, chance: Chance) -> bytes:
    text = chance.choice(sorted(members.values()))
    more = {
        chance.choice(NAMES): text,
        **{f"n{n}": b"" for n in range(chance.choice((0, 3, 1100)))},
    }
    return zipped({**members, **more} if chance.random() < 0.5 else {**more, **members})


def _bomb(members: Members, chance: Chance) -> bytes:
    """Pad a member with what packs well, on both sides of the limits."""
    name = chance.choice(sorted(members))
    pad = chance.choice((b" ", b"\0", b"<a/>", b"7")) * chance.choice((900_000, 3_000_000))
    members[name] = members[name] + pad if chance.random() < 0.5 else pad + members[name]
    return zipped(members)


def _odd_header(members: Members, chance: Chance) -> bytes:
    """Change a field of a header or of the directory: sizes, sums, flags, methods, times, names."""
    content = zipped(members)
    starts = (b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06")
    heads = [n for n in range(len(content) - 4) if content[n : n + 4] in starts]
    place = chance.choice(heads) + 4 + 2 * chance.randrange(20)
    value = chance.choice((b"\0\0", b"\xff\xff", b"\x01\0", b"\x08\0", b"\x63\0", b"\0\x08"))
    return content[:place] + value + content[place + 2 :]


def _surrounded(members: Members, chance: Chance) -> bytes:
    more = chance.choice((b"PK\x05\x06" + b"\0" * 18, b"x" * 100, zipped(members)))
    content = zipped(members)
    return chance.choice((more + content, content + more, b"PK\x03\x04" + more + content))


_ZIP_CHANGES: Sequence[Callable[[Members, Chance], bytes]] = (
    *(_renamed, _dropped, _added, _bomb, _odd_header, _odd_header, _surrounded),
)


def spoil_geopackage(content: bytes, chance: Chance) -> bytes:
    """Change a GeoPackage by statements, so that it is a sound database with odd content."""
    with contextlib.closing(sqlite3.connect(":memory:")) as database:
        database.deserialize(content)
        for _ in range(chance.choice((1, 1, 3))):
            with contextlib.suppress(sqlite3.Error, sqlite3.Warning):
                # The triggers of the layer need functions that only a GIS has.
                names = database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
                for (name,) in names.fetchall():
                    database.execute(f'DROP TRIGGER "{name}"')
                database.execute(_statement(database, chance))
        database.commit()
        return database.serialize()


def _statement(database: sqlite3.Connection, chance: Chance) -> str:
    tables = "SELECT name FROM sqlite_master WHERE type = 'table'"
    names = [name for (name,) in database.execute(tables)]
    layers = [name for name in names if not name.startswith(("gpkg_", "rtree_", "sqlite_"))]
    layer = chance.choice(layers or names)

    def column(table: str) -> str:
        found = [row[1] for row in database.execute(f"PRAGMA table_info('{table}')")]
        return f'"{chance.choice(found)}"' if found else "x"

    return chance.choice(PATCHES).format(
        any=f'"{chance.choice(names)}"',
        layer=layer,
        column=column(layer),
        contents=column("gpkg_contents"),
        geo=column("gpkg_geometry_columns"),
        srs=column("gpkg_spatial_ref_sys"),
        value=_sql(chance),
        shape=_sql_shape(database, layer, chance),
        name=f'"{chance.choice(("a", "zone_id ", "geometry", "FID", "wkt", "index", "a b", "0"))}"',
        type=chance.choice(TYPES),
    )


def _sql(chance: Chance) -> str:
    if chance.random() < 0.4:
        return chance.choice(
            (
                "NULL",
                "-1",
                "0",
                "1",
                "1e999",
                "4326",
                "32623",
                "9e18",
                "x''",
                "x'FF00'",
                "zeroblob(99)",
            )
        )
    return "'" + word(chance, CELLS).replace("'", "''").replace("\x00", "")[:20_000] + "'"


def _sql_shape(database: sqlite3.Connection, layer: str, chance: Chance) -> str:
    with contextlib.suppress(sqlite3.Error):
        rows = database.execute(f'SELECT geom FROM "{layer}" WHERE geom IS NOT NULL').fetchall()
        if rows and isinstance(rows[0][0], bytes):
            spoiled = spoil_binary_shape(chance.choice(rows)[0], chance)
            return f"x'{spoiled.hex()}'"
    return "NULL"


def spoil_binary_shape(content: bytes, chance: Chance) -> bytes:
    """Change well-known binary: its kind, its counts, its numbers, its depth."""
    start = content.find(b"\x01\x03\0\0\0") if chance.random() < 0.8 else -1
    if start < 0:
        return any_of(BYTES)(content, chance)
    head, shape = content[:start], content[start:]
    change = chance.randrange(5)
    if change == 0:
        kind = chance.choice((0, 1, 2, 4, 5, 6, 7, 8, 10, 17, 1003, 3003, 0x80000003, 0xFFFFFFFF))
        return head + b"\x01" + struct.pack("<I", kind) + shape[5:]
    if change == 1:
        return (
            head
            + shape[:5]
            + struct.pack("<I", chance.choice((0, 2, 2**31, 2**32 - 1)))
            + shape[9:]
        )
    if change == 2:
        return (
            head + shape[:9] + struct.pack("<I", chance.choice((0, 1, 3, 2**32 - 1))) + shape[13:]
        )
    if change == 3:
        odd = chance.choice((float("nan"), float("inf"), 1e308, -0.0, 1e-320))
        place = 13 + 8 * chance.randrange(max(1, (len(shape) - 13) // 8))
        return head + shape[:place] + struct.pack("<d", odd) + shape[place + 8 :]
    depth = chance.choice((3, 200, 20_000))
    return head + b"\x01\x07\0\0\0\x01\0\0\0" * depth + shape


def spoil_shp(content: bytes, chance: Chance) -> bytes:
    """Change a .shp or .shx: the lengths, kinds and counts of its header and records."""
    numbers = (0, 1, 2, 3, 5, 8, 11, 13, 15, 31, 50, 2**31 - 1, 2**32 - 1, 10_000_000)
    value, order = chance.choice(numbers), chance.choice("<>")
    places = (24, 32, 100, 104, 108, 112, 144, 148, 152, 100 + 4 * chance.randrange(200))
    place = chance.choice(places)
    if place + 4 > len(content):
        return flip(content, chance)
    if chance.random() < 0.2 and len(content) > 200:
        odd = struct.pack("<d", chance.choice((float("nan"), float("inf"), -1e39, 0.0)))
        place = 100 + 8 * chance.randrange((len(content) - 108) // 8)
        return content[:place] + odd + content[place + 8 :]
    return content[:place] + struct.pack(f"{order}I", value) + content[place + 4 :]


def spoil_dbf(content: bytes, chance: Chance) -> bytes:
    """Change a .dbf: its row count, lengths, column names, kinds and widths."""
    place, piece = chance.choice(
        (
            (4, struct.pack("<I", chance.choice((0, 1, 99, 100_000, 2**31, 2**32 - 1)))),
            (8, struct.pack("<H", chance.choice((0, 32, 33, 65, 65535)))),
            (10, struct.pack("<H", chance.choice((0, 1, 2, 10, 65535)))),
            (29, bytes([chance.choice((0, 1, 0x57, 0x4D, 0xFF))])),
            (
                32 * chance.randint(1, 6) + 11,
                chance.choice((b"N", b"F", b"D", b"L", b"M", b"C", b"@", b"\0")),
            ),
            (
                32 * chance.randint(1, 6) + 16,
                bytes([chance.choice((0, 1, 8, 255)), chance.choice((0, 9))]),
            ),
            (
                32 * chance.randint(1, 6),
                chance.choice((b"zone_id\0\0\0\0", b"\0" * 11, b"\xff" * 11)),
            ),
        )
    )
    return content[:place] + piece + content[place + len(piece) :]


def spoil_parquet(content: bytes, chance: Chance) -> bytes:
    """Change a Parquet file by its columns and metadata, so that it is sound but odd."""
    parquet: Any = importlib.import_module("pyarrow.parquet")
    table = parquet.read_table(io.BytesIO(content))
    spoiled = chance.choice(_PARQUET_CHANGES)(table, chance)
    packing = chance.choice(("snappy", "none", "zstd", "gzip"))
    buffer = io.BytesIO()
    parquet.write_table(spoiled, buffer, compression=packing)
    return buffer.getvalue()


def _geo_metadata(table: Any, chance: Chance) -> Any:
    metadata = dict(table.schema.metadata or {})
    geo = metadata.get(b"geo", b'{"a": 1}')
    metadata[b"geo"] = spoil_json(geo, chance) if chance.random() < 0.8 else flip(geo, chance)
    return table.replace_schema_metadata(metadata)


def _column(table: Any, chance: Chance) -> Any:
    arrow: Any = importlib.import_module("pyarrow")
    count = table.num_rows
    made = (
        lambda: arrow.array([None] * count),
        lambda: arrow.array([json.loads(chance.choice(JSON_TEXTS[:2])) for _ in range(count)]),
        lambda: arrow.array([[1, 2]] * count),
        lambda: arrow.array([{"a": 1}] * count),
        lambda: arrow.array([b"\xff\x00"] * count),
        lambda: arrow.array([word(chance, CELLS)[:1000] for _ in range(count)]).dictionary_encode(),
        lambda: arrow.array(
            [2**62] * count, arrow.timestamp(chance.choice(("s", "ms", "us", "ns")))
        ),
        lambda: arrow.array(
            [2**40] * count, arrow.timestamp("us", tz=chance.choice(("UTC", "+14:00")))
        ),
        lambda: arrow.array([2**40] * count, arrow.duration("ns")),
        lambda: arrow.array([2**30] * count, arrow.date32()),
        lambda: arrow.array([10**12] * count, arrow.time64("us")),
        lambda: arrow.array([1.5] * count, arrow.float16()),
        lambda: arrow.array([2**64 - 1] * count, arrow.uint64()),
        lambda: arrow.array([float("nan"), float("inf"), 1e308] * count)[:count],
        lambda: arrow.array([[("a", 1)]] * count, arrow.map_(arrow.string(), arrow.int64())),
        lambda: arrow.array([9] * count, arrow.int64()).cast(arrow.decimal128(38, 4)),
        lambda: arrow.array(["x" * 100_000] * count),
    )
    place = chance.randrange(table.num_columns)
    name = table.schema.names[place] if chance.random() < 0.8 else word(chance)[:50]
    if chance.random() < 0.5:
        return table.set_column(place, name, chance.choice(made)())
    return table.append_column(name, chance.choice(made)())


def _binary(table: Any, chance: Chance) -> Any:
    """Spoil some shapes."""
    arrow: Any = importlib.import_module("pyarrow")
    if "geometry" not in table.schema.names:
        return _column(table, chance)
    shapes = table.column("geometry").to_pylist()
    spoiled = [
        spoil_binary_shape(shape, chance) if shape and chance.random() < 0.3 else shape
        for shape in shapes
    ]
    place = table.schema.names.index("geometry")
    return table.set_column(place, "geometry", arrow.array(spoiled, arrow.binary()))


def _renamed_columns(table: Any, chance: Chance) -> Any:
    names = list(table.schema.names)
    names[chance.randrange(len(names))] = word(chance, names)[:100]
    return table.rename_columns(names)


def _rows(table: Any, chance: Chance) -> Any:
    arrow: Any = importlib.import_module("pyarrow")
    return chance.choice((table.slice(0, 0), table.slice(0, 1), arrow.concat_tables([table] * 3)))


_PARQUET_CHANGES: Sequence[Callable[[Any, Chance], Any]] = (
    *(_geo_metadata, _geo_metadata, _column, _column, _binary, _renamed_columns, _rows),
)


def spoil_member(name: str) -> Spoil:
    """Return the change that fits a file by its suffix: mostly by structure, else by bytes."""
    structure = _BY_SUFFIX.get(PurePosixPath(name).suffix.lower())
    rough = any_of(TEXT if PurePosixPath(name).suffix.lower() in _TEXTS else BYTES)
    if structure is None:
        return rough

    def spoil(content: bytes, chance: Chance) -> bytes:
        if chance.random() >= 0.75:
            return rough(content, chance)
        try:
            return structure(content, chance)
        except Exception:
            # What was spoiled before may have no structure left.
            return rough(content, chance)

    return spoil


_TEXTS = (".csv", ".toml", ".geojson", ".kml", ".gpx", ".xml", ".rels", ".prj", ".cpg")

_BY_SUFFIX: Mapping[str, Spoil] = {
    ".csv": spoil_csv,
    ".toml": spoil_toml,
    ".geojson": spoil_json,
    **dict.fromkeys((".kml", ".gpx", ".xml", ".rels"), spoil_xml),
    **dict.fromkeys((".zip", ".kmz", ".xlsx", ".ods"), spoil_zip),
    ".gpkg": spoil_geopackage,
    **dict.fromkeys((".shp", ".shx"), spoil_shp),
    ".dbf": spoil_dbf,
    ".parquet": spoil_parquet,
}
"""Suffix -> how a file of it is spoiled by its structure."""
