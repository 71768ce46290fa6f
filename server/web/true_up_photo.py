"""A photograph of a test sheet to readings, in a worker; and a phone as the desk's camera.

A desk that asks for a phone gets a *post*: a secret address for the QR code, which lets one phone in for a short while,
to read photographs and save what they tell and for nothing else, and a place where what it photographs is kept until
the desk has fetched it.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Awaitable, Callable
from typing import Annotated
from urllib.parse import urlencode

import segno
from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from server.core.camera_marks import DeckSheet, deck_sheet
from server.core.plan import Flip
from server.core.sizes import Paper, paper_named
from server.errors import BadValue, NotThere, Refused
from server.jobs.queue import Work
from server.jobs.tasks import PhotoOrder, read_photo
from server.store.guests import Session
from server.store.names import file_stem
from server.web import models
from server.web.hosts import guest_address
from server.web.logbook import event
from server.web.services import (
    OwnDep,
    PersonDep,
    Services,
    ServicesDep,
    TurnDep,
    client_address,
    in_worker,
    set_session_cookie,
    still_in,
)
from server.web.true_up_answers import GOOD_SECONDS, MOST_SHEETS, PhotoRead, PhotosRead, Post, PostMade, PostOut

router = APIRouter(prefix="/api", tags=["true-up"])
page = APIRouter(include_in_schema=False)

_ERRORS = models.errors(403, 404, 411, 413, 415, 422, 503, 507)
_MadeFor = tuple[Paper, Flip, DeckSheet | None]
_PostId = Annotated[str, Path(max_length=40)]


@router.post("/read", openapi_extra=models.RAW_BODY, responses=_ERRORS)
async def read(request: Request, services: ServicesDep, person: PersonDep,
               paper: Annotated[str, Query(max_length=40)] = "a4", flip: Flip = "long-edge",
               name: Annotated[str, Query(max_length=200)] = "photo.jpg",
               to: Annotated[str, Query(max_length=40)] = "") -> PhotosRead:
    """A photograph (or a scanner's PDF) as the body: the stations' numbers, and the picture back. With ``to`` what was
    found goes to that desk's post, too. Nothing is saved."""
    post = services.posts.get(to) if to else None
    made_for = paper_named(paper), flip, None

    async def test_sheet() -> _MadeFor:
        return made_for

    sheets = await _read(request, services, person, name, test_sheet)
    if post is not None and len(post.sheets) < MOST_SHEETS:
        post.sheets.extend(sheets)
    return PhotosRead(sheets=sheets)


@router.post("/decks/{deck_id}/glow/read", openapi_extra=models.RAW_BODY, responses=_ERRORS)
async def read_printed_sheet(deck_id: str, request: Request, services: ServicesDep, person: PersonDep, turn: TurnDep,
                             own: OwnDep, name: Annotated[str, Query(max_length=200)] = "photo.jpg") -> PhotosRead:
    """A photograph of a printed sheet of this deck as the body: how far its backs are off, and the picture back.
    Nothing is saved. 422 where the deck's sheets carry no marks for it."""
    await run_in_threadpool(services.store.decks.get, deck_id)

    async def of_deck() -> _MadeFor:  # once the picture is there: whoever waits for a turn listens to the request
        layout = (await turn(services.prepared, person, deck_id, own)).planned.plan.layout
        marks = deck_sheet(layout)
        if marks is None:
            raise BadValue("deck: its sheets carry no marks for a photograph.",
                           "Switch them on under Cut lines on the Sheet page; a note says where there is no room.")
        return layout.paper, marks.flip, marks

    return PhotosRead(sheets=await _read(request, services, person, name, of_deck))


async def _read(request: Request, services: Services, person: Session, name: str,
                made_for: Callable[[], Awaitable[_MadeFor]]) -> list[PhotoRead]:
    limits = services.store.limits
    label = f"{file_stem(name.rpartition('.')[0] or name)}.{name.rpartition('.')[2][:5]}" if "." in name else name
    announced = int(request.headers.get("content-length", "0"))
    await run_in_threadpool(services.store.folder.check_room, announced, limits.free_bytes, label)
    with services.store.blobs.incoming(label) as incoming:
        async for chunk in request.stream():
            await run_in_threadpool(incoming.write, chunk)
        await run_in_threadpool(incoming.finish)
        paper, flip, deck = await made_for()
        order = PhotoOrder(incoming.path, label, paper, flip, limits.art, deck)
        found = await in_worker(services, Work("read", person.id, label, read_photo, (order,), limits.read_seconds))
    still_in(services, person)
    return [PhotoRead(**sheet, pictures=[f"data:image/jpeg;base64,{base64.b64encode(one).decode()}" for one in drawn])
            for sheet, drawn in found]


@router.post("/read/posts", status_code=201, responses=_ERRORS)
def make_post(services: ServicesDep, person: PersonDep, paper: Annotated[str, Query(max_length=40)] = "a4",
              flip: Flip = "long-edge") -> PostMade:
    """A post for a phone's pictures, and the address that brings the phone there."""
    if not services.hosts.lan:
        raise Refused("A phone can't reach this machine.", "Start Lampfold with --lan, or bring the pictures here.")
    if person.role == "playtester":
        raise Refused("A playtester can't let a phone in.", "Bring the pictures here, or ask the host.")
    key, post = services.posts.make(person.id, paper_named(paper).name, flip)
    return PostMade(id=key, url=_address(services, post), qr=f"/api/read/posts/{key}/qr.svg",
                    minutes=GOOD_SECONDS // 60)


@router.get("/read/posts/{key}/qr.svg", responses={**_ERRORS, 200: {"content": {"image/svg+xml": {}}}},
            response_class=Response)
def post_picture(key: _PostId, services: ServicesDep, person: PersonDep) -> Response:
    """The phone's way in as a QR code (ISO/IEC 18004)."""
    out = io.BytesIO()
    segno.make(_address(services, _own(services, person.id, key)), error="m").save(
        out, kind="svg", scale=4, border=4, dark="#000", light="#fff", xmldecl=False)
    return Response(out.getvalue(), media_type="image/svg+xml")


@router.get("/read/posts/{key}", responses=_ERRORS)
def look(key: _PostId, services: ServicesDep, person: PersonDep,
         after: Annotated[int, Query(ge=0, le=1000)] = 0) -> PostOut:
    """What the phone has sent since ``after``."""
    sheets = _own(services, person.id, key).sheets
    return PostOut(sheets=sheets[after:], next=len(sheets))


@page.get("/phone/{secret}")
def phone(secret: Annotated[str, Path(max_length=100)], request: Request, services: ServicesDep) -> RedirectResponse:
    """The QR code's address: one phone is let in to read photographs, and stands on the True-up page. Who is in
    already comes as who they are."""
    key, post = services.posts.by_secret(secret)
    query = urlencode({"to": key, "paper": post.paper, "flip": post.flip})
    answer = RedirectResponse(f"/true-up?{query}#t-read", 303)
    current: Session | None = request.scope["state"]["session"]
    if current is None:
        services.people.check_room()
        services.posts.spend(key)
        cookie, session = services.people.start("maker", "Phone", client_address(request), phone=True)
        set_session_cookie(answer, services, cookie)
        event("person came in", person=session.id, role="phone", post=key, address=session.address)
    return answer


def _own(services: Services, person: str, key: str) -> Post:
    post = services.posts.get(key)
    if post.owner != person:
        raise NotThere("phone: this code has run out.", "Show a new one on the True-up page.")
    return post


def _address(services: Services, post: Post) -> str:
    return f"{guest_address(services.hosts)}/phone/{post.secret}"
