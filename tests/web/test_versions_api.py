"""Versions by the API: kept, compared by what pictures show, built, restored, and the sheets of what changed alone."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from server import cli
from tests.formats.artwork import write
from tests.web.live import LiveServer, picture, running, small_deck
from tests.web.test_builds_api import events
from tests.web.test_people import LAN, guest

# Six fronts of small_deck by their colour, as pdfium renders them flat.
_COLOURS = [(10 * number, 90, 200) for number in range(6)]


@pytest.fixture(scope="module")
def lan_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    with running(tmp_path_factory.mktemp("lan") / "data", hosts=LAN) as server:
        yield server


def keep(client: httpx.Client, deck_id: str, name: str) -> str:
    answer = client.post(f"/api/decks/{deck_id}/versions", json={"name": name})
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


def put(client: httpx.Client, deck_id: str, path: str, content: bytes) -> None:
    assert client.put(f"/api/decks/{deck_id}/files/{path}", content=content).status_code == 200


def built(client: httpx.Client, deck_id: str, **ask: Any) -> dict[str, Any]:
    answer = client.post(f"/api/decks/{deck_id}/builds", json=ask)
    assert answer.status_code == 202, answer.text
    last: dict[str, Any] = events(client, answer.json()["job"])[-1]
    assert last["state"] == "done", last
    return {**last["result"], "message": last["message"]}


def spotted(png: bytes) -> bytes:
    """The same picture with one pixel changed."""
    image = Image.open(io.BytesIO(png))
    image.putpixel((300, 400), (255, 255, 255))
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def again(png: bytes) -> bytes:
    """The same pixels in another file: lossless WebP."""
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).save(out, "WEBP", lossless=True)
    return out.getvalue()


def cards_on(pdf: bytes, colour: tuple[int, int, int]) -> float:
    """How many cards' area of that flat colour all pages have, as pdfium sees them."""
    count = 0
    document = pypdfium2.PdfDocument(pdf)
    for page in document:
        pixels = np.asarray(page.render(scale=1).to_pil().convert("RGB")).astype(int)
        count += int((np.abs(pixels - np.array(colour)).max(axis=2) <= 3).sum())
    document.close()
    return count / (63 * 88 * (72 / 25.4) ** 2)


def names(cards: list[dict[str, Any]]) -> list[tuple[str, int]]:
    return [(card["name"], card["copies"]) for card in cards]


def changed_deck(client: httpx.Client, server: LiveServer) -> tuple[str, str]:
    """A deck of six with a version, and after it: one re-exported, one changed by a pixel, one with another number of
    copies, one gone, one new. (deck's id, version's id)"""
    files = small_deck(6)
    deck_id = server.deck(files, "Tides", client)
    version = keep(client, deck_id, "0.3, Tuesday group")
    put(client, deck_id, "fronts/keeper-1.webp", again(files["fronts/keeper-1.png"]))
    client.delete(f"/api/decks/{deck_id}/files/fronts/keeper-1.png")
    put(client, deck_id, "fronts/keeper-2.png", spotted(files["fronts/keeper-2.png"]))
    client.delete(f"/api/decks/{deck_id}/files/fronts/keeper-4.png")
    put(client, deck_id, "fronts/lantern.png", picture((200, 200, 10)))
    revision = client.get(f"/api/decks/{deck_id}").json()["revision"]
    answer = client.patch(f"/api/decks/{deck_id}", json={
        "revision": revision, "cards": {"fronts/keeper-3.png": {"copies": 3}}})
    assert answer.status_code == 200, answer.text
    return deck_id, version


def test_two_versions_are_compared_by_what_their_pictures_show(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id, version = changed_deck(client, live_server)
    found = client.get(f"/api/decks/{deck_id}/versions/{version}/changes").json()
    assert found["since"] == "0.3, Tuesday group"
    assert names(found["added"]) == [("lantern", 1)]
    assert names(found["gone"]) == [("keeper-4", 1)]
    assert [(one["new"]["name"], one["what"], one["old"]["copies"], one["new"]["copies"]) for one in found["changed"]
            ] == [("keeper-2", ["front"], 1, 1), ("keeper-3", ["copies"], 1, 3)]
    assert 0 <= found["changed"][0]["differs_percent"] < 1
    assert names(found["take_out"]) == [("keeper-2", 1), ("keeper-4", 1)]
    assert names(found["printed"]) == [("keeper-2", 1), ("keeper-3", 2), ("lantern", 1)]
    for one in (found["gone"][0], found["changed"][0]["old"], found["changed"][0]["new"]):
        answer = client.get(f"/api/art/{one['front'].replace('#', '%23')}?longest=128")
        assert answer.headers["content-type"] == "image/webp"
    later = keep(client, deck_id, "0.4")
    between = client.get(f"/api/decks/{deck_id}/versions/{version}/changes", params={"to": later}).json()
    assert between == found
    back = client.get(f"/api/decks/{deck_id}/versions/{later}/changes", params={"to": version}).json()
    assert names(back["added"]) == [("keeper-4", 1)]
    assert names(back["printed"]) == names(found["take_out"])


def test_change_sheets_print_what_is_missing_and_show_what_to_take_out(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id, version = changed_deck(client, live_server)
    result = built(client, deck_id, since=version)
    assert (result["cards"], result["pages"], result["sheets"]) == (4, 3, 1)  # a sheet's two faces, and the list
    assert result["name"] == "Tides-since-0.3-Tuesday-group-duplex-a4.pdf"
    assert names(result["changes"]["take_out"]) == [("keeper-2", 1), ("keeper-4", 1)]
    plan = client.get(result["plan"]).json()
    assert plan["summary"]["cards"] == 4
    pdf = client.get(result["pdf"]).content
    assert len(pypdfium2.PdfDocument(pdf)) == 3
    # Two copies of one card are printed, and of the one that was re-exported or left alone none.
    assert cards_on(pdf, _COLOURS[3]) == pytest.approx(2, rel=.12)
    assert cards_on(pdf, (200, 200, 10)) == pytest.approx(1, rel=.15)
    assert cards_on(pdf, _COLOURS[0]) == cards_on(pdf, _COLOURS[1]) == cards_on(pdf, _COLOURS[5]) == 0
    assert 0.02 < cards_on(pdf, _COLOURS[4]) < 0.5  # small, on the list of what leaves


def test_nothing_to_do_says_so(live_server: LiveServer) -> None:
    client = live_server.client()
    files = small_deck(2)
    deck_id = live_server.deck(files, "Still", client)
    version = keep(client, deck_id, "0.1")
    put(client, deck_id, "fronts/keeper-0.png", again(files["fronts/keeper-0.png"]))
    result = built(client, deck_id, since=version)
    assert (result["pdf"], result["plan"], result["pages"], result["papers"]) == (None, None, 0, 0)
    assert result["changes"]["take_out"] == result["changes"]["printed"] == result["changes"]["changed"] == []
    assert result["message"] == "Nothing has changed: nothing to print."


def test_an_old_version_is_built_as_it_was_and_restored_without_losing_the_new_one(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck(small_deck(2), "Ebb", client)
    settings = {"version": "0.1"}
    revision = client.get(f"/api/decks/{deck_id}").json()["revision"]
    client.patch(f"/api/decks/{deck_id}", json={"revision": revision, "settings": settings})
    before = client.get(built(client, deck_id)["pdf"]).content
    version = keep(client, deck_id, "0.1")
    put(client, deck_id, "fronts/keeper-0.png", picture((1, 2, 3)))
    now = client.get(f"/api/decks/{deck_id}").json()
    assert client.get(f"/api/decks/{deck_id}/versions").json()["current"] == ""
    assert client.get(built(client, deck_id)["pdf"]).content != before
    old = built(client, deck_id, version=version)
    assert client.get(old["pdf"]).content == before and old["name"] == "Ebb-0.1-duplex-a4.pdf"
    restored = client.post(f"/api/decks/{deck_id}/versions/{version}/restore").json()
    assert restored["cards"] != now["cards"]
    assert client.get(f"/api/decks/{deck_id}/versions").json()["current"] == "0.1"
    assert client.get(built(client, deck_id)["pdf"]).content == before
    undone = client.post(f"/api/decks/{deck_id}/undo").json()
    assert undone["cards"] == now["cards"]
    # What is kept under a name needs no undo: neither when others build on what was restored.
    newer = keep(client, deck_id, "0.2")
    client.post(f"/api/decks/{deck_id}/versions/{version}/restore")
    put(client, deck_id, "fronts/keeper-9.png", picture((9, 9, 9)))
    assert client.post(f"/api/decks/{deck_id}/versions/{newer}/restore").json()["cards"] == now["cards"]


def test_sheets_say_the_version_that_they_are_of(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck(small_deck(1), "Neap", client)
    keep(client, deck_id, "0.3, the harbour's Tuesday group")

    def label() -> str:
        page = pypdfium2.PdfDocument(client.get(built(client, deck_id)["pdf"]).content)[0]
        return str(page.get_textpage().get_text_range())

    assert "0.3, the harbour's Tuesd" in label()
    put(client, deck_id, "fronts/keeper-0.png", picture((1, 2, 3)))
    assert "0.3" not in label()


def test_the_list_is_changed_and_what_is_removed_can_be_put_back(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck(small_deck(1), "Lock", client)
    address = f"/api/decks/{deck_id}/versions"
    first, second = keep(client, deck_id, "0.1"), keep(client, deck_id, "0.2")
    listed = client.get(address).json()
    assert ([one["name"] for one in listed["versions"]], listed["current"]) == (["0.2", "0.1"], "0.2")
    decks = client.get("/api/decks").json()["decks"]
    assert next(one for one in decks if one["id"] == deck_id)["version"] == "0.2"
    assert client.post(address, json={"name": "0.2"}).status_code == 422
    assert client.post(address, json={"name": " "}).status_code == 422
    assert client.post(address, json={"name": "0.4", "revision": 1}).status_code == 409
    assert client.patch(f"{address}/{first}", json={"name": "0.1 b"}).json()["name"] == "0.1 b"
    assert client.delete(f"{address}/{second}").json()["removed"]
    assert [one["name"] for one in client.get(address).json()["versions"]] == ["0.1 b"]
    assert client.patch(f"{address}/{second}", json={"removed": False}).json()["removed"] is None
    for method, rest in (("GET", "/nowhere/changes"), ("POST", "/nowhere/restore"), ("DELETE", "/nowhere")):
        assert client.request(method, address + rest).status_code == 404
    assert client.post(f"/api/decks/{deck_id}/builds", json={"since": "nowhere"}).status_code == 404


def test_playtesters_neither_see_nor_change_versions(lan_server: LiveServer) -> None:
    client = lan_server.client()
    deck_id = lan_server.deck(small_deck(1), client=client)
    version = keep(client, deck_id, "0.1")
    tester = guest(lan_server, "playtester")
    address = f"/api/decks/{deck_id}/versions"
    asked = (tester.get(address), tester.post(address, json={"name": "mine"}),
             tester.patch(f"{address}/{version}", json={"name": "mine"}), tester.delete(f"{address}/{version}"),
             tester.post(f"{address}/{version}/restore"), tester.get(f"{address}/{version}/changes"),
             tester.post(f"/api/decks/{deck_id}/builds", json={"since": version}),
             tester.post(f"/api/decks/{deck_id}/builds", json={"version": version}))
    assert [answer.status_code for answer in asked] == [403] * len(asked)
    assert all(one["version"] == "" for one in tester.get("/api/decks").json()["decks"])
    maker = guest(lan_server, "maker")
    assert keep(maker, deck_id, "0.2")


def test_the_version_on_the_fronts_is_the_same_on_screen_and_in_the_pdf(live_server: LiveServer,
                                                                        tmp_path: Path) -> None:
    """White on the dark front, black on the light one, on the page; and the bytes that the command line makes."""
    client = live_server.client()
    files = {"fronts/a.png": picture((20, 20, 40)), "fronts/b.png": picture((250, 240, 200)),
             "backs/back.png": picture((20, 60, 70))}
    deck_id = live_server.deck(files, "Quay", client)
    settings = {"version": "0.3", "version_mark": "bottom"}
    plan = client.post(f"/api/decks/{deck_id}/plan", json={"settings": settings}).json()
    fills = re.findall(r'<text [^>]*fill="([^"]+)"[^>]*>0\.3</text>', plan["svg"])
    assert fills == ["#ffffff", "#000000"]
    for path, content in files.items():
        write(tmp_path / "Quay", path, content)
    assert cli.main(["build", str(tmp_path / "Quay"), "--out", str(tmp_path / "own.pdf"), "--version", "0.3",
                     "--version-mark", "bottom"]) == 0
    assert client.get(built(client, deck_id, settings=settings)["pdf"]).content == (tmp_path / "own.pdf").read_bytes()
