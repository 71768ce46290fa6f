"""Builds by the API: started, watched, cancelled, fetched; and the PDF is a PDF."""

from __future__ import annotations

import io
import json
import threading
from collections.abc import Callable
from pathlib import Path

import httpx
import pikepdf
import pytest

from server import cli
from server.store.limits import Limits
from tests.formats.artwork import write
from tests.jobs import tasks
from tests.web.live import LiveServer, small_deck


def events(client: httpx.Client, job: str) -> list[dict[str, object]]:
    """Every event of a job's stream, which must end by itself."""
    with client.stream("GET", f"/api/jobs/{job}/events") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        return [json.loads(line[6:]) for line in answer.iter_lines() if line.startswith("data: ")]


def start(client: httpx.Client, deck_id: str) -> str:
    answer = client.post(f"/api/decks/{deck_id}/builds", json={})
    assert answer.status_code == 202, answer.text
    return str(answer.json()["job"])


def test_from_files_to_a_pdf(live_server: LiveServer, tmp_path: Path) -> None:
    """As a worker process builds it, which is as the command line does."""
    client = live_server.client()
    job = start(client, live_server.deck(small_deck(10), "Harbour lamps", client))
    seen = events(client, job)
    assert seen[-1]["state"] == "done"
    states = [str(event["state"]) for event in seen]
    assert states == sorted(states, key=["queued", "running", "done"].index)
    result = client.get(f"/api/jobs/{job}").json()["result"]
    answer = client.get(result["pdf"])
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"] == 'attachment; filename="Harbour-lamps-duplex-a4.pdf"'
    assert len(answer.content) == result["bytes"]
    with pikepdf.open(io.BytesIO(answer.content)) as pdf:
        assert len(pdf.pages) == 4  # ten cards, nine to a sheet, two faces each
    plan = client.get(result["plan"]).json()
    assert (plan["sheets"], plan["method"]) == (2, "duplex")
    for path, content in small_deck(10).items():
        write(tmp_path / "Harbour lamps", path, content)
    assert cli.main(["build", str(tmp_path / "Harbour lamps"), "--out", str(tmp_path / "own.pdf")]) == 0
    assert (tmp_path / "own.pdf").read_bytes() == answer.content
    assert client.get(result["pdf"], params={"inline": 1}).headers["content-disposition"].startswith("inline")


def test_the_same_build_comes_back_at_once_and_is_the_same(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck(small_deck(1), client=client)
    first = start(client, deck_id)
    events(client, first)
    second = start(client, deck_id)
    assert client.get(f"/api/jobs/{second}").json()["state"] == "done"
    assert len(events(client, second)) == 1
    assert (client.get(f"/api/jobs/{first}/file.pdf").content == client.get(f"/api/jobs/{second}/file.pdf").content)


def test_a_deck_that_cannot_be_built_is_told_at_once(live_server: LiveServer) -> None:
    client = live_server.client()
    empty = client.post(f"/api/decks/{live_server.deck({}, client=client)}/builds", json={})
    assert (empty.status_code, empty.json()["message"][:5]) == (422, "deck:")
    deck_id = live_server.deck(small_deck(1), client=client)
    revision = client.get(f"/api/decks/{deck_id}").json()["revision"]
    client.patch(f"/api/decks/{deck_id}", json={"revision": revision, "settings": {"card": "400x400"}})
    large = client.post(f"/api/decks/{deck_id}/builds", json={})
    assert large.status_code == 422
    assert "too wide" in large.json()["message"]


@pytest.mark.parametrize("route", ["/api/jobs/none", "/api/jobs/none/events", "/api/jobs/none/file.pdf",
                                   "/api/jobs/none/plan.json"])
def test_a_job_that_is_not_known_is_a_404(live_server: LiveServer, route: str) -> None:
    assert live_server.client().get(route).status_code == 404


def test_a_cancelled_build_ends_its_stream(make_server: Callable[..., LiveServer]) -> None:
    server = make_server()
    server.services.builds._task = tasks.hanging_build
    client = server.client()
    job = start(client, server.deck(small_deck(1), client=client))
    seen: list[dict[str, object]] = []
    watching = threading.Thread(target=lambda: seen.extend(events(client, job)))
    watching.start()
    assert server.client().delete(f"/api/jobs/{job}").status_code == 200
    watching.join(30)
    assert not watching.is_alive()
    assert seen[-1]["state"] == "cancelled"
    assert client.get(f"/api/jobs/{job}/file.pdf").status_code == 404


def test_a_build_whose_worker_dies_says_so(make_server: Callable[..., LiveServer]) -> None:
    server = make_server()
    server.services.builds._task = tasks.dying_build
    client = server.client()
    last = events(client, start(client, server.deck(small_deck(1), client=client)))[-1]
    assert (last["state"], bool(last["message"]), bool(last["fix"])) == ("failed", True, True)
    assert client.get("/health").status_code == 200


def test_a_full_queue_says_when_to_come_back(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(Limits(free_bytes=0, waiting_builds_each=1))
    server.services.builds._task = tasks.hanging_build
    client = server.client()
    decks = [server.deck(small_deck(1), str(number), client) for number in range(3)]
    answers = [client.post(f"/api/decks/{deck_id}/builds", json={}) for deck_id in decks]
    # One runs and one waits; whether the first has left the queue when the second comes depends on the machine.
    busy = [answer for answer in answers if answer.status_code == 503]
    assert answers[0].status_code == 202
    assert busy
    assert all(int(answer.headers["retry-after"]) > 0 and answer.json()["fix"] for answer in busy)


def test_the_server_ends_although_a_stream_is_open(make_server: Callable[..., LiveServer]) -> None:
    """The fixture fails where the server doesn't end."""
    server = make_server()
    server.services.builds._task = tasks.hanging_build
    client = server.client()
    job = start(client, server.deck(small_deck(1), client=client))
    begun = threading.Event()

    def watch() -> None:
        with (httpx.Client(verify=False, base_url=server.base, cookies=client.cookies, timeout=60) as other,
              other.stream("GET", f"/api/jobs/{job}/events") as answer):
            for _ in answer.iter_lines():
                begun.set()

    threading.Thread(target=watch, daemon=True).start()
    assert begun.wait(30)
