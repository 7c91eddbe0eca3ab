"""The `[aerial]` section of `site.toml`: an aerial photo of the user's own under the weekly map."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import pyproj
from pyproj.exceptions import CRSError


@dataclass(frozen=True, slots=True)
class AerialSettings:
    """A picture of the ground from above, shown under the zones of the weekly map.

    Parameters
    ----------
    file
        A GeoTIFF, or a JPEG or PNG with a world file beside it, in the site's folder.
    crs
        CRS of the picture where its file names none; blank: that of the site.

    Examples
    --------
    >>> AerialSettings("ground.tif").crs
    ''
    """

    file: str = ""
    crs: str = ""


def parse_aerial(table: Mapping[str, Any]) -> tuple[AerialSettings, list[tuple[str, str]]]:
    """Check and type the `[aerial]` table of a `site.toml`.

    Returns
    -------
    AerialSettings, list
        The settings, and key and fault of every problem; with one they are not to be used.

    Examples
    --------
    >>> parse_aerial({"file": "ground.tif", "crs": "EPSG:32617"})
    (AerialSettings(file='ground.tif', crs='EPSG:32617'), [])
    >>> parse_aerial({"crs": "EPSG:32617"})[1]
    [('file', 'expected the name of a picture in the folder of the site; take [aerial] out if \
there is none')]
    """
    known = [each.name for each in fields(AerialSettings)]
    problems = [
        (key, f"there is no such setting; it may be one of {', '.join(known)}")
        for key in table
        if key not in known
    ]
    texts = {key: table.get(key, "") for key in known}
    for key, value in texts.items():
        if not isinstance(value, str):
            problems.append((key, f"expected text in quotation marks, found {value!r}"))
            return AerialSettings(), problems
    if table and not texts["file"].strip():
        problems.append(
            (
                "file",
                "expected the name of a picture in the folder of the site; take [aerial] out if "
                "there is none",
            )
        )
    if texts["crs"] and not _is_crs(texts["crs"]):
        problems.append(("crs", f'expected a CRS such as "EPSG:32617", found {texts["crs"]!r}'))
    return AerialSettings(**texts), problems


def _is_crs(text: str) -> bool:
    try:
        pyproj.CRS.from_user_input(text)
    except CRSError:
        return False
    return True
