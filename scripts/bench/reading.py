"""Time the reading and checking of 100,000 visits, from CSV and from XLSX.

Run as ``python -m scripts.bench.reading [VISITS]``: makes a site in a temporary folder, reads it
from each kind of file in a process of its own, and prints seconds and peak memory. The bars are
5 s for CSV and 15 s for XLSX on two cores, start-up of Python included.
"""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from pathlib import Path
from xml.sax.saxutils import escape

ROOT = Path(__file__).resolve().parents[2]
TRAPS = 4000
FIRST = date(2026, 3, 2)
HEADER = ["trap_id", "set_on", "checked_on", "status", "parvulus", "carabids", "minutes", "note"]
SETTINGS = """name = "Bench"
bycatch_columns = ["carabids"]
[season]
start = "01-01"
end = "12-31"
[species_columns]
parvulus = "Sphenophorus parvulus"
"""
READ = """
import resource, sys
from pathlib import Path
from data.reading import read_site
site = read_site(Path(sys.argv[1]))
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(len(site.visits), len(site.findings), round(peak))
"""


def main(visits: int) -> None:
    """Make the files, read them and print what it took."""
    rows = [HEADER, *_visits(visits)]
    print("file   size MB  seconds  visits  findings  peak MB")
    for suffix, write in (("csv", _csv), ("xlsx", _xlsx)):
        with tempfile.TemporaryDirectory() as folder:
            site = Path(folder)
            _surroundings(site)
            path = site / f"visits.{suffix}"
            path.write_bytes(write(rows))
            start = time.perf_counter()
            done = subprocess.run(
                [sys.executable, "-c", READ, folder],
                cwd=ROOT,
                check=True,
                capture_output=True,
                text=True,
            )
            seconds = time.perf_counter() - start
            read, findings, peak = done.stdout.split()
            size = path.stat().st_size / 1e6
            print(f"{suffix:5} {size:8.1f} {seconds:8.2f} {read:>7} {findings:>9} {peak:>8}")


def _visits(count: int) -> Iterator[list[str]]:
    for number in range(count):
        week, trap = divmod(number, TRAPS)
        start = FIRST + timedelta(days=7 * week)
        days = [start.isoformat(), (start + timedelta(days=7)).isoformat()]
        void = number % 37 == 0
        counts = ["", ""] if void else [str(number % 7), str(number % 11)]
        status = "flooded" if void else "ok"
        yield [f"T{trap:04d}", *days, status, *counts, "2.5", f"note {number}"]


def _surroundings(folder: Path) -> None:
    """Write settings, one wide zone, and traps on a square grid 20 m apart."""
    (folder / "site.toml").write_text(SETTINGS, encoding="utf-8")
    ring = [[-39.01, 39.99], [-38.96, 39.99], [-38.96, 40.04], [-39.01, 40.04], [-39.01, 39.99]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    zone = {"type": "Feature", "properties": {"zone_id": "Z1", "use": "field"}, "geometry": shape}
    text = json.dumps({"type": "FeatureCollection", "features": [zone]})
    (folder / "zones.geojson").write_text(text, encoding="utf-8")
    places = (
        [f"T{n:04d}", "cup", f"{-39 + n % 64 * 0.00025:.6f}", f"{40 + n // 64 * 0.0002:.6f}"]
        for n in range(TRAPS)
    )
    rows = [["trap_id", "design", "longitude", "latitude"], *places]
    (folder / "traps.csv").write_bytes(_csv(rows))


def _csv(rows: Iterable[list[str]]) -> bytes:
    buffer = io.StringIO(newline="")
    csv.writer(buffer).writerows(rows)
    return buffer.getvalue().encode()


def _xlsx(rows: Iterable[list[str]]) -> bytes:
    """Return a workbook with texts in place and whole and decimal numbers as numbers."""
    lines = "".join(_xlsx_row(number, row) for number, row in enumerate(rows, 1))
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    links = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    members = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types">'
        '<Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{kind}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{kind}.worksheet+xml"/>'
        "</Types>",
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships">'
        f'<Relationship Id="a" Type="{links}/officeDocument" Target="xl/workbook.xml"/>'
        "</Relationships>",
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{links}"><sheets>'
        '<sheet name="visits" sheetId="1" r:id="b"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships">'
        f'<Relationship Id="b" Type="{links}/worksheet" Target="worksheets/sheet1.xml"/>'
        "</Relationships>",
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{main}"><sheetData>{lines}</sheetData>'
        "</worksheet>",
    }
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in members.items():
            archive.writestr(name, text)
    return buffer.getvalue()


def _xlsx_row(number: int, row: list[str]) -> str:
    cells = "".join(
        _xlsx_cell(f"{chr(65 + place)}{number}", cell) for place, cell in enumerate(row) if cell
    )
    return f'<row r="{number}">{cells}</row>'


def _xlsx_cell(place: str, cell: str) -> str:
    if cell.replace(".", "", 1).isdigit():
        return f'<c r="{place}"><v>{cell}</v></c>'
    return f'<c r="{place}" t="inlineStr"><is><t>{escape(cell)}</t></is></c>'


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
