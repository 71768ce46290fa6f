"""The demo decks that come along: each folder of ``demo_decks/`` with art in ``fronts/`` is one."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool

from server.core.settings import DeckSettings
from server.errors import NotArt, NotThere
from server.resources import shipped
from server.store.blobs import Incoming
from server.store.deck_state import DeckFile, DeckState
from server.store.decks import DeckRow, KeptBlob
from server.store.names import clean_path
from server.web.art_receiving import check_head, is_deck_list, read_incoming
from server.web.services import Services

_CARD = "demo.json"  # {"name": ..., "says": ..., "settings": {...}}
_AT_ONCE = 4


@dataclass(frozen=True, slots=True)
class Demo:
    """A demo deck: its folder's name, what it is called, one sentence, and the settings that suit it."""

    which: str
    name: str
    says: str
    folder: Path
    settings: DeckSettings


def demo_decks() -> tuple[Demo, ...]:
    """Those that are here; none where the installation lacks the folder."""
    try:
        root = shipped("demo_decks")
    except NotThere:
        return ()
    folders = sorted(path for path in root.iterdir() if (path / "fronts").is_dir())
    return tuple(_demo(folder) for folder in folders)


def _demo(folder: Path) -> Demo:
    card = folder / _CARD
    given = json.loads(card.read_text(encoding="utf-8")) if card.is_file() else {}
    name = given.get("name") or folder.name.replace("-", " ").replace("_", " ").capitalize()
    return Demo(folder.name, name, given.get("says", ""), folder, DeckSettings().changed(given.get("settings", {})))


async def load_demo(services: Services, person: str, demo: Demo) -> DeckRow:
    """A new deck with the demo's files, read like any upload; what is no art is left out, as an upload would be."""
    turn = asyncio.Semaphore(_AT_ONCE)

    async def take(path: str, source: Path) -> tuple[DeckFile, KeptBlob] | None:
        async with turn:
            with services.store.blobs.incoming(path) as incoming:
                try:
                    await run_in_threadpool(_copy, source, incoming)
                except NotArt:
                    return None
                blob = await read_incoming(services, person, incoming)
        modified = int(source.stat().st_mtime * 1000)
        return DeckFile(path, blob.key, blob.bytes, modified), blob

    taken = [one for one in await asyncio.gather(*(take(*entry) for entry in _files(demo.folder))) if one]
    state = DeckState(demo.name, tuple(file for file, _ in taken), {}, demo.settings, card_chosen=True)
    return await run_in_threadpool(services.store.decks.create, state, person, [blob for _, blob in taken])


def _files(folder: Path) -> Iterator[tuple[str, Path]]:
    for path in sorted(folder.rglob("*")):
        label = path.relative_to(folder).as_posix()
        if path.is_file() and path.suffix.lower() not in (".py", ".json", ".md"):
            yield clean_path(label), path


def _copy(source: Path, incoming: Incoming) -> None:
    content = source.read_bytes()
    if not is_deck_list(incoming.label):
        check_head(incoming.label, content[:1024])
    incoming.write(content)
