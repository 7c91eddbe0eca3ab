"""Take the picture of the demo's activity map that README shows.

``python -m scripts.make_picture`` needs Chromium and the test extras; it writes
`data/demo/activity-map.png`.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import ViewportSize, sync_playwright

from data.reading import read_site
from maps.language_file import english
from maps.page import activity_map
from maps.write import atomic_write
from spatial.analysis import analyse

DEMO = Path(__file__).resolve().parents[1] / "data" / "demo"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
SIZE: ViewportSize = {"width": 1280, "height": 1000}


def main() -> int:
    """Write the picture; return the exit code."""
    names = [os.environ.get("SNOUTLINE_CHROMIUM", ""), *BROWSERS]
    browser = next((found for name in names if name and (found := shutil.which(name))), None)
    if browser is None:
        print("no Chromium found; install it or set SNOUTLINE_CHROMIUM", file=sys.stderr)
        return 2
    page = activity_map(analyse(read_site(DEMO / "site")), english())
    atomic_write(DEMO / "activity-map.png", _screenshot(page, browser))
    return 0


def _screenshot(page: str, browser: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        file = Path(folder) / "activity-map.html"
        file.write_text(page, encoding="utf-8")
        window = play.chromium.launch(executable_path=browser, args=["--no-sandbox"])
        tab = window.new_page(viewport=SIZE)
        tab.goto(file.as_uri())
        tab.wait_for_timeout(500)
        picture = tab.screenshot()
        window.close()
    return picture


if __name__ == "__main__":
    sys.exit(main())
