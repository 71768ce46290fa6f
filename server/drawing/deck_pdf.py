"""A planned deck as one PDF, written beside its place and moved there when it is whole."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import BinaryIO

from server.core.art import Art, Deck
from server.core.box import Box
from server.core.plan import Face, Layout
from server.core.planning import Planned
from server.core.settings import DeckSettings
from server.drawing.box import draw_box
from server.drawing.pdf_images import Begun
from server.drawing.pdf_surface import Duplex, PdfSurface
from server.drawing.sheet import art_of, draw_face
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
               progress: Callable[[int, int], None] = _no_progress, cancelled: Callable[[], bool] = _never, *,
               limits: ArtLimits = DEFAULT_LIMITS, begun: Begun | None = None) -> None:
    """``write_pdf`` onto a stream, which holds half a PDF where anything is raised, and may hold what was ``begun``."""
    surface = PdfSurface(stream, source, title=f"{planned.deck.name} · {planned.settings.method}",
                         duplex=duplex_preference(planned.plan.layout), limits=limits, begun=begun)
    try:
        for done, page in enumerate(pages):
            _stop_if(cancelled)
            progress(done, len(pages))
            page(surface)
        surface.close()
    finally:
        surface.release()
    progress(len(pages), len(pages))


def drawn_art(planned: Planned) -> tuple[Art, ...]:
    """The distinct arts on the sheets, fronts first, each in the deck's order."""
    arts = (art_of(planned, placed) for face in planned.plan.faces for placed in planned.plan.placements(face))
    drawn = {art.key for art in arts if art}
    cards = planned.deck.cards
    return tuple({art.key: art for art in (*(card.front for card in cards), *(card.back for card in cards))
                  if art and art.key in drawn}.values())


def begin_pdf(arts: Iterable[Art], source: Callable[[Art], Path], stream: BinaryIO,
              cancelled: Callable[[], bool] = _never, *, limits: ArtLimits = DEFAULT_LIMITS) -> Begun:
    """Write ``arts`` as the beginning of a PDF. Raises what ``write_pdf`` does."""
    def unless_stopped() -> Iterator[Art]:
        for art in arts:
            _stop_if(cancelled)
            yield art

    surface = PdfSurface(stream, source, title="", duplex="Simplex", limits=limits)
    try:
        return surface.begin(unless_stopped())
    finally:
        surface.release()


def _stop_if(cancelled: Callable[[], bool]) -> None:
    if cancelled():
        raise Stopped("The build was cancelled.", "Start it again when you like.")


def duplex_preference(layout: Layout) -> Duplex:
    """What the print dialogue is asked for (ISO 32000-1, Table 150): the flip that the plan was made for."""
    if layout.flip is None:
        return "Simplex"
    return "DuplexFlipLongEdge" if layout.flip == "long-edge" else "DuplexFlipShortEdge"
