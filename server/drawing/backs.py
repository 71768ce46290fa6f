"""Draw a made back: onto any surface, and as a one-page PDF that is art like any other."""

from __future__ import annotations

from typing import BinaryIO, NoReturn

from server.core.art import Art
from server.core.backs import BackDesign, Polygon, Ring, design_shapes
from server.core.card_sizes import CardSize
from server.core.geometry import Affine, Rect
from server.drawing.pdf_surface import PdfSurface
from server.drawing.surface import Stroke, Surface

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
