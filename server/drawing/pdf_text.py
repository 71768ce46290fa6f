"""Text in a PDF: Helvetica where WinAnsi has the letters, else a line set by MuPDF's fonts and imported as a form.

And pages of words on any surface: headings and paragraphs one under the other, a new page where one is full.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from server.core.geometry import Affine, Edges, Point, Rect
from server.core.lettering import text_width_mm, winansi
from server.drawing.pdf_file import PdfFile
from server.drawing.pdf_import import PageImporter
from server.drawing.surface import BLACK, Rgb, Surface
from server.formats.pdf_source import PdfSource, load_pymupdf

_EM_POINTS = 100.0
_STYLE = "font-family:sans-serif;margin:0;white-space:nowrap;font-size:{size}px;color:rgb({red},{green},{blue})"


@dataclass(frozen=True, slots=True)
class SetLine:
    """A form that shows one line. ``matrix`` carries its points to a frame whose unit is the em, its origin on the
    baseline at the line's start, y down; ``width_em`` is its advance, never more than the layout reckoned."""

    form: int
    matrix: Affine
    width_em: float


class TextForms:
    """Lines that Helvetica can't show. Each distinct line is set once, in a font that has its script, cut down to the
    letters used; a line that comes out wider than the layout reckoned is squeezed."""

    def __init__(self, file: PdfFile, importer: PageImporter) -> None:
        self._file = file
        self._importer = importer
        self._known: dict[tuple[str, tuple[int, int, int]], SetLine | None] = {}

    @property
    def font(self) -> int:
        """Helvetica as a font object; every reader has it (ISO 32000-1, 9.6.2.2)."""
        return self._file.put(b"<</Type /Font /Subtype /Type1 /BaseFont /Helvetica /Encoding /WinAnsiEncoding>>")

    def line(self, text: str, rgb: tuple[int, int, int]) -> SetLine | None:
        """``text`` as a form; None where nothing of it can be shown."""
        if (text, rgb) not in self._known:
            self._known[text, rgb] = self._set(text, rgb)
        return self._known[text, rgb]

    def _set(self, text: str, rgb: tuple[int, int, int]) -> SetLine | None:
        import html

        pymupdf = load_pymupdf()
        with pymupdf.open() as document:
            width, height = _EM_POINTS * (2 * len(text) + 4), 3 * _EM_POINTS
            page = document.new_page(width=width, height=height)
            style = _STYLE.format(size=_EM_POINTS, red=rgb[0], green=rgb[1], blue=rgb[2])
            page.insert_htmlbox(pymupdf.Rect(0, 0, width, height), f'<p style="{style}">{html.escape(text)}</p>',
                                scale_low=1)
            spans = _spans(page)
            if not spans:
                return None
            document.subset_fonts()
            left = min(span["bbox"][0] for span in spans)
            right = max(span["bbox"][2] for span in spans)
            placed = self._importer.add_page(PdfSource(document, text), 0, {})
        natural, reckoned = (right - left) / _EM_POINTS, text_width_mm(text, 1.0)
        squeeze = min(1.0, reckoned / natural) if natural > 0 and reckoned > 0 else 1.0
        # The page is upright and as large as it was made, so its unit square is the page in points, y down.
        to_em = Affine.scaling(squeeze / _EM_POINTS, 1 / _EM_POINTS).after(Affine.shift(-left, -spans[0]["origin"][1]))
        return SetLine(placed.number, to_em.after(Affine.scaling(width, height)).after(placed.matrix),
                       natural * squeeze)


@lru_cache(maxsize=256)  # most labels stand on every sheet
def runs(line: str) -> tuple[tuple[str, bool], ...]:
    """A line cut between words into what WinAnsi holds (True) and what it doesn't; whole where it runs right to left.

    So the parts that many sheets share, such as a deck's name, are set once, whatever number stands beside them.
    """
    if any(unicodedata.bidirectional(char) in ("R", "AL", "AN") for char in line):
        return ((line, False),)
    found: list[tuple[str, bool]] = []
    for word in re.findall(r" +|[^ ]+", line):
        plain = winansi(word) is not None
        if not plain and len(found) > 1 and found[-1][0].isspace():
            word = found.pop(-2)[0] + found.pop()[0] + word
        if found and found[-1][1] == plain:
            word = found.pop()[0] + word
        found.append((word, plain))
    return tuple(found)


def _spans(page: Any) -> list[Any]:
    return [span for block in page.get_text("dict")["blocks"] for line in block.get("lines", ())
            for span in line["spans"]]


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
