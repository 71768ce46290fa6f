"""Pixels packed once, band by band: colours and alpha each as the compressed rows of a PNG, which is what a PDF takes.

A PNG with alpha isn't even decoded: its filters work on each byte of a pixel by itself (W3C PNG, third edition, 9.2),
so the filtered rows of its colours and of its alpha can be taken out of its own, and say the same pixels as before.
"""

from __future__ import annotations

import io
import mmap
import zlib
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from server.formats.header import Header
from server.formats.limits import ArtLimits
from server.formats.png import Png, read_png

if TYPE_CHECKING:
    from concurrent.futures import Executor, Future

    from PIL.Image import Image

_NONE, _SUB, _UP, _AVERAGE, _PAETH = range(5)  # filters (W3C PNG, 9.2)
# What stays in the processor's cache costs the least; to hand a band to another thread pays from megabytes on.
_BAND_BYTES, _LARGE_BAND_BYTES, _PIECE_BYTES = 256 * 1024, 2 * 1024 * 1024, 64 * 1024
# Rows without a filter pack badly between others; where more than this share are, the picture is decoded.
_MOST_UNFILTERED = 1 / 16
_BANDS_AT_ONCE, _SAMPLE_BYTES, _PAGES_BYTES = 3, 16 * 1024, 8 * 1024 * 1024
# Colour types of PNG; CMYK travels as the four channels that a PNG would call RGBA.
_TYPES = {"L": 0, "RGB": 2, "CMYK": 6}
_SAVED = ("1", "P", "I;16")
# How Pillow calls a PNG's pixels, by their samples and bits. Of 16 bits it takes the upper eight.
_STORED = {(4, 8): "RGBA", (4, 16): "RGBA;16B", (2, 8): "LA", (2, 16): "LA;16B"}


class Odd(ValueError):
    """A PNG of which only a decoder can tell."""


@dataclass(frozen=True, slots=True)
class Packed:
    """Colours, and the alpha unless all is opaque."""

    colour: Png
    alpha: Png | None


class _Stream:
    """A zlib stream (RFC 1950) in the making; where there are helpers, bands deflated by themselves, side by side.

    Runs alone are looked for: rows that are filtered well come out as small as by a long search, in a fifth of its
    time. Whether it pays all the same is tried on a sample where it is asked for, and of every large band.
    """

    def __init__(self, helpers: Executor | None) -> None:
        self._helpers, self._searches, self._packer = helpers, False, _packer(False)
        self._under_way: deque[Future[bytes]] = deque()
        self._parts: list[bytes] = []
        self._pages: list[mmap.mmap] = []
        self._keep(b"\x78\x01")
        self._sum = 1
        self._above: Image | None = None

    def put(self, rows: bytes | bytearray, ask: bool = False) -> None:
        self._sum = zlib.adler32(rows, self._sum)
        search = (ask or self._helpers is not None) and _search_pays(rows)
        if self._helpers is None:
            if search != self._searches:
                self._keep(self._packer.flush(zlib.Z_SYNC_FLUSH))
                self._searches, self._packer = search, _packer(search)
            self._keep(self._packer.compress(rows))
            return
        self._under_way.append(self._helpers.submit(_deflated, rows, search))
        self._take(_BANDS_AT_ONCE)

    def put_picture(self, band: Image) -> None:
        """The next rows of a picture in one of the modes of ``_TYPES``."""
        rows = _rows(bytes((_UP,)) * band.height, _up(band, self._above), band.mode)
        self._above = _last_row(band)
        self.put(rows)

    def _take(self, most: int) -> None:
        while len(self._under_way) > most:
            self._keep(self._under_way.popleft().result())

    def _keep(self, part: bytes) -> None:
        """Of a large picture in pages of its own, which go back to the system as a whole: what threads give back piece
        by piece stays with the process."""
        if self._helpers is None:
            self._parts.append(part)
            return
        if not self._pages or self._pages[-1].tell() + len(part) > len(self._pages[-1]):
            self._pages.append(mmap.mmap(-1, max(len(part), _PAGES_BYTES)))
        self._pages[-1].write(part)

    def finish(self, size: tuple[int, int], mode: str) -> Png:
        self._take(0)
        self._keep(self._packer.flush(zlib.Z_SYNC_FLUSH))
        # An empty last block with fixed codes (RFC 1951, 3.2.6), and the sum, which also stands for the whole.
        self._keep(b"\x03\0" + self._sum.to_bytes(4, "big"))
        parts = (*(memoryview(part) for part in self._parts),
                 *(memoryview(pages)[:pages.tell()] for pages in self._pages))
        return Png(Header(*size), 8, _TYPES[mode], False, b"", parts, (self._sum,), {})


def _packer(search: bool) -> zlib._Compress:
    return zlib.compressobj(1, zlib.DEFLATED, -15, 9, zlib.Z_DEFAULT_STRATEGY if search else zlib.Z_RLE)


def _deflated(rows: bytes | bytearray, search: bool) -> bytes:
    packer = _packer(search)
    return packer.compress(rows) + packer.flush(zlib.Z_SYNC_FLUSH)


def _rows(filters: bytes, picture: Image, lanes: str) -> bytearray:
    """Those channels of a picture that holds filtered values, each row behind its filter."""
    stride = len(lanes) * picture.width + 1
    # Pillow leaves a spare byte behind each row, which is the place of the next row's filter.
    rows = bytearray().join((filters[:1], picture.tobytes("raw", lanes, stride, 1)))
    rows[stride::stride] = filters[1:] + b"\0"
    del rows[-1:]
    return rows


def _up(picture: Image, above: Image | None) -> Image:
    """Each row as its difference from the one above; the first from ``above``, or as it is."""
    from PIL import ImageChops

    shifted = ImageChops.offset(picture, 0, 1)
    if above is None:
        shifted.paste(0, (0, 0, picture.width, 1))
    else:
        shifted.paste(above, (0, 0))
    return ImageChops.subtract_modulo(picture, shifted)


def _last_row(picture: Image) -> Image:
    return picture.crop((0, picture.height - 1, picture.width, picture.height))


def pack_png(png: Png, helpers: Executor | None = None) -> Packed:
    """A PNG with alpha of 8 or 16 bits, not interlaced, undecoded. Raises Odd for one that has to be."""
    size, lanes = (png.header.width, png.header.height), "RGB" if png.components == 4 else "R"
    colour, alpha, opaque = _Stream(helpers), _Stream(helpers), _Opaque(png.header.width)
    unfiltered, last = 0, None
    for filters, picture in _bands(png, _LARGE_BAND_BYTES if helpers else _BAND_BYTES):
        opaque.look(filters, picture)
        if any(filters):
            unfiltered += filters.count(_NONE)
            if unfiltered > max(1, size[1] * _MOST_UNFILTERED):
                raise Odd
            last = None
        else:
            filters = bytes((_NONE if last is None else _UP,)) + bytes((_UP,)) * (len(filters) - 1)
            picture, last = _up(picture, last), _last_row(picture)
        rows = _rows(filters, picture, lanes)
        # Programs in a hurry filter by Sub alone, which shows no likeness of rows.
        colour.put(rows, filters.count(_SUB) > len(filters) // 2)
        alpha.put(_rows(filters, picture, "A"))
    return Packed(colour.finish(size, "RGB" if png.components == 4 else "L"),
                  None if opaque.holds else alpha.finish(size, "L"))


def _search_pays(rows: bytes | bytearray) -> bool:
    """True for rows that runs alone leave larger by a tenth."""
    middle = rows[len(rows) // 2:len(rows) // 2 + _SAMPLE_BYTES]
    return 1.1 * len(_deflated(middle, True)) < len(_deflated(middle, False))


def _bands(png: Png, about_bytes: int) -> Iterator[tuple[bytes, Image]]:
    """The filters of some rows, and what those make of their pixels. Raises Odd."""
    from PIL import Image

    width, stored = png.header.width, _STORED[png.components, png.depth]
    row = 1 + width * png.components * png.depth // 8
    for rows in _unpacked(png, row, max(1, about_bytes // row)):
        filters = bytes(rows[::row])
        if max(filters) > _PAETH:
            raise Odd
        yield filters, Image.frombytes("RGBA", (width, len(filters)), rows[1:], "raw", stored, row, 1)


def _unpacked(png: Png, row: int, many: int) -> Iterator[bytearray]:
    """Whole rows, so many at a time, held against the sum that their stream ends with. Raises Odd for more or fewer."""
    unpacker, left, gathered = zlib.decompressobj(), row * png.header.height, bytearray()
    band = row * many
    rest: bytes | memoryview
    try:
        for rest in (part[at:at + _PIECE_BYTES] for part in png.parts for at in range(0, len(part), _PIECE_BYTES)):
            while left:
                got = unpacker.decompress(rest, min(left, band - len(gathered)))
                rest = unpacker.unconsumed_tail
                gathered += got
                left -= len(got)
                if len(gathered) == band or not left:
                    yield gathered
                    gathered = bytearray()
                elif not rest:
                    break
            if not left and unpacker.decompress(rest, 1):
                raise Odd
    except zlib.error:
        raise Odd from None
    if left or not unpacker.eof:
        raise Odd


class _Opaque:
    """Whether rows of filtered alpha, looked at from the first on, are all opaque."""

    def __init__(self, width: int) -> None:
        full, zeros = b"\xff" * width, bytes(width)
        begun = b"\xff" + bytes(width - 1)
        # What each filter makes of a row that is all 255 under nothing, and under such a row.
        self._first = {_NONE: full, _SUB: begun, _UP: full, _AVERAGE: b"\xff" + b"\x80" * (width - 1), _PAETH: begun}
        self._next = {_NONE: full, _SUB: begun, _UP: zeros, _AVERAGE: b"\x80" + bytes(width - 1), _PAETH: zeros}
        self.holds = True

    def look(self, filters: bytes, picture: Image) -> None:
        plane, width = picture.tobytes("raw", "A") if self.holds else b"", picture.width
        for at, kind in enumerate(filters):
            if not self.holds or plane[at * width:(at + 1) * width] != self._first[kind]:
                self.holds = False
                return
            self._first = self._next


def pack_picture(picture: Image, depth: int, helpers: Executor | None = None) -> Packed:
    """A decoded picture of any mode; ``depth`` is how many bits a PNG's samples had."""
    from server.formats.straight import bands

    colour, alpha, opaque, mode = _Stream(helpers), _Stream(helpers), True, picture.mode
    alpha_of = _alpha_of(picture, depth)
    change = _colours_of(picture)
    for _, band in bands(picture):
        if alpha_of:
            plane = alpha_of(band)
            opaque = opaque and plane.getextrema() == (255, 255)
            alpha.put_picture(plane)
        if mode not in _SAVED:
            band = change(band) if change else band
            colour.put_picture(band)
            mode = band.mode
    return Packed(_saved(picture) if mode in _SAVED else colour.finish(picture.size, mode),
                  None if opaque else alpha.finish(picture.size, "L"))


def _colours_of(picture: Image) -> Callable[[Image], Image] | None:
    """What gives the colours of any band of ``picture`` in a mode that a PDF takes; None where it is in one."""
    from server.formats.straight import printable

    mode = picture.mode
    if mode in ("LA", "RGBA", "PA"):
        return lambda band: band.convert("L" if mode == "LA" else "RGB")
    if mode in ("La", "RGBa"):
        return lambda band: band.convert(mode.upper()).convert("L" if mode == "La" else "RGB")
    return printable(picture)


def _alpha_of(picture: Image, depth: int) -> Callable[[Image], Image] | None:
    """What gives the alpha of any band of ``picture``; None where it has none.

    Of a ``transparency`` that names clear colours Pillow widens narrow samples to 8 bits and halves wide RGB, but
    leaves the key as it is in the file.
    """
    key, mode = picture.info.get("transparency"), picture.mode
    if mode in ("RGBA", "LA", "PA"):
        return lambda band: band.getchannel("A")
    if mode in ("RGBa", "La"):
        return lambda band: band.convert(mode.upper()).getchannel("A")
    if key is None or mode not in ("1", "L", "P", "RGB", "I;16"):
        return None
    if mode == "I;16":
        clear = [0 if sample == key else 255 for sample in range(65536)]
        return lambda band: band.convert("I").point(clear, "L")
    if isinstance(key, int) and mode == "L" and depth < 8:
        key = key * 255 // (2 ** depth - 1)
    elif isinstance(key, tuple) and depth == 16:
        key = tuple(sample >> 8 for sample in key)

    def keyed(band: Image) -> Image:
        band = band.copy()
        band.info["transparency"] = key
        return band.convert("RGBA").getchannel("A")

    return keyed


def _saved(picture: Image) -> Png:
    stored = io.BytesIO()
    picture.save(stored, "PNG", compress_level=6, icc_profile=None, transparency=None)
    return read_png(stored.getvalue(), "picture", ArtLimits(pixels=picture.width * picture.height))
