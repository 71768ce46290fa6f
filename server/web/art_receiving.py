"""A file on its way into a deck: streamed to disk, looked at by its first bytes, read in a worker, then kept."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from typing import TypeVar

from starlette.concurrency import run_in_threadpool

from server.errors import NotArt, TooMuch
from server.formats.header import HEAD_BYTES, kind_of
from server.formats.reader import no_art
from server.jobs.queue import Work
from server.jobs.tasks import ReadOrder, read_file
from server.store.art_records import ArtRecord
from server.store.blobs import Incoming
from server.store.deck_state import DECK_LIST, DeckFile, DeckState
from server.store.decks import KeptBlob
from server.store.limits import Limits, bytes_text
from server.web.services import Services, in_worker

# Small enough to keep the event loop free, large enough that few threads are asked for.
_WRITE_BYTES = 512 * 1024
_DECK_LIST_BYTES = 1024 * 1024

Result = TypeVar("Result")


async def write_stream(incoming: Incoming, chunks: AsyncIterator[bytes]) -> None:
    """Write a body as it comes. Raises NotArt as soon as its first bytes show that it can't be art."""
    waiting, looked = bytearray(), is_deck_list(incoming.label)
    async for chunk in chunks:
        waiting += chunk
        if not looked and (len(waiting) >= HEAD_BYTES or incoming.size):
            check_head(incoming.label, bytes(waiting[:HEAD_BYTES]))
            looked = True
        if len(waiting) >= _WRITE_BYTES:
            await run_in_threadpool(incoming.write, bytes(waiting))
            waiting.clear()
    if not looked:
        check_head(incoming.label, bytes(waiting[:HEAD_BYTES]))
    await run_in_threadpool(incoming.write, bytes(waiting))


def is_deck_list(path: str) -> bool:
    return path.lower() == DECK_LIST


def check_head(label: str, head: bytes) -> None:
    """Raises NotArt, naming the file, where its first bytes are those of no art."""
    if not head:
        raise NotArt(f"{label}: is empty.", "Export it again, or leave it out.")
    if kind_of(head) is None:
        refused = no_art(label)
        raise NotArt(refused.message, f"{refused.fix[:-1]}, or leave it out.")


async def read_incoming(services: Services, person: str, incoming: Incoming) -> KeptBlob:
    """Sync a written file, have a worker read it unless its bytes are known to be good, and keep it.

    What was refused is read anew, since a newer reader may take it. Broken art is kept with its problem. Raises TooMuch
    for art over a limit, Stopped where the worker gave up.
    """
    key = await run_in_threadpool(incoming.finish)
    record: ArtRecord | None = None
    if not is_deck_list(incoming.label):
        record = await run_in_threadpool(services.store.art.get, key)
        if record is None or record.problem:
            record = await _read(services, person, incoming, key)
    elif incoming.size > _DECK_LIST_BYTES:
        raise TooMuch(f"{incoming.label}: is over {bytes_text(_DECK_LIST_BYTES)}, too long for a deck list.",
                      "Give one line for each card: front, back, copies, name.")
    await run_in_threadpool(incoming.keep)
    return KeptBlob(key, incoming.size, record)


async def _read(services: Services, person: str, incoming: Incoming, key: str) -> ArtRecord:
    limits = services.store.limits
    order = ReadOrder(incoming.path, incoming.label, key, services.store.folder.thumbs, limits.art)
    record = await in_worker(services, Work("read", person, incoming.label, read_file, (order,), limits.read_seconds))
    return record


def adding(files: tuple[DeckFile, ...]) -> Callable[[DeckState], DeckState]:
    """The change that puts ``files`` into a deck."""
    def change(state: DeckState) -> DeckState:
        known = set(state.files)
        return state.with_files(tuple(file for file in files if file not in known))
    return change


def check_deck_limits(files: int, size: int, label: str, limits: Limits) -> None:
    if files > limits.deck_files:
        raise TooMuch(f"{label}: the deck would have more than {limits.deck_files} files, a PDF's pages counted.",
                      "Make a second deck, or raise the limit `deck_files`.")
    if size > limits.deck_bytes:
        raise TooMuch(f"{label}: the deck would have more than {bytes_text(limits.deck_bytes)}.",
                      "Make a second deck, or raise the limit `deck_bytes`.")
