"""The last page of a change sheet: which cards of the old version to take out of the built deck, with pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.core.art import Art
from server.core.geometry import Affine, Edges, Rect
from server.core.lettering import text_width_mm
from server.drawing.surface import Stroke, Surface

_TITLE_MM, _TEXT_MM, _SMALL_MM = 6.0, 3.2, 2.6
_CELL_WIDTH_MM, _CELL_HEIGHT_MM, _GAP_MM = 42.0, 36.0, 5.0
_PICTURE_MM = (20.0, 28.0)
_AIR_MM, _HEAD_MM = 5.0, 16.0
_BOX = Stroke(0.15, (120, 120, 120))


@dataclass(frozen=True, slots=True)
class TakeOut:
    """A card to take out: its name, how many, and its small pictures; None for a blank back."""

    name: str
    copies: int
    front: Art | None
    back: Art | None


def take_out_pages(printable: Rect, cards: int) -> int:
    """How many pages the list of so many cards takes."""
    columns, rows = _grid(printable)
    return -(-cards // (columns * rows))


def _grid(printable: Rect) -> tuple[int, int]:
    room = printable.grown(Edges.all(-_AIR_MM))
    return (max(1, int((room.width + _GAP_MM) / (_CELL_WIDTH_MM + _GAP_MM))),
            max(1, int((room.height - _HEAD_MM + _GAP_MM) / (_CELL_HEIGHT_MM + _GAP_MM))))


def draw_take_out(surface: Surface, page: Rect, printable: Rect, cards: Sequence[TakeOut], says: str) -> None:
    """As many pages as the list takes, on ``page`` inside ``printable``. ``says`` stands under the title."""
    room = printable.grown(Edges.all(-_AIR_MM))
    top = room.y + _HEAD_MM
    columns, rows = _grid(printable)
    per_page, pages = columns * rows, take_out_pages(printable, len(cards))
    for number in range(pages):
        surface.page(page, page, page, f"take out {number + 1}")
        with surface.within(layer="notes"):
            of = f" ({number + 1} of {pages})" if pages > 1 else ""
            surface.text((room.x, room.y + _TITLE_MM), f"Take these cards out{of}", _TITLE_MM)
            surface.text((room.x, room.y + _TITLE_MM + 6), says, _TEXT_MM)
        for place, card in enumerate(cards[number * per_page:(number + 1) * per_page]):
            x = room.x + place % columns * (_CELL_WIDTH_MM + _GAP_MM)
            _draw_card(surface, card, x, top + place // columns * (_CELL_HEIGHT_MM + _GAP_MM))


def _draw_card(surface: Surface, card: TakeOut, x: float, y: float) -> None:
    width, height = _PICTURE_MM
    for at, art in ((x, card.front), (x + width + 1, card.back)):
        frame = Rect(at, y, width, height)
        if art:
            scale = min(width / art.aspect / height, 1.0)
            high, wide = height * scale, height * scale * art.aspect
            frame = Rect(at, y + height - high, wide, high)
            with surface.within(layer="art"):
                surface.art(art, Affine(a=wide, d=high, e=frame.x, f=frame.y))
        with surface.within(layer="notes"):
            surface.outline(frame, 0.0, _BOX)
    with surface.within(layer="notes"):
        surface.text((x, y + height + 4), _fitting(f"{card.copies} × {card.name}"), _SMALL_MM)


def _fitting(text: str) -> str:
    while text_width_mm(text, _SMALL_MM) > _CELL_WIDTH_MM + _GAP_MM - 1 and len(text) > 4:
        text = f"{text[:-2].rstrip()}…"
    return text
