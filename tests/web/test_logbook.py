"""The log: ids that error pages show, and nothing private."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from server.errors import NoRoom
from server.store.database import Database, trouble
from server.web.hosts import Hosts
from server.web.logbook import log_to, shown_path, stop
from tests.web.live import LiveServer, picture


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Path]:
    handler = log_to(tmp_path / "log")
    yield tmp_path / "log"
    stop(handler)


def lines(log: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]


def test_an_error_page_shows_the_id_that_the_log_has(live_server: LiveServer, log: Path,
                                                     monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ValueError("fronts/the-secret-heir.png")

    monkeypatch.setattr(live_server.services.store.decks, "get", fail)
    answer = live_server.client().get("/decks/ab/art")
    entry = next(line for line in lines(log) if line["what"] == "failed")
    assert answer.status_code == 500
    assert str(entry["id"]) in answer.text
    assert (entry["error"], entry["path"]) == ("ValueError", "/decks/ab/art")
    assert "secret-heir" not in log.read_text(encoding="utf-8") + answer.text


def test_names_codes_and_cookies_stay_out(make_server: Callable[..., LiveServer], log: Path) -> None:
    server = make_server(hosts=Hosts(frozenset(("127.0.0.1",)), 0, lan=True))
    client = server.client()
    deck_id = server.deck({"fronts/the-secret-heir.png": picture()}, "Secret deck", client)
    code = server.services.door.code("maker")
    for tried in (code, "WRONGCODE"):
        server.stranger().post("/join", data={"code": tried, "name": "Ada"})
    link = client.post("/api/links", json={"deck_id": deck_id}).json()["url"].rpartition("/")[2]
    server.stranger().get(f"/link/{link}")
    client.put(f"/api/decks/{deck_id}/files/fronts/the-secret-heir.png", content=b"x", headers={"Origin": "http://x"})
    text = log.read_text(encoding="utf-8")
    assert {"started", "person came in", "door stayed shut", "origin refused"} <= {line["what"] for line in lines(log)}
    for private in ("secret", "Secret", code, "WRONGCODE", link, *client.cookies.values()):
        assert private not in text


@pytest.mark.parametrize(("path", "shown"), [
    ("/api/decks/ab/files/fronts/heir.png", "/api/decks/ab/files/..."), ("/link/abc", "/link/..."),
    ("/api/art/0123", "/api/art/..."), ("/api/decks/ab", "/api/decks/ab"), ("/" + "x" * 500, "/" + "x" * 199)])
def test_addresses_without_what_is_private(path: str, shown: str) -> None:
    assert shown_path(path) == shown


def failure(code: int) -> sqlite3.OperationalError:
    """What Python raises for a result code of SQLite, its words left out."""
    error = sqlite3.OperationalError("no words")
    error.sqlite_errorcode = code
    return error


@pytest.mark.parametrize(("code", "status", "words"), [
    (sqlite3.SQLITE_FULL, 507, "disk is full"), (sqlite3.SQLITE_READONLY_DBMOVED, 503, "written to"),
    (sqlite3.SQLITE_CORRUPT, 503, "broken"), (sqlite3.SQLITE_CANTOPEN, 503, "can't be used")])
def test_trouble_with_the_disk_is_a_clear_page_with_a_number(live_server: LiveServer, log: Path, code: int, status: int,
                                                             words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """By SQLite's result codes, one of them an extended one ("Result and Error Codes")."""
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)

    class Failing(Database):
        def __init__(self) -> None:
            self.path = Path("lampfold.db")

        def read(self) -> object:  # type: ignore[override]
            raise trouble(failure(code), self.path)

    with monkeypatch.context() as patched:
        patched.setattr(live_server.services.store.decks, "_database", Failing())
        page, answer = client.get(f"/decks/{deck_id}/art"), client.get(f"/api/decks/{deck_id}")
    assert (page.status_code, answer.status_code) == (status, status)
    assert words in answer.json()["message"]
    ids = [str(line["id"]) for line in lines(log) if line["what"] == "store trouble"]
    assert ids[0] in page.text and answer.json()["id"] == ids[1]
    assert client.get(f"/api/decks/{deck_id}").status_code == 200


def test_a_full_disk_is_known_by_its_class() -> None:
    assert isinstance(trouble(failure(sqlite3.SQLITE_FULL), Path("x")), NoRoom)
