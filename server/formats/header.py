"""What a file is by its first bytes (its name has no say), its content, what a picture's header says, and the part of
EXIF that matters for printing."""

from __future__ import annotations

import io
import math
import mmap
import os
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from server.core.art import KIND_ENDINGS, ArtKind
from server.core.units import MM_PER_INCH

_ORIENTATION, _X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT = 0x0112, 0x011A, 0x011B, 0x0128
_SHORT, _LONG, _RATIONAL = 3, 4, 5
_MAX_ENTRIES = 1000  # IFD0 of a real file has a few dozen

Content = bytes | mmap.mmap


# To read a file costs half of what it costs to copy it from a mapping, where every page is a fault; to look at both
# ends of it, a mapping costs next to nothing (measured: 29 and 57 ms of processor time for 76 MB).
_READ_WHOLE, _LOOK_AT_WHOLE = 32 * 1024 * 1024, 256 * 1024


def content_of(path: Path) -> Content:
    """All bytes of a file, for one who wants them all. Raises OSError."""
    with path.open("rb", buffering=0) as source:
        return mapped_or_read(source, _READ_WHOLE)


def mapped_or_read(source: io.FileIO, most_read: int = _LOOK_AT_WHOLE) -> Content:
    """All bytes of an open file: read, or mapped where they are more than ``most_read`` and the system can.

    A mapping ends with the last view of it. Raises OSError.
    """
    try:
        if os.fstat(source.fileno()).st_size > most_read:
            return mmap.mmap(source.fileno(), 0, access=mmap.ACCESS_READ)
    except (OSError, ValueError):  # a place that can't be mapped
        pass
    source.seek(0)
    return source.readall()


# The bytes of a file from one place up to another; fewer where it ends before.
Piece = Callable[[int, int], bytes]


def pieces_of(source: io.FileIO) -> Piece:
    """Of an open file. They raise OSError."""
    if hasattr(os, "pread"):
        handle = source.fileno()
        return lambda start, end: os.pread(handle, end - start, start)

    def piece(start: int, end: int) -> bytes:
        source.seek(start)
        return source.read(end - start)

    return piece


@dataclass(frozen=True, slots=True)
class Header:
    """Size in pixels as stored, how to turn it (EXIF 1 to 8), and pixels per mm (None if the file doesn't say)."""

    width: int
    height: int
    orientation: int = 1
    per_mm: tuple[float, float] | None = None
    has_alpha: bool = False
    is_cmyk: bool = False
    frames: int = 1

    @property
    def size_mm(self) -> tuple[float, float] | None:
        """The size that the file claims by its resolution, as seen."""
        if self.per_mm is None:
            return None
        width, height = self.width / self.per_mm[0], self.height / self.per_mm[1]
        return (height, width) if self.orientation >= 5 else (width, height)


@dataclass(frozen=True, slots=True)
class Exif:
    """Orientation (1 where it is missing or not 1 to 8) and pixels per mm along the stored axes."""

    orientation: int = 1
    per_mm: tuple[float, float] | None = None


def density(across: float, down: float, unit_mm: float) -> tuple[float, float] | None:
    """Pixels per mm from a resolution in pixels per ``unit_mm``; None where it can't be meant."""
    if not (math.isfinite(across) and math.isfinite(down)) or across <= 0 or down <= 0:
        return None
    return across / unit_mm, down / unit_mm


def read_exif(block: bytes) -> Exif:
    """IFD0 of an EXIF block, which is a small TIFF (CIPA DC-008, 4.5.2). Bad bytes read as no EXIF at all."""
    try:
        return _read_exif(block)
    except (struct.error, IndexError, ZeroDivisionError):
        return Exif()


def _read_exif(block: bytes) -> Exif:
    order = {b"II*\x00": "<", b"MM\x00*": ">"}.get(block[:4])
    if order is None:
        return Exif()
    start, = struct.unpack_from(order + "I", block, 4)
    count, = struct.unpack_from(order + "H", block, start)
    found: dict[int, float] = {}
    for entry in range(min(count, _MAX_ENTRIES)):
        tag, kind, _ = struct.unpack_from(order + "HHI", block, start + 2 + 12 * entry)
        if tag in (_ORIENTATION, _X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT):
            found[tag] = _value(block, start + 2 + 12 * entry + 8, kind, order)
    orientation = int(found.get(_ORIENTATION, 1))
    unit_mm = 10.0 if found.get(_RESOLUTION_UNIT) == 3 else MM_PER_INCH  # 2, the default, is the inch
    return Exif(orientation if 1 <= orientation <= 8 else 1,
                density(found.get(_X_RESOLUTION, 0.0), found.get(_Y_RESOLUTION, 0.0), unit_mm))


def _value(block: bytes, at: int, kind: int, order: str) -> float:
    if kind == _RATIONAL:
        offset, = struct.unpack_from(order + "I", block, at)
        above, below = struct.unpack_from(order + "II", block, offset)
        return float(above) / below if below else 0.0
    if kind in (_SHORT, _LONG):
        return float(struct.unpack_from(order + ("H" if kind == _SHORT else "I"), block, at)[0])
    return 0.0


# How much of a file ``kind_of`` wants to see.
HEAD_BYTES = 1024

KIND_OF_ENDING: dict[str, ArtKind] = {ending: kind for kind, endings in KIND_ENDINGS.items() for ending in endings}
# Endings of pictures that can't be used as they are; each deserves a word rather than silence.
OTHER_PICTURES = frozenset({
    "bmp", "gif", "heic", "heif", "svgz", "psd", "psb", "xcf", "kra", "eps", "ps", "jp2", "jxl", "tga", "ico",
    "indd", "afdesign", "afphoto", "afpub", "cdr", "odg", "raw", "dng", "cr2", "nef", "exr", "hdr", "dds",
})
FORMATS_TEXT = "PNG, JPEG, WebP, TIFF, AVIF, PDF or SVG"

# What may come before an XML document's first element (XML 1.0, 2.8), and that element, whatever its prefix.
_SVG_START = re.compile(r"\s*(?:<\?.*?\?>\s*|<!--.*?-->\s*)*(?:<!DOCTYPE\s+(?:\w+:)?svg\b|"
                        r"(?:<!DOCTYPE[^>\[]*>\s*(?:<!--.*?-->\s*)*)?<(?:[A-Za-z_][\w.-]*:)?svg[\s>/])", re.S)
_TIFF_STARTS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")  # classic and BigTIFF, both byte orders


def kind_of(head: bytes) -> ArtKind | None:
    """The kind of art that begins with ``head`` (HEAD_BYTES of it, or the whole of a short file); None for others.

    PNG: W3C, 3rd edition, 5.2. JPEG: ITU-T T.81, B.1.1.3 (SOI and a marker). WebP: RFC 9649, 2.4. TIFF: revision 6.0,
    section 2. AVIF: ISO/IEC 14496-12, 4.3, with AV1 image brands. PDF: its header may come within the first 1,024
    bytes (PDF Reference 1.7, Appendix H, note 13). SVG: an XML document whose first element or document type is svg.
    """
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "webp"
    if head.startswith(_TIFF_STARTS):
        return "tiff"
    if head[4:8] == b"ftyp" and _has_avif_brand(head):
        return "avif"
    if b"%PDF-" in head[:HEAD_BYTES]:
        return "pdf"
    return "svg" if begins_svg(head[:HEAD_BYTES]) else None


def begins_svg(head: bytes) -> bool:
    text = head.decode("utf-16" if head[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig", "ignore")
    return _SVG_START.match(text) is not None


def _has_avif_brand(head: bytes) -> bool:
    size = min(int.from_bytes(head[:4], "big"), len(head))
    brands = [head[8:12], *(head[at:at + 4] for at in range(16, size, 4))]  # 12 to 16 is the minor version
    return b"avif" in brands or b"avis" in brands


def ending_of(file: str) -> str:
    """The ending of a file's label in lower case, without the dot; "" if there is none."""
    name = file.rpartition("/")[2]
    stem, dot, ending = name.rpartition(".")
    return ending.lower() if dot and stem else ""
