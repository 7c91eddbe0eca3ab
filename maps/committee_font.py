"""The font of the committee page: Open Sans, from the installed ``xstatic-opensans`` wheel.

It is carried inside the page and the PDF, the letters used only, so that both break their lines the
same on every machine and the page stays one page. Open Sans is under the Apache License 2.0.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont
from xstatic.pkg import opensans

FAMILY = "Open Sans"
WEIGHTS = (("Regular", 400), ("Bold", 700))


def font_file(name: str) -> Path:
    """Return the file of one weight."""
    return Path(opensans.BASE_DIR) / "fonts" / name / f"OpenSans-{name}.ttf"


def font_faces(texts: Iterable[str]) -> str:
    """Return the CSS that carries the font, with the letters of some texts.

    Examples
    --------
    >>> font_faces(["ab"]).count("@font-face"), len(font_faces(["ab"])) < 9000
    (2, True)
    """
    letters = sorted({ord(letter) for text in texts for letter in text})
    return "".join(
        f"@font-face{{font-family:'{FAMILY}';font-weight:{weight};"
        f"src:url(data:font/ttf;base64,{_part(font_file(name), letters)})}}"
        for name, weight in WEIGHTS
    )


def _part(path: Path, letters: list[int]) -> str:
    """Return the part of a font that holds some letters, in base64; equal letters, equal bytes."""
    options = subset.Options(hinting=False, layout_features=["kern"], notdef_outline=True)
    options.drop_tables += ["FFTM"]
    with TTFont(path, recalcTimestamp=False) as font:
        worker = subset.Subsetter(options)
        worker.populate(unicodes=letters)
        worker.subset(font)
        found = io.BytesIO()
        font.save(found)
    return base64.b64encode(found.getvalue()).decode("ascii")
