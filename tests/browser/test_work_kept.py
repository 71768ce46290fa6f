"""Nobody's work is lost: two people on one deck, a link that is cut, a server that restarts, a page left at once.

At the end what is stored is what both did, or the one who lost was asked; what is on screen is what is stored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.conftest import choose_folder
from tests.web.live import LiveServer, running, small_deck

WHEN = ["before", "after"]  # the request is cut before it reaches the server, or its answer is lost


def stored(server: LiveServer, deck: str) -> Any:
    return server.client().get(f"/api/decks/{deck}").json()


def copies(server: LiveServer, deck: str) -> list[int]:
    return [card["copies"] for card in stored(server, deck)["cards"]]


def save_state(page: Page) -> Any:
    return page.locator("[data-save-state]")


def cut(page: Page, when: str, pattern: str = "**/api/**") -> None:
    def lose(route: Route) -> None:
        if when == "after" and route.request.method not in ("GET", "HEAD"):
            route.fetch()
        route.abort("connectionreset")
    page.route(pattern, lose)


@pytest.fixture
def deck(live_server: LiveServer) -> str:
    return live_server.deck(small_deck(3), "Shared")


@pytest.fixture
def other(browser: Browser, live_server: LiveServer) -> Iterator[Page]:
    """Somebody else's browser."""
    context = browser.new_context(base_url=live_server.base)
    context.request.get(live_server.entry())
    yield context.new_page()
    context.close()


def open_sheet(page: Page, deck: str) -> None:
    page.goto(f"/decks/{deck}/sheet")
    expect(page.locator("[data-sheet] > svg")).to_be_visible()


def open_art(page: Page, deck: str) -> None:
    page.goto(f"/decks/{deck}/art")
    expect(page.locator(".pair")).to_have_count(3)


def set_length(page: Page, name: str, value: str) -> None:
    page.locator(f"#f-{name}").fill(value)


def test_two_editors_of_a_sheet_keep_what_both_set(page: Page, other: Page, live_server: LiveServer, deck: str) -> None:
    open_sheet(page, deck)
    open_sheet(other, deck)
    set_length(page, "safe_mm", "4")
    expect(save_state(page)).to_have_text("Saved")
    page.get_by_label("Paper size").select_option("letter")
    expect(save_state(page)).to_have_text("Saved")
    set_length(other, "gutter_mm", "1")
    expect(other.locator("#f-safe_mm")).to_have_value("4")
    expect(other.get_by_label("Paper size")).to_have_value("letter")
    expect(save_state(other)).to_have_text("Saved")
    expect(page.locator("#f-gutter_mm")).to_have_value("1")
    settings = stored(live_server, deck)["settings"]
    assert (settings["safe_mm"], settings["gutter_mm"], settings["paper"]) == (4, 1, "letter")


def test_who_comes_second_to_one_setting_is_asked(page: Page, other: Page, live_server: LiveServer, deck: str) -> None:
    open_sheet(page, deck)
    open_sheet(other, deck)
    cut(other, "before")  # so that the other's page can't see it come
    set_length(other, "gutter_mm", "2")
    expect(save_state(other)).to_contain_text("Not saved yet")
    set_length(page, "gutter_mm", "1")
    expect(save_state(page)).to_have_text("Saved")
    other.unroute_all()
    expect(other.get_by_text("Theirs is shown; yours is not lost.").last).to_be_visible()
    expect(other.locator("#f-gutter_mm")).to_have_value("1")
    other.get_by_role("button", name="Use mine").click()
    expect(other.locator("#f-gutter_mm")).to_have_value("2")
    expect(save_state(other)).to_have_text("Saved")
    assert stored(live_server, deck)["settings"]["gutter_mm"] == 2
    expect(page.locator("#f-gutter_mm")).to_have_value("2")


@pytest.mark.parametrize("when", WHEN)
def test_a_link_cut_while_cards_change(page: Page, live_server: LiveServer, deck: str, when: str) -> None:
    open_art(page, deck)
    cut(page, when)
    page.get_by_label("Copies of keeper-0").fill("9")
    page.get_by_label("Copies of keeper-0").press("Tab")
    expect(save_state(page)).to_contain_text("Not saved yet")
    page.get_by_role("button", name="One copy more of keeper-1").click()
    expect(save_state(page)).to_contain_text("Not saved yet")
    page.unroute_all()
    expect(save_state(page)).to_have_text("Saved")
    assert copies(live_server, deck) == [9, 2, 1]
    expect(page.get_by_label("Copies of keeper-0")).to_have_value("9")
    expect(page.get_by_text("Somebody changed")).to_have_count(0)


@pytest.mark.parametrize("when", WHEN)
def test_a_link_cut_while_a_setting_changes(page: Page, live_server: LiveServer, deck: str, when: str) -> None:
    open_sheet(page, deck)
    cut(page, when, "**/api/decks/*")
    set_length(page, "gutter_mm", "3")
    expect(save_state(page)).to_contain_text("Not saved yet")
    set_length(page, "gutter_mm", "2")
    page.unroute_all()
    expect(save_state(page)).to_have_text("Saved")
    assert stored(live_server, deck)["settings"]["gutter_mm"] == 2
    expect(page.get_by_text("Somebody changed")).to_have_count(0)


def test_a_setting_typed_just_before_leaving_is_kept(page: Page, live_server: LiveServer, deck: str) -> None:
    open_sheet(page, deck)
    set_length(page, "gutter_mm", "4")
    page.wait_for_timeout(50)
    page.goto("/")
    until(lambda: stored(live_server, deck)["settings"]["gutter_mm"] == 4, page)
    open_art(page, deck)
    page.get_by_label("Copies of keeper-1").fill("5")
    page.close()
    until(lambda: copies(live_server, deck) == [1, 5, 1])


def until(told: Callable[[], bool], page: Page | None = None) -> None:
    for _ in range(100):
        if told():
            return
        if page:
            page.wait_for_timeout(50)
    assert told()


def test_a_server_that_restarts_in_between(browser: Browser, tmp_path: Path) -> None:
    with ExitStack() as first:
        server = first.enter_context(running(tmp_path / "data"))
        deck = server.deck(small_deck(3), "Restart")
        context = browser.new_context(base_url=server.base)
        context.request.get(server.entry())
        art, sheet, desk = context.new_page(), context.new_page(), context.new_page()
        open_art(art, deck)
        open_sheet(sheet, deck)
        desk.goto("/")
        sent: list[str] = []

        def lose(route: Route) -> None:
            sent.append(route.request.url)
            if len(sent) == 1:
                route.fetch()
            route.abort("connectionreset")

        desk.route("**/api/decks", lose)
        desk.get_by_label("Name of a new deck").fill("Begun")
        desk.get_by_role("button", name="Start the deck").click()
        expect(desk.locator("#toasts")).to_contain_text("Not done yet")
        first.close()
        art.get_by_role("button", name="One copy more of keeper-0").click()
        set_length(sheet, "gutter_mm", "2")
        expect(save_state(art)).to_contain_text("Not saved yet")
        expect(save_state(sheet)).to_contain_text("Not saved yet")
        with running(tmp_path / "data", port=server.port) as again:
            expect(save_state(art)).to_have_text("Saved")
            expect(save_state(sheet)).to_have_text("Saved")
            assert copies(again, deck) == [2, 1, 1]
            assert stored(again, deck)["settings"]["gutter_mm"] == 2
            # What the first server did, its answer lost, the second one answers and does not do again.
            desk.unroute_all(behavior="ignoreErrors")
            desk.wait_for_url("**/art")
            names = [one["name"] for one in again.client().get("/api/decks").json()["decks"]]
            assert sorted(names) == ["Begun", "Restart"]
            context.close()


def test_what_waited_when_its_page_was_closed_is_kept_at_the_next_visit(browser: Browser, tmp_path: Path) -> None:
    with ExitStack() as first:
        server = first.enter_context(running(tmp_path / "data"))
        deck = server.deck(small_deck(3), "Closed")
        context = browser.new_context(base_url=server.base)
        context.request.get(server.entry())
        art = context.new_page()
        open_art(art, deck)
        first.close()
        art.get_by_role("button", name="One copy more of keeper-2").click()
        expect(save_state(art)).to_contain_text("Not saved yet")
        art.close()
    with running(tmp_path / "data", port=server.port) as again:
        assert copies(again, deck) == [1, 1, 1]
        art = context.new_page()
        open_art(art, deck)
        expect(art.get_by_label("Copies of keeper-2")).to_have_value("2")
        expect(save_state(art)).to_have_text("Saved")
        assert copies(again, deck) == [1, 1, 2]
        context.close()


@pytest.mark.parametrize("when", WHEN)
def test_uploads_wait_for_the_link_and_go_on(page: Page, live_server: LiveServer, new_deck: Callable[[str], str],
                                             folder_of: Callable[..., Path], when: str) -> None:
    deck, root, sent = new_deck("Cut"), folder_of(6), []
    (root / "fronts" / "keeper-9.tiff").write_bytes(b"")

    def after_three(route: Route) -> None:
        sent.append(route.request.url)
        if len(sent) <= 3:
            route.continue_()
            return
        if when == "after":
            route.fetch()
        route.abort("connectionreset")

    page.route("**/api/decks/*/files/**", after_three)
    page.route("**/api/decks/*/missing", lambda route: route.abort() if len(sent) > 3 else route.continue_())
    choose_folder(page, root)
    expect(page.locator("[data-sending-phase]")).to_contain_text("Waiting for Lampfold")
    expect(page.locator("[data-sending-figures]")).to_contain_text("3 of 13")
    page.unroute_all()
    # What can never be taken is named by its cause, and no second try is offered for it.
    expect(page.locator("[data-sending-phase]")).to_have_text("1 file could not be taken")
    expect(page.locator("[data-sending-figures]")).to_contain_text("12 of 13")
    expect(page.locator("[data-sending-failed] li")).to_have_count(1)
    expect(page.locator("[data-sending-failed]")).to_contain_text("keeper-9.tiff")
    expect(page.locator("[data-sending-retry]")).to_be_hidden()
    expect(page.locator(".pair")).to_have_count(6)
    assert len(stored(live_server, deck)["files"]) == 12


def open_printer(page: Page, printer: str) -> None:
    page.goto(f"/true-up?printer={printer}")
    expect(page.get_by_label("Printer's name")).to_have_value("Pier")


def test_two_people_at_one_printer_keep_what_both_set(page: Page, other: Page, live_server: LiveServer) -> None:
    client = live_server.client()
    printer = client.post("/api/printers", json={"name": "Pier", "feed": "tray 1"}).json()["id"]
    open_printer(page, printer)
    open_printer(other, printer)
    page.get_by_label("Tray or feed").fill("by hand")
    page.get_by_role("button", name="Save name and edges").click()
    expect(page.get_by_text("Pier is saved.")).to_be_attached()
    cut(other, "after", "**/api/printers/*")
    other.get_by_label("Printer's name").fill("Pier, north")
    other.get_by_role("button", name="Save name and edges").click()
    expect(other.get_by_text("Not saved yet")).to_be_visible()
    other.unroute_all()
    expect(other.get_by_label("Tray or feed")).to_have_value("by hand")
    kept = client.get(f"/api/printers/{printer}").json()
    assert (kept["name"], kept["feed"]) == ("Pier, north", "by hand")
    client.delete(f"/api/printers/{printer}")


PAGES = ["/", *(f"/decks/{{deck}}/{page}" for page in ("art", "sheet", "glow", "output")), "/true-up"]


@pytest.mark.parametrize("where", PAGES)
def test_nothing_takes_what_would_be_lost_before_the_page_listens(page: Page, deck: str, where: str) -> None:
    page.route("**/static/js/*/page.js", lambda route: route.abort())
    page.goto(where.format(deck=deck))
    page.wait_for_load_state()
    fields = page.locator("main :is(input, select, textarea, button)")
    assert fields.count() > 0
    assert page.locator("main :is(input, select, textarea, button):enabled").count() == 0
    page.unroute("**/static/js/*/page.js")
    page.reload()
    expect(page.locator("main :is(input, select, button):enabled").first).to_be_attached()
