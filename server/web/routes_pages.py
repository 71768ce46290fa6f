"""The six pages, and the door that the launcher's address leads through."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from server.errors import Refused
from server.web.deck_view import summary_of
from server.web.services import PersonDep, ServicesDep, client_address, set_session_cookie

router = APIRouter(include_in_schema=False)


@router.get("/")
def desk(services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return HTMLResponse(services.pages.page("desk.html", page="desk", person=person))


@router.get("/true-up")
def true_up(services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return HTMLResponse(services.pages.page("true_up.html", page="true-up", person=person))


def _deck_page(name: str, template: str) -> None:
    @router.get(f"/decks/{{deck_id}}/{name}")
    def page(deck_id: str, services: ServicesDep, person: PersonDep) -> HTMLResponse:
        summary = summary_of(services.views.view(services.store.decks.get(deck_id)))
        return HTMLResponse(services.pages.page(template, page=name, deck=summary.model_dump(), person=person))


for _name, _template in (("art", "art.html"), ("sheet", "sheet.html"), ("glow", "glow.html"),
                         ("true-up", "true_up.html"), ("output", "output.html")):
    _deck_page(_name, _template)


@router.get("/decks/{deck_id}")
def deck(deck_id: str) -> RedirectResponse:
    return RedirectResponse(f"/decks/{quote(deck_id, safe='')}/art", 303)


@router.get("/favicon.ico")
def icon() -> RedirectResponse:
    """Browsers ask for it beside a PDF, where no page names the icon."""
    return RedirectResponse("/static/lampfold.svg", 301)


@router.get("/welcome")
def welcome(request: Request, services: ServicesDep,
            token: Annotated[str, Query(max_length=200)] = "") -> RedirectResponse:
    """The address that the launcher printed: good once, it becomes the host's session."""
    if not services.people.spend_token(token):
        raise Refused("This address has been used already, or Lampfold was started anew.",
                      "Use the newest address in the window where Lampfold runs.")
    cookie, _ = services.people.start("host", "Host", client_address(request))
    answer = RedirectResponse("/", 303)
    set_session_cookie(answer, services, cookie)
    return answer
