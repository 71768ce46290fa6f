"""Art: files sent one by one or as a ZIP, what is missing, and pictures of them shrunk for the screen."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi import Path as InPath
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from server.core.art import Art
from server.errors import BadValue, NotThere, Stopped, TooMuch
from server.jobs.queue import Work
from server.jobs.tasks import THUMB_PX, make_thumb, thumb_path
from server.jobs.unpack import Contents, Unpacked, UnpackOrder, unpack
from server.store.blobs import Incoming
from server.store.deck_folder import Listed, as_folder, compare
from server.store.deck_state import DeckFile, DeckState
from server.store.decks import FOLDER, UPLOAD, KeptBlob
from server.store.guests import Session
from server.store.names import clean_path
from server.web import models
from server.web.art_receiving import adding, check_deck_limits, read_incoming, write_stream
from server.web.decks import file_of, record_of
from server.web.services import PersonDep, Services, ServicesDep, in_worker, still_in

router = APIRouter(prefix="/api/decks/{deck_id}", tags=["files"])
pictures = APIRouter(prefix="/api/art", tags=["art"])
page = APIRouter(include_in_schema=False)

_ERRORS = models.errors(404, 411, 413, 415, 422, 503, 507)
_AT_ONCE = 4
_WRITE_BYTES = 512 * 1024
_SIGNATURES = (b"PK\x03\x04", b"PK\x05\x06")
_SIZES_PX = (THUMB_PX, 1024, 2048)  # a smaller one would be made from the whole picture, for a few kB less


class FileStamp(models.Part):
    path: Annotated[str, Field(max_length=1000)]
    bytes: Annotated[int, Field(ge=0)]
    modified: models.Milliseconds


class FileStamps(models.Sent):
    files: models.Items[FileStamp]


class MissingOut(BaseModel):
    """``missing``: the paths to send; ``known``: how many are here as they are."""

    missing: list[str]
    known: int


class ListedFile(FileStamp):
    """One file of a folder; ``key`` is the SHA-256 of its bytes in hex, where it has been worked out."""

    key: Annotated[str, Field(pattern="^([0-9a-f]{64})?$")] = ""


class FolderListing(models.Sent):
    files: models.Items[ListedFile]


class RenamedOut(BaseModel):
    was: str
    path: str


class ComparedOut(BaseModel):
    """A folder against the deck, by paths. Send the keys of what is ``unsure`` and ask again."""

    same: list[str]
    changed: list[str]
    fresh: list[str]
    renamed: list[RenamedOut]
    gone: list[str]
    unsure: list[str]


class Renamed(FileStamp):
    """The file that was at ``was`` and is at ``path`` now."""

    was: Annotated[str, Field(max_length=1000)]


class FolderStep(models.Sent):
    """What of a folder's difference needs no bytes. Files that are put in after it belong to the same step of undo."""

    gone: models.Items[Annotated[str, Field(max_length=1000)]] = Field(default_factory=list)
    renamed: models.Items[Renamed] = Field(default_factory=list)


class StoredFile(models.FileOut):
    """``duplicate_of``: another file of the deck, or this one before, that has the same bytes."""

    duplicate_of: str | None
    revision: int


class IgnoredOut(BaseModel):
    path: str
    reason: str


class ArchiveOut(BaseModel):
    """What an archive brought, and what was left out."""

    files: list[models.FileOut]
    ignored: list[IgnoredOut]
    revision: int


@page.get("/decks/{deck_id}/art")
def art_page(deck_id: str, services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return services.deck_page(person, deck_id, "art")


@page.get("/decks/{deck_id}")
def deck(deck_id: str) -> RedirectResponse:
    return RedirectResponse(f"/decks/{quote(deck_id, safe='')}/art", 303)


@router.post("/missing", responses=_ERRORS)
def missing(deck_id: str, stamps: FileStamps, services: ServicesDep) -> MissingOut:
    """Which of these files the deck doesn't have as they are, by path, size and time of change, or couldn't read."""
    state = services.store.decks.get(deck_id).state
    refused = {key for key, record in services.store.art.get_many(file.key for file in state.files).items()
               if record.problem}
    known = {(file.path, file.bytes, file.modified) for file in state.files if file.key not in refused}
    wanted = [stamp.path for stamp in stamps.files
              if (clean_path(stamp.path), stamp.bytes, stamp.modified) not in known]
    return MissingOut(missing=wanted, known=len(stamps.files) - len(wanted))


@router.post("/compare", responses=_ERRORS)
def compare_folder(deck_id: str, listing: FolderListing, services: ServicesDep) -> ComparedOut:
    """What a folder holds against what the deck has: same, changed, new, renamed by content, gone."""
    state = services.store.decks.get(deck_id).state
    found = compare(state, [Listed(clean_path(file.path), file.bytes, file.modified, file.key)
                            for file in listing.files])
    return ComparedOut(same=list(found.same), changed=list(found.changed), fresh=list(found.fresh),
                       renamed=[RenamedOut(was=was, path=path) for was, path in found.renamed],
                       gone=list(found.gone), unsure=list(found.unsure))


@router.post("/folder", responses=_ERRORS)
def put_folder(deck_id: str, step: FolderStep, services: ServicesDep, person: PersonDep) -> models.DeckRecord:
    """Take files out and call others by their new path; what was chosen for their cards stays with them."""
    renamed = {clean_path(one.was): (clean_path(one.path), one.modified) for one in step.renamed}
    row = services.store.decks.change(
        deck_id, lambda state: as_folder(state, [clean_path(path) for path in step.gone], renamed),
        who=person.id, kind=FOLDER)
    return record_of(services.views.view(row))


@router.put("/files/{path:path}", openapi_extra=models.RAW_BODY, responses=_ERRORS)
async def put_file(deck_id: str, path: str, request: Request, services: ServicesDep, person: PersonDep,
                   modified: models.Milliseconds = 0) -> StoredFile:
    """One file, its bytes as the body. Answered when it is read and kept; broken art is kept with its problem."""
    path = clean_path(path)
    announced = int(request.headers.get("content-length", "0"))
    await run_in_threadpool(_check_room, services, deck_id, path, announced)
    with services.store.blobs.incoming(path) as incoming:
        await write_stream(incoming, request.stream())
        blob = await read_incoming(services, person.id, incoming)
    still_in(services, person)
    file = DeckFile(path, blob.key, blob.bytes, modified)
    version, twin = await run_in_threadpool(services.store.decks.put_file, deck_id, file, blob,
                                            _within_limits(services, path), person.id)
    shown = file_of(file, blob.record.named(file.path) if blob.record else None)
    return StoredFile(**shown.model_dump(), duplicate_of=twin, revision=version)


@router.delete("/files/{path:path}", responses=_ERRORS)
def delete_file(deck_id: str, path: str, services: ServicesDep, person: PersonDep) -> models.DeckRecord:
    """Take a file out of the deck; undo brings it back."""
    path = clean_path(path)

    def change(state: DeckState) -> DeckState:
        if state.file(path) is None:
            raise NotThere(f"{path}: isn't in this deck.", "Load the page again.")
        return state.without_file(path)

    row = services.store.decks.change(deck_id, change, who=person.id)
    return record_of(services.views.view(row))


def _check_room(services: Services, deck_id: str, path: str, announced: int) -> None:
    """What can be known before a byte is read: the deck's limits and the room on the disk."""
    count, size = services.store.decks.room_taken(deck_id, path)
    _within_limits(services, path)(count + 1, size + announced)
    services.store.folder.check_room(announced, services.store.limits.free_bytes, path)


def _within_limits(services: Services, path: str) -> Callable[[int, int], None]:
    return lambda count, size: check_deck_limits(count, size, path, services.store.limits)


@router.post("/archive", openapi_extra=models.RAW_BODY, responses=_ERRORS)
async def put_archive(deck_id: str, request: Request, services: ServicesDep, person: PersonDep) -> ArchiveOut:
    """A ZIP, its bytes as the body. Refused as a whole where an entry is a trap; what is no art is left out."""
    limits, folder = services.store.limits, services.store.folder
    row = await run_in_threadpool(services.store.decks.get, deck_id)
    announced = int(request.headers.get("content-length", "0"))
    await run_in_threadpool(folder.check_room, announced, limits.free_bytes, "archive")
    room = Path(await run_in_threadpool(tempfile.mkdtemp, dir=folder.incoming))
    try:
        with services.store.blobs.incoming("archive") as incoming:
            await _receive_archive(incoming, request)
            order = UnpackOrder(incoming.path, "archive", room, limits.deck_files, limits.file_bytes,
                                max(0, limits.deck_bytes - row.state.bytes))
            contents = await in_worker(
                services, Work("read", person.id, "archive", unpack, (order,), limits.build_seconds))
        still_in(services, person)
        return await _add_all(services, person.id, deck_id, contents)
    finally:
        await run_in_threadpool(shutil.rmtree, room, ignore_errors=True)


async def _receive_archive(incoming: Incoming, request: Request) -> None:
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


async def _add_all(services: Services, person: str, deck_id: str, contents: Contents) -> ArchiveOut:
    turn, ignored = asyncio.Semaphore(_AT_ONCE), list(contents.ignored)

    async def read(one: Unpacked) -> tuple[DeckFile, KeptBlob] | None:
        async with turn:
            with services.store.blobs.incoming(one.path) as incoming:
                await run_in_threadpool(_copy_in, one, incoming)
                try:
                    blob = await read_incoming(services, person, incoming)
                except (TooMuch, Stopped) as error:  # this file's own trouble; the others go on
                    ignored.append((one.path, error.message.removeprefix(f"{one.path}: ").rstrip(".")))
                    return None
        return DeckFile(one.path, blob.key, blob.bytes, one.modified), blob

    taken = [one for one in await asyncio.gather(*(read(one) for one in contents.files)) if one]
    files, blobs = tuple(file for file, _ in taken), [blob for _, blob in taken]
    row = await run_in_threadpool(
        lambda: services.store.decks.change(deck_id, adding(files), who=person, kind=UPLOAD, blobs=blobs,
                                            check=_within_limits(services, files[-1].path if files else "archive")))
    return ArchiveOut(
        files=[file_of(file, blob.record.named(file.path) if blob.record else None) for file, blob in taken],
        ignored=[IgnoredOut(path=path, reason=reason) for path, reason in ignored], revision=row.version)


def _copy_in(one: Unpacked, incoming: Incoming) -> None:
    with one.place.open("rb") as source:
        while piece := source.read(_WRITE_BYTES):
            incoming.write(piece)


@pictures.get("/{key:path}", responses={**models.errors(404, 422, 503), 200: {"content": {"image/webp": {}}}},
              response_class=FileResponse)
async def picture(key: Annotated[str, InPath(max_length=100)], services: ServicesDep, person: PersonDep,
                  longest: Annotated[int, Query(ge=1, le=4096)] = 512) -> FileResponse:
    """The art as WebP, upright, its longer side the next of 512, 1024 and 2048 pixels that is enough."""
    size = next((size for size in _SIZES_PX if size >= longest), _SIZES_PX[-1])
    art = await run_in_threadpool(_art, services, person, key)
    path = thumb_path(services.store.folder.thumbs, key, size)
    if not path.is_file():
        blob = services.store.blobs.path(key.partition("#")[0])
        arguments = (blob, art, size, services.store.folder.thumbs)
        await in_worker(services, Work("read", person.id, "art", make_thumb, arguments,
                                       services.store.limits.read_seconds))
    # The key names the bytes, so what it shows never changes.
    return FileResponse(path, media_type="image/webp",
                        headers={"Cache-Control": "private, max-age=31536000, immutable"})


def _art(services: Services, person: Session, key: str) -> Art:
    blob = key.partition("#")[0]
    services.store.blobs.path(blob)
    record = services.store.art.get(blob)
    allowed = person.deck_id is None or services.store.decks.points_to(person.deck_id, blob)
    art = next((art for art in record.arts if art.key == key), None) if record and allowed else None
    if art is None:
        raise NotThere("art: no such picture.", "Load the page again.")
    return art
