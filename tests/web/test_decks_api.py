"""Decks by the API: from an empty Desk to a deck with cards, changed, undone, binned and restored."""

from __future__ import annotations

import io

import pikepdf
import pytest
from PIL import Image

from server.core.methods import METHODS
from tests.formats.artwork import encoded
from tests.formats.artwork import picture as drawn
from tests.web.live import LiveServer, picture, small_deck


@pytest.fixture(scope="module")
def deck_id(live_server: LiveServer) -> str:
    return live_server.deck(small_deck())


def test_a_new_deck_is_on_the_desk(live_server: LiveServer) -> None:
    client = live_server.client()
    made = client.post("/api/decks", json={"name": "  Tide   tables "})
    assert made.status_code == 201
    record = made.json()
    assert (record["name"], record["revision"], record["files"], record["cards"]) == ("Tide tables", 1, [], [])
    desk = client.get("/api/decks").json()
    assert record["id"] in [deck["id"] for deck in desk["decks"]]


def test_files_become_cards_with_their_back(live_server: LiveServer, deck_id: str) -> None:
    record = live_server.client().get(f"/api/decks/{deck_id}").json()
    assert {file["path"] for file in record["files"]} == set(small_deck())
    assert [card["file"] for card in record["cards"]] == [f"fronts/keeper-{number}.png" for number in range(3)]
    assert {card["back"]["file"] for card in record["cards"]} == {"backs/back.png"}
    assert {(file["kind"], file["width_px"], file["height_px"]) for file in record["files"]} == {("png", 630, 880)}
    assert record["cards"][0]["front_fit"]


def test_a_change_with_the_latest_revision_is_kept(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck(small_deck(1), client=client)
    record = client.get(f"/api/decks/{deck_id}").json()
    change = {"revision": record["revision"], "name": "Quay", "settings": {"paper": "letter", "bleed_mm": "1"},
              "cards": {"fronts/keeper-0.png": {"copies": 4, "name": "Lamp"}}}
    changed = client.patch(f"/api/decks/{deck_id}", json=change)
    assert changed.status_code == 200
    after = changed.json()
    assert (after["name"], after["settings"]["paper"], after["settings"]["bleed_mm"]) == ("Quay", "letter", 1.0)
    assert (after["cards"][0]["copies"], after["cards"][0]["name"]) == (4, "Lamp")
    assert after["revision"] == record["revision"] + 1


def test_a_change_over_an_old_revision_is_told_what_is_there_now(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    assert client.patch(f"/api/decks/{deck_id}", json={"revision": 1, "name": "Mine"}).status_code == 200
    late = client.patch(f"/api/decks/{deck_id}", json={"revision": 1, "name": "Yours"})
    assert late.status_code == 409
    assert late.json()["current"]["name"] == "Mine"
    assert late.json()["current"]["revision"] == 2
    assert late.json()["fix"]
    assert client.get(f"/api/decks/{deck_id}").json()["name"] == "Mine"


def test_undo_and_redo(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    client.patch(f"/api/decks/{deck_id}", json={"revision": 1, "settings": {"paper": "a3"}})
    undone = client.post(f"/api/decks/{deck_id}/undo").json()
    assert (undone["settings"]["paper"], undone["can_undo"], undone["can_redo"]) == ("a4", False, True)
    redone = client.post(f"/api/decks/{deck_id}/redo").json()
    assert (redone["settings"]["paper"], redone["can_undo"], redone["can_redo"]) == ("a3", True, False)


def test_the_bin(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    assert client.delete(f"/api/decks/{deck_id}").status_code == 200
    desk = client.get("/api/decks").json()
    assert deck_id in [deck["id"] for deck in desk["bin"]]
    assert deck_id not in [deck["id"] for deck in desk["decks"]]
    gone = client.get(f"/api/decks/{deck_id}")
    assert (gone.status_code, gone.json()["message"][:5]) == (404, "deck:")
    assert client.post(f"/api/decks/{deck_id}/restore").status_code == 200
    assert client.get(f"/api/decks/{deck_id}").status_code == 200


@pytest.mark.parametrize(("body", "field"), [
    ({"settings": {"bleed_mm": "wide"}}, "bleed_mm"),
    ({"settings": {"bleed_mm": 99}}, "bleed_mm"),
    ({"settings": {"paper": "napkin"}}, "paper"),
    ({"settings": {"method": "origami"}}, "method"),
    ({"settings": {"ink": "red"}}, "ink"),
    ({"settings": {"hue": "red"}}, None),
])
def test_a_setting_that_will_not_do_is_named(live_server: LiveServer, body: dict[str, object],
                                             field: str | None) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    answer = client.patch(f"/api/decks/{deck_id}", json={"revision": 1, **body})
    assert (answer.status_code, answer.json()["field"]) == (422, field)
    assert answer.json()["message"]
    assert answer.json()["fix"]


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b'{"revision": "x"}', b'{"revision": 1, "colour": 2}',
                                  b'{"revision": 1, "settings": {"bleed_mm": NaN}}',
                                  b'{"revision": 1, "settings": {"bleed_mm": [1]}}',
                                  b'{"revision": 1, "cards": {"f": {"copies": 1000}}}'])
def test_a_body_of_another_form_is_a_422_and_no_500(live_server: LiveServer, body: bytes) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    answer = client.patch(f"/api/decks/{deck_id}", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    assert set(answer.json()) == {"message", "fix", "field", "id"}


def test_the_plan_is_drawn_with_settings_that_are_not_saved(live_server: LiveServer, deck_id: str) -> None:
    client = live_server.client()
    before = client.get(f"/api/decks/{deck_id}").json()
    answer = client.post(f"/api/decks/{deck_id}/plan", json={"settings": {"paper": "letter", "method": "side-fold"}})
    plan = answer.json()
    assert answer.status_code == 200
    # ANSI/ASME Y14.1, size A: 8.5 by 11 in, here in mm.
    assert 'viewBox="0 0 215.9 279.4"' in plan["svg"]
    assert " style=" not in plan["svg"]
    assert (plan["summary"]["paper"], plan["summary"]["method"]) == ("letter", "side-fold")
    assert plan["faces"] == [{"sheet": 0, "name": "spread"}]
    assert plan["shown"] == {"sheet": 0, "name": "spread"}
    assert client.get(f"/api/decks/{deck_id}").json() == before


def test_nine_poker_cards_on_a4(live_server: LiveServer) -> None:
    """63 x 88 mm without gutter: nine to A4 (common practice)."""
    client = live_server.client()
    deck_id = live_server.deck(small_deck(1), client=client)
    client.patch(f"/api/decks/{deck_id}", json={
        "revision": client.get(f"/api/decks/{deck_id}").json()["revision"],
        "cards": {"fronts/keeper-0.png": {"copies": 18}}})
    plan = client.post(f"/api/decks/{deck_id}/plan", json={"sheet": 1, "face": "back"}).json()
    assert (plan["summary"]["cards_per_sheet"], plan["summary"]["sheets"]) == (9, 2)
    assert plan["shown"] == {"sheet": 1, "name": "back"}
    assert plan["faces"] == [{"sheet": sheet, "name": name} for sheet in (0, 1) for name in ("front", "back")]


def test_a_plan_of_nothing_says_what_to_do(live_server: LiveServer) -> None:
    client = live_server.client()
    answer = client.post(f"/api/decks/{live_server.deck({}, client=client)}/plan", json={})
    assert (answer.status_code, answer.json()["fix"]) == (422, "Add fronts on the Art page.")


def test_pictures_come_shrunk_and_upright(live_server: LiveServer, deck_id: str) -> None:
    client = live_server.client()
    key = client.get(f"/api/decks/{deck_id}").json()["cards"][0]["front"]["key"]
    answer = client.get(f"/api/art/{key}", params={"longest": 200})
    assert answer.headers["content-type"] == "image/webp"
    assert "immutable" in answer.headers["cache-control"]
    with Image.open(io.BytesIO(answer.content)) as shown:
        assert (shown.format, shown.size) == ("WEBP", (367, 512))  # what an upload has left there


@pytest.mark.parametrize("key", ["0" * 64, "x", "..%2f..%2flampfold.db", "0" * 64 + "%2399"])
def test_a_key_that_is_not_kept_is_a_404(live_server: LiveServer, key: str) -> None:
    assert live_server.client().get(f"/api/art/{key}").status_code == 404


def test_each_page_of_a_pdf_is_a_card_with_a_picture(live_server: LiveServer) -> None:
    client = live_server.client()
    out = io.BytesIO()
    with pikepdf.new() as pdf:
        for _ in range(2):
            pdf.add_blank_page(page_size=(178.58, 249.45))  # 63 x 88 mm
        pdf.save(out)
    deck_id = live_server.deck({"fronts/two.pdf": out.getvalue()}, client=client)
    cards = client.get(f"/api/decks/{deck_id}").json()["cards"]
    assert [(card["file"], card["front"]["vector"]) for card in cards] == [
        ("fronts/two.pdf#1", True), ("fronts/two.pdf#2", True)]
    picture_of_second = client.get("/api/art/" + cards[1]["front"]["key"].replace("#", "%23"))
    assert picture_of_second.status_code == 200


def test_the_guide_names_the_flip_of_the_deck(live_server: LiveServer, deck_id: str) -> None:
    guide = live_server.client().get(f"/api/decks/{deck_id}/guide").json()
    assert any("long edge" in step["title"] for step in guide["print_settings"])
    assert guide["build_steps"]
    assert guide["cautions"]


def test_a_deck_list_overrules(live_server: LiveServer) -> None:
    client = live_server.client()
    files = {**small_deck(2), "deck.csv": b"front,back,copies,name\nkeeper-1.png,back.png,5,Lamp wright\n"}
    record = client.get(f"/api/decks/{live_server.deck(files, client=client)}").json()
    assert [(card["name"], card["copies"]) for card in record["cards"]] == [("Lamp wright", 5)]
    assert [file["kind"] for file in record["files"] if file["path"] == "deck.csv"] == ["deck-list"]


def test_tables_hold_what_forms_offer(live_server: LiveServer) -> None:
    tables = live_server.client().get("/api/tables").json()
    # ISO 216: A4 is 210 x 297 mm.
    a4 = next(paper for paper in tables["papers"] if paper["name"] == "a4")
    assert (a4["width_mm"], a4["height_mm"]) == (210, 297)
    assert [method["name"] for method in tables["methods"]] == list(METHODS)
    assert tables["limits"]["file_bytes"] > 0


def test_a_demo_deck_opens_as_a_copy(live_server: LiveServer) -> None:
    client = live_server.client()
    demos = client.get("/api/demo").json()["demos"]
    assert demos
    opened = client.post("/api/demo", json={"which": demos[0]["which"]})
    assert opened.status_code == 201
    assert opened.json()["cards"]
    assert client.post("/api/demo", json={"which": "no such"}).status_code == 404


def test_only_what_is_missing_is_asked_for(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    content = picture()
    client.put(f"/api/decks/{deck_id}/files/fronts/a.png?modified=77", content=content)
    stamps = [{"path": "fronts/a.png", "bytes": len(content), "modified": 77},
              {"path": "fronts/a.png", "bytes": len(content), "modified": 78},
              {"path": "fronts/b.png", "bytes": len(content), "modified": 77}]
    answer = client.post(f"/api/decks/{deck_id}/missing", json={"files": stamps}).json()
    assert answer == {"missing": ["fronts/a.png", "fronts/b.png"], "known": 1}


def test_a_card_may_make_its_bleed_in_its_own_way(live_server: LiveServer) -> None:
    client = live_server.client()
    art = encoded("PNG", drawn(63 * 6, 88 * 6))
    deck = live_server.deck({"fronts/a.png": art, "fronts/b.png": encoded("PNG", drawn(630, 880))}, "Quay", client)
    record = client.get(f"/api/decks/{deck}").json()
    assert "suit its edges" not in record["cards"][0]["front_fit"]  # the upload has looked at them
    change = {"revision": record["revision"], "cards": {"fronts/a.png": {"bleed": "stretch"}}}
    changed = client.patch(f"/api/decks/{deck}", json=change).json()
    first, second = (card["front_fit"] for card in changed["cards"])
    assert "bleed is stretched" in first
    assert "bleed is stretched" not in second
    assert [card["bleed"] for card in changed["cards"]] == ["stretch", None]
    wrong = {"revision": changed["revision"], "cards": {"fronts/a.png": {"bleed": "smear"}}}
    assert client.patch(f"/api/decks/{deck}", json=wrong).status_code == 422

    def said(**ask: object) -> list[str]:
        seen = client.post(f"/api/decks/{deck}/bleed", json={"card": "fronts/a.png", **ask}).json()
        face = seen["faces"][0]
        assert (seen["bleed"], seen["edges"], [one["side"] for one in face["edges"]]) == (
            "stretch", "auto", ["left", "top", "right", "bottom"])
        assert face["svg"].count("<image") >= 1 and "<rect" in face["svg"]
        return [one["says"] for one in face["edges"]]

    # What is asked is shown and not kept: as it is, as the deck's, as the deck's would be.
    assert said() == ["stretched"] * 4
    assert "stretched" not in said(bleed=None)
    assert said(bleed=None, edges="none") == ["no bleed"] * 4
    assert client.post(f"/api/decks/{deck}/bleed", json={"card": "fronts/x.png"}).status_code == 404
    # A deck list that comes in says it, too; what was chosen here goes first, the deck's way among it.
    client.put(f"/api/decks/{deck}/files/deck.csv", content=b"front,bleed\nb,mirror\na,mirror\n")
    record = client.get(f"/api/decks/{deck}").json()
    assert [card["bleed"] for card in record["cards"]] == ["mirror", "stretch"]
    change = {"revision": record["revision"], "cards": {"fronts/b.png": {"bleed": None}}}
    assert client.patch(f"/api/decks/{deck}", json=change).json()["cards"][0]["bleed"] is None
