"""An aerial photo under the map: laid where it belongs, small enough, or refused with a remedy."""

from __future__ import annotations

import base64
import io
import shutil
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from click.testing import CliRunner
from PIL import Image
from playwright.sync_api import Browser
from rasterio.transform import Affine, from_origin

from data import aerial as module
from data.aerial import MOST_PX, read_aerial
from data.findings import SettingsError
from data.reading import read_site
from data.settings_file import parse_settings
from maps.aerial import MOST_BYTES, aerial_jpeg, aerial_layer
from scripts.commands import weekly

DEMO = Path(__file__).resolve().parent.parent / "data" / "demo" / "site"
UTM = "EPSG:32623"


def ground() -> tuple[float, float, float, float]:
    """Return west, south, east, north of the demo's zones with 150 m around, UTM."""
    west, south, east, north = read_site(DEMO).zones.to_crs(UTM).total_bounds
    return west - 150, south - 150, east + 150, north + 150


def picture(columns: int, rows: int, step_m: float, spot: tuple[float, float]) -> np.ndarray:
    """Return a grey picture with a white square of 12 m round a spot, metres from its corner."""
    pixels = np.full((3, rows, columns), 90, dtype=np.uint8)
    column, row = (int(each / step_m) for each in spot)
    half = int(6 / step_m)
    pixels[:, row - half : row + half, column - half : column + half] = 255
    return pixels


def site_with(folder: Path, name: str = "ground.tif", more: str = "") -> Path:
    site = folder / "site"
    shutil.copytree(DEMO, site, dirs_exist_ok=True)
    text = (DEMO / "site.toml").read_text(encoding="utf-8")
    (site / "site.toml").write_text(f'{text}\n[aerial]\nfile = "{name}"\n{more}', encoding="utf-8")
    return site


def put(path: Path, pixels: np.ndarray, transform: Affine | None, crs: str | None = UTM) -> None:
    count, rows, columns = pixels.shape
    kind = module.DRIVERS[path.suffix]
    with rasterio.open(
        path, "w", driver=kind, width=columns, height=rows, count=count, dtype=pixels.dtype,
        crs=crs, transform=transform,
    ) as file:  # fmt: skip
        file.write(pixels)


def world_file(path: Path, transform: Affine) -> None:
    """Write the six lines of a world file: its place is the middle of the first pixel."""
    lines = (transform.a, transform.d, transform.b, transform.e, *at(transform, 0.5, 0.5))
    path.write_text("\n".join(f"{each:.6f}" for each in lines) + "\n", encoding="utf-8")


def at(transform: Affine, column: float, row: float) -> tuple[float, float]:
    """Return where a place of the picture lies on the ground."""
    x = transform.a * column + transform.b * row + transform.c
    return x, transform.d * column + transform.e * row + transform.f


def turned(west: float, north: float, step_m: float, degrees: float) -> Affine:
    return (
        Affine.translation(west, north) * Affine.rotation(degrees) * Affine.scale(step_m, -step_m)
    )


def white_middle(photo: module.AerialPhoto) -> tuple[float, float]:
    """Return longitude and latitude of the middle of what is white, as the map places it."""
    bright = (photo.pixels[..., 0] > 200) & (photo.pixels[..., 3] > 0)
    rows, columns = np.nonzero(bright)
    to_map = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    south, west, north, east = photo.bounds
    (left, right), (low, high) = to_map.transform((west, east), (south, north))
    x = left + (columns.mean() + 0.5) / bright.shape[1] * (right - left)
    y = high - (rows.mean() + 0.5) / bright.shape[0] * (high - low)
    longitude, latitude = to_map.transform(x, y, direction="INVERSE")
    return float(longitude), float(latitude)


# Of rasterio, when the test writes a picture that has its place in a file beside it.
UNPLACED = "ignore::rasterio.errors.NotGeoreferencedWarning"


@pytest.mark.filterwarnings(UNPLACED)
@pytest.mark.parametrize("degrees", [0.0, 7.0])
@pytest.mark.parametrize("kind", ["tif", "png", "jpg"])
def test_a_spot_of_the_photo_lies_where_it_is_on_the_ground(
    kind: str, degrees: float, tmp_path: Path
) -> None:
    """Held to pyproj: the white square's middle, within a metre; also where the photo is turned."""
    west, south, east, north = ground()
    step = 2.0
    columns, rows = int((east - west) / step), int((north - south) / step)
    transform = turned(west, north, step, degrees)
    pixels = picture(columns, rows, step, ((east - west) / 2, (north - south) / 2))
    site = site_with(tmp_path, f"ground.{kind}")
    path = site / f"ground.{kind}"
    put(path, pixels, transform if kind == "tif" else None, UTM if kind == "tif" else None)
    if kind != "tif":
        world_file(path.with_suffix({"png": ".pgw", "jpg": ".jgw"}[kind]), transform)
    photo = read_aerial(site, read_site(site))
    column, row = int((east - west) / 2 / step), int((north - south) / 2 / step)
    x, y = at(transform, column, row)
    to_degrees = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)
    longitude, latitude = white_middle(photo)
    _, _, off_m = pyproj.Geod(ellps="WGS84").inv(longitude, latitude, *to_degrees.transform(x, y))
    assert off_m < 1.0


def test_a_fine_photo_is_made_coarser_and_a_coarse_one_stays(tmp_path: Path) -> None:
    west, south, east, north = ground()
    for step, finer in ((0.4, True), (5.0, False)):
        site = site_with(tmp_path)
        columns, rows = int((east - west) / step), int((north - south) / step)
        put(site / "ground.tif", picture(columns, rows, step, (300.0, 300.0)),
            from_origin(west, north, step, step))  # fmt: skip
        photo = read_aerial(site, read_site(site))
        longest = max(photo.pixels.shape[:2])
        assert longest == MOST_PX if finer else longest < (east - west) / step * 1.5


def test_grey_becomes_colours_and_what_the_photo_lacks_stays_blank(tmp_path: Path) -> None:
    west, south, east, north = ground()
    site = site_with(tmp_path)
    half = picture(int((east - west) / 8), int((north - south) / 4), 4.0, (100.0, 100.0))[:1]
    put(site / "ground.tif", half, from_origin(west, north, 4.0, 4.0))
    photo = read_aerial(site, read_site(site))
    there = photo.pixels[..., 3] > 0
    assert 0.3 < there.mean() < 0.7
    assert (photo.pixels[there][:, 0] == photo.pixels[there][:, 2]).all()
    shown = np.asarray(Image.open(io.BytesIO(aerial_jpeg(photo.pixels))))
    assert abs(int(shown[:, -20:].mean()) - 246) <= 2


def test_the_jpeg_keeps_its_size_and_is_the_same_each_time() -> None:
    noise = np.random.default_rng(4).integers(0, 255, (1600, 1600, 4), dtype=np.uint8)
    noise[..., 3] = 255
    first = aerial_jpeg(noise)
    assert len(first) <= MOST_BYTES
    assert first == aerial_jpeg(noise)


def put_palette(path: Path, pixels: np.ndarray) -> None:
    put(path, pixels, from_origin(0, 9, 1, 1))
    with rasterio.open(path, "r+") as file:
        file.write_colormap(1, {90: (20, 90, 30, 255)})


FAULTS = {
    "no photo": (lambda path, _: path.unlink(), "there is no ground.tif in the site's folder"),
    "no place": (
        lambda path, pixels: put(path, pixels, None, None),
        "has no place on the ground; give a GeoTIFF, or put its world file",
    ),
    "elsewhere": (
        lambda path, pixels: put(path, pixels, from_origin(300000, 300000, 1, 1)),
        "shows none of the zones; its CRS or its world file may be of another place",
    ),
    "16 bits": (
        lambda path, pixels: put(path, pixels.astype(np.uint16), from_origin(0, 9, 1, 1)),
        "expected grey, or red, green and blue, of 8 bits; ground.tif has 3 bands of uint16",
    ),
    "palette": (
        lambda path, pixels: put_palette(path, pixels[:1]),
        "expected grey, or red, green, blue and transparency; ground.tif has palette",
    ),
    "no picture": (
        lambda path, _: path.write_bytes(b"no picture at all"),
        "ground.tif cannot be read as a photo",
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.filterwarnings(UNPLACED)
def test_what_is_no_such_photo_is_refused_with_what_to_do(fault: str, tmp_path: Path) -> None:
    spoil, said = FAULTS[fault]
    site = site_with(tmp_path)
    path = site / "ground.tif"
    path.touch()
    spoil(path, np.full((3, 40, 40), 90, dtype=np.uint8))
    with pytest.raises(SettingsError, match=said):
        read_aerial(site, read_site(site))


def test_other_kinds_of_files_and_places_outside_the_folder_are_refused(tmp_path: Path) -> None:
    site = site_with(tmp_path, "ground.vrt")
    (site / "ground.vrt").write_text("<VRTDataset/>", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"ends with \.tif.*found ground\.vrt"):
        read_aerial(site, read_site(site))
    site = site_with(tmp_path, "../ground.tif")
    with pytest.raises(SettingsError, match="is not a file inside the site's folder"):
        read_aerial(site, read_site(site))


def test_without_the_extra_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = site_with(tmp_path)
    (site / "ground.tif").touch()
    monkeypatch.setattr(module, "find_spec", lambda _: None)
    with pytest.raises(SettingsError, match=r"pip install 'snoutline\[aerial\]'"):
        read_aerial(site, read_site(site))


def test_settings_are_checked() -> None:
    for given, said in (
        ({"file": "a.tif", "crs": "EPSG:nought"}, r"aerial\.crs: .*EPSG:nought"),
        ({"file": "a.tif", "photo": 1}, r"aerial\.photo: there is no such setting"),
        ({"file": 3}, r"aerial\.file: expected .* found 3"),
        ({"crs": "EPSG:32617"}, r"aerial\.file: expected the name of a picture; take \[aerial\]"),
    ):
        with pytest.raises(SettingsError, match=said):
            parse_settings({"name": "K", "aerial": given})
    assert parse_settings({"name": "K"}).aerial.file == ""


@pytest.mark.browser
def test_the_photo_lies_under_the_zones_and_can_be_put_away(
    browser: Browser, tmp_path: Path
) -> None:
    west, south, east, north = ground()
    site = site_with(tmp_path)
    step = 3.0
    put(site / "ground.tif",
        picture(int((east - west) / step), int((north - south) / step), step, (400.0, 300.0)),
        from_origin(west, north, step, step))  # fmt: skip
    out = tmp_path / "out"
    done = CliRunner().invoke(weekly.command, [str(site), "--out", str(out), "--quiet"])
    assert done.exit_code == 0, done.output
    assert '"ground.tif"' in (out / "summary.json").read_text(encoding="utf-8")
    page = browser.new_page(viewport={"width": 1440, "height": 900}, offline=True)
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto((out / "activity-map.html").as_uri())
    photo = page.locator("img.aerial")
    assert photo.evaluate("img => img.complete && img.naturalWidth") > 100
    assert photo.get_attribute("alt") == ""
    layer = aerial_layer(read_aerial(site, read_site(site)))
    assert photo.get_attribute("src") == layer["uri"]
    assert base64.b64decode(layer["uri"].split(",")[1])[:2] == b"\xff\xd8"
    # The zones and their margin of 8 % fill the photo, whatever the zoom.
    box = photo.bounding_box()
    assert box is not None
    edges = page.locator("path.zone").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect())"
        ".reduce((b, r) => [Math.min(b[0], r.left), Math.max(b[1], r.right)], [9e9, -9e9])"
    )
    share = (edges[1] - edges[0]) / box["width"]
    assert share == pytest.approx(1 / 1.16, abs=0.02)
    assert edges[0] - box["x"] == pytest.approx(box["x"] + box["width"] - edges[1], abs=6)
    opacity = "getComputedStyle(document.querySelector('path.zone')).fillOpacity"
    assert page.evaluate(opacity) == "0.5"
    page.get_by_label("Aerial photo").uncheck()
    assert page.locator("img.aerial").count() == 0
    assert page.evaluate(opacity) == "1"
    assert "layers=" in page.evaluate("location.hash")
    assert wrong == []
    page.close()


def test_a_site_without_a_photo_has_no_such_layer(tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = CliRunner().invoke(weekly.command, [str(DEMO), "--out", str(out), "--quiet"])
    assert done.exit_code == 0, done.output
    assert "Aerial photo" not in (out / "activity-map.html").read_text(encoding="utf-8")
