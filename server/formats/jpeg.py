"""JPEG by its markers (ITU-T T.81, annex B): what its header says, and its own scans to copy.

The colour transform is by T.872 (Adobe's APP14) and, for PDF readers, ISO 32000-1, 7.4.8. What a camera or program
wrote beside the picture (Exif with its place and serial numbers, XMP, IPTC, comments, further pictures after the end)
isn't copied; nothing that a decoder needs is touched.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field

from server.core.units import MM_PER_INCH
from server.formats.header import Content, Exif, Header, Piece, density, read_exif
from server.formats.limits import ArtLimits, BadArt, check_pixels, damaged, truncated

_SOF_BASELINE, _SOF_EXTENDED, _SOF_PROGRESSIVE = 0xC0, 0xC1, 0xC2
_SOFS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}  # without DHT, JPG and DAC
_EOI, _SOS = 0xD9, 0xDA
_ALONE = frozenset((0x01, *range(0xD0, 0xD8)))  # markers without a length (table B.1)
_APP0, _APP1, _APP2, _APP14, _APP15, _COM = 0xE0, 0xE1, 0xE2, 0xEE, 0xEF, 0xFE
_ICC, _END = b"ICC_PROFILE\0", b"\xff\xd9"
_JFIF_UNITS_MM = {1: MM_PER_INCH, 2: 10.0}
# What is no marker between segments is stepped over, as every decoder does; fill bytes may come before one (B.1.1.2).
_MARKER = re.compile(rb"\xff[^\x00\xff]")
# Within a scan FF stands before 00 (a stuffed byte), a restart marker or a fill byte; anything else ends the scan.
_SCAN = re.compile(b"\xff\xda")  # nowhere within a scan's data, where 00 follows FF
# A progressive JPEG has some ten, with every component and bit by itself not a hundred.
_MOST_SCANS = 100
_SCAN_END = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
# One scan that holds it all ends with the first of these. An expression is found in a third of the time of ``find``.
_FIRST_END = re.compile(_END)
# The end marker is mostly the last thing in the file; cameras may append films, depth maps and padding to it.
_TAIL_BYTES = 64 * 1024
_MOST_JUNK = 64 * 1024
_LOOK_BYTES = 24 * 1024


@dataclass(frozen=True, slots=True)
class Jpeg:
    """A JPEG up to its first scan. ``process`` is the frame marker's second byte; ``transform`` is Adobe's colour
    transform or None; ``ended`` says that the end mark is there."""

    header: Header
    precision: int
    process: int
    component_ids: bytes
    transform: int | None
    has_jfif: bool
    profile: bytes | None
    ended: bool
    data: Content = field(repr=False)
    kept: tuple[memoryview, ...] = field(repr=False)
    scan: int = 0

    @property
    def components(self) -> int:
        return len(self.component_ids)

    @property
    def passes(self) -> bool:
        """True if PDF readers decode it as it is: Huffman-coded, 8 bits, grey, three or four colours."""
        return (self.process in (_SOF_BASELINE, _SOF_EXTENDED, _SOF_PROGRESSIVE) and self.precision == 8
                and self.components in (1, 3, 4))

    @property
    def has_scans(self) -> bool:
        """True if it comes in several scans, for which a decoder keeps all coefficients."""
        return self.process == _SOF_PROGRESSIVE or self.data[self.scan + 4] != self.components

    @property
    def inverted(self) -> bool:
        """True for CMYK as Adobe writes it, with 0 for full ink."""
        return self.components == 4 and self.transform is not None

    @property
    def is_plain_rgb(self) -> bool:
        """True where the components are red, green and blue by name and nothing else says what they are."""
        return (self.components == 3 and self.transform is None and not self.has_jfif
                and self.component_ids == b"RGB")

    def refused(self, file: str) -> Header:
        """Raises BadArt for a JPEG that neither a PDF nor a decoder takes."""
        if not self.ended:
            raise truncated(file, "its end marker is missing")
        reason = (f"has {self.precision} bits per colour, and a JPEG on paper has 8" if self.precision != 8 else
                  f"has {self.components} colour components, not 1, 3 or 4" if self.components not in (1, 3, 4) else
                  "is a lossless or arithmetic-coded JPEG, which can't be decoded here")
        raise BadArt(f"{file}: {reason}.", "Save it again as an ordinary JPEG or a PNG.", "unsupported")

    @property
    def _has_said_nothing(self) -> bool:
        """True if nothing before the picture is left out. Who puts films or further pictures behind one says so there
        (CIPA DC-007, or in Exif or XMP), so that the end needn't be looked for, which takes as long as to copy it."""
        return len(self.kept) == 1 and len(self.kept[0]) == self.scan

    def parts(self) -> tuple[memoryview, ...]:
        """What to copy, in order: all that a decoder needs, to the end mark where there is one."""
        if self.process != _SOF_PROGRESSIVE and self.data[self.scan + 4] == self.components:
            if self._has_said_nothing and self.data[-2:] == _END:
                return _joined(self.data, self.kept, self.scan, len(self.data))
            found = _FIRST_END.search(self.data, self.scan)  # no other mark can be in it (B.1.1.5)
            return _joined(self.data, self.kept, self.scan, found.end() if found else len(self.data))
        parts, start = self.kept, self.scan
        for marker, at, end in _segments(self.data, self.scan, scans=True):
            if not _is_needed(marker):
                parts, start = _joined(self.data, parts, start, at), end
            if marker == _EOI:
                return _joined(self.data, parts, start, end)
        return _joined(self.data, parts, start, len(self.data))


def _joined(data: Content, parts: tuple[memoryview, ...], start: int, end: int) -> tuple[memoryview, ...]:
    return (*parts, memoryview(data)[start:end]) if end > start else parts


def _is_needed(marker: int, content: bytes = b"") -> bool:
    if marker == _APP2:
        return content.startswith(_ICC)
    return marker in (_APP0, _APP14) or not (_APP0 < marker <= _APP15 or marker == _COM)


def _segments(data: Content, at: int, scans: bool = False) -> Iterator[tuple[int, int, int]]:
    """(marker, start, end) of each segment from ``at`` on; with ``scans`` a scan counts to its SOS segment.

    Ends with EOI, or where the file does; a segment that the file ends in isn't given.
    """
    size = len(data)
    while True:
        head = data[at:at + 4]
        if len(head) < 4 or head[0] != 0xFF or head[1] in (0x00, 0xFF):  # seldom: what is no marker stands before one
            marked = _MARKER.search(data, at)
            if not marked:
                return
            at = marked.start()
            head = data[at:at + 4]
        marker, end = head[1], at + 2
        if marker not in _ALONE and marker != _EOI:
            end += max(2, int.from_bytes(head[2:], "big"))
        if end > size:
            return
        if marker == _SOS and scans:
            found = _SCAN_END.search(data, end)
            end = found.start() if found else size
        yield marker, at, end
        if marker == _EOI:
            return
        at = end


@dataclass(slots=True)
class _Walked:
    """What the walk to the first scan has met."""

    frame: bytes = b""
    process: int = 0
    transform: int | None = None
    has_jfif: bool = False
    density: tuple[float, float] | None = None
    exif: Exif | None = None
    profile: dict[int, bytes] = field(default_factory=dict)
    profile_parts: int = 0
    kept: list[memoryview] = field(default_factory=list)
    scan: int = 0

    def whole_profile(self) -> bytes | None:
        """The profile, put together from its numbered parts (ICC.1:2022, B.4); None where a part is missing."""
        count = self.profile_parts
        if not count or set(self.profile) != set(range(1, count + 1)):
            return None
        return b"".join(self.profile[part] for part in range(1, count + 1))


def read_jpeg(data: Content, file: str, limits: ArtLimits | None) -> Jpeg:
    """Read a JPEG to its first scan; without ``limits`` one of any size, such as a part of a page.

    ``data`` must stay as it is for as long as its parts are used.
    Raises BadArt (damaged, truncated) or ArtTooLarge, naming ``file``.
    """
    found = _walk(data, file)
    if len(found.frame) < 6:
        raise damaged(file, "its picture begins without a frame header")
    precision, height, width, count = struct.unpack_from(">BHHB", found.frame)
    if limits:
        check_pixels(file, width, height, limits)
    if not count or len(found.frame) < 6 + 3 * count:
        raise damaged(file, "its frame header makes no sense")
    exif = found.exif or Exif()
    header = Header(width, height, exif.orientation, found.density or exif.per_mm, is_cmyk=count == 4)
    return Jpeg(header, precision, found.process, found.frame[6:6 + 3 * count:3], found.transform, found.has_jfif,
                found.whole_profile(), _has_end(data, found.scan), data, tuple(found.kept), found.scan)


def look_at_jpeg(piece: Piece, size: int, file: str, limits: ArtLimits | None) -> Jpeg:
    """What ``read_jpeg`` says of a file of ``size`` bytes, by both its ends where they tell it all; it raises the same.

    What it gives has no parts to copy.
    """
    if size > 4 * _LOOK_BYTES:
        with suppress(BadArt):
            jpeg = read_jpeg(piece(0, _LOOK_BYTES) + piece(size - _LOOK_BYTES, size), file, limits)
            if jpeg.ended and jpeg.scan < _LOOK_BYTES and jpeg.process != _SOF_PROGRESSIVE:
                return jpeg
    jpeg = read_jpeg(data := piece(0, size), file, limits)
    if jpeg.process == _SOF_PROGRESSIVE and len(_SCAN.findall(data)) > _MOST_SCANS:
        raise BadArt(f"{file}: is a JPEG of more than {_MOST_SCANS} scans, each of which is decoded over the whole "
                     "picture.", "Save it again as an ordinary JPEG or a PNG.", "too-much-inside")
    return jpeg


def _walk(data: Content, file: str) -> _Walked:
    found, start, last = _Walked(), 0, 2
    for marker, at, end in _segments(data, 2):
        if at - last > _MOST_JUNK:
            break
        # Fill bytes are part of a JPEG, anything else between segments isn't.
        if at > last and data[last:at].strip(b"\xff"):
            found.kept += _joined(data, (), start, last)
            start = at
        if marker == _EOI:
            raise damaged(file, "it ends before its picture begins")
        if marker == _SOS:
            found.kept += _joined(data, (), start, at)
            found.scan = at
            return found
        content = data[at + 4:end]
        _take(found, marker, content)
        if not _is_needed(marker, content):
            found.kept += _joined(data, (), start, at)
            start = end
        last = end
    if data[last:last + 1] not in (b"", b"\xff"):
        raise damaged(file, f"there is no marker at byte {last}")
    raise truncated(file, "its picture hasn't begun yet")


def _take(found: _Walked, marker: int, content: bytes) -> None:
    """Note what the segment says."""
    if marker in _SOFS and not found.frame:
        found.frame, found.process = content, marker
    elif marker == _APP0 and content.startswith(b"JFIF\0") and len(content) >= 12:
        found.has_jfif = True
        unit_mm = _JFIF_UNITS_MM.get(content[7])  # 0 gives only the pixel's shape
        across, down = struct.unpack_from(">HH", content, 8)
        found.density = density(across, down, unit_mm) if unit_mm else None
    elif marker == _APP1 and found.exif is None and content.startswith(b"Exif\0\0"):
        found.exif = read_exif(content[6:])
    elif marker == _APP2 and content.startswith(_ICC) and len(content) > 14:
        found.profile.setdefault(content[12], content[14:])
        found.profile_parts = content[13]
    elif marker == _APP14 and content.startswith(b"Adobe") and len(content) >= 12:
        found.transform = content[11]


def _has_end(data: Content, scan: int) -> bool:
    """True if an end mark stands after the picture's start: near the file's end, or else anywhere."""
    return data.rfind(_END, max(scan, len(data) - _TAIL_BYTES)) >= 0 or data.find(_END, scan) >= 0
