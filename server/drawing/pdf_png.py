"""What is inside a PNG, so that its own compressed rows can go into a PDF as they are.

PNG by ISO/IEC 15948 (W3C PNG, third edition); rows filtered so are what PDF calls predictor 15 (ISO 32000-1, 7.4.4.4).
Broken files raise ValueError, which says in what.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

_HEAD = struct.Struct(">I4s")
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_GREY, _RGB, _PALETTE = 0, 2, 3
_DEPTHS: dict[int, tuple[int, ...]] = {
    _GREY: (1, 2, 4, 8, 16), _RGB: (8, 16), _PALETTE: (1, 2, 4, 8), 4: (8, 16), 6: (8, 16),
}
# A profile that unpacks to more than this is no profile.
_MOST_PROFILE_BYTES = 16 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Png:
    """A PNG's header and the parts of its one compressed stream, in order; each part's CRC has been checked.

    ``palette`` is RGB triples or empty; ``profile`` the ICC profile or None; ``checksum`` is made of the parts' CRCs.
    """

    width: int
    height: int
    depth: int
    colour_type: int
    interlaced: bool
    transparent: bool
    palette: bytes
    profile: bytes | None
    parts: tuple[memoryview, ...]
    checksum: bytes

    @property
    def passes(self) -> bool:
        """True if the rows can go into a PDF as they are."""
        return self.colour_type in (_GREY, _RGB, _PALETTE) and not self.interlaced and not self.transparent

    @property
    def indexed(self) -> bool:
        return self.colour_type == _PALETTE

    @property
    def components(self) -> int:
        """Samples of one pixel as it is stored."""
        return {_GREY: 1, _RGB: 3, _PALETTE: 1, 4: 2, 6: 4}[self.colour_type]


def _chunks(data: memoryview) -> Iterator[tuple[bytes, memoryview, int]]:
    """(name, content, CRC) of each chunk up to IEND; the CRC is checked."""
    if bytes(data[:8]) != _SIGNATURE:
        raise ValueError("it doesn't begin as a PNG does")
    at, size = 8, len(data)
    while at + 12 <= size:
        length, name = _HEAD.unpack_from(data, at)
        end = at + 8 + length
        if end + 4 > size:
            break
        crc = zlib.crc32(data[at + 4:end])
        if crc != int.from_bytes(data[end:end + 4], "big"):
            raise ValueError(f"its {name.decode('latin-1')} part is damaged")
        if name == b"IEND":
            return
        yield name, data[at + 8:end], crc
        at = end + 4
    raise ValueError("it ends too early")


def read_png(data: memoryview) -> Png:
    """Take a whole PNG file apart. ``data`` must stay as it is for as long as the parts are used.

    Raises ValueError, which says what is wrong.
    """
    small: dict[bytes, bytes] = {}
    parts: list[memoryview] = []
    sums: list[int] = []
    for name, content, crc in _chunks(data):
        if name == b"IDAT" and small:
            parts.append(content)
            sums.append(crc)
        elif not small and name != b"IHDR":
            raise ValueError("it doesn't begin with a header")
        elif name in (b"IHDR", b"PLTE", b"tRNS", b"iCCP"):
            small.setdefault(name, bytes(content))
    if len(small.get(b"IHDR", b"")) != 13 or not any(parts):
        raise ValueError("it has no picture in it")
    width, height, depth, colour_type, packing, filtering, interlace = struct.unpack(">IIBBBBB", small[b"IHDR"])
    if not width or not height or packing or filtering or interlace > 1 or depth not in _DEPTHS.get(colour_type, ()):
        raise ValueError("its header makes no sense")
    palette = small.get(b"PLTE", b"") if colour_type == _PALETTE else b""
    if colour_type == _PALETTE and (not palette or len(palette) % 3 or len(palette) > 768):
        raise ValueError("its palette is broken")
    return Png(width, height, depth, colour_type, bool(interlace), b"tRNS" in small, palette,
               _profile(small.get(b"iCCP")), tuple(parts), struct.pack(f">{len(sums)}I", *sums))


def _profile(content: bytes | None) -> bytes | None:
    """The profile out of an iCCP chunk: a name, a null, method 0, a zlib stream. None where it can't be unpacked."""
    if content is None:
        return None
    _, found, packed = content.partition(b"\0")
    if not found or packed[:1] != b"\0":
        return None
    unpacker = zlib.decompressobj()
    try:
        profile = unpacker.decompress(packed[1:], _MOST_PROFILE_BYTES)
    except zlib.error:
        return None
    return profile if unpacker.eof else None
