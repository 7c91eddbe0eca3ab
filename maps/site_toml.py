"""`site.toml` of an exported site: what its own says, without how the files were typed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, time
from typing import Any

from data.toml_text import toml_key, toml_text

SITE_TOML_MARK = "# Written by snoutline export"
"""First words of the file, by which an older export is known."""

_NOTE = (
    f"{SITE_TOML_MARK}, beside site.gpkg, which holds the tables. How the original files were\n"
    "# typed is left out ([files], [columns], [read], [local_grid], other_columns): a GeoPackage\n"
    "# has its own names, dates, numbers and positions.\n"
)

ABOUT_FILES = ("files", "columns", "read", "local_grid", "other_columns")
"""Settings that would be wrong of the exported tables."""

Settings = Mapping[str, Any]


def site_toml(settings: Settings, crs: str) -> str:
    """Return the settings that belong beside `site.gpkg`; its folder reads back as the same site.

    Parameters
    ----------
    settings
        As a TOML parser reads the site's own `site.toml`.
    crs
        The CRS of the site's zones, so that it stays the same if a zone is added.

    Examples
    --------
    >>> own = {"name": "Alder Flats", "files": {"visits": "v.csv"}, "season": {"start": "02-15"}}
    >>> print(site_toml(own, "EPSG:32617").removeprefix(_NOTE))
    name = "Alder Flats"
    crs = "EPSG:32617"
    <BLANKLINE>
    [season]
    start = "02-15"
    <BLANKLINE>
    """
    kept = {key: value for key, value in settings.items() if key not in ABOUT_FILES}
    large = {"read": {"allow_large": True}} if _reads_large(settings) else {}
    return _NOTE + toml({**kept, "crs": kept.get("crs", crs), **large})


def toml(table: Settings) -> str:
    """Return a TOML document (TOML 1.0), every table under a heading of its own."""
    return "\n".join(part for part in _parts(table, ""))


def toml_value(value: object) -> str:
    """Return a value as TOML.

    Examples
    --------
    >>> toml_value(["a", 1, 2.5, True, {"b c": 1}])
    '["a", 1, 2.5, true, {"b c" = 1}]'
    """
    if isinstance(value, str):
        # Beyond what JSON escapes, TOML forbids the delete character.
        return toml_text(value).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        pairs = (f"{toml_key(key)} = {toml_value(each)}" for key, each in value.items())
        return f"{{{', '.join(pairs)}}}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(toml_value(each) for each in value)}]"
    if isinstance(value, date | time):
        return value.isoformat()
    return repr(value)


def _parts(table: Settings, place: str, heading: str = "") -> Iterator[str]:
    """Yield the lines of a table, then each table within it."""
    plain = {key: value for key, value in table.items() if not _is_section(value)}
    lines = "".join(f"{toml_key(key)} = {toml_value(value)}\n" for key, value in plain.items())
    if plain or not table:
        yield f"{heading}\n{lines}" if heading else lines
    for key, value in table.items():
        name = f"{place}.{toml_key(key)}" if place else toml_key(key)
        if isinstance(value, Mapping):
            yield from _parts(value, name, f"[{name}]")
        elif _is_section(value):
            for each in value:
                yield f"[[{name}]]\n" + "".join(
                    f"{toml_key(inner)} = {toml_value(held)}\n" for inner, held in each.items()
                )


def _is_section(value: object) -> bool:
    """Return whether a value is a table, or a list of nothing but tables."""
    if isinstance(value, Mapping):
        return True
    return isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)


def _reads_large(settings: Settings) -> bool:
    """Return whether any file was let to be large: the export holds them all."""
    read = settings.get("read", {})
    tables = [each for each in read.values() if isinstance(each, Mapping)]
    return any(each.get("allow_large") is True for each in (read, *tables))
