"""The app: routes in one tuple, errors in one place, the guard around all of it."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from fastapi import APIRouter, FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from server import __version__
from server.errors import LampfoldError
from server.resources import shipped
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
    routes_tables,
)
from server.web.answers import Answers
from server.web.guard import Guard
from server.web.services import Services

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
    routes_pages.router,
)


def create_app(services: Services, *, started: Callable[[], None] = lambda: None) -> FastAPI:
    """The ASGI app over ``services``, which it closes when it ends. ``started`` is called once it is up."""
    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        started()
        yield
        services.stopping.set()
        services.close()

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
