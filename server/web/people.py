"""Who is in and how one gets in: the host's page, the door for guests, links to one deck."""

from __future__ import annotations

import io
from typing import Annotated, Literal
from urllib.parse import parse_qs, quote

import segno
from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from server.errors import BadValue, Busy, LampfoldError, Refused
from server.store.guests import Role, Session
from server.store.names import clean_name
from server.web import models
from server.web.hosts import guest_address
from server.web.logbook import event
from server.web.services import PersonDep, Services, ServicesDep, client_address, set_session_cookie

router = APIRouter(tags=["people"])

_ERRORS = models.errors(403, 404, 422, 503)
GuestRole = Literal["maker", "playtester"]
Id = Annotated[str, Path(max_length=40)]
RoleName = Literal["host", "maker", "playtester"]


class Me(BaseModel):
    """This browser's session. ``deck_id``: the one deck that a playtester who came by a link sees."""

    id: str
    role: RoleName
    name: str
    deck_id: str | None
    lan: bool


class PersonOut(BaseModel):
    id: str
    role: RoleName
    name: str
    address: str
    deck_id: str | None
    started: str
    seen: str
    you: bool


class DoorOut(BaseModel):
    """A code, and the address that fills it in."""

    code: str
    url: str


class PeopleOut(BaseModel):
    """``doors`` by role; empty where Lampfold listens on this machine alone."""

    people: list[PersonOut]
    lan: bool
    doors: dict[str, DoorOut]


class NewLink(models.Sent):
    deck_id: Annotated[str, Field(max_length=64)]


class LinkOut(BaseModel):
    id: str
    deck_id: str
    made: str


class LinkMade(LinkOut):
    """``url`` is shown this once."""

    url: str


class LinksOut(BaseModel):
    links: list[LinkOut]


@router.get("/api/me")
def me(services: ServicesDep, person: PersonDep) -> Me:
    """Who this browser is in as."""
    return Me(id=person.id, role=person.role, name=person.name, deck_id=person.deck_id,
                            lan=services.hosts.lan)


@router.get("/api/people")
def people(services: ServicesDep, person: PersonDep) -> PeopleOut:
    """Everyone who is in, and the codes and addresses by which guests come. For the host."""
    doors = {role: _way_in(services, role) for role in ("maker", "playtester")} if services.hosts.lan else {}
    return PeopleOut(
        people=[PersonOut(id=one.id, role=one.role, name=one.name, address=one.address,
                                        deck_id=one.deck_id, started=one.started, seen=one.seen,
                                        you=one.id == person.id) for one in services.people.all()],
        lan=services.hosts.lan, doors=doors)


@router.delete("/api/people/{person_id}", responses=_ERRORS)
def put_out(person_id: Id, services: ServicesDep, person: PersonDep) -> PeopleOut:
    """End someone's session at once."""
    if person_id == person.id:
        raise BadValue("person: this is you.", "End Lampfold instead, or use another browser.")
    services.people.put_out(person_id)
    event("person put out", person=person_id)
    return people(services, person)


@router.post("/api/people/codes/{role}", responses=_ERRORS)
def renew_code(role: GuestRole, services: ServicesDep, person: PersonDep) -> PeopleOut:
    """A new code for a role; the old one is void."""
    services.door.renew(role)
    return people(services, person)


@router.get("/api/people/codes/{role}/qr.svg", responses={**_ERRORS, 200: {"content": {"image/svg+xml": {}}}},
            response_class=Response)
def code_picture(role: GuestRole, services: ServicesDep) -> Response:
    """The way in as a QR code (ISO/IEC 18004)."""
    if not services.hosts.lan:
        raise Refused("Guests can't join.", "Start Lampfold with --lan.")
    out = io.BytesIO()
    # Black on white with the quiet zone of four modules that readers need, also on a dark page.
    segno.make(_way_in(services, role).url, error="m").save(out, kind="svg", scale=4, border=4, dark="#000",
                                                            light="#fff", xmldecl=False)
    return Response(out.getvalue(), media_type="image/svg+xml")


@router.get("/api/links")
def links(services: ServicesDep) -> LinksOut:
    """Links to one deck that are good. Their addresses were shown when they were made and aren't kept."""
    return LinksOut(links=[LinkOut(id=link.id, deck_id=link.deck_id, made=link.made)
                                         for link in services.store.links.all()])


@router.post("/api/links", status_code=201, responses=_ERRORS)
def make_link(wish: NewLink, services: ServicesDep) -> LinkMade:
    """A link by which playtesters see one deck."""
    if not services.hosts.lan:
        raise Refused("Nobody else could open a link.", "Start Lampfold with --lan.")
    services.store.decks.get(wish.deck_id)
    secret, link = services.store.links.make(wish.deck_id)
    return LinkMade(id=link.id, deck_id=link.deck_id, made=link.made,
                                  url=f"{guest_address(services.hosts)}/link/{secret}")


@router.delete("/api/links/{link_id}", responses=_ERRORS)
def withdraw_link(link_id: Id, services: ServicesDep) -> LinksOut:
    """Void a link, and put out everyone who came by it."""
    services.store.links.withdraw(link_id)
    services.people.put_out_link(link_id)
    return links(services)


@router.get("/people", include_in_schema=False)
def people_page(services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return HTMLResponse(services.pages.page("people.html", page="people", person=person))


@router.get("/join", include_in_schema=False)
def join_page(request: Request, services: ServicesDep,
              code: Annotated[str, Query(max_length=40)] = "") -> HTMLResponse:
    """The door: one field for the code, which a QR code has filled in, and one for a name."""
    return HTMLResponse(services.pages.page("join.html", page="join", code=code, trouble=None, name=""))


@router.post("/join", include_in_schema=False)
async def join(request: Request, services: ServicesDep) -> Response:
    """Takes the door's form, which works without scripts."""
    fields = parse_qs((await request.body()).decode("utf-8", "replace"), max_num_fields=10, encoding="utf-8")
    code, name = (fields.get(field, [""])[0][:200] for field in ("code", "name"))
    try:
        return await run_in_threadpool(_let_in, request, services, code, name)
    except (Refused, Busy, BadValue) as error:
        event("door stayed shut", address=client_address(request), kind=type(error).__name__)
        page = services.pages.page("join.html", page="join", code=code, trouble=error, name=name)
        headers = {"Retry-After": str(error.wait_seconds)} if isinstance(error, Busy) else None
        return HTMLResponse(page, _door_status(error), headers)


@router.get("/link/{secret}", include_in_schema=False)
def follow_link(secret: Annotated[str, Path(max_length=100)], request: Request, services: ServicesDep) -> Response:
    """A playtester's way to one deck: to what was released of it, else to its cards. Whoever is in already stays who
    they are."""
    link = services.store.links.find(secret)
    page = "output" if link.deck_id in services.store.releases.latest_names() else "glow"
    answer = RedirectResponse(f"/decks/{quote(link.deck_id, safe='')}/{page}", 303)
    current: Session | None = request.scope["state"]["session"]
    if current is None or (current.role == "playtester" and current.deck_id != link.deck_id):
        services.people.check_room()
        cookie, session = services.people.start("playtester", "Playtester", client_address(request), link.deck_id,
                                                link.id)
        event("person came in", person=session.id, role="playtester", link=link.id, address=session.address)
        set_session_cookie(answer, services, cookie)
    return answer


def _let_in(request: Request, services: Services, code: str, name: str) -> Response:
    if not services.hosts.lan:
        raise Refused("Guests can't join.", "Ask the host to start Lampfold with --lan.")
    address = client_address(request)
    role = services.door.role_for(code, address)
    current: Session | None = request.scope["state"]["session"]
    answer = RedirectResponse("/", 303)
    if current is not None and current.role == "host":
        return answer  # trying the own code out must not cost the host the house
    services.people.check_room()
    if current is not None:
        services.people.put_out(current.id)
    cookie, session = services.people.start(role, clean_name(name or role.capitalize()), address)
    event("person came in", person=session.id, role=role, address=address)
    set_session_cookie(answer, services, cookie)
    return answer


def _door_status(error: LampfoldError) -> int:
    return 429 if isinstance(error, Busy) else 403 if isinstance(error, Refused) else 422


def _way_in(services: Services, role: Role) -> DoorOut:
    code = services.door.code(role)
    return DoorOut(code=code, url=f"{guest_address(services.hosts)}/join?code={code}")


@router.get("/welcome", include_in_schema=False)
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
