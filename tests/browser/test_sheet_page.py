"""The Sheet page in a real browser: the sheet follows the form, and nothing that was typed is lost."""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.web.live import LiveServer, small_deck


@pytest.fixture
def deck(page: Page, live_server: LiveServer) -> str:
    """A deck of ten cards, open on the Sheet page."""
    deck = live_server.deck(small_deck(10), "Sheet")
    page.goto(f"/decks/{deck}/sheet")
    expect(sheet(page)).to_be_visible()
    return deck


def sheet(page: Page) -> Locator:
    return page.locator("[data-sheet] > svg")


def figure(page: Page, label: str) -> Locator:
    term = page.locator("dt", has_text=re.compile(f"^{label}$"))
    return page.locator("[data-figures] > div").filter(has=term).locator("dd")


def saved_settings(live_server: LiveServer, deck: str) -> dict[str, object]:
    settings: dict[str, object] = live_server.client().get(f"/api/decks/{deck}").json()["settings"]
    return settings


def test_the_sheet_follows_the_form_and_is_saved(page: Page, live_server: LiveServer, deck: str) -> None:
    # 63 x 88 mm cards go nine to A4 without gutter (common practice), so ten need two sheets.
    expect(figure(page, "cards a sheet")).to_have_text("9")
    expect(sheet(page)).to_have_attribute("viewBox", "0 0 210 297")
    page.get_by_label("Paper size").select_option("a3")
    expect(sheet(page)).to_have_attribute("viewBox", "0 0 297 420")  # ISO 216
    expect(figure(page, "sheet")).to_have_text("1")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    page.get_by_label("Fold with backs below").check()
    expect(page.locator("[data-faces]")).to_have_text("Front and back")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    expect(page.get_by_label("Core thickness mm")).to_be_visible()
    expect(page.get_by_text("The printer turns the sheet on its")).to_be_hidden()
    page.reload()
    expect(page.get_by_label("Paper size")).to_have_value("a3")
    expect(page.get_by_label("Fold with backs below")).to_be_checked()
    assert saved_settings(live_server, deck)["method"] == "vertical-fold"
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_label("Paper size")).to_have_value("a4")
    expect(sheet(page)).to_have_attribute("viewBox", "0 0 210 297")


def test_ways_are_compared_and_one_is_taken(page: Page, live_server: LiveServer, deck: str) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("link", name="Compare what each way costs").click()
    rows = page.locator("[data-cost-rows] tr")
    expect(rows.first).to_contain_text("Best")
    page.get_by_label("A sheet costs").fill("0,5")
    page.get_by_label("Best is least").select_option("money")
    # Ten cards of 63 x 88 mm: the most that lie on A3 (ISO 216) is more, so one sheet of it at 0.50 is the least.
    expect(rows.first.locator("td").nth(4)).to_have_text("0.50")
    page.get_by_role("button", name="Use Both sides of one sheet on A3").click()
    expect(page.locator("[data-cost-rows] .used")).to_contain_text("A3")
    expect(page.get_by_label("Paper size")).to_have_value("a3")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    assert saved_settings(live_server, deck)["paper"] == "a3"
    page.get_by_label("A sheet costs").fill("dear")
    expect(page.locator("[data-cost-message]")).to_contain_text("That is no price.")
    page.get_by_label("A sheet costs").fill("0.25")
    expect(rows.first.locator("td").nth(4)).to_have_text("0.25")
    assert not page.evaluate("document.querySelector('[data-cost-table]').scrollWidth - "
                             "document.querySelector('[data-cost-table]').clientWidth")
    assert not Axe().run(page).response["violations"]
    page.locator("#f-box").select_option("tuck")
    expect(page.locator("[data-box] svg")).to_have_count(2)  # flat and closed
    expect(page.locator("[data-box-says]")).to_contain_text("for a deck of 63 × 88 ×")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    page.reload()
    expect(page.get_by_label("A sheet costs")).to_have_value("0.25")


def test_inch_and_back_keeps_what_was_typed(page: Page, live_server: LiveServer, deck: str) -> None:
    bleed = page.locator("#f-bleed_mm")
    bleed.fill("2,50")
    page.get_by_role("radiogroup", name="Unit of lengths").get_by_label("inch").check(force=True)
    expect(bleed).to_have_value("0.0984")  # 2.5 / 25.4
    expect(page.get_by_label("Bleed in", exact=True)).to_be_visible()
    page.get_by_role("radiogroup", name="Unit of lengths").get_by_label("mm").check(force=True)
    expect(bleed).to_have_value("2,50")
    page.get_by_role("radiogroup", name="Unit of lengths").get_by_label("inch").check(force=True)
    bleed.fill("1/8")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    page.get_by_role("radiogroup", name="Unit of lengths").get_by_label("mm").check(force=True)
    expect(bleed).to_have_value("3.175")  # 25.4 / 8
    page.get_by_role("radiogroup", name="Unit of lengths").get_by_label("inch").check(force=True)
    expect(bleed).to_have_value("1/8")
    page.reload()
    expect(bleed).to_have_value("0.125")
    assert saved_settings(live_server, deck)["bleed_mm"] == pytest.approx(3.175)


def test_an_error_stands_beside_its_field_and_the_last_sheet_stays(page: Page, live_server: LiveServer,
                                                                   deck: str) -> None:
    gutter = page.locator("#f-gutter_mm")
    gutter.fill("a lot")
    expect(page.locator("#e-gutter_mm")).to_contain_text("is no length")
    expect(gutter).to_have_attribute("aria-invalid", "true")
    expect(gutter).to_have_value("a lot")
    expect(sheet(page)).to_be_visible()
    expect(page.locator("[data-plan-error]")).to_contain_text("the last that worked")
    page.get_by_label("Paper size").select_option("letter")
    expect(gutter).to_have_value("a lot")
    gutter.fill("4")
    expect(page.locator("#e-gutter_mm")).to_be_hidden()
    expect(sheet(page)).to_have_attribute("viewBox", re.compile("^0 0 215.9 279.4$"))  # ANSI/ASME Y14.1, size A
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    assert (saved_settings(live_server, deck)["paper"], saved_settings(live_server, deck)["gutter_mm"]) == ("letter", 4)


def test_a_card_that_does_not_fit_says_by_how_much(page: Page, deck: str) -> None:
    page.get_by_label("Card size, trimmed").select_option("custom")
    expect(page.locator("#f-card-custom-w")).to_have_value("63")
    page.locator("#f-card-custom-w").fill("310")
    # Turned, with 1 mm of bleed at either end: 310 + 2 on the 287 mm between A4's margins of 5.
    expect(page.locator("#e-card")).to_contain_text("25 mm too tall")
    page.locator("#f-card-custom-w").fill("100")
    expect(page.locator("#e-card")).to_be_hidden()
    expect(figure(page, "cards a sheet")).to_have_text("4")  # turned: twice 88 mm on 200, twice 100 on 287
    page.locator("#f-card-custom-h").fill("2 1/2 x 3 1/2 in")  # a whole size, as the command line takes it
    page.keyboard.press("Tab")
    expect(page.locator("#f-card-custom-w")).to_have_value("63.5")
    expect(page.locator("#f-card-custom-h")).to_have_value("88.9")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    expect(page.locator("#e-card")).to_be_hidden()


def test_faces_and_sheets_are_stepped_through(page: Page, deck: str) -> None:
    expect(page.locator("[data-sheet-number]")).to_have_text("Sheet 1 of 2")
    page.get_by_role("radiogroup", name="Face").get_by_label("Back").check(force=True)
    expect(sheet(page)).to_have_attribute("data-label", re.compile("back"))
    page.get_by_role("button", name="Next sheet").click()
    expect(page.locator("[data-sheet-number]")).to_have_text("Sheet 2 of 2")
    expect(sheet(page)).to_have_attribute("data-label", re.compile("2.*back"))
    expect(page.get_by_role("button", name="Next sheet")).to_be_disabled()


def test_another_layout_can_be_chosen_and_given_back(page: Page, live_server: LiveServer, deck: str) -> None:
    used = page.locator(".choices tr.used th")
    first = used.inner_text()
    page.locator(".choices").get_by_role("button", name=re.compile("^Use ")).first.click()
    expect(used).not_to_have_text(first)
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    assert saved_settings(live_server, deck)["arrangement"] in ("portrait", "landscape")
    page.get_by_role("button", name="Let Lampfold choose").click()
    expect(used).to_have_text(first)
    expect(page.get_by_role("button", name="Let Lampfold choose")).to_be_hidden()


def test_the_safe_zone_shows_on_screen_and_can_be_hidden(page: Page, deck: str) -> None:
    zone = sheet(page).locator('[data-layer="safe-zone"]').first
    expect(zone).to_be_visible()
    page.get_by_label("Safe zone", exact=True).uncheck()
    expect(zone).to_be_hidden()


def test_zoom_by_button_and_key(page: Page, deck: str) -> None:
    before = sheet(page).bounding_box()
    page.get_by_role("button", name="Larger").click()
    after = sheet(page).bounding_box()
    assert before and after and after["width"] == pytest.approx(1.5 * before["width"], rel=0.02)
    page.locator("[data-table]").press("0")
    fitted = sheet(page).bounding_box()
    assert fitted and fitted["width"] == pytest.approx(before["width"], rel=0.02)


def test_lengths_step_by_key_and_by_button(page: Page, deck: str) -> None:
    margin = page.get_by_label("Margin mm")
    margin.press("ArrowUp")
    expect(margin).to_have_value("5.5")
    page.get_by_role("button", name="Margin: less").click()
    page.get_by_role("button", name="Margin: less").click()
    expect(margin).to_have_value("4.5")


def test_every_drawing_keeps_to_the_policy(page: Page, deck: str) -> None:
    # The page fixture fails where the content security policy had to step in; style="" would be such a case.
    for method in ("Both sides of one sheet", "Fold with backs beside", "Two sheets, glued"):
        page.get_by_label(method).check()
        expect(page.locator("[data-table]")).not_to_have_attribute("aria-busy", "true")
    assert page.locator("[style]").evaluate_all("all => all.filter(one => one.closest('svg')).length") == 0


def test_text_and_colours_are_kept_and_shown_again(page: Page, live_server: LiveServer) -> None:
    client = live_server.client()
    deck = live_server.deck(small_deck(2), "Painted", client)
    page.goto(f"/decks/{deck}/sheet")
    field = page.get_by_label("Colour under the backs", exact=True)
    field.fill("#1F5F6B")
    expect(page.get_by_text("Saved", exact=True)).to_be_visible()
    kept = """async (id) => (await (await fetch(`/api/decks/${id}`)).json()).settings.back_flood === '#1f5f6b'"""
    page.wait_for_function(kept, arg=deck)
    page.reload()
    expect(field).to_have_value("#1f5f6b")
    expect(page.get_by_label("Colour under the backs: pick")).to_have_value("#1f5f6b")
    field.fill("pink")
    expect(page.locator("#e-back_flood")).to_contain_text("is no colour. Write it as #1f5f6b, or leave it empty.")
