"""Builds: start one, watch it, cancel it, and fetch what it made."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from fastapi.responses import FileResponse, StreamingResponse

from server.errors import Refused
from server.jobs.board import Job, JobView
from server.web import models, plan_models
from server.web.people import Session
from server.web.preparing import prepared_deck
from server.web.services import PersonDep, Services, ServicesDep

router = APIRouter(prefix="/api", tags=["builds"])

_ERRORS: dict[int | str, dict[str, Any]] = {status: {"model": models.ErrorAnswer} for status in (403, 404, 422, 503)}
JobId = Annotated[str, Path(max_length=40)]
# Proxies and sleeping laptops drop silent streams; a comment line keeps one open (HTML Standard, 9.2.7).
_KEEP_ALIVE_SECONDS = 15.0


@router.post("/decks/{deck_id}/builds", status_code=202, responses=_ERRORS)
def start_build(deck_id: str, services: ServicesDep, person: PersonDep,
                ask: plan_models.BuildAsk | None = None) -> plan_models.JobStarted:
    """Build the deck. 503 with Retry-After when too much waits already."""
    changes = ask.settings if ask else {}
    # What can't be laid out is told now, not after a wait in the queue.
    prepared = prepared_deck(services, person, deck_id, changes)
    return plan_models.JobStarted(job=services.builds.start(person.id, deck_id, prepared).id)


@router.get("/jobs/{job_id}", responses=_ERRORS)
def get_job(job_id: JobId, services: ServicesDep, person: PersonDep) -> plan_models.JobOut:
    return job_out(_job(services, person, job_id).view)


@router.get("/jobs/{job_id}/events", responses={**_ERRORS, 200: {"content": {"text/event-stream": {}}}},
            response_class=StreamingResponse)
async def watch_job(job_id: JobId, request: Request, services: ServicesDep, person: PersonDep) -> StreamingResponse:
    """The job at each change, as server-sent events, until it has ended."""
    job = _job(services, person, job_id)
    return StreamingResponse(_events(services, person, job), media_type="text/event-stream")


@router.delete("/jobs/{job_id}", responses=_ERRORS)
def cancel_job(job_id: JobId, services: ServicesDep, person: PersonDep) -> plan_models.JobOut:
    """End a job. One that has ended already stays as it is."""
    job = _job(services, person, job_id)
    services.builds.cancel(job)
    return job_out(job.view)


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


def job_out(view: JobView) -> plan_models.JobOut:
    values = asdict(view)
    result = values.pop("result")
    return plan_models.JobOut(**values, result=plan_models.JobResult(**result) if result else None)


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
            yield f"data: {job_out(view).model_dump_json()}\n\n"
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
