"""Files opened by Pillow, each held to the memory that its decoder will take, which is reckoned before it decodes.

Pillow keeps four bytes of a pixel, two or one of a grey one. What a decoder holds beside that is in the table:

| kind | at its peak, in bytes of a pixel |
| --- | --- |
| PNG, sequential JPEG | nothing that counts |
| JPEG in several scans | all coefficients, two bytes each (libjpeg, jdcoefct.c) |
| WebP | two canvases and the frame, 4 each (libwebp, anim_decode.c; Pillow's _webp.c) |
| AVIF | the planes, again where grain is laid on them, and the frame twice, 3 or 4 each (dav1d; Pillow's _avif.c) |
| TIFF | a strip or tile as it unpacks (Pillow's TiffDecode.c), and a second picture where it has to be turned |
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO, cast

from PIL import AvifImagePlugin, Image, ImageFile, JpegImagePlugin, TiffImagePlugin, WebPImagePlugin

from server.core.art import KIND_LABELS, ArtKind
from server.formats.header import Content
from server.formats.limits import ArtLimits, check_decoding, check_pixels

# Pillow's own guard only warns at first, and can't name the file. Every file that is opened here is held to the limits
# of ``check_pixels`` and ``check_decoding`` before anything is decoded, so the guard is replaced, not removed.
Image.MAX_IMAGE_PIXELS = None

PILLOW_NAMES: dict[ArtKind, str] = {"png": "PNG", "jpeg": "JPEG", "webp": "WEBP", "tiff": "TIFF", "avif": "AVIF"}
WEBP_BYTES = 12  # of a pixel
_ONE_BYTE, _TWO_BYTES = frozenset({"1", "L", "P"}), ("I;16",)
_ORIENTATION, _SAMPLES, _BITS, _ROWS, _PHOTOMETRIC = 274, 277, 258, 278, 262
_MOST_KINDS = 8  # of pictures in one AVIF: the picture, its alpha
_TILE_WIDTH, _TILE_HEIGHT, _STRIPS_APART, _YCBCR = 322, 323, 284, 6


class _Lean(ImageFile.ImageFile):
    """Lets go of its decoder, with all that holds, before what came out of it is copied once more."""

    def load_prepare(self) -> None:
        self._decoder = None
        super().load_prepare()


class _LeanWebP(_Lean, WebPImagePlugin.WebPImageFile):
    """WebP."""


class _LeanAvif(_Lean, AvifImagePlugin.AvifImageFile):
    """AVIF."""


def as_file(data: Content) -> IO[bytes]:
    """What Pillow may read from, nothing copied."""
    if isinstance(data, bytes):
        return io.BytesIO(data)
    data.seek(0)
    return cast(IO[bytes], data)  # as far as Pillow asks


def lean(kind: ArtKind, data: Content) -> ImageFile.ImageFile:
    """A picture of that kind as Pillow opens it, whatever its size."""
    own = {"webp": _LeanWebP, "avif": _LeanAvif}.get(kind)
    return own(as_file(data)) if own else Image.open(as_file(data), formats=(PILLOW_NAMES[kind],))


@contextmanager
def opened_by_pillow(kind: ArtKind, data: Content, file: str, limits: ArtLimits) -> Iterator[ImageFile.ImageFile]:
    """A picture of that kind, not decoded yet. Raises ArtTooLarge or BadArt, naming ``file``, for its size and shape
    and for what its decoder would take; and whatever Pillow raises."""
    with lean(kind, data) as image:
        check_pixels(file, *image.size, limits)
        check_decoding(file, KIND_LABELS[kind], *image.size, decoding_bytes(image, data), limits)
        yield image


def decoding_bytes(image: Image.Image, data: Content) -> int:
    """What an opened picture and its decoder will hold together at the worst moment."""
    pixels = image.width * image.height
    own = pixels * (1 if image.mode in _ONE_BYTE else 2 if image.mode.startswith(_TWO_BYTES) else 4)
    if isinstance(image, WebPImagePlugin.WebPImageFile):
        return WEBP_BYTES * pixels
    if isinstance(image, AvifImagePlugin.AvifImageFile):
        # With grain half a byte more was measured.
        return round(pixels * (_planes(data) + 2 * len(image.getbands()) + 0.5))
    if isinstance(image, TiffImagePlugin.TiffImageFile):
        turned = own if image.tag_v2.get(_ORIENTATION, 1) != 1 else 0
        return own + max(turned, _strip_bytes(image))
    if isinstance(image, JpegImagePlugin.JpegImageFile):
        return own + round(_coefficients(image, data) * 2 * pixels)
    return own


def _coefficients(image: JpegImagePlugin.JpegImageFile, data: Content) -> float:
    """How many of a pixel a JPEG's decoder keeps: none where one scan holds them all."""
    factors = [(across, down) for _, across, down, _ in image.layer]
    if not image.info.get("progressive") and _scans_hold(data) in (0, len(factors)):
        return 0.0
    most = max(across for across, _ in factors) * max(down for _, down in factors)
    return sum(across * down for across, down in factors) / most


def _scans_hold(data: Content) -> int:
    """Components in the first scan (ITU-T T.81, B.2.3); 0 where none is found."""
    at = data.find(b"\xff\xda")
    return data[at + 4] if 0 <= at < len(data) - 4 else 0


def _strip_bytes(image: TiffImagePlugin.TiffImageFile) -> int:
    tags = image.tag_v2
    width, height = tags.get(_TILE_WIDTH) or image.width, tags.get(_TILE_HEIGHT) or tags.get(_ROWS) or image.height
    if tags.get(_TILE_WIDTH) is None:
        # As it is stored, which may be another way round than it is seen.
        width, height = max(image.size), min(int(height), max(image.size))
    bits = tags.get(_BITS, (1,))
    each = max(bits if isinstance(bits, tuple) else (bits,))
    samples = 1 if tags.get(_STRIPS_APART, 1) == 2 else int(tags.get(_SAMPLES, 1))
    of_a_pixel = 4.0 if tags.get(_PHOTOMETRIC) == _YCBCR else samples * each / 8
    return min(round(int(width) * int(height) * of_a_pixel), round(image.width * image.height * of_a_pixel))


def _planes(data: Content) -> float:
    """Bytes of a pixel that an AVIF's planes hold, by its codec configurations (AV1 in ISOBMFF, 2.3.3). Whether grain
    is laid on them stands deeper, so that those of colour count twice."""
    kinds, at = set[int](), data.find(b"av1C")
    while at >= 0 and len(kinds) < _MOST_KINDS:
        kinds.add(data[at + 6] & 0x7C if at + 6 < len(data) else 0x40)
        at = data.find(b"av1C", at + 4)
    found = 0.0
    for flags in kinds or {0x40}:
        deep, grey, across, down = flags & 0x40, flags & 0x10, flags & 0x08, flags & 0x04
        samples = 1.0 if grey else 2 * (1 + 2 / ((2 if across else 1) * (2 if down else 1)))
        found += samples * (2 if deep else 1)
    return found
