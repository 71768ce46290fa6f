"""A server process is killed while people work with it, again and again; whatever it had answered must be there.

    python -m tests.faults [--kills 200] [--seed 1]

Each round starts the server on the same data folder, lets three clients upload, save and build until a random number
of answers has come, and ends it by SIGKILL (TerminateProcess on Windows). Then the data folder is opened and looked at.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from server.store import Store
from tests.web.live import picture

_PROGRAM = "import sys; from server.cli import main; sys.exit(main())"


@dataclass
class Answered:
    """What the server has said yes to: files by path with their key, and the number in the last name saved."""

    deck_id: str = ""
    files: dict[str, str] = field(default_factory=dict)
    named: int = 0
    builds: int = 0
    _count: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(0))

    def one_more(self) -> None:
        self._count.release()

    def wait_for(self, answers: int) -> None:
        """Until that many more answers have come; while they come, other requests are at every stage."""
        for _ in range(answers):
            assert self._count.acquire(timeout=120), "the server doesn't answer"


def start(data: Path) -> tuple[subprocess.Popen[str], str]:
    """A server on ``data``; (process, address that lets the host in)."""
    environment = {**os.environ, "LAMPFOLD_FREE_BYTES": "0"}
    command = [sys.executable, "-c", _PROGRAM, "serve", "--port", "0", "--data", str(data), "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
    assert process.stdout is not None
    for line in process.stdout:
        found = re.search(r"http://\S+", line)
        if found:
            return process, found[0]
    raise RuntimeError("the server didn't start")


def client_of(entry: str) -> httpx.Client:
    base = entry.split("/welcome")[0]
    client = httpx.Client(verify=False, base_url=base, headers={"Origin": base}, timeout=20)
    assert client.get(entry).status_code == 303
    return client


def upload(client: httpx.Client, answered: Answered, round_number: int) -> None:
    for number in range(10_000):
        path = f"fronts/{round_number}-{number}.png"
        content = picture((round_number % 256, number % 256, number // 256), (63, 88))
        answer = client.put(f"/api/decks/{answered.deck_id}/files/{path}", content=content)
        if answer.status_code == 200:
            answered.files[path] = hashlib.sha256(content).hexdigest()
        answered.one_more()


def save(client: httpx.Client, answered: Answered, round_number: int) -> None:
    deck = f"/api/decks/{answered.deck_id}"
    revision, number = client.get(deck).json()["revision"], answered.named
    while True:
        answer = client.patch(deck, json={"revision": revision, "name": f"Harbour {number + 1}"})
        if answer.status_code == 200:
            number += 1
            answered.named, revision = number, answer.json()["revision"]
            answered.one_more()
        else:
            revision = answer.json()["current"]["revision"]


def build(client: httpx.Client, answered: Answered, round_number: int) -> None:
    while True:
        answer = client.post(f"/api/decks/{answered.deck_id}/builds", json={})
        if answer.status_code == 202:
            job = answer.json()["job"]
            with client.stream("GET", f"/api/jobs/{job}/events") as stream:
                list(stream.iter_lines())
            answered.builds += client.get(f"/api/jobs/{job}").json()["state"] == "done"
            answered.one_more()


def one_round(data: Path, answered: Answered, number: int, chance: random.Random) -> None:
    """Start, work for a while, kill."""
    process, entry = start(data)
    clients = [client_of(entry)]
    try:
        if not answered.deck_id:
            answered.deck_id = clients[0].post("/api/decks", json={"name": "Harbour 0"}).json()["id"]
        base = str(clients[0].base_url)
        clients += [httpx.Client(base_url=base, headers=clients[0].headers, cookies=clients[0].cookies, timeout=20,
                                 verify=False) for _ in range(2)]
        threads = [threading.Thread(target=until_lost, args=(work, client, answered, number), daemon=True)
                   for work, client in zip((upload, save, build), clients, strict=True)]
        for thread in threads:
            thread.start()
        answered.wait_for(chance.randint(1, 40))
    finally:
        process.kill()
        process.wait()
        if process.stdout:
            process.stdout.close()
    for thread in threads:
        thread.join(30)
    for client in clients:
        client.close()


def until_lost(work: Callable[[httpx.Client, Answered, int], None], client: httpx.Client, answered: Answered,
               number: int) -> None:
    try:
        work(client, answered, number)
    except (httpx.TransportError, ValueError, KeyError, RuntimeError):
        return  # the server is gone, perhaps in the middle of an answer


def check(data: Path, answered: Answered) -> None:
    """Raises AssertionError, naming what was lost."""
    store = Store.open(data)
    try:
        with store.database.read() as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
            keys = [row["key"] for row in connection.execute("SELECT key FROM blobs")]
        for key in keys:
            found = hashlib.sha256(store.blobs.path(key).read_bytes()).hexdigest()
            assert found == key, f"blob {key[:12]} has other bytes"
        state = store.decks.get(answered.deck_id).state
        kept = {file.path: file.key for file in state.files}
        lost = [path for path, key in answered.files.items() if kept.get(path) != key]
        assert not lost, f"lost {lost[:5]}"
        # The save that was in flight may have come through as well.
        assert int(state.name.split()[-1]) in (answered.named, answered.named + 1), (state.name, answered.named)
        answered.named = int(state.name.split()[-1])
        half = [path for path in store.folder.builds.glob("*.json") if not path.name.endswith(".plan.json")
                and not path.with_suffix(".pdf").read_bytes().startswith(b"%PDF-")]
        assert not half, f"half a build: {half}"
    finally:
        store.close()


def run(data: Path, kills: int, seed: int) -> Answered:
    """``kills`` rounds, each followed by a check."""
    chance, answered = random.Random(seed), Answered()
    for number in range(kills):
        one_round(data, answered, number, chance)
        check(data, answered)
    return answered


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    folder = Path(tempfile.mkdtemp())
    try:
        answered = run(folder / "data", arguments.kills, arguments.seed)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print(f"{arguments.kills} kills: {len(answered.files)} uploads, {answered.named} saves and {answered.builds} "
          "builds answered, all of them there.")


if __name__ == "__main__":
    main()
