"""Pages of words on any surface: headings and paragraphs one under the other, a new page where one is full."""

from __future__ import annotations

from collections.abc import Iterator

from server.core.geometry import Edges, Point, Rect
from server.core.lettering import text_width_mm
from server.drawing.surface import BLACK, Rgb, Surface

SOFT: Rgb = (90, 90, 90)
TITLE_MM, HEADING_MM, TEXT_MM = 7.0, 4.6, 3.4
_LEADING = 1.4


def wrapped(text: str, width_mm: float, size_mm: float) -> Iterator[str]:
    """``text`` in lines of at most ``width_mm``; a word that is longer stands on a line of its own."""
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and text_width_mm(longer, size_mm) > width_mm:
            yield line
            line = word
        else:
            line = longer
    if line:
        yield line


class TextFlow:
    """Words from the top down. ``y`` is where the next line begins; ``room`` what a page may hold."""

    def __init__(self, surface: Surface, page: Rect, margin_mm: float, label: str) -> None:
        self._surface, self._page, self._label = surface, page, label
        self.room = page.grown(Edges.all(-margin_mm))
        self.pages = 0
        self.y = self.room.bottom + 1.0  # full, so that the first line begins a page

    def need(self, height_mm: float) -> None:
        """Begin a page where ``height_mm`` don't fit on this one any more."""
        if self.y + height_mm > self.room.bottom and self.y > self.room.y:
            self.pages += 1
            self._surface.page(self._page, self._page, self._page, f"{self._label} {self.pages}")
            self.y = self.room.y

    def take(self, height_mm: float) -> Point:
        """Room for something else of that height across the page; returns its top-left corner."""
        self.need(height_mm)
        at = self.room.x, self.y
        self.y += height_mm
        return at

    def title(self, text: str) -> None:
        self._lines(text, TITLE_MM, BLACK)
        self.y += 2.0

    def heading(self, text: str, keep_mm: float = 14.0) -> None:
        """A heading, on a page with at least ``keep_mm`` of what follows."""
        self.need(3.0 + HEADING_MM * _LEADING + keep_mm)
        self.y += 3.0
        self._lines(text, HEADING_MM, BLACK)
        self.y += 1.0

    def text(self, text: str, *, rgb: Rgb = BLACK, size_mm: float = TEXT_MM, indent_mm: float = 0.0) -> None:
        self._lines(text, size_mm, rgb, indent_mm)
        self.y += 1.2

    def _lines(self, text: str, size_mm: float, rgb: Rgb, indent_mm: float = 0.0) -> None:
        for line in wrapped(text, self.room.width - indent_mm, size_mm):
            self.need(size_mm * _LEADING)
            with self._surface.within(layer="notes"):
                self._surface.text((self.room.x + indent_mm, self.y + size_mm), line, size_mm, rgb=rgb)
            self.y += size_mm * _LEADING
