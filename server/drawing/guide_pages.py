"""The build guide as pages of the deck's paper: each step's cautions, drawing and words, no step cut in two."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from server.core.art import Art
from server.core.geometry import Affine, Rect
from server.core.guide import WHAT_DECIDES, cautions_of, guide_steps
from server.core.lettering import text_width_mm
from server.core.methods import Step
from server.core.methods.steps import Picture
from server.core.planning import Planned
from server.drawing.sketch import ACT, DARK, HEIGHT_MM, WIDTH_MM
from server.drawing.steps import SIZE, draw_step
from server.drawing.surface import Rgb, Stroke, Surface
from server.drawing.svg_surface import SvgSurface

_TITLE_MM, _HEAD_MM, _TEXT_MM, _SMALL_MM = 6.0, 4.2, 3.2, 2.9
_LEADING = 1.35
_GAP_MM, _AIR_MM = 5.0, 6.0
_SOFT: Rgb = (94, 86, 74)
_FRAME = Stroke(0.2, (133, 123, 107))
_WARN = Stroke(0.3, ACT)
_LEAST_TEXT_MM = 55.0  # narrower than this, words stand below their drawing


@dataclass(frozen=True, slots=True)
class _Block:
    """A step laid out: its lines, and how much of the page it takes."""

    number: int
    step: Step
    warnings: tuple[tuple[str, ...], ...]
    title: tuple[str, ...]
    says: tuple[str, ...]
    why: tuple[str, ...]
    beside: bool
    height_mm: float


def step_svg(planned: Planned, picture: Picture, title: str, prefix: str, href: Callable[[Art], str]) -> str:
    """The drawing of one step as SVG; ``prefix`` keeps its ids apart from those of others on the page."""
    surface = SvgSurface(href, prefix)
    surface.page(SIZE, SIZE, SIZE, picture)
    draw_step(surface, planned, picture)
    return surface.svg(f"Drawing: {title}")


def guide_page_count(planned: Planned) -> int:
    """How many pages the guide takes on the deck's paper."""
    return len(_pages(planned))


def draw_guide_page(surface: Surface, planned: Planned, number: int) -> None:
    """Draw page ``number``, from 0."""
    layout = planned.plan.layout
    pages = _pages(planned)
    room = _room(planned)
    surface.page(layout.page, layout.page, layout.page, f"steps {number + 1}")
    with surface.within(layer="notes"):
        y = room.y
        if number == 0:
            surface.text((room.x, y + _TITLE_MM), f"How to build {planned.deck.name}"[:60], _TITLE_MM)
            y += _head_mm()
        for block in pages[number]:
            y = _draw_block(surface, planned, block, room, y) + _GAP_MM
        if number == len(pages) - 1:
            for line in _wrapped(f"{WHAT_DECIDES.title}: {WHAT_DECIDES.says}", room.width, _SMALL_MM):
                y += _SMALL_MM * _LEADING
                surface.text((room.x, y), line, _SMALL_MM, rgb=_SOFT)


def _room(planned: Planned) -> Rect:
    area = planned.plan.layout.printable
    inset = min(_AIR_MM, area.width * 0.04)
    return Rect(area.x + inset, area.y + inset, area.width - 2 * inset, area.height - 2 * inset)


def _head_mm() -> float:
    return _TITLE_MM + _GAP_MM


def _pages(planned: Planned) -> list[list[_Block]]:
    """The steps page by page. The last page keeps room for what decides."""
    room = _room(planned)
    last = len(_wrapped(f"{WHAT_DECIDES.title}: {WHAT_DECIDES.says}", room.width, _SMALL_MM)) * _SMALL_MM * _LEADING
    steps = guide_steps(planned.plan.layout, planned.settings, planned.box)
    pages: list[list[_Block]] = [[]]
    left = room.height - _head_mm()
    for number, step in enumerate(steps, 1):
        block = _laid(number, step, room.width)
        needs = block.height_mm + _GAP_MM + (last if number == len(steps) else 0.0)
        if pages[-1] and needs > left:
            pages.append([])
            left = room.height
        pages[-1].append(block)
        left -= block.height_mm + _GAP_MM
    return pages


def _laid(number: int, step: Step, width: float) -> _Block:
    beside = bool(step.picture) and width - WIDTH_MM - _GAP_MM >= _LEAST_TEXT_MM
    column = width - WIDTH_MM - _GAP_MM if beside else width
    title = _wrapped(f"{number}. {step.title}", column, _HEAD_MM)
    says, why = _wrapped(step.says, column, _TEXT_MM), _wrapped(step.why, column, _SMALL_MM)
    warnings = tuple(_wrapped(f"{one.title}: {one.says} {one.why}".strip(), width - 9, _SMALL_MM)
                     for one in cautions_of(step))
    words = (len(title) * _HEAD_MM + len(says) * _TEXT_MM + len(why) * _SMALL_MM) * _LEADING + 2
    body = max(words, HEIGHT_MM) if beside else words + (HEIGHT_MM + 2 if step.picture else 0)
    careful = sum(len(lines) * _SMALL_MM * _LEADING + 5 for lines in warnings)
    return _Block(number, step, warnings, title, says, why, beside, body + careful)


def _draw_block(surface: Surface, planned: Planned, block: _Block, room: Rect, top: float) -> float:
    """Cautions first, then the drawing and the words. Returns where the next may begin."""
    y = top
    for lines in block.warnings:
        high = len(lines) * _SMALL_MM * _LEADING + 3
        surface.outline(Rect(room.x, y, room.width, high), 1.0, _WARN)
        surface.fill(((room.x + 4, y + 1.6), (room.x + 6.2, y + 5.4), (room.x + 1.8, y + 5.4)), ACT)
        surface.text((room.x + 4, y + 5.0), "!", 2.8, anchor="middle", rgb=(255, 255, 255))
        for number, line in enumerate(lines):
            surface.text((room.x + 8, y + 1 + (number + 1) * _SMALL_MM * _LEADING - 0.6), line, _SMALL_MM, rgb=DARK)
        y += high + 2
    x, words = room.x, y
    if block.step.picture:
        with surface.within(matrix=Affine.shift(room.x, y)):
            draw_step(surface, planned, block.step.picture)
            surface.outline(Rect(0, 0, WIDTH_MM, HEIGHT_MM), 1.0, _FRAME)
        x, words = (room.x + WIDTH_MM + _GAP_MM, y) if block.beside else (room.x, y + HEIGHT_MM + 2)
    for lines, size, rgb in ((block.title, _HEAD_MM, DARK), (block.says, _TEXT_MM, DARK),
                             (block.why, _SMALL_MM, _SOFT)):
        for line in lines:
            words += size * _LEADING
            surface.text((x, words - size * 0.3), line, size, rgb=rgb)
        words += 0.8
    return top + block.height_mm


def _wrapped(text: str, width: float, size_mm: float) -> tuple[str, ...]:
    """Lines no wider than ``width`` mm."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_mm(longer, size_mm) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return tuple(lines)


