"""What a choice of a release looks like: two small drawings each, the sheet as it is printed and what comes of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

from server.core.art import Art
from server.core.geometry import Affine, Rect
from server.core.guide import guide_steps
from server.core.methods.steps import Picture, Step
from server.core.plan import Face
from server.core.planning import Planned
from server.core.sizes import Paper
from server.core.units import mm_text
from server.drawing.sheet import draw_on_page
from server.drawing.sketch import EDGE, FRONT, HEIGHT_MM, HIDDEN, SHADE, WIDTH_MM, Sketch, fitted
from server.drawing.steps import SIZE, draw_step
from server.drawing.svg_surface import SvgSurface

Kind = Literal["paper", "method", "ink"]
# The step that tells one way of building from another, the first of these that it has.
_TELLING: tuple[Picture, ...] = ("fold", "hinge", "crease", "light", "cut")
_ID_1_MM = (85.6, 53.98)  # ISO/IEC 7810


def choice_svgs(planned: Planned, kind: Kind, papers: Sequence[Paper], prefix: str,
                href: Callable[[Art], str]) -> tuple[str, str, str]:
    """(the sheets as they leave the printer, what the choice makes of them, in words what that is); drawings as SVG,
    in a guide drawing's frame.

    Of a method that is its most telling step, of an ink a card, of a paper its size among ``papers``. ``prefix`` keeps
    ids apart from those of others on the page.
    """
    drawn, step = [], _telling(planned)
    for number in range(2):
        surface = SvgSurface(href, f"{prefix}{number}-")
        surface.page(SIZE, SIZE, SIZE, kind)
        if number == 0:
            draw_step(surface, planned, "print")
        elif kind == "method":
            draw_step(surface, planned, step.picture)
        else:
            with surface.within(clip=SIZE):
                sketch = Sketch(surface, planned)
                _size(sketch, papers) if kind == "paper" else _card(sketch)
        drawn.append(surface.svg())
    return drawn[0], drawn[1], {"paper": "Beside a bank card", "method": step.title, "ink": "A card"}[kind]


def _telling(planned: Planned) -> Step:
    there = {step.picture: step for step in guide_steps(planned.plan.layout, planned.settings, planned.box)}
    return next(there[picture] for picture in _TELLING if picture in there)


def _size(s: Sketch, papers: Sequence[Paper]) -> None:
    """The paper over the others from one corner, and a bank card in it, all at one scale."""
    whole = Rect(0, 0, max(one.width_mm for one in papers), max(one.height_mm for one in papers))
    mini = fitted(whole, Rect(2, 2, WIDTH_MM / 2, HEIGHT_MM - 4))

    def outline(width: float, height: float) -> Rect:
        return mini.rect(Rect(0, whole.bottom - height, width, height))

    own = s.layout.paper
    for other in papers:
        if other.name != own.name:
            s.surface.outline(outline(other.width_mm, other.height_mm), 0.0, HIDDEN)
    s.paper(outline(own.width_mm, own.height_mm))
    card = outline(*_ID_1_MM).moved(12 * mini.scale, -12 * mini.scale)
    s.surface.fill(card.corners, FRONT)
    s.surface.outline(card, 3.18 * mini.scale, EDGE)
    x = mini.rect(whole).right + (WIDTH_MM - mini.rect(whole).right) / 2
    for line, text in enumerate((f"{mm_text(own.width_mm, 1)} ×", mm_text(own.height_mm, 1), "mm")):
        s.label((x, HEIGHT_MM / 2 - 3 + 5.6 * line), text, 5.0)


def _card(s: Sketch) -> None:
    """The first card of the sheet, as it is held, with what is printed round it cut away."""
    layout = s.layout
    slot = layout.slots[0]
    middle = slot.front.centre
    lies = slot.front_rotation in (90, 270)
    wide, high = (slot.front.height, slot.front.width) if lies else (slot.front.width, slot.front.height)
    upright = Rect(middle[0] - wide / 2, middle[1] - high / 2, wide, high)
    mini = fitted(upright, s.room)
    turned = Affine.turn(-slot.front_rotation, middle)
    shape = mini.rect(upright)
    s.surface.fill(Rect(0, 0, WIDTH_MM, HEIGHT_MM).corners, SHADE)
    s.surface.fill(shape.corners, (255, 255, 255))
    with s.surface.within(clip=shape), s.surface.within(matrix=mini.matrix.after(turned)):
        draw_on_page(s.surface, s.planned, Face(0, layout.faces[0]))
    s.surface.outline(shape, 0.0, EDGE)
