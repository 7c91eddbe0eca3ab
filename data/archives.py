"""Zip archives: what is not safe to unpack is refused, the rest is unpacked in memory."""

from __future__ import annotations

import io
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping

from data.findings import Finding, InputError

ZIP_START = b"PK\x03\x04"

LARGEST_UNPACKED_MB = 100
MOST_MEMBERS = 1000
LARGEST_RATIO = 100

_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""How office programs, receivers and mapping programs pack; others may ask for any memory."""

_SMALL = 1_000_000
"""A member under this many bytes does no harm, however well it is packed."""


def unpack(
    content: bytes, file: str, wanted: Callable[[str], bool], *, large: bool = False
) -> dict[str, bytes]:
    """Unpack the wanted members of an archive in memory.

    Parameters
    ----------
    content
        The bytes of the archive.
    file
        Its name, for messages.
    wanted
        Which members to unpack, by their name.
    large
        Allow five times as much.

    Returns
    -------
    dict
        Name -> bytes. Nothing is ever written to a disk.

    Raises
    ------
    InputError
        When the archive is damaged, or any member of it is not safe: outside the archive, a link,
        encrypted, there twice, packed by a rare method or more than 100:1, or more than the limits
        together.

    Examples
    --------
    >>> sorted(unpack(pack({"a.txt": b"1", "b.txt": b"2"}), "x.zip", lambda name: name > "b"))
    ['b.txt']
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = archive.infolist()
            _refuse_unsafe(members, file, LARGEST_UNPACKED_MB * (5 if large else 1))
            chosen = [m for m in members if not m.is_dir() and wanted(m.filename)]
            # Python stops at the size that the directory states, and then checks the sum.
            return {member.filename: archive.read(member) for member in chosen}
    except InputError:
        raise
    except (
        *(zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, ValueError),
        *(NotImplementedError, RuntimeError, LookupError, OverflowError),
    ):
        raise _refusal("IN-002", file, "the archive is damaged", "export it again") from None


def pack(members: Mapping[str, bytes]) -> bytes:
    """Return a plain archive of checked members, for a driver that reads archives only."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return buffer.getvalue()


def _refuse_unsafe(members: list[zipfile.ZipInfo], file: str, largest_mb: int) -> None:
    if len(members) > MOST_MEMBERS:
        raise _unsafe(file, f"it has {len(members):,} members, more than {MOST_MEMBERS:,}")
    if len({member.filename for member in members}) < len(members):
        raise _unsafe(file, "a member is there twice")
    if sum(member.file_size for member in members) > largest_mb * 1_000_000:
        raise _unsafe(file, f"it unpacks to more than {largest_mb} MB")
    for member in members:
        problem = _member_problem(member)
        if problem:
            raise _unsafe(file, f"its member {member.filename[:60]!r} {problem}")


def _member_problem(member: zipfile.ZipInfo) -> str:
    # The name as stored: `filename` is cut at a NUL and has its slashes turned.
    name = member.orig_filename.replace("\\", "/")
    if name.startswith("/") or ":" in name or "\0" in name or ".." in name.split("/"):
        return "leads outside the archive"
    if stat.S_ISLNK(member.external_attr >> 16):
        return "is a link"
    if member.flag_bits & 0x1:
        return "is encrypted"
    if member.compress_type not in _METHODS:
        return f"is packed by method {member.compress_type}, which a usual archive does not use"
    if member.file_size > max(_SMALL, LARGEST_RATIO * member.compress_size):
        return f"is packed more than {LARGEST_RATIO}:1"
    return ""


def _unsafe(file: str, problem: str) -> InputError:
    return _refusal("IN-081", file, problem, "make a new archive of the plain files")


def _refusal(code: str, file: str, problem: str, fix: str) -> InputError:
    return InputError([Finding(code, file, problem, fix)])
