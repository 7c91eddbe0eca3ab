"""A photo of the ground from above, as it lies on the map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class AerialPhoto:
    """A photo as it lies on the map.

    Parameters
    ----------
    pixels
        Red, green, blue, and 255 where there is a photo (0 elsewhere), shape (rows, columns, 4),
        rows from the north. Rows and columns are even in Web Mercator, as the map's own.
    bounds
        South, west, north, east edge, degrees (WGS 84).
    file, digest
        Its name and the SHA-256 of its bytes.
    """

    pixels: npt.NDArray[np.uint8]
    bounds: tuple[float, float, float, float]
    file: str
    digest: str
