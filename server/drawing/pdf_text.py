"""Text in a PDF: Helvetica where WinAnsi has the letters, else a line set by MuPDF's fonts and imported as a form."""

from __future__ import annotations

import html
import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from server.core.geometry import Affine
from server.core.lettering import text_width_mm, winansi
from server.drawing.pdf_file import PdfFile
from server.drawing.pdf_import import PageImporter
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
