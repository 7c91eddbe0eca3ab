"""Files that could harm are refused before any driver sees them."""

from __future__ import annotations

import io
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from formats import kml, layer, ods, shapefile, without, xlsx, zipped
from sites import SETTINGS, csv_tables, make_site

from data.archives import pack, unpack
from data.findings import InputError, SettingsError
from data.reading import read_site
from data.workbooks import _column_number

VISITS = csv_tables()["visits.csv"]
ZEROS = bytes(3_000_000)


def everything(_name: str) -> bool:
    """Choose every member."""
    return True


def special(name: str, mode: int = 0, flag: int = 0) -> bytes:
    """Return an archive with one member of that name, mode and flag."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        info = zipfile.ZipInfo("x" * len(name))
        info.external_attr = mode << 16
        archive.writestr(info, b"zones.shp")
    content = buffer.getvalue().replace(b"x" * len(name), name.encode())
    if flag:
        # Bit 0 of the general purpose flag, in the local and in the central header.
        content = content.replace(b"PK\x03\x04\x14\0\0\0", b"PK\x03\x04\x14\0\x01\0")
        content = content.replace(
            b"PK\x01\x02\x14\x03\x14\0\0\0", b"PK\x01\x02\x14\x03\x14\0\x01\0"
        )
    return content


HARMFUL: dict[str, tuple[Callable[[], bytes], str]] = {
    "climbs out": (lambda: special("../zones.shp"), "leads outside the archive"),
    "climbs out backwards": (lambda: special("..\\zones.shp"), "leads outside the archive"),
    "absolute": (lambda: special("/etc/zones.shp"), "leads outside the archive"),
    "drive": (lambda: special("C:/zones.shp"), "leads outside the archive"),
    "link": (lambda: special("zones.shp", stat.S_IFLNK | 0o777), "is a link"),
    "encrypted": (lambda: special("zones.shp", flag=1), "is encrypted"),
    "bomb": (lambda: zipped({"zones.shp": ZEROS}), "is packed more than 100:1"),
    "many": (lambda: zipped({f"{n}.shp": b"" for n in range(1001)}), "1,001 members"),
}


@pytest.mark.parametrize("kind", HARMFUL)
@pytest.mark.parametrize("suffix", ["zip", "kmz", "xlsx", "ods"])
def test_a_harmful_archive_is_refused_whatever_it_is_called(
    kind: str, suffix: str, tmp_path: Path
) -> None:
    make, problem = HARMFUL[kind]
    folder = without(tmp_path / "site", "zones.geojson")
    (folder / f"zones.{suffix}").write_bytes(make())
    with pytest.raises(InputError, match=r"IN-081") as raised:
        read_site(folder)
    assert any(problem in f.problem for f in raised.value.findings if f.code == "IN-081")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["site"]


def test_the_unpacked_size_is_capped_over_all_members() -> None:
    big = zipfile.ZipInfo("big")
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr(big, b"1")
    # The size that the directory states, changed to 201 MB; the ratio is looked at after the sum.
    size = (1).to_bytes(4, "little")
    content = buffer.getvalue().replace(size * 2, size + (201_000_000).to_bytes(4, "little"))
    with pytest.raises(InputError, match="unpacks to more than 100 MB"):
        unpack(content, "a.zip", everything)


def test_a_directory_that_lies_about_sizes_is_no_way_round() -> None:
    """The member is 3 MB of zeros, and the directory says one byte."""
    content = zipped({"a": ZEROS})
    lie = content.replace(len(ZEROS).to_bytes(4, "little"), (1).to_bytes(4, "little"))
    with pytest.raises(InputError, match=r"the archive is damaged.*IN-002"):
        unpack(lie, "a.zip", everything)


def test_a_member_there_twice_is_refused() -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("a", b"1")
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr("a", b"2")
    with pytest.raises(InputError, match="a member is there twice"):
        unpack(buffer.getvalue(), "a.zip", everything)


@pytest.mark.parametrize("keep", [0.3, 0.9])
def test_half_an_archive_is_damaged(keep: float) -> None:
    content = zipped({"a": bytes(range(256)) * 9})
    with pytest.raises(InputError, match="the archive is damaged"):
        unpack(content[: int(len(content) * keep)], "a.zip", everything)


def test_packing_and_unpacking_give_the_members_back() -> None:
    members = {"a/b.txt": b"1", "c": b""}
    assert unpack(pack(members), "a.zip", everything) == members


def test_a_huge_reach_of_a_sheet_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """One cell in the last corner would ask for places for 17 thousand million cells."""
    sheet = xlsx({"visits": [*[list(row) for row in VISITS]]})
    with zipfile.ZipFile(io.BytesIO(sheet)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    name = "xl/worksheets/sheet1.xml"
    corner = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    members[name] = members[name].replace(b"</sheetData>", corner)
    folder = without(tmp_path / "site", "visits.csv")
    (folder / "visits.xlsx").write_bytes(zipped(members))
    with pytest.raises(InputError, match=r"row 1,048,576, column 16,384; .*IN-091"):
        read_site(folder)


def test_a_cell_repeated_without_end_is_refused_before_it_is_read(tmp_path: Path) -> None:
    content = ods({"visits": [[*row] for row in VISITS]})
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    many = b'<table:table-row table:number-rows-repeated="1000000">'
    text = members["content.xml"]
    members["content.xml"] = many.join(text.rsplit(b"<table:table-row>", 1))
    folder = without(tmp_path / "site", "visits.csv")
    (folder / "visits.ods").write_bytes(zipped(members))
    with pytest.raises(InputError, match=r"IN-091"):
        read_site(folder)


def test_column_letters_are_numbers() -> None:
    assert [_column_number(letters) for letters in (b"A", b"Z", b"AA", b"XFD")] == [
        1,
        26,
        27,
        16384,
    ]


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY a "ha">'
    '<!ENTITY b "&a;&a;&a;&a;">]><kml><Placemark><name>&b;</name></Placemark></kml>'
)
OUTSIDE = '<!DOCTYPE kml [<!ENTITY a SYSTEM "file:///etc/hostname">]><kml>&a;</kml>'


@pytest.mark.parametrize("text", [BOMB, OUTSIDE, "<!DOCTYPE kml><kml/>", "<kml>" * 200])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("form", ["kml", "kmz"])
def test_a_document_type_or_great_depth_is_refused(
    text: str, encoding: str, form: str, tmp_path: Path
) -> None:
    content = text.encode(encoding)
    folder = without(tmp_path / "site", "zones.geojson")
    whole = content if form == "kml" else zipped({"doc.kml": content})
    (folder / f"zones.{form}").write_bytes(whole)
    with pytest.raises(InputError, match="IN-082"):
        read_site(folder)


VRT = '<OGRVRTDataSource><OGRVRTLayer name="zones"><SrcDataSource>/etc/x</SrcDataSource>'


@pytest.mark.parametrize("suffix", ["geojson", "gpkg", "shp", "zip", "kmz", "xlsx", "ods"])
@pytest.mark.parametrize("content", [VRT, "%PDF-1.7", "GIF89a", "https://example.org/z.gpkg"])
def test_content_that_does_not_fit_its_name_is_refused(
    suffix: str, content: str, tmp_path: Path
) -> None:
    folder = without(tmp_path / "site", "zones.geojson")
    (folder / f"zones.{suffix}").write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match=r"does not hold what \.\w+ promises.*IN-003"):
        read_site(folder)


def test_a_vrt_called_kml_is_not_kml(tmp_path: Path) -> None:
    text = VRT + "</OGRVRTLayer></OGRVRTDataSource>"
    folder = without(tmp_path / "site", "zones.geojson")
    (folder / "zones.kml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"it is not KML.*IN-003"):
        read_site(folder)


@pytest.mark.parametrize(
    "name",
    ["https://example.org/a.xlsx", "/vsicurl/a.gpkg", "../a.gpkg", "/a.gpkg", "x/vsizip/a.gpkg"],
)
def test_a_name_that_leads_outside_is_refused_for_all_tables_too(name: str, tmp_path: Path) -> None:
    settings = SETTINGS + f'[files]\nall = "{name}"\n'
    with pytest.raises(SettingsError, match=r"files\.all: .* is not a file inside"):
        read_site(make_site(tmp_path / "site", settings=settings))


@pytest.mark.parametrize("part", ["zones.shp", "zones.dbf"])
def test_a_link_out_of_the_folder_is_refused_also_beside_a_shapefile(
    part: str, tmp_path: Path
) -> None:
    parts = shapefile(layer("zones"), tmp_path / "made", "zones")
    folder = without(tmp_path / "site", "zones.geojson")
    for name, content in parts.items():
        if name == part:
            (folder / name).symlink_to(tmp_path / "made" / name)
        else:
            (folder / name).write_bytes(content)
    with pytest.raises(InputError, match="leads outside the site's folder"):
        read_site(folder)


def test_reading_archives_writes_nothing(tmp_path: Path) -> None:
    folder = without(tmp_path / "site", "zones.geojson", "visits.csv", "refuges.geojson")
    (folder / "zones.kmz").write_bytes(zipped({"doc.kml": kml(layer("zones"), "zone_id")}))
    (folder / "visits.xlsx").write_bytes(xlsx({"visits": [list(row) for row in VISITS]}))
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    read_site(folder)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.parametrize("method", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2])
def test_a_member_packed_by_a_rare_method_is_refused(method: int) -> None:
    """A damaged LZMA header asked for gigabytes before a byte was unpacked."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", method) as archive:
        archive.writestr("zones.shp", bytes(range(256)) * 40)
    with pytest.raises(InputError, match=f"'zones.shp' is packed by method {method}"):
        unpack(buffer.getvalue(), "x.zip", lambda _: True)
