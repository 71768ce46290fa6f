"""The app: routes in one tuple, errors in one place, the guard around all of it."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from fastapi import APIRouter, FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from server import __version__
from server.errors import LampfoldError
from server.resources import shipped
from server.store.cleaning import clean
from server.web import (
    routes_archive,
    routes_art,
    routes_decks,
    routes_files,
    routes_glow,
    routes_jobs,
    routes_pages,
    routes_people,
    routes_plan,
    routes_printers,
    routes_tables,
    routes_true_up,
)
from server.web.answers import Answers
from server.web.guard import Guard
from server.web.logbook import event
from server.web.services import Services

_TIDY_SECONDS = 6 * 3600.0
# One line for each part of the API and the pages.
ROUTERS: tuple[APIRouter, ...] = (
    routes_tables.router,
    routes_decks.router,
    routes_files.router,
    routes_archive.router,
    routes_plan.router,
    routes_glow.router,
    routes_jobs.router,
    routes_art.router,
    routes_people.router,
    routes_printers.router,
    routes_true_up.router,
    routes_pages.router,
)


def create_app(services: Services, *, started: Callable[[], None] = lambda: None) -> FastAPI:
    """The ASGI app over ``services``, which it closes when it ends. ``started`` is called once it is up."""
    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        tidying = asyncio.ensure_future(_tidy(services))
        event("started", version=__version__, port=services.hosts.port, lan=int(services.hosts.lan))
        started()
        yield
        tidying.cancel()
        services.stopping.set()
        services.close()
        event("ended")

    answers = Answers(services.pages)
    # /docs and /redoc load their scripts from elsewhere, so they aren't served; the schema is.
    app = FastAPI(title="Lampfold", version=__version__, openapi_url="/api/openapi.json", docs_url=None,
                  redoc_url=None, lifespan=lifespan, redirect_slashes=False)
    app.state.services = services
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", StaticFiles(directory=shipped("static")), name="static")
    app.add_exception_handler(LampfoldError, answers.known)
    app.add_exception_handler(HTTPException, answers.http)
    app.add_exception_handler(RequestValidationError, answers.invalid)
    app.add_middleware(Guard, people=services.people, hosts=services.hosts, limits=services.store.limits,
                       answers=answers)
    return app


async def _tidy(services: Services) -> None:
    """Clean the data folder now and a few times a day. Trouble with it stops nothing."""
    while True:
        try:
            cleaned = await run_in_threadpool(clean, services.store)
            event("cleaned", decks=cleaned.decks, blobs=cleaned.blobs, pictures=cleaned.pictures)
        except (LampfoldError, OSError) as error:
            event("cleaning failed", kind=type(error).__name__)
        await asyncio.sleep(_TIDY_SECONDS)
