"""A planned deck as one PDF, written beside its place and moved there when it is whole."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from pathlib import Path

from server.core.art import Art, Deck
from server.core.plan import Layout
from server.core.planning import Planned
from server.core.settings import DeckSettings
from server.drawing.pdf_images import OddSums
from server.drawing.pdf_surface import Duplex, PdfSurface
from server.drawing.sheet import draw_face
from server.errors import Stopped
from server.formats.limits import DEFAULT_LIMITS, ArtLimits


def _no_progress(done: int, total: int) -> None:
    """Nobody is watching."""


def _never() -> bool:
    return False


def write_deck_pdf(planned: Planned, deck: Deck, settings: DeckSettings, source: Callable[[Art], Path], out: Path,
                   progress: Callable[[int, int], None] = _no_progress,
                   cancelled: Callable[[], bool] = _never, *, limits: ArtLimits = DEFAULT_LIMITS,
                   decode: frozenset[str] = frozenset()) -> None:
    """Write ``out``, every face of the plan a page. ``progress`` is told (faces done, faces in all).

    A file that stood at ``out`` stays until the new one is whole; on any error, or when ``cancelled`` says so between
    two faces, nothing is left behind. PNGs whose check sums don't hold are decoded instead of copied: they join
    ``decode`` (art keys), and the drawing begins anew. Raises Unreadable or TooMuch, naming the art's file,
    Stopped, or OSError where the disk refuses.
    """
    faces = planned.plan.faces
    under_way = out.with_name(f".{out.name}.{secrets.token_hex(4)}.part")
    try:
        with under_way.open("xb", buffering=0) as stream:
            surface = PdfSurface(stream, source, title=f"{deck.name} · {settings.method}",
                                 duplex=duplex_preference(planned.plan.layout), limits=limits,
                                 decode=decode)
            try:
                for done, face in enumerate(faces):
                    if cancelled():
                        raise Stopped("The build was cancelled.", "Start it again when you like.")
                    progress(done, len(faces))
                    draw_face(surface, planned, face)
                surface.close()
            finally:
                surface.release()
        progress(len(faces), len(faces))
        under_way.replace(out)
    except OddSums as odd:
        write_deck_pdf(planned, deck, settings, source, out, progress, cancelled, limits=limits,
                       decode=decode | odd.keys)
    finally:
        under_way.unlink(missing_ok=True)


def duplex_preference(layout: Layout) -> Duplex:
    """What the print dialogue is asked for (ISO 32000-1, Table 150): the flip that the plan was made for."""
    if layout.flip is None:
        return "Simplex"
    return "DuplexFlipLongEdge" if layout.flip == "long-edge" else "DuplexFlipShortEdge"
