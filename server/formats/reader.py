"""One file to art records, by its header: no pixel is decoded, and a PNG or JPEG needs no imaging library at all."""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO

from server.core.art import KIND_LABELS, Art, ArtKind
from server.formats.header import Header
from server.formats.jpeg import read_jpeg
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.formats.png import read_png
from server.formats.refusal import EXPORT_AGAIN, ArtTooLarge, BadArt
from server.formats.sniff import (
    FORMATS_TEXT,
    HEAD_BYTES,
    KIND_OF_ENDING,
    OTHER_PICTURES,
    ending_of,
    kind_of,
)
from server.formats.webp import read_webp


def read_art(path: Path, file: str, key: str, limits: ArtLimits = DEFAULT_LIMITS) -> tuple[Art, ...]:
    """The art in ``path``, known as ``file`` in its deck, its bytes known as ``key``.

    A picture gives one record. A PDF gives one for each page: key ``key#0``, ``key#1``, ...; file ``file`` for a single
    page, ``file#1``, ``file#2``, ... for several. The content decides what it is, never the name.
    Raises Unreadable (as BadArt, with a code) naming the file, the reason and the way out; ArtTooLarge, which is also
    a TooMuch, for what is over a limit.
    """
    try:
        with path.open("rb", buffering=0) as handle:
            size = os.fstat(handle.fileno()).st_size
            head = handle.read(HEAD_BYTES)
            kind = _kind(head, size, file, limits)
            if kind == "pdf":
                return _pdf_arts(path, file, key, limits)
            header = _header(kind, path, handle, size, file, limits)
    except OSError as error:
        raise BadArt(f"{file}: can't be read ({error.strerror or error}).", "Check that it is there and readable.",
                     "not-readable") from None
    return (Art(file, key, kind, header.width, header.height, header.orientation, 0, header.size_mm, header.has_alpha,
                is_cmyk=header.is_cmyk, frames=header.frames),)


def _kind(head: bytes, size: int, file: str, limits: ArtLimits) -> ArtKind:
    if size == 0:
        raise BadArt(f"{file}: is empty.", EXPORT_AGAIN, "empty-file")
    if size > limits.file_bytes:
        raise ArtTooLarge(f"{file}: has {size / 1e6:.0f} MB, over the limit of {limits.file_bytes / 1e6:.0f} MB.",
                          "Scale it down or compress it.", "file-too-large")
    kind = kind_of(head)
    if kind:
        return kind
    ending = ending_of(file)
    if ending in OTHER_PICTURES:
        raise BadArt(f"{file}: is a kind of picture ({ending.upper()}) that can't be used as it is.",
                     f"Save it as {FORMATS_TEXT}.", "unsupported")
    if ending in KIND_OF_ENDING:
        raise BadArt(f"{file}: is no {KIND_LABELS[KIND_OF_ENDING[ending]]} and no other art, whatever its name says.",
                     EXPORT_AGAIN, "not-art")
    raise BadArt(f"{file}: is no art by its content.", f"Save it as {FORMATS_TEXT}.", "not-art")


def _header(kind: ArtKind, path: Path, handle: BinaryIO, size: int, file: str, limits: ArtLimits) -> Header:
    if kind == "png":
        return read_png(handle, size, file, limits)
    if kind == "jpeg":
        return read_jpeg(handle, size, file, limits)
    if kind == "webp":
        return read_webp(handle, size, file, limits)
    # Imported here so that a deck of PNG and JPEG starts without Pillow.
    from server.formats.pillow_art import read_avif, read_tiff

    if kind == "tiff":
        return read_tiff(path, handle, size, file, limits)
    return read_avif(path, handle, size, file, limits)


def _pdf_arts(path: Path, file: str, key: str, limits: ArtLimits) -> tuple[Art, ...]:
    from server.formats.pdf_pages import read_pdf

    sizes = read_pdf(path, file, limits)
    return tuple(
        Art(file if len(sizes) == 1 else f"{file}#{page + 1}", f"{key}#{page}", "pdf", page=page, size_mm=size)
        for page, size in enumerate(sizes)
    )
