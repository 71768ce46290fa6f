"""JPEG by its markers (ITU-T T.81, annex B): the frame header, EXIF and JFIF, and whether the end is there."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import BinaryIO

from server.core.units import MM_PER_INCH
from server.formats.header import Exif, Header, density, read_exif
from server.formats.limits import ArtLimits
from server.formats.refusal import BadArt, check_pixels, damaged, truncated

_SOS, _EOI, _APP0, _APP1 = 0xDA, 0xD9, 0xE0, 0xE1
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}  # SOF0 to SOF15 without DHT, JPG and DAC
_USABLE_FRAMES = (0xC0, 0xC1, 0xC2)  # baseline, extended sequential, progressive: all that PDF's DCTDecode takes
_STANDALONE = frozenset({0x01, *range(0xD0, 0xD8)})
_JFIF_UNITS_MM = {1: MM_PER_INCH, 2: 10.0}
# The end marker is mostly the last thing in the file; cameras may append films, depth maps and padding to it.
_TAIL_BYTES = 64 * 1024
_SAVE_AGAIN = "Save it again as an ordinary JPEG or a PNG."


@dataclass(slots=True)
class _Segments:
    """What the walk to the first scan has met."""

    frame: tuple[int, int, int] | None = None
    jfif: tuple[float, float] | None = None
    exif: Exif | None = None
    scan_at: int = 0


def read_jpeg(handle: BinaryIO, size: int, file: str, limits: ArtLimits) -> Header:
    """The header of a JPEG of ``size`` bytes.

    Raises BadArt (damaged, truncated, unsupported, ...) or ArtTooLarge, naming ``file``.
    """
    found = _walk(handle, size, file)
    if found.frame is None:
        raise damaged(file, "its picture begins without a frame header")
    width, height, components = found.frame
    check_pixels(file, width, height, limits)
    if components not in (1, 3, 4):
        raise BadArt(f"{file}: has {components} colour components, not 1, 3 or 4.", _SAVE_AGAIN, "unsupported")
    if not _ends(handle, size, found.scan_at):
        raise truncated(file, "its end marker is missing")
    exif = found.exif or Exif()
    return Header(width, height, exif.orientation, found.jfif or exif.per_mm, is_cmyk=components == 4)


def _walk(handle: BinaryIO, size: int, file: str) -> _Segments:
    found, at = _Segments(), 2
    while at < size:
        handle.seek(at)
        head = handle.read(4)
        if head[:1] != b"\xff":
            raise damaged(file, f"there is no marker at byte {at}")
        if head[1:2] in (b"\xff", b"") or head[1] in _STANDALONE:
            at += 1 if head[1:2] == b"\xff" else 2  # any number of fill bytes may come before a marker (B.1.1.2)
            continue
        if head[1] == _EOI:
            raise damaged(file, "it ends before its picture begins")
        if len(head) < 4:
            break
        length = int.from_bytes(head[2:4], "big")
        if length < 2:
            raise damaged(file, f"a segment at byte {at} has no length")
        if at + 2 + length > size:
            break
        if head[1] == _SOS:
            found.scan_at = at
            return found
        _take(found, head[1], handle, length - 2, file)
        at += 2 + length
    raise truncated(file, "its picture hasn't begun yet")


def _take(found: _Segments, marker: int, handle: BinaryIO, length: int, file: str) -> None:
    if marker in _FRAMES:
        if marker not in _USABLE_FRAMES:
            raise BadArt(f"{file}: is a lossless or arithmetic-coded JPEG, which PDF can't hold.", _SAVE_AGAIN,
                         "unsupported")
        data = handle.read(min(length, 6))
        if len(data) < 6:
            raise damaged(file, "its frame header is too short")
        bits, height, width, components = struct.unpack(">BHHB", data)
        if bits != 8:
            raise BadArt(f"{file}: has {bits} bits per colour, and a JPEG on paper has 8.", _SAVE_AGAIN, "unsupported")
        found.frame = width, height, components
    elif marker == _APP0 and length >= 12:
        data = handle.read(12)
        if data.startswith(b"JFIF\x00"):
            across, down = struct.unpack_from(">HH", data, 8)
            unit_mm = _JFIF_UNITS_MM.get(data[7])  # 0 gives only the pixel's shape
            found.jfif = density(across, down, unit_mm) if unit_mm else None
    elif marker == _APP1 and found.exif is None and handle.read(6) == b"Exif\x00\x00":
        found.exif = read_exif(handle.read(length - 6))


def _ends(handle: BinaryIO, size: int, scan_at: int) -> bool:
    """True if an end marker stands after the picture's start: near the file's end, or else anywhere.

    Inside the picture FF is followed by 00 or a restart marker, so FF D9 can't occur there (B.1.1.5).
    """
    for start in (max(scan_at, size - _TAIL_BYTES), scan_at):
        handle.seek(start)
        if bytes((0xFF, _EOI)) in handle.read():
            return True
    return False
