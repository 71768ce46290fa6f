"""The Glow page as a person uses it: moving, reading, printers, made backs, the fold, and a guest who only looks."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from datetime import date

import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import Browser, Page, expect

from server.core.registration.drift import Drift
from server.core.registration.printer import Printer
from server.core.registration.printer_file import printer_to_json
from server.core.registration.wander import Wander
from server.core.sizes import PAPERS
from tests.browser.glow_help import move, open_glow, set_settings, settle, wait_for_words
from tests.web.live import LiveServer, picture

# One of the four has no back.
CLEAN = "3 cards come out clean; 1 without a back can't be judged. Make a back"


def framed(inset_mm: float) -> bytes:
    """A back of 63 x 88 mm at 10 px to the mm: blue, its gold motif that far inside the cut all round."""
    image, out = Image.new("RGB", (630, 880), (20, 40, 120)), io.BytesIO()
    inset = round(inset_mm * 10)
    ImageDraw.Draw(image).rectangle((inset, inset, 629 - inset, 879 - inset), fill=(230, 180, 40))
    image.save(out, "PNG")
    return out.getvalue()


def framed_deck() -> dict[str, bytes]:
    """Three cards whose backs have borders of 4, 4 and 8 mm, and one without a back."""
    files = {f"fronts/keeper-{n}.png": picture((40 * n, 90, 200)) for n in range(4)}
    return files | {f"backs/keeper-{n}.png": framed(8 if n == 2 else 4) for n in range(3)}


@pytest.fixture
def deck(page: Page, live_server: LiveServer) -> str:
    deck = live_server.deck(framed_deck(), "Framed")
    set_settings(live_server, deck, method="duplex", gutter_mm=6)
    open_glow(page, deck)
    return deck


def test_moving_names_the_worst_card_and_what_it_shows(page: Page, deck: str) -> None:
    summary = page.locator("[data-cut-summary]")
    expect(summary).to_have_text(CLEAN)
    # Long-edge flip: to the right behind the front is to the left as the back is seen. 3.4 mm with 3 mm of bleed leaves
    # 0.4 mm of paper at the back's right edge; borders of 4 mm stand at 7.4 to 0.6, those of 8 at 11.4 to 4.6.
    move(page, dx=3.4)
    wait_for_words(page)
    expect(summary).to_have_text("3 of 4 cards show it. Worst is 1, keeper-0.")
    expect(page.locator("[data-worst-name]")).to_have_text("1. keeper-0")
    expect(page.locator("[data-worst-says]")).to_have_text(
        "0.40 mm of bare paper at the right edge; border 12.3 to 1, narrow at the left edge.")
    page.get_by_text("As a table").click()
    rows = page.locator("[data-cut-rows] tr")
    expect(rows).to_have_count(4)
    expect(rows.nth(2)).to_contain_text("0.40 mm of bare paper at the right edge; border 2.5 to 1")
    expect(rows.nth(3)).to_contain_text("No back.")
    move(page, dx=1.5)
    wait_for_words(page)
    expect(summary).to_have_text("2 of 4 cards show it. Worst is 1, keeper-0.")
    expect(page.locator("[data-cut-grid] > li").nth(0)).to_contain_text("lopsided")
    expect(page.locator("[data-cut-grid] > li").nth(2)).to_contain_text("clean")


def test_sliders_numbers_and_buttons_are_one(page: Page, deck: str) -> None:
    number, slider = page.locator("#n-dx"), page.get_by_label("To the right, slider")
    for _ in range(3):
        page.get_by_role("button", name="0.1 mm to the right").click()
    expect(number).to_have_value("0.3")
    assert float(slider.input_value()) == pytest.approx(0.3)
    page.get_by_role("button", name="0.1 mm to the left").click()
    expect(number).to_have_value("0.2")
    number.fill("-1,25")
    number.press("Enter")
    number.blur()
    expect(number).to_have_value("−1.25")
    assert float(slider.input_value()) == pytest.approx(-1.25)
    number.focus()
    number.press("ArrowUp")
    assert float(slider.input_value()) == pytest.approx(-1.15)
    number.fill("a lot")
    number.press("Enter")
    number.blur()
    expect(number).to_have_value("−1.15")
    number.fill("99")
    number.blur()
    expect(number).to_have_value("5")
    page.get_by_role("button", name="Reset").click()
    expect(number).to_have_value("0")


def test_a_reading_is_handed_to_true_up(page: Page, deck: str) -> None:
    move(page, dx=1.2, dy=0.8, turn=0.15)
    link = page.get_by_role("link", name="Use this as a reading")
    expect(link).to_have_attribute(
        "href", f"/decks/{deck}/true-up?dx_mm=1.2&dy_mm=0.8&rotation_deg=0.15&scale=1")
    expect(page.locator("[data-reading-says]")).to_have_text("The back lies 1.2 mm right and 0.8 mm low.")


@pytest.fixture
def printer(live_server: LiveServer) -> str:
    """A printer that lands backs 1.9 mm right and 0.4 mm high, and wanders by 1 mm."""
    made = Printer("Quay office", PAPERS["a4"])
    made = made.trued(Drift.of(made.centre, 1.9, -0.4), date(2026, 1, 5), Wander(6, 0.2, 0.2, 1.0, made.centre))
    return live_server.services.store.printers.put(made.name, printer_to_json(made)).id


def test_as_the_printer_lands_it(page: Page, live_server: LiveServer, deck: str, printer: str) -> None:
    open_glow(page, deck)  # now that there is a printer
    expect(page.get_by_role("radio", name="Before True-up")).to_be_hidden()
    page.get_by_label("Printer", exact=True).select_option(label="Quay office")
    expect(page.locator("[data-printer-says]")).to_contain_text("Quay office lands 1.9 mm right and 0.4 mm high.")
    summary, says = page.locator("[data-cut-summary]"), page.locator("[data-reading-says]")
    page.get_by_role("radio", name="Before True-up").check()
    expect(says).to_have_text("The back lies 1.9 mm right and 0.4 mm high.")
    expect(summary).to_have_text("2 of 4 cards show it. Worst is 1, keeper-0.")  # 5.9 to 2.1
    page.get_by_role("radio", name="After True-up").check()
    expect(says).to_have_text("The back lies 0 mm right and 0 mm low.")
    expect(summary).to_have_text(CLEAN)
    page.get_by_role("button", name="A bad sheet (1 in 20)").click()
    length = math.hypot(*(float(page.locator(f"#n-{name}").input_value().replace("−", "-")) for name in ("dx", "dy")))
    assert length == pytest.approx(1.0, abs=0.01)
    # 4/3 mm of leeway holds 1 mm and the 0.3 mm that a cut takes, just so; 8/3 mm does with ease.
    expect(page.locator("[data-leeway-list] .tag")).to_have_text(["Holds", "Holds"])
    expect(page.locator("[data-leeway-against]")).to_contain_text("19 sheets of 20 stay within 1.00 mm")


def test_leeway_is_told_for_each_distinct_back(page: Page, deck: str) -> None:
    backs = page.locator("[data-leeway-list] > li")
    expect(backs).to_have_count(2)
    expect(backs.nth(0)).to_contain_text("keeper-0, keeper-1")
    expect(backs.nth(0)).to_contain_text("Moved 1.33 mm to the left, the border looks uneven.")
    cells = backs.nth(0).locator("tbody tr").nth(0).locator("td")
    expect(cells).to_have_text(["3.00"] * 4)
    expect(page.locator("[data-leeway-missing]")).to_have_text("1 card has no back and prints blank there. Make a back")
    page.get_by_text("How this is judged").click()
    expect(page.locator("[data-rules]")).to_contain_text("One border becomes 2 times as wide")


def test_a_made_back_is_seen_with_its_leeway_then_taken_and_undone(page: Page, live_server: LiveServer,
                                                                  deck: str) -> None:
    page.get_by_text("Backs that forgive").click()
    expect(page.locator("[data-forgive-picture] svg")).to_be_visible()
    page.get_by_label("A white buffer all round").check()
    page.get_by_role("button", name="Buffer: more").click()
    page.get_by_label("Pattern", exact=True).select_option("beams")
    page.get_by_label("Title").fill("Harbour Lamps")
    expect(page.locator("[data-forgive-leeway]")).to_contain_text("2.50")
    expect(page.locator("[data-forgive-picture] text")).to_have_text(["Harbour Lamps"] * 2)
    page.get_by_role("button", name="Use this back").click()
    expect(page.locator("[data-leeway-list] > li")).to_have_count(3)
    expect(page.locator("[data-leeway-missing]")).to_be_hidden()
    cards = live_server.client().get(f"/api/decks/{deck}").json()["cards"]
    assert [card["back"]["file"] for card in cards] == [
        "backs/keeper-0.png", "backs/keeper-1.png", "backs/keeper-2.png", "backs/made_inset_beams_2-5mm.pdf"]
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("[data-leeway-missing]")).to_be_visible()


def test_a_flood_is_set_for_the_deck_and_hides_more(page: Page, live_server: LiveServer, deck: str) -> None:
    page.get_by_text("Backs that forgive").click()
    page.get_by_label("Flooded").check()
    page.get_by_label("Pattern", exact=True).select_option("plain")
    page.get_by_label("For", exact=True).select_option("all")
    # A flood has no leeway shorter than the way to the page's printable edge.
    expect(page.locator("[data-forgive-leeway]")).to_contain_text("unprinted paper shows")
    expect(page.locator("[data-forgive-leeway] .first")).not_to_have_text("3.00")
    page.get_by_role("button", name="Use this back").click()
    expect(page.locator("[data-leeway-list] > li")).to_have_count(1)
    settings = live_server.client().get(f"/api/decks/{deck}").json()["settings"]
    assert settings["back_flood"] == "#1f5f6b"
    move(page, dx=4.5, dy=-4)
    wait_for_words(page)
    expect(page.locator("[data-cut-summary]")).to_have_text("All 4 cards come out clean.")


def test_taking_a_back_for_some_leaves_the_others_theirs(page: Page, live_server: LiveServer) -> None:
    """A single back serves all cards; a second file would end that, so the others are told to keep it."""
    files = {f"fronts/keeper-{n}.png": picture((40 * n, 90, 200)) for n in range(2)} | {"backs/all.png": framed(4)}
    deck = live_server.deck(files, "One back")
    client = live_server.client()
    record = client.get(f"/api/decks/{deck}").json()
    client.patch(f"/api/decks/{deck}", json={"revision": record["revision"],
                                             "cards": {"fronts/keeper-1.png": {"back": ""}}})
    open_glow(page, deck)
    page.get_by_text("Backs that forgive").click()
    page.get_by_role("button", name="Use this back").click()
    expect(page.locator("[data-leeway-list] > li")).to_have_count(2)
    backs = [card["back"]["file"] for card in client.get(f"/api/decks/{deck}").json()["cards"]]
    assert backs == ["backs/all.png", "backs/made_full_net.pdf"]


@pytest.fixture
def guest(browser: Browser, live_server: LiveServer) -> Iterator[Page]:
    """A playtester in another browser, who asks for less motion."""
    context = browser.new_context(base_url=live_server.base, viewport={"width": 390, "height": 844},
                                  reduced_motion="reduce")
    yield context.new_page()
    context.close()


def test_a_playtester_sees_it_all_and_can_change_nothing(live_server: LiveServer, guest: Page) -> None:
    deck = live_server.deck(framed_deck(), "Shown")
    set_settings(live_server, deck, method="vertical-fold", core_mm=1.5)
    cookie, _ = live_server.services.people.start("playtester", "Guest", "127.0.0.1", deck)
    guest.context.add_cookies([{"name": f"lampfold-{live_server.port}", "value": cookie, "url": live_server.base}])
    refused: list[str] = []
    guest.on("response", lambda answer: refused.append(answer.url) if answer.status >= 400 else None)
    open_glow(guest, deck)
    expect(guest.get_by_role("heading", name="Fold", exact=True)).to_be_visible()
    expect(guest.locator("[data-leeway-list] > li")).to_have_count(2)
    for gone in ("Backs that forgive", "Use this as a reading", "Undo"):
        expect(guest.get_by_text(gone)).to_have_count(0)
    assert refused == []
    # Without motion the fold jumps: there is no frame between flat and folded.
    guest.get_by_role("button", name="Folded, from the back").click()
    expect(guest.locator("#n-angle")).to_have_value("180")
    expect(guest.locator("#n-look")).to_have_value("180")
    assert guest.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_the_page_works_by_keyboard_alone(page: Page, live_server: LiveServer, deck: str) -> None:
    set_settings(live_server, deck, method="side-fold")
    open_glow(page, deck)
    page.locator("main").focus()
    reached: set[str] = set()
    for _ in range(90):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("""() => { const a = document.activeElement;
            return a.ariaLabel || a.labels?.[0]?.textContent.trim() || a.textContent.trim(); }"""))
    for wanted in ("To the right, slider", "To the right mm", "0.1 mm to the right", "Larger", "Printer",
                   "Fold, slider", "Half", "As a table", "How this is judged", "Backs that forgive", "Lower, slider"):
        assert any(name.startswith(wanted) for name in reached), (wanted, reached)
    page.get_by_label("To the right, slider").focus()
    page.keyboard.press("ArrowRight")
    settle(page)
    assert float(page.locator("#n-dx").input_value()) > 0


def test_a_picture_that_cannot_be_had_is_told_and_the_rest_is_shown(page: Page, live_server: LiveServer,
                                                                   deck: str) -> None:
    page.route("**/api/art/*longest=2048", lambda route: route.abort())
    page.goto(f"/decks/{deck}/glow")
    page.wait_for_selector("body[data-sheet-shown]")
    expect(page.locator("[data-glow-error]")).to_contain_text("6 pictures of this sheet could not be read")
    expect(page.locator("[data-cut-grid] > li")).to_have_count(4)
