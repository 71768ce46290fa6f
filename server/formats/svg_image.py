"""Pictures that an SVG carries in itself, as PDF images: a JPEG as it is, anything else decoded and packed once."""

from __future__ import annotations

import base64
import binascii
import io
import re
import warnings
import zlib
from typing import TYPE_CHECKING
from urllib.parse import unquote_to_bytes

from server.formats.header import HEAD_BYTES, kind_of
from server.formats.jpeg import read_jpeg
from server.formats.limits import WORKER_BYTES, ArtLimits, BadArt
from server.formats.svg_canvas import Canvas
from server.formats.svg_tree import CantDraw

if TYPE_CHECKING:
    from PIL.Image import Image

    from server.formats.straight import Change

_DATA = re.compile(r"data:([^,;]*)((?:;[^,;]*)*),", re.I)
_KINDS = ("png", "jpeg", "webp")
_AGAIN = "Embed it as PNG or JPEG, or save it as PDF."


def embedded(link: str) -> bytes:
    """The bytes in a ``data:`` link (RFC 2397). Raises CantDraw for any other, and for one that can't be read."""
    found = _DATA.match(link)
    if not found:
        raise CantDraw("a picture that isn't in the file", "svg-outside", _AGAIN)
    body = unquote_to_bytes(link[found.end():])
    if not found[2].lower().endswith(";base64"):
        return body
    try:
        return base64.b64decode(re.sub(rb"\s+", b"", body), validate=True)
    except (binascii.Error, ValueError):
        raise CantDraw("a picture that can't be read", "damaged", _AGAIN) from None


def put_picture(canvas: Canvas, link: str) -> tuple[int, tuple[int, int]]:
    """(number of the image object, its width and height in pixels). Raises CantDraw for what isn't drawn right."""
    data = embedded(link)
    kind = kind_of(data[:HEAD_BYTES])
    if kind not in _KINDS:
        raise CantDraw("a picture in it that is no PNG, JPEG or WebP", "svg-feature", _AGAIN)
    objects = canvas.objects
    from server.formats.decoding import decoding_bytes, lean

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd metadata, which isn't used
            with lean(kind, data) as picture:
                size = picture.size
                objects.spend_pixels(size[0] * size[1])
                if decoding_bytes(picture, data) > objects.limits.decoding_bytes - WORKER_BYTES:
                    raise CantDraw("a picture that takes too much memory to decode", "too-many-pixels",
                                   "Embed it as PNG, or scale it down.")
                picture.load()
                if kind == "jpeg" and not canvas.grey and (raw := _plain_jpeg(data, objects.limits)):
                    space = "DeviceRGB" if picture.mode == "RGB" else "DeviceGray"
                    return objects.put_stream(_entries(size, space), raw, "/DCTDecode"), size
                return _put_decoded(canvas, picture)
    except (CantDraw, BadArt):
        raise
    except Exception as error:  # decoders answer bad bytes with many types
        raise CantDraw(f"a picture that can't be decoded ({type(error).__name__})", "damaged", _AGAIN) from None


def _put_decoded(canvas: Canvas, picture: Image) -> tuple[int, tuple[int, int]]:
    from server.formats.pixels import UPRIGHT

    colours, clear = _changes(picture)
    turned = UPRIGHT.get(picture.getexif().get(0x0112, 1))
    if turned is not None:
        picture = picture.transpose(turned)
    mask, objects = "", canvas.objects
    if clear:
        alpha, extremes = _packed(picture, clear)
        if extremes != (255, 255):
            number = objects.put_stream(_entries(picture.size, "DeviceGray"), alpha, "/FlateDecode")
            mask = f" /SMask {number} 0 R"
    if canvas.grey:
        data, _ = _packed(picture, lambda band: colours(band).convert("L", (0.2125, 0.7154, 0.0721, 0.0)))
    else:
        data, _ = _packed(picture, colours)
    space = "DeviceGray" if canvas.grey else "DeviceRGB"
    return objects.put_stream(_entries(picture.size, space) + mask, data, "/FlateDecode"), picture.size


def _packed(picture: Image, change: Change) -> tuple[bytes, tuple[int, int]]:
    """What ``change`` makes of a picture, deflated, and the extremes of its first channel."""
    from server.formats.straight import bands

    packer, parts, extremes = zlib.compressobj(), [], [255, 0]
    for _, band in bands(picture):
        changed = change(band)
        low, high = changed.getchannel(0).getextrema()
        extremes = [min(extremes[0], int(low)), max(extremes[1], int(high))]  # type: ignore[arg-type]
        parts.append(packer.compress(changed.tobytes()))
    return b"".join((*parts, packer.flush())), (extremes[0], extremes[1])


def _entries(size: tuple[int, int], space: str) -> str:
    return (f"/Type /XObject /Subtype /Image /Width {size[0]} /Height {size[1]} /ColorSpace /{space} "
            "/BitsPerComponent 8 /Interpolate true")


def _changes(picture: Image) -> tuple[Change, Change | None]:
    """What gives its colours in sRGB, and its alpha (None where it has none), band by band. Raises CantDraw."""
    from server.formats.straight import WITH_ALPHA, by_its_word, by_profile, straightening

    if picture.mode == "CMYK" or getattr(picture, "n_frames", 1) > 1:
        raise CantDraw("a picture in CMYK" if picture.mode == "CMYK" else "a picture that moves", "svg-feature", _AGAIN)
    profile = picture.info.get("icc_profile")
    clear = None
    if picture.mode in WITH_ALPHA or "transparency" in picture.info:
        word = by_its_word(picture)

        def colours(band: Image) -> Image:
            return (word(band) if word else band).convert("RGBA").convert("RGB")

        def clear(band: Image) -> Image:
            return band.convert("RGBA").getchannel("A")
    else:
        straight = straightening(picture)

        def colours(band: Image) -> Image:
            return straight(band) if straight else band
    if not profile:
        return colours, clear
    from PIL import ImageCms

    own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    if "RGB" not in str(own.profile.xcolor_space):
        raise CantDraw("a picture with a colour profile that isn't of RGB", "svg-feature", _AGAIN)
    by_own = by_profile(own, "RGB", "RGB")
    return lambda band: by_own(colours(band)), clear


def _plain_jpeg(data: bytes, limits: ArtLimits) -> bytes | None:
    """The JPEG without what a camera wrote beside it, where it can be printed as it is; None where it must be decoded:
    turned by EXIF, with a profile of its own, in four colours, or odd."""
    try:
        jpeg = read_jpeg(data, "picture", limits)
    except BadArt:
        return None
    if jpeg.header.orientation != 1 or jpeg.profile or jpeg.components not in (1, 3) or jpeg.is_plain_rgb \
            or not (jpeg.passes and jpeg.ended):
        return None
    return b"".join(bytes(part) for part in jpeg.parts())
