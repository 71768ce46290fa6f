"""The work that needs pixels: a full decode to be sure of a file, the colour of its edge, a thumbnail.

Pillow and MuPDF do the decoding. A server calls this only in a process that it can end.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from pathlib import Path

from PIL import Image, ImageChops

import server.formats.pillow_art  # noqa: F401  (puts our own pixel limit in the place of Pillow's)
from server.core.art import Art
from server.formats.limits import DEFAULT_LIMITS
from server.formats.pdf_pages import open_pdf
from server.formats.pdf_source import load_pymupdf
from server.formats.refusal import check_pixels, damaged, refusing

FORMATS = ("PNG", "JPEG", "WEBP", "TIFF", "AVIF")  # what Pillow may take bytes for, whatever the file's name
_ADOBE = "adobe"  # Pillow's name for the marker of that program in a JPEG
# The edge's colour is sampled at about this size: a card's edge is then some 2,000 pixels, and noise is averaged.
_SAMPLE_PX = 600
_WEBP_QUALITY = 82
# EXIF orientation (CIPA DC-008): what brings the stored picture upright.
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_270, 7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


def verify(path: Path, art: Art) -> None:
    """Decode the whole of ``art``. Raises Unreadable (as BadArt), naming it, if a decoder finds it broken."""
    with refusing(art.file):
        if art.is_vector:
            _page(path, art, _SAMPLE_PX)
            return
        with _open(path, art) as image:
            image.load()


def upright(path: Path, art: Art, longest_px: int | None = None) -> Image.Image:
    """``art`` as it is seen: turned upright, on white, in RGB; the first frame of an animation.

    No larger than ``longest_px`` on its longer side where that is given (a PDF page exactly so large). Raises
    Unreadable, naming the art.
    """
    with refusing(art.file):
        if art.is_vector:
            return _page(path, art, longest_px or 2 * _SAMPLE_PX)
        with _open(path, art) as image:
            if longest_px:
                image.draft(None, (longest_px, longest_px))  # a JPEG decodes at a half, a quarter or an eighth
            image.load()
            picture = _straight(image)
        if longest_px and max(picture.size) > longest_px:
            picture.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
        return picture.transpose(_UPRIGHT[art.orientation]) if art.orientation in _UPRIGHT else picture


def thumbnail(path: Path, art: Art, longest_px: int) -> bytes:
    """A WebP of ``art`` as it is seen, ``longest_px`` on its longer side at most. Raises Unreadable, naming it."""
    picture = upright(path, art, longest_px)
    with refusing(art.file):
        out = io.BytesIO()
        picture.save(out, "WEBP", quality=_WEBP_QUALITY, method=2)
        return out.getvalue()


def edge_rgb(path: Path, art: Art) -> tuple[int, int, int]:
    """The colour along the four edges of ``art``, each channel's median. Raises Unreadable, naming the art."""
    picture = upright(path, art, _SAMPLE_PX)
    width, height = picture.size
    strips = (picture.crop((0, 0, width, 1)), picture.crop((0, height - 1, width, height)),
              picture.crop((0, 0, 1, height)), picture.crop((width - 1, 0, width, height)))
    counts = [0] * 768
    for strip in strips:
        counts = [total + more for total, more in zip(counts, strip.histogram(), strict=True)]
    red, green, blue = (_median(counts[start:start + 256]) for start in (0, 256, 512))
    return red, green, blue


def _median(counts: Iterable[int]) -> int:
    values = list(counts)
    half, seen = sum(values) / 2, 0
    for value, count in enumerate(values):
        seen += count
        if seen >= half:
            return value
    return 0


def _open(path: Path, art: Art) -> Image.Image:
    """The file, nothing decoded yet. A size that the reader has passed may be decoded; any other meets the limit."""
    image = Image.open(path, formats=FORMATS)
    try:
        if image.size != (art.width_px, art.height_px):
            check_pixels(art.file, *image.size, DEFAULT_LIMITS)
    except Exception:
        image.close()
        raise
    return image


def _straight(image: Image.Image) -> Image.Image:
    """The picture in RGB, alpha laid on white; itself where it is so already."""
    if image.mode == "RGB" and "transparency" not in image.info:
        return image
    if image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        layer = image.convert("RGBA")
        return Image.alpha_composite(Image.new("RGBA", layer.size, "white"), layer).convert("RGB")
    if image.mode.startswith("I;16"):
        return image.convert("I").point(lambda value: value / 257).convert("L").convert("RGB")
    if image.mode == "CMYK" and image.format == "JPEG" and _ADOBE not in image.info:
        # Pillow turns every CMYK JPEG's values over, which is right only for those with that marker.
        return ImageChops.invert(image).convert("RGB")
    return image.convert("RGB")


def _page(path: Path, art: Art, longest_px: int) -> Image.Image:
    pymupdf = load_pymupdf()
    source = open_pdf(path, art.file)
    try:
        if art.page >= source.page_count:
            raise damaged(art.file, "the page isn't there")
        page = source.document.load_page(art.page)
        scale = longest_px / max(page.rect.width, page.rect.height)
        # Whole pixels each way, or the last row and column are blended with what lies beyond the page.
        across, down = (max(1, round(side * scale)) / side for side in (page.rect.width, page.rect.height))
        drawn = page.get_pixmap(matrix=pymupdf.Matrix(across, down), alpha=False, colorspace=pymupdf.csRGB,
                                annots=False)
        return Image.frombytes("RGB", (drawn.width, drawn.height), drawn.samples)
    finally:
        source.close()
