"""TIFF and AVIF: opened by Pillow, which reads their directories and leaves the pixels for later."""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO, Literal

from PIL import Image, TiffImagePlugin

from server.formats.header import Exif, Header, density, read_exif
from server.formats.limits import ArtLimits
from server.formats.refusal import BadArt, check_pixels, damaged, refusing, truncated

# Pillow's own guard only warns at first, and can't name the file. Every file that is opened here or in ``pixels`` is
# held to the limit of ``check_pixels`` before anything is decoded, so the guard is replaced, not removed.
Image.MAX_IMAGE_PIXELS = None

_STRIP_OFFSETS, _STRIP_BYTES, _TILE_OFFSETS, _TILE_BYTES = 273, 279, 324, 325
_X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT = 282, 283, 296
_TIFF_UNITS_MM = {2: 25.4, 3: 10.0}
# Modes that Pillow turns into grey, RGB or CMYK without guessing at a range of values.
_MODES = frozenset({"1", "L", "LA", "La", "P", "PA", "RGB", "RGBA", "RGBa", "RGBX", "CMYK", "YCbCr",
                    "I;16", "I;16L", "I;16B", "I;16N"})
_WITH_ALPHA = frozenset({"LA", "La", "PA", "RGBA", "RGBa"})


def read_tiff(path: Path, handle: BinaryIO, size: int, file: str, limits: ArtLimits) -> Header:
    """The header of a TIFF's first page.

    Pillow turns a TIFF upright while it decodes, so size and resolution are those of the upright picture and the
    orientation is always 1. Raises BadArt or ArtTooLarge, naming ``file``.
    """
    _check_directory(handle, size, file)
    with refusing(file), Image.open(path, formats=("TIFF",)) as image:
        if not isinstance(image, TiffImagePlugin.TiffImageFile):
            raise damaged(file, "it is no TIFF")
        check_pixels(file, *image.size, limits)
        _check_mode(image.mode, file)
        tags = image.tag_v2
        turned = tags.get(274, 1) in (5, 6, 7, 8)
        _check_strips(tags, size, file)
        unit_mm = _TIFF_UNITS_MM.get(tags.get(_RESOLUTION_UNIT, 2))
        across, down = float(tags.get(_X_RESOLUTION, 0) or 0), float(tags.get(_Y_RESOLUTION, 0) or 0)
        per_mm = density(across, down, unit_mm) if unit_mm else None
        if per_mm and turned:
            per_mm = per_mm[1], per_mm[0]
        has_alpha = image.mode in _WITH_ALPHA or "transparency" in image.info
        return Header(*image.size, 1, per_mm, has_alpha, image.mode == "CMYK", _frames(image))


def _check_directory(handle: BinaryIO, size: int, file: str) -> None:
    """The first directory must lie within the file (TIFF 6.0, section 2); many programs write it last."""
    handle.seek(0)
    head = handle.read(8)
    order: Literal["little", "big"] = "little" if head[:2] == b"II" else "big"
    if head[2:4] not in (b"*\x00", b"\x00*"):  # BigTIFF has wider offsets; Pillow finds its cuts
        return
    start = int.from_bytes(head[4:8], order)
    handle.seek(start)
    count = handle.read(2)
    if len(head) < 8 or len(count) < 2 or start + 2 + 12 * int.from_bytes(count, order) > size:
        raise truncated(file, "its directory is missing")


def _frames(image: Image.Image) -> int:
    """How many pictures; a broken chain of pages counts as far as the first, which is the one that is used."""
    try:
        frames = int(getattr(image, "n_frames", 1))
        image.seek(0)
        return frames
    except Exception:  # the chain is read by the same decoder, whose errors have no common type
        return 1


def _check_mode(mode: str, file: str) -> None:
    if mode not in _MODES:
        raise BadArt(f"{file}: has a colour mode ({mode}) that can't be printed as it is.",
                     "Save it with 8 or 16 bits in grey, RGB or CMYK.", "unsupported")


def _check_strips(tags: TiffImagePlugin.ImageFileDirectory_v2, size: int, file: str) -> None:
    for offsets_tag, bytes_tag in ((_STRIP_OFFSETS, _STRIP_BYTES), (_TILE_OFFSETS, _TILE_BYTES)):
        offsets, lengths = tags.get(offsets_tag, ()), tags.get(bytes_tag, ())
        ends = [offset + length for offset, length in zip(offsets, lengths, strict=False)]
        if ends and max(ends) > size:
            raise truncated(file, f"{max(ends) - size} bytes of its picture are missing")


def read_avif(path: Path, handle: BinaryIO, size: int, file: str, limits: ArtLimits) -> Header:
    """The header of an AVIF's first picture. Raises BadArt or ArtTooLarge, naming ``file``."""
    _check_boxes(handle, size, file)
    with refusing(file), Image.open(path, formats=("AVIF",)) as image:
        check_pixels(file, *image.size, limits)
        _check_mode(image.mode, file)
        block = image.info.get("exif", b"")
        exif = read_exif(bytes(block).removeprefix(b"Exif\x00\x00")) if block else Exif()
        return Header(*image.size, exif.orientation, exif.per_mm, image.mode in _WITH_ALPHA,
                      frames=int(getattr(image, "n_frames", 1)))


def _check_boxes(handle: BinaryIO, size: int, file: str) -> None:
    """Top-level boxes (ISO/IEC 14496-12, 4.2) must end within the file."""
    at = 0
    while at < size:
        handle.seek(at)
        head = handle.read(16)
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
