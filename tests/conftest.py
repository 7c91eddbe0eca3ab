"""What all tests share: the browser, and the outcomes of the checks that ran before pytest."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from languages import language, pseudo, same, translated
from playwright.sync_api import Browser, sync_playwright

from maps.catalogue import Catalogue

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
NO_BROWSER = (
    "no Chromium found: install chromium, or name one in SNOUTLINE_CHROMIUM "
    f"(looked for {', '.join(BROWSERS)})"
)

# The same examples at every run, and no limit of time: machines differ.
settings.register_profile(
    "repeatable",
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("repeatable")


def found_chromium(variables: Mapping[str, str]) -> str | None:
    """Return the path of a Chromium; the one named in SNOUTLINE_CHROMIUM comes first."""
    named = variables.get("SNOUTLINE_CHROMIUM")
    if named:
        return shutil.which(named)
    paths = (shutil.which(name, path=variables.get("PATH")) for name in BROWSERS)
    return next((path for path in paths if path), None)


def in_ci(variables: Mapping[str, str]) -> bool:
    """Return whether a missing browser is a failure."""
    return variables.get("CI", "").lower() in {"1", "true", "yes"}


def chromium_or_stop(variables: Mapping[str, str]) -> str:
    """Return the path of a Chromium; without one fail in CI and skip elsewhere."""
    path = found_chromium(variables)
    if path is not None:
        return path
    if in_ci(variables):
        pytest.fail(f"{NO_BROWSER}; in CI the browser tests may not be skipped", pytrace=False)
    pytest.skip(NO_BROWSER)


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Return the browser that tests marked `browser` drive."""
    return chromium_or_stop(os.environ)


@pytest.fixture(scope="module")
def browser(chromium_path: str) -> Iterator[Browser]:
    """Start Chromium once for a file of tests."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=chromium_path, args=["--no-sandbox", "--disable-gpu"]
        )
        yield started
        started.close()


@pytest.fixture(scope="session")
def strange(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    """Make a language without a Latin letter, months included (Greek)."""
    return language(tmp_path_factory.mktemp("el"), "el", translated("el", pseudo))


@pytest.fixture(scope="session")
def german(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    """Make a language that writes numbers and days in another way."""
    own = {"dates__day": "{day}. {month} {year}"}
    return language(tmp_path_factory.mktemp("de"), "de", translated("de", same, **own))


@pytest.fixture(scope="session")
def root() -> Path:
    """Return the top folder of the repository."""
    return Path(__file__).resolve().parent.parent


def pytest_report_header() -> list[str]:
    """Say first which browser is used, or loudly that there is none."""
    path = found_chromium(os.environ)
    if path is not None:
        return [f"browser: {path}"]
    fate = "FAIL" if in_ci(os.environ) else "ARE SKIPPED"
    return [f"!!! THE BROWSER TESTS {fate}: {NO_BROWSER}"]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Show the outcomes of the checks that ran before pytest, above its own closing line."""
    outcomes = os.environ.get("SNOUTLINE_OUTCOMES", "").splitlines()
    skipped = found_chromium(os.environ) is None and not in_ci(os.environ)
    if outcomes or skipped:
        terminalreporter.section("all checks")
    for outcome in outcomes:
        failed = outcome.endswith("FAILED")
        terminalreporter.write_line(outcome, red=failed, green=not failed)
    if skipped:
        terminalreporter.write_line(f"!!! BROWSER TESTS SKIPPED: {NO_BROWSER}", yellow=True)
