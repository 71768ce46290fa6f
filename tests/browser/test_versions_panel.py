"""Versions on Output in a real browser: a designer names one, changes two cards, and prints what changed alone."""

from __future__ import annotations

import json
from pathlib import Path

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from server.web import measures
from tests.browser.test_output_page import build, middle_mm, rendered
from tests.web.live import LiveServer, picture, small_deck


def test_a_designer_names_a_version_changes_two_cards_and_prints_the_change_sheet(
        page: Page, live_server: LiveServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    client = live_server.client()
    # Pictures are looked at once for all decks of a server: these are no other test's.
    own = {name: picture((10 * number, 91, 77)) for number, name in enumerate(small_deck(6))}
    deck_id = live_server.deck(own, "Harbour night", client)
    monkeypatch.setattr(measures, "_IN_ONE_ANSWER", 3)  # as if it were a deck of hundreds
    answers: list[str] = []
    page.on("response", lambda answer: answers.append(answer.text()) if "/looked?" in answer.url else None)
    page.goto(f"/decks/{deck_id}/output")
    expect(page.get_by_label("Only what changed since")).to_be_hidden()
    page.get_by_label("Keep the deck as it is under a name").fill("0.3, Tuesday group")
    page.get_by_role("button", name="Keep this version").click()
    expect(page.get_by_text("The deck is 0.3, Tuesday group, as it was kept.")).to_be_visible()
    page.get_by_label("Keep the deck as it is under a name").fill("0.3, Tuesday group")
    page.get_by_role("button", name="Keep this version").click()
    expect(page.locator("[data-version-error]")).to_contain_text("is a version of this deck already")
    page.get_by_label("Only what changed since").check()
    page.get_by_role("button", name="Build the PDF").click()
    expect(page.locator("[data-build-message]")).to_contain_text("Nothing has changed: nothing to print.")
    expect(page.get_by_role("link", name="Download the PDF")).to_be_hidden()

    for number, colour in ((1, (241, 239, 11)), (4, (11, 239, 241))):
        client.put(f"/api/decks/{deck_id}/files/fronts/keeper-{number}.png", content=picture(colour))
    page.reload()
    expect(page.get_by_text("The deck has changed since 0.3, Tuesday group.")).to_be_visible()
    page.get_by_role("button", name="Compare: 0.3, Tuesday group").click()
    changed = page.locator("[data-changes] .change-cards > li")
    expect(changed).to_have_count(2)
    assert [json.loads(text) for text in answers] == [{"looked": count, "pictures": 9} for count in (3, 6, 9)]
    expect(changed.first).to_contain_text("front changed; pictures differ by ")
    page.get_by_label("Only what changed since").check()
    sheets = build(page, tmp_path)
    assert sheets.name == "Harbour-night-since-0.3-Tuesday-group-duplex-a4.pdf"
    expect(page.locator("[data-result-facts]")).to_contain_text("2 of 6 cards")
    expect(page.locator("[data-swap]")).to_contain_text("Take 2 cards out of 0.3, Tuesday group")
    expect(page.locator("[data-swap] img").first).to_have_js_property("complete", True)
    assert not [(one["id"], [node["html"][:120] for node in one["nodes"]])
                for one in Axe().run(page).response["violations"]]
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") == 0
    assert len(pypdfium2.PdfDocument(sheets)) == 3
    front, _, _ = rendered(sheets)
    assert middle_mm(front, (241, 239, 11)) != middle_mm(front, (11, 239, 241))


def test_a_version_is_renamed_restored_and_removed_and_each_can_be_taken_back(
        page: Page, live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck(small_deck(2), "Ebb tide", client)
    client.post(f"/api/decks/{deck_id}/versions", json={"name": "0.1"})
    client.put(f"/api/decks/{deck_id}/files/fronts/keeper-9.png", content=picture((9, 9, 9)))
    page.goto("/")
    expect(page.locator(".deck-card", has_text="Ebb tide")).to_contain_text("0.1")
    page.goto(f"/decks/{deck_id}/glow")
    page.locator("[data-deck-version]").click()
    page.get_by_role("button", name="Rename: 0.1").click()
    page.get_by_label("Another name for 0.1").fill("0.1 b")
    page.keyboard.press("Enter")
    expect(page.locator(".version-name")).to_have_text("0.1 b")
    page.get_by_role("button", name="Build it: 0.1 b").click()
    expect(page.locator("[data-result-facts]")).to_contain_text("2 cards")  # three are in the deck by now
    page.get_by_role("button", name="Restore: 0.1 b").click()
    expect(page.get_by_text("The deck is 0.1 b, as it was kept.")).to_be_visible()
    assert client.get(f"/api/decks/{deck_id}").json()["name"] == "Ebb tide"
    page.get_by_role("button", name="Undo", exact=True).click()
    expect(page.get_by_text("The deck has changed since 0.1 b.")).to_be_visible()
    page.get_by_role("button", name="Remove 0.1 b").click()
    expect(page.locator("[data-versions] > li")).to_have_count(0)
    page.get_by_role("button", name="Undo", exact=True).last.click()
    expect(page.locator(".version-name")).to_have_text("0.1 b")
