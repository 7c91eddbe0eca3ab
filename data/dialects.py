"""How a site's own file of visits separates its columns, so that rows for it can be written."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from data.encodings import decode
from data.files import find_file
from data.findings import InputError
from data.schemas import VISITS
from data.site import Site

DELIMITERS = (",", ";", "\t")


def visits_delimiter(folder: Path, site: Site) -> str:
    """Return what separates the columns of a site's visits; a comma where its file is no text.

    Parameters
    ----------
    folder
        The site's folder.
    site
        As read from it.
    """
    try:
        source = find_file(folder, VISITS, site.settings)
    except InputError:
        return ","
    if source is None or source.suffix not in (".csv", ".tsv"):
        return ","
    if source.suffix == ".tsv":
        return source.read.delimiter or "\t"
    text = decode(source.content, source.read.encoding).text
    return source.read.delimiter or _delimiter(text, list(site.visit_headers.values()))


def _delimiter(text: str, names: list[str]) -> str:
    r"""Return the delimiter with which the first row holds the columns that were read.

    Examples
    --------
    >>> _delimiter('trap;"a,b"\n1;2\n', ["trap", "a,b"])
    ';'
    """
    for delimiter in DELIMITERS:
        row = next(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), [])
        if {*names} <= {name.strip() for name in row}:
            return delimiter
    return ","
