"""What tests of the True-up page share: a house without printers, and readings typed as a person types them."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.web.live import LiveServer

# The stations of an A4 test sheet: 31 mm from the edges, and the middle.
STATIONS = {1: (31, 31), 2: (179, 31), 3: (105, 148.5), 4: (31, 266), 5: (179, 266)}


@pytest.fixture
def no_printers(live_server: LiveServer) -> None:
    """Each test finds a house without printers."""
    for row in live_server.services.store.printers.all():
        live_server.services.store.printers.remove(row.id)


def enter(page: Page, numbers: dict[int, tuple[str, str]], reader: str = "read") -> None:
    """Type readings as a person would who leaves the hands on the keyboard."""
    box = page.locator(f'[data-reader="{reader}"]')
    for station, (dx, dy) in numbers.items():
        box.locator(f'.rd-place[data-station="{station}"] input').check(force=True)
        page.locator(f"#{reader}-dx").fill(dx)
        page.locator(f"#{reader}-dx").press("Enter")
        expect(page.locator(f"#{reader}-dy")).to_be_focused()
        page.locator(f"#{reader}-dy").fill(dy)


def kept(live_server: LiveServer) -> dict[str, Any]:
    found: list[dict[str, Any]] = live_server.client().get("/api/printers").json()["printers"]
    assert len(found) == 1
    return found[0]
