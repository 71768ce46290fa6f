"""Backs by themselves: how far each may move before the cut card shows it, and those that are made here.

A made back is drawn onto any surface, and as a one-page PDF that is art like any other.
"""

from __future__ import annotations

import io
import tempfile
from pathlib import Path
from typing import BinaryIO, NoReturn

from server.core.art import Art, Deck
from server.core.back_designs import BackDesign, Polygon, Ring, design_shapes
from server.core.bleed import decide
from server.core.geometry import Affine, Edges, Rect
from server.core.leeway import BackProfile, Leeway, leeway, on_card
from server.core.leeway_plan import plan_leeways
from server.core.planning import Planned, plan_deck
from server.core.settings import DeckSettings
from server.core.sizes import CardSize
from server.drawing.pdf_surface import PdfSurface
from server.drawing.surface import Stroke, Surface
from server.errors import DoesNotFit, Unreadable
from server.prepress.prepare import Source, edge_colours

# Said of itself by a made back, so that it is told from sheets, which are no art.
PRODUCER = "Lampfold card back"


def draw_back(surface: Surface, design: BackDesign, card: CardSize, bleed_mm: float) -> None:
    """One page of trim and bleed with the design on it, the bleed all round. Raises BadValue for a bad choice."""
    design = design.checked(card)
    page = Rect(0.0, 0.0, card.width_mm + 2 * bleed_mm, card.height_mm + 2 * bleed_mm)
    trim = Rect(bleed_mm, bleed_mm, card.width_mm, card.height_mm)
    surface.page(page, trim, page, "back")
    with surface.within(matrix=Affine.shift(bleed_mm, bleed_mm)):
        for clip, shapes in design_shapes(design, card, bleed_mm):
            with surface.within(clip=clip):
                for shape in shapes:
                    if isinstance(shape, Polygon):
                        surface.fill(shape.points, shape.rgb)
                    elif isinstance(shape, Ring):
                        surface.ring(shape.centre, shape.radius_mm, Stroke(shape.width_mm, shape.rgb))
                    else:
                        surface.text(shape.at, shape.text, shape.size_mm, shape.rotation_deg, "middle", shape.rgb)


def write_back_pdf(design: BackDesign, card: CardSize, bleed_mm: float, out: BinaryIO) -> None:
    """The back as vector art, trim and ``bleed_mm`` around it. Raises BadValue for a choice that can't be drawn."""
    surface = PdfSurface(out, _no_art, title=f"{design.pattern} card back", duplex="Simplex", producer=PRODUCER)
    draw_back(surface, design, card, bleed_mm)
    surface.close()


def _no_art(art: Art) -> NoReturn:
    raise AssertionError(f"a made back is drawn from shapes alone, not from {art.file}")


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
    from server.prepress.backs import write_back_pdf

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
