"""Pages beside the pictures that a person has looked at: ``tests/golden``.

Both pictures are made grey and cut into blocks of 8 px; two blocks differ by their mean grey, 0 to
255. Chromium 150 and 156, with and without hinted letters, came out alike: no block by more than 8,
all blocks by 1.4 in the mean, which is what the few colours of the committed picture cost. Another
system's font, were it let in, would change 10 to 37 % of the blocks; hence the one font of
``scripts/make_golden.py``. The changes that the tests make change 0.4 % or more.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser

from scripts.make_golden import GOLDEN, SHEETS, SHOTS, opened, photographed, sheet, write_pages

pytestmark = pytest.mark.browser

BLOCK_PX = 8
LEAST_GREY = 12.0
"""A block that differs by more has changed."""
MOST_CHANGED = 0.0025
MOST_MEAN = 2.0
MOST_BYTES, MOST_BYTES_ALL = 40_000, 400_000

REMAKE = "look at the page; if it is right, run python -m scripts.make_golden and commit"

HIDDEN = "document.querySelector('{}').style.visibility = 'hidden'"
DOWN = "document.querySelector('{}').style.marginTop = '40px'"
CHANGES = (
    ("map-390", "no map", HIDDEN.format(".map")),
    ("map-390", "sentence lower", DOWN.format(".lead")),
    ("map-390", "no buttons", HIDDEN.format(".tools")),
    ("map-390", "zones without fill", "document.querySelectorAll('path.zone')"
     ".forEach(zone => zone.setAttribute('fill', '#fff'))"),
    ("map-1440", "no map", HIDDEN.format(".map")),
    ("map-1440", "blank curve", HIDDEN.format("#curve")),
    ("map-1440", "no sentences", HIDDEN.format(".say ul")),
    ("map-1440", "sentence lower", DOWN.format(".lead")),
    ("map-1440", "side under the map", "document.querySelector('.desk').style.display = 'block'"),
    ("map-1440", "no traps", "document.querySelectorAll('path.trap').forEach(dot => dot.remove())"),
    ("season", "no calendar", HIDDEN.format("svg")),
    ("season", "blank curve", "document.querySelectorAll('svg')[1].replaceChildren()"),
    ("season", "no table", HIDDEN.format("table")),
    ("season", "heading lower", DOWN.format("h2")),
    ("work-order", "no map", HIDDEN.format(".plan-map")),
    ("work-order", "no key", HIDDEN.format("figcaption")),
    ("work-order", "nothing said to be missing", "document.querySelector('.loud').remove()"),
    ("work-order", "no table", HIDDEN.format("table.zones")),
)  # fmt: skip
"""Picture, what is done to its page, and how."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("pages")
    write_pages(made)
    return made


@pytest.fixture(scope="module")
def browser(chromium_path: str) -> Iterator[Browser]:
    with opened(chromium_path) as started:
        yield started


def golden(name: str) -> Image.Image:
    return Image.open(GOLDEN / f"{name}.png").convert("RGB")


def blocks(picture: Image.Image) -> np.ndarray:
    size = (round(picture.width / BLOCK_PX), round(picture.height / BLOCK_PX))
    shrunk = picture.convert("L").resize(size, Image.Resampling.BOX)
    return np.asarray(shrunk, dtype=float)


def difference(one: Image.Image, other: Image.Image) -> tuple[float, float]:
    """Return the share of changed blocks and the mean difference of all, in levels of grey."""
    apart = np.abs(blocks(one) - blocks(other))
    return float((apart > LEAST_GREY).mean()), float(apart.mean())


def same(one: Image.Image, other: Image.Image) -> bool:
    changed, mean = difference(one, other)
    return changed <= MOST_CHANGED and mean <= MOST_MEAN


def test_the_pictures_are_small_and_none_is_left_over() -> None:
    sizes = {path.name: path.stat().st_size for path in GOLDEN.iterdir()}
    assert set(sizes) == {f"{name}.png" for name in (*SHOTS, *SHEETS)}
    assert max(sizes.values()) <= MOST_BYTES
    assert sum(sizes.values()) <= MOST_BYTES_ALL


@pytest.mark.parametrize("name", SHOTS)
def test_a_page_looks_as_it_did(browser: Browser, folder: Path, name: str) -> None:
    found, expected = photographed(browser, folder, name), golden(name)
    assert found.size == expected.size
    assert same(found, expected), (REMAKE, difference(found, expected))


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_looks_as_it_did(folder: Path, name: str) -> None:
    found, expected = sheet(folder, name), golden(name)
    assert found.size == expected.size
    assert same(found, expected), (REMAKE, difference(found, expected))


@pytest.mark.parametrize(("name", "change"), [(n, c) for n, _, c in CHANGES],
                         ids=[f"{n}: {what}" for n, what, _ in CHANGES])  # fmt: skip
def test_a_changed_page_is_seen(browser: Browser, folder: Path, name: str, change: str) -> None:
    found = photographed(browser, folder, name, change)
    assert not same(found, golden(name)), difference(found, golden(name))


MAP, SECTION = (20, 50, 270, 270), (20, 310, 230, 400)


@pytest.mark.parametrize("box", [MAP, SECTION], ids=["map", "a section"])
def test_a_sheet_with_a_hole_is_seen(box: tuple[int, int, int, int]) -> None:
    spoilt = golden("committee-1")
    spoilt.paste((255, 255, 255), box)
    assert not same(spoilt, golden("committee-1"))


@pytest.mark.parametrize("name", [*SHOTS, *SHEETS])
def test_a_picture_that_slid_down_by_a_line_is_seen(name: str) -> None:
    slid = Image.new("RGB", golden(name).size, "white")
    slid.paste(golden(name), (0, 10))
    assert not same(slid, golden(name))
