"""Writing the files of a run: all drawn first, then each moved into place whole."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from maps.catalogue import Catalogue
from maps.exports import suggested_traps_geojson, suggested_traps_gpx, traps_csv, zones_csv
from maps.page import activity_map
from maps.summary import summary_json
from spatial.results import Analysis

WEEKLY_FILES: tuple[tuple[str, Callable[[Analysis], str]], ...] = (
    ("zones.csv", zones_csv),
    ("traps.csv", traps_csv),
    ("suggested-traps.geojson", suggested_traps_geojson),
    ("suggested-traps.gpx", suggested_traps_gpx),
    ("summary.json", summary_json),
)
"""Every file of a weekly run that a program reads, with the function that draws it."""


def weekly_texts(analysis: Analysis, lang: Catalogue) -> dict[str, str]:
    """Return the text of every weekly file by its name; the map speaks the language."""
    files = {name: draw(analysis) for name, draw in WEEKLY_FILES}
    return {"activity-map.html": activity_map(analysis, lang), **files}


def write_texts(texts: Mapping[str, str | bytes], folder: Path) -> list[Path]:
    """Write texts into a folder, which is made if needed, and return the paths in order.

    Raises
    ------
    OSError
        If the folder cannot be made or written to.
    """
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / name for name in texts]
    for path, text in zip(paths, texts.values(), strict=True):
        atomic_write(path, text)
    return paths


def atomic_write(path: Path, data: str | bytes) -> None:
    r"""Write a file so that anyone sees the old one or the whole new one, never a part.

    Parameters
    ----------
    path
        The file; its folder exists.
    data
        Its bytes, or text that is written as UTF-8 with the line ends it has.

    Raises
    ------
    OSError
        If it cannot be written; the old file is then untouched and nothing is left beside it.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     atomic_write(Path(folder, "a.csv"), "x\n1\n")
    ...     [each.name for each in Path(folder).iterdir()]
    ['a.csv']
    """
    payload = data.encode("utf-8") if isinstance(data, str) else data
    draft = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        # Opened plainly, not by `tempfile`, so that the file gets the usual permissions.
        with draft.open("wb") as file:
            file.write(payload)
            file.flush()
            os.fsync(file.fileno())
        os.replace(draft, path)
    except BaseException:
        with suppress(OSError):
            draft.unlink()
        raise
