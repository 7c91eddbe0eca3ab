"""The tiny site of `sites` written in every format, for tests of the readers."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import geopandas as gpd
import openpyxl
import pandas as pd
from sites import csv_tables, make_site, shape_layers

Rows = Sequence[Sequence[object]]

ODF = "urn:oasis:names:tc:opendocument:xmlns"
ODS_TYPE = "application/vnd.oasis.opendocument.spreadsheet"

ALL_FILES = ("zones.geojson", "refuges.geojson", "obstacles.geojson", *csv_tables())


def layer(name: str) -> gpd.GeoDataFrame:
    """Return a layer of shapes of the tiny site."""
    return gpd.GeoDataFrame.from_features(shape_layers()[f"{name}.geojson"], crs="EPSG:4326")


def trap_layer() -> gpd.GeoDataFrame:
    """Return the traps of the tiny site as points."""
    header, *rows = csv_tables()["traps.csv"]
    table = pd.DataFrame(rows, columns=header, dtype=object)
    x, y = table["longitude"].astype(float), table["latitude"].astype(float)
    rest = table.drop(columns=["longitude", "latitude"])
    return gpd.GeoDataFrame(rest, geometry=gpd.points_from_xy(x, y), crs="EPSG:4326")


def without(folder: Path, *names: str) -> Path:
    """Make the tiny site without some of its files."""
    return make_site(folder, files=dict.fromkeys(names))


def xlsx(sheets: Mapping[str, Rows]) -> bytes:
    """Return a workbook; every value keeps its type."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for number, row in enumerate(rows, 1):
            for place, value in enumerate(row, 1):
                cell = sheet.cell(number, place)
                cell.value = value
                if isinstance(value, str):
                    # A text stays one, also when it starts like a formula.
                    cell.data_type = "s"
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def ods(sheets: Mapping[str, Rows]) -> bytes:
    """Return an OpenDocument 1.2 workbook; numbers are numbers, all else is text."""
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
    entry = '<manifest:file-entry manifest:full-path="{}" manifest:media-type="{}"/>'
    manifest = (
        f'<manifest:manifest xmlns:manifest="{ODF}:manifest:1.0" manifest:version="1.2">'
        f"{entry.format('/', ODS_TYPE)}{entry.format('content.xml', 'text/xml')}"
        "</manifest:manifest>"
    )
    return zipped(
        {
            "mimetype": ODS_TYPE.encode(),
            "content.xml": content.encode(),
            "META-INF/manifest.xml": manifest.encode(),
        },
        zipfile.ZIP_STORED,
    )


def _ods_row(row: Sequence[object]) -> str:
    return f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>"


def _ods_cell(value: object) -> str:
    if value in ("", None):
        return "<table:table-cell/>"
    if isinstance(value, int | float):
        return f'<table:table-cell office:value-type="float" office:value="{value}"/>'
    text = f"<text:p>{escape(str(value))}</text:p>"
    return f'<table:table-cell office:value-type="string">{text}</table:table-cell>'


def zipped(members: Mapping[str, bytes], compression: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Return a zip archive."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", compression) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def shapefile(frame: gpd.GeoDataFrame, folder: Path, name: str) -> dict[str, bytes]:
    """Return the files of a Shapefile by name."""
    folder.mkdir(parents=True, exist_ok=True)
    frame.to_file(folder / f"{name}.shp", driver="ESRI Shapefile", encoding="utf-8")
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def kml(frame: gpd.GeoDataFrame, own_id: str) -> bytes:
    """Return KML 2.2 with the id as name and the other columns as extended data."""
    marks = []
    for row, shape in zip(frame.to_dict("records"), frame.geometry, strict=True):
        data = "".join(
            f"<Data name={quoteattr(str(key))}><value>{escape(str(value))}</value></Data>"
            for key, value in row.items()
            if key not in ("geometry", own_id, "name") and value is not None
        )
        marks.append(
            f"<Placemark><name>{escape(str(row[own_id]))}</name>"
            f"<ExtendedData>{data}</ExtendedData>{_kml_shape(shape)}</Placemark>"
        )
    text = '<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2">'
    folders = f"<Document><Folder>{''.join(marks)}</Folder></Document></kml>"
    return (text + folders).encode()


def _kml_shape(shape: object) -> str:
    def positions(coordinates: object) -> str:
        text = " ".join(f"{x!r},{y!r},0" for x, y in coordinates)  # type: ignore[attr-defined]
        return f"<coordinates>{text}</coordinates>"

    kind = shape.geom_type  # type: ignore[attr-defined]
    if kind == "Polygon":
        ring = f"<LinearRing>{positions(shape.exterior.coords)}</LinearRing>"  # type: ignore[attr-defined]
        return f"<Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>"
    return f"<{kind}>{positions(shape.coords)}</{kind}>"  # type: ignore[attr-defined]


def gpx(frame: gpd.GeoDataFrame) -> bytes:
    """Return GPX 1.1 waypoints; the design is the type."""
    marks = "".join(
        f'<wpt lat="{shape.y!r}" lon="{shape.x!r}"><name>{escape(row["trap_id"])}</name>'
        f"<type>{escape(row['design'])}</type></wpt>"
        for row, shape in zip(frame.to_dict("records"), frame.geometry, strict=True)
    )
    space = "http://www.topografix.com/GPX/1/1"
    return f'<?xml version="1.0"?><gpx version="1.1" xmlns="{space}">{marks}</gpx>'.encode()
