"""The Glow page's fold: the back comes upright behind its front, and the warning shows what happens otherwise."""

from __future__ import annotations

import io

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.glow_help import cornered_deck, open_glow, set_settings, settle
from tests.web.live import LiveServer


@pytest.mark.parametrize("method", ["vertical-fold", "side-fold"])
def test_the_folded_back_is_upright_and_the_warning_shows_it_upside_down(page: Page, live_server: LiveServer,
                                                                         method: str) -> None:
    """Cards with a patch in each corner: red top left, green top right, blue bottom right, yellow bottom left. Vertical
    fold needs the back inverted and side fold does not (common practice)."""
    deck = live_server.deck(cornered_deck(1), f"Corners {method}")
    set_settings(live_server, deck, method=method, core_mm=0)
    open_glow(page, deck)
    rule = page.locator("[data-fold-rule]")
    expect(rule).to_contain_text("upside down" if method == "vertical-fold" else "printed upright")
    corners = """(canvas) => { const c = canvas.getContext("2d"); const { width: w, height: h } = canvas;
        const places = [[.1, .1], [.9, .1], [.9, .9], [.1, .9]];
        return places.map(([x, y]) => [...c.getImageData(x * w, y * h, 1, 1).data]); }"""

    def named(selector: str) -> list[str]:
        return [colour_name(pixel) for pixel in page.locator(selector).evaluate(corners)]

    upright = ["red", "green", "blue", "yellow"]
    assert named("[data-fold-card=front]") == upright
    assert named("[data-fold-card=right]") == upright
    assert named("[data-fold-card=wrong]") == [*upright[2:], *upright[:2]]
    page.emulate_media(reduced_motion="reduce")
    page.get_by_role("button", name="Folded, from the back").click()
    settle(page)
    assert seen_corners(page) == upright
    page.get_by_role("button", name="Folded", exact=True).click()
    settle(page)
    assert seen_corners(page) == upright


def colour_name(pixel: list[int]) -> str:
    red, green, blue = pixel[:3]
    if red > 170 and green > 150 and blue < 110:
        return "yellow"
    return {red: "red", green: "green", blue: "blue"}[max(red, green, blue)]


def seen_corners(page: Page) -> list[str]:
    """The four patches as they stand on the screen, from a picture of the stage: clockwise from the top left."""
    image = Image.open(io.BytesIO(page.locator("[data-fold-stage]").screenshot())).convert("RGB")
    places: dict[str, list[tuple[int, int]]] = {}
    for y in range(0, image.height, 3):
        for x in range(0, image.width, 3):
            pixel = image.getpixel((x, y))
            assert isinstance(pixel, tuple)
            for name, colour in (("red", (220, 40, 40)), ("green", (40, 180, 60)), ("blue", (40, 70, 220)),
                                 ("yellow", (230, 200, 40))):
                if max(abs(a - b) for a, b in zip(pixel, colour, strict=True)) < 14:
                    places.setdefault(name, []).append((x, y))
    middles = {name: (sum(x for x, _ in spots) / len(spots), sum(y for _, y in spots) / len(spots))
               for name, spots in places.items()}
    centre = (sum(x for x, _ in middles.values()) / 4, sum(y for _, y in middles.values()) / 4)
    at = {(x > centre[0], y > centre[1]): name for name, (x, y) in middles.items()}
    return [at[False, False], at[True, False], at[True, True], at[False, True]]
