"""Phones that open round sheets, for the tests that tap them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from languages import EN
from playwright.sync_api import Browser, BrowserContext, Page, Request
from sites import make_site

from data.reading import read_site
from maps.catalogue import Catalogue
from maps.sheet import round_sheet
from spatial.round_plan import RoundPlan, plan_round

SMALL_ROUND = "2026-05-11T09:00:00"
"""A Monday in week 20, the week after the last visit of the tiny site."""

NO_STORAGE = """
Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('no'); }});
"""


@dataclass
class Phones:
    """Phones that open sheets, with everything that the pages asked for or complained about."""

    browser: Browser
    folder: Path
    contexts: list[BrowserContext] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def open(
        self,
        plan: RoundPlan,
        now: str = SMALL_ROUND,
        *,
        script: str = "",
        width: int = 390,
        delimiter: str = ",",
        lang: Catalogue = EN,
    ) -> Page:
        """Open the sheet of a round on a new phone with the network cut."""
        path = self.folder / f"round-sheet-{len(self.contexts)}.html"
        path.write_bytes(round_sheet(plan, delimiter, lang).encode("utf-8"))
        context = self.browser.new_context(
            viewport={"width": width, "height": 844},
            has_touch=True,
            is_mobile=True,
            offline=True,
            accept_downloads=True,
            timezone_id="America/Chicago",
        )
        self.contexts.append(context)
        if script:
            context.add_init_script(script)
        page = context.new_page()
        page.clock.install(time=now)
        self.watch(page, path.as_uri())
        page.goto(path.as_uri())
        return page

    def watch(self, page: Page, own: str) -> None:
        def asked(request: Request) -> None:
            if request.url != own and not request.url.startswith("blob:"):
                self.asked.append(request.url)

        page.on("request", asked)
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", lambda dialog: self.complaints.append(dialog.message))


@contextmanager
def opened_phones(browser: Browser, folder: Path) -> Iterator[Phones]:
    """Open sheets; at the end nothing was asked for and nothing went wrong."""
    used = Phones(browser, folder)
    yield used
    for context in used.contexts:
        context.close()
    assert used.asked == []
    assert used.complaints == []


def small_plan(folder: Path) -> RoundPlan:
    return plan_round(read_site(make_site(folder)))


def saved(page: Page) -> str:
    """Save the file by the page's own button, and return its text."""
    if page.locator("body").get_attribute("data-view") != "file":
        page.tap('[data-go="file"]')
    with page.expect_download() as waiting:
        page.tap("#save")
    text = Path(waiting.value.path()).read_bytes().decode("utf-8")
    assert text.removeprefix("\ufeff") == page.locator("#csv").input_value()
    return text
