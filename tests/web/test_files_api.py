"""Files coming in: limits, refusals that name the file and the way out, broken art, duplicates, lost workers."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

from server.jobs import pool
from server.jobs.queue import Work
from server.store.limits import Limits
from server.web import art_receiving
from server.web.services import Services, in_worker
from tests.jobs import tasks
from tests.web.live import LiveServer, picture
from tests.web.raw import Talk, ask, cookie


def blobs(server: LiveServer) -> list[Path]:
    return [path for path in (server.data / "blobs").rglob("*") if path.is_file()]


def nothing_kept(server: LiveServer) -> bool:
    return blobs(server) == [] and list((server.data / "incoming").iterdir()) == []


def request_head(server: LiveServer, deck_id: str, length: int | str, name: str = "fronts/a.png") -> str:
    return (f"PUT /api/decks/{deck_id}/files/{name} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n"
            f"Origin: {server.base}\r\nCookie: {cookie(server)}\r\nContent-Length: {length}\r\n\r\n")


def png_of(width: int, height: int) -> bytes:
    """A PNG whose header promises that size and whose data doesn't (W3C PNG, third edition, IHDR)."""
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(100)))
            + chunk(b"IEND", b""))


def test_a_file_is_kept_under_its_bytes_and_never_under_its_name(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    answer = client.put(f"/api/decks/{deck_id}/files/fronts/keeper_x3.png?modified=12345", content=picture())
    stored = answer.json()
    assert answer.status_code == 200
    assert (stored["path"], stored["modified"], stored["kind"], stored["duplicate_of"]) == (
        "fronts/keeper_x3.png", 12345, "png", None)
    assert (live_server.data / "blobs" / stored["key"][:2] / stored["key"]).read_bytes() == picture()
    assert not list(live_server.data.rglob("*keeper*"))
    assert client.get(f"/api/decks/{deck_id}").json()["cards"][0]["copies"] == 3


def test_duplicates_are_known_by_their_bytes(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({"fronts/a.png": picture()}, client=client)
    again = client.put(f"/api/decks/{deck_id}/files/fronts/a.png", content=picture()).json()
    other = client.put(f"/api/decks/{deck_id}/files/fronts/b.png", content=picture()).json()
    assert (again["duplicate_of"], other["duplicate_of"]) == ("fronts/a.png", "fronts/a.png")
    assert again["key"] == other["key"]


def test_a_file_goes_and_undo_brings_it_back(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({"fronts/a.png": picture()}, client=client)
    gone = client.delete(f"/api/decks/{deck_id}/files/fronts/a.png").json()
    assert (gone["files"], gone["cards"]) == ([], [])
    assert len(client.post(f"/api/decks/{deck_id}/undo").json()["cards"]) == 1
    assert client.delete(f"/api/decks/{deck_id}/files/fronts/none.png").status_code == 404


def test_broken_art_is_kept_with_its_problem_and_the_others_go_on(live_server: LiveServer) -> None:
    client = live_server.client()
    whole = picture(kind="JPEG")
    deck_id = live_server.deck({"fronts/a.png": picture()}, client=client)
    answer = client.put(f"/api/decks/{deck_id}/files/fronts/cut.jpg", content=whole[:len(whole) // 2])
    assert answer.status_code == 200
    assert answer.json()["problem"]["severity"] == "error"
    record = client.get(f"/api/decks/{deck_id}").json()
    assert [card["file"] for card in record["cards"]] == ["fronts/a.png"]
    assert "fronts/cut.jpg" in [problem["file"] for problem in record["problems"]]


@pytest.mark.parametrize("name", ["..%2f..%2fevil.png", "%2e%2e/evil.png", "..%5cevil.png", "fronts/%00.png",
                                  "%2fetc/passwd", "C:%5cevil.png", "fronts//a.png"])
def test_names_that_climb_are_refused(make_server: Callable[..., LiveServer], name: str) -> None:
    """OWASP File Upload: the file's name is never a path."""
    server = make_server()
    deck_id = server.deck({})
    body = picture()
    heard = ask(server, request_head(server, deck_id, len(body), name).encode() + body)
    assert heard.status in (404, 405, 422)
    assert nothing_kept(server)


@pytest.mark.parametrize(("content", "name"), [
    (b"hello", "fronts/notes.txt"), (b"", "fronts/empty.png"), (b"MZ\x90\x00" + bytes(2000), "fronts/program.png"),
    (b"<html><svg xmlns='http://www.w3.org/2000/svg'/></html>", "fronts/page.svg"),
    (b"\x1f\x8b\x08", "fronts/packed.svgz"), (b"GIF89a" + bytes(50), "fronts/moving.gif"),
    (b"PK\x03\x04" + bytes(2000), "fronts/archive.png"), (b"%!PS-Adobe-3.0 EPSF-3.0\n", "fronts/old.eps"),
    (b"8BPS\x00\x01" + bytes(100), "fronts/layers.psd"), (b"front,back\n", "fronts/deck.csv"),
])
def test_what_is_no_art_is_a_415_that_names_it(make_server: Callable[..., LiveServer], content: bytes,
                                               name: str) -> None:
    server = make_server()
    client = server.client()
    answer = client.put(f"/api/decks/{server.deck({}, client=client)}/files/{name}", content=content)
    assert answer.status_code == 415
    assert answer.json()["message"].startswith(name)
    assert answer.json()["fix"].endswith(", or leave it out.")
    assert ("kind of picture" in answer.json()["message"]) == name.endswith((".gif", ".eps", ".psd", ".svgz"))
    assert nothing_kept(server)


def test_a_body_over_the_limit_is_refused_before_it_is_read(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(Limits(free_bytes=0, file_bytes=100_000))
    deck_id = server.deck({})
    with Talk(server) as talk:
        talk.say(request_head(server, deck_id, 2_000_000_000))
        heard = talk.hear()  # not a byte of the body has been sent
        assert heard.status == 413
        assert b"fronts/a.png" in heard.body and b"100 kB" in heard.body
        assert heard.headers["connection"] == "close"
        assert talk.is_closed()
    assert nothing_kept(server)


@pytest.mark.parametrize("length", ["many", "1e3", "0x10", "-5", "1 2"])
def test_a_length_that_is_none_is_refused(live_server: LiveServer, length: str) -> None:
    assert ask(live_server, request_head(live_server, live_server.deck({}), length)).status == 400


def test_a_file_without_a_length_is_refused(live_server: LiveServer) -> None:
    client = live_server.client()
    answer = client.put(f"/api/decks/{live_server.deck({}, client=client)}/files/fronts/a.png",
                        content=iter([picture()]))  # sent in chunks
    assert answer.status_code == 411


def test_a_json_body_over_its_limit_is_refused_with_and_without_a_length(live_server: LiveServer) -> None:
    client = live_server.client()
    long = b'{"name": "' + b"x" * 3_000_000 + b'"}'
    headers = {"Content-Type": "application/json"}
    with_length = client.post("/api/decks", content=long, headers=headers)
    in_chunks = client.post("/api/decks", content=(long[start:start + 65536] for start in range(0, len(long), 65536)),
                            headers=headers)
    assert (with_length.status_code, in_chunks.status_code) == (413, 413)


def test_a_body_that_ends_early_keeps_nothing(make_server: Callable[..., LiveServer]) -> None:
    server = make_server()
    deck_id = server.deck({})
    body = picture()
    with Talk(server) as talk:
        talk.say(request_head(server, deck_id, len(body)).encode() + body[:-1])
    assert server.client().get(f"/api/decks/{deck_id}").json()["files"] == []
    assert blobs(server) == []


def test_strangers_bodies_are_not_read(make_server: Callable[..., LiveServer]) -> None:
    """An answer comes while the body is still at home, so a stranger can't fill the disk."""
    server = make_server()
    head = request_head(server, server.deck({}), 10_000_000).replace(cookie(server).split("=")[1][:8], "x" * 8)
    stranger = "\r\n".join(line for line in head.split("\r\n") if not line.startswith("Cookie")).encode()
    with Talk(server) as talk:
        talk.say(stranger)
        assert talk.hear().status == 401
        assert talk.is_closed()
    assert nothing_kept(server)


def test_a_crawling_body_is_ended(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(Limits(free_bytes=0, body_seconds=1))
    with Talk(server) as talk:
        talk.say(request_head(server, server.deck({}), 1_000_000).encode() + picture()[:500])
        assert talk.hear().status == 408
        assert talk.is_closed()
    assert nothing_kept(server)


def test_half_sent_headers_are_ended_and_health_is_answered_meanwhile(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(Limits(free_bytes=0, header_seconds=1))
    talks = [Talk(server) for _ in range(200)]
    try:
        for talk in talks:
            talk.say("GET /health HTTP/1.1\r\nHost: 127")
        assert server.stranger().get("/health").status_code == 200
        assert all(talk.is_closed() for talk in talks)
    finally:
        for talk in talks:
            talk.socket.close()


def test_connections_that_say_nothing_make_room(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(Limits(free_bytes=0, connections=100))
    talks = [Talk(server) for _ in range(250)]
    try:
        assert server.stranger().get("/health").status_code == 200
        assert talks[0].is_closed() and talks[-100].is_closed()
    finally:
        for talk in talks:
            talk.socket.close()


def test_connections_over_the_limit_are_told_so(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(Limits(free_bytes=0, connections=3))
    talks = [Talk(server) for _ in range(3)]
    try:
        for talk in talks:  # who has asked for something keeps the connection
            talk.say(f"GET /health HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n")
            assert talk.hear().status == 200
        with Talk(server) as one_more:
            heard = one_more.hear()
            assert (heard.status, heard.headers["x-content-type-options"]) == (503, "nosniff")
    finally:
        for talk in talks:
            talk.socket.close()


@pytest.mark.parametrize(("width", "height"), [(65_000, 65_000), (8001, 8000)])
def test_pixels_over_the_limit_are_refused_by_the_header(make_server: Callable[..., LiveServer], width: int,
                                                         height: int) -> None:
    server = make_server()
    client = server.client()
    answer = client.put(f"/api/decks/{server.deck({}, client=client)}/files/fronts/huge.png",
                        content=png_of(width, height))
    assert answer.status_code == 413
    assert answer.json()["message"].startswith("fronts/huge.png")
    assert "64 megapixels" in answer.json()["message"]
    assert nothing_kept(server)


def test_files_and_bytes_of_a_deck_are_bounded(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(Limits(free_bytes=0, deck_files=2, deck_bytes=20_000))
    client = server.client()
    deck_id = server.deck({"fronts/a.png": picture(), "fronts/b.png": picture((1, 2, 3))}, client=client)
    third = client.put(f"/api/decks/{deck_id}/files/fronts/c.png", content=picture((4, 5, 6)))
    assert (third.status_code, "deck_files" in third.json()["fix"]) == (413, True)
    replaced = client.put(f"/api/decks/{deck_id}/files/fronts/b.png", content=picture((4, 5, 6)))
    assert replaced.status_code == 200
    heavy = client.put(f"/api/decks/{deck_id}/files/fronts/b.png", content=picture() + bytes(20_000))
    assert (heavy.status_code, "deck_bytes" in heavy.json()["fix"]) == (413, True)


def test_a_disk_without_room_is_a_507(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(Limits(free_bytes=10**15))
    client = server.client()
    answer = client.put(f"/api/decks/{server.deck({}, client=client)}/files/fronts/a.png", content=picture())
    assert answer.status_code == 507
    assert answer.json()["message"].startswith("fronts/a.png")
    assert "Free some space" in answer.json()["fix"]


@pytest.mark.parametrize(("task", "seconds"), [(tasks.die_reading, 60), (tasks.hang_reading, 1)])
def test_a_worker_that_is_lost_takes_one_files_verdict_along(make_server: Callable[..., LiveServer], task: object,
                                                             monkeypatch: pytest.MonkeyPatch, seconds: int) -> None:
    server = make_server(Limits(free_bytes=0, read_seconds=seconds))
    client = server.client()
    deck_id = server.deck({}, client=client)
    with monkeypatch.context() as patched:
        patched.setattr(art_receiving, "read_file", task)
        patched.setattr(pool, "_WAIT_FACTOR", 2)  # one that hangs is waited for no longer than this asks
        lost = client.put(f"/api/decks/{deck_id}/files/fronts/a.png", content=picture())
    assert lost.status_code == 422
    assert lost.json()["message"].startswith("fronts/a.png")
    monkeypatch.setattr(art_receiving, "in_worker", _unhurried)
    assert client.put(f"/api/decks/{deck_id}/files/fronts/a.png", content=picture()).status_code == 200
    assert [file["path"] for file in client.get(f"/api/decks/{deck_id}").json()["files"]] == ["fronts/a.png"]


def test_what_was_refused_is_read_anew_when_it_comes_again(live_server: LiveServer,
                                                           monkeypatch: pytest.MonkeyPatch) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    content = picture((12, 34, 56))
    address = f"/api/decks/{deck_id}/files/fronts/a.png?modified=7"
    with monkeypatch.context() as patched:
        patched.setattr(art_receiving, "read_file", tasks.refuse_reading)
        assert client.put(address, content=content).json()["problem"]["code"] == "damaged"
    stamps = [{"path": "fronts/a.png", "bytes": len(content), "modified": 7}]
    assert client.post(f"/api/decks/{deck_id}/missing", json={"files": stamps}).json()["missing"] == ["fronts/a.png"]
    assert client.put(address, content=content).json()["problem"] is None
    assert len(client.get(f"/api/decks/{deck_id}").json()["cards"]) == 1
    assert client.post(f"/api/decks/{deck_id}/missing", json={"files": stamps}).json()["missing"] == []


async def _unhurried(services: Services, work: Work) -> object:
    """A second is enough to hang in, but a busy machine may need more to read a picture."""
    work.seconds = 60
    return await in_worker(services, work)


def test_fifteen_hundred_stamps_are_compared(live_server: LiveServer) -> None:
    client = live_server.client()
    stamps = [{"path": f"fronts/{number}.png", "bytes": 1, "modified": 1} for number in range(1500)]
    answer = client.post(f"/api/decks/{live_server.deck({}, client=client)}/missing", json={"files": stamps}).json()
    assert (len(answer["missing"]), answer["known"]) == (1500, 0)
