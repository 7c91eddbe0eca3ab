"""Hostile text in every text field of a site, on every page, judged in the DOM of a real browser.

One site carries all payloads: each row of each table has its own. Every command draws its pages of
it once; a page is clean when no payload became an element, an attribute, a script or a request, and
when the payloads that it shows stand there letter by letter.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import pandas as pd
import pytest
from click.testing import CliRunner
from playwright.sync_api import Browser, Page
from test_treatment import inputs

from data.reading import read_site
from data.site import Site
from maps.committee import MOST_LETTERS_SITE
from scripts.commands import committee, efficacy, network, plan, sampling, season, sheet, weekly

pytestmark = pytest.mark.browser

DEMO = Path(__file__).resolve().parent.parent / "data" / "demo" / "site"
COMMANDS: dict[str, Any] = {
    "weekly": weekly,
    "committee": committee,
    "review": committee,
    "plan": plan,
    "season": season,
    "network": network,
    "efficacy": efficacy,
    "sampling": sampling,
    "sheet": sheet,
}
OPTIONS = {"review": ["--season", "2025"]}
SHORT_NAMED = ("committee", "review")
"""Pages that cut a very long name."""
HURT = "window.hurt=1"
_TAGS = (
    "img src=x onerror={}",
    "svg onload={}",
    "body onload={}",
    "iframe srcdoc='<i>'",
    "object data=x",
    "embed src=x",
    "link rel=stylesheet href=x",
    "base href=x:",
    "form action=x",
    "input autofocus onfocus={}",
    "video src=x onerror={}",
    "audio src=x onerror={}",
    "details open ontoggle={}",
    "marquee onstart={}",
    "math href=javascript:{}",
    "a href=javascript:{}",
    "meta http-equiv=refresh content=0",
    "style",
    "template",
    "textarea",
    "title",
    "noscript",
    "xmp",
    "plaintext",
    "select",
    "button formaction=javascript:{}",
)
_ENDS = ("script", "style", "title", "textarea", "svg", "bdi", "td", "table", "li", "main", "html")
PAYLOADS = (
    *(f"<{tag.format(HURT)}>" for tag in _TAGS),
    *(f"</{end}><img src=x onerror={HURT}>" for end in _ENDS),
    *(f"'{mark}><img src=x onerror={HURT}>" for mark in ('"', "'", "`", "--", "]]", "/")),
    f"<script>{HURT}</script>",
    f"<ScRiPt>{HURT}</sCrIpT>",
    f"<<script>{HURT}//<</script>",
    f"<svg><script>{HURT}</script></svg>",
    "<!--",
    "-->",
    "<![CDATA[",
    "]]>",
    "<?php ?>",
    "<%= 7*7 %>",
    f'" onmouseover="{HURT}',
    f"' onfocus='{HURT}' autofocus='",
    f"javascript:{HURT}",
    f"${{{HURT}}}",
    f"`;{HURT};`",
    f'";{HURT};//',
    f'\\";{HURT};//',
    "{{ 7 * 7 }}",
    "{% raw %}",
    "{# x #}",
    "&lt;b&gt;",
    "&#x3c;b&#x3e;",
    "&amp;",
    "\u2028\u2029",
    "\u202eright to left\u202c",
    "url(x:)",
    "expression(1)",
    "\\u003cimg\\u003e",
    "%3Cimg%3E",
)
"""At least 60 ways out of text."""

LIVE = (
    "img, iframe, object, embed, link, base, video, audio, marquee, math, noscript *, xmp, "
    "plaintext, "
    "[src], [srcdoc], [formaction], [autofocus], [action], meta[http-equiv='refresh'], "
    "a[href^='javascript'], details[ontoggle], svg script"
)


def spoilt(column: pd.Series[Any], shift: int) -> pd.Series[Any]:
    """Give every distinct value of a column its own payload, with the value after it."""
    known = {value: place for place, value in enumerate(dict.fromkeys(column.dropna()))}
    return column.map(
        lambda value: (
            f"{PAYLOADS[(known[value] + shift) % len(PAYLOADS)]} {value}"
            if value in known
            else value
        )
    )


def hostile_site() -> Site:
    """Return the demo with a payload in every text that a user types."""
    site = read_site(DEMO)
    tables: dict[str, Any] = {}
    texts = {
        "zones": ("name", "note", "priority", "zone_id"),
        "traps": ("note", "location_id", "trap_id"),
        "visits": ("note", "observer", "location_id", "trap_id"),
        "cores": ("position", "zone_id"),
        "treatments": (
            *("zone_id", "irac_group", "product", "registration_number", "rate", "amount"),
            *("area", "applicator", "note"),
        ),
        "refuges": ("refuge_id", "kind", "note"),
        "obstacles": ("obstacle_id", "note"),
        "bycatch": ("taxon",),
    }
    shared = {
        "zone_id": _names(site.zones["zone_id"], 0),
        "location_id": _names(site.traps["location_id"], 31),
        "trap_id": _names(site.traps["trap_id"], 31),
    }
    for name, columns in texts.items():
        table = getattr(site, name)
        for place, column in enumerate(columns):
            found = table[column]
            given = (
                found.map(shared[column])
                if column in shared
                else spoilt(found.where(found.astype(str).ne(""), "x"), 7 * place + 3)
            )
            table = table.assign(**{column: given})
        tables[name] = table
    limits = tuple(
        replace(one, source=f"{PAYLOADS[k]} {one.source}", dated=f"{PAYLOADS[k + 9]} 2026")
        for k, one in enumerate(site.settings.limits)
    )
    settings = replace(site.settings, name=f"Ostrel {' '.join(PAYLOADS)}", limits=limits)
    return replace(site, settings=settings, **tables)


def _names(column: pd.Series[Any], shift: int) -> dict[str, str]:
    return {
        name: f"{PAYLOADS[(place + shift) % len(PAYLOADS)]} {name}"
        for place, name in enumerate(column.unique())
    }


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Path]]:
    """Return the pages that each command draws of the hostile site."""
    site = hostile_site()
    drawn: dict[str, list[Path]] = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan, "treatment_settings", lambda _: inputs())
        for name, module in COMMANDS.items():
            patch.setattr(module, "read_site", lambda _: site)
            folder = tmp_path_factory.mktemp(name)
            command: click.Command = module.command
            given = [str(DEMO), "--out", str(folder), "--quiet"]
            done = CliRunner().invoke(command, [*given, *OPTIONS.get(name, [])])
            assert done.exit_code == 0, (name, done.output, done.exception)
            drawn[name] = sorted(folder.rglob("*.html"))
    return drawn


def test_there_are_enough_payloads() -> None:
    assert len(set(PAYLOADS)) == len(PAYLOADS) >= 60


def opened(browser: Browser, path: Path) -> tuple[Page, list[str]]:
    page = browser.new_page(offline=True)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda message: wrong.append(message.text))
    page.on("dialog", lambda dialog: wrong.append(dialog.message))
    page.on(
        "request", lambda asked: None if asked.url == path.as_uri() else wrong.append(asked.url)
    )
    page.goto(path.as_uri())
    return page, wrong


def alive(page: Page) -> list[str]:
    """Return every element that a payload could have made, in the DOM as it is now."""
    found: list[str] = page.evaluate(
        "live => [...document.querySelectorAll(live)].map(e => e.outerHTML.slice(0, 120))", LIVE
    )
    handlers: list[str] = page.evaluate(
        "() => [...document.querySelectorAll('*')].flatMap(e => e.getAttributeNames()"
        ".filter(n => n.startsWith('on') || n.includes('<') || n.includes('\"')))"
    )
    hurt: list[str] = page.evaluate("window.hurt === undefined ? [] : ['hurt']")
    return [*found, *handlers, *hurt]


@pytest.mark.parametrize("name", COMMANDS)
def test_no_payload_lives_on_any_page(
    browser: Browser, pages: dict[str, list[Path]], name: str
) -> None:
    assert pages[name]
    for path in pages[name]:
        page, wrong = opened(browser, path)
        assert (path.name, alive(page), wrong) == (path.name, [], [])
        page.close()


def test_the_map_shows_every_zone_and_trap_letter_by_letter_and_alive_are_none(
    browser: Browser, pages: dict[str, list[Path]]
) -> None:
    page, wrong = opened(browser, pages["weekly"][0])
    site = hostile_site()
    rows = page.locator("#zones tbody .pick bdi").all_text_contents()
    assert rows == list(site.zones["zone_id"])
    assert page.locator(".site bdi").text_content() == site.settings.name
    for zone in range(0, len(rows), 7):
        page.evaluate("k => document.querySelectorAll('#zones .pick')[k].click()", zone)
        assert page.locator("#detail h3 bdi").text_content() == rows[zone]
        own = page.locator("#detail .picks .pick")
        if own.count():
            place = list(site.traps["location_id"]).index(own.first.text_content())
            own.first.evaluate("button => button.click()")
            shown = page.locator("#detail h3 bdi").text_content()
            assert shown == site.traps["trap_id"].iloc[place]
    assert (alive(page), wrong) == ([], [])


@pytest.mark.parametrize("name", COMMANDS)
def test_every_page_shows_the_name_of_the_site_letter_by_letter(
    browser: Browser, pages: dict[str, list[Path]], name: str
) -> None:
    shown = []
    for path in pages[name]:
        page, _ = opened(browser, path)
        shown.append(page.evaluate("document.documentElement.textContent"))
        page.close()
    named = hostile_site().settings.name
    expected = named[: MOST_LETTERS_SITE - 1] if name in SHORT_NAMED else named
    assert any(expected in text for text in shown)
