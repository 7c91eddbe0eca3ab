"""An aerial photo as the weekly map carries it: a JPEG in the page, no larger than it may be."""

from __future__ import annotations

import base64
import io

import numpy as np
import numpy.typing as npt

from data.aerial_photo import AerialPhoto
from maps.palette import NO_PHOTO, levels
from maps.payload import Json

MOST_BYTES = 400_000
"""Of the JPEG; in the page it takes a third more."""

QUALITIES = (82, 72, 62, 52)
SMALLER = 0.8
"""Where the lowest quality is still too large, both sides shrink by this, again and again."""


def aerial_layer(photo: AerialPhoto) -> Json:
    """Return the photo for the page's script.

    Parameters
    ----------
    photo
        The photo.

    Returns
    -------
    dict
        `uri`: the JPEG as a ``data:`` address; `bounds`: its south-west and north-east corner.
    """
    south, west, north, east = (round(each, 7) for each in photo.bounds)
    jpeg = base64.b64encode(aerial_jpeg(photo.pixels)).decode("ascii")
    return {
        "uri": f"data:image/jpeg;base64,{jpeg}",
        "bounds": [[south, west], [north, east]],
    }


def aerial_jpeg(pixels: npt.NDArray[np.uint8], most_bytes: int = MOST_BYTES) -> bytes:
    """Return pixels as a JPEG that is no larger than it may be; equal pixels, equal bytes.

    Parameters
    ----------
    pixels
        Red, green, blue and mask, shape (rows, columns, 4); what is masked is left blank.
    most_bytes
        Its largest size.

    Examples
    --------
    >>> noise = np.random.default_rng(1).integers(0, 255, (200, 200, 4), dtype=np.uint8)
    >>> len(aerial_jpeg(noise, 20_000)) <= 20_000
    True
    """
    # Loaded where there is a photo only: most sites have none.
    from PIL import Image  # noqa: PLC0415

    there = pixels[..., 3:] > 0
    picture = Image.fromarray(
        np.where(there, pixels[..., :3], np.array(levels(NO_PHOTO), dtype=np.uint8))
    )
    while True:
        for quality in QUALITIES:
            file = io.BytesIO()
            picture.save(file, "JPEG", quality=quality, optimize=True, progressive=True)
            if file.tell() <= most_bytes:
                return file.getvalue()
        wide, high = (max(1, round(SMALLER * each)) for each in picture.size)
        picture = picture.resize((wide, high), Image.Resampling.LANCZOS)
