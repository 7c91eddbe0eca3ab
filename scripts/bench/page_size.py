"""Size and speed of the weekly map page: the demo, and a network of 10,000 traps over 30 weeks.

Run as ``python -m scripts.bench.page_size [TRAPS] [WEEKS] [ZONES]``: prints size, time from opening
to the first picture with all traps on it, and time of one week step to its picture (median and
slowest), each in a Chromium of this machine with the network cut. The large network is the demo's
analysis with invented traps and counts; no statistic is worked out for it.

Times of one machine differ threefold from one hour to the next, so the same run measures a bare
page as well: a canvas, and as many stamps on it at each step. The last column is a step in times of
that page's.
"""

from __future__ import annotations

import math
import statistics
import sys
import tempfile
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from playwright.sync_api import Page, sync_playwright
from shapely.geometry import Point, box

from data.reading import read_site
from maps.language_file import english
from maps.page import activity_map
from spatial.analysis import analyse
from spatial.arrays import NameArray
from spatial.results import Analysis

SITE = Path(__file__).resolve().parents[2] / "data" / "demo" / "site"
STATUS_CHANCES = {"ok": 0.94, "flooded": 0.02, "disturbed": 0.02, "not_checked": 0.02}
NEXT_PICTURE = (
    "() => new Promise((done) => requestAnimationFrame(() => setTimeout(() => done("
    "performance.now()))))"
)
STEPS = (
    "async () => { const took = [], slider = document.getElementById('week');"
    "const picture = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));"
    "for (let week = 0; week <= Number(slider.max); week += 1) { await picture();"
    "const start = performance.now(); slider.value = String(week);"
    "slider.dispatchEvent(new Event('input')); await picture();"
    "took.push(performance.now() - start); } return took; }"
)

BARE = """<!doctype html><title>Bare</title><canvas width="1280" height="784"></canvas>
<input id="week" type="range" max="{steps}"><script>
const ctx = document.querySelector('canvas').getContext('2d');
const sheet = new OffscreenCanvas(14, 14), pen = sheet.getContext('2d');
pen.arc(7, 7, 6, 0, 7);
pen.fill();
const stamp = sheet.transferToImageBitmap();
function step() {{
  ctx.clearRect(0, 0, 1280, 784);
  for (let k = 0; k < {stamps}; k += 1) ctx.drawImage(stamp, 7 * k % 1266, 11 * k % 770, 14, 14);
}}
step();
document.getElementById('week').addEventListener('input', step);
</script>"""


def main(traps: int, weeks: int, zones: int) -> None:
    """Measure both pages and print the figures."""
    demo = analyse(read_site(SITE))
    pages = {
        f"bare page of {traps} stamps": BARE.format(stamps=traps, steps=weeks - 1),
        "demo": activity_map(demo, english()),
        f"{traps} traps x {weeks} weeks x {zones} zones": activity_map(
            invented(demo, traps, weeks, zones), english()
        ),
    }
    print(f"{'page':38s} {'MB':>6s} {'painted ms':>11s} {'step ms':>8s} {'slowest':>8s} {'x':>6s}")
    bare = math.nan
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox"]
        )
        for name, html in pages.items():
            path = Path(folder, "page.html")
            path.write_text(html, encoding="utf-8")
            painted, steps = _times(browser.new_page(offline=True), path)
            step = statistics.median(steps)
            bare = step if math.isnan(bare) else bare
            print(
                f"{name:38s} {path.stat().st_size / 1e6:6.3f} {painted:11.0f} "
                f"{step:8.1f} {max(steps):8.1f} {step / bare:6.2f}"
            )
        browser.close()


def _times(page: Page, path: Path) -> tuple[float, list[float]]:
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto(path.as_uri())
    painted = float(page.evaluate(NEXT_PICTURE))
    return painted, [float(took) for took in page.evaluate(STEPS)]


def invented(demo: Analysis, traps: int, weeks: int, zones: int) -> Analysis:
    """Return the demo's analysis with an invented network in place of its own."""
    random = np.random.default_rng(0)
    labels = _weeks(weeks)
    many_zones = _zones(demo, zones)
    many_traps = _traps(demo, many_zones, traps, random)
    rounds = _rounds(many_traps, labels, random)
    return replace(
        demo,
        site=replace(demo.site, traps=_lives(many_traps)),
        season=replace(demo.season, week=labels[-1], weeks=tuple(labels)),
        zones=many_zones,
        traps=many_traps,
        rounds=rounds,
        marks=_to_date(rounds, "location_id").assign(mark=_some_marks(len(rounds), random)),
        zone_weeks=_to_date(
            rounds.assign(zone_id=rounds["location_id"].map(_zone_of(many_traps))), "zone_id"
        ).assign(mark=""),
        curve=_curve(demo, labels),
        links=_links(many_traps),
        decisions=tuple(demo.decisions[k % len(demo.decisions)] for k in range(zones)),
    )


def _weeks(count: int) -> list[str]:
    days = (date(2026, 1, 5) + timedelta(weeks=k) for k in range(count))
    return [f"{day.isocalendar().year}-W{day.isocalendar().week:02d}" for day in days]


def _zones(demo: Analysis, count: int) -> gpd.GeoDataFrame:
    """Return rounded squares of some 33 corners in a grid, with the demo's words."""
    table = demo.zones.iloc[np.arange(count) % len(demo.zones)].reset_index(drop=True)
    side = int(np.ceil(np.sqrt(count)))
    west, south = demo.zones.total_bounds[:2]
    moved = gpd.GeoSeries(
        [
            box(
                west + 100 * (k % side),
                south + 100 * (k // side),
                west + 100 * (k % side) + 40,
                south + 100 * (k // side) + 40,
            ).buffer(20, quad_segs=8)
            for k in range(count)
        ],
        crs=demo.zones.crs,
    )
    ids = [f"Z{k + 1:03d}" for k in range(count)]
    return table.assign(zone_id=ids, traps=1).set_geometry(moved)


def _traps(
    demo: Analysis, zones: gpd.GeoDataFrame, count: int, random: np.random.Generator
) -> gpd.GeoDataFrame:
    table = demo.traps.iloc[np.arange(count) % len(demo.traps)].reset_index(drop=True)
    home = np.arange(count) % len(zones)
    middle = zones.geometry.centroid
    shift = random.uniform(-38, 38, (count, 2))
    places = [
        Point(middle.x[zone] + east, middle.y[zone] + north)
        for zone, (east, north) in zip(home, shift, strict=True)
    ]
    ids = [f"T{k + 1:05d}" for k in range(count)]
    return table.assign(
        location_id=ids, trap_id=ids, zone_id=zones["zone_id"].to_numpy()[home]
    ).set_geometry(gpd.GeoSeries(places, crs=zones.crs))


def _zone_of(traps: gpd.GeoDataFrame) -> pd.Series[str]:
    return pd.Series(traps["zone_id"].to_numpy(), index=traps["location_id"].to_numpy())


def _rounds(traps: pd.DataFrame, weeks: list[str], random: np.random.Generator) -> pd.DataFrame:
    size = len(traps) * len(weeks)
    status = random.choice(list(STATUS_CHANCES), size, p=list(STATUS_CHANCES.values()))
    ok = status == "ok"
    caught = random.negative_binomial(0.8, 0.8 / (0.8 + 4), size).astype(float)
    return pd.DataFrame(
        {
            "week": np.repeat(weeks, len(traps)),
            "location_id": np.tile(traps["location_id"].to_numpy(), len(weeks)),
            "status": status,
            "adults": np.where(ok, caught, np.nan),
            "nights": np.where(ok, 7.0, 0.0),
            "rate": np.where(ok, caught, np.nan),
        }
    )


def _to_date(rounds: pd.DataFrame, key: str) -> pd.DataFrame:
    sums = rounds.groupby(["week", key], sort=True)[["adults", "nights"]].sum().reset_index()
    running = sums.groupby(key)[["adults", "nights"]].cumsum()
    table = sums[["week", key]].join(running)
    return table.assign(rate=7 * table["adults"] / table["nights"].where(table["nights"] > 0))


def _some_marks(size: int, random: np.random.Generator) -> NameArray:
    marks = np.array(["none", "busy_patch", "quiet_patch"], dtype=object)
    return marks[random.choice(3, size, p=[0.94, 0.04, 0.02])]


def _curve(demo: Analysis, weeks: list[str]) -> pd.DataFrame:
    table = demo.curve.iloc[np.arange(len(weeks)) % len(demo.curve)].reset_index(drop=True)
    return table.assign(week=weeks)


def _links(traps: gpd.GeoDataFrame) -> pd.DataFrame:
    """Three links a trap: with the next traps of its zone."""
    ids = traps["location_id"].to_numpy()
    step = traps["zone_id"].nunique()
    pairs = [(ids[k], ids[k + n * step]) for n in (1, 2, 3) for k in range(len(ids) - n * step)]
    return pd.DataFrame(pairs, columns=["focal", "neighbor"]).assign(distance_m=20.0)


def _lives(traps: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    begun = pd.to_datetime(["2025-12-01"] * len(traps))
    return traps[["location_id", "geometry"]].assign(
        installed=begun, removed=pd.Series(pd.NaT, index=traps.index)
    )


if __name__ == "__main__":
    sizes = [int(text) for text in sys.argv[1:]]
    main(*(sizes + [10_000, 30, 300][len(sizes) :]))
