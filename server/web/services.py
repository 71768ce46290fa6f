"""What the routes work with, made once and handed to each request."""

from __future__ import annotations

import asyncio
import contextlib
from collections import Counter
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, ParamSpec

from fastapi import Depends, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool

from server.core.card_from_art import with_chosen_card
from server.core.registration.printer import Printer
from server.core.registration.printer_file import printer_from_json
from server.core.settings import SETTINGS, DeckSettings
from server.errors import BadValue, Busy, NotThere, Refused, Stopped
from server.formats.limits import ArtLimits
from server.jobs.builds import Builds, JobBoard
from server.jobs.pool import WorkerPool
from server.jobs.queue import Result, Work
from server.jobs.releases import ReleaseJobs
from server.prepress import Prepared, prepare
from server.prepress.prepare import with_box_art
from server.store import Store
from server.store.guests import SESSION_DAYS, Session
from server.store.printers import PrinterRow
from server.store.releases import ReleaseRow
from server.web.access import Door, People, check_changes, cookie_name
from server.web.answers import Pages
from server.web.decks import DeckView, DeckViews, summary_of, version_row
from server.web.hosts import Hosts
from server.web.true_up_answers import Posts

P = ParamSpec("P")


class Turns:
    """Planning and drawing hold the interpreter: two at a time for all, one for each person, so that small answers come
    at once whatever anybody asks for. The others wait without a thread, in order."""

    _AT_ONCE, _MOST_WAITING = 2, 24

    def __init__(self) -> None:
        self._all = asyncio.Semaphore(self._AT_ONCE)
        self._own: dict[str, asyncio.Lock] = {}
        self._waiting: Counter[str] = Counter()

    @contextlib.asynccontextmanager
    async def of(self, person: str) -> AsyncIterator[None]:
        """A turn of that person's. Raises Busy where they wait for many already."""
        if self._waiting[person] >= self._MOST_WAITING:
            raise Busy("You have asked for too much at once.", "Wait a moment, then try again.", 2)
        self._waiting[person] += 1
        try:
            async with self._own.setdefault(person, asyncio.Lock()), self._all:
                yield
        finally:
            self._waiting[person] -= 1
            if not self._waiting[person]:
                del self._waiting[person], self._own[person]


class Turn:
    """``await turn(function, ...)`` runs it in a thread when it is this person's turn, unless they have gone."""

    def __init__(self, turns: Turns, person: str, request: Request) -> None:
        self._turns, self._person, self._request = turns, person, request

    async def __call__(self, function: Callable[P, Result], *args: P.args, **kwargs: P.kwargs) -> Result:
        async with self._turns.of(self._person):
            if await self._request.is_disconnected():
                raise Stopped("Nobody waits for this any more.", "Ask again.")
            return await run_in_threadpool(function, *args, **kwargs)


@dataclass(frozen=True)
class Services:
    """Everything behind the routes. ``stopping`` is set when the server is about to end, so that streams end first."""

    store: Store
    pool: WorkerPool
    board: JobBoard
    builds: Builds
    releases: ReleaseJobs
    views: DeckViews
    people: People
    pages: Pages
    hosts: Hosts
    door: Door = field(default_factory=Door)
    stopping: asyncio.Event = field(default_factory=asyncio.Event)
    turns: Turns = field(default_factory=Turns)
    posts: Posts = field(default_factory=Posts)

    @classmethod
    def over(cls, store: Store, hosts: Hosts) -> Services:
        """The usual services of one data folder."""
        pool, board = WorkerPool(store.limits), JobBoard()
        return cls(store, pool, board, Builds(store, pool, board), ReleaseJobs(store, pool, board), DeckViews(store),
                   People(store.sessions), Pages(lan=hosts.lan), hosts)

    def prepared(self, person: Session, deck_id: str, changes: Mapping[str, Any], version: str = "") -> Prepared:
        """A kept deck, or a ``version`` of it by its id, laid out, ``changes`` put over its settings. Nothing is
        decoded. Sheets say which version they are of.

        Raises NotThere, BadValue, TooMuch, DoesNotFit, and Refused where it isn't for this person to change them.
        """
        check_changes(person, changes)
        row, versions = self.store.decks.get(deck_id), self.store.versions
        view = self.version(deck_id, version) if version else self.views.view(row)
        if view.deck.count == 0:
            raise BadValue("deck: there is no card to print yet.", "Add fronts on the Art page.")
        settings = view.settings
        if not settings.version:
            name = versions.get(deck_id, version).name if version else versions.named_as(deck_id, row.state)
            settings = replace(settings, version=name[:SETTINGS["version"].longest].strip())
        settings = settings.changed(changes)
        deck = with_chosen_card(view.deck, settings) if "card" in changes else view.deck
        deck = with_box_art(deck, settings, view.art)
        return prepare(deck, settings, None, chosen_printer(self.store, settings, person), art_limits(self.store))

    def version(self, deck_id: str, version_id: str) -> DeckView:
        """A version of a deck, derived. Raises NotThere. A printer that isn't kept any more is none."""
        state = self.store.versions.state(deck_id, version_id)
        kept = {printer.id for printer in self.store.printers.all()}
        if state.settings.printer not in kept:
            state = replace(state, settings=replace(state.settings, printer=""))
        return self.views.view(version_row(version_id, state))

    def release(self, deck_id: str, release_id: str) -> ReleaseRow:
        """A release that a deck is in, its pack whole. Raises NotThere."""
        self.store.decks.get(deck_id)
        return self.store.releases.get(deck_id, release_id)

    def deck_page(self, person: Session, deck_id: str, name: str) -> HTMLResponse:
        """A deck's page, drawn by the template of that name. Raises NotThere."""
        version = self.store.versions.latest_names().get(deck_id, "") if person.role != "playtester" else ""
        deck = summary_of(self.views.view(self.store.decks.get(deck_id)), version).model_dump()
        template = f"{name.replace('-', '_')}.html"
        return HTMLResponse(self.pages.page(template, page=name, deck=deck, person=person))

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


async def _services(request: Request) -> Services:
    services: Services = request.app.state.services
    return services


async def _person(request: Request) -> Session:
    session: Session | None = request.scope.get("state", {}).get("session")
    if session is None:
        raise Refused("You aren't in yet.", "Open the address that Lampfold printed when it started.")
    return session


ServicesDep = Annotated[Services, Depends(_services)]
PersonDep = Annotated[Session, Depends(_person)]


async def _turn(request: Request, services: ServicesDep, person: PersonDep) -> Turn:
    return Turn(services.turns, person.id, request)


TurnDep = Annotated[Turn, Depends(_turn)]


async def _own_print(printer: Annotated[str | None, Query(max_length=64)] = None,
                     paper: Annotated[str | None, Query(max_length=40)] = None,
                     flip: Annotated[str | None, Query(max_length=40)] = None) -> dict[str, str]:
    """Another printer than the deck's own, "" for none; paper and flip go with it."""
    given = {"printer": printer, "paper": paper or None, "flip": flip or None}
    return {name: value for name, value in given.items() if value is not None}


OwnDep = Annotated[dict[str, str], Depends(_own_print)]


def art_limits(store: Store) -> ArtLimits:
    """What the host's limits say of art."""
    return store.limits.art


def chosen_printer(store: Store, settings: DeckSettings, person: Session) -> Printer | None:
    """The printer of ``settings``, None for none. Raises BadValue where it isn't kept any more, is a playtester's own
    and not this person's, or can't be read."""
    if not settings.printer:
        return None
    try:
        row = known_printer(store, person, settings.printer)
    except NotThere:
        raise BadValue(f"printer: {settings.printer[:40]!r} isn't kept here.", "Choose another.") from None
    if row.deleted:
        raise BadValue(f"printer: {row.name!r} has been deleted.", "Restore it on the True-up page, or choose another.")
    return printer_from_json(dict(row.profile), row.name)


def known_printer(store: Store, person: Session, printer_id: str) -> PrinterRow:
    """A kept printer, deleted or not. Raises NotThere, also for another playtester's own."""
    row = store.printers.get(printer_id)
    if not row.is_for(person.id):
        raise NotThere(f"printer: {printer_id[:40]!r} isn't kept here.", "Choose one on the True-up page.")
    return row


async def in_worker(services: Services, work: Work[Result]) -> Result:
    """Wait for work that a worker does; a request that goes away takes its work along. Raises Busy, Stopped."""
    services.pool.submit(work)
    try:
        return await asyncio.wrap_future(work.future)
    except asyncio.CancelledError:
        services.pool.cancel(work)
        raise
