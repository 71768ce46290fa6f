"""A ZIP as a folder: unpacked in a worker, each file read like any upload, all of it one step to undo."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool

from server.errors import BadValue, Stopped, TooMuch
from server.jobs.queue import Work
from server.jobs.unpack import Contents, Unpacked, UnpackOrder, unpack
from server.store.blobs import Incoming
from server.store.deck_state import DeckFile
from server.store.decks import UPLOAD, KeptBlob
from server.web import models
from server.web.deck_view import file_of
from server.web.receiving import adding, in_worker, read_incoming
from server.web.services import PersonDep, Services, ServicesDep, still_in

router = APIRouter(prefix="/api/decks/{deck_id}", tags=["files"])

_ERRORS: dict[int | str, dict[str, Any]] = {
    status: {"model": models.ErrorAnswer} for status in (404, 411, 413, 422, 503, 507)}
_AT_ONCE = 4
_WRITE_BYTES = 512 * 1024
_SIGNATURES = (b"PK\x03\x04", b"PK\x05\x06")


@router.post("/archive", openapi_extra=models.RAW_BODY, responses=_ERRORS)
async def put_archive(deck_id: str, request: Request, services: ServicesDep, person: PersonDep) -> models.ArchiveOut:
    """A ZIP, its bytes as the body. Refused as a whole where an entry is a trap; what is no art is left out."""
    limits, folder = services.store.limits, services.store.folder
    row = await run_in_threadpool(services.store.decks.get, deck_id)
    announced = int(request.headers.get("content-length", "0"))
    await run_in_threadpool(folder.check_room, announced, limits.free_bytes, "archive")
    room = Path(await run_in_threadpool(tempfile.mkdtemp, dir=folder.incoming))
    try:
        with services.store.blobs.incoming("archive") as incoming:
            await _receive(incoming, request)
            order = UnpackOrder(incoming.path, "archive", room, limits.deck_files, limits.file_bytes,
                                max(0, limits.deck_bytes - row.state.bytes))
            contents = await in_worker(
                services, Work("read", person.id, "archive", unpack, (order,), limits.build_seconds))
        assert isinstance(contents, Contents)
        still_in(services, person)
        return await _add(services, person.id, deck_id, contents)
    finally:
        await run_in_threadpool(shutil.rmtree, room, ignore_errors=True)


async def _receive(incoming: Incoming, request: Request) -> None:
    waiting = bytearray()
    async for chunk in request.stream():
        waiting += chunk
        if len(waiting) >= _WRITE_BYTES:
            await run_in_threadpool(incoming.write, bytes(waiting))
            waiting.clear()
    await run_in_threadpool(incoming.write, bytes(waiting))
    await run_in_threadpool(incoming.finish)
    with incoming.path.open("rb") as handle:
        if not handle.read(4).startswith(_SIGNATURES):
            raise BadValue("archive: is no ZIP by its content.", "Pack the folder as a ZIP, or choose the folder.")


async def _add(services: Services, person: str, deck_id: str, contents: Contents) -> models.ArchiveOut:
    turn, ignored = asyncio.Semaphore(_AT_ONCE), list(contents.ignored)

    async def read(one: Unpacked) -> tuple[DeckFile, KeptBlob] | None:
        async with turn:
            with services.store.blobs.incoming(one.path) as incoming:
                await run_in_threadpool(_copy, one, incoming)
                try:
                    blob = await read_incoming(services, person, incoming)
                except (TooMuch, Stopped) as error:  # this file's own trouble; the others go on
                    ignored.append((one.path, error.message.removeprefix(f"{one.path}: ").rstrip(".")))
                    return None
        return DeckFile(one.path, blob.key, blob.bytes, one.modified), blob

    taken = [one for one in await asyncio.gather(*(read(one) for one in contents.files)) if one]
    files, blobs = tuple(file for file, _ in taken), [blob for _, blob in taken]
    row = await run_in_threadpool(
        lambda: services.store.decks.change(deck_id, adding(files, services.store.limits), who=person, kind=UPLOAD,
                                            blobs=blobs))
    return models.ArchiveOut(
        files=[file_of(file, blob.record.named(file.path) if blob.record else None) for file, blob in taken],
        ignored=[models.IgnoredOut(path=path, reason=reason) for path, reason in ignored], revision=row.version)


def _copy(one: Unpacked, incoming: Incoming) -> None:
    with one.place.open("rb") as source:
        while piece := source.read(_WRITE_BYTES):
            incoming.write(piece)
