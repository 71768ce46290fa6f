"""The pages of a PDF as cards: how many, how large as they are seen, and what a reader prints of each.

PyMuPDF is not thread-safe and can take long over a hostile file, so a server calls this only in a process that it can
end. Annotations and filled form fields (ISO 32000-1, 12.5) are made part of the page as soon as the file is opened, so
that screen, check and print see one and the same page.
"""

from __future__ import annotations

import hashlib
import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.core.art import ArtKind
from server.core.geometry import Edges
from server.core.units import POINTS_PER_MM
from server.formats.limits import (
    DEFAULT_LIMITS,
    EXPORT_AGAIN,
    MAX_ASPECT,
    MAX_PAGE_MM,
    MIN_PAGE_MM,
    ArtLimits,
    ArtTooLarge,
    BadArt,
    damaged,
    refusing,
    truncated,
)
from server.formats.pdf_inflate import bound_forms, bound_pictures, bound_streams
from server.formats.pdf_source import PdfSource, load_pymupdf
from server.formats.pdf_syntax import Atom, Name, Ref, Value, written

OUR_PRODUCER = "Lampfold"  # what our own PDFs say of themselves; laid out again they would be cards of sheets
_SLACK_PT = 0.1
# The end mark is looked for in the last 1,024 bytes (PDF Reference 1.7, Appendix H, note 18), and then some.
_TAIL_BYTES = 2048
_DEEPEST, _MOST_LOOKED_AT = 40, 50_000
_NOTICEABLE = 0.04  # of a page: a smaller picture is an ornament, whose softness nobody sees


def open_pdf(path: Path, file: str, limits: ArtLimits | None = None, kind: ArtKind = "pdf",
             page: int | None = None) -> PdfSource:
    """The PDF, unlocked, its pages as they print; an SVG as the page that it is drawn to. Raises BadArt, naming
    ``file``; the caller closes it.

    With ``limits``, as for a file that nobody has read yet, what it unpacks to is bounded before anything unpacks it.
    Whoever wants one ``page`` of thousands says so, and only that is made ready.
    """
    if kind == "svg":
        from server.formats.svg import open_svg

        return PdfSource(open_svg(path, file, limits or DEFAULT_LIMITS), file)
    with refusing(file):
        document = load_pymupdf().open(str(path), filetype="pdf")
    try:
        if document.needs_pass:
            raise BadArt(f"{file}: is locked with a password.", "Save a copy without a password.", "encrypted")
        source = PdfSource(document, file)
        if limits:
            bound_streams(source, limits)
            bound_pictures(source, limits)
        pages = range(source.page_count) if page is None else range(page, min(page + 1, source.page_count))
        print_annotations(source, pages)
        _show_to_the_bleed(source, pages)
        return source
    except BaseException:
        document.close()
        raise


@dataclass(frozen=True, slots=True)
class PdfPage:
    """One page: (width, height) in mm as seen, with CropBox, /Rotate and /UserUnit counted; how far its TrimBox lies
    inside that, in mm as seen, None where it has none; a name for what it draws, equal for pages drawn alike; and the
    resolution of the coarsest of its larger pictures, None where it has none."""

    size_mm: tuple[float, float]
    trim_mm: Edges | None = None
    look: str = ""
    picture_ppi: float | None = None


def _show_to_the_bleed(source: PdfSource, pages: range) -> None:
    """Of a page with a TrimBox all is shown up to its BleedBox: what lies beyond are printer's marks (14.11.2.1)."""
    for number in pages:
        trim = source.printers_box(number, "TrimBox")
        bleed = source.printers_box(number, "BleedBox") if trim else None
        if trim and bleed:
            shown = bleed.shared(source.page(number).box)
            if shown.contains(trim) and shown != source.page(number).box:
                source.set_visible(number, shown)


def read_pdf(path: Path, file: str, limits: ArtLimits, kind: ArtKind = "pdf") -> tuple[PdfPage, ...]:
    """Every page as a card's art.

    Raises BadArt (encrypted, truncated, no-pages, odd-shape, ...) or ArtTooLarge for too many pages or for a picture
    inside that is over the pixel limit.
    """
    source = open_pdf(path, file, limits, kind)
    with refusing(file):
        try:
            return _pages(source, path, file, limits)
        finally:
            source.close()


def _pages(source: PdfSource, path: Path, file: str, limits: ArtLimits) -> tuple[PdfPage, ...]:
    document = source.document
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
    pages: list[PdfPage] = []
    looks = _looks(source) if count > 2 else ("",) * count
    seen: set[int] = set()
    for number in range(count):
        label = file if count == 1 else f"{file}#{number + 1}"
        page = document.load_page(number)
        size = _size(page.rect.width, page.rect.height, label)
        bound_forms(source, number, label)
        holds = _check_pictures(document, number, seen, label, limits)
        pages.append(PdfPage(size, _trim(source, number, size), looks[number], _coarsest(page) if holds else None))
    return tuple(pages)


def _trim(source: PdfSource, number: int, size_mm: tuple[float, float]) -> Edges | None:
    """How far the TrimBox lies inside the page as it is seen, in mm; None where there is none inside."""
    trim = source.printers_box(number, "TrimBox")
    if trim is None:
        return None
    page = source.page(number)
    box = page.box
    inside = [trim.x - box.x, box.bottom - trim.bottom, box.right - trim.right, trim.y - box.y]  # y is up
    if min(inside) < -_SLACK_PT or max(inside) < _SLACK_PT or trim.width < _SLACK_PT or trim.height < _SLACK_PT:
        return None
    turns = page.rotation // 90
    inside = inside[-turns:] + inside[:-turns] if turns else inside
    scale = size_mm[turns % 2] / box.width
    return Edges(*(max(0.0, side) * scale for side in inside))


def _looks(source: PdfSource) -> tuple[str, ...]:
    """A name for what each page draws: its own content and all that it refers to, wherever in the file that lies."""
    found: list[str] = []
    known: dict[int, bytes] = {}
    shared: Value | None = None  # what many pages inherit is looked at once
    likeness = b""
    for number in range(source.page_count):
        page = source.page(number)
        digest = hashlib.blake2b(digest_size=12)
        for stream in page.contents:
            digest.update(source.raw_stream(stream))
        if page.resources is not shared:
            shared, likeness = page.resources, _likeness(source, page.resources, known, 0)
        digest.update(likeness)
        found.append(digest.hexdigest())
    return tuple(found)


def _likeness(source: PdfSource, value: Value, known: dict[int, bytes], depth: int) -> bytes:
    """Equal for values that hold the same. Each object is looked at once, beyond bounds by its number alone."""
    if isinstance(value, Ref):
        if value.number not in known:
            known[value.number] = b"%d" % value.number  # what it is for itself, and where there is too much to look at
            if depth < _DEEPEST and len(known) < _MOST_LOOKED_AT:
                digest = hashlib.blake2b(_likeness(source, source.object(value.number), known, depth + 1),
                                         digest_size=12)
                if source.is_stream(value.number):
                    digest.update(source.raw_stream(value.number))
                known[value.number] = digest.digest()
        return known[value.number]
    if isinstance(value, dict):
        return b"<%s>" % b" ".join(key + b" " + _likeness(source, item, known, depth + 1)
                                   for key, item in sorted(value.items()) if key not in (b"/Parent", b"/StructParents"))
    if isinstance(value, list):
        return b"[%s]" % b" ".join(_likeness(source, item, known, depth + 1) for item in value)
    return bytes(value)


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


def _check_pictures(document: Any, number: int, seen: set[int], label: str, limits: ArtLimits) -> bool:
    """Pictures inside are decoded whole when the page is drawn, so they are held to the same limit. True if there are
    any."""
    pictures = document.get_page_images(number)
    for xref, _, width, height, *_ in pictures:
        if xref not in seen and width * height > limits.pixels:
            raise ArtTooLarge(
                f"{label}: holds a picture of {width} × {height} pixels, over the limit of "
                f"{limits.pixels / 1e6:g} megapixels.", "Scale it down and export the PDF again.", "too-many-pixels")
        seen.add(xref)
    return bool(pictures)


def _coarsest(page: Any) -> float | None:
    """Pixels per inch of the coarsest picture that takes a noticeable part of the page, at the page's own size."""
    found = []
    for picture in page.get_image_info():
        a, b, c, d, *_ = picture["transform"]
        across, down = math.hypot(a, b), math.hypot(c, d)
        if across * down >= _NOTICEABLE * page.rect.width * page.rect.height:
            found.append(72 * min(picture["width"] / across, picture["height"] / down))
    return min(found, default=None)


def _has_end(path: Path) -> bool:
    with path.open("rb") as handle:
        handle.seek(0, os.SEEK_END)
        handle.seek(max(0, handle.tell() - _TAIL_BYTES))
        return b"%%EOF" in handle.read()


_HIDDEN, _PRINT, _NO_ROTATE = 2, 4, 16  # flags (12.5.3)
_MOST_ANNOTATIONS = 10_000


def print_annotations(source: PdfSource, numbers: range) -> None:
    """Draw the normal appearance of what prints into those pages, by the algorithm of 12.5.5, and drop all else.

    Appearances that a file leaves to its reader are made by MuPDF. Raises Unreadable, naming the file.
    """
    pages = {number: annotations for number in numbers
             if (annotations := source.annotations(number))}
    for number, annotations in pages.items():
        turn = source.page(number).rotation
        kept = [prepared for item in annotations[:_MOST_ANNOTATIONS] if (prepared := _prepared(source, item, turn))]
        source.set_annotations(number, written(kept, lambda own: own))
    if pages:
        source.bake()


def _prepared(source: PdfSource, item: Value, turn: int) -> Value | None:
    """The annotation as it is to be drawn, changed in its place; None for one that doesn't print.

    ``turn`` is how many degrees the page is turned clockwise for viewing.
    """
    found = source.resolved(item)
    if not isinstance(found, dict) or found.get(b"/Subtype") == b"/Popup":
        return None  # a popup is a window of the reader's, and has no appearance (12.5.6.14)
    flags = _whole(source.resolved(found.get(b"/F")))
    if not flags & _PRINT or flags & _HIDDEN or not source.is_shown(found.get(b"/OC")):
        return None
    # NoView and the like are for the screen.
    changed: dict[bytes, Value] = {**found, b"/F": Atom(b"%d" % _PRINT)}
    if changed.get(b"/Subtype") == b"/Link" and b"/AP" in changed:
        changed[b"/Subtype"] = Name(b"/Stamp")  # MuPDF takes links for no annotations
    if flags & _NO_ROTATE and turn:
        changed |= _kept_upright(source, found, turn)
    if not isinstance(item, Ref):
        return changed
    source.change(item.number, written(changed, lambda own: own))
    return item


def _kept_upright(source: PdfSource, found: dict[bytes, Value], turn: int) -> dict[bytes, Value]:
    """The rectangle of an annotation that isn't turned with its page, but stays upright about its upper left corner
    (12.5.3, table 165), and its appearance turned to fill it. What has no appearance of its own is left as it is."""
    look = source.resolved(found.get(b"/AP"))
    form = look.get(b"/N") if isinstance(look, dict) else None
    if not (isinstance(form, Ref) and source.is_stream(form.number)):
        states, state = source.resolved(form), source.resolved(found.get(b"/AS"))
        form = states.get(bytes(state)) if isinstance(states, dict) and isinstance(state, Name) else None
    rect = source.rect(found.get(b"/Rect"))
    if not (rect and isinstance(form, Ref) and source.is_stream(form.number)):
        return {}
    across, up = {90: (0, 1), 180: (-1, 0), 270: (0, -1)}[turn]  # where "right" points on the page
    source.turn_form(form.number, across, up)
    x, y = rect.x, rect.bottom  # the box's y is up, so its bottom is the upper edge
    corners = [x, x + across * rect.width + up * rect.height], [y, y + up * rect.width - across * rect.height]
    return {b"/Rect": [Atom(b"%.4f" % value) for value in (min(corners[0]), min(corners[1]),
                                                           max(corners[0]), max(corners[1]))]}


def _whole(value: Value | None) -> int:
    try:
        return int(float(value)) if isinstance(value, Atom) else 0
    except (ValueError, OverflowError):
        return 0
