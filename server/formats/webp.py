"""WebP by its RIFF chunks (RFC 9649): canvas, alpha, animation, EXIF."""

from __future__ import annotations

import struct
from typing import BinaryIO

from server.formats.header import Exif, Header, read_exif
from server.formats.limits import ArtLimits
from server.formats.refusal import check_pixels, damaged, truncated

_ALPHA, _ANIMATED = 0x10, 0x02  # flags of VP8X (2.7.1)
_MAX_CHUNKS = 100_000
_MAX_EXIF_BYTES = 1024 * 1024


def read_webp(handle: BinaryIO, size: int, file: str, limits: ArtLimits) -> Header:
    """The header of a WebP of ``size`` bytes. Raises BadArt or ArtTooLarge, naming ``file``."""
    handle.seek(0)
    head = handle.read(30)
    if len(head) < 30:
        raise truncated(file, "not even its header is whole")
    claimed = int.from_bytes(head[4:8], "little") + 8
    if claimed > size + 1:  # the padding byte of an odd last chunk is often left out
        raise truncated(file, f"{claimed - size} bytes are missing")
    name = head[12:16]
    if name == b"VP8X":
        return _extended(handle, min(claimed, size), head, file, limits)
    if name == b"VP8 ":
        header = _lossy(head, file)
    elif name == b"VP8L":
        header = _lossless(head, file)
    else:
        raise damaged(file, "its first chunk is no picture")
    check_pixels(file, header.width, header.height, limits)
    return header


def _lossy(head: bytes, file: str) -> Header:
    """A key frame's start code and 14-bit sizes (RFC 6386, 9.1)."""
    if head[23:26] != b"\x9d\x01\x2a":
        raise damaged(file, "its picture has no start code")
    width, height = struct.unpack_from("<HH", head, 26)
    return Header(width & 0x3FFF, height & 0x3FFF)


def _lossless(head: bytes, file: str) -> Header:
    """Signature byte, two 14-bit sizes less one, and the alpha bit (RFC 9649, 3.4)."""
    if head[20] != 0x2F:
        raise damaged(file, "its picture has no signature")
    bits = int.from_bytes(head[21:25], "little")
    return Header((bits & 0x3FFF) + 1, ((bits >> 14) & 0x3FFF) + 1, has_alpha=bool(bits >> 28 & 1))


def _extended(handle: BinaryIO, size: int, head: bytes, file: str, limits: ArtLimits) -> Header:
    flags = head[20]
    width, height = int.from_bytes(head[24:27], "little") + 1, int.from_bytes(head[27:30], "little") + 1
    check_pixels(file, width, height, limits)
    exif, frames, pictures = Exif(), 0, 0
    at = 12
    for _ in range(_MAX_CHUNKS):
        if at + 8 > size:
            break
        handle.seek(at)
        name, length = struct.unpack("<4sI", handle.read(8))
        if at + 8 + length > size:
            raise truncated(file, f"{at + 8 + length - size} bytes of a chunk are missing")
        frames += name == b"ANMF"
        pictures += name in (b"VP8 ", b"VP8L")
        if name == b"EXIF" and length <= _MAX_EXIF_BYTES:
            exif = read_exif(handle.read(length).removeprefix(b"Exif\x00\x00"))
        at += 8 + length + length % 2
    if not frames + pictures:
        raise damaged(file, "it holds no picture")
    return Header(width, height, exif.orientation, exif.per_mm, bool(flags & _ALPHA),
                  frames=max(1, frames) if flags & _ANIMATED else 1)
