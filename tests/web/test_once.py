"""A change whose answer was lost is sent again with its mark, and done once."""

from __future__ import annotations

import concurrent.futures

import pytest

from tests.web.live import LiveServer


def test_a_marked_change_is_done_once(live_server: LiveServer) -> None:
    client, other = live_server.client(), live_server.client()
    ask = {"json": {"name": "Once"}, "headers": {"Lampfold-Once": "a1"}}
    with concurrent.futures.ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(lambda _: client.post("/api/decks", **ask), range(4)))  # type: ignore[arg-type]
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.json()["id"] for answer in answers}) == 1
    assert len({answer.content for answer in answers}) == 1
    assert {answer.headers["x-frame-options"] for answer in answers} == {"DENY"}
    # Another mark, no mark or another person make another change.
    ids = {answers[0].json()["id"], client.post("/api/decks", json={"name": "Once"}).json()["id"],
           client.post("/api/decks", json={"name": "Once"}, headers={"Lampfold-Once": "a2"}).json()["id"],
           other.post("/api/decks", **ask).json()["id"]}  # type: ignore[arg-type]
    assert len(ids) == 4


def test_an_undo_that_comes_twice_goes_one_step(live_server: LiveServer) -> None:
    client = live_server.client()
    deck = live_server.deck({}, "First", client)
    for revision, name in ((1, "Second"), (2, "Third")):
        assert client.patch(f"/api/decks/{deck}", json={"revision": revision, "name": name}).status_code == 200
    for _ in range(3):
        assert client.post(f"/api/decks/{deck}/undo", headers={"Lampfold-Once": "u"}).json()["name"] == "Second"
    assert client.post(f"/api/decks/{deck}/undo", headers={"Lampfold-Once": "v"}).json()["name"] == "First"


@pytest.mark.parametrize("mark", ["x" * 65, ""])
def test_what_is_no_mark_counts_for_nothing(live_server: LiveServer, mark: str) -> None:
    client = live_server.client()
    ids = {client.post("/api/decks", json={"name": "Twice"}, headers={"Lampfold-Once": mark}).json()["id"]
           for _ in range(2)}
    assert len(ids) == 2
