"""A release on a phone: a designer packs a version, a playtester has the right PDF in two taps."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.web.live import LiveServer, running, small_deck
from tests.web.test_people import LAN

PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def live_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """A server that lets guests in."""
    with running(tmp_path_factory.mktemp("live") / "data", hosts=LAN) as server:
        yield server


def release(page: Page, version: str) -> None:
    """Release by two methods, both papers that are ticked from the start, in both inks."""
    page.get_by_label("Version to release").fill(version)
    form = page.locator("[data-release-form]")
    for label in ("Fold with backs below", "Pale, half the ink"):
        form.get_by_label(label).check()
    form.get_by_role("button", name="Release").click()
    expect(page.locator("[data-release-message]")).to_have_text(f"{version} is released.")


def test_a_designer_releases_and_a_playtester_gets_the_right_pdf_in_two_taps(
        page: Page, live_server: LiveServer, browser: Browser, tmp_path: Path) -> None:
    deck_id = live_server.deck(small_deck(3), "Tides")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    page.goto(f"/decks/{deck_id}/output")
    release(page, "0.3")
    with page.expect_download() as download:
        page.get_by_role("link", name="Download Tides-0.3.zip").click()
    assert download.value.suggested_filename == "Tides-0.3.zip"

    window = browser.new_context(base_url=live_server.base, viewport=PHONE,  # type: ignore[arg-type]
                                 has_touch=True, accept_downloads=True)
    window.request.post("/join", headers={"Origin": live_server.base}, form={
        "code": live_server.services.door.code("playtester"), "name": "Lin"})
    guest = window.new_page()
    guest.goto(f"/decks/{deck_id}/output")
    released = guest.get_by_role("region", name="What was released")
    expect(released).to_contain_text("0.3, released")
    # Their paper and the method of the deck are chosen already; so two taps are one choice and the PDF.
    released.locator("label", has_text="Fold with backs below").tap()
    with guest.expect_download() as download:
        released.get_by_role("link", name="Get this PDF").tap()
    assert download.value.suggested_filename == "Tides-0.3-vertical-fold-a4-full.pdf"
    download.value.save_as(tmp_path / "got.pdf")
    document = pypdfium2.PdfDocument(tmp_path / "got.pdf")
    assert document.get_page_size(0) == pytest.approx((595.28, 841.89), abs=0.01)  # ISO 216
    assert len(document) == 1  # one side holds fronts and backs
    document.close()
    with guest.expect_download() as download:
        released.get_by_role("link", name="Get its guide").tap()
    assert download.value.suggested_filename == "Tides-0.3-vertical-fold-a4-guide.pdf"

    guest.reload()
    expect(released).to_contain_text("You have taken 0.3 already")
    release(page, "0.4")
    guest.reload()
    expect(released).to_contain_text("0.4 is newer than 0.3, which you took last.")
    window.close()
