"""The Output page: builds started, watched, cancelled and fetched; and how to print and build what they hold."""

from __future__ import annotations

import asyncio
import io
import zipfile
from collections.abc import AsyncIterator
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, Response, StreamingResponse
from pydantic import BaseModel, Field

from server.core.guide import cautions, cautions_of, guide_steps, handover, print_settings, scale_check
from server.core.machine import machine_files
from server.core.methods import Step
from server.core.planning import Planned
from server.drawing.guide_pages import step_svg
from server.errors import Refused
from server.jobs.builds import Job, Since
from server.prepress import Part, pdf_name
from server.store.guests import Session
from server.web import models
from server.web.decks import art_address
from server.web.services import PersonDep, Services, ServicesDep, TurnDep

router = APIRouter(prefix="/api", tags=["builds"])

_ERRORS = models.errors(403, 404, 422, 503)
Choice = Annotated[str | None, Query(max_length=40)]
VersionId = Annotated[str, Field(max_length=40)]
JobId = Annotated[str, Path(max_length=40)]
# Proxies and sleeping laptops drop silent streams; a comment line keeps one open (HTML Standard, 9.2.7).
_KEEP_ALIVE_SECONDS = 15.0
page = APIRouter(include_in_schema=False)


class StepOut(BaseModel):
    title: str
    says: str
    why: str


class DrawnStep(StepOut):
    """A build step: what to be careful with before it is begun, and its drawing as SVG."""

    cautions: list[StepOut]
    drawing: str


class GuideOut(BaseModel):
    """What to choose in the print dialog, the scale check, the build steps, cautions and hints for a print shop."""

    print_settings: list[StepOut]
    scale_check: list[StepOut]
    build_steps: list[DrawnStep]
    cautions: list[StepOut]
    handover: list[StepOut]


class BuildAsk(models.Sent):
    """``settings`` are put over the deck's own for this build alone, so that others can print on their own paper.

    ``version`` builds a version that is kept, by its id; ``since`` only what changed since one; ``part`` the guide or
    the box alone instead of the sheets.
    """

    settings: models.Settings = Field(default_factory=dict)
    version: VersionId = ""
    since: VersionId = ""
    part: Part = "sheets"


@page.get("/decks/{deck_id}/output")
def output_page(deck_id: str, services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return services.deck_page(person, deck_id, "output")


@router.get("/decks/{deck_id}/guide", responses=_ERRORS)
async def guide(deck_id: str, services: ServicesDep, person: PersonDep, turn: TurnDep, paper: Choice = None,
                flip: Choice = None, printer: Annotated[str | None, Query(max_length=64)] = None) -> GuideOut:
    """What to choose in the print dialog, and how to build the cards; on another paper, flip or printer ("" for none)
    where one is named."""
    changes = {name: value for name, value in (("paper", paper), ("flip", flip)) if value}
    if printer is not None:
        changes["printer"] = printer
    prepared = await turn(services.prepared, person, deck_id, changes)
    layout, settings = prepared.planned.plan.layout, prepared.settings
    stock, core_mm = settings.stock_record, settings.core_mm
    return GuideOut(
        print_settings=_steps(print_settings(layout, stock)), scale_check=_steps(scale_check(layout)),
        build_steps=await turn(_drawn, prepared.planned), cautions=_steps(cautions(layout)),
        handover=_steps(handover(layout, stock, core_mm)))


def _drawn(planned: Planned) -> list[DrawnStep]:
    steps = guide_steps(planned.plan.layout, planned.settings, planned.box)
    return [DrawnStep(title=step.title, says=step.says, why=step.why, cautions=_steps(cautions_of(step)),
                      drawing=step_svg(planned, step.picture, step.title, f"step{number}-", art_address))
            for number, step in enumerate(steps)]


def _steps(steps: tuple[Step, ...]) -> list[StepOut]:
    return [StepOut(title=step.title, says=step.says, why=step.why) for step in steps]


@router.post("/decks/{deck_id}/builds", status_code=202, responses=_ERRORS)
async def start_build(deck_id: str, services: ServicesDep, person: PersonDep, turn: TurnDep,
                      ask: BuildAsk | None = None) -> models.JobStarted:
    """Build the deck. 503 with Retry-After when too much waits already."""
    ask = ask or BuildAsk()
    if person.role == "playtester" and (ask.version or ask.since):
        raise Refused("A playtester builds the deck as it is shown.", "Build it without a version.")
    # What can't be laid out is told now, not after a wait in the queue.
    prepared = await turn(services.prepared, person, deck_id, ask.settings, ask.version)
    since = await turn(_since, services, deck_id, ask.since) if ask.since else None
    job = await turn(services.builds.start, person.id, deck_id, prepared, since, ask.part)
    return models.JobStarted(job=job.id)


def _since(services: Services, deck_id: str, version: str) -> Since:
    old = services.version(deck_id, version)
    return Since(old.deck, old.settings, services.store.versions.get(deck_id, version).name)


@router.get("/decks/{deck_id}/contours.zip", responses={**_ERRORS, 200: {"content": {"application/zip": {}}}},
            response_class=Response)
async def contours(deck_id: str, services: ServicesDep, person: PersonDep, turn: TurnDep) -> Response:
    """Each sheet's contours, creases and registration marks as SVG, for a cutting machine; the PDF carries the same
    marks where the deck's ``registration`` is on."""
    prepared = await turn(services.prepared, person, deck_id, {})
    name = pdf_name(prepared).removesuffix(".pdf")
    return Response(await turn(_packed, prepared.planned), media_type="application/zip",
                    headers={"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}-contours.zip"})


def _packed(planned: Planned) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in machine_files(planned).items():
            archive.writestr(name, text)
    return packed.getvalue()


@router.get("/jobs/{job_id}", responses=_ERRORS)
def get_job(job_id: JobId, services: ServicesDep, person: PersonDep) -> models.JobOut:
    return models.job_out(_job(services, person, job_id).view)


@router.get("/jobs/{job_id}/events", responses={**_ERRORS, 200: {"content": {"text/event-stream": {}}}},
            response_class=StreamingResponse)
async def watch_job(job_id: JobId, request: Request, services: ServicesDep, person: PersonDep) -> StreamingResponse:
    """The job at each change, as server-sent events, until it has ended."""
    job = _job(services, person, job_id)
    return StreamingResponse(_events(services, person, job), media_type="text/event-stream")


@router.delete("/jobs/{job_id}", responses=_ERRORS)
def cancel_job(job_id: JobId, services: ServicesDep, person: PersonDep) -> models.JobOut:
    """End a job. One that has ended already stays as it is."""
    job = _job(services, person, job_id)
    services.builds.cancel(job)
    return models.job_out(job.view)


@router.get("/jobs/{job_id}/file.pdf", responses={**_ERRORS, 200: {"content": {"application/pdf": {}}}},
            response_class=FileResponse)
def job_pdf(job_id: JobId, services: ServicesDep, person: PersonDep, inline: bool = False) -> FileResponse:
    """The PDF, to be saved; with ``inline`` to be looked at."""
    job = _job(services, person, job_id)
    files = services.builds.files(job)
    name = str(job.view.result["name"]) if job.view.result else "deck.pdf"
    return FileResponse(files.pdf, media_type="application/pdf", filename=name,
                        content_disposition_type="inline" if inline else "attachment")


@router.get("/jobs/{job_id}/plan.json", responses={**_ERRORS, 200: {"content": {"application/json": {}}}},
            response_class=FileResponse)
def job_plan(job_id: JobId, services: ServicesDep, person: PersonDep) -> FileResponse:
    """The sheet plan: every placement of every face in mm."""
    files = services.builds.files(_job(services, person, job_id))
    return FileResponse(files.plan, media_type="application/json")


def _job(services: Services, person: Session, job_id: str) -> Job:
    """Raises NotThere, and Refused where a playtester asks for another's job."""
    job = services.board.get(job_id)
    if person.role == "playtester" and job.person != person.id:
        raise Refused("This build isn't yours.", "Build your own.")
    return job


async def _events(services: Services, person: Session, job: Job) -> AsyncIterator[str]:
    changed = job.watch()
    ending = asyncio.ensure_future(services.stopping.wait())
    try:
        while not ending.done() and services.people.is_live(person.id):
            changed.clear()
            view = job.view
            yield f"data: {models.job_out(view).model_dump_json()}\n\n"
            if view.ended:
                return
            change = asyncio.ensure_future(changed.wait())
            while not (change.done() or ending.done()):
                done, _ = await asyncio.wait((change, ending), timeout=_KEEP_ALIVE_SECONDS,
                                             return_when=asyncio.FIRST_COMPLETED)
                if not done:
                    yield ": still at it\n\n"
            change.cancel()
    finally:
        ending.cancel()
        job.unwatch(changed)
