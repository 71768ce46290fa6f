"""What the worst requests cost a server: its own processor time, and how long others wait meanwhile (Linux).

``python -m tests.bench_hostile`` prints the ten worst; ``hostile_rows`` gives lines to ``python -m tests.bench``. A
real server stands on a folder with the largest decks and the strangest names that are taken in, and is asked whatever
a guest may ask, with bodies that are as long, as wrong and as deep as they may be. Of each request counts the processor
time of the server's own process (proc(5)), the best of two, less what looking at it costs; art that isn't there is
what a worker finds at once. Then fifty hostile plans, glows, fits and builds come at once.
"""

from __future__ import annotations

import contextlib
import os
import random
import statistics
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx

from server.core.art import Art
from server.core.edge_bleed import ArtEdges, EdgeSeen
from server.store import Store
from server.store.art_records import ArtRecord
from server.store.deck_state import DeckFile, DeckState
from server.store.decks import KeptBlob
from server.store.limits import Limits
from tests.bench import Row
from tests.faults import client_of, start

GOAL_SECONDS, GOAL_TIMES, GOAL_MB, TURNS, AT_ONCE = 0.5, 10.0, 150.0, 2, 50
FILES = Limits().deck_files
_CHANCE = random.Random(3)
_FLAT = EdgeSeen("flat", (40, 90, 200))
_EDGES = ArtEdges(_FLAT, _FLAT, _FLAT, _FLAT, rgb=_FLAT.rgb)  # as an upload has looked at them
_WORDS = ("front", "back", "recto", "verso", "a", "b", "1", "2", "x2", "3of4", "(2x)", "hero", "Lamp", "rear")
_HUGE = {"card": "10x10", "paper": "2000x2000", "bleed_mm": 0}
_SETTINGS: dict[str, dict[str, Any]] = {
    "as it is": {}, "10 mm cards on 2 m": _HUGE, "in pairs": {**_HUGE, "method": "card-fold", "core_mm": 20},
    "folded": {**_HUGE, "method": "vertical-fold"}, "two sheets": {**_HUGE, "method": "two-sheet"},
    "marks": {**_HUGE, "registration": True}, "ticks": {**_HUGE, "line_style": "ticks", "gutter_mm": 0.1},
    "gutter 100": {**_HUGE, "gutter_mm": 100, "registration": True}, "thin cards": {**_HUGE, "card": "10x200"},
    "mirrored": {**_HUGE, "edges": "mirror", "bleed_mm": 20, "gutter_mm": 40},
    "box": {"box": "tuck", "box_panels": "all=#112233"}, "version": {"version": "x", "version_mark": "top"}}


@dataclass(frozen=True)
class Ask:
    """A request; ``body`` is JSON values, or bytes that claim to be JSON. ``once`` is asked no second time."""

    what: str
    method: str
    path: str
    body: Any = None
    once: bool = False

    def of(self, client: httpx.Client) -> int:
        """Ask; the answer's status."""
        if isinstance(self.body, bytes):
            return client.request(self.method, self.path, content=self.body,
                                  headers={"content-type": "application/json"}).status_code
        return client.request(self.method, self.path, json=self.body).status_code


def names() -> dict[str, list[str]]:
    """Files of the largest decks, by what is nasty about them."""
    half, few = range(FILES // 2), range(FILES)
    return {
        "own backs": [f"{side}/a-{n}.png" for side in ("fronts", "backs") for n in half],
        "many copies": [f"{side}/a-{n}.png" for side in ("fronts", "backs") for n in range(20)],
        "any words": [f"{_CHANCE.choice(('fronts', 'backs', 'hero back', 'x'))}/"
                      f"{'_'.join(_CHANCE.choice(_WORDS) for _ in range(_CHANCE.randint(1, 30)))[:230]}_{n}.png"
                      for n in few],
        "backs without a front": [f"{side}/{''.join(_CHANCE.choice('abcdefgh') for _ in range(240))}.png"
                                  for side in ("fronts", "backs") for _ in half],
        "deep folders": [f"{'/'.join([f'back {n}'] * 11)}/f{n}.png" for n in few],
        "words for backs": [f"tide lamp{'k' * (n % 90)} {n} {'back' if n % 2 else 'lamp'}.png" for n in few],
        "pages": ["fronts/a.pdf"],
    }


def fill(data: Path) -> dict[str, tuple[str, list[str]]]:
    """Decks of those names, straight into the store; their ids and some of their files by what is nasty."""
    store, made, number = Store.open(data, Limits(free_bytes=0)), dict[str, tuple[str, list[str]]](), 0
    for name, paths in names().items():
        files, blobs = [], []
        for path in dict.fromkeys(paths):
            number += 1
            key = f"{number:064x}"
            art = Art("", key, "png", 744, 1039, edge_rgb=_FLAT.rgb, edges=_EDGES)
            pages = tuple(replace(art, key=f"{key}#{page}", kind="pdf", size_mm=(63.0, 88.0))
                          for page in range(Limits().pdf_pages)) if path.endswith("pdf") else (art,)
            files.append(DeckFile(path, key, 5000, 0))
            blobs.append(KeptBlob(key, 5000, ArtRecord(pages)))
        copies = 999 if name == "many copies" else 5
        overrides = {file.path: {"copies": copies} for file in files if file.path.startswith("fronts/")}
        made[name] = store.decks.create(DeckState(name, tuple(files), overrides), "me", blobs).id, paths[:TURNS]
    store.close()
    return made


def readings(sheets: int, each: int) -> list[dict[str, Any]]:
    return [{"sheet": str(sheet), "x_mm": _CHANCE.uniform(10, 200), "y_mm": _CHANCE.uniform(10, 290),
             "dx_mm": _CHANCE.gauss(0.5, 0.05) + (_CHANCE.random() < 0.1) * 5, "dy_mm": _CHANCE.gauss(0.3, 0.05)}
            for sheet in range(sheets) for _ in range(each)]


def bodies() -> dict[str, bytes]:
    """Two megabytes of what nobody means, by name; each goes to every address that takes JSON."""
    room = Limits().json_bytes - 100
    many = {"{}": room // 3, "[]": room // 3, "1": room // 2, '"x"': room // 4}
    lists = ("files", "gone", "renamed", "order", "readings", "methods")
    made = {f"{field}: {one} {count} times": f'{{"{field}":[{",".join([one] * count)}]}}'.encode()
            for field in lists for one, count in many.items()}
    fields = ",".join(f'"k{n}":1' for n in range(room // 12))
    made |= {"unknown fields": f"{{{fields}}}".encode(), "cards": f'{{"revision":1,"cards":{{{fields}}}}}'.encode(),
             "deep": b"[" * (room // 2) + b"]" * (room // 2), "half characters": b'{"name":"' + b"\\ud800" * 99 + b'"}'}
    return made


def requests(decks: dict[str, tuple[str, list[str]]]) -> Iterator[Ask]:
    """Everything that is tried."""
    for name, (deck, paths) in decks.items():
        at = f"/api/decks/{deck}"
        yield Ask(f"deck, {name}", "GET", at)
        for what, settings in _SETTINGS.items():
            for turn in range(TURNS):  # never what was worked out a moment ago
                asked = {"settings": {**settings, "gutter_mm": settings.get("gutter_mm", 1) + turn / 100}}
                yield Ask(f"plan, {name}, {what}", "POST", f"{at}/plan", asked, once=True)
        for path in ("glow?paper=2000x2000", "glow/leeway", "guide?paper=2000x2000", "contours.zip", "versions"):
            yield Ask(f"{path}, {name}", "GET", f"{at}/{path}")
        for path, body in (("glow/back", {}), ("builds", {}), ("bleed", {"card": "fronts/a-1.png"}),
                           ("versions", {"name": "x"}), ("undo", {}), ("redo", {})):
            yield Ask(f"{path}, {name}", "POST", f"{at}/{path}", body)
        for path in paths if len(paths) == TURNS else ():  # a change, so that all is worked out anew
            yield Ask(f"file out, {name}", "DELETE", f"{at}/files/{quote(path)}", once=True)
    deck = f"/api/decks/{decks['own backs'][0]}"
    for what, content in bodies().items():
        yield Ask(f"deck changed by {what}", "PATCH", deck, content)
        for path in ("missing", "compare", "folder", "plan", "releases"):
            yield Ask(f"{path} of {what}", "POST", f"{deck}/{path}", content)
        for path in ("/api/fit", "/api/printers", "/api/printers/import", "/join"):
            yield Ask(f"{path} of {what}", "POST", path, content)
    listing = [{"path": f"z/{n}.png", "bytes": 5000, "modified": 1, "key": f"{n + 2**60:064x}"} for n in range(9999)]
    yield Ask("compare, 9,999 files", "POST", f"{deck}/compare", {"files": listing})
    for sheets, each in ((1000, 1), (16, 60), (40, 25)):
        yield Ask(f"fit, {sheets} sheets of {each}", "POST", "/api/fit", {"readings": readings(sheets, each)})
    for path in ("/", "/true-up", "/api/decks", "/api/tables", "/api/openapi.json", "/api/printers",
                 "/api/test-sheet/stations?paper=2000x2000", "/api/me?" + "a=b&" * 3000):
        yield Ask(path[:40], "GET", path)


@dataclass
class Watch:
    """A server process, looked at while it works: every 20 ms another client asks whether it is well."""

    pid: int
    client: httpx.Client
    stall: float = 0.0
    asked: int = 0
    ended: bool = False

    def run(self) -> None:
        while not self.ended:
            begun = time.perf_counter()
            self.client.get("/health").raise_for_status()
            self.stall, self.asked = max(self.stall, time.perf_counter() - begun), self.asked + 1
            time.sleep(0.02)

    def seconds(self) -> float:
        """Processor time of the process itself so far, its workers' left out (proc(5), utime and stime)."""
        fields = Path(f"/proc/{self.pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def megabytes(self) -> float:
        return int(Path(f"/proc/{self.pid}/statm").read_text(encoding="ascii").split()[1]) * 4096 / 1e6


@dataclass(frozen=True)
class Cost:
    what: str
    seconds: float
    stall: float
    status: int


def sweep(client: httpx.Client, watch: Watch, decks: dict[str, tuple[str, list[str]]]) -> list[Cost]:
    """Every request's cost, the worst first."""
    before, asked = watch.seconds(), watch.asked
    time.sleep(3)
    looking = (watch.seconds() - before) / max(1, watch.asked - asked)
    found: dict[str, list[Cost]] = defaultdict(list)
    for ask in requests(decks):
        for _ in range(1 if ask.once else TURNS):
            watch.stall, before, asked = 0.0, watch.seconds(), watch.asked
            status = ask.of(client)
            assert status < 500 or status == 503, (ask.what, status)
            took = watch.seconds() - before - (watch.asked - asked) * looking
            found[ask.what].append(Cost(ask.what, took, watch.stall, status))
    best = (min(tries, key=lambda cost: cost.seconds) for tries in found.values())
    return sorted(best, key=lambda cost: cost.seconds, reverse=True)


def at_once(client: httpx.Client, watch: Watch, deck: str) -> tuple[float, float, float]:
    """(/health and the deck list over their idle medians, megabytes) while fifty hostile requests are worked on."""
    def another() -> httpx.Client:
        return httpx.Client(base_url=client.base_url, headers=client.headers, cookies=client.cookies, timeout=300,
                            verify=False)

    def medians(count: Callable[[int], bool]) -> tuple[float, float]:
        took: tuple[list[float], list[float]] = ([], [])
        while count(len(took[0])):
            for kept, path in zip(took, ("/health", "/api/decks"), strict=True):
                begun = time.perf_counter()
                client.get(path).raise_for_status()
                kept.append(time.perf_counter() - begun)
        return statistics.median(took[0]), statistics.median(took[1])

    def ask(number: int) -> None:
        with another() as own:
            built = {"settings": {**_HUGE, "paper": f"{1900 + number}x2000"}}
            (Ask("plan", "POST", f"/api/decks/{deck}/plan", {"settings": _HUGE}),
             Ask("glow", "GET", f"/api/decks/{deck}/glow?paper=2000x2000"),
             Ask("fit", "POST", "/api/fit", {"readings": readings(16, 60)}),
             Ask("build", "POST", f"/api/decks/{deck}/builds", built))[number % 4].of(own)

    idle = medians(lambda count: count < 40)
    threads = [threading.Thread(target=ask, args=(number,), daemon=True) for number in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    most = [watch.megabytes()]

    def under_way(count: int) -> bool:
        most[0] = max(most[0], watch.megabytes())
        return count == 0 or any(thread.is_alive() for thread in threads)

    busy = medians(under_way)
    return busy[0] / idle[0], busy[1] / idle[1], most[0]


@contextlib.contextmanager
def served(data: Path) -> Iterator[tuple[httpx.Client, Watch]]:
    """A server process of its own on that folder, watched."""
    process, entry = start(data)
    client = client_of(entry)
    client.timeout = httpx.Timeout(300)
    watch = Watch(process.pid, httpx.Client(base_url=client.base_url, timeout=300, verify=False))
    thread = threading.Thread(target=watch.run, daemon=True)
    thread.start()
    try:
        yield client, watch
    finally:
        watch.ended = True
        thread.join()
        process.kill()
        process.wait()
        client.close()


def measured(data: Path) -> tuple[list[Cost], tuple[float, float, float]]:
    """Fifty at once on a fresh server, then the sweep on another, over the same folder."""
    decks = fill(data)
    with served(data) as (client, watch):
        crowd = at_once(client, watch, decks["many copies"][0])
    with served(data) as (client, watch):
        return sweep(client, watch, decks), crowd


def hostile_rows() -> list[Row]:
    """Lines for the table of ``tests.bench``."""
    with tempfile.TemporaryDirectory() as folder:
        costs, (health, desk, megabytes) = measured(Path(folder) / "data")
    worst = costs[0]
    return [Row(f"Worst answer of a guest's request: over {GOAL_SECONDS:g} s", worst.seconds / GOAL_SECONDS, 1.0, True,
                f"{worst.seconds * 1000:.0f} ms of the server's own time: {worst.what}"),
            Row(f"Hostile {AT_ONCE}: /health and deck list over idle", max(health, desk), GOAL_TIMES, True,
                f"{health:.1f} and {desk:.1f} times"),
            Row(f"Hostile {AT_ONCE}: memory over {GOAL_MB:.0f} MB", megabytes / GOAL_MB, 1.0, True,
                f"{megabytes:.0f} MB")]


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        costs, (health, desk, megabytes) = measured(Path(folder) / "data")
    print(f"Of {len(costs)} requests the ten that cost the server most, ms of its own time, ms that others waited:")
    for cost in costs[:10]:
        print(f"{cost.seconds * 1000:>6.0f} {cost.stall * 1000:>6.0f}  {cost.status}  {cost.what}")
    print(f"{AT_ONCE} hostile at once: /health {health:.1f} and the deck list {desk:.1f} times their idle medians, "
          f"{megabytes:.0f} MB.")


if __name__ == "__main__":
    main()
