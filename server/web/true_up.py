"""True-up: the test sheet and its picture, the fit as readings are typed, and the backs of ready PDFs moved."""

from __future__ import annotations

import hashlib
import json
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, Response
from starlette.concurrency import run_in_threadpool

from server import __version__
from server.core import gauge_sheet as sheet
from server.core.geometry import Rect
from server.core.plan import Flip
from server.core.registration import fit_drift, vernier
from server.core.registration.printer import Printer
from server.core.registration.printer_file import printer_to_json
from server.core.sizes import paper_named
from server.core.wording import page_list_text
from server.errors import BadValue, NotArt, NotThere
from server.formats.header import HEAD_BYTES, kind_of
from server.jobs.builds import BuildFiles
from server.jobs.queue import Work
from server.jobs.tasks import NudgeOrder, draw_gauge_sheet_pdf, nudge
from server.store.blobs import Incoming
from server.store.guests import Session
from server.store.names import file_stem
from server.web import models
from server.web import true_up_models as out
from server.web.services import PersonDep, Services, ServicesDep, TurnDep, in_worker, known_printer, still_in
from server.web.true_up_answers import fit_out, plain_drift, plain_out, printer_of, readings_from

router = APIRouter(prefix="/api", tags=["true-up"])

_ERRORS = models.errors(404, 411, 413, 415, 422, 503, 507)
_PDF: dict[int | str, dict[str, Any]] = {**_ERRORS, 200: {"content": {"application/pdf": {}}}}
_WRITE_BYTES = 512 * 1024
PaperName = Annotated[str, Query(max_length=40)]
PrinterId = Annotated[str, Query(max_length=64)]
page = APIRouter(include_in_schema=False)


@page.get("/true-up")
def true_up_page(services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return HTMLResponse(services.pages.page("true_up.html", page="true-up", person=person))


@page.get("/decks/{deck_id}/true-up")
def deck_true_up_page(deck_id: str, services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return services.deck_page(person, deck_id, "true-up")


@router.get("/test-sheet.pdf", responses=_PDF, response_class=Response)
async def test_sheet(services: ServicesDep, person: PersonDep, paper: PaperName = "a4", flip: Flip = "long-edge",
                     printer: PrinterId = "") -> Response:
    """The test sheet as a PDF of two pages; with ``printer`` on that printer's paper and corrected, to confirm."""
    saved = await run_in_threadpool(_printer, services, person, printer) if printer else None
    size, turn = (saved.paper, saved.flip) if saved else (paper_named(paper), flip)
    content = await in_worker(services, Work("read", person.id, "test sheet", draw_gauge_sheet_pdf, (size, turn, saved),
                                             services.store.limits.read_seconds))
    name = "-".join(["test-sheet", file_stem(size.name), turn, *([file_stem(saved.name)] if saved else [])])
    return Response(content, media_type="application/pdf",
                    headers={"content-disposition": f'attachment; filename="{name}.pdf"'})


@router.get("/test-sheet/stations", responses=_ERRORS)
def stations(paper: PaperName = "a4") -> out.StationsOut:
    """Where the stations of a paper's test sheet lie, and the marks of one, so that a number can be drawn as seen."""
    size, blank = paper_named(paper), sheet.Station(0, 0.0, 0.0)
    return out.StationsOut(
        paper=size.name, paper_label=size.label, width_mm=size.width_mm, height_mm=size.height_mm,
        ruler_across_mm=sheet.ruler_length_mm(size.width_mm), ruler_down_mm=sheet.ruler_length_mm(size.height_mm),
        stations=[out.StationOut(number=one.number, x_mm=one.x_mm, y_mm=one.y_mm) for one in sheet.stations(size)],
        vernier=out.VernierOut(
            gap_mm=vernier.GAP_MM, main_pitch_mm=vernier.MAIN_PITCH_MM, vernier_pitch_mm=vernier.VERNIER_PITCH_MM,
            vernier_lines=vernier.VERNIER_LINES, main_lines=vernier.MAIN_LINES,
            least_count_mm=vernier.LEAST_COUNT_MM, range_mm=vernier.RANGE_MM, reach_mm=sheet.STATION_REACH_MM,
            main_band_mm=sheet.MAIN_BAND, vernier_band_mm=sheet.VERNIER_BAND),
        front=_shapes(sheet.front_station(blank)), back=_shapes(sheet.back_station(blank)))


@router.post("/fit", responses=_ERRORS)
async def fit(ask: out.FitAsk, turn: TurnDep) -> out.FitOut:
    """The drift behind readings, or the plain way's; nothing is saved. 422 where the stations are too few."""
    paper = paper_named(ask.paper)
    page = Rect(0.0, 0.0, paper.width_mm, paper.height_mm)
    if ask.plain is not None:
        return plain_out(plain_drift(ask.plain, page.centre), page)
    return fit_out(await turn(fit_drift, readings_from(ask.readings, paper), page.centre), page)


@router.post("/nudge", openapi_extra=models.RAW_BODY, responses=_ERRORS)
async def nudge_file(request: Request, services: ServicesDep, person: PersonDep, printer: PrinterId,
                     backs: Annotated[str, Query(max_length=400)] = "even",
                     name: Annotated[str, Query(max_length=200)] = "sheets.pdf") -> out.NudgedOut:
    """A ready PDF as the body: its back pages are moved by the printer's correction, in a worker."""
    saved = await run_in_threadpool(_printer, services, person, printer)
    if saved.drift is None:
        raise BadValue(f"printer: {saved.name} isn't trued up.", "Print and read the test sheet first.")
    limits, label = services.store.limits, f"{file_stem(name.removesuffix('.pdf'))}.pdf"
    announced = int(request.headers.get("content-length", "0"))
    await run_in_threadpool(services.store.folder.check_room, 2 * announced, limits.free_bytes, label)
    with services.store.blobs.incoming(label) as incoming:
        await _receive(incoming, request)
        files = BuildFiles.of(services.store.folder.builds, _key(incoming.key, saved, backs))
        order = NudgeOrder(incoming.path, label, saved, backs, files.pdf, files.info)
        info = await in_worker(services, Work("build", person.id, label, nudge, (order,), limits.build_seconds))
    still_in(services, person)
    services.builds.trim(files.pdf.stem)
    moved = page_list_text(info["moved"])
    made = f"{label.removesuffix('.pdf')}-trued-up.pdf"
    return out.NudgedOut(**info, pdf=f"/api/nudge/{files.pdf.stem}/{made}", name=made, note=saved.note,
                         says=f"{moved[:1].upper()}{moved[1:]} of {info['pages']} moved.")


@router.get("/nudge/{key}/{name}", responses=_PDF, response_class=FileResponse)
def nudged_file(key: Annotated[str, Path(pattern="^[0-9a-f]{64}$")], name: Annotated[str, Path(max_length=200)],
                services: ServicesDep) -> FileResponse:
    """A PDF whose backs were moved, as long as newer ones leave it room."""
    files = BuildFiles.of(services.store.folder.builds, key)
    if not (files.info.is_file() and files.pdf.is_file()):
        raise NotThere("file: it has made room for newer ones.", "Choose the PDF again on the True-up page.")
    return FileResponse(files.pdf, media_type="application/pdf", filename=f"{file_stem(name.removesuffix('.pdf'))}.pdf")


def _printer(services: Services, person: Session, printer_id: str) -> Printer:
    row = known_printer(services.store, person, printer_id)
    if row.deleted:
        raise NotThere(f"printer: {row.name!r} has been deleted.", "Restore it, or choose another.")
    return printer_of(row)


def _shapes(marks: sheet.Marks) -> out.ShapesOut:
    """A station's marks; the first of its texts is its number."""
    texts = [out.TextOut(x=one.at[0], y=one.at[1], text=one.text, size_mm=one.size_mm, anchor=one.anchor)
             for one in marks.texts]
    return out.ShapesOut(
        lines=[(*line.start, *line.end) for line in marks.lines],
        rings=[(*centre, radius) for centre, radius in marks.rings],
        discs=[(*centre, radius) for centre, radius in marks.discs], texts=texts[1:], number=texts[0])


async def _receive(incoming: Incoming, request: Request) -> None:
    """Write a PDF as it comes. Raises NotArt as soon as its first bytes show that it is none."""
    waiting, looked = bytearray(), False
    async for chunk in request.stream():
        waiting += chunk
        if not looked and len(waiting) >= HEAD_BYTES:
            looked = _check_pdf(incoming.label, waiting)
        if looked and len(waiting) >= _WRITE_BYTES:
            await run_in_threadpool(incoming.write, bytes(waiting))
            waiting.clear()
    if not looked:
        _check_pdf(incoming.label, waiting)
    await run_in_threadpool(incoming.write, bytes(waiting))
    await run_in_threadpool(incoming.finish)


def _check_pdf(label: str, head: bytearray) -> bool:
    if kind_of(bytes(head[:HEAD_BYTES])) != "pdf":
        raise NotArt(f"{label}: is no PDF by its content.", "Choose the PDF that you would print.")
    return True


def _key(content: str, printer: Printer, backs: str) -> str:
    """The same key, the same bytes."""
    shape = [__version__, content, printer_to_json(printer), backs.strip().lower()]
    return hashlib.sha256(json.dumps(shape, sort_keys=True).encode("utf-8")).hexdigest()
