"""axe-core on every page but the map's, of one busy site, on a phone and on a desk.

The map has its own test with its states (test_map_journeys.py). Each command draws its pages once;
a page that a new command writes is looked at as soon as the command is listed here.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import axe_playwright_python
import click
import pytest
from click.testing import CliRunner
from committee_sites import state_site
from playwright.sync_api import Browser, Page, ViewportSize

from scripts.commands import committee, efficacy, network, plan, sampling, season, sheet

pytestmark = pytest.mark.browser

AXE = Path(axe_playwright_python.__file__).parent / "axe.min.js"
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
COMMANDS: dict[str, tuple[click.Command, list[str], int]] = {
    "committee": (committee.command, [], 1),
    "review": (committee.command, ["--season", "2025"], 1),
    "season": (season.command, [], 1),
    "network": (network.command, [], 2),
    "efficacy": (efficacy.command, [], 1),
    "sampling": (sampling.command, ["--cores"], 5),
    "plan": (plan.command, ["--tactic", "adult"], 2),
    "sheet": (sheet.command, [], 1),
}
"""What is run, with which options, and the fewest pages that it writes."""
SIZES: dict[str, ViewportSize] = {
    "phone": {"width": 390, "height": 844},
    "desk": {"width": 1440, "height": 900},
}
Pages = dict[str, list[Path]]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Pages:
    """Return the pages of each command."""
    site = state_site("busy", tmp_path_factory.mktemp("site") / "site")
    drawn: Pages = {}
    for name, (command, options, _) in COMMANDS.items():
        folder = tmp_path_factory.mktemp(name)
        given = [str(site), "--out", str(folder), "--quiet", *options]
        done = CliRunner().invoke(command, given)
        assert done.exit_code == 0, (name, done.output)
        drawn[name] = sorted(folder.rglob("*.html"))
    return drawn


@pytest.fixture
def screen(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """Return a screen of the asked size; the pages' own policy is set aside to let axe in."""
    size: ViewportSize = SIZES[getattr(request, "param", "desk")]
    context = browser.new_context(
        viewport=size, offline=True, bypass_csp=True, reduced_motion="reduce"
    )
    yield context.new_page()
    context.close()


def findings(page: Page) -> dict[str, Any]:
    """Return what axe-core says of a page: passes, and violations of any impact."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found: dict[str, Any] = page.evaluate("tags => axe.run(document, {runOnly: tags})", LEVELS)
    return found


def serious(found: dict[str, Any]) -> list[tuple[str, str]]:
    """Return rule and place of each serious or critical finding."""
    return [
        (each["id"], str(node["target"]))
        for each in found["violations"]
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]


@pytest.mark.parametrize("screen", SIZES, indirect=True)
@pytest.mark.parametrize("name", COMMANDS)
def test_axe_finds_nothing_serious(screen: Page, pages: Pages, name: str) -> None:
    assert len(pages[name]) >= COMMANDS[name][2]
    for path in pages[name]:
        screen.goto(path.as_uri())
        found = findings(screen)
        assert len(found["passes"]) >= 10, path.name
        assert (path.name, serious(found)) == (path.name, [])


def test_axe_can_find_on_a_plain_page(screen: Page, pages: Pages) -> None:
    screen.goto(pages["season"][0].as_uri())
    screen.evaluate("document.documentElement.removeAttribute('lang')")
    screen.evaluate("document.querySelector('p').style.color = '#bbb'")
    screen.evaluate("document.querySelector('svg').removeAttribute('aria-label')")
    rules = {rule for rule, _ in serious(findings(screen))}
    assert rules >= {"html-has-lang", "color-contrast", "svg-img-alt"}
