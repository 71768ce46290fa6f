"""PNG by its chunks (ISO/IEC 15948, third edition with APNG and eXIf): headers read, pixels stepped over."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field
from typing import BinaryIO

from server.formats.header import Exif, Header, density, read_exif
from server.formats.limits import MAX_PNG_CHUNKS, ArtLimits
from server.formats.refusal import check_pixels, damaged, truncated

_SIGNATURE_BYTES = 8
_MM_PER_METRE = 1000.0
_MAX_SMALL_CHUNK = 1024 * 1024  # eXIf holds at most 64 KiB in practice; more isn't worth reading
# colour type: bit depths that go with it (table 11.1)
_DEPTHS: dict[int, tuple[int, ...]] = {0: (1, 2, 4, 8, 16), 2: (8, 16), 3: (1, 2, 4, 8), 4: (8, 16), 6: (8, 16)}
_PALETTE = 3
_WITH_ALPHA = (4, 6)


@dataclass(slots=True)
class _Chunks:
    """What the walk has met so far."""

    names: set[bytes] = field(default_factory=set)
    per_mm: tuple[float, float] | None = None
    exif: Exif = field(default_factory=Exif)
    frames: int = 1


def read_png(handle: BinaryIO, size: int, file: str, limits: ArtLimits) -> Header:
    """The header of a PNG of ``size`` bytes. Every chunk is stepped over to IEND, so that a cut-off file is found.

    Raises BadArt (damaged, truncated, zero-size, ...) or ArtTooLarge, naming ``file``.
    """
    handle.seek(_SIGNATURE_BYTES)
    head = handle.read(25)
    if len(head) < 25:
        raise truncated(file, "not even its header is whole")
    length, name, width, height, depth, colour = struct.unpack_from(">I4sIIBB", head)
    if name != b"IHDR" or length != 13:
        raise damaged(file, "its first chunk is no PNG header")
    if zlib.crc32(head[4:21]) != int.from_bytes(head[21:25], "big"):
        raise damaged(file, "its header's check sum is wrong")
    check_pixels(file, width, height, limits)
    if depth not in _DEPTHS.get(colour, ()):
        raise damaged(file, f"colour type {colour} with {depth} bits is no PNG")
    found = _walk(handle, size, file)
    if b"IDAT" not in found.names:
        raise damaged(file, "it holds no pixels")
    if colour == _PALETTE and b"PLTE" not in found.names:
        raise damaged(file, "its palette is missing")
    has_alpha = colour in _WITH_ALPHA or b"tRNS" in found.names
    return Header(width, height, found.exif.orientation, found.per_mm or found.exif.per_mm, has_alpha,
                  frames=found.frames)


def _walk(handle: BinaryIO, size: int, file: str) -> _Chunks:
    found, at = _Chunks(), _SIGNATURE_BYTES + 25
    for _ in range(MAX_PNG_CHUNKS):
        handle.seek(at)
        head = handle.read(8)
        if len(head) < 8:
            raise truncated(file, f"its last chunk is missing after {size} bytes")
        length, name = struct.unpack(">I4s", head)
        if not name.isalpha():
            raise damaged(file, f"there is no chunk at byte {at}")
        if at + 12 + length > size:
            raise truncated(file, f"{at + 12 + length - size} bytes of a chunk are missing")
        if name == b"IEND":
            return found
        _take(found, name, handle, length)
        at += 12 + length
    raise damaged(file, f"it has more than {MAX_PNG_CHUNKS} chunks")


def _take(found: _Chunks, name: bytes, handle: BinaryIO, length: int) -> None:
    found.names.add(name)
    if name == b"pHYs" and length == 9:
        across, down, unit = struct.unpack(">IIB", handle.read(9))
        if unit == 1:  # 0 gives only the pixel's shape
            found.per_mm = density(across, down, _MM_PER_METRE)
    elif name == b"eXIf" and length <= _MAX_SMALL_CHUNK:
        found.exif = read_exif(handle.read(length))
    elif name == b"acTL" and length == 8:
        found.frames = max(1, int.from_bytes(handle.read(4), "big"))
