"""A printed sheet's photograph on Glow and on True-up: its cut cards are shown as they lie on that very sheet."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import give
from tests.browser.glow_help import cornered_deck, open_glow, print_sheet, set_settings
from tests.photographer import Conditions, faces, photograph
from tests.web.live import LiveServer

DRIFT = (0.42, -0.63, 0.15, 1.001, 1.001)
FILES = cornered_deck(2)


def number(page: Page, name: str) -> float:
    return float(page.locator(f"#n-{name}").input_value().replace("−", "-"))


def lies_as_printed(page: Page) -> None:
    expect(page.locator("#n-dx")).not_to_have_value("0")
    read = [number(page, name) for name in ("dx", "dy", "turn", "scale")]
    assert read == [pytest.approx(true, abs=off) for true, off in
                    zip((*DRIFT[:3], 100 * DRIFT[3]), (0.05, 0.05, 0.03, 0.03), strict=True)]
    expect(page.locator("[data-cut-rows] tr").first).to_contain_text(re.compile(r"\d"))


def test_a_photograph_lays_the_back_where_it_was_printed(page: Page, live_server: LiveServer, tmp_path: Path) -> None:
    print_sheet(tmp_path, FILES, card="mini", paper="a5")
    how = Conditions(drift=DRIFT, megapixels=5.0, turn=95.0, exposed=99.0, seed=7)
    shot = tmp_path / "window.jpg"
    shot.write_bytes(photograph(*faces(tmp_path / "out.pdf"), how).jpeg)
    deck = live_server.deck(FILES, "Printed")
    set_settings(live_server, deck, card="mini", paper="a5")
    open_glow(page, deck)
    give(page.get_by_label("Read its photograph"), shot)
    said = page.locator("[data-printed-said]")
    expect(said).to_contain_text("4 of 4 marks read: the back lands 0.4", timeout=60_000)
    lies_as_printed(page)
    said.get_by_text("The picture, with what was found").click()
    expect(said.get_by_role("img")).to_be_visible()
    page.goto(f"/decks/{deck}/true-up")
    page.get_by_role("button", name="New printer").click()  # no form is open where printers are kept already
    give(page.locator('[data-reader="read"] [data-photo-file]'), shot)
    page.get_by_role("link", name="See its cut cards on Glow").click(timeout=60_000)
    page.wait_for_selector("body[data-sheet-shown]")
    lies_as_printed(page)
    shot.write_bytes((tmp_path / "out.pdf").read_bytes())
    give(page.get_by_label("Read its photograph"), shot)
    expect(page.locator("[data-printed-said] [data-tone=error]")).to_contain_text("is a scan")
