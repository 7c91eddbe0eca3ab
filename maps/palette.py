"""Colours: one sequential ramp for activity, and plain inks for everything else.

The ramp runs from pale straw over mauve to dark plum. Its steps are equal in CIE lightness, so it
keeps its order in grey print and for every kind of colour vision.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from data.findings import SettingsError

MIN_LIGHTNESS_STEP = 8.0
MOST_CLASSES = 9
INK = "#1d2321"
PAPER = "#ffffff"

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


def class_of(rate: float, breaks: Sequence[float]) -> int:
    """Return the class of a catch rate; a rate on a break belongs to the class above it.

    Examples
    --------
    >>> [class_of(rate, (0.5, 1, 2)) for rate in (0, 0.5, 1.7, 30)]
    [0, 1, 2, 3]
    """
    return bisect_right(list(breaks), rate)


def class_labels(breaks: Sequence[float]) -> list[str]:
    """Return the legend text of each class.

    Examples
    --------
    >>> class_labels((0.5, 1, 2))
    ['under 0.5', '0.5 to 1', '1 to 2', '2 or more']
    >>> class_labels(())
    ['any']
    """
    names = [f"{value:g}" for value in breaks]
    if not names:
        return ["any"]
    between = [f"{low} to {high}" for low, high in pairwise(names)]
    return [f"under {names[0]}", *between, f"{names[-1]} or more"]


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
    rgb = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
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
