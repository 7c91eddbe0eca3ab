"""Finding the files of a site and refusing dangerous ones before any reader opens them."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from data.archives import ZIP_START
from data.encodings import has_wide_mark
from data.findings import Finding, InputError, SettingsError
from data.schemas import TABLES, Table
from data.settings import LocalGridSettings, ReadSettings, SiteSettings
from data.suggestions import nearest

LARGEST_FILE_MB = 50
LARGEST_FILE_MB_ALLOWED = 1000
"""With `[read] allow_large`."""

MOST_SEPARATORS = 5_000_000
"""Commas, semicolons and tabs of a plain table, ten times as many with `allow_large`: each may be
the end of a cell."""

SHARED_SUFFIXES = (".gpkg", ".xlsx", ".ods")
"""Kinds of file that can hold several tables, as layers or sheets."""

SHAPEFILE_PARTS = (".dbf", ".shx", ".prj", ".cpg")
"""What lies beside a .shp; only .cpg may be missing."""

_GPKG_IDS = (b"GPKG", b"GP10", b"GP11", b"GP12")
_SHP_START = b"\x00\x00\x27\x0a"
_SHP_VERSION = b"\xe8\x03\x00\x00"


@dataclass(frozen=True, slots=True)
class SourceFile:
    """One file of a site, read once; what is hashed is what is parsed.

    Parameters
    ----------
    table
        Name of the table it holds.
    name
        File name relative to the site's folder.
    content
        Its bytes.
    parts
        Suffix -> bytes of the files beside a .shp.
    shared
        Whether the file holds other tables too, so that its layer must bear the table's name.
    read
        How its dates, numbers and positions are written.
    local_grid
        Where tape-measured positions start.

    Examples
    --------
    >>> SourceFile("visits", "visits.csv", b"").sha256[:12]
    'e3b0c44298fc'
    """

    table: str
    name: str
    content: bytes
    parts: Mapping[str, bytes] = field(default_factory=dict)
    shared: bool = False
    read: ReadSettings = field(default_factory=ReadSettings)
    local_grid: LocalGridSettings | None = None

    @property
    def suffix(self) -> str:
        """The suffix in small letters, e.g. ``".csv"``."""
        return Path(self.name).suffix.lower()

    @property
    def sha256(self) -> str:
        """SHA-256 of the bytes."""
        return hashlib.sha256(self.content).hexdigest()

    @property
    def hashes(self) -> dict[str, str]:
        """File name -> SHA-256, also of the files beside it."""
        stem = self.name[: -len(self.suffix)]
        beside = {
            stem + s: hashlib.sha256(content).hexdigest() for s, content in self.parts.items()
        }
        return {self.name: self.sha256, **beside}


def find_file(folder: Path, table: Table, settings: SiteSettings) -> SourceFile | None:
    """Find and load the file of one table.

    Parameters
    ----------
    folder
        The site's folder.
    table
        Which table.
    settings
        May name the file; otherwise the table's own name with one of its suffixes, otherwise the
        one file that holds all tables.

    Returns
    -------
    SourceFile or None
        None when an optional table has no file.

    Raises
    ------
    InputError
        When the file is missing, of an unknown kind, outside the folder, too large, unreadable, or
        does not hold what its suffix says.
    """
    own = settings.files.get(table.name) or _default_name(folder, table)
    name = own or settings.files.get("all") or _shared_name(folder, settings)
    if name is None:
        if table.required:
            first = table.name + table.suffixes[0]
            raise _refusal("IN-001", first, "the file is missing", _missing_fix(folder, table))
        return None
    read = settings.reading(table.name)
    content = _load(folder, name, SHARED_SUFFIXES if own is None else table.suffixes, read)
    parts = _beside(folder, name, read) if Path(name).suffix.lower() == ".shp" else {}
    grid = settings.local_grid
    source = SourceFile(table.name, name, content, parts, own is None, read, grid)
    _refuse_wrong_content(source)
    return source


def refuse_unsafe_name(name: str, where: str) -> None:
    """Refuse a file name that could lead out of the site's folder or onto a network.

    Raises
    ------
    SettingsError
        When the name is a URL, a virtual path of a driver, absolute, or climbs out with ``..``.

    Examples
    --------
    >>> refuse_unsafe_name("sub/zones.geojson", "[files] zones")
    >>> refuse_unsafe_name("https://example.org/z.gpkg", "[files] zones")
    Traceback (most recent call last):
    ...
    data.findings.SettingsError: site.toml, [files] zones: 'https://example.org/z.gpkg' is not a \
file inside the site's folder; copy the file there and give its name
    """
    parts = name.replace("\\", "/").split("/")
    unsafe = (
        not name.strip()
        or ":" in name
        or "\0" in name
        or "/vsi" in name.lower()
        or ".." in parts
        or parts[0] == ""
    )
    if unsafe:
        raise SettingsError(
            f"site.toml, {where}: {name!r} is not a file inside the site's folder; "
            "copy the file there and give its name"
        )


def _default_name(folder: Path, table: Table) -> str | None:
    names = [table.name + suffix for suffix in table.suffixes]
    there = [name for name in names if (folder / name).is_file()]
    if len(there) > 1:
        raise _refusal("IN-009", there[0], f"{' and '.join(there)} are both there", "keep one")
    return there[0] if there else None


def _shared_name(folder: Path, settings: SiteSettings) -> str | None:
    """Return the one file that may hold all tables, looked for only when a required one lacks."""
    if not any(_lacks_file(folder, table, settings) for table in TABLES.values()):
        return None
    named = {*settings.files.values()}
    found = sorted(
        path.name
        for path in folder.iterdir()
        if path.suffix.lower() in SHARED_SUFFIXES
        # A spreadsheet program marks the file that it has open with "~$" or ".~lock".
        and not path.name.startswith(("~", "."))
        and path.stem.lower() not in TABLES
        and path.name not in named
        and path.is_file()
    )
    if len(found) > 1:
        problem = f"any of {', '.join(found)} may hold the tables"
        raise _refusal("IN-009", found[0], problem, "name one as all under [files] in site.toml")
    return found[0] if found else None


def _lacks_file(folder: Path, table: Table, settings: SiteSettings) -> bool:
    names = [table.name + suffix for suffix in table.suffixes]
    there = table.name in settings.files or any((folder / name).is_file() for name in names)
    return table.required and not there


def _missing_fix(folder: Path, table: Table) -> str:
    names = " or ".join(table.name + suffix for suffix in table.suffixes[:3])
    present = [path.name for path in folder.iterdir() if path.is_file()]
    close = nearest(table.name + table.suffixes[0], present)
    hint = f" (there is {close!r})" if close else ""
    return f"add {names}, or name yours under [files] in site.toml{hint}"


def _load(folder: Path, name: str, suffixes: tuple[str, ...], read: ReadSettings) -> bytes:
    path = folder / name
    if Path(name).suffix.lower() not in suffixes:
        kinds = ", ".join(suffixes[:-1]) + " or " + suffixes[-1]
        raise _refusal("IN-008", name, "files of this kind are not read", f"save it as {kinds}")
    if not path.resolve().is_relative_to(folder.resolve()):
        raise _refusal("IN-002", name, "it leads outside the site's folder", "copy the file here")
    if not path.is_file():
        raise _refusal("IN-001", name, "the file is missing", "check its name in site.toml")
    largest = LARGEST_FILE_MB_ALLOWED if read.allow_large else LARGEST_FILE_MB
    try:
        if path.stat().st_size > largest * 1_000_000:
            raise _refusal("IN-017", name, "the file is too large", _larger(largest))
        return path.read_bytes()
    except OSError as error:
        problem = f"the file cannot be read ({error.strerror})"
        raise _refusal("IN-002", name, problem, "check its permissions") from None


def _larger(largest_mb: int) -> str:
    if largest_mb == LARGEST_FILE_MB_ALLOWED:
        return f"keep it under {largest_mb} MB"
    return f"keep it under {largest_mb} MB, or set allow_large = true under [read] in site.toml"


def _beside(folder: Path, name: str, read: ReadSettings) -> dict[str, bytes]:
    """Load the files beside a .shp, whatever the case of their suffixes."""
    path = Path(name)
    found: dict[str, bytes] = {}
    for other in sorted((folder / name).parent.iterdir()):
        suffix = other.suffix.lower()
        if other.stem == path.stem and suffix in SHAPEFILE_PARTS and suffix not in found:
            found[suffix] = _load(folder, str(path.with_name(other.name)), SHAPEFILE_PARTS, read)
    return found


def _refuse_wrong_content(source: SourceFile) -> None:
    if not source.content.strip():
        raise _refusal("IN-004", source.name, "the file is empty", "add a header and rows")
    if source.suffix in (".csv", ".tsv"):
        _refuse_many_separators(source)
    if not _CONTENT_FITS[source.suffix](source.content):
        problem = f"the file does not hold what {source.suffix} promises"
        raise _refusal("IN-003", source.name, problem, "export it again in that format")


def _refuse_many_separators(source: SourceFile) -> None:
    count = sum(source.content.count(mark) for mark in (b",", b";", b"\t"))
    if count > MOST_SEPARATORS * (10 if source.read.allow_large else 1):
        problem = f"it holds {count:,} commas, semicolons and tabs"
        raise _refusal("IN-094", source.name, problem, "keep only the columns that are needed")


def is_shapefile(content: bytes) -> bool:
    """Return whether bytes start as a .shp does (ESRI Shapefile Technical Description, 1998)."""
    return content[:4] == _SHP_START and content[28:32] == _SHP_VERSION


def _is_geopackage(content: bytes) -> bool:
    return content.startswith(b"SQLite format 3\0") and content[68:72] in _GPKG_IDS


def _is_json_object(content: bytes) -> bool:
    return content.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{"


def _is_text(content: bytes) -> bool:
    return b"\0" not in content or has_wide_mark(content)


def _is_xml(content: bytes) -> bool:
    if has_wide_mark(content):
        return b"<" in content[2:4]
    return b"\0" not in content and content.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"<"


def _is_zip(content: bytes) -> bool:
    return content.startswith(ZIP_START)


def _is_parquet(content: bytes) -> bool:
    return content[:4] == b"PAR1" == content[-4:] and len(content) >= 12


_CONTENT_FITS: Mapping[str, Callable[[bytes], bool]] = {
    ".csv": _is_text,
    ".tsv": _is_text,
    ".geojson": _is_json_object,
    ".gpkg": _is_geopackage,
    ".shp": is_shapefile,
    ".kml": _is_xml,
    ".gpx": _is_xml,
    ".parquet": _is_parquet,
    **dict.fromkeys((".zip", ".kmz", ".xlsx", ".ods"), _is_zip),
}


def _refusal(code: str, name: str, problem: str, fix: str) -> InputError:
    return InputError([Finding(code, name, problem, fix)])
