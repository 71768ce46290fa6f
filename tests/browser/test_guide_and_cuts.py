"""Drawn steps on the Output page, printed whole; the cuts of the Sheet page, in which the sheet comes apart."""

from __future__ import annotations

import re
from pathlib import Path

import pypdfium2
import pytest
from playwright.sync_api import Page, expect

from server.core.methods import METHODS
from tests.web.live import LiveServer, small_deck


@pytest.mark.parametrize("width", [1280, 390])
def test_every_step_has_its_drawing_and_cautions_come_first(page: Page, live_server: LiveServer, width: int) -> None:
    client = live_server.client()
    deck = live_server.deck(small_deck(2), "Steps")
    page.set_viewport_size({"width": width, "height": 900})
    for method in sorted(METHODS):
        record = client.get(f"/api/decks/{deck}").json()
        assert client.patch(f"/api/decks/{deck}", json={"revision": record["revision"],
                                                        "settings": {"method": method}}).status_code == 200
        page.goto(f"/decks/{deck}/output")
        steps = client.get(f"/api/decks/{deck}/guide").json()["build_steps"]
        rows = page.locator("[data-steps=build_steps] > li")
        expect(rows).to_have_count(len(steps))
        for number, step in enumerate(steps):
            row = rows.nth(number)
            expect(row.locator("h3")).to_have_text(step["title"])
            assert row.locator("figure svg *").count() > 4
            for caution in row.locator(".caution").all():
                above, below = caution.bounding_box(), row.locator("h3").bounding_box()
                assert above and below and above["y"] + above["height"] <= below["y"]
            assert row.locator(".caution").count() == len(step["cautions"])
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_printed_by_the_browser_no_step_is_cut_in_two(page: Page, live_server: LiveServer, tmp_path: Path) -> None:
    deck = live_server.deck(small_deck(2), "On paper")
    page.goto(f"/decks/{deck}/output")
    expect(page.locator(".step-drawing svg").first).to_be_visible()
    steps = live_server.client().get(f"/api/decks/{deck}/guide").json()["build_steps"]
    out = tmp_path / "page.pdf"
    page.pdf(path=out, format="A4")
    document = pypdfium2.PdfDocument(out)
    pages = [re.sub(r"\s+", " ", one.get_textpage().get_text_range()) for one in document]
    document.close()
    for step in steps:
        whole = [step["title"], step["says"], *(caution["says"] for caution in step["cautions"])]
        assert sum(all(part in text for part in whole) for text in pages) == 1, step["title"]


def test_the_sheet_comes_apart_cut_by_cut(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck(small_deck(4), "Knife")
    cuts = live_server.client().post(f"/api/decks/{deck}/plan", json={}).json()["cuts"]
    page.goto(f"/decks/{deck}/sheet")
    page.get_by_label("Show the cuts").check()
    expect(page.locator(".cut-disc")).to_have_count(len(cuts))  # all numbered on the whole sheet
    expect(page.locator("[data-piece]")).to_have_count(1)
    expect(page.locator("[data-cuts-list] li")).to_have_count(len(cuts))
    for done, cut in enumerate(cuts):
        expect(page.locator("[data-cut-says]")).to_contain_text(f"Cut {cut['step']} of {len(cuts)}")
        assert f"{cut['stop_mm'] / 25.4:.3f} in" in (page.locator("[data-cut-says]").text_content() or "")
        page.get_by_role("button", name="Next cut").press("Enter")
        expect(page.locator("[data-piece]")).to_have_count(done + 2)
    expect(page.locator("[data-cut-says]")).to_have_text(f"All {len(cuts)} cuts made")
    expect(page.get_by_role("button", name="Next cut")).to_be_disabled()
    page.get_by_role("button", name="Uncut").click()
    expect(page.locator("[data-piece]")).to_have_count(1)
    page.get_by_label("Show the cuts").uncheck()
    expect(page.locator("[data-cut-sheet]")).to_have_count(0)


def test_the_guide_and_the_box_are_built_alone(page: Page, live_server: LiveServer, tmp_path: Path) -> None:
    deck = live_server.deck(small_deck(4), "Parts")
    for part, says in (("guide", "How to build Parts"), ("box", "tuck in")):
        page.goto(f"/decks/{deck}/output")
        page.get_by_label("What to build").select_option(part)
        page.get_by_role("button", name="Build").first.click()
        with page.expect_download() as download:
            page.get_by_role("link", name="Download the PDF").click()
        assert download.value.suggested_filename.endswith(f"-{part}.pdf")
        path = tmp_path / f"{part}.pdf"
        download.value.save_as(path)
        document = pypdfium2.PdfDocument(path)
        assert says in document[0].get_textpage().get_text_range()
        document.close()


def test_a_stock_of_ones_own_is_chosen_by_what_was_measured(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck(small_deck(4), "Own stock")
    page.goto(f"/decks/{deck}/sheet")
    own = page.get_by_label("Stock of your own")
    own.fill("10 sheets 3mm")
    own.press("Tab")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    expect(page.locator("[data-thickness]")).to_contain_text("A card is about 0.3 mm")
    page.reload()
    expect(page.locator("#f-stock")).to_have_value("10 sheets 3mm")
