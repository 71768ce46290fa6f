"""The app: routes in one tuple, errors in one place, the guard around all of it; and running it on bound sockets."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import socket
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import uvicorn
from fastapi import APIRouter, FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse
from starlette.staticfiles import StaticFiles

from server import __version__
from server.errors import LampfoldError
from server.resources import shipped
from server.store.store import clean
from server.web import (
    art,
    art_bleed,
    desk,
    glow,
    output,
    people,
    released,
    releases,
    sheet,
    true_up,
    true_up_photo,
    true_up_printers,
    versions,
)
from server.web.answers import Answers
from server.web.guard import MOST_HEADER_BYTES, Guard
from server.web.logbook import event
from server.web.once import Once
from server.web.services import Services
from server.web.sockets import protocol_class

_TIDY_SECONDS = 6 * 3600.0
# One line for each part of the API and the pages.
ROUTERS: tuple[APIRouter, ...] = (
    desk.router, desk.page,
    art.router, art_bleed.router, art.pictures, art.page,
    sheet.router, sheet.tables_router, sheet.page,
    glow.router, glow.page,
    true_up.router, true_up_photo.router, true_up_printers.router, true_up.page, true_up_photo.page,
    output.router, output.page, versions.router, releases.router, released.router,
    people.router,
)


def create_app(services: Services, *, started: Callable[[], None] = lambda: None) -> FastAPI:
    """The ASGI app over ``services``, which it closes when it ends. ``started`` is called once it is up."""
    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        background = [asyncio.ensure_future(work(services)) for work in (_tidy, _look_through)]
        event("started", version=__version__, port=services.hosts.port, lan=int(services.hosts.lan))
        started()
        yield
        for task in background:
            task.cancel()
        services.stopping.set()
        services.close()
        event("ended")

    answers = Answers(services.pages)
    # /docs and /redoc load their scripts from elsewhere, so they aren't served; the schema is.
    app = FastAPI(title="Lampfold", version=__version__, openapi_url=None, docs_url=None, redoc_url=None,
                  lifespan=lifespan, redirect_slashes=False)
    app.state.services = services
    for router in ROUTERS:
        app.include_router(router)
    # Worked out at the first asking, in a thread: it takes a while.
    app.add_api_route("/api/openapi.json", lambda: JSONResponse(app.openapi()), include_in_schema=False)
    app.mount("/static", StaticFiles(directory=shipped("static")), name="static")
    app.add_exception_handler(LampfoldError, answers.known)
    app.add_exception_handler(HTTPException, answers.http)
    app.add_exception_handler(RequestValidationError, answers.invalid)
    app.add_middleware(Once, done=services.store.done)
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


async def _look_through(services: Services) -> None:
    """Work out what the Desk lists, so that who asks for it first doesn't wait for every deck."""
    with contextlib.suppress(LampfoldError, OSError):  # who asks for it is told
        for row in await run_in_threadpool(services.store.decks.all):
            await run_in_threadpool(services.views.summary, row)


# What is still being sent when the server ends gets this long; an upload that has stalled must not hold it up.
_GRACE_SECONDS = 1


class LampfoldServer(uvicorn.Server):
    """A uvicorn server that ends its event streams first and never turns Ctrl-C into a traceback."""

    def __init__(self, services: Services, *, started: Callable[[], None] = lambda: None) -> None:
        limits = services.store.limits
        self._services = services
        super().__init__(uvicorn.Config(
            create_app(services, started=started), loop="asyncio",
            http=protocol_class(limits.header_seconds, limits.connections), ws="none", log_config=None,
            access_log=False, proxy_headers=False, server_header=False, timeout_keep_alive=10,
            timeout_graceful_shutdown=_GRACE_SECONDS, h11_max_incomplete_event_size=MOST_HEADER_BYTES))

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._services.stopping.set()
        await super().shutdown(sockets)

    def run_on(self, sockets: list[socket.socket]) -> None:
        """Serve until Ctrl-C or SIGTERM, in the main thread."""
        # A thread that plans or draws hands the interpreter on this often, so that the loop answers meanwhile.
        sys.setswitchinterval(0.001)
        # A body of 2 MB can hold 700,000 things; to look for rings among them at every 700 (as Python does) takes four
        # times as long as to read them (measured: 450 ms, and 90 so).
        gc.set_threshold(20_000, 10, 10)
        with contextlib.suppress(KeyboardInterrupt):  # uvicorn raises the signal again once everything is closed
            self.run(sockets)
