"""Art that can't go into a PDF as it is: decoded by Pillow and compressed once, as the rows of a PNG."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING

from server.core.art import Art
from server.drawing.pdf_png import Png, read_png
from server.errors import LampfoldError, Unreadable

if TYPE_CHECKING:
    from PIL.Image import Image

_FORMATS: dict[str, str] = {"png": "PNG", "jpeg": "JPEG", "webp": "WEBP", "tiff": "TIFF", "avif": "AVIF"}
EXPORT_AGAIN = "Export it again from the program that made it, or copy it anew."


def decoded(art: Art, data: memoryview,
            check_size: Callable[[Art, int, int], None], depth: int = 8) -> tuple[Png, Png | None, bytes | None]:
    """Colour, alpha (None where all is opaque) and profile of art that can't go in as it is.

    ``check_size`` gets the art and its pixels before they are decoded, and may raise; ``depth`` is that of a PNG's
    samples. Raises Unreadable, naming the file.
    """
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd metadata, which isn't used
            with Image.open(io.BytesIO(data), formats=(_FORMATS[art.kind],)) as picture:
                check_size(art, *picture.size)
                profile = picture.info.get("icc_profile")
                picture.load()
                colour, alpha = _split(picture, depth)
                return _as_png(colour), _as_png(alpha) if alpha else None, profile
    except LampfoldError:
        raise
    except Exception as error:  # decoders raise whatever they stumble over
        raise Unreadable(f"{art.file}: can't be decoded ({type(error).__name__}: {error}).", EXPORT_AGAIN) from error


def _split(picture: Image, depth: int) -> tuple[Image, Image | None]:
    """The colours in a mode that a PNG can carry (or CMYK), and the alpha unless all is opaque."""
    if picture.mode in ("RGBa", "La"):
        picture = picture.convert(picture.mode.upper())
    alpha: Image | None = None
    if picture.mode in ("RGBA", "LA", "PA"):
        alpha = picture.getchannel("A")
        picture = picture.convert({"RGBA": "RGB", "LA": "L", "PA": "RGB"}[picture.mode])
    elif "transparency" in picture.info and picture.mode in ("1", "L", "P", "RGB", "I;16"):
        alpha = _keyed_alpha(picture, depth)
        picture = picture.copy()
        del picture.info["transparency"]
    if alpha is not None and alpha.getextrema() == (255, 255):
        alpha = None
    return _plain(picture), alpha


def _keyed_alpha(picture: Image, depth: int) -> Image:
    """The alpha of a picture whose ``transparency`` names clear colours.

    Pillow widens narrow samples to 8 bits and halves wide RGB, but leaves the key as it is in the file.
    """
    from PIL import Image

    key = picture.info["transparency"]
    if picture.mode == "I;16":
        samples = memoryview(picture.tobytes()).cast("H")
        return Image.frombytes("L", picture.size, bytes(0 if sample == key else 255 for sample in samples))
    keyed = picture.copy()
    if isinstance(key, int) and picture.mode == "L" and depth < 8:
        keyed.info["transparency"] = key * 255 // (2 ** depth - 1)
    elif isinstance(key, tuple) and depth == 16:
        keyed.info["transparency"] = tuple(sample >> 8 for sample in key)
    return keyed.convert("RGBA").getchannel("A")


def _plain(picture: Image) -> Image:
    """Brought to one of 1, L, P, RGB, CMYK, I;16."""
    mode = picture.mode
    if mode in ("1", "L", "P", "RGB", "CMYK", "I;16"):
        return picture
    if mode in ("I", "F", "I;16B", "I;16L", "I;16N"):
        return _narrowed(picture)
    if mode == "LAB":
        from PIL import ImageCms

        lab, srgb = ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB")
        return ImageCms.profileToProfile(picture, lab, srgb, outputMode="RGB") or picture
    return picture.convert("RGB")


def _narrowed(picture: Image) -> Image:
    """Wide grey samples as 8 bits. No file says what their white is, so the nearest usual scale above them is taken."""
    wide = picture.convert("F")
    brightest = max(float(value) for value in wide.getextrema() if isinstance(value, int | float))
    usual = [scale for scale in (1.0, 255.0, 65535.0, 4294967295.0) if brightest <= scale]
    factor = 255.0 / (usual[0] if usual else brightest)
    return wide.point(lambda value: value * factor + 0.5).convert("L")


def _as_png(picture: Image) -> Png:
    """Compressed once, as the rows of a PNG. CMYK travels as the four channels that a PNG would call RGBA."""
    from PIL import Image

    if picture.mode == "CMYK":
        picture = Image.frombytes("RGBA", picture.size, picture.tobytes())
    packed = io.BytesIO()
    picture.save(packed, "PNG", compress_level=6, icc_profile=None)
    return read_png(memoryview(packed.getvalue()))
