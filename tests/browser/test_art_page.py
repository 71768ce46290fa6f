"""The Art page in a real browser: folders in, pairs out, nothing sent twice, nothing lost."""

from __future__ import annotations

import contextlib
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import CDPSession, Page, Request, Route, expect
from playwright.sync_api import TimeoutError as PlaywrightTimeoutError

from tests.browser.conftest import choose_folder, give
from tests.web.live import LiveServer, small_deck

Folder = Callable[..., Path]
NewDeck = Callable[[str], str]


def puts(page: Page) -> list[str]:
    """Paths of the files that the page sends from now on."""
    sent: list[str] = []

    def note(request: Request) -> None:
        if request.method == "PUT":
            sent.append(request.url.partition("/files/")[2].partition("?")[0])

    page.on("request", note)
    return sent


def drop(page: Page, *paths: Path) -> None:
    """A drop from the desktop, by the browser's own protocol."""
    session: CDPSession = page.context.new_cdp_session(page)
    data = {"items": [], "files": [str(path) for path in paths], "dragOperationsMask": 1}
    page.evaluate("window.drops ??= (document.addEventListener('drop', () => window.drops++, true), 0)")
    before = page.evaluate("window.drops")
    # On a busy machine the browser may take the drop before the page has said that it wants it, and drops it then.
    for _ in range(5):
        for kind in ("dragEnter", "dragOver", "drop"):
            session.send("Input.dispatchDragEvent", {"type": kind, "x": 640, "y": 400, "data": data})
        with contextlib.suppress(PlaywrightTimeoutError):
            page.wait_for_function("before => window.drops > before", arg=before, timeout=3000)
            return
    pytest.fail("the page was never given the drop")


def test_a_chosen_folder_becomes_pairs(page: Page, new_deck: NewDeck, folder_of: Folder) -> None:
    new_deck("Chosen")
    sent = puts(page)
    choose_folder(page, folder_of(5))
    expect(page.locator(".pair")).to_have_count(5)
    expect(page.locator("[data-sending-phase]")).to_have_text("10 files taken")
    assert sorted(sent) == sorted(f"{side}/keeper-{n}.png" for side in ("fronts", "backs") for n in range(5))
    third = page.locator(".pair").nth(2)
    expect(third.get_by_alt_text("Front of keeper-2")).to_be_visible()
    expect(third.get_by_role("button", name="Back of keeper-2: backs/keeper-2.png. Choose another")).to_be_visible()
    # Its edges are of one colour, which the page says once they have been measured.
    expect(third.locator(".pair-says")).to_contain_text(
        re.compile("are the trim size; bleed (is made to suit its edges|takes each edge's colour)"))
    # Both pictures are there and drawn, not only their places.
    page.wait_for_function("""() => [...document.querySelectorAll(".pair img")].slice(0, 4)
                                        .every(image => image.naturalWidth > 0)""")


def test_a_dropped_folder_is_read_whole(page: Page, new_deck: NewDeck, folder_of: Folder) -> None:
    # A reader hands out at most 100 entries at a time in Chromium, so a folder of 130 shows whether it is asked again.
    root = folder_of(1, "dropped")
    for number in range(130):
        Image.new("RGB", (63, 88), (number, 90, 30)).save(root / "fronts" / f"lamp-{number}.png")
    new_deck("Dropped")
    drop(page, root)
    expect(page.locator("[data-sending-phase]")).to_have_text("132 files taken")
    expect(page.locator(".pair")).to_have_count(131)


def test_a_second_drop_sends_only_what_is_missing(page: Page, new_deck: NewDeck, folder_of: Folder) -> None:
    root = folder_of(3, "twice")
    new_deck("Twice")
    drop(page, root)
    expect(page.locator("[data-sending-phase]")).to_have_text("6 files taken")
    sent = puts(page)
    drop(page, root)
    expect(page.locator("[data-sending-phase]")).to_have_text("All of it is here already")
    assert sent == []
    Image.new("RGB", (630, 880), (1, 2, 3)).save(root / "fronts" / "keeper-9.png")
    drop(page, root)
    expect(page.locator("[data-sending-phase]")).to_have_text("1 file taken")
    assert sent == ["fronts/keeper-9.png"]


def test_loose_pictures_are_fronts_and_back_is_the_back(page: Page, new_deck: NewDeck, tmp_path: Path) -> None:
    for name in ("fog.png", "gull.png", "back.png"):
        Image.new("RGB", (630, 880), (len(name) * 20, 80, 80)).save(tmp_path / name)
    new_deck("Loose")
    drop(page, *(tmp_path / name for name in ("fog.png", "gull.png", "back.png")))
    expect(page.locator(".pair")).to_have_count(2)
    expect(page.get_by_role("button", name="Back of gull: back.png. Choose another")).to_be_visible()


def test_what_failed_is_named_and_sent_again_alone(page: Page, new_deck: NewDeck, folder_of: Folder) -> None:
    new_deck("Broken line")
    failing = {"on": True}

    def break_off(route: Route) -> None:
        if failing["on"]:
            route.abort()
        else:
            route.continue_()

    page.route("**/files/backs/keeper-1.png*", break_off)
    choose_folder(page, folder_of(2))
    expect(page.locator("[data-sending-phase]")).to_have_text("1 file could not be taken")
    expect(page.locator("[data-sending-failed]")).to_contain_text("backs/keeper-1.png")
    expect(page.locator("[data-sending-failed]")).to_contain_text("The connection broke.")
    failing["on"] = False
    sent = puts(page)
    page.get_by_role("button", name="Retry 1 file").click()
    expect(page.locator("[data-sending-phase]")).to_have_text("4 files taken")
    assert sent == ["backs/keeper-1.png"]


def test_a_file_that_is_no_art_is_named_and_the_rest_goes_on(page: Page, new_deck: NewDeck, folder_of: Folder) -> None:
    root = folder_of(1)
    (root / "fronts" / "keeper-7.png").write_bytes(b"not a picture at all")
    new_deck("One bad")
    choose_folder(page, root)
    expect(page.locator(".pair")).to_have_count(1)
    told = page.locator("[data-problems], [data-sending-failed]").filter(has_text="fronts/keeper-7.png")
    expect(told.first).to_be_visible()


def test_copies_name_and_back_are_kept_and_undone(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck({**small_deck(2), "backs/spare.png": small_deck(5)["fronts/keeper-4.png"]}, "Kept")
    page.goto(f"/decks/{deck}/art")
    first = page.locator(".pair").first
    first.get_by_role("button", name="One copy more of keeper-0").click()
    first.get_by_role("button", name="One copy more of keeper-0").click()
    first.get_by_label("Name of keeper-0").fill("Warden of the lamp")
    first.get_by_label("Name of keeper-0").press("Tab")
    page.locator(".pair").first.locator(".back-button").click()
    page.get_by_role("dialog").get_by_role("button", name="spare.png").click()
    back = page.locator(".back-button").first
    expect(back).to_have_attribute("aria-label", "Back of Warden of the lamp: backs/spare.png. Choose another")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")

    page.reload()
    first = page.locator(".pair").first
    expect(first.get_by_label("Name of Warden of the lamp")).to_have_value("Warden of the lamp")
    expect(first.get_by_label("Copies of Warden of the lamp")).to_have_value("3")
    expect(page.locator("[data-count]")).to_contain_text("4 cards to print")
    page.get_by_role("button", name="Undo").click()
    expect(back).to_have_attribute("aria-label", "Back of Warden of the lamp: backs/back.png. Choose another")
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_label("Name of keeper-0")).to_be_visible()
    page.get_by_role("button", name="Redo").click()
    expect(page.get_by_label("Name of Warden of the lamp")).to_be_visible()


def test_a_taken_out_file_comes_back_by_undo(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck(small_deck(2), "Out")
    page.goto(f"/decks/{deck}/art")
    page.get_by_text("All 3 files").click()
    page.get_by_role("button", name="Take fronts/keeper-1.png out of the deck").click()
    expect(page.locator(".pair")).to_have_count(1)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".pair")).to_have_count(2)


def test_a_zip_is_taken_as_the_folder_that_it_holds(page: Page, new_deck: NewDeck, folder_of: Folder,
                                                    tmp_path: Path) -> None:
    root = folder_of(2)
    (root / "notes.txt").write_text("not art", encoding="utf-8")
    packed = shutil.make_archive(str(tmp_path / "packed"), "zip", root.parent, root.name)
    new_deck("Packed")
    give(page.locator("[data-choose-files]"), packed)
    expect(page.locator(".pair")).to_have_count(2)
    expect(page.locator("[data-sending]")).to_contain_text("notes.txt")


def test_a_folder_dropped_again_is_compared_and_followed(page: Page, new_deck: NewDeck, folder_of: Folder) -> None:
    root = folder_of(4, "again")
    deck = new_deck("Again")
    choose_folder(page, root)
    expect(page.locator("[data-sending-phase]")).to_have_text("8 files taken")
    page.get_by_role("button", name="One copy more of keeper-1").click()
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    (root / "fronts" / "keeper-1.png").rename(root / "fronts" / "warden.png")
    (root / "backs" / "keeper-1.png").rename(root / "backs" / "warden.png")
    (root / "fronts" / "keeper-2.png").unlink()
    Image.new("RGB", (630, 880), (9, 9, 9)).save(root / "fronts" / "keeper-0.png")
    Image.new("RGB", (630, 880), (1, 2, 3)).save(root / "fronts" / "keeper-9.png")
    sent = puts(page)
    choose_folder(page, root)
    asked = page.get_by_role("dialog", name="The folder has changed")
    for said in ("Changed: 1", "Renamed: 2", "New: 1", "Gone: 1", "fronts/keeper-1.png is now fronts/warden.png"):
        expect(asked).to_contain_text(said)
    page.wait_for_function("""() => [...document.querySelectorAll("[data-again] img")]
                                        .filter(image => image.naturalWidth > 0).length === 6""")
    asked.get_by_role("button", name="Make the deck equal to the folder").click()
    expect(page.locator("[data-sending-phase]")).to_have_text("2 files taken")
    assert sorted(sent) == ["fronts/keeper-0.png", "fronts/keeper-9.png"]
    expect(page.get_by_label("Copies of warden")).to_have_value("2")
    record = page.request.get(f"/api/decks/{deck}").json()
    assert {file["path"] for file in record["files"]} == {
        path.relative_to(root).as_posix() for path in root.rglob("*.png")}
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_label("Copies of keeper-1")).to_have_value("2")
    record = page.request.get(f"/api/decks/{deck}").json()
    assert {file["path"] for file in record["files"]} == {
        f"{side}/keeper-{number}.png" for side in ("fronts", "backs") for number in range(4)}
    # Few files of many aren't the folder: what isn't among them is not to go by the first button.
    for path in [*root.glob("fronts/*.png"), *root.glob("backs/*.png")]:
        if path.name != "keeper-0.png":
            path.unlink()
    choose_folder(page, root)
    expect(asked).to_contain_text("Not among these files: 6")
    expect(asked.locator(".button-main")).to_have_text("Only add what is new or changed")
