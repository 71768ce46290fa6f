"""A phone as the desk's camera: from the QR code on the screen to a saved printer with three pictures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from playwright.sync_api import Browser, expect

from server.web.hosts import Hosts
from tests.browser.conftest import give
from tests.photo.conftest import Faces, a4
from tests.photographer import Conditions, photograph
from tests.web.live import LiveServer, running

__all__ = ["a4"]

PLAIN = Conditions(drift=(1.3, -0.8, 0.2, 1.0, 1.0), megapixels=2.0, seed=41)


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[LiveServer]:
    with running(tmp_path / "data", hosts=Hosts(frozenset(("127.0.0.1", "localhost")), 0, lan=True)) as server:
        yield server


@pytest.fixture
def shots(a4: Faces, tmp_path: Path) -> list[Path]:
    """Three sheets of a printer that wanders a little; a finger lies on one of them."""
    made = []
    for number, (right, turn) in enumerate(((0.0, 2.0), (0.08, 91.0), (-0.06, 185.0)), 1):
        how = replace(PLAIN, drift=(1.3 + right, -0.8, 0.2, 1.0, 1.0), turn=turn, seed=40 + number,
                      finger=(8.0, 30.0, 28.0) if number == 2 else None)
        path = tmp_path / f"window-{number}.jpg"
        path.write_bytes(photograph(*a4, how).jpeg)
        made.append(path)
    return made


def test_from_the_code_to_a_saved_printer(browser: Browser, lan: LiveServer, shots: list[Path]) -> None:
    desk_context = browser.new_context(base_url=lan.base, viewport={"width": 1280, "height": 900})
    desk_context.request.get(lan.entry())
    desk = desk_context.new_page()
    desk.goto("/true-up")
    desk.locator('[data-reader="read"]').get_by_role("button", name="Take it with a phone").click()
    code = desk.get_by_alt_text("QR code of the address beside it")
    expect(code).to_be_visible()
    address = desk.locator(".rd-address").inner_text()
    screen = cv2.imdecode(np.frombuffer(code.screenshot(scale="css"), np.uint8), cv2.IMREAD_COLOR)
    seen, _, _ = cv2.QRCodeDetector().detectAndDecode(cv2.resize(screen, None, fx=2, fy=2))
    assert seen == address

    phone_context = browser.new_context(base_url=lan.base, viewport={"width": 390, "height": 844}, has_touch=True,
                                        is_mobile=True)
    phone = phone_context.new_page()
    phone.goto("/phone/" + address.rpartition("/phone/")[2])  # the test's server is reached by its loopback address
    assert phone.url.startswith(f"{lan.base}/true-up?to=")
    reader = phone.locator('[data-reader="read"]')
    give(reader.locator("[data-photo-file]"), [str(path) for path in shots])
    expect(reader.locator(".rd-shot")).to_have_count(3)
    expect(reader.get_by_role("radiogroup", name="Sheet that is read")).to_contain_text("Sheet 3 9/9")
    expect(reader).to_contain_text("Station 1: Its ring of dots isn't seen")
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    expect(phone.locator("[data-answer]")).to_contain_text("The back lands 1.3")
    phone.get_by_label("Printer's name").fill("Harbour office")
    phone.get_by_role("button", name="Save the printer", exact=True).click()
    expect(phone.locator(".tu-printer")).to_contain_text("Trued up")
    printer, = lan.client().get("/api/printers").json()["printers"]
    assert printer["drift"]["dx_mm"] == pytest.approx(1.307, abs=0.05)
    assert printer["drift"]["rotation_deg"] == pytest.approx(0.2, abs=0.02)
    assert printer["sheets"] == 3 and len(printer["readings"]) == 26

    desk_reader = desk.locator('[data-reader="read"]')
    expect(desk_reader.locator(".rd-shot")).to_have_count(3)
    expect(desk_reader.get_by_role("radiogroup", name="Sheet that is read")).to_contain_text("Sheet 2 8/9")
    expect(desk.locator("[data-answer]")).to_contain_text("The back lands 1.3")
    for context in (desk_context, phone_context):
        context.close()
