"""Colour profiles inside art: kept where they are whole and meant for the art's colours, left out where they aren't.

Header fields by ICC.1:2022, 7.2; which profiles a PDF takes by ISO 32000-1, 8.6.5.5.
"""

from __future__ import annotations

import hashlib

from server.drawing.pdf_file import PdfFile

DEVICE_SPACES: dict[int, bytes] = {1: b"/DeviceGray", 3: b"/DeviceRGB", 4: b"/DeviceCMYK"}
_SIGNATURES: dict[bytes, int] = {b"GRAY": 1, b"RGB ": 3, b"CMYK": 4}
_CLASSES = (b"scnr", b"mntr", b"prtr", b"spac")
_HEADER_BYTES = 128
_NEWEST_MAJOR = 4


def fits(profile: bytes, components: int) -> bool:
    """True if ``profile`` is whole by its own header and describes art of that many components."""
    return (len(profile) > _HEADER_BYTES + 4
            and int.from_bytes(profile[:4], "big") == len(profile)
            and profile[8] <= _NEWEST_MAJOR
            and profile[12:16] in _CLASSES
            and profile[36:40] == b"acsp"
            and _SIGNATURES.get(profile[16:20]) == components
            and _tags_are_inside(profile))


def _tags_are_inside(profile: bytes) -> bool:
    """True if the tag table (7.3) points into the profile."""
    count = int.from_bytes(profile[128:132], "big")
    if not 0 < count <= 1000 or 132 + 12 * count > len(profile):
        return False
    for at in range(132, 132 + 12 * count, 12):
        start, size = int.from_bytes(profile[at + 4:at + 8], "big"), int.from_bytes(profile[at + 8:at + 12], "big")
        if start + size > len(profile):
            return False
    return True


class ColourSpaces:
    """The colour spaces of one PDF's images; each distinct profile is one object."""

    def __init__(self, file: PdfFile) -> None:
        self._file = file
        self._known: dict[bytes, int] = {}

    def space(self, components: int, profile: bytes | None) -> bytes:
        """What to write as ``/ColorSpace`` for 1, 3 or 4 components and the profile that came along, if any."""
        if profile is None or not fits(profile, components):
            return DEVICE_SPACES[components]
        name = hashlib.blake2b(profile, digest_size=16).digest()
        if name not in self._known:
            self._known[name] = self._file.put_deflated(
                b"/N %d /Alternate %b" % (components, DEVICE_SPACES[components]), profile)
        return b"[/ICCBased %d 0 R]" % self._known[name]
