"""The Art page, many cards at once: a back, copies, another place; each is one step, and undone in one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
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
    page.set_viewport_size({"width": 360, "height": 900})
    assert asked.evaluate("panel => panel.scrollWidth <= panel.clientWidth")
    asked.get_by_role("button", name="Use 3 pairs").click()
    expect(page.locator(".pair")).to_have_count(3)
    expect(asked).to_have_count(0)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".pair")).to_have_count(6)
    asked.get_by_role("button", name="They aren't pairs").click()
    expect(asked).to_have_count(0)
    expect(page.locator(".pair")).to_have_count(6)


def bleeds(page: Page, deck: str) -> list[str | None]:
    return [card["bleed"] for card in page.request.get(f"/api/decks/{deck}").json()["cards"]]


def test_bleed_is_seen_and_chosen_by_keyboard_for_a_card_the_selected_and_the_deck(
        page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck(small_deck(4), "Bleed")
    page.goto(f"/decks/{deck}/art")
    dialog = page.get_by_role("dialog")
    page.get_by_role("button", name="Bleed of keeper-1").press("Enter")
    faces = dialog.locator(".bleed-face")
    expect(faces).to_have_count(2)
    expect(faces.first.locator(".bleed-edges")).to_have_text("All roundone colour, run out")  # a flat picture
    # 63.5 x 88.9 mm with 3 mm of bleed and a rim of paper, which the picture shows to scale.
    width, height = map(float, (faces.first.locator("svg").get_attribute("viewBox") or "").split()[2:])
    assert abs(width / height - (63.5 + 9) / (88.9 + 9)) < 0.01
    assert not Axe().run(page).response["violations"]
    expect(dialog.get_by_label("As the deck")).to_be_checked()
    dialog.get_by_label("As the deck").press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    expect(faces.first.locator(".bleed-edges")).to_have_text("All roundmirrored")
    page.keyboard.press("Enter")
    expect(dialog).to_be_hidden()
    expect(page.locator(".pair").nth(1).locator(".pair-says")).to_have_text("Both are the trim size; bleed is mirrored")
    expect(page.get_by_role("button", name="Bleed of keeper-1")).to_be_focused()
    assert bleeds(page, deck) == [None, "mirror", None, None]

    page.keyboard.press("Control+a")
    page.get_by_role("button", name="Bleed", exact=True).press("Enter")
    dialog.get_by_label("Stretch the edge outwards").press("Space")
    dialog.get_by_role("button", name="Next card").click()
    expect(dialog.get_by_role("heading")).to_have_text("Bleed of keeper-1")
    expect(dialog.get_by_label("Stretch the edge outwards")).to_be_checked()
    dialog.get_by_role("button", name="Use for 4 cards").press("Enter")
    expect(page.locator(".pair-says", has_text="bleed is stretched")).to_have_count(4)
    assert bleeds(page, deck) == ["stretch"] * 4
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".pair-says", has_text="bleed is stretched")).to_have_count(0)
    assert bleeds(page, deck) == [None, "mirror", None, None]

    page.get_by_role("button", name="Bleed of keeper-0").click()
    dialog.get_by_label("Whole deck").check()
    expect(dialog.get_by_text("1 card has a way of its own, which this takes back.")).to_be_visible()
    dialog.get_by_label("No bleed at all").check()
    expect(faces.last.locator(".bleed-edges")).to_have_text("All roundno bleed")
    dialog.get_by_role("button", name="Use for the whole deck").click()
    expect(page.locator(".pair-says", has_text="no bleed")).to_have_count(4)
    assert bleeds(page, deck) == [None] * 4
    assert page.request.get(f"/api/decks/{deck}").json()["settings"]["edges"] == "none"
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".pair-says", has_text="no bleed")).to_have_count(0)
    assert bleeds(page, deck) == [None, "mirror", None, None]


def test_a_rubber_band_selects_and_a_drag_puts_in_order(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck(small_deck(6), "By mouse")
    page.goto(f"/decks/{deck}/art")
    page.set_viewport_size({"width": 1280, "height": 1500})  # both rows, and below them the bar over the selected
    cards, mouse = page.locator(".pair"), page.mouse
    expect(cards).to_have_count(6)
    first, fifth = cards.nth(0).bounding_box(), cards.nth(4).bounding_box()
    assert first and fifth
    # From the gap right of the first card's column, over the second column alone, rows one and two.
    mouse.move(first["x"] + first["width"] + 6, first["y"] + first["height"] - 30)
    mouse.down()
    mouse.move(fifth["x"] + 40, fifth["y"] + 20, steps=4)
    expect(page.locator(".rubber-band")).to_be_visible()
    mouse.up()
    expect(page.locator(".rubber-band")).to_have_count(0)
    expect(page.locator("[data-bulk-count]")).to_have_text("2 cards selected")
    expect(page.get_by_label("Select keeper-1")).to_be_checked()
    expect(page.get_by_label("Select keeper-4")).to_be_checked()

    cards.nth(1).locator(".pair-faces").hover(position={"x": 5, "y": 5})
    mouse.down()
    sixth = cards.nth(5).bounding_box()
    assert sixth
    mouse.move(sixth["x"] + 30, sixth["y"] + 60, steps=4)
    for turn in range(50):  # a busy browser lets some moves of a drag go by
        mouse.move(sixth["x"] + sixth["width"] - 20 - turn % 2, sixth["y"] + 60)
        if cards.nth(5).get_attribute("data-drop") == "after":
            break
    expect(cards.nth(5)).to_have_attribute("data-drop", "after")
    mouse.up()
    expect(page.locator("[data-name]").nth(5)).to_have_value("keeper-4")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    record = page.request.get(f"/api/decks/{deck}").json()
    assert [card["name"][-1] for card in record["cards"]] == ["0", "2", "3", "5", "1", "4"]
    expect(page.locator("[data-drop]")).to_have_count(1)  # the place for folders alone
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("[data-name]").nth(1)).to_have_value("keeper-1")
    the_edges_scroll(page)


def the_edges_scroll(page: Page) -> None:
    """In a low window the page goes on by itself at its edges, for the band and for what is dragged."""
    cards, mouse = page.locator(".pair"), page.mouse
    page.keyboard.press("Escape")
    page.set_viewport_size({"width": 1280, "height": 480})
    page.evaluate("scrollBy(0, document.querySelector('.pair').getBoundingClientRect().top - 100)")
    first = cards.nth(0).bounding_box()
    assert first and not shown(page, 5)
    mouse.move(first["x"] + first["width"] + 6, 300)
    mouse.down()
    mouse.move(first["x"] + first["width"] + 40, 472, steps=3)
    until(page, lambda: shown(page, 5))
    expect(page.locator("[data-bulk-count]")).to_have_text("2 cards selected")
    mouse.move(first["x"] + first["width"] + 40, -30, steps=3)
    until(page, lambda: page.evaluate("scrollY") == 0)
    height = page.evaluate("document.documentElement.scrollHeight")
    mouse.move(first["x"] + first["width"] + 40, 900, steps=3)
    until(page, lambda: page.evaluate("scrollY + innerHeight >= document.documentElement.scrollHeight - 1"))
    expect(page.get_by_label("Select keeper-4")).to_be_checked()
    assert page.evaluate("document.documentElement.scrollHeight") < height + 300  # it has an end
    mouse.up()
    at = page.evaluate("scrollY")
    page.evaluate("scrollBy(0, -9)")
    expect(page.locator(".rubber-band")).to_have_count(0)
    assert page.evaluate("scrollY") == at - 9
    page.keyboard.press("Escape")
    page.evaluate("scrollBy(0, document.querySelector('.pair').getBoundingClientRect().top - 100)")
    cards.nth(0).locator(".pair-faces").hover(position={"x": 5, "y": 5})
    mouse.down()
    mouse.move(first["x"] + 60, 430, steps=4)
    below = "document.querySelectorAll('.pair')[3].getBoundingClientRect().top"
    until(page, lambda: page.evaluate(below) < 240, lambda turn: mouse.move(first["x"] + 60, 430 + turn % 2))
    until(page, lambda: cards.nth(3).get_attribute("data-drop") == "after",
          lambda turn: mouse.move(first["x"] + first["width"] - 20 - turn % 2, 250))
    mouse.up()
    expect(page.locator("[data-name]").nth(3)).to_have_value("keeper-0")


def shown(page: Page, card: int) -> bool:
    """Whether some of that card is in the window."""
    box = page.locator(".pair").nth(card).bounding_box()
    height = page.evaluate("innerHeight")
    return bool(box and box["y"] < height and box["y"] + box["height"] > 0)


def until(page: Page, done: Callable[[], bool], act: Callable[[int], None] = lambda turn: None) -> None:
    """Wait for what comes by itself, or by doing it again: a busy browser lets some moves of a drag go by."""
    for turn in range(200):
        if done():
            return
        act(turn)
        page.wait_for_timeout(20)
    assert done()


def test_far_cards_are_there_for_who_has_them_read_out(page: Page, live_server: LiveServer) -> None:
    files = {f"fronts/keeper-{number:02}.png": picture((4 * number, 90, 200), (63, 88)) for number in range(64)}
    deck = live_server.deck(files, "Far")
    page.goto(f"/decks/{deck}/art")
    cards = page.get_by_role("list").filter(has=page.get_by_label("Select keeper-00")).get_by_role("listitem")
    expect(page.locator(".pair")).to_have_count(64)
    assert page.locator(".pair img").count() < 64  # most are far from the window, and empty but for their name
    assert "keeper-63" in page.locator(".pair").last.aria_snapshot()
    assert cards.count() >= 64
    page.get_by_label("Select keeper-00").press("End")
    expect(page.get_by_label("Select keeper-63")).to_be_focused()
    expect(page.get_by_label("Select keeper-63")).to_be_in_viewport()
    page.keyboard.press("ArrowUp")
    expect(page.get_by_label("Select keeper-60")).to_be_focused()  # three stand side by side
    # And what is to do about a deck without backs is one click away.
    page.get_by_role("link", name="Make a back").first.click()
    expect(page.get_by_role("button", name="Use this back")).to_be_in_viewport()


def test_the_size_that_the_art_has_is_one_click_away_on_art_and_sheet(page: Page, live_server: LiveServer) -> None:
    # 70 x 120 mm at 300 ppi.
    files = {f"a-{number}.png": picture((90, 40 * number, 9), (827, 1417)) for number in range(2)}
    deck = live_server.deck(files, "Tall")
    client = live_server.client()
    for where in ("art", "sheet"):
        change = {"revision": client.get(f"/api/decks/{deck}").json()["revision"], "settings": {"card": "poker"}}
        client.patch(f"/api/decks/{deck}", json=change).raise_for_status()
        page.goto(f"/decks/{deck}/{where}")
        expect(page.get_by_text("All fronts are Tarot (70 × 120 mm), but the card is Poker")).to_be_visible()
        page.get_by_role("button", name="Use tarot").click()
        expect(page.get_by_text("All fronts are Tarot")).to_have_count(0)
        expect(page.locator("[data-save-state]")).to_have_text("Saved")
        assert client.get(f"/api/decks/{deck}").json()["settings"]["card"] == "tarot"
    expect(page.get_by_label("Card size, trimmed")).to_have_value("tarot")
