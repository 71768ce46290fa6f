"""A prepared deck to its PDF. Art that breaks while it is drawn is left out, and the others go on."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Literal

from server.core.planning import box_of
from server.errors import LampfoldError, Unreadable
from server.prepress.prepare import Prepared, prepare

if TYPE_CHECKING:
    from server.core.art import Art
    from server.drawing.deck_pdf import Page
    from server.drawing.pdf_images import Begun
    from server.drawing.surface import Surface
    from server.prepress.since import ChangeSheet

Part = Literal["sheets", "box", "guide"]


def _unwatched(done: int, total: int) -> None:
    """Nobody is watching."""


def _never() -> bool:
    return False


def build(prepared: Prepared, out: Path, progress: Callable[[int, int], None] = _unwatched,
          cancelled: Callable[[], bool] = _never, part: Part = "sheets",
          since: ChangeSheet | None = None) -> Prepared:
    """Write ``out``: every face of the plan a page and the box where the settings ask for one, or another ``part``
    alone; after the sheets of ``since`` the cards to take out. ``progress`` is told (pages done, pages in all).

    Returns what was built: the same, or without the art that no decoder takes. ``prepared`` must know its ``source``.
    Raises Unreadable, TooMuch, Stopped, or OSError where the disk refuses; a file that stood at ``out`` stays then.
    """
    from server.drawing.deck_pdf import write_pdf

    source = prepared.source
    if source is None:
        raise ValueError("a deck that was prepared without a source can't be built")
    while True:
        try:
            with _take_out(prepared, since) as (last, pictures):
                write_pdf((*_pages(prepared, part), *last), prepared.planned,
                          lambda art: pictures.get(art.key) or source(art), out, progress, cancelled,
                          limits=prepared.limits)
            return prepared
        except Unreadable as error:
            prepared = without_broken(prepared, error)


def build_into(prepared: Prepared, stream: BinaryIO, cancelled: Callable[[], bool] = _never,
               part: Part = "sheets", begun: Begun | None = None) -> None:
    """``build`` onto a stream, of art that is whole; ``begun`` says what of it stands there already."""
    from server.drawing.deck_pdf import stream_pdf

    assert prepared.source is not None
    stream_pdf(_pages(prepared, part), prepared.planned, prepared.source, stream, cancelled=cancelled,
               limits=prepared.limits, begun=begun)


def begin_into(prepared: Prepared, arts: Iterable[Art], stream: BinaryIO,
               cancelled: Callable[[], bool] = _never) -> Begun:
    """``arts`` onto a stream, as what any PDF with them may begin with. Raises Unreadable for what is broken."""
    from server.drawing.deck_pdf import begin_pdf

    assert prepared.source is not None
    return begin_pdf(arts, prepared.source, stream, cancelled, limits=prepared.limits)


def without_broken(prepared: Prepared, error: Unreadable) -> Prepared:
    """The same without all art that no decoder takes. Raises ``error``, which led here, where there is none."""
    from server.intake.decode_check import without

    broken = _broken(prepared, error)
    if not broken:
        raise error
    return prepare(without(prepared.deck, broken), prepared.settings, prepared.source, prepared.printer,
                   prepared.limits)


def _pages(prepared: Prepared, part: Part) -> tuple[Page, ...]:
    from server.drawing.deck_pdf import box_pages, guide_pages, sheet_pages

    planned = prepared.planned
    if part == "box":
        return box_pages(planned, box_of(planned.deck, planned.settings, planned.plan.layout))
    return guide_pages(planned) if part == "guide" else sheet_pages(planned)


@contextmanager
def _take_out(prepared: Prepared, since: ChangeSheet | None) -> Iterator[tuple[tuple[Page, ...], dict[str, Path]]]:
    """The pages that show which cards to take out, and where their pictures lie while they are drawn."""
    if since is None or not since.changes.take_out:
        yield (), {}
        return
    from server.drawing.take_out import draw_take_out
    from server.prepress.since import take_out_pictures

    layout = prepared.planned.plan.layout
    with take_out_pictures(since) as (cards, pictures):
        def page(surface: Surface) -> None:
            draw_take_out(surface, layout.page, layout.printable, cards, since.says)

        yield (page,), pictures


def _broken(prepared: Prepared, error: Unreadable) -> dict[str, LampfoldError]:
    """What no decoder takes, by file; where they take all that the PDF can't, the file that the error names."""
    from server.intake.decode_check import broken_art, files_of

    assert prepared.source is not None
    return {**broken_art(prepared.deck, prepared.source, prepared.limits)} or {
        file: error for file in files_of(prepared.deck) if error.message.startswith(f"{file}: ")}
