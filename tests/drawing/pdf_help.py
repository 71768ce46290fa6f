"""What the tests of the PDF side share: one-page PDFs, two independent renderers, and a PNG writer of our own."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pymupdf
import pypdfium2

from server.core.art import Art, ArtKind
from server.core.geometry import Affine, Rect
from server.drawing.pdf_surface import PdfSurface

MM_PER_POINT = 25.4 / 72


def art_of(path: Path, kind: ArtKind, width: int = 1, height: int = 1, **more: Any) -> Art:
    return Art(path.name, path.name, kind, width, height, **more)


def drawn(draw: Callable[[PdfSurface], None], paths: dict[str, Path] | None = None,
          size: tuple[float, float] = (100.0, 100.0), title: str = "Test") -> bytes:
    """A one-page PDF; ``size`` in mm; ``paths`` by the art's key."""
    out = io.BytesIO()
    surface = PdfSurface(out, lambda art: (paths or {})[art.key], title=title, duplex="Simplex")
    page = Rect(0, 0, *size)
    surface.page(page, page, page, "1 front")
    draw(surface)
    surface.close()
    surface.release()
    return out.getvalue()


def page_of(art: Art, path: Path, width: int, height: int) -> bytes:
    """A page of ``width`` x ``height`` points that the art fills, so that a point shows one of its pixels."""
    size = width * MM_PER_POINT, height * MM_PER_POINT
    return drawn(lambda surface: surface.art(art, Affine(a=size[0], d=size[1])), {art.key: path}, size)


def by_pdfium(pdf: bytes, ppi: float = 72, page: int = 0) -> np.ndarray:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return np.asarray(document[page].render(scale=ppi / 72).to_pil().convert("RGB")).astype(int)
    finally:
        document.close()


def by_mupdf(pdf: bytes, ppi: float = 72, page: int = 0) -> np.ndarray:
    with pymupdf.open(stream=pdf, filetype="pdf") as document:
        picture = document[page].get_pixmap(dpi=round(ppi))
        return np.frombuffer(picture.samples, np.uint8).reshape(picture.height, picture.width, picture.n).astype(int)


READERS = {"pdfium": by_pdfium, "mupdf": by_mupdf}


def pixels(reader: str, pdf: bytes) -> np.ndarray:
    """Of a page by ``page_of``: each pixel of the art as ``reader`` shows it in the middle of its point."""
    return READERS[reader](pdf, 72 * 5)[2::5, 2::5]


@contextmanager
def xobjects(pdf: bytes, page: int = 0) -> Iterator[list[pikepdf.Object]]:
    """The page's XObjects in the order of their numbers, the file checked by qpdf on the way."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert document.check_pdf_syntax() == []
        found = document.pages[page].Resources.XObject
        yield [found[name] for name in sorted(found.keys(), key=lambda name: int(name[2:]))]


def chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


# Adam7 (W3C PNG, third edition, 8.2): where each pass begins and how far it steps, x and y.
_PASSES = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))


def _rows(samples: np.ndarray, depth: int) -> bytes:
    """Rows of samples, packed and each filtered by a filter of its own (None, Sub and Up in turn)."""
    height, width = samples.shape[:2]
    flat = samples.reshape(height, -1)
    if depth == 16:
        rows = flat.astype(">u2").view(np.uint8).reshape(height, -1)
    elif depth == 8:
        rows = flat.astype(np.uint8)
    else:
        bits = (flat[:, :, None] >> np.arange(depth - 1, -1, -1)) & 1
        rows = np.packbits(bits.reshape(height, -1), axis=1)
    step = max(1, depth * (flat.shape[1] // width) // 8)
    before = np.zeros(rows.shape[1], np.uint8)
    out = b""
    for at, row in enumerate(rows):
        left = np.concatenate([np.zeros(step, np.uint8), row])[:len(row)]
        out += bytes((at % 3,)) + (row, row - left, row - before)[at % 3].tobytes()
        before = row
    return out


def make_png(samples: np.ndarray, depth: int, colour_type: int, *, interlaced: bool = False,
             before_data: Sequence[tuple[bytes, bytes]] = (), part_bytes: int = 97) -> bytes:
    """A PNG of ``samples`` (height, width, channels), its data in parts of ``part_bytes``."""
    height, width = samples.shape[:2]
    if interlaced:
        data = b"".join(_rows(part, depth) for x, y, dx, dy in _PASSES if (part := samples[y::dy, x::dx]).size)
    else:
        data = _rows(samples, depth)
    packed = zlib.compress(data, 9)
    header = struct.pack(">IIBBBBB", width, height, depth, colour_type, 0, 0, interlaced)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + b"".join(chunk(*one) for one in before_data)
            + b"".join(chunk(b"IDAT", packed[at:at + part_bytes]) for at in range(0, len(packed), part_bytes))
            + chunk(b"IEND", b""))


def png_data(png: bytes) -> bytes:
    """All IDAT content of a PNG, by a walk of the tests' own."""
    at, found = 8, b""
    while at < len(png):
        length, name = struct.unpack_from(">I4s", png, at)
        if name == b"IDAT":
            found += png[at + 8:at + 8 + length]
        at += length + 12
    return found
