"""Take the small pictures of the pages that tests compare with: ``tests/golden``.

``python -m scripts.make_golden`` needs Chromium and the test extras. Look at every picture before
it is committed: a golden picture says that a person found the page good. All letters are set in the
font that the committee page carries, so that machines with other fonts give the same picture.
"""

from __future__ import annotations

import os
import shutil
import string
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import click
import pypdfium2
from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from maps.committee_font import FAMILY, font_faces
from maps.write import atomic_write
from scripts.commands import committee, plan, season, weekly

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "data" / "demo" / "site"
GOLDEN = ROOT / "tests" / "golden"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
COLOURS = 64
"""Colours of a committed picture, to keep it small."""

TREATMENT = """
[treatment]
currency = "$"
exclusion_uses = ["green"]
[treatment.buffers]
water = "25 ft"
[treatment.adult]
rate = "0.5 fl oz/1000 ft2"
price = "62/gal"
application_cost = "20/acre"
"""
"""What an invented manager of the demo adds to plan with."""

COMMANDS: Mapping[str, tuple[click.Command, tuple[str, ...]]] = {
    "weekly": (weekly.command, ()),
    "committee": (committee.command, ("--tactic", "adult")),
    "season": (season.command, ()),
    "plan": (plan.command, ("--tactic", "adult")),
}

# The pages' letters in one font, no matter what is installed.
_LETTERS = string.printable + "\N{EN DASH}\N{MULTIPLICATION SIGN}\N{DEGREE SIGN}\u2039\u203a"
_ONE_FONT = font_faces([_LETTERS]) + f"*,*::before{{font-family:'{FAMILY}'!important}}"


@dataclass(frozen=True, slots=True)
class Shot:
    """One picture.

    Parameters
    ----------
    page
        File that a command writes, with its folder.
    width, height
        Of the window, px.
    shown
        Width of the committed picture, px.
    """

    page: str
    width: int
    height: int
    shown: int


SHOTS: Mapping[str, Shot] = {
    "map-390": Shot("weekly/activity-map.html", 390, 1300, 260),
    "map-1440": Shot("weekly/activity-map.html", 1440, 900, 600),
    "season": Shot("season/season.html", 800, 1700, 400),
    "work-order": Shot("plan/work-order.html", 800, 1040, 400),
}
SHEETS: Mapping[str, tuple[str, int]] = {"committee-1": ("committee/committee.pdf", 460)}
"""Pictures of the first sheet of a PDF: its file, and the width of the picture."""


def write_pages(folder: Path) -> None:
    """Write the pages of the demo, planned with an invented treatment, into folders of a folder."""
    site = folder / "site"
    shutil.copytree(DEMO, site)
    toml = site / "site.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + TREATMENT, encoding="utf-8")
    for name, (command, options) in COMMANDS.items():
        given = [str(site), "--out", str(folder / name), "--quiet", *options]
        command.main(given, standalone_mode=False)


@contextmanager
def opened(path: str) -> Iterator[Browser]:
    """Start a Chromium that draws letters and colours the same on every machine."""
    plain = ["--no-sandbox", "--disable-gpu", "--disable-lcd-text", "--hide-scrollbars"]
    plain += ["--font-render-hinting=none", "--force-color-profile=srgb"]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=plain)
        yield browser
        browser.close()


def photographed(browser: Browser, folder: Path, name: str, change: str = "") -> Image.Image:
    """Return the picture of a page at its committed size.

    Parameters
    ----------
    browser
        From `opened`.
    folder
        Where `write_pages` wrote.
    name
        Key of `SHOTS`.
    change
        JavaScript that is run on the page first; for tests that the comparison can fail.
    """
    shot = SHOTS[name]
    context = browser.new_context(
        viewport={"width": shot.width, "height": shot.height},
        offline=True,
        bypass_csp=True,
        reduced_motion="reduce",
    )
    page = context.new_page()
    page.goto((folder / shot.page).as_uri())
    page.add_style_tag(content=_ONE_FONT)
    page.evaluate("document.fonts.ready.then(() => dispatchEvent(new Event('resize')))")
    page.wait_for_timeout(400)
    if change:
        page.evaluate(change)
    taken = Image.open(BytesIO(page.screenshot()))
    context.close()
    return shrunk(taken, shot.shown)


def sheet(folder: Path, name: str) -> Image.Image:
    """Return the picture of the first sheet of a PDF at its committed size."""
    file, shown = SHEETS[name]
    document = pypdfium2.PdfDocument(folder / file)
    drawn = document[0].render(scale=2).to_pil()
    document.close()
    return shrunk(drawn, shown)


def shrunk(picture: Image.Image, wide: int) -> Image.Image:
    """Return a picture in a smaller width, its shape kept."""
    high = round(picture.height * wide / picture.width)
    return picture.convert("RGB").resize((wide, high), Image.Resampling.BOX)


def packed(picture: Image.Image) -> bytes:
    """Return a picture as a small PNG of few colours."""
    saved = BytesIO()
    few = picture.quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(saved, "PNG", optimize=True)
    return saved.getvalue()


def main() -> int:
    """Write the pictures; return the exit code."""
    names = [os.environ.get("SNOUTLINE_CHROMIUM", ""), *BROWSERS]
    path = next((found for name in names if name and (found := shutil.which(name))), None)
    if path is None:
        print("no Chromium found; install it or set SNOUTLINE_CHROMIUM", file=sys.stderr)
        return 2
    GOLDEN.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as made, opened(path) as browser:
        folder = Path(made)
        write_pages(folder)
        pictures = {name: photographed(browser, folder, name) for name in SHOTS}
        pictures |= {name: sheet(folder, name) for name in SHEETS}
    for name, picture in pictures.items():
        atomic_write(GOLDEN / f"{name}.png", packed(picture))
    return 0


if __name__ == "__main__":
    sys.exit(main())
