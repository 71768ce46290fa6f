"""What is inside a JPEG, so that its own compressed scans can go into a PDF as they are.

Markers by ITU-T T.81 (ISO/IEC 10918-1), Annex B; the colour transform by T.872 (Adobe's APP14) and, for PDF readers,
ISO 32000-1, 7.4.8. What a camera or program wrote beside the picture (Exif with its place and serial numbers, XMP,
IPTC, comments, further pictures after the end) is left out; nothing that a decoder needs is touched.
Broken files raise ValueError, which says in what.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field

_SOF_BASELINE, _SOF_EXTENDED, _SOF_PROGRESSIVE = 0xC0, 0xC1, 0xC2
_SOFS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_SOI, _EOI, _SOS = 0xD8, 0xD9, 0xDA
_ALONE = frozenset((0x01, *range(0xD0, 0xD8), _EOI))  # markers without a length (Table B.1)
_APP0, _APP2, _APP14, _APP15, _COM = 0xE0, 0xE2, 0xEE, 0xEF, 0xFE
_ICC = b"ICC_PROFILE\0"
_MARKER = re.compile(rb"\xff[^\x00\xff]")
# Within a scan 0xFF stands before 0x00 (a stuffed byte), a restart marker or a fill byte; anything else ends the scan.
_SCAN_END = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


@dataclass(frozen=True, slots=True)
class Jpeg:
    """A JPEG's header and the parts of it to copy, in order.

    ``process`` is the frame marker's second byte; ``transform`` is Adobe's colour transform or None;
    ``ended`` says that the end mark is there; ``whole`` that the parts together are the file, byte for byte.
    """

    width: int
    height: int
    precision: int
    process: int
    component_ids: bytes
    transform: int | None
    has_jfif: bool
    profile: bytes | None
    parts: tuple[memoryview, ...]
    ended: bool
    whole: bool
    checksum: bytes

    @property
    def components(self) -> int:
        return len(self.component_ids)

    @property
    def passes(self) -> bool:
        """True if PDF readers decode it as it is: Huffman-coded, 8 bits, grey, three or four colours."""
        return (self.process in (_SOF_BASELINE, _SOF_EXTENDED, _SOF_PROGRESSIVE) and self.precision == 8
                and self.components in (1, 3, 4))

    @property
    def inverted(self) -> bool:
        """True for CMYK as Adobe writes it, with 0 for full ink."""
        return self.components == 4 and self.transform is not None

    @property
    def is_plain_rgb(self) -> bool:
        """True where the components are red, green and blue by name and nothing else says what they are."""
        return (self.components == 3 and self.transform is None and not self.has_jfif
                and self.component_ids == b"RGB")


@dataclass(slots=True)
class _Found:
    frame: bytes = b""
    process: int = 0
    transform: int | None = None
    has_jfif: bool = False
    profile: dict[int, bytes] = field(default_factory=dict)
    profile_parts: int = 0


def _segments(data: memoryview) -> Iterator[tuple[int, int, int, int]]:
    """(marker, start, content, end) of each segment from SOI to EOI, or to the file's end where that is missing.

    A scan counts to its SOS segment.
    """
    if bytes(data[:2]) != b"\xff\xd8":
        raise ValueError("it doesn't begin as a JPEG does")
    yield _SOI, 0, 2, 2
    at = 2
    while True:
        start = at
        marked = _MARKER.search(data, at)  # what lies between segments is skipped, as decoders do
        if not marked:
            raise ValueError("it ends too early")
        at, marker = marked.start(), data[marked.start() + 1]
        if marker in _ALONE:
            yield marker, start, at + 2, at + 2
            if marker == _EOI:
                return
            at += 2
            continue
        if at + 4 > len(data):
            raise ValueError("it ends too early")
        end = at + 2 + int.from_bytes(data[at + 2:at + 4], "big")
        if end > len(data) or end < at + 4:
            raise ValueError("it ends too early")
        content = at + 4
        if marker == _SOS:
            found = _SCAN_END.search(data, end)
            end = found.start() if found else len(data)
        yield marker, start, content, end
        if end == len(data):
            return
        at = end


def read_jpeg(data: memoryview) -> Jpeg:
    """Take a whole JPEG file apart. ``data`` must stay as it is for as long as the parts are used."""
    found = _Found()
    parts: list[memoryview] = []
    kept_from = end = 0
    scans = marker = 0
    for marker, start, content, end in _segments(data):
        scans += marker == _SOS
        if _keep(marker, data[content:end], found):
            continue
        if start > kept_from:
            parts.append(data[kept_from:start])
        kept_from = end
    if end > kept_from:
        parts.append(data[kept_from:end])
    if not scans or len(found.frame) < 6:
        raise ValueError("it has no picture in it")
    precision, height, width, count = struct.unpack_from(">BHHB", found.frame)
    if not width or not height or not count or len(found.frame) < 6 + 3 * count:
        raise ValueError("its header makes no sense")
    checksum = 0
    for part in parts:
        checksum = zlib.crc32(part, checksum)
    return Jpeg(width, height, precision, found.process, found.frame[6:6 + 3 * count:3], found.transform,
                found.has_jfif, _profile(found), tuple(parts), marker == _EOI,
                len(parts) == 1 and len(parts[0]) == len(data), b"%d" % checksum)


def _keep(marker: int, content: memoryview, found: _Found) -> bool:
    """Note what the segment says; False for what isn't needed to decode the picture."""
    if marker in _SOFS and not found.frame:
        found.frame, found.process = bytes(content), marker
    elif marker == _APP0:
        found.has_jfif = found.has_jfif or bytes(content[:5]) == b"JFIF\0"
    elif marker == _APP2 and bytes(content[:12]) == _ICC and len(content) > 14:
        found.profile.setdefault(content[12], bytes(content[14:]))
        found.profile_parts = content[13]
    elif marker == _APP14 and bytes(content[:5]) == b"Adobe" and len(content) >= 12:
        found.transform = content[11]
    else:
        return not (_APP0 < marker <= _APP15 or marker == _COM)
    return True


def _profile(found: _Found) -> bytes | None:
    """The profile, put together from its numbered parts (ICC.1:2022, B.4); None where a part is missing."""
    count = found.profile_parts
    if not count or set(found.profile) != set(range(1, count + 1)):
        return None
    return b"".join(found.profile[part] for part in range(1, count + 1))
