"""Backs by themselves: how far each may move before the cut card shows it, and those that are made here."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

from server.core.art import Art, Deck
from server.core.backs import BackDesign
from server.core.bleed import decide
from server.core.card_sizes import CardSize
from server.core.geometry import Edges
from server.core.leeway import BackProfile, Leeway, leeway, on_card
from server.core.leeway_plan import plan_leeways
from server.core.planning import Planned, plan_deck
from server.core.settings import DeckSettings
from server.errors import DoesNotFit, Unreadable
from server.prepress.prepare import Source, edge_colours

MADE_KEY = "made-back"


def distinct_backs(deck: Deck) -> dict[str, Art]:
    """Each back's art by its key, in the order of the cards that are printed."""
    backs: dict[str, Art] = {}
    for card in deck.cards:
        if card.back and card.copies:
            backs.setdefault(card.back.key, card.back)
    return backs


def card_leeways(deck: Deck, settings: DeckSettings, source: Source) -> tuple[dict[str, Leeway], dict[str, Unreadable]]:
    """The leeway of each distinct back on a card of its own, and what can't be decoded, by the art's key. Decodes.

    A back that is cut out with its front is looked at as it lies beside it: there the fold is what can miss.
    """
    from server.intake.border import measure_backs

    card, bleed_mm = settings.card_size, settings.made_bleed_mm
    backs = distinct_backs(deck)
    fits = {key: decide(art, card, bleed_mm, settings.edges) for key, art in backs.items()}
    profiles = measure_backs(((art, fits[key]) for key, art in backs.items()), source, card)
    broken = {key: profile for key, profile in profiles.items() if isinstance(profile, Unreadable)}
    flooded = (art for key, art in backs.items() if fits[key].made == "colour" and key not in broken)
    colours = edge_colours(flooded, source)[0]
    whole = {key: profile for key, profile in profiles.items() if not isinstance(profile, Unreadable)}
    planned = _planned(deck, settings)
    if planned and planned.plan.layout.in_pairs:
        return plan_leeways(planned, whole), broken
    return {key: leeway(on_card(profile, fits[key], card, Edges.all(bleed_mm),
                                edge_rgb=colours[key].rgb if key in colours else None))
            for key, profile in whole.items()}, broken


def _planned(deck: Deck, settings: DeckSettings) -> Planned | None:
    try:
        return plan_deck(deck, settings)
    except DoesNotFit:
        return None


def design_art(card: CardSize, bleed_mm: float) -> Art:
    """The art that a design would be, before it is kept."""
    size = card.width_mm + 2 * bleed_mm, card.height_mm + 2 * bleed_mm
    return Art("backs/made.pdf", MADE_KEY, "pdf", size_mm=size)


def design_pdf(design: BackDesign, card: CardSize, bleed_mm: float) -> bytes:
    """The design as a PDF of one page. Raises BadValue for a choice that can't be drawn."""
    from server.drawing.backs import write_back_pdf

    out = io.BytesIO()
    write_back_pdf(design, card, bleed_mm, out)
    return out.getvalue()


def measure_design(design: BackDesign, card: CardSize, bleed_mm: float) -> BackProfile:
    """The profile of a design as it will be printed: drawn, and measured like any other art. Decodes."""
    from server.intake.border import measure_back

    art = design_art(card, bleed_mm)
    with tempfile.TemporaryDirectory(prefix="lampfold-") as folder:
        path = Path(folder) / "back.pdf"
        path.write_bytes(design_pdf(design, card, bleed_mm))
        return measure_back(path, art, card, decide(art, card, bleed_mm, "auto"))
