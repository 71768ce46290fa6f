"""The pages of a PDF as cards: how many, and how large as they are seen.

PyMuPDF is not thread-safe and can take long over a hostile file, so a server calls this only in a process that it can
end.
"""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Any

from server.core.units import POINTS_PER_MM
from server.formats.limits import MAX_ASPECT, MAX_PAGE_MM, MIN_PAGE_MM, ArtLimits
from server.formats.pdf_printed import print_annotations
from server.formats.pdf_source import PdfSource, load_pymupdf
from server.formats.refusal import EXPORT_AGAIN, ArtTooLarge, BadArt, damaged, refusing, truncated

OUR_PRODUCER = "Lampfold"  # what our own PDFs say of themselves; laid out again they would be cards of sheets
_TAIL_BYTES = 2048  # the end mark is looked for in the last 1,024 bytes (ISO 32000-1, Annex H, note 18), and then some


def open_pdf(path: Path, file: str) -> PdfSource:
    """The PDF, unlocked, its pages as they print. Raises BadArt, naming ``file``; the caller closes it."""
    with refusing(file):
        document = load_pymupdf().open(str(path), filetype="pdf")
    try:
        if document.needs_pass:
            raise BadArt(f"{file}: is locked with a password.", "Save a copy without a password.", "encrypted")
        source = PdfSource(document, file)
        print_annotations(source)
        return source
    except BaseException:
        document.close()
        raise


def read_pdf(path: Path, file: str, limits: ArtLimits) -> tuple[tuple[float, float], ...]:
    """(width, height) in mm of every page, as seen: CropBox, /Rotate and /UserUnit counted.

    Raises BadArt (encrypted, truncated, no-pages, odd-shape, ...) or ArtTooLarge for too many pages or for a picture
    inside that is over the pixel limit.
    """
    source = open_pdf(path, file)
    with refusing(file):
        try:
            return _pages(source.document, path, file, limits)
        finally:
            source.close()


def _pages(document: Any, path: Path, file: str, limits: ArtLimits) -> tuple[tuple[float, float], ...]:
    if document.is_repaired and not _has_end(path):
        raise truncated(file, "the end of the PDF is missing")
    if (document.metadata or {}).get("producer") == OUR_PRODUCER:
        raise BadArt(f"{file}: holds sheets that were made here, not art.", "Take it out of the deck.", "own-sheets")
    count = document.page_count
    if count > limits.pdf_pages:
        raise ArtTooLarge(f"{file}: has {count} pages, over the limit of {limits.pdf_pages}.",
                          "Split it into several files.", "too-many-pages")
    if count < 1:
        raise BadArt(f"{file}: has no page.", EXPORT_AGAIN, "no-pages")
    sizes: list[tuple[float, float]] = []
    seen: set[int] = set()
    for number in range(count):
        label = file if count == 1 else f"{file}#{number + 1}"
        page = document.load_page(number)
        sizes.append(_size(page.rect.width, page.rect.height, label))
        _check_pictures(document, number, seen, label, limits)
    return tuple(sizes)


def _size(width_pt: float, height_pt: float, label: str) -> tuple[float, float]:
    width, height = width_pt / POINTS_PER_MM, height_pt / POINTS_PER_MM
    if not (math.isfinite(width) and math.isfinite(height)):
        raise damaged(label, "the page has no size")
    if min(width, height) < MIN_PAGE_MM or max(width, height) > MAX_PAGE_MM:
        raise BadArt(f"{label}: is {width:.1f} × {height:.1f} mm, which is no card.",
                     "Set the page to the size of one card.", "odd-shape")
    if max(width, height) > MAX_ASPECT * min(width, height):
        raise BadArt(f"{label}: is {width:.1f} × {height:.1f} mm, which is no card's shape.",
                     "Set the page to the size of one card.", "odd-shape")
    return width, height


def _check_pictures(document: Any, number: int, seen: set[int], label: str, limits: ArtLimits) -> None:
    """Pictures inside are decoded whole when the page is drawn, so they are held to the same limit."""
    for xref, _, width, height, *_ in document.get_page_images(number):
        if xref not in seen and width * height > limits.pixels:
            raise ArtTooLarge(
                f"{label}: holds a picture of {width} × {height} pixels, over the limit of "
                f"{limits.pixels / 1e6:g} megapixels.", "Scale it down and export the PDF again.", "too-many-pixels")
        seen.add(xref)


def _has_end(path: Path) -> bool:
    with path.open("rb") as handle:
        handle.seek(0, os.SEEK_END)
        handle.seek(max(0, handle.tell() - _TAIL_BYTES))
        return b"%%EOF" in handle.read()
