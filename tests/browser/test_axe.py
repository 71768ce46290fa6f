"""axe-core, the accessibility rules of a general-purpose library, finds nothing on any page: both themes, 320 and
1280 pixels wide."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from tests.web.live import LiveServer, small_deck

PAGES = ("/", "/decks/{deck}/art", "/decks/{deck}/sheet", "/decks/{deck}/glow", "/true-up", "/decks/{deck}/output",
         "/people")


@pytest.fixture(scope="module")
def deck(live_server: LiveServer) -> str:
    return live_server.deck(small_deck(3), "Axe")


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 1280])
def test_axe_finds_nothing(browser: Browser, live_server: LiveServer, deck: str, width: int, theme: str) -> None:
    context = browser.new_context(base_url=live_server.base, viewport={"width": width, "height": 900},
                                  color_scheme=theme, reduced_motion="reduce")  # type: ignore[arg-type]
    context.request.get(live_server.entry())
    page = context.new_page()
    found = []
    for path in PAGES:
        page.goto(path.format(deck=deck))
        page.wait_for_load_state("networkidle")
        for violation in Axe().run(page).response["violations"]:
            found.append((path, violation["id"], [node["html"][:120] for node in violation["nodes"]]))
        overflow = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if overflow > 0:
            found.append((path, "wider than the window", [f"{overflow} px"]))
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
