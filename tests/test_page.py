"""The map page as a file: self-contained, escaped, repeatable, small."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from analyses import (
    HOSTILE,
    hostile_analysis,
    nine_trap_analysis,
    one_visit_analysis,
    quiet_analysis,
    usual_analysis,
    with_season_week,
    zero_analysis,
)
from branca.element import Element, JavascriptLink
from languages import EN

from data.findings import SettingsError
from data.reading import read_site
from maps import offline
from maps.cautions import cautions
from maps.glyphs import outline
from maps.offline import OfflineError, OfflinePage, PlainMap
from maps.page import KIND_FILLS, SCRIPTS, activity_map, template_text
from maps.palette import INK, MIN_LIGHTNESS_STEP, PAPER, activity_ramp, contrast, lightness_of
from maps.payload import SHAPES, json_text, map_payload
from maps.words import headline
from spatial.analysis import analyse
from spatial.results import Analysis

DEMO = Path(__file__).resolve().parent.parent / "data" / "demo" / "site"
LIVE_TAGS = {"img", "iframe", "object", "embed", "link", "base", "form", "audio", "video"}
SOFT_INK = "#52584f"
ACTION_INK = "#174f5f"
WASH = "#f6f5ef"


class PageReader(HTMLParser):
    """Tags, attributes, scripts and visible text of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.scripts: list[tuple[str | None, str]] = []
        self._inside: tuple[str, str | None] | None = None
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._inside = (tag, dict(attrs).get("type"))

    def handle_endtag(self, tag: str) -> None:
        self._inside = None

    def handle_data(self, data: str) -> None:
        if self._inside and self._inside[0] == "script":
            self.scripts.append((self._inside[1], data))
        elif not (self._inside and self._inside[0] == "style"):
            self.texts.append(data)


@pytest.fixture(scope="module")
def page() -> str:
    return activity_map(usual_analysis(), EN)


@pytest.fixture(scope="module")
def hostile_page() -> str:
    return activity_map(hostile_analysis(), EN)


def test_equal_analyses_give_equal_bytes(page: str) -> None:
    assert activity_map(usual_analysis(), EN) == page


def test_the_page_has_no_tag_that_fetches_anything(page: str) -> None:
    reader = PageReader(page)
    assert {tag for tag, _ in reader.tags} & LIVE_TAGS == set()
    assert [attrs for _, attrs in reader.tags if "src" in attrs or "srcset" in attrs] == []
    assert [a["href"] for _, a in reader.tags if "href" in a] == ["#zones"]


def test_styles_fetch_nothing(page: str) -> None:
    styles = "".join(re.findall(r"<style>(.*?)</style>", page, re.DOTALL))
    targets = re.findall(r"url\(([^)]*)\)", styles)
    assert [t for t in targets if not t.startswith(("data:image/png;base64,", "#"))] == []
    assert "@import" not in styles


def test_the_policy_lists_every_script_by_its_hash_and_nothing_else(page: str) -> None:
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    assert policy
    listed = set(re.findall(r"'sha256-([^']+)'", policy[1]))
    scripts = [text for kind, text in PageReader(page).scripts if kind is None]
    hashes = {base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in scripts}
    assert listed == hashes
    assert policy[1].startswith("default-src 'none'; img-src data:; style-src 'unsafe-inline'")
    assert page.index("Content-Security-Policy") < page.index("<script")


def test_only_leaflet_and_our_own_script_run(page: str) -> None:
    scripts = [text for kind, text in PageReader(page).scripts if kind is None]
    assert len(scripts) == 2
    assert "Leaflet 1.9.3" in scripts[0][:80]
    for unwanted in ("jquery", "bootstrap", "fontawesome", "awesome-markers"):
        assert unwanted not in page.lower()


def test_our_script_never_writes_html() -> None:
    ours = "".join(template_text(f"{name}.js") for name in SCRIPTS)
    for way in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval("):
        assert way not in ours


def test_hostile_text_stays_text(hostile_page: str) -> None:
    reader = PageReader(hostile_page)
    assert {tag for tag, _ in reader.tags} & LIVE_TAGS == set()
    assert [a for _, attrs in reader.tags for a in attrs if a.startswith("on")] == []
    assert len(reader.scripts) == len(PageReader(activity_map(usual_analysis(), EN)).scripts)
    shown = "".join(reader.texts)
    for text in HOSTILE:
        assert text in shown


def test_the_data_survive_hostile_text_unchanged(hostile_page: str) -> None:
    data = carried(hostile_page)
    assert data["site"] == f"Ostrel {HOSTILE[1]} {HOSTILE[3]}"
    assert data["zones"]["id"][0] == f"Z01 {HOSTILE[0]}"
    raw = next(text for kind, text in PageReader(hostile_page).scripts if kind)
    assert re.search("[<>&\u2028\u2029]", raw) is None


def unpacked(text: str) -> str:
    """Read back `maps.packing.packed_run`."""
    return re.sub(r"(.)\{(\d+)\}", lambda run: run[1] * int(run[2]), text)


def carried(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    assert found
    parsed: dict[str, Any] = json.loads(found[1])
    return parsed


def test_a_link_that_is_not_bundled_is_refused() -> None:
    page = OfflinePage("x", EN)
    page.header.add_child(JavascriptLink("x.js"), name="stranger")
    with pytest.raises(OfflineError, match=r"'stranger' links x\.js"):
        page.render()


def test_a_tag_that_fetches_is_refused() -> None:
    page = OfflinePage("x", EN)
    page.html.add_child(Element('<img alt="" src="photo.png">'))
    with pytest.raises(OfflineError, match=r'has <img alt="" src="photo\.png">'):
        page.render()


def test_another_leaflet_than_the_checked_one_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(offline.LEAFLET_SHA256, "leaflet.css", "0" * 64)
    page = OfflinePage("x", EN)
    page.add_child(PlainMap(tiles=None))
    with pytest.raises(OfflineError, match=r"leaflet\.css of xstatic-leaflet must have SHA-256 0"):
        page.render()


@pytest.mark.parametrize(
    "make", [usual_analysis, quiet_analysis, zero_analysis, nine_trap_analysis, one_visit_analysis]
)
def test_every_headline_sentence_and_caution_is_on_the_page(make: Any) -> None:
    analysis = make()
    shown = "".join(PageReader(activity_map(analysis, EN)).texts)
    for sentence in (*headline(analysis, EN), *cautions(EN)):
        assert sentence in shown
    assert " nan" not in shown.lower()


def test_zones_without_traps_are_hatched_and_never_shaded() -> None:
    data = map_payload(usual_analysis(), EN)
    for states in data["zones"]["state"]:
        assert states[-3:] == "ttt"
        assert states[:-3].isdigit()


def test_shades_do_not_move_from_week_to_week() -> None:
    """The same rate has the same class in every week, because the breaks are the settings'."""
    data = map_payload(usual_analysis(), EN)
    breaks = usual_analysis().site.settings.class_breaks
    for rates, states in zip(data["zones"]["rate"], data["zones"]["state"], strict=True):
        for rate, state in zip(rates, states, strict=True):
            if rate is not None:
                assert int(state) == sum(rate >= limit for limit in breaks)


def test_a_rate_that_cannot_be_compared_has_its_own_pattern() -> None:
    analysis = usual_analysis()
    weeks = analysis.zone_weeks.assign(rate=float("nan"))
    data = map_payload(replace(analysis, zone_weeks=weeks), EN)
    assert data["zones"]["state"][-1][0] == "x"


def test_void_and_missed_visits_are_told_apart_from_zero() -> None:
    analysis = usual_analysis()
    data = map_payload(analysis, EN)
    last = dict(zip(data["traps"]["id"], unpacked(data["traps"]["status"][-1]), strict=True))
    expected = {"ok": "o", "flooded": "f", "disturbed": "d", "missing": "m", "covered": "c",
                "not_checked": "n"}  # fmt: skip
    for trap, status in zip(analysis.traps["trap_id"], analysis.traps["week_status"], strict=True):
        assert last[trap] == expected[status]
    assert set(last.values()) - {"o", "n"}


def test_zone_marks_of_every_week_are_those_of_the_analysis() -> None:
    analysis = usual_analysis()
    table = analysis.zone_weeks
    first = table["week"] == table["week"].iloc[0]
    early = table["mark"].where(~first, "lone_busy")
    marks = map_payload(replace(analysis, zone_weeks=table.assign(mark=early)), EN)["zones"]["mark"]
    assert marks[-1] == "BQ.........."
    assert marks[0] == "b" * 12


def test_a_chosen_week_without_visits_repeats_the_season_to_date() -> None:
    analysis = usual_analysis()
    traps = analysis.traps.assign(week_status="not_checked")
    data = map_payload(with_season_week(replace(analysis, traps=traps), "2026-W21"), EN)
    assert len(data["weeks"]) == 7
    assert data["zones"]["state"][-1] == data["zones"]["state"][-2]
    assert set(unpacked(data["traps"]["status"][-1])) == {"n"}


def test_positions_carry_six_decimals_and_are_latitude_first() -> None:
    data = map_payload(usual_analysis(), EN)
    latitude, longitude = data["traps"]["at"][0]
    # EPSG:32623 easting 556050, northing 4783050 is near 43.2 N, 44.3 W (zone 23 is 45 W).
    assert 43.1 < latitude < 43.3
    assert -44.4 < longitude < -44.2
    assert all(value == round(value, 6) for pair in data["traps"]["at"] for value in pair)


def test_json_has_no_nan() -> None:
    with pytest.raises(ValueError, match="Out of range float values"):
        json_text({"rate": float("nan")})


@pytest.mark.parametrize("classes", range(2, 10))
def test_shades_are_at_least_eight_units_of_lightness_apart(classes: int) -> None:
    """Bar of the design: lightness step >= 8 (CIE 1976 L*)."""
    lightness = [lightness_of(colour) for colour in activity_ramp(classes)]
    assert all(a - b >= MIN_LIGHTNESS_STEP for a, b in pairwise(lightness))


def test_lightness_agrees_with_published_values() -> None:
    """The sRGB primaries in CIE L* (D65): red 53.24, green 87.73, blue 32.30 (from memory)."""
    found = [lightness_of(c) for c in ("#ff0000", "#00ff00", "#0000ff")]
    assert found == pytest.approx([53.24, 87.73, 32.30], abs=0.01)


def test_too_many_classes_are_refused_with_the_setting_named() -> None:
    with pytest.raises(SettingsError, match=r"class_breaks must hold 0 to 8 numbers.*Got 9"):
        activity_ramp(10)


@pytest.mark.parametrize("ink", [INK, SOFT_INK, ACTION_INK])
@pytest.mark.parametrize("paper", [PAPER, WASH])
def test_text_has_enough_contrast(ink: str, paper: str) -> None:
    """WCAG 2.2 success criterion 1.4.3: at least 4.5 to 1."""
    css = template_text("page.css")
    assert ink in css
    assert paper in css or paper == PAPER
    assert contrast(ink, paper) >= 4.5


def test_shapes_have_the_area_of_their_circle() -> None:
    """A dot's area is its catch rate, whatever the trap's design; shoelace formula."""
    for shape in SHAPES[1:]:
        corners = [tuple(map(float, pair.split())) for pair in outline(shape, 10)[1:-1].split("L")]
        turned = [*corners[1:], corners[0]]
        area = abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(corners, turned, strict=True))) / 2
        assert area == pytest.approx(3.14159265 * 100, rel=0.001)


def test_the_key_fills_obstacles_as_the_map_does() -> None:
    script = template_text("layers.js")
    for kind, fill in KIND_FILLS.items():
        assert f"{kind}: '{fill}'" in script


def test_the_demo_page_is_within_its_size() -> None:
    """Limit for about 100 zones, 73 trap locations and 14 weeks: 0.6 MB."""
    analysis = analyse(read_site(DEMO))
    assert len(analysis.zones) >= 95
    assert len(activity_map(analysis, EN).encode()) <= 600_000


def test_units_are_the_sites() -> None:
    analysis: Analysis = usual_analysis()
    site = replace(analysis.site, settings=replace(analysis.site.settings, units="metric"))
    metric = activity_map(replace(analysis, site=site), EN)
    assert "2.5 acres" in activity_map(analysis, EN)
    assert "1.0 ha" in metric
    assert not re.search(r"\d acres", metric)
