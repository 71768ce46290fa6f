"""The lit panel, pixel by pixel, against the same composite made by Pillow from pdfium's renders of the PDF."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageChops
from playwright.sync_api import Page, expect

from tests.browser.glow_help import (
    PX_MM,
    Printed,
    cornered_deck,
    move,
    open_glow,
    print_sheet,
    seen,
    set_settings,
    settle,
)
from tests.web.live import LiveServer

# Thumbnails reach the browser as WebP, which may shift a flat colour by a level or three.
TOLERANCE = 7
METHODS = [("duplex", {"flip": "long-edge"}), ("duplex", {"flip": "short-edge"}), ("vertical-fold", {"core_mm": 1.5}),
           ("side-fold", {}), ("two-sheet", {}), ("duplex", {"flip": "long-edge", "arrangement": "landscape"})]
IDS = ["duplex, long edge", "duplex, short edge", "vertical fold with a core", "side fold", "two sheets", "landscape"]
MOVES = [{}, {"dx": 1.6, "dy": -2.3}, {"dx": -0.8, "turn": 0.6, "scale": 100.5}]
FILES = cornered_deck(4)


@pytest.fixture(scope="module")
def deck(live_server: LiveServer) -> str:
    return live_server.deck(FILES, "Corners")


def composite(printed: Printed, through: float, dx: float = 0, dy: float = 0, turn: float = 0,
              scale: float = 100) -> Image.Image:
    """Front x (1 - s (1 - back)): by Pillow alone, the back mirrored, then moved about the page's centre."""
    front = printed.pages.get("front") or printed.pages["spread"]
    back = printed.behind(printed.pages.get("back") or printed.pages["spread"])
    x, y = front.width / 2, front.height / 2
    cos, sin = math.cos(math.radians(turn)) / (scale / 100), math.sin(math.radians(turn)) / (scale / 100)
    e, f = x + dx * PX_MM, y + dy * PX_MM  # Pillow wants the way back: from where it lands to where it came from
    matrix = (cos, sin, x - cos * e - sin * f, -sin, cos, y + sin * e - cos * f)
    moved = back.transform(back.size, Image.Transform.AFFINE, matrix, Image.Resampling.BILINEAR, fillcolor="white")
    faded = Image.blend(Image.new("RGB", moved.size, "white"), moved, through)
    return ImageChops.multiply(front, faded)


def probes(printed: Printed) -> list[tuple[float, float]]:
    """Points all over the cards, corners and edges among them, on the front's frame in mm."""
    page = next(page for page in printed.plan["pages"] if page["face"] != "back")
    points = []
    for placement in page["placements"]:
        if placement["side"] == "front":
            trim = placement["trim"]
            points += [(trim["x"] + trim["width"] * u, trim["y"] + trim["height"] * v)
                       for u in (-0.02, 0.02, 0.1, 0.25, 0.5, 0.75, 0.9, 0.98, 1.02)
                       for v in (-0.015, 0.015, 0.15, 0.5, 0.85, 0.985, 1.015)]
    return points


def flat(image: Image.Image, point: tuple[float, float], reach: float = 1.0) -> tuple[int, int, int] | None:
    """The colour around a point; None where an edge runs through, since two readers soften edges differently."""
    x, y = point[0] * PX_MM, point[1] * PX_MM
    box = tuple(round(value) for value in (x - reach * PX_MM, y - reach * PX_MM, x + reach * PX_MM, y + reach * PX_MM))
    if box[0] < 0 or box[1] < 0 or box[2] > image.width or box[3] > image.height:
        return None
    extremes = image.crop(box).getextrema()  # type: ignore[arg-type]
    if any(high - low > 4 for low, high in extremes):  # type: ignore[misc]
        return None
    return tuple(round((low + high) / 2) for low, high in extremes)  # type: ignore[misc,return-value]


@pytest.mark.parametrize(("method", "more"), METHODS, ids=IDS)
def test_the_overlay_is_the_printed_pages_composite(page: Page, live_server: LiveServer, deck: str, tmp_path: Path,
                                                    method: str, more: dict[str, object]) -> None:
    settings = {"method": method, "gutter_mm": 6, "cut_lines": "none", **more}
    set_settings(live_server, deck, **{"flip": "long-edge", "core_mm": 0, "arrangement": "", **settings})
    printed = print_sheet(tmp_path, FILES, **settings)
    open_glow(page, deck)
    page.get_by_label("Cut lines and what shows").uncheck()
    through = float(page.locator("[data-show-through]").input_value())
    assert 0.4 < through < 0.6  # 200 g/m2
    points = probes(printed)
    for step in MOVES:
        move(page, **{"dx": 0, "dy": 0, "turn": 0, "scale": 100, **step})
        wanted = composite(printed, through, **step)
        colours = [flat(wanted, point) for point in points]
        compared = [(point, colour) for point, colour in zip(points, colours, strict=True) if colour is not None]
        assert len(compared) > 60
        found = seen(page, [point for point, _ in compared])
        off = np.abs(found - np.array([colour for _, colour in compared])).max(axis=1)
        worst = int(off.argmax())
        assert off.max() <= TOLERANCE, (step, compared[worst], found[worst])


def test_front_and_back_alone(page: Page, live_server: LiveServer, deck: str, tmp_path: Path) -> None:
    settings = {"method": "duplex", "flip": "long-edge", "gutter_mm": 6, "cut_lines": "none"}
    set_settings(live_server, deck, **settings, arrangement="", core_mm=0)
    printed = print_sheet(tmp_path, FILES, **settings)
    open_glow(page, deck)
    page.get_by_label("Cut lines and what shows").uncheck()
    points = probes(printed)
    mirrored = [(210 - x, y) for x, y in points]
    for name, image, places in (("Front", printed.pages["front"], points), ("Back", printed.pages["back"], mirrored)):
        page.get_by_role("radio", name=name, exact=True).check()
        settle(page)
        colours = [(point, colour) for point, place in zip(points, places, strict=True)
                   if (colour := flat(image, place)) is not None]
        found = seen(page, [point for point, _ in colours])
        assert np.abs(found - np.array([colour for _, colour in colours])).max() <= TOLERANCE, name


def test_show_through_follows_the_stock_and_the_slider(page: Page, live_server: LiveServer, deck: str) -> None:
    set_settings(live_server, deck, method="duplex", stock="office-80")
    open_glow(page, deck)
    expect(page.locator("[data-stock]")).to_have_text("Office paper, 80 g/m²: 75 % of the back shows through.")
    expect(page.locator("[data-show-through-value]")).to_have_text("75 %")
    page.get_by_label("Show-through").fill("0")
    settle(page)
    expect(page.locator("[data-show-through-value]")).to_have_text("0 %")
    set_settings(live_server, deck, stock="card-300")
    open_glow(page, deck)
    expect(page.locator("[data-show-through-value]")).to_have_text("35 %")
    set_settings(live_server, deck, stock="card-200")


def test_zoom_goes_down_to_single_pixels(page: Page, live_server: LiveServer, deck: str) -> None:
    """Zoomed in as far as it goes, neighbouring pixels of the canvas are one and the same pixel of the sheet."""
    set_settings(live_server, deck, method="duplex", gutter_mm=0)
    open_glow(page, deck)
    panel = page.get_by_role("img", name="The sheet against a light")
    panel.focus()
    for _ in range(30):
        page.keyboard.press("+")
    settle(page)
    scale = float((panel.get_attribute("data-view") or "").split()[0])
    assert scale * 25.4 / 300 > 16  # canvas pixels to one pixel of 300 ppi
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("0")
    settle(page)
    assert float((panel.get_attribute("data-view") or "").split()[0]) < 10


def test_nothing_is_asked_of_the_server_while_it_moves(page: Page, live_server: LiveServer, deck: str) -> None:
    open_glow(page, deck)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    slider = page.get_by_label("To the right, slider")
    box = slider.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    for step in range(30):
        page.mouse.move(box["x"] + box["width"] * (0.5 + step / 80), box["y"] + box["height"] / 2)
    page.mouse.up()
    settle(page)
    assert float(page.locator("#n-dx").input_value()) > 3
    assert asked == []


def test_sheets_are_stepped_through(page: Page, live_server: LiveServer) -> None:
    many = live_server.deck(cornered_deck(12), "Twelve")
    open_glow(page, many)
    expect(page.locator("[data-sheet-number]")).to_have_text("Sheet 1 of 2")
    expect(page.get_by_role("button", name="Previous sheet")).to_be_disabled()
    page.get_by_role("button", name="Next sheet").click()
    expect(page.locator("[data-sheet-number]")).to_have_text("Sheet 2 of 2")
    expect(page.locator("[data-cut-grid] > li")).to_have_count(3)
