"""Files of a deck: what is missing, one raw PUT for each, and taking one out again."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool

from server.errors import NotThere
from server.store.deck_state import DeckFile, DeckState
from server.store.decks import UPLOAD, DeckRow, KeptBlob
from server.store.names import clean_path
from server.web import models
from server.web.deck_view import file_of, record_of
from server.web.receiving import adding, check_deck_limits, read_incoming, write_stream
from server.web.services import PersonDep, Services, ServicesDep, still_in

router = APIRouter(prefix="/api/decks/{deck_id}", tags=["files"])

_ERRORS: dict[int | str, dict[str, Any]] = {
    status: {"model": models.ErrorAnswer} for status in (404, 411, 413, 415, 422, 503, 507)}


@router.post("/missing", responses=_ERRORS)
def missing(deck_id: str, stamps: models.FileStamps, services: ServicesDep) -> models.MissingOut:
    """Which of these files the deck doesn't have as they are, by path, size and time of change."""
    state = services.store.decks.get(deck_id).state
    known = {(file.path, file.bytes, file.modified) for file in state.files}
    wanted = [stamp.path for stamp in stamps.files
              if (clean_path(stamp.path), stamp.bytes, stamp.modified) not in known]
    return models.MissingOut(missing=wanted, known=len(stamps.files) - len(wanted))


@router.put("/files/{path:path}", openapi_extra=models.RAW_BODY, responses=_ERRORS)
async def put_file(deck_id: str, path: str, request: Request, services: ServicesDep, person: PersonDep,
                   modified: models.Milliseconds = 0) -> models.StoredFile:
    """One file, its bytes as the body. Answered when it is read and kept; broken art is kept with its problem."""
    path = clean_path(path)
    row = await run_in_threadpool(services.store.decks.get, deck_id)
    announced = int(request.headers.get("content-length", "0"))
    await run_in_threadpool(_check_room, services, row.state, path, announced)
    with services.store.blobs.incoming(path) as incoming:
        await write_stream(incoming, request.stream())
        blob = await read_incoming(services, person.id, incoming)
    still_in(services, person)
    file = DeckFile(path, blob.key, blob.bytes, modified)
    row, before = await run_in_threadpool(_keep, services, deck_id, person.id, file, blob)
    return _stored(file, blob, before, row.version)


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


def _check_room(services: Services, state: DeckState, path: str, announced: int) -> None:
    """What can be known before a byte is read: the deck's limits and the room on the disk."""
    limits = services.store.limits
    check_deck_limits(state.with_file(DeckFile(path, "", announced, 0)), path, limits)
    services.store.folder.check_room(announced, limits.free_bytes, path)


def _keep(services: Services, deck_id: str, person: str, file: DeckFile, blob: KeptBlob) -> tuple[DeckRow, DeckState]:
    """Put the file into the deck. Returns the deck after it and its state before."""
    before: list[DeckState] = []
    add = adding((file,), services.store.limits)

    def change(state: DeckState) -> DeckState:
        before.append(state)
        return add(state)

    row = services.store.decks.change(deck_id, change, who=person, kind=UPLOAD, blobs=(blob,))
    return row, before[0]


def _stored(file: DeckFile, blob: KeptBlob, before: DeckState, version: int) -> models.StoredFile:
    twins = [other.path for other in before.files if other.key == file.key]
    duplicate = file.path if file.path in twins else twins[0] if twins else None
    shown = file_of(file, blob.record.named(file.path) if blob.record else None)
    return models.StoredFile(**shown.model_dump(), duplicate_of=duplicate, revision=version)
