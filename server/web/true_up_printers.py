"""Saved printers: made, changed, trued up, confirmed, deleted and brought back, exported and imported."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from fastapi.responses import JSONResponse, Response

from server.core.geometry import Edges
from server.core.registration.printer import Printer, named
from server.core.registration.printer_file import printer_from_text, printer_text, printer_to_json
from server.core.registration.wander import NEVER_MEASURED
from server.core.sizes import paper_named
from server.errors import BadValue, Conflict, NotThere, Refused, TooMuch
from server.store.guests import Session
from server.store.names import file_stem
from server.store.printers import PrinterRow
from server.web import models
from server.web import true_up_models as out
from server.web.services import PersonDep, Services, ServicesDep, known_printer
from server.web.true_up_answers import plain_drift, printer_of, printer_out, readings_from

router = APIRouter(prefix="/api/printers", tags=["printers"])

_ERRORS = models.errors(403, 404, 413, 422)
_MOST_PRINTERS, _MOST_OWN = 200, 5
# Of all printers together, since all are shown at once: a printer's twenty sheets of nine are 180.
_MOST_KEPT_READINGS = 10_000
PrinterId = Annotated[str, Path(max_length=64)]
_CONFLICT: dict[int | str, dict[str, Any]] = {**_ERRORS, 409: {"model": out.PrinterConflict}}
_FILE_BODY = {"requestBody": {"required": True, "content": {"application/json": {"schema": {"type": "object"}}}}}


@router.get("")
def printers(services: ServicesDep, person: PersonDep) -> out.PrintersOut:
    """All printers by name, and the deleted ones, which can be brought back. A playtester's own are seen by that
    playtester alone."""
    saved = services.store.printers
    return out.PrintersOut(printers=_shown(saved.all(session=person.id)),
                           deleted=_shown(saved.all(deleted=True, session=person.id)))


@router.post("", status_code=201, responses=_ERRORS)
def create(ask: out.PrinterIn, services: ServicesDep, person: PersonDep) -> out.PrinterOut:
    """A new printer, not trued up yet."""
    return _put(services, person, _described(ask, None))


@router.post("/import", status_code=201, responses=_ERRORS, openapi_extra=_FILE_BODY)
async def take_in(request: Request, services: ServicesDep, person: PersonDep) -> out.PrinterOut:
    """A printer from its file, as ``export`` and the command line write it, as a new one."""
    try:
        text = (await request.body()).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadValue("printer file: isn't UTF-8 text.", "Choose the file that Lampfold exported.") from None
    return _put(services, person, printer_from_text(text))


@router.get("/{printer_id}", responses=_ERRORS)
def one(printer_id: PrinterId, services: ServicesDep, person: PersonDep) -> out.PrinterOut:
    return _out(known_printer(services.store, person, printer_id))


@router.put("/{printer_id}", responses=_CONFLICT, response_model=out.PrinterOut)
def change(printer_id: PrinterId, ask: out.PrinterIn, services: ServicesDep, person: PersonDep,
           revision: int | None = None) -> out.PrinterOut | Response:
    """What the form says of it. Paper and flip stay those of its readings, once it has any. 409 with the printer as it
    is now where ``revision`` is given and isn't the latest."""
    return _expected(services, person, printer_id, lambda printer: _described(ask, printer), revision)


@router.delete("/{printer_id}", responses=_ERRORS)
def delete(printer_id: PrinterId, services: ServicesDep, person: PersonDep) -> out.PrinterOut:
    """Delete a printer; ``restore`` brings it back."""
    _saved(services, person, printer_id)
    return _out(services.store.printers.remove(printer_id))


@router.post("/{printer_id}/restore", responses=_ERRORS)
def restore(printer_id: PrinterId, services: ServicesDep, person: PersonDep) -> out.PrinterOut:
    return _out(services.store.printers.restore(_own(services, person, printer_id).id))


@router.post("/{printer_id}/undo", responses=_ERRORS)
def undo(printer_id: PrinterId, services: ServicesDep, person: PersonDep) -> out.PrinterOut:
    """Back to how the printer was before its last change."""
    _saved(services, person, printer_id)
    return _out(services.store.printers.undo(printer_id))


@router.get("/{printer_id}/export", responses={**_ERRORS, 200: {"content": {"application/json": {}}}},
            response_class=Response)
def export(printer_id: PrinterId, services: ServicesDep, person: PersonDep) -> Response:
    """The printer as one file, which ``import`` and ``build --printer`` take."""
    printer = printer_of(known_printer(services.store, person, printer_id))
    name = f"{file_stem(printer.name)}.json"
    return Response(printer_text(printer), media_type="application/json",
                    headers={"content-disposition": f'attachment; filename="{name}"'})


@router.put("/{printer_id}/readings", responses=_CONFLICT, response_model=out.PrinterOut)
def true_up(printer_id: PrinterId, ask: out.Measured, services: ServicesDep, person: PersonDep,
            revision: int | None = None) -> out.PrinterOut | Response:
    """True the printer up by these readings, or by plain numbers, in place of those before."""
    def trued(printer: Printer) -> Printer:
        if ask.plain is not None:
            return printer.trued(plain_drift(ask.plain, printer.centre), date.today())
        return printer.fitted(readings_from(ask.readings, printer.paper), date.today())[0]
    return _expected(services, person, printer_id, trued, revision)


@router.delete("/{printer_id}/readings", responses=_ERRORS)
def forget(printer_id: PrinterId, services: ServicesDep, person: PersonDep) -> out.PrinterOut:
    """Forget what was measured: the printer is not trued up any more."""
    return _changed(services, person, printer_id, lambda printer: replace(
        printer, drift=None, trued_up=None, wander=NEVER_MEASURED, readings=(), confirmed=None))


@router.put("/{printer_id}/confirmation", responses=_CONFLICT, response_model=out.PrinterOut)
def confirm(printer_id: PrinterId, ask: out.Measured, services: ServicesDep, person: PersonDep,
            revision: int | None = None) -> out.PrinterOut | Response:
    """What a test sheet shows that was printed with the correction."""
    def confirmed(printer: Printer) -> Printer:
        if printer.drift is None:
            raise BadValue(f"printer: {printer.name} isn't trued up, so there is nothing to confirm.",
                           "Print and read the test sheet first.")
        return printer.confirmed_by(readings_from(ask.readings, printer.paper), date.today())[0]
    return _expected(services, person, printer_id, confirmed, revision)


@router.delete("/{printer_id}/confirmation", responses=_ERRORS)
def unconfirm(printer_id: PrinterId, services: ServicesDep, person: PersonDep) -> out.PrinterOut:
    """Forget the confirming sheet."""
    return _changed(services, person, printer_id, lambda printer: replace(printer, confirmed=None))


@router.post("/{printer_id}/refine", responses=_ERRORS)
def refine(printer_id: PrinterId, services: ServicesDep, person: PersonDep) -> out.PrinterOut:
    """Take what the confirming sheet still showed into the drift."""
    return _changed(services, person, printer_id, Printer.refined)


def _shown(rows: tuple[PrinterRow, ...]) -> list[out.PrinterOut]:
    shown = []
    for row in rows:
        try:
            shown.append(_out(row))
        except BadValue:
            continue  # what a newer Lampfold kept is no reason to hide the others
    return shown


def _out(row: PrinterRow) -> out.PrinterOut:
    return printer_out(row, printer_of(row))


def _own(services: Services, person: Session, printer_id: str) -> PrinterRow:
    """Raises NotThere for a printer that isn't kept, and Refused for one that isn't this person's to change."""
    row = known_printer(services.store, person, printer_id)
    if person.role == "playtester" and not row.owner:
        raise Refused(f"printer: {row.name!r} is the makers'.", "Make one of your own: choose New printer.")
    return row


def _saved(services: Services, person: Session, printer_id: str) -> PrinterRow:
    """The same, and raises NotThere for one that has been deleted."""
    row = _own(services, person, printer_id)
    if row.deleted:
        raise NotThere(f"printer: {row.name!r} has been deleted.", "Restore it first.")
    return row


def _changed(services: Services, person: Session, printer_id: str, act: Callable[[Printer], Printer],
             expected: int | None = None) -> out.PrinterOut:
    return _put(services, person, act(printer_of(_saved(services, person, printer_id))), printer_id, expected)


def _expected(services: Services, person: Session, printer_id: str, act: Callable[[Printer], Printer],
              revision: int | None) -> out.PrinterOut | Response:
    try:
        return _changed(services, person, printer_id, act, revision)
    except Conflict as error:
        current = _out(services.store.printers.get(printer_id))
        answer = out.PrinterConflict(message=error.message, fix=error.fix, current=current)
        return JSONResponse(models.plain(answer), 409)


def _put(services: Services, person: Session, printer: Printer, printer_id: str | None = None,
         expected: int | None = None) -> out.PrinterOut:
    saved = services.store.printers
    owner = person.id if person.role == "playtester" else ""
    if printer_id is None:
        kept = sum(row.owner == owner for row in saved.all(session=owner))
        most = _MOST_OWN if owner else _MOST_PRINTERS
        if kept >= most:
            raise TooMuch(f"printers: {most} are kept already.", "Delete those that you don't use.")
    _check_readings(saved.readings(printer_id or ""), printer)
    return _out(saved.put(printer.name, printer_to_json(printer), printer_id, expected, owner))


def _check_readings(others: int, printer: Printer) -> None:
    own = len(printer.readings) + (len(printer.confirmed.readings) if printer.confirmed else 0)
    if own and others + own > _MOST_KEPT_READINGS:
        raise TooMuch(f"readings: {others} are kept of other printers, and {_MOST_KEPT_READINGS} are the most.",
                      "Delete the readings of printers that you don't use.")


def _described(ask: out.PrinterIn, before: Printer | None) -> Printer:
    """The printer that the form describes, what was measured taken from ``before``. Raises BadValue."""
    paper, margins = paper_named(ask.paper), ask.margins_mm
    edges = Edges(margins.left, margins.top, margins.right, margins.bottom)
    scale = ask.front_scale.x, ask.front_scale.y
    name, feed = named(ask.name), " ".join(ask.feed.split())
    if before is None:
        return Printer(name, paper, ask.flip, feed, edges, front_scale=scale)
    if before.drift is not None and (paper, ask.flip) != (before.paper, before.flip):
        raise BadValue(f"paper: {before.name} was trued up on {before.paper.label} with a "
                       f"{before.flip.replace('-', ' ')} flip.", "Make a printer of its own for other paper or flip.")
    return replace(before, name=name, paper=paper, flip=ask.flip, feed=feed, margins=edges, front_scale=scale)
