"""A real browser on a real server. Without a browser these tests are skipped, and fail where CI is set."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect, sync_playwright

from tests.web.live import LiveServer

# The shell is the same engine without a window's furniture: a quarter less work for each page.
_NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
_SWITCHES = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
             "--disable-component-update", "--disable-sync"]
# A machine that does other work besides may take its time; nothing here waits for as long unless it fails.
_PATIENCE_MS = 20_000


def browser_path() -> str | None:
    """The browser to drive: LAMPFOLD_BROWSER, or what the system has under a usual name."""
    return os.environ.get("LAMPFOLD_BROWSER") or next(filter(None, map(shutil.which, _NAMES)), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = browser_path()
    if path is None:
        reason = f"no browser: none of {', '.join(_NAMES)} is installed, and LAMPFOLD_BROWSER isn't set"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    expect.set_options(timeout=_PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=_SWITCHES)
        yield browser
        browser.close()


@pytest.fixture
def context(browser: Browser, live_server: LiveServer) -> Iterator[BrowserContext]:
    """A browser window of its own that is in as host."""
    context = browser.new_context(base_url=live_server.base, viewport={"width": 1280, "height": 900},
                                  accept_downloads=True)
    context.set_default_timeout(_PATIENCE_MS)
    context.request.get(live_server.entry())
    yield context
    context.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    """A page that fails its test where a script throws or the policy forbids something."""
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if "Content Security Policy" in said.text else None)
    yield page
    assert not wrong, wrong


@pytest.fixture(scope="session")
def script_page(browser: Browser, live_server: LiveServer) -> Iterator[Page]:
    """One page for all tests that only call functions of the page scripts: an address that loads none by itself."""
    context = browser.new_context(base_url=live_server.base)
    page = context.new_page()
    page.goto("/static/lampfold.svg")
    yield page
    context.close()


Colour = tuple[int, int, int]


def front_colour(number: int) -> Colour:
    return 250 - 20 * number, 30, 20 + 20 * number


def back_colour(number: int) -> Colour:
    return 20, 250 - 20 * number, 30 + 20 * number


@pytest.fixture
def folder_of(tmp_path: Path) -> Callable[..., Path]:
    """Makes a deck's folder of flat-coloured cards at trim size, each front with a back of its own."""
    def make(cards: int, name: str = "harbour", backs: bool = True) -> Path:
        root = tmp_path / name
        for number in range(cards):
            sides = (("fronts", front_colour(number)), ("backs", back_colour(number)))[:2 if backs else 1]
            for side, colour in sides:
                path = root / side / f"keeper-{number}.png"
                path.parent.mkdir(parents=True, exist_ok=True)
                Image.new("RGB", (630, 880), colour).save(path)
        return root

    return make


@pytest.fixture
def new_deck(page: Page) -> Callable[[str], str]:
    """Starts a deck on the Desk as a person would; returns its id. The page is then on Art."""
    def start(name: str) -> str:
        page.goto("/")
        page.get_by_label("Name of a new deck").fill(name)
        page.get_by_role("button", name="Start the deck").click()
        page.wait_for_url("**/art")
        expect(page.locator("[data-count]")).to_have_text("No art yet.")
        return page.url.split("/")[-2]

    return start


def give(field: Locator, files: Path | str | list[Path] | list[str]) -> None:
    """Choose files once the page listens, as people can't before."""
    expect(field).to_be_enabled()
    field.set_input_files(files)


def choose_folder(page: Page, folder: Path) -> None:
    give(page.locator("[data-choose-folder]"), folder)
