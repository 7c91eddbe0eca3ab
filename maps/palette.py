"""Colours: one sequential ramp for activity, and by name every other colour that is shown.

The ramp runs from pale straw over mauve to dark plum. Its steps are equal in CIE lightness, so it
keeps its order in grey print and for every kind of colour vision.

A colour is written here once, under a name that says what it is for; nowhere else in `maps`. Python
imports the name; a file of `templates` writes ``colour(INK)``, which `maps.page.template_text`
fills in.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from data.findings import SettingsError

MIN_LIGHTNESS_STEP = 8.0
MOST_CLASSES = 9

# Texts, lines and grounds of every page.
INK = "#1d2321"
SOFT = "#52584f"
PAPER = "#ffffff"
WASH = "#f6f5ef"
RULE = "#c9c8bf"
PRINT_RULE = "#8a8e86"
ROW_RULE = "#e4e3dc"
LINK_RULE = "#8d9189"
IDLE = "#6a6f68"
CELL_EDGE = IDLE
VEIL = "rgba(255, 255, 255, .85)"

# What can be pressed, and what is chosen.
ACT = "#174f5f"
ACT_PRESSED = "#0f3844"
CHOSEN = "#dfe9ea"
MORE = "#ece6f1"
MORE_PRESSED = "#cdbfda"

# Charts, and areas that a plan is about: to treat, or with enough traps.
PLUM = "#4c2a63"
BAND = "#cdbfd6"
RANGE = "#a597b4"
BAR = "#b9a9c4"
PLANNED = "#d9c3e3"
GRID = "#e0dfd7"
SPOILT_GROUND = RULE

# The weekly map, and the committee's small one where it looks the same. "Untold" is the ground
# and the pattern of a zone about which nothing can be said; "gone" a trap that is not in use.
GROUND = "#fbfaf6"
NO_PHOTO = "#f6f6f6"
ZONE_EDGE = "#6b675c"
GONE = ZONE_EDGE
UNTOLD = "#e2e0d9"
UNTOLD_LINE = "#67635a"
REFUGE = "#d3ddc9"
REFUGE_LINE = "#587050"
WATER = "#dbe6ec"
WATER_LINE = "#557a8e"
BUNKER = "#fbf7ea"
BUNKER_DOT = "#8a7d57"
OBSTACLE = "#75736c"
OBSTACLE_EDGE = "#55534c"
OTHER_OBSTACLE = "#b9b7af"

# The same things on the committee's maps (small), on the maps of plans and networks, and on the
# round sheet, in shades of their own.
SMALL_WATER = "#b7d0db"
SMALL_ZONE = "#e8e6de"
SMALL_ZONE_EDGE = "#8b8980"
PLAN_ZONE = "#f1f0e8"
PLAN_ZONE_EDGE = "#a5a497"
PLAN_REFUGE = "#98a886"
ROUND_ZONE = "#eceadd"
ROUND_ZONE_EDGE = "#b9b6a4"
ROUND_OBSTACLE = "#b4b4ae"

# The drawing of a trap's parts.
SOIL = "#d6d1bb"
CAP = "#a9aaa3"
FLUID = "#b49ac6"

NAMED: dict[str, str] = {
    name: value
    for name, value in tuple(globals().items())
    if name.isupper() and isinstance(value, str)
}
"""Name of a colour -> the colour: every text in capitals above."""

_ASKED = re.compile(r"\bcolour\((\w*)\)")

# Anchors as (L*, a*, b*), lightest first: straw, sand, mauve, purple, plum.
_ANCHORS = np.array(
    [
        [93.0, -2.0, 22.0],
        [77.0, 12.0, 26.0],
        [56.0, 34.0, 2.0],
        [36.0, 34.0, -26.0],
        [16.0, 22.0, -24.0],
    ]
)
# CIE D65 white and the sRGB primaries, IEC 61966-2-1.
_WHITE = np.array([0.95047, 1.0, 1.08883])
_XYZ_TO_RGB = np.array(
    [
        [3.2404542, -1.5371385, -0.4985314],
        [-0.9692660, 1.8760108, 0.0415560],
        [0.0556434, -0.2040259, 1.0572252],
    ]
)


def activity_ramp(classes: int) -> list[str]:
    """Return one colour per class of catch rate, light to dark.

    Parameters
    ----------
    classes
        Number of classes, 1 to 9; one more than there are class breaks.

    Returns
    -------
    list of str
        sRGB colours as ``#rrggbb``; neighbours differ by at least 8 units of CIE L*.

    Raises
    ------
    SettingsError
        If more shades are asked for than an eye can tell apart.

    Examples
    --------
    >>> activity_ramp(3)
    ['#f8ebc1', '#b96b84', '#341d4a']
    """
    if not 1 <= classes <= MOST_CLASSES:
        msg = (
            f"site.toml [map] class_breaks must hold 0 to {MOST_CLASSES - 1} numbers, because "
            f"more shades cannot be told apart. Got {classes - 1} instead."
        )
        raise SettingsError(msg)
    lightness = np.linspace(_ANCHORS[0, 0], _ANCHORS[-1, 0], classes)
    order = _ANCHORS[::-1]
    lab = np.column_stack(
        [lightness, *(np.interp(lightness, order[:, 0], order[:, k]) for k in (1, 2))]
    )
    return [_hex(row) for row in _lab_to_rgb(lab)]


def with_colours(text: str, file: str) -> str:
    """Return CSS, script or HTML with every ``colour(NAME)`` filled in.

    Parameters
    ----------
    text
        What asks for colours by their names.
    file
        Where it comes from.

    Raises
    ------
    LookupError
        If no colour has that name.

    Examples
    --------
    >>> with_colours(".north { fill: colour(INK); }", "page.css") == f".north {{ fill: {INK}; }}"
    True
    """

    def named(asked: re.Match[str]) -> str:
        if asked[1] not in NAMED:
            msg = f"{file} asks for {asked[0]}, a name that maps/palette.py does not have"
            raise LookupError(msg)
        return NAMED[asked[1]]

    return _ASKED.sub(named, text)


def levels(colour: str) -> tuple[int, int, int]:
    """Return red, green and blue of an sRGB colour, 0 to 255.

    Examples
    --------
    >>> levels(NO_PHOTO)
    (246, 246, 246)
    """
    red, green, blue = bytes.fromhex(colour.removeprefix("#"))
    return red, green, blue


def class_of(rate: float, breaks: Sequence[float]) -> int:
    """Return the class of a catch rate; a rate on a break belongs to the class above it.

    Examples
    --------
    >>> [class_of(rate, (0.5, 1, 2)) for rate in (0, 0.5, 1.7, 30)]
    [0, 1, 2, 3]
    """
    return bisect_right(list(breaks), rate)


def lightness_of(colour: str) -> float:
    """Return CIE L* of an sRGB colour.

    Examples
    --------
    >>> round(lightness_of("#ffffff")), round(lightness_of("#777777")), lightness_of("#000000")
    (100, 50, 0.0)
    """
    y = relative_luminance(colour)
    return float(116 * np.cbrt(y) - 16 if y > (6 / 29) ** 3 else y * (29 / 3) ** 3)


def relative_luminance(colour: str) -> float:
    """Return the luminance of an sRGB colour, 0 to 1 (WCAG 2.2, IEC 61966-2-1).

    Examples
    --------
    >>> relative_luminance("#ffffff"), relative_luminance("#000000")
    (1.0, 0.0)
    """
    rgb = np.array(levels(colour)) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.2, success criterion 1.4.3).

    Examples
    --------
    >>> contrast("#000000", "#ffffff")
    21.0
    """
    light, dark = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return round((light + 0.05) / (dark + 0.05), 2)


def _lab_to_rgb(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIE 1976 L*a*b* (D65) to sRGB in 0..1, clipped to what a screen can show."""
    f_y = (lab[:, 0] + 16) / 116
    f = np.column_stack([f_y + lab[:, 1] / 500, f_y, f_y - lab[:, 2] / 200])
    xyz = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * _WHITE
    linear = np.clip(xyz @ _XYZ_TO_RGB.T, 0.0, 1.0)
    rgb: NDArray[np.float64] = np.where(
        linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055
    )
    return rgb


def _hex(rgb: NDArray[np.float64]) -> str:
    return "#" + "".join(f"{round(float(part) * 255):02x}" for part in rgb)
