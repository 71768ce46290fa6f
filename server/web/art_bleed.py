"""How a card's bleed comes about, shown: both faces drawn as the sheet draws them, each edge in words."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter
from pydantic import BaseModel, Field

from server.core.art import Art, Card
from server.core.bleed import SUITED, decide, edges_say
from server.core.edge_bleed import SideName
from server.core.settings import DeckSettings, EdgeMode
from server.drawing.sheet import draw_card
from server.drawing.svg_surface import SvgSurface
from server.errors import NotThere
from server.web import models
from server.web.measures import edges_seen
from server.web.services import PersonDep, ServicesDep, TurnDep

router = APIRouter(prefix="/api/decks/{deck_id}", tags=["art"])

_NEAR_PX = 1024
Side = Literal["front", "back"]


class BleedAsk(models.Sent):
    """``card`` is its label. With ``bleed`` it is shown with that way of its own, with null as the deck's; without it
    as it is. ``edges`` is put over the deck's own way. Nothing is saved."""

    card: Annotated[str, Field(max_length=1100)]
    bleed: EdgeMode | None = None
    edges: EdgeMode | None = None


class BleedEdge(BaseModel):
    """``colour`` such as "#1f5f6b" where the bleed of that edge is one colour."""

    side: SideName
    says: str
    colour: str | None


class BleedFace(BaseModel):
    """``svg`` has the face with its bleed, the cut drawn in; ``says`` how the art was read; ``corner_mm`` is the radius
    of round corners that came with the art and are filled, 0 for none."""

    side: Side
    file: str
    svg: str
    says: str
    edges: list[BleedEdge]
    corner_mm: float


class BleedSeen(models.InMm):
    """A card's bleed as it was asked for. ``bleed`` and ``edges`` are the card's own way, null for none, and the
    deck's, both as they are kept."""

    format: str = "lampfold-bleed"
    card: str
    name: str
    bleed: EdgeMode | None
    edges: EdgeMode
    bleed_mm: float
    faces: list[BleedFace]


@router.post("/bleed", responses=models.errors(404, 422, 503))
async def see_bleed(deck_id: str, ask: BleedAsk, services: ServicesDep, person: PersonDep, turn: TurnDep) -> BleedSeen:
    """How the bleed of a card's faces is made, or would be."""
    view = await turn(lambda: services.views.view(services.store.decks.get(deck_id)))
    card = next((one for one in view.deck.cards if one.label == ask.card), None)
    if card is None:
        raise NotThere(f"card: {ask.card[:200]!r} isn't in this deck.", "Load the page again.")
    own = ask.bleed if "bleed" in ask.model_fields_set else card.front.bleed
    settings = view.settings.changed({"edges": ask.edges}) if ask.edges else view.settings
    seen = await edges_seen(services, person.id, (art for art in _arts(card).values() if art.edges is None))
    return await turn(lambda: BleedSeen(
        card=card.label, name=card.name, bleed=card.front.bleed, edges=view.settings.edges,
        bleed_mm=settings.made_bleed_mm,
        faces=[_face(side, replace(art, bleed=own, edges=art.edges or seen.get(art.key),
                                   edge_rgb=art.edge_rgb or (seen[art.key].rgb if art.key in seen else None)), settings)
               for side, art in _arts(card).items()]))


def _arts(card: Card) -> dict[Side, Art]:
    return {"front": card.front, "back": card.back} if card.back else {"front": card.front}


def _face(side: Side, art: Art, settings: DeckSettings) -> BleedFace:
    surface = SvgSurface(lambda drawn: f"/api/art/{quote(drawn.key, safe='')}?longest={_NEAR_PX}", f"bleed-{side}-")
    draw_card(surface, art, settings)
    fit = decide(art, settings.card_size, settings.made_bleed_mm, settings.edges)
    edges = edges_say(fit, settings.card_size, settings.made_bleed_mm, art.edge_rgb)
    return BleedFace(
        side=side, file=art.file, svg=surface.svg(f"The {side} with its bleed; a line shows the cut"),
        says=fit.decision.replace(SUITED, fit.how or SUITED), corner_mm=fit.corner_mm,
        edges=[BleedEdge(side=one.side, says=one.says,
                         colour="#{:02x}{:02x}{:02x}".format(*one.rgb) if one.rgb else None) for one in edges])
