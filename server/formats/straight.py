"""What a decoded picture needs to be seen (RGB, alpha laid on white) or to be held by a PDF, a band of rows at a time.

So a large picture is held once, as its decoder gave it, and beside it a few megabytes.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator

from PIL import Image, ImageChops

from server.formats.png_colour import profile_for

WITH_ALPHA = ("RGBA", "LA", "PA", "La", "RGBa")
BAND_PX = 1 << 20
_ADOBE = "adobe"  # Pillow's name for the marker of that program in a JPEG
_PLAIN = ("1", "L", "P", "RGB", "CMYK", "I;16")

# What is to be done to a picture, or alike to any band of its rows.
Change = Callable[[Image.Image], Image.Image]


def bands(image: Image.Image, rows_of: int = 1) -> Iterator[tuple[int, Image.Image]]:
    """(first row, those rows) from the top down, each band of a multiple of ``rows_of``, but for the last; a small
    picture as it is."""
    width, height = image.size
    rows = max(1, BAND_PX // width // rows_of) * rows_of
    if rows >= height:
        yield 0, image
        return
    for top in range(0, height, rows):
        yield top, image.crop((0, top, width, min(top + rows, height)))


def straight(image: Image.Image) -> Image.Image:
    """The picture in RGB as it is meant to be seen, alpha laid on white; itself where it is so already."""
    change = straightening(image)
    if change is None:
        return image
    out = Image.new("RGB", image.size)
    for top, band in bands(image):
        out.paste(change(band), (0, top))
    return out


def straightening(image: Image.Image) -> Change | None:
    """What makes ``image`` ``straight``; None where it is."""
    by_word = by_its_word(image)
    if by_word is None:
        return _straightening(image)
    # The profile's change leaves RGB or RGBA, whose colours are as they should be.
    return lambda band: _on_white(by_word(band))


def _straightening(image: Image.Image) -> Change | None:
    if image.mode == "RGB" and "transparency" not in image.info:
        return None
    if image.mode in WITH_ALPHA or "transparency" in image.info:
        return _on_white
    if image.mode.startswith("I;16"):
        return lambda band: band.convert("I").point(lambda value: value / 257).convert("L").convert("RGB")
    if image.mode == "CMYK" and image.format == "JPEG" and _ADOBE not in image.info:
        # Pillow turns every CMYK JPEG's values over, which is right only for those with that marker.
        return lambda band: ImageChops.invert(band).convert("RGB")
    printing = printable(image)
    return lambda band: (printing(band) if printing else band).convert("RGB")


def _on_white(band: Image.Image) -> Image.Image:
    if band.mode == "RGB" and "transparency" not in band.info:
        return band
    layer = band.convert("RGBA")
    return Image.alpha_composite(Image.new("RGBA", layer.size, "white"), layer).convert("RGB")


def by_its_word(image: Image.Image) -> Change | None:
    """What brings a PNG that says by gAMA and cHRM how its colours are meant to sRGB, as RGB or RGBA."""
    info = image.info
    if image.format != "PNG" or info.keys().isdisjoint(("gamma", "chromaticity")):
        return None
    profile = None if "srgb" in info or "icc_profile" in info else profile_for(
        info.get("gamma"), info.get("chromaticity") or (), is_grey=False)
    if profile is None:
        return None
    from PIL import ImageCms

    mode = "RGBA" if image.mode in WITH_ALPHA or "transparency" in info else "RGB"
    change = by_profile(ImageCms.ImageCmsProfile(io.BytesIO(profile)), mode, mode)
    return lambda band: change(band.convert(mode))


def by_profile(profile: object, given: str, wanted: str) -> Change:
    """What brings a picture of mode ``given``, whose colours are those of ``profile``, to sRGB in mode ``wanted``."""
    from PIL import ImageCms

    turn = ImageCms.buildTransform(profile, ImageCms.createProfile("sRGB"), given, wanted)  # type: ignore[arg-type]
    return lambda band: ImageCms.applyTransform(band, turn) or band


def printable(picture: Image.Image) -> Change | None:
    """What brings ``picture`` to one of the modes 1, L, P, RGB, CMYK and I;16, which a PDF can hold; None where it is.

    Alpha is somebody else's.
    """
    mode = picture.mode
    if mode in _PLAIN:
        return None
    if mode in ("I", "F", "I;16B", "I;16L", "I;16N"):
        return _narrowing(picture)
    if mode == "LAB":
        from PIL import ImageCms

        return by_profile(ImageCms.createProfile("LAB"), "LAB", "RGB")
    return lambda band: band.convert("RGB")


def _narrowing(picture: Image.Image) -> Change:
    """Wide grey samples as 8 bits. No file says what their white is, so the nearest usual scale above them is taken;
    below zero is black."""
    values = [float(value) for _, band in bands(picture) for value in band.convert("F").getextrema()
              if isinstance(value, int | float)]
    brightest = max((value for value in values if abs(value) < 1e30), default=1.0)
    usual = [scale for scale in (1.0, 255.0, 65535.0, 4294967295.0) if brightest <= scale]
    factor = 255.0 / (usual[0] if usual else brightest)
    return lambda band: band.convert("F").point(lambda value: value * factor + 0.5).convert("L")
