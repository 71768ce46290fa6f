"""What the JSON API takes and gives of people."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from server.web.models import Sent

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


class NewLink(Sent):
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
