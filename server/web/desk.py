"""The Desk: decks by name, their changes, undo and redo, the bin, and the demo decks."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Response
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse
from pydantic import BaseModel, Field

from server.core.settings import EdgeMode
from server.errors import BadValue, Conflict, NotThere
from server.formats.limits import MAX_CARDS
from server.intake.deck_list import written_list
from server.store.deck_state import DeckState
from server.store.decks import DeckRow
from server.store.names import clean_name
from server.web import models
from server.web.decks import record_of
from server.web.desk_demos import demo_decks, load_demo
from server.web.services import PersonDep, Services, ServicesDep

router = APIRouter(prefix="/api", tags=["decks"])

_ERRORS = models.errors(404, 413, 422, 503)
page = APIRouter(include_in_schema=False)


class ConflictAnswer(models.ErrorAnswer):
    """The deck was changed meanwhile; ``current`` is what it is now."""

    current: models.DeckRecord


class StorageOut(BaseModel):
    bytes: int
    decks: int


class DeskOut(BaseModel):
    decks: list[models.DeckSummary]
    bin: list[models.DeckSummary]
    storage: StorageOut


class NewDeck(models.Sent):
    name: models.Name


Label = Annotated[str, Field(max_length=1100)]


class CardChange(models.Part):
    """What is changed of one card; null takes a change back. ``back`` is the label of any art, "" for no back; ``out``
    takes the card out, ``swapped`` makes its back the front; ``bleed`` is how bleed is made on both faces."""

    copies: Annotated[int, Field(ge=0, le=999)] | None = None
    name: models.Name | None = None
    back: Annotated[str, Field(max_length=1100)] | None = None
    out: bool | None = None
    swapped: bool | None = None
    bleed: EdgeMode | None = None


class DeckChange(models.Sent):
    """``revision`` is the one that was read; a newer one on the server answers 409. All of it is one revision, one step
    to undo. ``order`` lists cards by their labels, and [] puts them as the folder has them; ``proposals`` says of ids
    whether they are taken (true), declined (false), or open again (null)."""

    revision: int
    name: models.Name | None = None
    settings: models.Settings | None = None
    cards: models.ByName[CardChange] | None = None
    order: Annotated[list[Label], models.FIRST_FAULT, Field(max_length=MAX_CARDS)] | None = None
    proposals: models.ByName[bool | None] | None = None


class DemoOut(BaseModel):
    which: str
    name: str
    says: str


class DemosOut(BaseModel):
    demos: list[DemoOut]


class DemoChoice(models.Sent):
    which: models.Name


_CONFLICT: dict[int | str, dict[str, Any]] = {**_ERRORS, 409: {"model": ConflictAnswer}}


@page.get("/")
def desk(services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return HTMLResponse(services.pages.page("desk.html", page="desk", person=person))


@page.get("/favicon.ico")
def icon() -> RedirectResponse:
    """Browsers ask for it beside a PDF, where no page names the icon."""
    return RedirectResponse("/static/lampfold.svg", 301)


def _record(services: Services, row: DeckRow) -> models.DeckRecord:
    return record_of(services.views.view(row))


@router.get("/decks")
def list_decks(services: ServicesDep, person: PersonDep) -> DeskOut:
    """Every deck, the bin, and the room that all of it takes. To playtesters a deck's version is what was released."""
    rows = services.store.decks.all()
    if person.deck_id:
        rows = tuple(row for row in rows if row.id == person.deck_id)
    named = services.store.releases if person.role == "playtester" else services.store.versions
    names = named.latest_names()
    summaries = [services.views.summary(row, names.get(row.id, "")) for row in rows]
    total, decks = services.store.decks.storage()
    if person.deck_id:  # who came for one deck learns nothing of the others, not even how many there are
        total, decks = sum(file.bytes for row in rows for file in row.state.files), len(rows)
    return DeskOut(
        decks=[one for one in summaries if one.deleted is None],
        bin=[one for one in summaries if one.deleted] if person.role != "playtester" else [],
        storage=StorageOut(bytes=total, decks=decks))


@router.post("/decks", status_code=201, responses=_ERRORS)
def create_deck(new: NewDeck, services: ServicesDep, person: PersonDep) -> models.DeckRecord:
    """A deck without files."""
    return _record(services, services.store.decks.create(DeckState(clean_name(new.name)), person.id))


@router.get("/demo")
def list_demos() -> DemosOut:
    """The demo decks that come along."""
    return DemosOut(demos=[DemoOut(which=demo.which, name=demo.name, says=demo.says)
                                  for demo in demo_decks()])


@router.post("/demo", status_code=201, responses=_ERRORS)
async def open_demo(choice: DemoChoice, services: ServicesDep, person: PersonDep) -> models.DeckRecord:
    """A copy of a demo deck, to do with as one likes."""
    demo = next((one for one in demo_decks() if one.which == choice.which), None)
    if demo is None:
        raise NotThere(f"demo: {choice.which[:40]!r} doesn't exist.", "Choose one from GET /api/demo.")
    return _record(services, await load_demo(services, person.id, demo))


@router.get("/decks/{deck_id}", responses={**_ERRORS, 204: {"description": "Still at the revision that is known."}},
            response_model=models.DeckRecord)
def get_deck(deck_id: str, services: ServicesDep, known: int | None = None) -> models.DeckRecord | Response:
    """The deck as it is; nothing where ``known`` is its revision, so that pages can look often."""
    row = services.store.decks.get(deck_id)
    return Response(status_code=204) if row.version == known else _record(services, row)


@router.get("/decks/{deck_id}/deck.csv", responses={**_ERRORS, 200: {"content": {"text/csv": {}}}},
            response_class=Response)
def deck_list(deck_id: str, services: ServicesDep) -> Response:
    """The cards as a deck list: laid at the top of the deck's folder, the command line makes the same of it."""
    view = services.views.view(services.store.decks.get(deck_id))
    return Response(written_list(view.deck), media_type="text/csv; charset=utf-8",
                    headers={"Content-Disposition": 'attachment; filename="deck.csv"'})


@router.patch("/decks/{deck_id}", responses=_CONFLICT, response_model=models.DeckRecord)
def change_deck(deck_id: str, change: DeckChange, services: ServicesDep,
                person: PersonDep) -> models.DeckRecord | Response:
    """Name, settings or cards. 409 with the deck as it is now where ``revision`` isn't the latest."""
    try:
        row = services.store.decks.change(deck_id, lambda state: _changed(services, state, change), who=person.id,
                                          expected=change.revision)
    except Conflict as error:
        current = _record(services, services.store.decks.get(deck_id))
        answer = ConflictAnswer(message=error.message, fix=error.fix, current=current)
        return JSONResponse(models.plain(answer), 409)
    return _record(services, row)


def _changed(services: Services, state: DeckState, change: DeckChange) -> DeckState:
    most = services.store.limits.deck_files
    if change.name is not None:
        state = replace(state, name=clean_name(change.name))
    if change.settings:
        state = replace(state, settings=state.settings.changed(change.settings),
                        card_chosen=state.card_chosen or "card" in change.settings)
    if any(len(file) > 1100 for file in (*(change.cards or {}), *(change.proposals or {}))):
        raise BadValue("cards: a file's label is longer than any here.", "Use the labels of GET /api/decks/{id}.")
    if change.cards:
        state = state.with_overrides({file: card.model_dump(exclude_unset=True)
                                      for file, card in change.cards.items()})
    if change.order is not None:
        state = replace(state, order=tuple(dict.fromkeys(change.order)))
    if change.proposals:
        answers = {**state.proposals, **change.proposals}
        state = replace(state, proposals={name: yes for name, yes in answers.items() if yes is not None})
    if max(len(state.overrides), len(state.proposals)) > most or len(state.order) > MAX_CARDS:
        raise BadValue(f"cards: more than {most} are changed.", "Use a deck.csv instead.")
    return state


@router.delete("/decks/{deck_id}", responses=_ERRORS)
def delete_deck(deck_id: str, services: ServicesDep) -> models.DeckRecord:
    """To the bin, where it is kept for 30 days."""
    return _record(services, services.store.decks.remove(deck_id))


@router.post("/decks/{deck_id}/restore", responses=_ERRORS)
def restore_deck(deck_id: str, services: ServicesDep) -> models.DeckRecord:
    """Out of the bin."""
    return _record(services, services.store.decks.restore(deck_id))


@router.post("/decks/{deck_id}/undo", responses=_ERRORS)
def undo(deck_id: str, services: ServicesDep) -> models.DeckRecord:
    """One step back; at the first one nothing changes."""
    return _record(services, services.store.decks.undo(deck_id))


@router.post("/decks/{deck_id}/redo", responses=_ERRORS)
def redo(deck_id: str, services: ServicesDep) -> models.DeckRecord:
    """One step on; at the last one nothing changes."""
    return _record(services, services.store.decks.redo(deck_id))
