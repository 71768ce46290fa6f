"""WebP by its chunks, TIFF and AVIF by Pillow, which reads their directories and leaves the pixels for later.

All three are decoded by Pillow when they are drawn; only a WebP's size is looked at first, because Pillow's decoder
takes memory for the whole canvas as soon as it opens one.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from typing import Literal

from PIL import Image, TiffImagePlugin

from server.core.art import ArtKind
from server.formats.decoding import WEBP_BYTES, opened_by_pillow
from server.formats.header import Content, Exif, Header, density, read_exif
from server.formats.limits import (
    EXPORT_AGAIN,
    ArtLimits,
    BadArt,
    check_decoding,
    check_pixels,
    damaged,
    refusing,
    truncated,
)

_STRIP_OFFSETS, _STRIP_BYTES, _TILE_OFFSETS, _TILE_BYTES = 273, 279, 324, 325
_ORIENTATION, _X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT = 274, 282, 283, 296
_TIFF_UNITS_MM = {2: 25.4, 3: 10.0}
_WITH_ALPHA = frozenset({"LA", "La", "PA", "RGBA", "RGBa"})
_MOST_SHARED = 4  # strips may lie on each other where they are alike, but a file of 1 MB isn't 250 MB of picture
_ANIMATED, _ALPHA = 0x02, 0x10  # flags of an extended WebP (RFC 9649, 2.7)
_MAX_EXIF_BYTES = 1024 * 1024
_MAX_CHUNKS = 100_000


def read_webp(data: Content, file: str, limits: ArtLimits) -> Header:
    """The header of a WebP (RFC 9649). Raises BadArt or ArtTooLarge, naming ``file``."""
    head, size = data[:30], len(data)
    if len(head) < 30:
        raise truncated(file, "not even its header is whole")
    claimed = int.from_bytes(head[4:8], "little") + 8
    if claimed > size + 1:  # the padding byte of an odd last chunk is often left out
        raise truncated(file, f"{claimed - size} bytes are missing")
    name = head[12:16]
    if name == b"VP8X":
        return _extended(data, min(claimed, size), file, limits)
    if name == b"VP8 " and head[23:26] == b"\x9d\x01\x2a":  # a key frame's start code and sizes (RFC 6386, 9.1)
        width, height = struct.unpack_from("<HH", head, 26)
        header = Header(width & 0x3FFF, height & 0x3FFF)
    elif name == b"VP8L" and head[20] == 0x2F:  # two sizes less one, and the alpha bit (RFC 9649, 3.4)
        bits = int.from_bytes(head[21:25], "little")
        header = Header((bits & 0x3FFF) + 1, ((bits >> 14) & 0x3FFF) + 1, has_alpha=bool(bits >> 28 & 1))
    else:
        raise damaged(file, "its first chunk is no picture")
    _check(header.width, header.height, file, limits)
    return header


def _check(width: int, height: int, file: str, limits: ArtLimits) -> None:
    check_pixels(file, width, height, limits)
    check_decoding(file, "WebP", width, height, WEBP_BYTES * width * height, limits)


def _extended(data: Content, size: int, file: str, limits: ArtLimits) -> Header:
    flags = data[20]
    width, height = int.from_bytes(data[24:27], "little") + 1, int.from_bytes(data[27:30], "little") + 1
    _check(width, height, file, limits)
    exif, frames, pictures = Exif(), 0, 0
    at = 12
    for _ in range(_MAX_CHUNKS):
        if at + 8 > size:
            break
        name, length = struct.unpack("<4sI", data[at:at + 8])
        if at + 8 + length > size:
            raise truncated(file, f"{at + 8 + length - size} bytes of a chunk are missing")
        frames += name == b"ANMF"
        pictures += name in (b"VP8 ", b"VP8L")
        if name == b"EXIF" and length <= _MAX_EXIF_BYTES:
            exif = read_exif(data[at + 8:at + 8 + length].removeprefix(b"Exif\x00\x00"))
        at += 8 + length + length % 2
    if not frames + pictures:
        raise damaged(file, "it holds no picture")
    return Header(width, height, exif.orientation, exif.per_mm, bool(flags & _ALPHA),
                  frames=max(1, frames) if flags & _ANIMATED else 1)


def read_tiff(data: Content, file: str, limits: ArtLimits) -> Header:
    """The header of a TIFF's first page.

    Pillow turns a TIFF upright while it decodes, so size and resolution are those of the upright picture and the
    orientation is always 1. Raises BadArt or ArtTooLarge, naming ``file``.
    """
    _check_directory(data, file)
    with refusing(file), opened_by_pillow("tiff", data, file, limits) as image:
        if not isinstance(image, TiffImagePlugin.TiffImageFile):
            raise damaged(file, "it is no TIFF")
        tags = image.tag_v2
        _check_strips(tags, len(data), file)
        unit_mm = _TIFF_UNITS_MM.get(tags.get(_RESOLUTION_UNIT, 2))
        across, down = float(tags.get(_X_RESOLUTION, 0) or 0), float(tags.get(_Y_RESOLUTION, 0) or 0)
        per_mm = density(across, down, unit_mm) if unit_mm else None
        if per_mm and tags.get(_ORIENTATION, 1) in (5, 6, 7, 8):
            per_mm = per_mm[1], per_mm[0]
        return _header(image, 1, per_mm)


def _header(image: Image.Image, orientation: int, per_mm: tuple[float, float] | None) -> Header:
    has_alpha = image.mode in _WITH_ALPHA or "transparency" in image.info
    return Header(*image.size, orientation, per_mm, has_alpha, image.mode == "CMYK", _frames(image))


def _check_directory(data: Content, file: str) -> None:
    """The first directory must lie within the file (TIFF 6.0, section 2); many programs write it last."""
    head = data[:8]
    order: Literal["little", "big"] = "little" if head[:2] == b"II" else "big"
    if head[2:4] not in (b"*\x00", b"\x00*"):  # BigTIFF has wider offsets; Pillow finds its cuts
        return
    start = int.from_bytes(head[4:8], order)
    count = data[start:start + 2]
    if len(head) < 8 or len(count) < 2 or start + 2 + 12 * int.from_bytes(count, order) > len(data):
        raise truncated(file, "its directory is missing")


def _frames(image: Image.Image) -> int:
    """How many pictures; a broken chain of pages counts as far as the first, which is the one that is used."""
    try:
        frames = int(getattr(image, "n_frames", 1))
        image.seek(0)
        return frames
    except Exception:  # the chain is read by the same decoder, whose errors have no common type
        return 1


def _check_strips(tags: TiffImagePlugin.ImageFileDirectory_v2, size: int, file: str) -> None:
    for offsets_tag, bytes_tag in ((_STRIP_OFFSETS, _STRIP_BYTES), (_TILE_OFFSETS, _TILE_BYTES)):
        offsets, lengths = tags.get(offsets_tag, ()), tags.get(bytes_tag, ())
        ends = [offset + length for offset, length in zip(offsets, lengths, strict=False)]
        if ends and max(ends) > size:
            raise truncated(file, f"{max(ends) - size} bytes of its picture are missing")
        if sum(lengths) > _MOST_SHARED * size:
            raise BadArt(f"{file}: says the same bytes over and over.", EXPORT_AGAIN, "too-much-inside")


def read_avif(data: Content, file: str, limits: ArtLimits) -> Header:
    """The header of an AVIF's first picture. Raises BadArt or ArtTooLarge, naming ``file``."""
    _check_boxes(data, file)
    with refusing(file), opened_by_pillow("avif", data, file, limits) as image:
        exif = _exif(image)
        return _header(image, exif.orientation, exif.per_mm)


def _exif(image: Image.Image) -> Exif:
    block = image.info.get("exif", b"")
    return read_exif(bytes(block).removeprefix(b"Exif\x00\x00")) if block else Exif()


def _check_boxes(data: Content, file: str) -> None:
    """Top-level boxes (ISO/IEC 14496-12, 4.2) must end within the file."""
    at, size = 0, len(data)
    while at < size:
        head = data[at:at + 16]
        length = int.from_bytes(head[:4], "big")
        if length == 0:  # to the end of the file
            return
        if length == 1:
            length = int.from_bytes(head[8:16], "big")
        if length < 8:
            raise damaged(file, f"there is no box at byte {at}")
        if at + length > size:
            raise truncated(file, f"{at + length - size} bytes of a box are missing")
        at += length


READERS: dict[ArtKind, Callable[[Content, str, ArtLimits], Header]] = {
    "webp": read_webp, "tiff": read_tiff, "avif": read_avif}


def by_decoding(kind: ArtKind, data: Content, file: str, limits: ArtLimits) -> Header | None:
    """The header of a file whose structure is odd, if Pillow decodes the whole of it all the same; else None.

    Raises ArtTooLarge or BadArt for its size and shape alone.
    """
    try:
        with refusing(file), opened_by_pillow(kind, data, file, limits) as image:
            image.load()
            exif, dpi = _exif(image), image.info.get("dpi")
            per_mm = density(float(dpi[0]), float(dpi[1]), 25.4) if isinstance(dpi, tuple) else exif.per_mm
            return _header(image, 1 if kind == "tiff" else exif.orientation, per_mm)
    except BadArt as error:
        if error.code in ("damaged", "truncated", "unsupported"):
            return None
        raise
