"""The Art page, many cards at once: a back, copies, another place; each is one step, and undone in one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.conftest import choose_folder
from tests.web.live import LiveServer, picture, small_deck

NewDeck = Callable[[str], str]


def backs(page: Page, deck: str) -> list[str | None]:
    record = page.request.get(f"/api/decks/{deck}").json()
    return [card["back"] and card["back"]["file"] for card in record["cards"]]


def test_sixty_cards_with_two_backs_take_six_clicks(page: Page, new_deck: NewDeck, tmp_path: Path) -> None:
    for number in range(60):
        path = tmp_path / "art" / "fronts" / f"keeper-{number:02}.png"
        path.parent.mkdir(parents=True, exist_ok=True)
        Image.new("RGB", (63, 88), (4 * number, 90, 30)).save(path)
    for name, colour in (("tide", (20, 60, 120)), ("lamp", (150, 60, 20))):
        path = tmp_path / "art" / "backs" / f"{name}.png"
        path.parent.mkdir(exist_ok=True)
        Image.new("RGB", (63, 88), colour).save(path)
    deck = new_deck("Sixty")
    choose_folder(page, tmp_path / "art")
    expect(page.locator("[data-sending-phase]")).to_have_text("62 files taken", timeout=90_000)
    page.evaluate("window.clicks = 0")
    page.evaluate("document.addEventListener('click', event => window.clicks += event.isTrusted, true)")

    def click(card: int, *keys: str) -> None:
        node = page.locator(".pair").nth(card)
        node.scroll_into_view_if_needed()
        node.locator(".pair-faces").click(position={"x": 6, "y": 6}, modifiers=list(keys))  # type: ignore[arg-type]

    click(0)
    click(29, "Shift")
    page.get_by_role("button", name="Set the back to backs/tide.png").click()
    click(30)
    click(59, "Shift")
    page.get_by_role("button", name="Set the back to backs/lamp.png").click()
    assert page.evaluate("window.clicks") <= 6
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    assert backs(page, deck) == ["backs/tide.png"] * 30 + ["backs/lamp.png"] * 30
    page.keyboard.press("Escape")
    expect(page.locator("[data-bulk]")).to_be_hidden()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("[data-evidence]")).to_have_text("30 pairs by the choice made for it")


def test_all_of_it_works_by_keyboard(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck(small_deck(4), "Keys")
    page.goto(f"/decks/{deck}/art")
    page.get_by_label("Select keeper-1").focus()
    page.keyboard.press("Space")
    page.keyboard.press("Shift+ArrowRight")
    expect(page.locator("[data-bulk-count]")).to_have_text("2 cards selected")
    page.keyboard.press("Alt+ArrowLeft")
    names = page.locator("[data-name]")
    expect(names.nth(0)).to_have_value("keeper-1")
    expect(names.nth(1)).to_have_value("keeper-2")
    page.keyboard.press("Delete")
    expect(page.locator(".pair")).to_have_count(2)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".pair")).to_have_count(4)
    page.get_by_role("button", name="Undo").click()
    expect(names.nth(0)).to_have_value("keeper-0")


def test_copies_sides_and_what_was_taken_out(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck(small_deck(3), "Bulk")
    page.goto(f"/decks/{deck}/art")
    page.get_by_label("Select cards").select_option("all")
    page.locator("[data-bulk-copies]").fill("3")
    page.locator("[data-bulk-copies]").press("Enter")
    expect(page.locator("[data-count]")).to_contain_text("9 cards to print")
    page.get_by_role("button", name="Swap sides").click()
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    record = page.request.get(f"/api/decks/{deck}").json()
    assert {card["front"]["file"] for card in record["cards"]} == {"backs/back.png"}
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Done").click()
    page.get_by_role("button", name="Take keeper-1 out").click()
    expect(page.locator(".pair")).to_have_count(2)
    page.locator("[data-out-title]").click()
    page.get_by_role("button", name="Put fronts/keeper-1.png in again").click()
    expect(page.locator(".pair")).to_have_count(3)


def test_a_proposal_is_taken_in_one_click_and_undone_in_one(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck({f"{name}_{side}.png": picture((40 * number, 80, 40 * side))
                             for number, name in enumerate(("lamp", "buoy", "tern")) for side in (1, 2)}, "Asked")
    page.goto(f"/decks/{deck}/art")
    asked = page.locator(".proposal")
    expect(asked).to_contain_text("3 pairs by _1 and _2 at the end")
    expect(asked.locator("img")).to_have_count(6)
    asked.get_by_role("button", name="Use 3 pairs").click()
    expect(page.locator(".pair")).to_have_count(3)
    expect(asked).to_have_count(0)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".pair")).to_have_count(6)
    asked.get_by_role("button", name="They aren't pairs").click()
    expect(asked).to_have_count(0)
    expect(page.locator(".pair")).to_have_count(6)
