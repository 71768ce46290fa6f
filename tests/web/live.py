"""A real server on loopback for tests: uvicorn in a thread, on a port of its own, over a data folder of its own.

Tests use the fixtures of ``tests/conftest.py``::

    def test_something(live_server):             # one server for all modules of the run: expect others' decks on it
        live_server.base                         # "http://127.0.0.1:PORT"
        live_server.entry()                      # an address that lets one browser in as host, good once
        live_server.data                         # its data folder
        live_server.client()                     # an httpx.Client that is in as host and sends Origin
        live_server.deck({"fronts/a.png": ...})  # a deck with these files, by the API

    def test_limits(make_server):                # as many servers as wanted, each with its own limits
        server = make_server(Limits(file_bytes=1000))
"""

from __future__ import annotations

import contextlib
import io
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
from PIL import Image

from server.store import Store
from server.store.limits import Limits
from server.web.app import LampfoldServer
from server.web.hosts import Hosts, loopback_hosts
from server.web.services import Services
from server.web.sockets import listen

# For tests: no disk is expected to have much room.
TEST_LIMITS = Limits(free_bytes=0)


@dataclass
class LiveServer:
    """A running server and ways into it."""

    base: str
    data: Path
    services: Services
    clients: list[httpx.Client] = field(default_factory=list)

    @property
    def port(self) -> int:
        return int(self.base.rpartition(":")[2])

    def entry(self) -> str:
        """An address that lets one browser in as host; it is good once."""
        return f"{self.base}/welcome?token={self.services.people.new_token()}"

    def stranger(self, **options: Any) -> httpx.Client:
        """A client that sends Origin as the pages do, but is not in."""
        # Plain http on loopback: loading the system's certificates would take longer than all that is asked.
        client = httpx.Client(base_url=self.base, headers={"Origin": self.base}, timeout=30, verify=False,
                              trust_env=False, **options)
        self.clients.append(client)
        return client

    def client(self) -> httpx.Client:
        """A client that is in as host."""
        client = self.stranger()
        assert client.get(self.entry()).status_code == 303
        return client

    def deck(self, files: Mapping[str, bytes], name: str = "Harbour", client: httpx.Client | None = None) -> str:
        """A deck with these files; returns its id."""
        client = client or self.client()
        deck_id: str = client.post("/api/decks", json={"name": name}).json()["id"]
        for path, content in files.items():
            answer = client.put(f"/api/decks/{deck_id}/files/{path}", content=content)
            assert answer.status_code == 200, answer.text
        return deck_id


@contextlib.contextmanager
def running(data: Path, limits: Limits = TEST_LIMITS, hosts: Hosts | None = None,
            port: int = 0) -> Iterator[LiveServer]:
    """A server over ``data`` until the block ends. ``hosts`` may add names; its port is put right.
    With ``port``, the server of an earlier block comes back at its address."""
    store = Store.open(data, limits)
    sockets = listen(port, lan=False)
    port = sockets[0].getsockname()[1]
    services = Services.over(store, Hosts(hosts.names, port, hosts.lan) if hosts else loopback_hosts(port))
    up = threading.Event()
    server = LampfoldServer(services, started=up.set)
    thread = threading.Thread(target=server.run, args=(sockets,), name="lampfold server", daemon=True)
    thread.start()
    try:
        assert up.wait(20), "the server didn't start"
        live = LiveServer(f"http://127.0.0.1:{port}", data, services)
        yield live
        for client in live.clients:
            client.close()
    finally:
        server.should_exit = True
        thread.join(20)
        assert not thread.is_alive(), "the server didn't end"


def picture(colour: tuple[int, int, int] = (200, 120, 40), size: tuple[int, int] = (630, 880),
            kind: str = "PNG") -> bytes:
    """A flat picture as a file's bytes."""
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, kind)
    return out.getvalue()


def small_deck(cards: int = 3) -> dict[str, bytes]:
    """Files of a deck with that many fronts, each of its own colour, and one back."""
    files = {f"fronts/keeper-{number}.png": picture((10 * number % 256, 90, 200)) for number in range(cards)}
    return {**files, "backs/back.png": picture((20, 60, 70))}
