"""axe-core, the accessibility rules of a general-purpose library, finds nothing on any page: both themes, 320 and
1280 pixels wide; and no page is wider than its window."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.web.live import LiveServer, small_deck

PAGES = ("/", "/decks/{deck}/art", "/decks/{deck}/sheet", "/decks/{deck}/glow", "/true-up", "/decks/{deck}/output",
         "/people", "/nowhere")


@pytest.fixture(scope="module")
def deck(live_server: LiveServer) -> str:
    return live_server.deck(small_deck(4), "A deck with a rather long name, for the narrowest of windows")


def problems(page: Page, rules: list[str]) -> Iterator[tuple[str, list[str]]]:
    options = {"runOnly": {"type": "rule", "values": rules}} if rules else {}
    for violation in Axe().run(page, options=options).response["violations"]:
        yield violation["id"], [node["html"][:120] for node in violation["nodes"]]


@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing(browser: Browser, live_server: LiveServer, deck: str, path: str) -> None:
    context = browser.new_context(base_url=live_server.base, viewport={"width": 1280, "height": 900},
                                  reduced_motion="reduce")
    context.request.get(live_server.entry())
    page = context.new_page()
    page.goto(path.format(deck=deck), wait_until="networkidle")
    found: list[object] = []
    for width in (2000, 1280, 768, 390, 320):
        page.set_viewport_size({"width": width, "height": 900})
        if page.evaluate("document.documentElement.scrollWidth") > width:
            found.append(("wider than the window", width))
        if width in (1280, 320):
            # Every rule in the light; in the dark those that colours decide.
            for theme, rules in (("light", []), ("dark", ["color-contrast", "link-in-text-block"])):
                page.emulate_media(color_scheme=theme, reduced_motion="reduce")  # type: ignore[arg-type]
                found += [(width, theme, *one) for one in problems(page, rules)]
            page.emulate_media(color_scheme="light", reduced_motion="reduce")
    context.close()
    assert not found, found


def test_axe_would_find_something(browser: Browser, live_server: LiveServer, deck: str) -> None:
    """The check can fail: a picture without a text and a button without a name are found."""
    context = browser.new_context(base_url=live_server.base)
    context.request.get(live_server.entry())
    page = context.new_page()
    page.goto(f"/decks/{deck}/sheet")
    page.evaluate("document.querySelector('main').append(document.createElement('button'), new Image())")
    rules = {violation["id"] for violation in Axe().run(page).response["violations"]}
    context.close()
    assert {"button-name", "image-alt"} <= rules
