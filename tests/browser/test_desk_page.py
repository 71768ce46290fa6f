"""The Desk and the frame of all pages in a real browser."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.web.live import LiveServer, small_deck


def test_a_deck_is_started_binned_and_restored(page: Page, new_deck: Callable[[str], str]) -> None:
    new_deck("Fog & <b>Horn</b>")
    expect(page.get_by_label("Name of this deck")).to_have_value("Fog & <b>Horn</b>")
    page.get_by_role("link", name="Desk", exact=True).click()
    card = page.locator(".deck-card").filter(has_text="Fog & <b>Horn</b>")
    expect(card).to_be_visible()
    card.get_by_role("button", name="Move Fog & <b>Horn</b> to the bin").click()
    expect(card).to_have_count(0)
    page.get_by_text(re.compile("^Bin, ")).click()
    page.get_by_role("button", name="Restore Fog & <b>Horn</b>").click()
    expect(card).to_be_visible()
    card.get_by_role("button", name="Keep a version of Fog & <b>Horn</b>").click()
    page.keyboard.type("0.3, Tuesday group")
    page.keyboard.press("Enter")
    expect(card).to_contain_text("0.3, Tuesday group")


def test_the_deck_that_was_open_stays_in_the_rail(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck(small_deck(2), "Rail")
    page.goto("/")
    expect(page.locator('[data-nav="sheet"]')).to_have_attribute("aria-disabled", "true")
    page.goto(f"/decks/{deck}/art")
    expect(page.locator(".pair")).to_have_count(2)
    page.goto("/")
    page.locator('[data-nav="sheet"]').click()
    page.wait_for_url(f"**/decks/{deck}/sheet")


def test_the_theme_is_kept(page: Page, live_server: LiveServer) -> None:
    page.goto("/")
    ground = "() => getComputedStyle(document.documentElement).backgroundColor"
    assert page.evaluate(ground) == "rgb(246, 241, 231)"  # the house's light paper, #F6F1E7
    switch = page.get_by_role("button", name="Colours")
    switch.click()
    switch.click()
    assert page.evaluate(ground) == "rgb(28, 26, 23)"  # the dark one, #1C1A17
    page.reload()
    assert page.evaluate(ground) == "rgb(28, 26, 23)"


def test_the_page_is_reached_past_the_rail_by_keyboard(page: Page, live_server: LiveServer) -> None:
    page.goto("/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.get_by_label("Name of a new deck")).to_be_focused()


def test_lengths_are_read_as_people_write_them(script_page: Page) -> None:
    # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959).
    read = script_page.evaluate("""async () => {
        const { toMm, shown } = await import("/static/js/common/units.js");
        return [toMm("3", "mm"), toMm("0,125", "in"), toMm("1/8", "in"), toMm("1 1/2 in", "mm"), toMm("3mm", "in"),
                toMm("36pt", "mm"), toMm("", "mm"), toMm("3 apples", "mm"), shown(63.5, "in"), shown(3.175, "mm")];
    }""")
    assert read[:6] == pytest.approx([3, 3.175, 3.175, 38.1, 3, 12.7])
    assert read[6:] == [None, None, "2.5", "3.175"]


def test_what_others_changed_meanwhile_is_met(page: Page, live_server: LiveServer) -> None:
    client = live_server.client()
    deck = live_server.deck(small_deck(2), "Two people", client)
    page.goto(f"/decks/{deck}/art")
    expect(page.locator(".pair")).to_have_count(2)

    def elsewhere(cards: dict[str, dict[str, object]]) -> None:
        # The page may save in between, as people do; whoever is told of that reads again.
        answers: list[int] = []
        while not answers or (answers[-1] == 409 and len(answers) < 5):
            revision = client.get(f"/api/decks/{deck}").json()["revision"]
            wish = {"revision": revision, "cards": cards}
            answers.append(client.patch(f"/api/decks/{deck}", json=wish).status_code)
        assert answers[-1] == 200

    # Another card: both changes are kept without a question.
    elsewhere({"fronts/keeper-1.png": {"copies": 5}})
    page.get_by_role("button", name="One copy more of keeper-0").click()
    expect(page.get_by_label("Copies of keeper-0")).to_have_value("2")
    expect(page.get_by_label("Copies of keeper-1")).to_have_value("5")
    # The same card: theirs is shown, and mine is one button away.
    elsewhere({"fronts/keeper-0.png": {"copies": 7}})
    page.get_by_role("button", name="One copy more of keeper-0").click()
    expect(page.get_by_label("Copies of keeper-0")).to_have_value("7")
    page.get_by_role("button", name="Use mine").click()
    expect(page.get_by_label("Copies of keeper-0")).to_have_value("3")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    copies = [card["copies"] for card in client.get(f"/api/decks/{deck}").json()["cards"]]
    assert copies == [3, 5]


def test_an_error_page_is_a_page(page: Page, live_server: LiveServer) -> None:
    page.goto("/decks/0123456789abcdef/sheet")
    expect(page.get_by_role("heading", level=1)).to_contain_text("isn't kept here")
    page.get_by_role("link", name="Go to the Desk").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Desk")
