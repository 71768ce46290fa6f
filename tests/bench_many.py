"""Many files: what file 1,500 costs against file 100, over plain HTTP, and the preview of 1,500 cards.

``python -m tests.bench_many``. Two decks take files by turns, one after its 75th and one after its 1,450th, so that a
busy machine is busy for both. What they hold before is put straight into the store.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import httpx

from server.core.art import Art
from server.store.art_records import ArtRecord
from server.store.deck_state import DeckFile
from server.store.decks import KeptBlob
from tests.web.live import LiveServer, picture, running

CARDS, FEW, TURNS = 1500, 75, 50
UPLOAD_GOAL, PREVIEW_GOAL_MS = 1.3, 50.0


def upload_and_preview(cards: int = CARDS) -> tuple[float, float, float]:
    """(cost of the last fifty files against files 76 to 125, ms of a preview, ms of the deck's record), of a deck of
    ``cards`` fronts and one back."""
    with tempfile.TemporaryDirectory() as folder, running(Path(folder) / "data") as server:
        client = server.client()
        decks = [_filled(server, client, count) for count in (FEW, cards - TURNS)]
        took: tuple[list[float], list[float]] = ([], [])
        for turn in range(TURNS):
            for place, deck in enumerate(decks):
                body = picture((turn, place, 90), (63, 88))
                before = time.perf_counter()
                client.put(f"/api/decks/{deck}/files/fronts/late-{turn}.png", content=body).raise_for_status()
                took[place].append(time.perf_counter() - before)
        early, late = (sum(sorted(some)[5:30]) for some in took)
        return late / early, _preview_ms(client, decks[1]), _record_ms(client, decks[1])


def _filled(server: LiveServer, client: httpx.Client, count: int) -> str:
    deck = str(client.post("/api/decks", json={"name": f"Many {count}"}).json()["id"])
    client.put(f"/api/decks/{deck}/files/backs/back.png", content=picture()).raise_for_status()
    for number in range(count):
        key = f"{number:064x}"
        server.services.store.decks.put_file(
            deck, DeckFile(f"fronts/keeper-{number}.png", key, 5000, 0),
            KeptBlob(key, 5000, ArtRecord((Art("", key, "png", 744, 1039),))), lambda count, size: None, "me")
    return deck


def _preview_ms(client: httpx.Client, deck: str) -> float:
    best = float("inf")
    for turn in range(8):
        ask = {"settings": {"gutter_mm": turn % 3 + 1}, "sheet": 0, "face": "front"}
        before = time.perf_counter()
        client.post(f"/api/decks/{deck}/plan", json=ask).raise_for_status()
        best = min(best, time.perf_counter() - before) if turn else best
    return best * 1000


def _record_ms(client: httpx.Client, deck: str) -> float:
    best = float("inf")
    for _ in range(4):
        before = time.perf_counter()
        client.get(f"/api/decks/{deck}").raise_for_status()
        best = min(best, time.perf_counter() - before)
    return best * 1000


def main() -> None:
    ratio, preview, record = upload_and_preview()
    print(f"Upload: file {CARDS} costs {ratio:.2f} times what file 100 costs (goal {UPLOAD_GOAL})")
    print(f"Preview of {CARDS} cards: {preview:.0f} ms (goal {PREVIEW_GOAL_MS:.0f}); its record: {record:.0f} ms")


if __name__ == "__main__":
    main()
