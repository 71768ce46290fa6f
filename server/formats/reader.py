"""One file to art records, by its header: no pixel is decoded, and a PNG or JPEG needs no imaging library at all."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from server.core.art import KIND_LABELS, Art, ArtKind
from server.formats.apart import apart
from server.formats.header import (
    FORMATS_TEXT,
    HEAD_BYTES,
    KIND_OF_ENDING,
    OTHER_PICTURES,
    Content,
    Header,
    content_of,
    ending_of,
    kind_of,
    mapped_or_read,
    pieces_of,
)
from server.formats.jpeg import look_at_jpeg
from server.formats.limits import DEFAULT_LIMITS, EXPORT_AGAIN, ArtLimits, ArtTooLarge, BadArt, refusing
from server.formats.png import look_at_png

_MOST_BYTES = 12  # of a pixel, that a JPEG's decoder can take: four colours, and their coefficients


def read_art(path: Path, file: str, key: str, limits: ArtLimits = DEFAULT_LIMITS) -> tuple[Art, ...]:
    """The art in ``path``, known as ``file`` in its deck, its bytes known as ``key``.

    A picture gives one record. A PDF gives one for each page, an SVG that of its only one: key ``key#0``, ``key#1``,
    ...; file ``file`` for a single page, ``file#1``, ``file#2``, ... for several. The content decides what it is,
    never the name.
    Raises Unreadable (as BadArt, with a code) naming the file, the reason and the way out; ArtTooLarge, which is also
    a TooMuch, for what is over a limit.
    """
    with readable(file), path.open("rb", buffering=0) as source:
        size = os.fstat(source.fileno()).st_size
        kind = _kind(source.read(HEAD_BYTES), size, file, limits)
        header = None if kind in ("pdf", "svg") else _header(kind, source, size, file, limits)
    if header is None:
        return _page_arts(kind, path, file, key, limits)
    return (Art(file, key, kind, header.width, header.height, header.orientation, 0, header.size_mm, header.has_alpha,
                is_cmyk=header.is_cmyk, frames=header.frames),)


def opened(path: Path, file: str) -> Content:
    """All bytes of a file. Raises BadArt, naming it, where the system doesn't let it be read."""
    with readable(file):
        return content_of(path)


@contextmanager
def readable(file: str) -> Iterator[None]:
    """Turns what the system refuses into BadArt that names ``file``."""
    try:
        yield
    except OSError as error:
        raise BadArt(f"{file}: can't be read ({error.strerror or error}).", "Check that it is there and readable.",
                     "not-readable") from None


def _kind(head: bytes, size: int, file: str, limits: ArtLimits) -> ArtKind:
    if size == 0:
        raise BadArt(f"{file}: is empty.", EXPORT_AGAIN, "empty-file")
    if size > limits.file_bytes:
        raise ArtTooLarge(f"{file}: has {size / 1e6:.0f} MB, over the limit of {limits.file_bytes / 1e6:.0f} MB.",
                          "Scale it down or compress it.", "file-too-large")
    kind = kind_of(head)
    if kind:
        return kind
    raise no_art(file)


def no_art(file: str) -> BadArt:
    """The refusal of a file whose first bytes are those of no art; its name tells what it was taken for."""
    ending = ending_of(file)
    if ending in OTHER_PICTURES:
        return BadArt(f"{file}: is a kind of picture ({ending.upper()}) that can't be used as it is.",
                      f"Save it as {FORMATS_TEXT}.", "unsupported")
    if ending in KIND_OF_ENDING:
        return BadArt(f"{file}: is no {KIND_LABELS[KIND_OF_ENDING[ending]]} and no other art, whatever its name says.",
                      EXPORT_AGAIN, "not-art")
    return BadArt(f"{file}: is no art by its content.", f"Save it as {FORMATS_TEXT}.", "not-art")


def _header(kind: ArtKind, source: io.FileIO, size: int, file: str, limits: ArtLimits) -> Header:
    try:
        if kind == "png":
            return look_at_png(pieces_of(source), size, file, limits).header
        if kind == "jpeg":
            jpeg = look_at_jpeg(pieces_of(source), size, file, limits)
            if jpeg.header.width * jpeg.header.height * _MOST_BYTES > limits.decoding_bytes:
                _check_decoding(kind, mapped_or_read(source), file, limits)
            if jpeg.ended and jpeg.passes:
                return jpeg.header
            return _odd(kind, mapped_or_read(source), file, limits) or jpeg.refused(file)
        data = mapped_or_read(source)
        # Imported here so that a deck of PNG and JPEG starts without Pillow.
        from server.formats.webp_tiff_avif import READERS

        return READERS[kind](data, file, limits)
    except BadArt as error:
        # What a decoder takes for whole is whole, however odd its structure looks; what ends early isn't.
        if error.code != "damaged" or not (header := _odd(kind, mapped_or_read(source), file, limits)):
            raise
        return header


def _check_decoding(kind: ArtKind, data: Content, file: str, limits: ArtLimits) -> None:
    from server.formats.decoding import opened_by_pillow

    with refusing(file), opened_by_pillow(kind, data, file, limits):
        pass


def _odd(kind: ArtKind, data: Content, file: str, limits: ArtLimits) -> Header | None:
    from server.formats.webp_tiff_avif import by_decoding

    return by_decoding(kind, data, file, limits)


def _page_arts(kind: ArtKind, path: Path, file: str, key: str, limits: ArtLimits) -> tuple[Art, ...]:
    from server.formats.pdf_pages import read_pdf

    pages = apart(file, read_pdf, path, file, limits, kind)
    return tuple(
        Art(file if len(pages) == 1 else f"{file}#{number + 1}", f"{key}#{number}", kind, page=number,
            size_mm=page.size_mm, trim_mm=page.trim_mm, look=page.look,
            picture_ppi=page.picture_ppi) for number, page in enumerate(pages))
