"""Colours as the browser has them: every key of every page pair by pair, and every text.

Two entries of a key may lie side by side on the picture. They are told apart by colour (15 in
CAM02-UCS for usual vision and three deficiencies, and 8 of lightness in grey) or by a second cue
that is looked for in the page itself: a pattern or hatch, another shape, a broken or bold line, or
a letter, each of which must stand out from its own ground.
"""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from colours import LEAST_DISTANCE, grey, least_distance, told_apart
from committee_sites import state_site
from playwright.sync_api import Browser, Page
from test_axe_pages import COMMANDS

from maps.palette import activity_ramp, contrast
from scripts.commands import weekly

pytestmark = pytest.mark.browser

LOOKS = (Path(__file__).parent / "looks.js").read_text(encoding="utf-8")
LEAST_LINE_CONTRAST = 3.0
"""Of a cue against its ground (WCAG 2.2, success criterion 1.4.11)."""
LEAST_TEXT_CONTRAST = 4.5
KEYS = {
    "activity-map.html": (
        ".key-evidence li, .key-around li",
        ".key-classes li, .key-around li",
        ".key-traps li",
        ".key-marks li",
    ),
    "committee.html": (".key li",),
    "network.html": ("figcaption span",),
    "parts-and-holes.html": (
        "section:nth-of-type(1) figcaption > span",
        "section:nth-of-type(2) figcaption > span",
    ),
    "work-order.html": ("figcaption span",),
}
"""Pages with a key, and the groups of entries that may lie side by side."""
Json = dict[str, Any]


@pytest.fixture(scope="module", params=["busy", "no_limit"])
def pages(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Return the pages of all commands; without a limit, those that then look different."""
    site = state_site(request.param, tmp_path_factory.mktemp("site") / "site")
    folder = tmp_path_factory.mktemp("pages")
    named = {"weekly": (weekly.command, [], 1)} | COMMANDS
    if request.param == "no_limit":
        named = {name: named[name] for name in ("weekly", "committee")}
    for name, (command, options, _) in named.items():
        given = [str(site), "--out", str(folder / name), "--quiet", *options]
        done = CliRunner().invoke(command, given)
        assert done.exit_code == 0, (name, done.output)
    return sorted(folder.rglob("*.html"))


@pytest.fixture
def screen(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(
        viewport={"width": 1440, "height": 900}, offline=True, bypass_csp=True
    )
    yield context.new_page()
    context.close()


def looked(page: Page, path: Path) -> Json:
    page.goto(path.as_uri())
    found: Json = page.evaluate(LOOKS, list(KEYS.get(path.name, ())))
    return found


def ground(look: Json) -> str:
    """Return the colour of an entry: its first fill, or its line where nothing is filled."""
    fills = [part["fill"] for part in look["parts"] if part["fill"]]
    lines = [part["line"] for part in look["parts"] if part["line"]]
    return str([*fills, *lines, "#ffffff"][0])


def stands_out(colour: str, below: str) -> bool:
    return bool(colour) and contrast(colour, below) >= LEAST_LINE_CONTRAST


def thick(part: Json) -> float:
    return float(part["thick"].removesuffix("px") or 0)


def cue(look: Json, usual: float = math.inf) -> tuple[object, ...]:
    """Return what tells an entry apart besides its colour, as far as it can be seen.

    An outline is bold when it is twice as wide as is usual in its key.
    """
    below = ground(look) if any(part["fill"] for part in look["parts"]) else "#ffffff"
    seen: list[object] = [look["letter"]]
    for number, part in enumerate(look["parts"]):
        line = stands_out(part["line"], below)
        if number and not line and not stands_out(part["fill"], below):
            continue
        bold = line and number == 0 and thick(part) >= 2 * usual
        # How wide a stripe is tells nobody anything; its kind, place and way do.
        shape = re.sub(r"\b(x|y|width|height)=\S+", "", part["shape"])
        seen.append((shape, bool(part["fill"]), part["dash"] if line else "", bold))
    return tuple(seen)


def alike(looks: list[Json]) -> list[tuple[str, str]]:
    """Return the pairs that neither colour nor a cue tells apart; steps of the ramp are ordered."""
    ramp = set(activity_ramp(6))
    usual = statistics.median(thick(each["parts"][0]) for each in looks if each["parts"])
    return [
        (one["said"], other["said"])
        for one, other in combinations(looks, 2)
        if not told_apart(ground(one), ground(other))
        and cue(one, usual) == cue(other, usual)
        and not {ground(one), ground(other)} <= ramp
        and not (one["said"].startswith("refuge") and other["said"].startswith("refuge"))
    ]


def test_entries_of_every_key_are_told_apart(screen: Page, pages: list[Path]) -> None:
    for path in pages:
        for key, looks in looked(screen, path)["looks"].items():
            assert len(looks) >= 3, (path.name, key)
            assert (path.name, key, alike(looks)) == (path.name, key, [])


def test_the_cues_are_needed_and_found(screen: Page, pages: list[Path]) -> None:
    """The same judgement, the cues taken away, must fail; so the test can."""
    path = next(each for each in pages if each.name == "activity-map.html")
    looked(screen, path)
    screen.evaluate(
        "document.querySelectorAll('pattern > :not(:first-child)').forEach(e => e.remove())"
    )
    found = screen.evaluate(LOOKS, [".key-classes li, .key-around li"])["looks"]
    bare = alike(next(iter(found.values())))
    nothing, no_nights = (
        "no traps: nothing can be said",
        "traps, but no countable nights to compare",
    )
    assert (nothing, no_nights) in bare
    assert ("obstacle: bunker", "obstacle: water") in bare


def test_the_map_has_no_fill_that_is_not_in_its_key(screen: Page, pages: list[Path]) -> None:
    path = next(each for each in pages if each.name == "activity-map.html")
    looked(screen, path)
    fills = "all => [...new Set(all.map(one => one.getAttribute('fill')))]"
    drawn = screen.locator(".leaflet-zones-pane path, .leaflet-obstacles-pane path")
    keyed = screen.locator(".key .swatch [fill]")
    assert drawn.count() > 100
    assert set(drawn.evaluate_all(fills)) <= set(keyed.evaluate_all(fills))


@pytest.mark.parametrize("media", ["screen", "print"])
def test_every_text_can_be_read_on_its_ground_in_grey_too(
    screen: Page, pages: list[Path], media: Any
) -> None:
    screen.emulate_media(media=media)
    for path in pages:
        texts = looked(screen, path)["texts"]
        assert len(texts) >= 30, path.name
        faint = [
            (text["said"], text["ink"], below)
            for text in texts
            for below in text["grounds"]
            if min(contrast(text["ink"], below), contrast(grey(text["ink"]), grey(below)))
            < LEAST_TEXT_CONTRAST
        ]
        assert (path.name, faint) == (path.name, [])


AREAS = """() => [...document.querySelectorAll('svg[role=img], .curve')].map((picture) => [
  picture.getAttribute('aria-label') || '',
  [...picture.querySelectorAll('path, rect, polygon')].filter((one) => !one.closest('defs'))
    .map((one) => { const look = getComputedStyle(one);
      return [look.fill, look.fillOpacity, look.stroke, look.strokeDasharray]; }),
])"""


def rgb(text: str, share: float = 1.0) -> str:
    """Return a computed colour on white paper as ``#rrggbb``; blank if there is none."""
    if not text.startswith("rgb(") or share == 0:
        return ""
    parts = [int(part) for part in text[4:-1].split(",")]
    return "#" + "".join(f"{round(255 - (255 - part) * share):02x}" for part in parts)


def test_every_area_of_a_chart_stands_out_from_its_paper(screen: Page, pages: list[Path]) -> None:
    """A filled area is 15 away from white, or has an outline that is seen."""
    counted = 0
    for path in pages:
        looked(screen, path)
        for label, areas in screen.evaluate(AREAS):
            for fill, opacity, stroke, _ in areas:
                colour, line = rgb(fill, float(opacity)), rgb(stroke)
                if not colour or colour == "#ffffff":
                    continue
                counted += 1
                outlined = line and contrast(line, "#ffffff") >= 2
                far = least_distance(colour, "#ffffff") >= LEAST_DISTANCE
                assert far or outlined, (path.name, label, colour, line)
    assert counted > 100


@pytest.mark.parametrize("pages", ["busy"], indirect=True)
def test_lines_of_the_season_differ_by_their_dashes(screen: Page, pages: list[Path]) -> None:
    """Seasons are lines of one ink in one picture; what parts them is how they are broken."""
    looked(screen, next(each for each in pages if each.name == "season.html"))
    shown = screen.locator("svg[aria-label^='Adults caught by each day'] polyline")
    lines = shown.evaluate_all(
        "all => all.map(e => [e.getAttribute('points').split(' ').length,"
        " e.getAttribute('stroke-dasharray'), e.getAttribute('stroke')])"
    )
    curves = [dash for points, dash, _ in lines if points > 2]
    keyed = [dash for points, dash, _ in lines if points == 2]
    assert len(curves) >= 2
    assert len(set(curves)) == len(curves)
    assert keyed == curves
    assert all(contrast(ink, "#ffffff") >= LEAST_LINE_CONTRAST for _, _, ink in lines)
