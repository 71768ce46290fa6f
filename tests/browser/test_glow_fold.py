"""The Glow page's fold: the back comes upright behind its front, and the warning shows what happens otherwise."""

from __future__ import annotations

import io

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.glow_help import cornered_deck, open_glow, set_settings, settle
from tests.web.live import LiveServer


@pytest.mark.parametrize("method", ["vertical-fold", "side-fold", "card-fold"])
def test_the_folded_back_is_upright_and_the_warning_shows_it_upside_down(page: Page, live_server: LiveServer,
                                                                         method: str) -> None:
    """Cards with a patch in each corner: red top left, green top right, blue bottom right, yellow bottom left. Vertical
    fold needs the back inverted and side fold does not (common practice); a card alone is folded head to head."""
    deck = live_server.deck(cornered_deck(1), f"Corners {method}")
    set_settings(live_server, deck, method=method, core_mm=0)
    open_glow(page, deck)
    rule = page.locator("[data-fold-rule]")
    expect(page.locator("[data-fold-what]")).not_to_contain_text("core")
    expect(rule).to_contain_text("printed upright" if method == "side-fold" else "upside down")
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


def test_pairs_lie_against_the_light_each_by_its_own_crease(page: Page, live_server: LiveServer) -> None:
    """Seen from the back every card shows its own back, upright, in the place of its front; the fold goes through the
    pairs one by one; only a miss across the crease can be set."""
    deck = live_server.deck(cornered_deck(2), "Pairs")
    set_settings(live_server, deck, method="card-fold", core_mm=1, arrangement="portrait", card_turned="no")
    open_glow(page, deck)
    glow = live_server.client().get(f"/api/decks/{deck}/glow").json()
    assert glow["through"] is None and [fold["slots"] for fold in glow["folds"]] == [[0], [1]]
    page.locator("[name=light-side][value=back]").check(force=True)
    settle(page)
    for number, card in enumerate(glow["cards"]):
        pixels = page.locator("[data-light]").evaluate("""(canvas, front) => {
            const [a, b, c, d, e, f] = canvas.dataset.view.split(" ").map(Number);
            return [[.12, .12], [.88, .12], [.88, .88], [.12, .88], [.5, .5]].map(([x, y]) => {
              const [u, v] = [front.x + x * front.width, front.y + y * front.height];
              const [left, top] = [a * u + c * v + e, b * u + d * v + f];
              return [...canvas.getContext("2d").getImageData(left, top, 1, 1).data]; }); }""",
                                                       card["front"])
        # Turned over like a page, left and right of the front's own frame change sides.
        assert [colour_name(pixel) for pixel in pixels[:4]] == ["green", "red", "yellow", "blue"]
        assert pixels[4][:3] == pytest.approx([160, 240 - 15 * number, 210], abs=7)
    expect(page.locator("[data-fold-what]")).to_contain_text("One card on its own crease, the core slipped in")
    expect(page.locator("[data-fold-name]")).to_have_text("1. keeper-0")
    page.get_by_role("button", name="Next card").click()
    expect(page.locator("[data-fold-name]")).to_have_text("2. keeper-1")
    expect(page.locator('[data-move="dy"]')).to_be_visible()
    expect(page.locator('[data-move="dx"]')).to_be_hidden()
    expect(page.locator("[data-reading]")).to_be_hidden()
    expect(page.locator("[data-cut-summary]")).to_have_text("All 2 cards come out clean.")
    page.locator("#n-dy").fill("0.9")
    page.locator("#n-dy").press("Enter")
    # Half of the spine of 1 + pi 0.195 / 2 = 1.306 mm carries the back's own bleed, then comes the front's.
    expect(page.locator("[data-worst-says]")).to_contain_text("0.25 mm of the print beside it at the top edge")


def test_fronts_alone_say_why_there_is_nothing_to_hold_against_the_light(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck({f"fronts/{n}.png": data for n, data in enumerate(
        data for name, data in cornered_deck(2).items() if name.startswith("fronts/"))}, "Labels")
    set_settings(live_server, deck, method="fronts-only")
    page.goto(f"/decks/{deck}/glow")
    expect(page.locator("[data-one-side]")).to_contain_text("nothing to hold against the light")
    expect(page.locator("[data-cut-summary]")).to_have_text("2 cards with one printed side: only the cut can be off.")
    for hidden in ("[data-fold]", "[data-worst-back]", "[data-leeway-list]", "#g-move", "[data-no-fold]"):
        expect(page.locator(hidden)).to_be_hidden()
    assert not live_server.client().get(f"/api/decks/{deck}/glow/leeway").json()["missing"]
    page.goto(f"/decks/{deck}/output")
    expect(page.locator("[data-problems]")).not_to_contain_text("no back")


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
