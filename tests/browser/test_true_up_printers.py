"""Printers in a real browser: kept, compared, exchanged, chosen by decks, and used on PDFs from elsewhere."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pikepdf
import pypdfium2
import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import give
from tests.browser.true_up_help import kept, no_printers
from tests.web.live import LiveServer, small_deck

__all__ = ["no_printers"]
pytestmark = pytest.mark.usefixtures("no_printers")


def test_numbers_of_the_glow_page_stand_in_the_plain_way(page: Page, live_server: LiveServer) -> None:
    page.goto("/true-up?dx_mm=1.2&dy_mm=-0.8&rotation_deg=0.1&scale=1")
    expect(page.get_by_label("How far to the side")).to_have_value("1.2")
    expect(page.get_by_label("Up or down", exact=True)).to_have_value("-1")
    expect(page.locator("[data-answer]")).to_contain_text("1.2 mm right and 0.8 mm high, turned 0.10° clockwise")
    page.get_by_role("button", name="Save the printer", exact=True).click()
    expect(page.get_by_label("Printer's name")).to_be_focused()
    page.get_by_label("Printer's name").fill("Office")
    page.get_by_role("button", name="Save the printer", exact=True).click()
    expect(page.locator(".tu-printer")).to_contain_text("entered the plain way")
    assert kept(live_server)["drift"]["rotation_deg"] == pytest.approx(0.1)


def test_printers_are_deleted_restored_exported_and_compared(page: Page, live_server: LiveServer,
                                                             tmp_path: Path) -> None:
    client = live_server.client()
    for name, dx in (("Pier", 1.0), ("Quay", -0.5)):
        made = client.post("/api/printers", json={"name": name, "feed": f"tray of the {name.lower()}"}).json()
        client.put(f"/api/printers/{made['id']}/readings", json={"plain": {"dx_mm": dx}})
    page.goto("/true-up")
    page.locator("[data-compare] > summary").click()
    table = page.get_by_role("table", name="Printers side by side")
    expect(table.get_by_role("row", name=re.compile("Drift across"))).to_contain_text("1.00 mm right")
    expect(table.get_by_role("row", name=re.compile("Drift across"))).to_contain_text("0.50 mm left")
    page.get_by_role("button", name="Delete Quay").click()
    expect(page.locator(".tu-printer")).to_have_count(1)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".tu-printer")).to_have_count(2)
    with page.expect_download() as download:
        page.get_by_role("link", name="Export Quay").click()
    download.value.save_as(tmp_path / "quay.json")
    assert json.loads((tmp_path / "quay.json").read_text(encoding="utf-8"))["name"] == "Quay"
    give(page.locator("[data-import-file]"), tmp_path / "quay.json")
    expect(page.locator(".tu-printer")).to_have_count(3)
    (tmp_path / "no.json").write_text("nothing", encoding="utf-8")
    give(page.locator("[data-import-file]"), tmp_path / "no.json")
    expect(page.locator("[data-printers-message]")).to_contain_text("no.json is no printer file.")


def test_a_ready_pdf_comes_back_with_its_backs_moved(page: Page, live_server: LiveServer, tmp_path: Path) -> None:
    client = live_server.client()
    made = client.post("/api/printers", json={"name": "Pier"}).json()
    client.put(f"/api/printers/{made['id']}/readings", json={"plain": {"dx_mm": 2, "dy_mm": 1}})
    pdf = pikepdf.new()
    for _ in range(2):  # A4 (ISO 216), a mark that reaches the right edge
        pdf.add_blank_page(page_size=(595.2756, 841.8898)).Contents = pdf.make_stream(b"0 g 400 300 200 60 re f")
    pdf.save(tmp_path / "charts.pdf")
    page.goto("/true-up")
    give(page.locator("[data-nudge-file]"), tmp_path / "charts.pdf")
    page.get_by_role("button", name="Move the backs").click()
    expect(page.locator("[data-nudged]")).to_contain_text("Page 2 of 2 moved.")
    expect(page.locator("[data-nudged]")).to_contain_text(re.compile("runs off the paper by up to 2 mm at the right"))
    with page.expect_download() as download:
        page.get_by_role("link", name=re.compile("charts-trued-up.pdf")).click()
    download.value.save_as(tmp_path / "moved.pdf")
    lefts = []
    with pypdfium2.PdfDocument(tmp_path / "moved.pdf") as document:
        for number in range(2):
            grey = document[number].render(scale=200 / 72).to_pil().convert("L")
            lefts.append(grey.point(lambda value: 255 * (value < 128)).getbbox()[0] * 25.4 / 200)
    assert lefts[1] - lefts[0] == pytest.approx(2, abs=0.15)


def test_the_sheet_names_a_printer_that_does_not_match(page: Page, live_server: LiveServer) -> None:
    client = live_server.client()
    made = client.post("/api/printers", json={"name": "Pier", "paper": "letter"}).json()
    deck = live_server.deck(small_deck(3), "Mismatch")
    page.goto(f"/decks/{deck}/sheet")
    printer = page.get_by_label("Printer", exact=True)
    printer.select_option(made["id"])
    expect(page.locator("#e-printer")).to_contain_text("was measured on Letter")
    page.get_by_label("Paper size").select_option("letter")
    expect(page.locator("#e-printer")).to_be_hidden()
    expect(page.locator("#h-printer")).to_contain_text("Not trued up.")
    expect(page.locator("[data-notes]")).to_contain_text("nobody has measured its drift")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    page.goto(f"/decks/{deck}/output")
    expect(page.locator("[data-printer-line]")).to_contain_text("Made for Pier, not trued up.")


def test_a_printer_is_used_for_the_open_deck(page: Page, live_server: LiveServer) -> None:
    client = live_server.client()
    made = client.post("/api/printers", json={"name": "Pier", "paper": "letter", "flip": "short-edge"}).json()
    deck = live_server.deck(small_deck(3), "Lamps")
    page.goto(f"/decks/{deck}/true-up?printer={made['id']}")
    page.get_by_role("button", name="Use it for Lamps").click()
    expect(page.locator(".toast")).to_contain_text("Lamps is made for Pier, now on Letter and a short edge flip.")
    settings = client.get(f"/api/decks/{deck}").json()["settings"]
    assert (settings["printer"], settings["paper"], settings["flip"]) == (made["id"], "letter", "short-edge")
