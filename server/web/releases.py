"""Releases of a deck: packs made for others to print, listed, and fetched whole or one PDF at a time."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path as FilePath
from typing import Annotated, Literal

from fastapi import APIRouter, Path
from fastapi.responses import FileResponse, StreamingResponse
from pydantic import BaseModel, Field

from server.core.methods import method_named
from server.core.paper import paper_named
from server.core.settings import SETTINGS
from server.errors import BadValue, NotThere
from server.jobs.releases import PackOrder
from server.prepress.prepare import with_box_art
from server.store.guests import Session
from server.store.names import clean_name
from server.store.releases import ReleaseRow
from server.web import models
from server.web.services import PersonDep, Services, ServicesDep, TurnDep, art_limits

router = APIRouter(prefix="/api/decks/{deck_id}/releases", tags=["releases"])

_ERRORS = models.errors(403, 404, 413, 422, 503, 507)
_PIECE = 256 * 1024
Choices = Annotated[list[Annotated[str, Field(max_length=40)]], Field(min_length=1, max_length=20)]
ReleaseId = Annotated[str, Path(max_length=40)]


class NewRelease(models.Sent):
    """``version`` is a name: of a version that is kept, which is released then, or a new one, under which the deck is
    kept as it is now."""

    version: models.Name
    methods: Choices
    papers: Choices
    inks: Annotated[list[Literal["full", "pale"]], Field(min_length=1, max_length=2)]


class ReleaseStarted(BaseModel):
    """The job to watch under /api/jobs, and the id of the release once that is done."""

    job: str
    release: str


class ReleaseFile(BaseModel):
    """A file of the pack. ``method`` is "" for the index; ``ink`` is "" for a guide; ``papers`` are sheets of paper."""

    file: str
    sha256: str
    bytes: int
    method: str
    paper: str
    ink: str
    papers: int


class ReleaseOut(BaseModel):
    """``name`` is what the pack is saved as."""

    id: str
    version: str
    made: str
    name: str
    bytes: int
    files: list[ReleaseFile]


class ReleasesOut(BaseModel):
    """Newest first."""

    releases: list[ReleaseOut]


@router.get("", responses=_ERRORS)
def list_releases(deck_id: str, services: ServicesDep) -> ReleasesOut:
    services.store.decks.get(deck_id)
    return ReleasesOut(releases=[ReleaseOut(**asdict(row)) for row in services.store.releases.all(deck_id)])


@router.post("", status_code=202, responses=_ERRORS)
async def start_release(deck_id: str, new: NewRelease, services: ServicesDep, person: PersonDep,
                        turn: TurnDep) -> ReleaseStarted:
    """Pack the deck by every method, paper and ink that is named. 503 with Retry-After when too much waits."""
    order = await turn(_order, services, person, deck_id, new)
    job, release_id = await turn(services.releases.start, person.id, deck_id, order)
    return ReleaseStarted(job=job.id, release=release_id)


@router.get("/{release_id}/pack.zip", responses={**_ERRORS, 200: {"content": {"application/zip": {}}}},
            response_class=FileResponse)
def release_pack(deck_id: str, release_id: ReleaseId, services: ServicesDep) -> FileResponse:
    """The whole pack."""
    row = _row(services, deck_id, release_id)
    return FileResponse(services.store.releases.path(row.id), media_type="application/zip", filename=row.name)


@router.get("/{release_id}/files/{name:path}", responses={**_ERRORS, 200: {"content": {"application/pdf": {}}}},
            response_class=StreamingResponse)
def release_file(deck_id: str, release_id: ReleaseId, name: str, services: ServicesDep) -> StreamingResponse:
    """One PDF of the pack, by its name in the manifest."""
    row = _row(services, deck_id, release_id)
    member = next((file for file in row.files if file["file"] == name and name.endswith(".pdf")), None)
    if member is None:
        raise NotThere(f"release: {name[:80]!r} isn't a PDF of this release.", "Take a name from its list.")
    headers = {"Content-Length": str(member["bytes"]),
               "Content-Disposition": f'attachment; filename="{name.rpartition("/")[2]}"'}
    return StreamingResponse(_pieces(services.store.releases.path(row.id), name), media_type="application/pdf",
                             headers=headers)


@router.delete("/{release_id}", responses=_ERRORS)
def remove_release(deck_id: str, release_id: ReleaseId, services: ServicesDep) -> ReleasesOut:
    """Take a release away; it can be made again from its version. What is left."""
    row = _row(services, deck_id, release_id)
    services.store.releases.remove(deck_id, row.id)
    return list_releases(deck_id, services)


def _row(services: Services, deck_id: str, release_id: str) -> ReleaseRow:
    services.store.decks.get(deck_id)
    return services.store.releases.get(deck_id, release_id)


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
    version = name[:SETTINGS["version"].longest].strip()  # as cards can show it
    row = store.decks.get(deck_id)
    kept = next((one for one in store.versions.all(deck_id) if one.name.casefold() == name.casefold()), None)
    view = services.version(deck_id, kept.id) if kept else services.views.view(row)
    if view.deck.count == 0:
        raise BadValue("deck: there is no card to release yet.", "Add fronts on the Art page.")
    if kept is None:
        store.versions.keep(deck_id, name, row.state, view.deck.count, person.id)
    deck = with_box_art(view.deck, view.settings, view.art)
    keys = {art.key.partition("#")[0] for card in deck.cards for art in (card.front, card.back) if art}
    return PackOrder(deck, view.settings, version, methods, papers, tuple(new.inks),
                     art_limits(store), {key: store.blobs.path(key) for key in keys}, FilePath())
