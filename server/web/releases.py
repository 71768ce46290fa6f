"""Releases: packs made of one or several decks for others to print, listed, and fetched whole or one file at a time."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path as FilePath
from typing import Annotated, Any, Literal
from urllib.parse import quote

from fastapi import APIRouter, Path, Request
from fastapi.responses import FileResponse, StreamingResponse
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from server.core.methods import method_named
from server.core.settings import SETTINGS
from server.core.sizes import paper_named
from server.errors import BadValue, NotThere, TooMuch
from server.jobs.releases import PackDeck, PackOrder
from server.prepress.pack import MemberPart
from server.prepress.prepare import with_box_art
from server.store.guests import Session
from server.store.limits import bytes_text
from server.store.names import clean_file_name, clean_name
from server.store.releases import Extra, ReleaseRow
from server.web import models
from server.web.services import PersonDep, Services, ServicesDep, TurnDep, art_limits, still_in

router = APIRouter(prefix="/api/decks/{deck_id}/releases", tags=["releases"])

_ERRORS = models.errors(403, 404, 411, 413, 422, 503, 507)
_MOST_DECKS = 12
_PIECE = 256 * 1024
Choices = Annotated[list[Annotated[str, Field(max_length=40)]], Field(min_length=1, max_length=20)]
ReleaseId = Annotated[str, Path(max_length=40)]


class NewRelease(models.Sent):
    """``version`` is a name: of a version that is kept, which is released then, or a new one, under which the deck is
    kept as it is now; so it is for each of the ``decks`` besides, by their ids. ``extras`` are names of the deck's own
    files that go in."""

    version: models.Name
    decks: Annotated[list[Annotated[str, Field(max_length=64)]], Field(max_length=_MOST_DECKS - 1)] = Field(
        default_factory=list)
    extras: Annotated[list[Annotated[str, Field(max_length=255)]], Field(max_length=200)] = Field(default_factory=list)
    methods: Choices
    papers: Choices
    inks: Annotated[list[Literal["full", "pale"]], Field(min_length=1, max_length=2)]


class ReleaseStarted(BaseModel):
    """The job to watch under /api/jobs, and the id of the release once that is done."""

    job: str
    release: str


class ReleaseFile(BaseModel):
    """A file of the pack; ``part`` is what it is. Sheets, guides and boxes say of which deck, by its id, and for which
    method and paper they are, sheets in which ink and on how many papers."""

    file: str
    sha256: str
    part: MemberPart
    bytes: int
    deck: str
    method: str
    paper: str
    ink: str
    papers: int


class ReleaseOut(BaseModel):
    """``name`` is what the pack is saved as; ``version_id`` is the version of this deck that is in it, "" where that
    isn't known."""

    id: str
    version: str
    version_id: str
    made: str
    name: str
    bytes: int
    files: list[ReleaseFile]


class ReleasesOut(models.InMm):
    """Newest first. ``under_way``: the job that makes another one now, for those who may release."""

    format: str = "lampfold-releases"
    releases: list[ReleaseOut]
    under_way: models.JobOut | None = None


class ExtraOut(BaseModel):
    """A file of people's own that a deck's releases can hold: rules, a licence, credits."""

    name: str
    bytes: int


class ExtrasOut(BaseModel):
    """By name."""

    extras: list[ExtraOut]


@router.get("", responses=_ERRORS)
def list_releases(deck_id: str, services: ServicesDep, person: PersonDep) -> ReleasesOut:
    services.store.decks.get(deck_id)
    job = services.releases.under_way(deck_id) if person.role != "playtester" else None
    return ReleasesOut(releases=[release_out(row, deck_id) for row in services.store.releases.all(deck_id)],
                       under_way=models.job_out(job.view) if job else None)


def release_out(row: ReleaseRow, deck_id: str) -> ReleaseOut:
    """As one of its decks has it."""
    return ReleaseOut(id=row.id, version=row.version, version_id=row.versions[deck_id], made=row.made, name=row.name,
                      bytes=row.bytes, files=[ReleaseFile(**{**_about(file, row.deck_id), **file})
                                              for file in row.files])


def _about(file: Any, deck_id: str) -> dict[str, str]:
    """What releases of before don't say of their files: they held one deck, without boxes."""
    part = "sheets" if file["ink"] else "guide" if file["method"] else "index"
    return {"part": part, "deck": deck_id if file["method"] else ""}


@router.post("", status_code=202, responses=_ERRORS)
async def start_release(deck_id: str, new: NewRelease, services: ServicesDep, person: PersonDep,
                        turn: TurnDep) -> ReleaseStarted:
    """Pack the deck by every method, paper and ink that is named. 503 with Retry-After when too much waits."""
    order = await turn(_order, services, person, deck_id, new)
    job, release_id = await turn(services.releases.start, person.id, order)
    return ReleaseStarted(job=job.id, release=release_id)


@router.get("/extras", responses=_ERRORS)
def list_extras(deck_id: str, services: ServicesDep) -> ExtrasOut:
    services.store.decks.get(deck_id)
    own = services.store.releases.extras(deck_id)
    return ExtrasOut(extras=[ExtraOut(name=one.name, bytes=one.bytes) for one in own])


@router.put("/extras/{name}", openapi_extra=models.RAW_BODY, responses=_ERRORS)
async def put_extra(deck_id: str, name: str, request: Request, services: ServicesDep, person: PersonDep) -> ExtrasOut:
    """Keep a file for the deck's releases, its bytes as the body, in place of one of that name. It is never opened."""
    name, store = clean_file_name(name), services.store
    await run_in_threadpool(store.decks.get, deck_id)
    await run_in_threadpool(store.folder.check_room, int(request.headers.get("content-length", "0")),
                            store.limits.free_bytes, name)
    with store.blobs.incoming(name) as incoming:
        async for chunk in request.stream():
            if incoming.size + len(chunk) > store.limits.extra_bytes:
                raise TooMuch(f"{name}: is over {bytes_text(store.limits.extra_bytes)}.", "Make it smaller.")
            await run_in_threadpool(incoming.write, chunk)
        if not incoming.size:
            raise BadValue(f"{name}: is empty.", "Choose a file with something in it.")
        key = await run_in_threadpool(incoming.keep)
    still_in(services, person)
    await run_in_threadpool(store.releases.put_extra, deck_id, Extra(name, key, incoming.size), store.limits.extras)
    return await run_in_threadpool(list_extras, deck_id, services)


@router.delete("/extras/{name}", responses=_ERRORS)
def remove_extra(deck_id: str, name: str, services: ServicesDep) -> ExtrasOut:
    """Take one of the deck's own files away; packs that hold it keep it. What is left."""
    services.store.releases.remove_extra(deck_id, name)
    return list_extras(deck_id, services)


@router.get("/{release_id}/pack.zip", responses={**_ERRORS, 200: {"content": {"application/zip": {}}}},
            response_class=FileResponse)
def release_pack(deck_id: str, release_id: ReleaseId, services: ServicesDep) -> FileResponse:
    """The whole pack."""
    row = services.release(deck_id, release_id)
    return FileResponse(services.store.releases.path(row.id), media_type="application/zip", filename=row.name)


@router.get("/{release_id}/files/{name:path}", responses={**_ERRORS, 200: {"content": {
    "application/pdf": {}, "application/octet-stream": {}}}}, response_class=StreamingResponse)
def release_file(deck_id: str, release_id: ReleaseId, name: str, services: ServicesDep) -> StreamingResponse:
    """One file of the pack, by its name in the manifest. People's own are sent to be saved, whatever they are."""
    row = services.release(deck_id, release_id)
    member = next((file for file in row.files if file["file"] == name), None)
    if member is None:
        raise NotThere(f"release: {name[:80]!r} isn't a file of this release.", "Take a name from its list.")
    kind = "application/octet-stream" if member.get("part") == "extra" else "application/pdf"
    headers = {"Content-Length": str(member["bytes"]),
               "Content-Disposition": f"attachment; filename*=UTF-8''{quote(name.rpartition('/')[2], safe='')}"}
    return StreamingResponse(_pieces(services.store.releases.path(row.id), name), media_type=kind, headers=headers)


@router.delete("/{release_id}", responses=_ERRORS)
def remove_release(deck_id: str, release_id: ReleaseId, services: ServicesDep, person: PersonDep) -> ReleasesOut:
    """Take a release away, from all its decks; it can be made again from its version. What is left."""
    row = services.release(deck_id, release_id)
    services.store.releases.remove(deck_id, row.id)
    return list_releases(deck_id, services, person)


def _pieces(pack: FilePath, name: str) -> Iterator[bytes]:
    with zipfile.ZipFile(pack) as archive, archive.open(name) as inside:
        while piece := inside.read(_PIECE):
            yield piece


def _order(services: Services, person: Session, deck_id: str, new: NewRelease) -> PackOrder:
    """Raises BadValue for what isn't known, or a deck without cards."""
    store = services.store
    methods = tuple(dict.fromkeys(method_named(name).name for name in new.methods))
    papers = tuple(dict.fromkeys(paper_named(name).name for name in new.papers))
    name = clean_name(new.version, "version")
    own = {one.name: one for one in store.releases.extras(deck_id)}
    unknown = next((name for name in new.extras if name not in own), None)
    if unknown is not None:
        raise BadValue(f"extras: {unknown[:80]!r} isn't one of this deck's own files.", "Load the page again.")
    decks = [_deck_to_pack(services, one, name) for one in dict.fromkeys((deck_id, *new.decks))]
    # All of them can be packed: only now is anything kept.
    packed = tuple(one if one.version_id else replace(one, version_id=_kept_now(services, person, one.id, name))
                   for one in decks)
    blobs = {key.partition("#")[0] for one in packed for key in one.arts}
    version = name[:SETTINGS["version"].longest].strip()  # as cards can show it
    return PackOrder(packed, version, methods, papers, tuple(new.inks),
                     tuple((name, store.blobs.path(own[name].key)) for name in dict.fromkeys(new.extras)),
                     art_limits(store), {key: store.blobs.path(key) for key in blobs}, FilePath())


def _deck_to_pack(services: Services, deck_id: str, name: str) -> PackDeck:
    """The deck as the version of that name has it, or as it is now, which isn't kept yet."""
    store = services.store
    row = store.decks.get(deck_id)
    kept = next((one for one in store.versions.all(deck_id) if one.name.casefold() == name.casefold()), None)
    view = services.version(deck_id, kept.id) if kept else services.views.view(row)
    if view.deck.count == 0:
        raise BadValue(f"deck: {row.state.name!r} has no card to release yet.", "Add fronts on the Art page.")
    return PackDeck(deck_id, kept.id if kept else "", with_box_art(view.deck, view.settings, view.art), view.settings)


def _kept_now(services: Services, person: Session, deck_id: str, name: str) -> str:
    """Keep the deck as it is now under that name; the version's id."""
    row = services.store.decks.get(deck_id)
    return services.store.versions.keep(deck_id, name, row.state, services.views.view(row).deck.count, person.id).id
