"""An aerial photo of the user's own, read and laid into the projection of the map.

The file is a GeoTIFF, or a JPEG or PNG with a world file beside it. Reading and reprojecting are
rasterio's (an optional extra); only these three kinds are opened, so that no file can lead to
another one or onto a network. The photo is cut to the zones and a margin, and is never larger than
`MOST_PX` on its longer side, averaged where it is finer than that.
"""

from __future__ import annotations

import hashlib
import warnings
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pyproj

from data.aerial_photo import AerialPhoto
from data.files import refuse_unsafe_name
from data.findings import SettingsError

if TYPE_CHECKING:
    from data.site import Site

MOST_PX = 1600
"""Longer side of the picture on the page."""

MARGIN = 0.08
"""Share of the zones' width and height that is shown around them."""

DRIVERS = {".tif": "GTiff", ".tiff": "GTiff", ".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG"}
"""End of the file's name -> what alone reads it."""

Pixels = npt.NDArray[np.uint8]

_MAP_CRS = "EPSG:3857"
_PLACE = "site.toml, aerial.file"


def read_aerial(folder: Path, site: Site) -> AerialPhoto:
    """Return the photo that `site.toml` names.

    Parameters
    ----------
    folder
        The site's folder.
    site
        For its settings, its zones and their CRS.

    Raises
    ------
    SettingsError
        If the file is not there or is no such picture, has no place on the ground, shows none of
        the zones, has no colours of 8 bits, or rasterio is not installed.
    """
    wanted = site.settings.aerial
    refuse_unsafe_name(wanted.file, "[aerial] file")
    path = folder / wanted.file
    if not path.is_file():
        raise SettingsError(f"{_PLACE}: there is no {wanted.file} in the site's folder")
    if path.suffix.lower() not in DRIVERS:
        raise SettingsError(
            f"{_PLACE}: expected a file that ends with {', '.join(DRIVERS)}, found {wanted.file}"
        )
    if find_spec("rasterio") is None:
        raise SettingsError(
            f"{_PLACE}: reading a photo needs rasterio; pip install 'snoutline[aerial]', or take "
            "[aerial] out"
        )
    around = _around(site)
    pixels = _warped(path, wanted.crs or str(site.zones.crs), around)
    if not pixels[..., 3].any():
        raise SettingsError(
            f"{_PLACE}: {wanted.file} shows none of the zones; its CRS or its world file may be "
            "of another place"
        )
    return AerialPhoto(
        pixels=pixels,
        bounds=_degrees(around),
        file=wanted.file,
        digest=hashlib.sha256(path.read_bytes()).hexdigest(),
    )


def with_aerial(site: Site, photo: AerialPhoto) -> Site:
    """Return a site with its photo, which then stands among the files that it was made from."""
    hashes = dict(sorted({**site.hashes, photo.file: photo.digest}.items()))
    return replace(site, aerial=photo, hashes=hashes)


def _around(site: Site) -> tuple[float, float, float, float]:
    """Return west, south, east, north of the zones and their margin, in metres of the map."""
    west, south, east, north = (float(each) for each in site.zones.to_crs(_MAP_CRS).total_bounds)
    x, y = MARGIN * (east - west), MARGIN * (north - south)
    return west - x, south - y, east + x, north + y


def _degrees(around: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    to_degrees = pyproj.Transformer.from_crs(_MAP_CRS, "EPSG:4326", always_xy=True)
    (west, east), (south, north) = to_degrees.transform(around[::2], around[1::2])
    return south, west, north, east


def _warped(path: Path, crs: str, around: tuple[float, float, float, float]) -> Pixels:
    """Return the photo's pixels inside some bounds of the map; `crs` where it names none."""
    # An optional extra: it is imported only where a photo is asked for.
    import rasterio  # noqa: PLC0415
    from rasterio.errors import NotGeoreferencedWarning, RasterioError  # noqa: PLC0415

    with warnings.catch_warnings():
        # A photo without a place is refused in our own words.
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        try:
            with rasterio.open(path, driver=DRIVERS[path.suffix.lower()]) as photo:
                _refuse_unusable(photo, path.name)
                return _laid(photo, photo.crs or crs, around)
        except RasterioError as error:
            message = f"{_PLACE}: {path.name} cannot be read as a photo ({error})"
            raise SettingsError(message) from None


def _laid(photo: Any, crs: Any, around: tuple[float, float, float, float]) -> Pixels:
    """Return a photo as it lies on the map, shape (rows, columns, 4)."""
    from rasterio.enums import Resampling  # noqa: PLC0415
    from rasterio.transform import from_bounds  # noqa: PLC0415
    from rasterio.vrt import WarpedVRT  # noqa: PLC0415

    wide, high = _size(photo, crs, around)
    with WarpedVRT(
        photo,
        src_crs=crs,
        crs=_MAP_CRS,
        transform=from_bounds(*around, wide, high),
        width=wide,
        height=high,
        resampling=Resampling.average,
        add_alpha=photo.count != 4,
    ) as laid:
        return _coloured(laid.read())


def _refuse_unusable(photo: Any, name: str) -> None:
    """Refuse a picture without a place on the ground, or not of grey or colours of 8 bits.

    Raises
    ------
    SettingsError
        With what is wrong and how to mend it.
    """
    if photo.transform.is_identity:
        raise SettingsError(
            f"{_PLACE}: {name} has no place on the ground; give a GeoTIFF, or put its world file "
            "(.tfw, .jgw, .pgw) beside it"
        )
    kinds = [each.name for each in photo.colorinterp]
    bits = photo.tags(1, ns="IMAGE_STRUCTURE").get("NBITS", "8")
    if "palette" in kinds or bits != "8" or (photo.count == 4 and kinds[3] != "alpha"):
        raise SettingsError(
            f"{_PLACE}: expected grey, or red, green, blue and transparency; {name} has "
            f"{', '.join(kinds)} of {bits} bits; save it as a plain photo in colours"
        )
    if photo.count not in (1, 3, 4) or set(photo.dtypes) != {"uint8"}:
        raise SettingsError(
            f"{_PLACE}: expected grey, or red, green and blue, of 8 bits; {name} has "
            f"{photo.count} bands of {', '.join(sorted(set(photo.dtypes)))}; save it as a photo of "
            "8 bits"
        )


def _size(photo: Any, crs: Any, around: tuple[float, float, float, float]) -> tuple[int, int]:
    """Return columns and rows: those of the photo where it is coarser than `MOST_PX` allows."""
    from rasterio.warp import transform_bounds  # noqa: PLC0415

    west, south, east, north = transform_bounds(crs, _MAP_CRS, *photo.bounds)
    wide, high = around[2] - around[0], around[3] - around[1]
    own = min((east - west) / photo.width, (north - south) / photo.height)
    step = max(own, max(wide, high) / MOST_PX)
    return max(1, round(wide / step)), max(1, round(high / step))


def _coloured(bands: Pixels) -> Pixels:
    """Return bands of grey or of colours, and their mask, as pixels."""
    *colours, mask = bands
    three = colours * 3 if len(colours) == 1 else colours
    return np.dstack([*three, mask])
