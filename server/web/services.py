"""What the routes work with, made once and handed to each request."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import Depends, Request
from fastapi.responses import RedirectResponse

from server.errors import Refused
from server.jobs.board import JobBoard
from server.jobs.builds import Builds
from server.jobs.pool import WorkerPool
from server.store import Store
from server.web.deck_view import DeckViews
from server.web.hosts import Hosts
from server.web.joining import Door
from server.web.links import Links
from server.web.pages import Pages
from server.web.people import SESSION_DAYS, People, Session, cookie_name


@dataclass(frozen=True)
class Services:
    """Everything behind the routes. ``stopping`` is set when the server is about to end, so that streams end first."""

    store: Store
    pool: WorkerPool
    board: JobBoard
    builds: Builds
    views: DeckViews
    people: People
    pages: Pages
    hosts: Hosts
    links: Links
    door: Door = field(default_factory=Door)
    stopping: asyncio.Event = field(default_factory=asyncio.Event)

    @classmethod
    def over(cls, store: Store, hosts: Hosts) -> Services:
        """The usual services of one data folder."""
        pool, board = WorkerPool(store.limits), JobBoard()
        return cls(store, pool, board, Builds(store, pool, board), DeckViews(store), People(store.database),
                   Pages(lan=hosts.lan), hosts, Links(store.database))

    def close(self) -> None:
        """End the workers and let the data folder go."""
        with contextlib.suppress(OSError):
            self.pool.close()
        self.store.close()


def still_in(services: Services, person: Session) -> None:
    """Raises Refused for someone who was put out while the request was under way."""
    if not services.people.is_live(person.id):
        raise Refused("You aren't in any more.", "Ask the host.")


def set_session_cookie(answer: RedirectResponse, services: Services, cookie: str) -> None:
    """Not readable by scripts, not sent along by other sites; no Secure flag, since guests come by plain http."""
    answer.set_cookie(cookie_name(services.hosts.port), cookie, max_age=SESSION_DAYS * 86400, httponly=True,
                      samesite="lax")


def client_address(request: Request) -> str:
    return request.client.host if request.client else ""


def _services(request: Request) -> Services:
    services: Services = request.app.state.services
    return services


def _person(request: Request) -> Session:
    session: Session | None = request.scope.get("state", {}).get("session")
    if session is None:
        raise Refused("You aren't in yet.", "Open the address that Lampfold printed when it started.")
    return session


ServicesDep = Annotated[Services, Depends(_services)]
PersonDep = Annotated[Session, Depends(_person)]
