"""A planned deck as one PDF, written beside its place and moved there when it is whole."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import BinaryIO

from server.core.art import Art, Deck
from server.core.box import Box
from server.core.plan import Face, Layout
from server.core.planning import Planned
from server.core.settings import DeckSettings
from server.drawing.box import draw_box
from server.drawing.pdf_surface import Duplex, PdfSurface
from server.drawing.sheet import draw_face
from server.drawing.surface import Surface
from server.errors import Stopped
from server.formats.limits import DEFAULT_LIMITS, ArtLimits

Page = Callable[[Surface], None]


def _no_progress(done: int, total: int) -> None:
    """Nobody is watching."""


def _never() -> bool:
    return False


def write_deck_pdf(planned: Planned, deck: Deck, settings: DeckSettings, source: Callable[[Art], Path], out: Path,
                   progress: Callable[[int, int], None] = _no_progress,
                   cancelled: Callable[[], bool] = _never, *, limits: ArtLimits = DEFAULT_LIMITS) -> None:
    """The sheets of a deck and, where it has one, its box: ``write_pdf`` of all its pages."""
    write_pdf(sheet_pages(planned), planned, source, out, progress, cancelled, limits=limits)


def sheet_pages(planned: Planned) -> tuple[Page, ...]:
    """Every face of the plan, and the box where there is one."""
    faces = tuple(partial(_draw_face, planned, face) for face in planned.plan.faces)
    return (*faces, *box_pages(planned, planned.box))


def box_pages(planned: Planned, box: Box | None) -> tuple[Page, ...]:
    """The box's page; none where there is no box."""
    return (partial(_draw_box, planned, box),) if box else ()


def guide_pages(planned: Planned) -> tuple[Page, ...]:
    """The build guide's pages."""
    from server.drawing.guide_pages import draw_guide_page, guide_page_count

    def page(number: int, surface: Surface) -> None:
        draw_guide_page(surface, planned, number)

    return tuple(partial(page, number) for number in range(guide_page_count(planned)))


def _draw_face(planned: Planned, face: Face, surface: Surface) -> None:
    draw_face(surface, planned, face)


def _draw_box(planned: Planned, box: Box, surface: Surface) -> None:
    draw_box(surface, planned, box)


def write_pdf(pages: Sequence[Page], planned: Planned, source: Callable[[Art], Path], out: Path,
              progress: Callable[[int, int], None] = _no_progress,
              cancelled: Callable[[], bool] = _never, *, limits: ArtLimits = DEFAULT_LIMITS) -> None:
    """Write ``out``, each of ``pages`` drawn in turn. ``progress`` is told (pages done, pages in all).

    A file that stood at ``out`` stays until the new one is whole; on any error, or when ``cancelled`` says so between
    two pages, nothing is left behind. Raises Unreadable or TooMuch, naming the art's file, Stopped, or OSError where
    the disk refuses.
    """
    under_way = out.with_name(f".{out.name}.{os.urandom(4).hex()}.part")
    try:
        with under_way.open("xb", buffering=0) as stream:
            stream_pdf(pages, planned, source, stream, progress, cancelled, limits=limits)
        under_way.replace(out)
    finally:
        under_way.unlink(missing_ok=True)


def stream_pdf(pages: Sequence[Page], planned: Planned, source: Callable[[Art], Path], stream: BinaryIO,
               progress: Callable[[int, int], None] = _no_progress,
               cancelled: Callable[[], bool] = _never, *, limits: ArtLimits = DEFAULT_LIMITS) -> None:
    """``write_pdf`` onto a stream, which holds half a PDF where anything is raised."""
    surface = PdfSurface(stream, source, title=f"{planned.deck.name} · {planned.settings.method}",
                         duplex=duplex_preference(planned.plan.layout), limits=limits)
    try:
        for done, page in enumerate(pages):
            if cancelled():
                raise Stopped("The build was cancelled.", "Start it again when you like.")
            progress(done, len(pages))
            page(surface)
        surface.close()
    finally:
        surface.release()
    progress(len(pages), len(pages))


def duplex_preference(layout: Layout) -> Duplex:
    """What the print dialogue is asked for (ISO 32000-1, Table 150): the flip that the plan was made for."""
    if layout.flip is None:
        return "Simplex"
    return "DuplexFlipLongEdge" if layout.flip == "long-edge" else "DuplexFlipShortEdge"
