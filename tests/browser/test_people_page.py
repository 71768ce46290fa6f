"""Guests in a real browser: through the door, as a playtester, on the own paper, and out again."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from server.web.hosts import Hosts
from tests.web.live import LiveServer, running, small_deck


@pytest.fixture(scope="module")
def live_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """A server that lets guests in."""
    hosts = Hosts(frozenset(("127.0.0.1", "localhost")), 0, lan=True)
    with running(tmp_path_factory.mktemp("live") / "data", hosts=hosts) as server:
        yield server


def prints_on_a_printer_of_ones_own(guest: Page, deck_id: str) -> None:
    guest.goto(f"/decks/{deck_id}/true-up")
    guest.get_by_label("Printer's name").fill("Attic")
    guest.locator("#f-paper").select_option("letter")
    guest.get_by_role("radio", name="The plain way").check()
    guest.get_by_label("How far to the side").fill("1.5")
    guest.get_by_role("button", name="Save the printer", exact=True).click()
    expect(guest.locator(".tu-printer")).to_contain_text("entered the plain way")
    guest.get_by_role("button", name="Use it for what I print").click()
    for place, choice in (("glow", "Printer"), ("output", "Your printer")):
        guest.goto(f"/decks/{deck_id}/{place}")
        expect(guest.get_by_label(choice, exact=True).locator("option:checked")).to_have_text("Attic")
    expect(guest.locator("[data-printer-line]")).to_contain_text("Made for Attic, trued up")
    expect(guest.locator("[data-made-for]")).to_contain_text("Letter")


def test_a_playtester_comes_in_prints_on_the_own_paper_and_is_put_out(page: Page, live_server: LiveServer,
                                                                     browser: Browser) -> None:
    name = "<img src=x onerror=alert(1)>"  # OWASP XSS Prevention: untrusted names are shown, never run
    deck_id = live_server.deck(small_deck(2), name)
    page.goto("/people")
    code = page.locator("[data-door=playtester] [data-code]")
    expect(code).not_to_be_empty()
    guest_window = browser.new_context(base_url=live_server.base)
    guest = guest_window.new_page()
    wrong: list[str] = []
    guest.on("pageerror", lambda error: wrong.append(str(error)))
    guest.on("dialog", lambda dialog: wrong.append(dialog.message))
    guest.goto("/")
    expect(guest).to_have_url(f"{live_server.base}/join")
    guest.get_by_label("Code").fill(code.inner_text().lower())
    guest.get_by_label("Your name").fill("Lin <b>")
    guest.get_by_role("button", name="Join").click()
    guest.get_by_role("link", name=name).click()
    expect(guest).to_have_url(f"{live_server.base}/decks/{deck_id}/glow")

    guest.goto(f"/decks/{deck_id}/output")
    guest.get_by_label("Your paper").select_option("letter")
    expect(guest.locator("[data-made-for]")).to_contain_text("Letter")
    guest.get_by_role("button", name="Build the PDF").click()
    expect(guest.locator("[data-result]")).to_be_visible()
    result = guest.request.get(guest.locator("[data-plan]").get_attribute("href") or "").json()
    assert result["paper"]["name"] == "letter"

    prints_on_a_printer_of_ones_own(guest, deck_id)
    page.goto("/true-up")
    expect(page.locator("[data-printers]")).not_to_contain_text("Attic")

    page.goto("/people")
    page.get_by_role("button", name="Put Lin <b> out").click()
    expect(page.locator("[data-people]")).not_to_contain_text("Lin")
    guest.goto("/")
    expect(guest).to_have_url(f"{live_server.base}/join")
    assert not wrong, wrong
    guest_window.close()


def test_a_link_to_one_deck_is_made_used_and_withdrawn(page: Page, live_server: LiveServer, browser: Browser) -> None:
    deck_id = live_server.deck(small_deck(1), "Lamp room")
    page.goto("/people")
    page.get_by_label("Deck", exact=True).select_option(deck_id)
    page.get_by_role("button", name="Make a link").click()
    address = page.locator("[data-link-url]")
    expect(address).to_be_visible()
    guest_window = browser.new_context(base_url=live_server.base)
    guest = guest_window.new_page()
    guest.goto("/link/" + address.inner_text().rpartition("/")[2])
    expect(guest).to_have_url(f"{live_server.base}/decks/{deck_id}/glow")
    page.get_by_role("button", name="Withdraw the link to Lamp room").click()
    expect(page.locator("[data-links]")).to_be_empty()
    guest.reload()
    expect(guest).to_have_url(f"{live_server.base}/join")
    guest_window.close()
