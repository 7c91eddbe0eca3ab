"""The inputs that the fuzz run starts from: small sites, each with one table in one format."""

from __future__ import annotations

import csv
import io
import json
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import geopandas as gpd
import pandas as pd
import shapely

ROOT = Path(__file__).resolve().parents[2]
SITES = {"demo": ROOT / "data/demo/site", "messy": ROOT / "data/demo/messy"}
CASES = ROOT / "tests/bad_inputs/cases.json"

KEPT_ZONES = 12
KEPT_VISITS = 120
KEPT_DAYS = 60
NEAR_DEG = 0.0002
"""A trap nearer to a kept zone than this is kept."""

LAYERS = ("zones", "refuges", "obstacles")
NEEDED = ("site", "zones", "traps", "visits")
PLAIN = ("traps", "visits", "cores", "weather", "treatments")
ODF = "urn:oasis:names:tc:opendocument:xmlns"

Rows = Sequence[Sequence[str]]
Files = dict[str, bytes]


@dataclass(frozen=True, slots=True)
class Seed:
    """One valid or messy site, and the files of it that are spoiled.

    Parameters
    ----------
    name
        Where it comes from and what is in the format.
    form
        The format under test, e.g. ``"kmz"``.
    files
        File name -> bytes.
    targets
        The files to spoil.
    """

    name: str
    form: str
    files: Mapping[str, bytes]
    targets: tuple[str, ...]


def corpus() -> list[Seed]:
    """Return all seeds; the same ones each time."""
    seeds = [seed for name, folder in SITES.items() for seed in _seeds(name, _cut(folder))]
    return [_lean(seed) for seed in seeds]


def _lean(seed: Seed) -> Seed:
    """Leave out the tables that a site can do without and that are not spoiled."""
    tables = {*NEEDED, *(Path(name).stem for name in seed.targets)}
    kept = {name: text for name, text in seed.files.items() if Path(name).stem in tables}
    return seed if seed.form == "toml" else replace(seed, files=kept)


def hostile_cells() -> tuple[list[str], list[Any]]:
    """Return the cells and the shapes of ``tests/bad_inputs``; none where it is not there."""
    if not CASES.is_file():
        return [], []
    cases = json.loads(CASES.read_text("utf-8"))
    values = [value for case in cases for *_, value in case.get("cells", [])]
    texts = sorted({value for value in values if isinstance(value, str)})
    shapes = {json.dumps(value, sort_keys=True) for value in values if not isinstance(value, str)}
    return texts, [json.loads(shape) for shape in sorted(shapes)]


def _cut(folder: Path) -> Files:
    """Return a site cut down to a few zones, so that one reading takes a moment."""
    files = {path.name: path.read_bytes() for path in sorted(folder.iterdir())}
    zones = json.loads(files["zones.geojson"])
    zones["features"] = zones["features"][:KEPT_ZONES]
    ids = {str(each["properties"].get("zone_id")) for each in zones["features"]}
    drawn = [each["geometry"] for each in zones["features"] if each["geometry"]]
    shapes = shapely.from_geojson([json.dumps(shape) for shape in drawn], on_invalid="ignore")
    traps = _kept(_rows(files["traps.csv"]), partial(_is_near, shapes=shapes))
    names = {row[0] for row in traps}
    visits = _kept(_rows(files["visits.csv"]), lambda row: row.get("trap_id") in names)
    weather = _rows(files["weather.csv"])
    of_zone = {
        f"{table}.csv": _text(
            _kept(_rows(files[f"{table}.csv"]), lambda row: row["zone_id"] in ids)
        )
        for table in ("cores", "treatments")
    }
    return {
        **{name: files[name] for name in ("site.toml", "refuges.geojson", "obstacles.geojson")},
        "zones.geojson": json.dumps(zones).encode(),
        "traps.csv": _text(traps),
        "visits.csv": _text(visits[: KEPT_VISITS + 1]),
        "weather.csv": _text(weather[: KEPT_DAYS + 1]),
        **{name: text for name, text in of_zone.items() if text.count(b"\n") > 1},
    }


def _is_near(row: Mapping[str, str], shapes: Any) -> bool:
    try:
        place = shapely.Point(float(row["longitude"]), float(row["latitude"]))
    except ValueError:
        return False
    return bool((shapely.distance(shapes, place) < NEAR_DEG).any())


def _rows(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))


def _kept(rows: list[list[str]], keep: Callable[[Mapping[str, str]], bool]) -> list[list[str]]:
    header, *body = rows
    return [header, *(row for row in body if keep(dict(zip(header, row, strict=False))))]


def _text(rows: Iterable[Sequence[str]]) -> bytes:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue().encode()


def _seeds(name: str, files: Files) -> list[Seed]:
    plain = {table: _rows(files[f"{table}.csv"]) for table in PLAIN if f"{table}.csv" in files}
    layers = {table: _frame(files[f"{table}.geojson"]) for table in LAYERS}
    layers["traps"] = _points(plain["traps"])
    found = [
        Seed(f"{name} site.toml", "toml", files, ("site.toml",)),
        *(Seed(f"{name} {t}.csv", "csv", files, (f"{t}.csv",)) for t in plain),
        *(Seed(f"{name} {t}.geojson", "geojson", files, (f"{t}.geojson",)) for t in LAYERS),
        _seed(name, "csv", files, "zones", {"zones.csv": _wkt(layers["zones"])}),
        _seed(name, "geojson", files, "traps", {"traps.geojson": _geojson(layers["traps"])}),
        _seed(name, "gpx", files, "traps", {"traps.gpx": _gpx(layers["traps"])}),
    ]
    for table, frame in layers.items():
        found += _of_layer(name, files, table, frame)
    for table in ("visits", "traps"):
        sheets = {table: plain[table]}
        found.append(_seed(name, "xlsx", files, table, {f"{table}.xlsx": xlsx(sheets)}))
        found.append(_seed(name, "ods", files, table, {f"{table}.ods": ods(sheets)}))
        found.append(_seed(name, "parquet", files, table, {f"{table}.parquet": _plain(sheets)}))
    found += _of_all(name, files, plain, layers)
    return found


def _of_layer(name: str, files: Files, table: str, frame: gpd.GeoDataFrame) -> list[Seed]:
    own_id = {"zones": "zone_id", "traps": "trap_id"}.get(table, "id")
    marks = _kml(frame, own_id)
    parts = _shapefile(frame, table)
    return [
        _seed(name, "kml", files, table, {f"{table}.kml": marks}),
        _seed(name, "kmz", files, table, {f"{table}.kmz": zipped({"doc.kml": marks})}),
        _seed(name, "zip", files, table, {f"{table}.zip": zipped(parts)}),
        _seed(name, "shp", files, table, parts),
        _seed(name, "gpkg", files, table, {f"{table}.gpkg": _geopackage({table: frame})}),
        _seed(name, "parquet", files, table, {f"{table}.parquet": _parquet(frame)}),
    ]


def _of_all(
    name: str,
    files: Files,
    plain: Mapping[str, Rows],
    layers: Mapping[str, gpd.GeoDataFrame],
) -> list[Seed]:
    """Return seeds with all tables in one file."""
    settings = {"site.toml": files["site.toml"]}
    tables = {t: pd.DataFrame(rows[1:], columns=list(rows[0])) for t, rows in plain.items()}
    package = _geopackage({**tables, **layers})
    sheets = {**plain, **{t: _rows(_wkt(layers[t])) for t in LAYERS}}
    return [
        Seed(f"{name} all", "gpkg", {**settings, "all.gpkg": package}, ("all.gpkg",)),
        Seed(f"{name} all", "xlsx", {**settings, "all.xlsx": xlsx(sheets)}, ("all.xlsx",)),
        Seed(f"{name} all", "ods", {**settings, "all.ods": ods(sheets)}, ("all.ods",)),
    ]


def _seed(name: str, form: str, files: Files, table: str, given: Files) -> Seed:
    """Return the site with one table as other files."""
    rest = {file: text for file, text in files.items() if Path(file).stem != table}
    return Seed(f"{name} {table}.{form}", form, {**rest, **given}, tuple(sorted(given)))


def _frame(content: bytes) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame.from_features(json.loads(content)["features"], crs="EPSG:4326")


def _points(rows: Rows) -> gpd.GeoDataFrame:
    table = pd.DataFrame(rows[1:], columns=list(rows[0]), dtype=object)
    x, y = table["longitude"].astype(float), table["latitude"].astype(float)
    rest = table.drop(columns=["longitude", "latitude"])
    return gpd.GeoDataFrame(rest, geometry=gpd.points_from_xy(x, y), crs="EPSG:4326")


def _geojson(frame: gpd.GeoDataFrame) -> bytes:
    return str(frame.to_json()).encode()


def _wkt(frame: gpd.GeoDataFrame) -> bytes:
    table = pd.DataFrame(frame.drop(columns="geometry")).assign(wkt=frame.geometry.to_wkt())
    return str(table.to_csv(index=False)).encode()


def _geopackage(layers: Mapping[str, pd.DataFrame]) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "made.gpkg")
        for name, frame in layers.items():
            shapes = frame if "geometry" in frame else frame.assign(geometry=None)
            gpd.GeoDataFrame(shapes, geometry="geometry", crs="EPSG:4326").to_file(
                path, layer=name, driver="GPKG", engine="pyogrio"
            )
        return path.read_bytes()


def _shapefile(frame: gpd.GeoDataFrame, name: str) -> Files:
    kinds = frame.geometry.geom_type.str.removeprefix("Multi")
    one_kind = frame[kinds == kinds.iloc[0]]
    with tempfile.TemporaryDirectory() as folder:
        one_kind.to_file(Path(folder, f"{name}.shp"), driver="ESRI Shapefile", encoding="utf-8")
        return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}


def _parquet(frame: gpd.GeoDataFrame) -> bytes:
    buffer = io.BytesIO()
    frame.to_parquet(buffer)
    return buffer.getvalue()


def _plain(sheets: Mapping[str, Rows]) -> bytes:
    ((header, *body),) = sheets.values()
    buffer = io.BytesIO()
    pd.DataFrame(body, columns=list(header)).to_parquet(buffer)
    return buffer.getvalue()


def _kml(frame: gpd.GeoDataFrame, own_id: str) -> bytes:
    marks = []
    for row, shape in zip(frame.to_dict("records"), frame.geometry, strict=True):
        data = "".join(
            f"<Data name={quoteattr(str(key))}><value>{escape(str(value))}</value></Data>"
            for key, value in row.items()
            if key not in ("geometry", own_id)
        )
        marks.append(
            f"<Placemark><name>{escape(str(row.get(own_id)))}</name><description>d</description>"
            f"<ExtendedData>{data}</ExtendedData>{_kml_shape(shape)}</Placemark>"
        )
    start = '<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2">'
    return f"{start}<Document><Folder>{''.join(marks)}</Folder></Document></kml>".encode()


def _kml_shape(shape: Any) -> str:
    if hasattr(shape, "geoms"):
        return f"<MultiGeometry>{''.join(map(_kml_shape, shape.geoms))}</MultiGeometry>"
    if shape.geom_type != "Polygon":
        return f"<{shape.geom_type}>{_positions(shape)}</{shape.geom_type}>"
    outer = f"<outerBoundaryIs><LinearRing>{_positions(shape.exterior)}</LinearRing>"
    inner = "".join(
        f"<innerBoundaryIs><LinearRing>{_positions(ring)}</LinearRing></innerBoundaryIs>"
        for ring in shape.interiors
    )
    return f"<Polygon>{outer}</outerBoundaryIs>{inner}</Polygon>"


def _positions(shape: Any) -> str:
    return f"<coordinates>{' '.join(f'{x!r},{y!r},0' for x, y in shape.coords)}</coordinates>"


def _gpx(frame: gpd.GeoDataFrame) -> bytes:
    places: list[Any] = list(frame.geometry)
    marks = "".join(
        f'<wpt lat="{shape.y!r}" lon="{shape.x!r}"><ele>3</ele><name>{escape(row["trap_id"])}'
        f"</name><desc>d</desc><type>{escape(row['design'])}</type></wpt>"
        for row, shape in zip(frame.to_dict("records"), places, strict=True)
    )
    space = "http://www.topografix.com/GPX/1/1"
    return f'<?xml version="1.0"?><gpx version="1.1" xmlns="{space}">{marks}</gpx>'.encode()


def xlsx(sheets: Mapping[str, Rows]) -> bytes:
    """Return a workbook with numbers, shared texts, texts in place and a date format."""
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    links = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    shared: dict[str, int] = {}
    texts = [_sheet(rows, shared) for rows in sheets.values()]
    names = "".join(
        f'<sheet name={quoteattr(name)} sheetId="{n}" r:id="r{n}"/>'
        for n, name in enumerate(sheets, 1)
    )
    targets = "".join(
        f'<Relationship Id="r{n}" Type="{links}/worksheet" Target="worksheets/sheet{n}.xml"/>'
        for n in range(1, len(sheets) + 1)
    )
    strings = "".join(f"<si><t>{escape(text)}</t></si>" for text in shared)
    members = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types"/>',
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="a" '
        f'Type="{links}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{links}"><sheets>{names}</sheets>'
        "</workbook>",
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships">{targets}'
        "</Relationships>",
        "xl/styles.xml": f'<styleSheet xmlns="{main}"><cellXfs count="2"><xf numFmtId="0"/>'
        '<xf numFmtId="14"/></cellXfs></styleSheet>',
        "xl/sharedStrings.xml": f'<sst xmlns="{main}" count="{len(shared)}">{strings}</sst>',
    }
    members |= {
        f"xl/worksheets/sheet{n}.xml": f'<worksheet xmlns="{main}"><sheetData>{text}</sheetData>'
        "</worksheet>"
        for n, text in enumerate(texts, 1)
    }
    return zipped({name: text.encode() for name, text in members.items()})


def _sheet(rows: Rows, shared: dict[str, int]) -> str:
    lines = []
    for number, row in enumerate(rows, 1):
        cells = (_cell(f"{_letters(place)}{number}", c, shared) for place, c in enumerate(row) if c)
        lines.append(f'<row r="{number}">{"".join(cells)}</row>')
    return "".join(lines)


def _letters(place: int) -> str:
    return chr(65 + place) if place < 26 else chr(64 + place // 26) + chr(65 + place % 26)


def _cell(place: str, cell: str, shared: dict[str, int]) -> str:
    if cell.replace(".", "", 1).isdigit():
        return f'<c r="{place}"><v>{cell}</v></c>'
    if len(cell) % 3 == 0:
        return f'<c r="{place}" t="inlineStr"><is><t>{escape(cell)}</t></is></c>'
    return f'<c r="{place}" t="s"><v>{shared.setdefault(cell, len(shared))}</v></c>'


def ods(sheets: Mapping[str, Rows]) -> bytes:
    """Return an OpenDocument 1.2 workbook."""
    tables = "".join(
        f"<table:table table:name={quoteattr(name)}>{''.join(map(_ods_row, rows))}</table:table>"
        for name, rows in sheets.items()
    )
    spaces = " ".join(f'xmlns:{name}="{ODF}:{name}:1.0"' for name in ("office", "table", "text"))
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces} '
        'office:version="1.2"><office:body><office:spreadsheet>'
        f"{tables}</office:spreadsheet></office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        f'<manifest:manifest xmlns:manifest="{ODF}:manifest:1.0" manifest:version="1.2">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
        "</manifest:manifest>"
    )
    parts = {"mimetype": kind, "content.xml": content, "META-INF/manifest.xml": manifest}
    return zipped({name: text.encode() for name, text in parts.items()})


def _ods_row(row: Sequence[str]) -> str:
    return f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>"


def _ods_cell(cell: str) -> str:
    if not cell:
        return '<table:table-cell table:number-columns-repeated="1"/>'
    if cell.replace(".", "", 1).isdigit():
        return f'<table:table-cell office:value-type="float" office:value="{cell}"/>'
    text = f"<text:p>{escape(cell)}</text:p>"
    return f'<table:table-cell office:value-type="string">{text}</table:table-cell>'


def zipped(members: Mapping[str, bytes], compression: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Return a zip archive; the same one each time."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", compression) as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name), content, compression)
    return buffer.getvalue()
