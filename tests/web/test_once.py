"""A change whose answer was lost is sent again with its mark, and done once."""

from __future__ import annotations

import concurrent.futures
import sys
from collections.abc import Mapping
from pathlib import Path

import httpx
import pytest

from server.store.store import clean
from server.web.hosts import Hosts
from tests.web.live import LiveServer, running
from tests.web.test_launch import address, launched


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


_DIES = """
import os, sys
from server.cli import main
from server.store.database import Database
commit = Database._commit
def commits(self):
    commit(self)
    if os.path.exists(os.environ["DIES"]):
        os._exit(9)
Database._commit = commits
sys.exit(main())
"""


def test_what_a_server_did_before_it_died_is_done_no_second_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                                ) -> None:
    """Its process ends between the commit and the answer; the next one says so, and later ones answer as before."""
    data, die = tmp_path / "data", tmp_path / "die"
    monkeypatch.setenv("DIES", str(die))
    with launched("--data", str(data), "--port", "0", program=(sys.executable, "-c", _DIES)) as process:
        entry = address(process)
        base = entry.split("/welcome")[0]
        with httpx.Client(base_url=base, verify=False, trust_env=False, timeout=30) as first:
            first.get(entry)
            headers, cookies = {"Origin": base}, dict(first.cookies)
            deck = first.post("/api/decks", json={"name": "First"}, headers=headers).json()["id"]
            die.touch()
            with pytest.raises(httpx.TransportError):
                first.post("/api/decks", json={"name": "Second"}, headers={**headers, "Lampfold-Once": "b"})
        assert process.wait(20) == 9
    lan, port = Hosts(frozenset(("127.0.0.1",)), 0, lan=True), int(base.rpartition(":")[2])

    def change(server: LiveServer, path: str, body: Mapping[str, str]) -> httpx.Response:
        return server.stranger(cookies=cookies).post(path, json=body, headers={"Lampfold-Once": "b"})

    with running(data, hosts=lan, port=port) as server:
        again = change(server, "/api/decks", {"name": "Second"})
        assert again.status_code == 409
        assert again.json()["message"] == "This was done, but Lampfold stopped before it could say so."
        decks = server.stranger(cookies=cookies).get("/api/decks").json()["decks"]
        assert sorted(one["name"] for one in decks) == ["First", "Second"]
        kept = change(server, f"/api/decks/{deck}/versions", {"name": "Spring"})
        link = change(server, "/api/links", {"deck_id": deck})
        assert (kept.status_code, link.status_code) == (201, 201)
    with running(data, hosts=lan, port=port) as server:
        same = change(server, f"/api/decks/{deck}/versions", {"name": "Spring"})
        assert (same.status_code, same.content, same.headers["x-frame-options"]) == (201, kept.content, "DENY")
        # A link's secret is nowhere in the database, so it can't be answered again.
        assert change(server, "/api/links", {"deck_id": deck}).status_code == 409
        assert len(server.stranger(cookies=cookies).get("/api/links").json()["links"]) == 1
        database = server.services.store.database
        with database.write() as connection:
            assert connection.execute("SELECT count(*), count(answer) FROM done").fetchone()[:] == (3, 1)
            connection.execute("UPDATE done SET made = '2026-01-01T00:00:00.000Z' WHERE answer IS NULL")
        clean(server.services.store)
        with database.read() as connection:
            assert connection.execute("SELECT count(*) FROM done").fetchone()[0] == 1
