"""Finding the files of a site and refusing dangerous ones before any reader opens them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from data.findings import Finding, InputError, SettingsError
from data.schemas import Table
from data.settings import SiteSettings
from data.suggestions import nearest

LARGEST_FILE_MB = 50

_GPKG_IDS = (b"GPKG", b"GP10", b"GP11", b"GP12")


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

    Examples
    --------
    >>> SourceFile("visits", "visits.csv", b"").sha256[:12]
    'e3b0c44298fc'
    """

    table: str
    name: str
    content: bytes

    @property
    def suffix(self) -> str:
        """The suffix in small letters, e.g. ``".csv"``."""
        return Path(self.name).suffix.lower()

    @property
    def sha256(self) -> str:
        """SHA-256 of the bytes."""
        return hashlib.sha256(self.content).hexdigest()


def find_file(folder: Path, table: Table, settings: SiteSettings) -> SourceFile | None:
    """Find and load the file of one table.

    Parameters
    ----------
    folder
        The site's folder.
    table
        Which table.
    settings
        May name the file; otherwise the table's own name with one of its suffixes.

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
    name = settings.files.get(table.name) or _default_name(folder, table)
    if name is None:
        return None
    source = SourceFile(table.name, name, _load(folder, name, table))
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
    if not there and table.required:
        raise _refusal("IN-001", names[0], "the file is missing", _missing_fix(folder, table))
    return there[0] if there else None


def _missing_fix(folder: Path, table: Table) -> str:
    names = " or ".join(table.name + suffix for suffix in table.suffixes)
    present = [path.name for path in folder.iterdir() if path.is_file()]
    close = nearest(table.name + table.suffixes[0], present)
    hint = f" (there is {close!r})" if close else ""
    return f"add {names}, or name yours under [files] in site.toml{hint}"


def _load(folder: Path, name: str, table: Table) -> bytes:
    path = folder / name
    if Path(name).suffix.lower() not in table.suffixes:
        kinds = " or ".join(table.suffixes)
        raise _refusal("IN-008", name, "files of this kind are not read", f"save it as {kinds}")
    if not path.resolve().is_relative_to(folder.resolve()):
        raise _refusal("IN-002", name, "it leads outside the site's folder", "copy the file here")
    if not path.is_file():
        raise _refusal("IN-001", name, "the file is missing", "check its name in site.toml")
    try:
        if path.stat().st_size > LARGEST_FILE_MB * 1_000_000:
            fix = f"keep it under {LARGEST_FILE_MB} MB"
            raise _refusal("IN-017", name, "the file is too large", fix)
        return path.read_bytes()
    except OSError as error:
        problem = f"the file cannot be read ({error.strerror})"
        raise _refusal("IN-002", name, problem, "check its permissions") from None


def _refuse_wrong_content(source: SourceFile) -> None:
    if not source.content.strip():
        raise _refusal("IN-004", source.name, "the file is empty", "add a header and rows")
    if not _CONTENT_FITS[source.suffix](source.content):
        problem = f"the file does not hold what {source.suffix} promises"
        raise _refusal("IN-003", source.name, problem, "export it again in that format")


def _is_geopackage(content: bytes) -> bool:
    return content.startswith(b"SQLite format 3\0") and content[68:72] in _GPKG_IDS


def _is_json_object(content: bytes) -> bool:
    return content.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{"


def _is_text(content: bytes) -> bool:
    return b"\0" not in content


_CONTENT_FITS = {".csv": _is_text, ".geojson": _is_json_object, ".gpkg": _is_geopackage}


def _refusal(code: str, name: str, problem: str, fix: str) -> InputError:
    return InputError([Finding(code, name, problem, fix)])
