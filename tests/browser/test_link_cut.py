"""A link that is cut and a server that restarts, on pages whose changes are no fields of a deck: nothing is lost, and
nothing is done twice. ``test_work_kept`` has Art's, Sheet's and the printer's form.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from server.web.hosts import Hosts
from tests.browser.conftest import choose_folder, give
from tests.web.live import LiveServer, running, small_deck

LAN = Hosts(frozenset(("127.0.0.1", "localhost")), 0, lan=True)


@pytest.fixture(scope="module")
def live_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """A server that lets guests in, so that it has a People page."""
    with running(tmp_path_factory.mktemp("live") / "data", hosts=LAN) as server:
        yield server


def through_a_cut(page: Page, act: Callable[[], object], waits: str = "It goes on by itself.",
                  pattern: str = "**/api/**") -> None:
    """Do it while the link is cut: the first request never comes to the server, the second one's answer is lost, and
    then the link is back."""
    seen: list[str] = []

    def lose(route: Route) -> None:
        if route.request.method in ("GET", "HEAD"):
            route.continue_()
            return
        seen.append(route.request.url)
        if len(seen) > 2:
            route.continue_()
            return
        if len(seen) == 2:
            route.fetch()
        route.abort("connectionreset")

    page.route(pattern, lose)
    act()
    told = page.locator("main, #toasts").get_by_text(waits).filter(visible=True)
    expect(told.first).to_be_visible()
    while len(seen) < 3:
        page.evaluate("() => window.dispatchEvent(new Event('online'))")
        page.wait_for_timeout(20)
    expect(told).to_have_count(0)
    page.unroute_all(behavior="ignoreErrors")


def test_people(page: Page, browser: Browser, live_server: LiveServer) -> None:
    client = live_server.client()
    deck = live_server.deck(small_deck(1), "Lamp room", client)
    live_server.services.people.start("playtester", "Lin", "127.0.0.1")
    page.goto("/people")
    page.get_by_label("Deck", exact=True).select_option(deck)
    through_a_cut(page, page.get_by_role("button", name="Make a link").click)
    expect(page.locator("[data-links] li")).to_have_count(1)
    assert len(client.get("/api/links").json()["links"]) == 1
    guest = browser.new_context(base_url=live_server.base).new_page()
    guest.goto("/link/" + page.locator("[data-link-url]").inner_text().rpartition("/")[2])
    expect(guest).to_have_url(f"{live_server.base}/decks/{deck}/glow")
    guest.context.close()
    through_a_cut(page, page.get_by_role("button", name="Put Lin out").click)
    expect(page.locator("[data-people]")).not_to_contain_text("Lin")
    code = page.locator("[data-door=maker] [data-code]")
    before = code.inner_text()
    through_a_cut(page, page.locator("[data-door=maker] [data-renew]").click)
    expect(code).not_to_have_text(before)
    expect(code).to_have_text(client.get("/api/people").json()["doors"]["maker"]["code"])
    through_a_cut(page, page.get_by_role("button", name="Withdraw the link").click)
    expect(page.locator("[data-links]")).to_be_empty()
    assert client.get("/api/links").json()["links"] == []


def test_the_desk(page: Page, live_server: LiveServer) -> None:
    client = live_server.client()
    page.goto("/")
    page.get_by_label("Name of a new deck").fill("Tide table")
    through_a_cut(page, page.get_by_role("button", name="Start the deck").click)
    page.wait_for_url("**/art")
    names = [deck["name"] for deck in client.get("/api/decks").json()["decks"]]
    assert names.count("Tide table") == 1
    page.locator("[data-title]").fill("Tide tables")
    through_a_cut(page, lambda: page.locator("[data-title]").press("Enter"), "Not saved yet")
    page.goto("/")
    through_a_cut(page, page.get_by_role("button", name="Move Tide tables to the bin").click)
    expect(page.locator("[data-bin]")).to_contain_text("Tide tables")
    through_a_cut(page, page.get_by_role("button", name="Undo").click)
    expect(page.get_by_role("link", name="Tide tables", exact=True)).to_be_visible()


def test_output(page: Page, live_server: LiveServer, tmp_path: Path) -> None:
    client = live_server.client()
    deck = live_server.deck(small_deck(2), "Lock gates", client)
    at = f"/api/decks/{deck}"
    page.goto(f"/decks/{deck}/output")
    page.locator("#version-name").fill("Spring")
    through_a_cut(page, page.get_by_role("button", name="Keep", exact=False).first.click)
    expect(page.locator("[data-versions] li")).to_have_count(1)
    revision = client.get(at).json()["revision"]
    client.patch(at, json={"revision": revision, "name": "Lock gate"})
    through_a_cut(page, page.get_by_role("button", name="Restore: Spring").click)
    expect(page.get_by_text("The deck is Spring again.").first).to_be_visible()
    assert client.get(at).json()["name"] == "Lock gates"
    # One change, so one step to undo.
    through_a_cut(page, page.get_by_role("button", name="Undo").last.click)
    assert client.get(at).json()["name"] == "Lock gate"
    through_a_cut(page, page.get_by_role("button", name="Build the PDF").click)
    expect(page.locator("[data-result]")).to_be_visible()
    # A release, and its own files, which it waits for.
    for name in ("rules.txt", "credits.txt"):
        (tmp_path / name).write_text(name, encoding="utf-8")
    form = page.locator("[data-release-form]")

    def add() -> None:
        give(form.locator("[data-release-add]"), [tmp_path / "rules.txt", tmp_path / "credits.txt"])
        form.get_by_label("Version to release").fill("1")
        form.get_by_role("button", name="Release").click()  # waits for them

    through_a_cut(page, add)
    released = page.locator("[data-release-list] li")
    expect(released).to_have_count(1)
    row = client.get(f"{at}/releases").json()["releases"][0]
    assert [one["file"] for one in row["files"] if one["part"] == "extra"] == ["extras/credits.txt", "extras/rules.txt"]
    through_a_cut(page, form.get_by_role("button", name="Remove rules.txt").click)
    expect(form.get_by_role("checkbox", name="rules.txt")).to_have_count(0)
    assert [one["name"] for one in client.get(f"{at}/releases/extras").json()["extras"]] == ["credits.txt"]
    form.get_by_label("Version to release").fill("2")
    through_a_cut(page, form.get_by_role("button", name="Release").click)
    expect(released).to_have_count(2)
    assert len(client.get(f"{at}/releases").json()["releases"]) == 2
    page.on("dialog", lambda dialog: dialog.accept())
    through_a_cut(page, page.get_by_role("button", name="Remove the release 2").click)
    expect(released).to_have_count(1)
    assert [one["version"] for one in client.get(f"{at}/releases").json()["releases"]] == ["1"]


def test_a_made_back(page: Page, live_server: LiveServer) -> None:
    client = live_server.client()
    deck = live_server.deck({path: art for path, art in small_deck(2).items() if "front" in path}, "Bare", client)
    page.goto(f"/decks/{deck}/glow#g-forgive")
    take = page.get_by_role("button", name="Use this back")
    expect(take).to_be_enabled()
    through_a_cut(page, take.click)
    expect(page.locator("#toasts")).to_contain_text("2 cards have the new back")
    record = client.get(f"/api/decks/{deck}").json()
    assert len(record["files"]) == 3
    assert {card["back"]["file"] for card in record["cards"]} == {path for file in record["files"]
                                                                  if (path := file["path"]).startswith("backs/")}


def test_two_people_true_up_one_printer(page: Page, browser: Browser, live_server: LiveServer) -> None:
    client = live_server.client()
    page.goto("/true-up")
    page.get_by_label("Printer's name").fill("Pier")
    through_a_cut(page, page.get_by_role("button", name="Save the printer for now").click, "Not saved yet",
                  "**/api/printers")
    expect(page.get_by_text("Pier is saved.")).to_be_attached()
    printers = client.get("/api/printers").json()["printers"]
    assert [one["name"] for one in printers] == ["Pier"]
    printer = printers[0]["id"]
    context = browser.new_context(base_url=live_server.base)
    context.request.get(live_server.entry())
    other = context.new_page()
    for one, dx in ((page, "1.5"), (other, "-0.5")):
        one.goto(f"/true-up?printer={printer}")
        one.get_by_role("radio", name="The plain way").check()
        one.get_by_label("How far to the side").fill(dx)
        expect(one.get_by_role("button", name="Save to Pier")).to_be_enabled()
    through_a_cut(page, page.get_by_role("button", name="Save to Pier").click, "Not saved yet",
                  "**/readings?*")
    expect(page.locator(".tu-printer")).to_contain_text("1.5 mm right")
    other.get_by_role("button", name="Save to Pier").click()
    warned = other.locator("[data-save-message]")
    expect(warned).to_contain_text("Somebody trued Pier up meanwhile")
    assert client.get(f"/api/printers/{printer}").json()["drift"]["dx_mm"] == pytest.approx(1.5)
    expect(other.get_by_label("How far to the side")).to_have_value("-0.5")
    warned.get_by_role("button", name="Use mine").click()
    expect(other.locator(".tu-printer")).to_contain_text("0.5 mm left")
    assert client.get(f"/api/printers/{printer}").json()["drift"]["dx_mm"] == pytest.approx(-0.5)
    context.close()


def test_uploads_go_on_after_a_restart(browser: Browser, tmp_path: Path, folder_of: Callable[..., Path]) -> None:
    sent: list[str] = []
    with ExitStack() as first:
        server = first.enter_context(running(tmp_path / "data"))
        deck = server.deck({}, "Restart")
        context = browser.new_context(base_url=server.base)
        context.request.get(server.entry())
        page = context.new_page()
        page.goto(f"/decks/{deck}/art")

        def after_three(route: Route) -> None:
            sent.append(route.request.url)
            if len(sent) > 3:
                route.abort("connectionreset")
            else:
                route.continue_()

        page.route("**/api/decks/*/files/**", after_three)
        page.route("**/api/decks/*/missing", lambda route: route.abort() if len(sent) > 3 else route.continue_())
        choose_folder(page, folder_of(4))
        expect(page.locator("[data-sending-phase]")).to_contain_text("Waiting for Lampfold")
        expect(page.locator("[data-sending-figures]")).to_contain_text("3 of 8")
    with running(tmp_path / "data", port=server.port) as again:
        page.unroute_all(behavior="ignoreErrors")
        page.evaluate("() => window.dispatchEvent(new Event('online'))")
        expect(page.locator("[data-sending-figures]")).to_contain_text("8 of 8")
        expect(page.locator(".pair")).to_have_count(4)
        record: Any = again.client().get(f"/api/decks/{deck}").json()
        assert len(record["files"]) == 8
        context.close()
