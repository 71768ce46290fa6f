"""What playtesters do with releases: see what each choice looks like and what changed since theirs, print only that."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any, Literal, get_args

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from server.core.sizes import paper_named
from server.drawing.choice_pictures import Kind, choice_svgs
from server.errors import BadValue, NotThere
from server.jobs.builds import Since
from server.prepress import Prepared, prepare
from server.prepress.prepare import with_box_art
from server.prepress.release import variant_of
from server.store.guests import Session
from server.store.releases import ReleaseRow
from server.web import models
from server.web.decks import DeckView, art_address
from server.web.measures import Looked, compared, look_at
from server.web.services import PersonDep, Services, ServicesDep, TurnDep, art_limits, chosen_printer

router = APIRouter(prefix="/api/decks/{deck_id}/releases/{release_id}", tags=["releases"])

_ERRORS = models.errors(403, 404, 422, 503)
ReleaseId = Annotated[str, Path(max_length=40)]
_KINDS: tuple[Kind, ...] = get_args(Kind)
Chosen = Annotated[str, Query(max_length=40)]
ChosenId = Annotated[str, Field(max_length=40)]


class ChoiceLook(BaseModel):
    """A choice as two drawings, SVG: the sheets as they leave the printer, and what the choice makes of them, which
    ``says`` in words."""

    value: str
    printed: str
    made: str
    says: str


class ChoiceLooks(BaseModel):
    """Of every paper, method and ink that was released, beside what else is chosen."""

    paper: list[ChoiceLook]
    method: list[ChoiceLook]
    ink: list[ChoiceLook]


class ChangeSheetAsk(models.Sent):
    """``since`` is the release that is built already, by its id; ``method``, ``paper`` and ``ink`` are what this one
    was released in. ``printer`` is one that the person may choose, by its id, for which the sheets are corrected."""

    since: ChosenId
    method: ChosenId
    paper: ChosenId
    ink: ChosenId
    printer: ChosenId = ""


@router.get("/changes", responses=_ERRORS)
async def changes_since(deck_id: str, release_id: ReleaseId, services: ServicesDep, person: PersonDep,
                        since: Chosen) -> models.ChangesOut:
    """What changed in this deck from the release ``since`` to this one."""
    old, was = await run_in_threadpool(_released, services, deck_id, since)
    new, _ = await run_in_threadpool(_released, services, deck_id, release_id)
    return await compared(services, person.id, was.version, old, new)


@router.get("/looked", responses=_ERRORS)
async def looked_since(deck_id: str, release_id: ReleaseId, services: ServicesDep, person: PersonDep,
                       since: Chosen) -> Looked:
    """Look at some more of the pictures that ``changes`` needs, so that a page can say how far it is."""
    old, _ = await run_in_threadpool(_released, services, deck_id, since)
    new, _ = await run_in_threadpool(_released, services, deck_id, release_id)
    return await look_at(services, person.id, [old.deck, new.deck])


@router.get("/looks", responses=_ERRORS)
async def looks(deck_id: str, release_id: ReleaseId, services: ServicesDep, turn: TurnDep, paper: Chosen,
                method: Chosen, ink: Chosen) -> ChoiceLooks:
    """What each choice looks like with the other two as they are chosen, or as near to that as was released."""
    view, row = await turn(_released, services, deck_id, release_id)
    made: dict[tuple[str, ...], Prepared] = {}
    drawn: dict[str, list[ChoiceLook]] = {kind: [] for kind in _KINDS}
    papers = [paper_named(name) for name in _values(row, deck_id, "paper")]
    for kind in _KINDS:
        for number, value in enumerate(_values(row, deck_id, kind)):
            choice = _nearest(row, deck_id, {"paper": paper, "method": method, "ink": ink, kind: value}, kind)
            key = tuple(choice.values())
            if key not in made:
                made[key] = await turn(_prepared, services, view, row, choice)
            printed, result, says = await turn(choice_svgs, made[key].planned, kind, papers,
                                               f"look-{kind}{number}-", art_address)
            drawn[kind].append(ChoiceLook(value=value, printed=printed, made=result, says=says))
    return ChoiceLooks(**drawn)


@router.post("/change-sheet", status_code=202, responses=_ERRORS)
async def change_sheet(deck_id: str, release_id: ReleaseId, ask: ChangeSheetAsk, services: ServicesDep,
                       person: PersonDep, turn: TurnDep) -> models.JobStarted:
    """Build only what brings a built deck from the release ``since`` to this one, by a choice that was released."""
    old, was = await turn(_released, services, deck_id, ask.since)
    new, row = await turn(_released, services, deck_id, release_id)
    choice: dict[str, str] = {kind: getattr(ask, kind) for kind in _KINDS}
    if _nearest(row, deck_id, choice, "paper") != choice:
        raise BadValue("release: it wasn't released on this paper by this method in this ink.", "Choose another.")
    prepared = await turn(_prepared, services, new, row, choice, person, ask.printer)
    since = Since(old.deck, old.settings, was.version)
    job = await turn(services.builds.start, person.id, deck_id, prepared, since)
    return models.JobStarted(job=job.id)


def _released(services: Services, deck_id: str, release_id: str) -> tuple[DeckView, ReleaseRow]:
    """The deck as it was released. Raises NotThere where the release or its version isn't kept."""
    row = services.release(deck_id, release_id)
    return services.version(deck_id, row.versions[deck_id]), row


def _sheets(row: ReleaseRow, deck_id: str) -> list[Mapping[str, Any]]:
    return [file for file in row.files if file["ink"] and file.get("deck", deck_id) == deck_id]


def _values(row: ReleaseRow, deck_id: str, kind: Kind) -> Sequence[str]:
    return list(dict.fromkeys(file[kind] for file in _sheets(row, deck_id)))


def _nearest(row: ReleaseRow, deck_id: str, wanted: Mapping[str, str], fixed: Kind) -> dict[str, str]:
    """The released choice with the wanted value of ``fixed`` that has most of the others. Raises NotThere for none."""
    there: list[dict[str, str]] = [{kind: file[kind] for kind in _KINDS} for file in _sheets(row, deck_id)
                                   if file[fixed] == wanted[fixed]]
    if not there:
        raise NotThere(f"release: {wanted[fixed][:40]!r} wasn't released.", "Choose what is on its list.")
    return max(there, key=lambda one: sum(one[kind] == wanted[kind] for kind in _KINDS))


def _prepared(services: Services, view: DeckView, row: ReleaseRow, choice: Mapping[str, str],
              person: Session | None = None, printer_id: str = "") -> Prepared:
    """A choice of a release, for any printer or for one of the person's, as which it flips."""
    ink: Literal["full", "pale"] = "pale" if choice["ink"] == "pale" else "full"
    settings = variant_of(view.settings, row.version, choice["method"], choice["paper"], ink)
    printer = None
    if person and printer_id:
        settings = replace(settings, printer=printer_id)
        printer = chosen_printer(services.store, settings, person)
    if printer:
        settings = replace(settings, flip=printer.flip)
    deck = with_box_art(view.deck, settings, view.art)
    return prepare(deck, replace(settings, box=""), None, printer, art_limits(services.store))
