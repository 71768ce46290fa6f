"""Versions of a deck: kept under a name, compared, restored; what playtesters neither see nor change."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from server.errors import Conflict
from server.store.versions import VersionRow
from server.web import models
from server.web.decks import DeckView, record_of
from server.web.measures import Looked, compared, look_at
from server.web.services import PersonDep, Services, ServicesDep

router = APIRouter(prefix="/api/decks/{deck_id}/versions", tags=["versions"])

_ERRORS = models.errors(403, 404, 409, 413, 422, 503)
VersionId = Annotated[str, Path(max_length=40)]


class VersionOut(BaseModel):
    """A deck as it was when it was kept. ``cards`` counts copies; ``removed`` is when it was taken off the list, from
    which it can be put back for 30 days."""

    id: str
    name: str
    made: str
    cards: int
    removed: str | None


class VersionsOut(BaseModel):
    """Latest first. ``current`` names the version that the deck is now, "" where it has changed since, or none is."""

    versions: list[VersionOut]
    current: str


class NewVersion(models.Sent):
    """``revision`` is the one that was looked at; where the deck has a newer one, the answer is 409."""

    name: models.Name
    revision: Annotated[int, Field(ge=0)] | None = None


class VersionChange(models.Sent):
    """``removed`` false puts a version back on the list."""

    name: models.Name | None = None
    removed: bool | None = None


@router.get("", responses=_ERRORS)
def list_versions(deck_id: str, services: ServicesDep) -> VersionsOut:
    row = services.store.decks.get(deck_id)
    return VersionsOut(versions=[_out(one) for one in services.store.versions.all(deck_id)],
                       current=services.store.versions.named_as(deck_id, row.state))


@router.post("", status_code=201, responses=_ERRORS)
def keep_version(deck_id: str, new: NewVersion, services: ServicesDep, person: PersonDep) -> VersionOut:
    """Keep the deck as it is now under a name of its own."""
    view = services.views.view(services.store.decks.get(deck_id))
    if new.revision is not None and new.revision != view.row.version:
        raise Conflict(f"deck: {view.row.state.name!r} has been changed meanwhile.",
                       "Look at the newer one, then keep it.")
    return _out(services.store.versions.keep(deck_id, new.name, view.row.state, view.deck.count, person.id))


@router.patch("/{version_id}", responses=_ERRORS)
def change_version(deck_id: str, version_id: VersionId, change: VersionChange, services: ServicesDep) -> VersionOut:
    """Rename a version, take it off the list, or put it back."""
    services.store.decks.get(deck_id)
    return _out(services.store.versions.change(deck_id, version_id, change.name, change.removed))


@router.delete("/{version_id}", responses=_ERRORS)
def remove_version(deck_id: str, version_id: VersionId, services: ServicesDep) -> VersionOut:
    """Take a version off the list."""
    services.store.decks.get(deck_id)
    return _out(services.store.versions.change(deck_id, version_id, removed=True))


@router.post("/{version_id}/restore", responses=_ERRORS)
def restore_version(deck_id: str, version_id: VersionId, services: ServicesDep,
                    person: PersonDep) -> models.DeckRecord:
    """Make the deck what it was, as a new revision: what it is now comes back by undo, and stays kept if it is a
    version."""
    state = services.version(deck_id, version_id).row.state
    row = services.store.decks.change(deck_id, lambda now: state, who=person.id, kind="version")
    return record_of(services.views.view(row))


@router.get("/{version_id}/changes", responses=_ERRORS)
async def changes(deck_id: str, version_id: VersionId, services: ServicesDep, person: PersonDep,
                  to: Annotated[str, Query(max_length=40)] = "") -> models.ChangesOut:
    """What changed from this version to the one of the id ``to``, or to the deck as it is now."""
    name = (await run_in_threadpool(services.store.versions.get, deck_id, version_id)).name
    return await compared(services, person.id, name, *await run_in_threadpool(_two, services, deck_id, version_id, to))


@router.get("/{version_id}/looked", responses=_ERRORS)
async def looked(deck_id: str, version_id: VersionId, services: ServicesDep, person: PersonDep,
                 to: Annotated[str, Query(max_length=40)] = "") -> Looked:
    """Look at some more of the pictures that ``changes`` needs, so that a page can say how far it is."""
    two = await run_in_threadpool(_two, services, deck_id, version_id, to)
    return await look_at(services, person.id, [view.deck for view in two])


def _two(services: Services, deck_id: str, version_id: str, to: str) -> tuple[DeckView, DeckView]:
    row = services.store.decks.get(deck_id)
    return (services.version(deck_id, version_id),
            services.version(deck_id, to) if to else services.views.view(row))


def _out(row: VersionRow) -> VersionOut:
    return VersionOut(id=row.id, name=row.name, made=row.made, cards=row.cards, removed=row.removed)
