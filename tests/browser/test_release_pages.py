"""A release on a phone: a designer packs a version, a playtester has the right PDF in two taps."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.browser.conftest import give
from tests.test_web_equals_command_line import printer_file
from tests.web.live import LiveServer, picture, running, small_deck
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
    expect(page.locator("[data-version-now]")).to_have_text(f"The deck is {version}, as it was kept.")


def wrong_with(page: Page) -> list[str]:
    """What axe finds, in both themes."""
    found = []
    themes: tuple[Literal["light", "dark"], ...] = ("light", "dark")
    for theme in themes:
        page.emulate_media(color_scheme=theme, reduced_motion="reduce")
        found += [f"{one['id']}: {node['html'][:120]}" for one in Axe().run(page).response["violations"]
                  for node in one["nodes"]]
    overflow = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return found + ([f"{overflow} px too wide"] if overflow else [])


def phone(browser: Browser, server: LiveServer) -> BrowserContext:
    """A playtester's phone that has joined."""
    window = browser.new_context(base_url=server.base, viewport=PHONE,  # type: ignore[arg-type]
                                 has_touch=True, accept_downloads=True)
    window.request.post("/join", headers={"Origin": server.base}, form={
        "code": server.services.door.code("playtester"), "name": "Lin"})
    return window


def choose_printer(guest: Page, server: LiveServer) -> None:
    """One choice of a printer for all that they print; one of other paper isn't chosen by itself."""
    released = guest.get_by_role("region", name="What was released")
    for paper in ("a4", "letter"):
        profile = printer_file(paper, "long-edge", drift=True, name=f"Quay {paper}")
        assert guest.request.post("/api/printers/import", data=profile, headers={"Origin": server.base}).ok
    guest.reload()
    printer = released.get_by_label("The printer to correct them for")
    expect(printer).to_have_value("")
    guest.get_by_label("Your printer").select_option(label="Quay letter, trued up long ago")
    expect(printer).to_have_value("")
    printer.select_option(label="Quay a4, trued up long ago")
    expect(guest.get_by_label("Your printer").locator("option:checked")).to_contain_text("Quay a4")
    guest.reload()
    expect(printer.locator("option:checked")).to_contain_text("Quay a4")


def only_what_changed(guest: Page, room: Path) -> None:
    released = guest.get_by_role("region", name="What was released")
    released.get_by_role("button", name="Get only what changed since 0.3").tap()
    expect(released).to_contain_text("1 of 3 cards · 1 sheet of paper")
    expect(released).to_contain_text("corrected for Quay a4")
    with guest.expect_download() as download:
        released.get_by_role("link", name="Download what changed").tap()
    assert download.value.suggested_filename == "Tides-0.4-since-0.3-duplex-a4.pdf"
    download.value.save_as(room / "changes.pdf")
    with pypdfium2.PdfDocument(room / "changes.pdf") as document:
        assert len(document) == 3  # the sheet's two sides, and what to take out


def test_a_designer_releases_and_a_playtester_gets_the_right_pdf_in_two_taps(
        page: Page, live_server: LiveServer, browser: Browser, tmp_path: Path) -> None:
    deck_id = live_server.deck(small_deck(3), "Tides")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    page.goto(f"/decks/{deck_id}/output")
    release(page, "0.3")
    expect(page.get_by_role("link", name="Download Tides-0.3.zip")).to_have_attribute("download", "Tides-0.3.zip")

    guest = phone(browser, live_server).new_page()
    guest.goto("/")
    guest.get_by_role("link", name="Tides").tap()
    released = guest.get_by_role("region", name="What was released")
    expect(released).to_contain_text("0.3, released")
    # Two papers, two methods, two inks; each has its two pictures.
    expect(released.locator(".look-picture > svg")).to_have_count(12)
    # Their paper and the method of the deck are chosen already; so two taps are one choice and the PDF.
    released.locator("label", has_text="Fold with backs below").tap()
    with guest.expect_download() as download:
        released.get_by_role("link", name="Get this PDF").tap()
    assert download.value.suggested_filename == "Tides-0.3-vertical-fold-a4-full.pdf"
    download.value.save_as(tmp_path / "got.pdf")
    with pypdfium2.PdfDocument(tmp_path / "got.pdf") as document:
        assert document.get_page_size(0) == pytest.approx((595.28, 841.89), abs=0.01)  # ISO 216
        assert len(document) == 1  # one side holds fronts and backs
    with guest.expect_download() as download:
        released.get_by_role("link", name="Get its guide").tap()
    assert download.value.suggested_filename == "Tides-0.3-vertical-fold-a4-guide.pdf"
    guest.reload()
    expect(released).to_contain_text("You have 0.3, and it is the newest.")

    live_server.client().put(f"/api/decks/{deck_id}/files/fronts/keeper-1.png", content=picture((240, 240, 10)))
    page.reload()
    release(page, "0.4")
    guest.reload()
    expect(released).to_contain_text("0.4 is newer than 0.3, which you have.")
    changed = guest.get_by_role("region", name="What changed from 0.3 to 0.4").locator(".change-cards > li")
    expect(changed).to_have_count(1)
    expect(changed).to_contain_text("keeper-1")
    choose_printer(guest, live_server)
    only_what_changed(guest, tmp_path)
    assert not wrong_with(guest)
    # The older one is there for those who are on it.
    released.get_by_label("Release to print").select_option(index=1)
    expect(released.locator("[data-released-pdf]")).to_have_attribute("download", "Tides-0.3-duplex-a4-full.pdf")
    guest.context.close()


def test_a_game_of_two_decks_with_own_files_is_released_and_found_again_after_reloading(
        page: Page, live_server: LiveServer, tmp_path: Path) -> None:
    client = live_server.client()
    live_server.deck(small_deck(2), "Wicks", client)
    deck_id = live_server.deck(small_deck(2), "Ebb", client)
    (tmp_path / "Rules of Ebb.txt").write_text("Turn a card.", encoding="utf-8")
    (tmp_path / "nul.txt").write_text("x", encoding="utf-8")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    page.goto(f"/decks/{deck_id}/output")
    form = page.locator("[data-release-form]")
    give(form.locator("[data-release-add]"), [tmp_path / "Rules of Ebb.txt", tmp_path / "nul.txt"])
    expect(form.get_by_role("checkbox", name="Rules of Ebb.txt")).to_be_checked()
    expect(form.locator("[data-release-extras-message]")).to_contain_text("nul.txt")
    form.get_by_text("With other decks of this game").click()
    form.get_by_label("Wicks").check()
    page.get_by_label("Version to release").fill("1")
    form.get_by_role("button", name="Release").click()
    expect(page.locator("[data-release-list]")).to_contain_text("2 decks")
    assert not wrong_with(page)
    with page.expect_download() as download:
        page.get_by_role("link", name="Download Ebb-1.zip").click()
    download.value.save_as(tmp_path / "got.zip")
    with zipfile.ZipFile(tmp_path / "got.zip") as pack:
        assert pack.read("extras/Rules of Ebb.txt") == b"Turn a card."
        assert {name.partition("/")[0] for name in pack.namelist() if name.endswith("full.pdf")} == {"Ebb", "Wicks"}

    started = client.post(f"/api/decks/{deck_id}/releases", json={
        "version": "2", "methods": ["duplex"], "papers": ["a4"], "inks": ["full"]}).json()

    def still_made(route: Route) -> None:  # as the server says it until the job has ended
        answer = route.fetch().json()
        job = client.get(f"/api/jobs/{started['job']}").json()
        route.fulfill(json={**answer, "under_way": {**job, "state": "running"}})

    page.route("**/releases", still_made, times=1)
    page.reload()
    expect(page.locator("[data-release-message]")).to_have_text("The release is made.")
    expect(page.locator("[data-release-list]")).to_contain_text("Ebb-2.zip")
