"""Eight people work on one server at once: no error, no lost change, every PDF right.

    python -m tests.load [--seconds 60] [--clients 8]

Each client uploads files of its own to a shared deck, changes the copies of its own cards there (and saves again
where someone was quicker), and builds a deck of its own. Meanwhile a reader asks for pages. Prints counts, and how
much slower pages were answered than on the idle server, as a ratio of medians in this run.
"""

from __future__ import annotations

import argparse
import io
import shutil
import statistics
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import pypdfium2

from tests.faults import client_of, start
from tests.web.live import picture, small_deck

_PAGES = ("/", "/decks/{deck}/art", "/decks/{deck}/sheet", "/decks/{deck}/output", "/api/decks/{deck}")
_MM_PER_POINT = 25.4 / 72
_TURNED_AWAY_SECONDS = 0.5


@dataclass
class Work:
    """What one client was told, for the check at the end."""

    number: int
    files: int = 0
    copies: dict[str, int] = field(default_factory=dict)
    conflicts: int = 0
    builds: int = 0
    turned_away: int = 0
    wrong: list[str] = field(default_factory=list)


def upload(client: httpx.Client, deck_id: str, work: Work) -> None:
    label = f"fronts/client-{work.number}/{work.files}.png"
    answer = client.put(f"/api/decks/{deck_id}/files/{label}",
                        content=picture((work.number * 30, work.files % 256, work.files // 256), (315, 440)))
    if answer.status_code == 503:
        work.turned_away += 1
        time.sleep(_TURNED_AWAY_SECONDS)
    elif answer.status_code == 200:
        work.files += 1
        work.copies[label] = 1
    else:
        work.wrong.append(f"upload: {answer.status_code} {answer.text[:200]}")


def edit(client: httpx.Client, deck_id: str, work: Work) -> None:
    """Raise the copies of the newest card of one's own, again until nobody was quicker."""
    if not work.copies:
        return
    label = list(work.copies)[-1]
    copies = work.copies[label] % 9 + 1
    revision = client.get(f"/api/decks/{deck_id}").json()["revision"]
    while True:
        change = {"revision": revision, "cards": {label: {"copies": copies}}}
        answer = client.patch(f"/api/decks/{deck_id}", json=change)
        if answer.status_code == 200:
            work.copies[label] = copies
            return
        if answer.status_code != 409:
            work.wrong.append(f"edit: {answer.status_code} {answer.text[:200]}")
            return
        work.conflicts += 1
        revision = answer.json()["current"]["revision"]


def build(client: httpx.Client, own_deck: str, work: Work) -> None:
    paper = ("a4", "letter")[work.builds % 2]
    copies = work.builds % 5 + 1
    revision = client.get(f"/api/decks/{own_deck}").json()["revision"]
    client.patch(f"/api/decks/{own_deck}", json={"revision": revision, "settings": {"paper": paper},
                                                 "cards": {"fronts/keeper-0.png": {"copies": copies}}})
    answer = client.post(f"/api/decks/{own_deck}/builds", json={})
    if answer.status_code == 503:
        work.turned_away += 1
        time.sleep(_TURNED_AWAY_SECONDS)
        return
    job = answer.json()["job"]
    with client.stream("GET", f"/api/jobs/{job}/events") as stream:
        list(stream.iter_lines())
    ended = client.get(f"/api/jobs/{job}").json()
    if ended["state"] != "done":
        work.wrong.append(f"build: {ended['state']} {ended['message']}")
        return
    work.builds += 1
    wrong = wrong_with(client.get(ended["result"]["pdf"]).content, paper, copies + 2)
    if wrong:
        work.wrong.append(wrong)


def wrong_with(pdf: bytes, paper: str, cards: int) -> str:
    """What an independent reader finds wrong: pages by ISO 216 and ANSI/ASME Y14.1, nine cards to a sheet."""
    size = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}[paper]
    document = pypdfium2.PdfDocument(io.BytesIO(pdf))
    try:
        if len(document) != 2 * -(-cards // 9):
            return f"pdf: {len(document)} pages for {cards} cards"
        got = document[0].get_size()
        if max(abs(one * _MM_PER_POINT - other) for one, other in zip(got, size, strict=True)) > 0.01:
            return f"pdf: a page of {got} points for {paper}"
    finally:
        document.close()
    return ""


def work_on(more: Callable[[int], bool], client: httpx.Client, shared: str, own: str, work: Work) -> None:
    """Rounds of uploads, an edit and a build, as long as ``more`` says of their number."""
    rounds = 0
    while more(rounds) and not work.wrong:
        rounds += 1
        try:
            for _ in range(3):
                upload(client, shared, work)
            edit(client, shared, work)
            build(client, own, work)
        except Exception as error:  # whatever goes wrong is what this looks for
            work.wrong.append(f"{type(error).__name__}: {error}")


def page_times(client: httpx.Client, deck_id: str, more: Callable[[int], bool]) -> list[float]:
    """Seconds that each page took, asked for one after another, as long as ``more`` says of their number."""
    found: list[float] = []
    while more(len(found)):
        begun = time.perf_counter()
        answer = client.get(_PAGES[len(found) % len(_PAGES)].format(deck=deck_id))
        found.append(time.perf_counter() - begun)
        assert answer.status_code == 200, answer.text
    return found


def check(client: httpx.Client, shared: str, works: list[Work]) -> None:
    """Raises AssertionError where a change that was answered isn't there."""
    record = client.get(f"/api/decks/{shared}").json()
    kept = {card["file"]: card["copies"] for card in record["cards"]}
    for work in works:
        assert not work.wrong, work.wrong
        lost = {label: (copies, kept.get(label)) for label, copies in work.copies.items() if kept.get(label) != copies}
        assert not lost, f"client {work.number} lost {lost}"


def run(data: Path, clients: int, *, seconds: float | None = None,
        rounds: int = 1) -> tuple[list[Work], list[float], list[float]]:
    """(what each client did, page times on the idle server, page times under load): for ``seconds``, or ``rounds``."""
    process, entry = start(data)
    try:
        host = client_of(entry)
        everyone = [httpx.Client(base_url=host.base_url, headers=host.headers, cookies=host.cookies, timeout=120,
                                 verify=False) for _ in range(clients)]
        shared, *own = (host.post("/api/decks", json={"name": f"Deck {number}"}).json()["id"]
                        for number in range(clients + 1))
        for deck_id in (shared, *own):
            for path, content in small_deck(3).items():
                assert host.put(f"/api/decks/{deck_id}/files/{path}", content=content).status_code == 200
        idle = page_times(host, shared, lambda count: count < 50)
        works, end = [Work(number) for number in range(clients)], time.monotonic() + (seconds or 0)

        def more(count: int) -> bool:
            return count < rounds if seconds is None else time.monotonic() < end

        threads = [threading.Thread(target=work_on, args=(more, client, shared, deck_id, work), daemon=True)
                   for client, deck_id, work in zip(everyone, own, works, strict=True)]
        for thread in threads:
            thread.start()
        busy = page_times(host, shared, lambda count: count == 0 or any(thread.is_alive() for thread in threads))
        for thread in threads:
            thread.join(120)
        check(host, shared, works)
        for client in (host, *everyone):
            client.close()
        return works, idle, busy
    finally:
        process.kill()
        process.wait()
        if process.stdout:
            process.stdout.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--clients", type=int, default=8)
    arguments = parser.parse_args()
    folder = Path(tempfile.mkdtemp())
    try:
        works, idle, busy = run(folder / "data", arguments.clients, seconds=arguments.seconds)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    ratios = [statistics.median(busy) / statistics.median(idle), max(busy) / statistics.median(idle)]
    print(f"{arguments.clients} clients, {arguments.seconds:g} s: {sum(work.files for work in works)} uploads, "
          f"{sum(len(work.copies) for work in works)} cards, {sum(work.conflicts for work in works)} saves told that "
          f"someone was quicker, {sum(work.builds for work in works)} PDFs right, "
          f"{sum(work.turned_away for work in works)} asked to come back; nothing lost.")
    print(f"Pages under load, as multiples of the idle median: median {ratios[0]:.1f}, worst {ratios[1]:.1f} "
          f"(of {len(busy)}).")


if __name__ == "__main__":
    main()
