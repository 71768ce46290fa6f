"""The work that needs pixels: a full decode to be sure of a file, the colour of its edge, a thumbnail.

Pillow and MuPDF do the decoding. A server calls this only in a process that it can end.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from PIL import Image, ImageChops

from server.core.art import Art
from server.core.edge_bleed import ArtEdges, Rgb
from server.formats.apart import apart
from server.formats.edge_look import LOOK_PX, look_along
from server.formats.header import content_of
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.formats.pdf_pages import open_pdf
from server.formats.pdf_source import load_pymupdf
from server.formats.png_colour import profile_for
from server.formats.refusal import check_pixels, damaged, refusing
from server.formats.webp_tiff_avif import PILLOW_NAMES, as_file

_ADOBE = "adobe"  # Pillow's name for the marker of that program in a JPEG
# A page is drawn so large where nothing else is asked for: some 300 ppi for a card, and twice a thumbnail.
PAGE_PX = 1024
_EDGE_PX = 2
_BAND_ROWS = 512
_WEBP_QUALITY = 82
# EXIF orientation (CIPA DC-008): what brings the stored picture upright.
UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_270, 7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
WITH_ALPHA = ("RGBA", "LA", "PA", "La", "RGBa")


@contextmanager
def loaded(path: Path, art: Art, limits: ArtLimits, draft_px: int | None = None) -> Iterator[Image.Image]:
    """The first picture of a file, decoded whole; of a JPEG that ``draft_px`` allows for, at a half or less.

    Raises BadArt or ArtTooLarge, naming the art. A size that the reader has passed may be decoded; any other, such as
    that of a file which has changed meanwhile, meets the limit again.
    """
    names = (PILLOW_NAMES[art.kind],)
    with refusing(art.file), Image.open(as_file(content_of(path)), formats=names) as image:
        if image.size != (art.width_px, art.height_px):
            check_pixels(art.file, *image.size, limits)
        if draft_px:
            image.draft(None, (draft_px, draft_px))
        image.load()
        yield image


def verify(path: Path, art: Art, limits: ArtLimits = DEFAULT_LIMITS) -> None:
    """Decode the whole of ``art``. Raises Unreadable (as BadArt), naming it, if a decoder finds it broken."""
    if art.is_vector:
        apart(art.file, _page_edges, path, art)
        return
    with loaded(path, art, limits):
        pass


def upright(path: Path, art: Art, longest_px: int | None = None, limits: ArtLimits = DEFAULT_LIMITS) -> Image.Image:
    """``art`` as it is seen: turned upright, on white, in RGB; the first frame of an animation.

    No larger than ``longest_px`` on its longer side where that is given (a PDF page exactly so large). Raises
    Unreadable, naming the art.
    """
    if art.is_vector:
        return apart(art.file, _drawn, path, art, longest_px or PAGE_PX)
    with loaded(path, art, limits, longest_px) as image:
        return _turned(straight(image), art, longest_px)


def rough(path: Path, art: Art, about_px: int, limits: ArtLimits = DEFAULT_LIMITS) -> Image.Image:
    """``upright``, but as large as comes quickest: at least ``about_px`` on its longer side, less than twice that.

    Smaller where it has no more. Raises Unreadable, naming the art.
    """
    if art.is_vector:
        return upright(path, art, about_px, limits)
    with loaded(path, art, limits, about_px) as image:
        times = max(image.size) // about_px
        return _turned(straight(image).reduce(times) if times > 1 else straight(image).copy(), art, None)


def thumbnail(path: Path, art: Art, longest_px: int, limits: ArtLimits = DEFAULT_LIMITS) -> bytes:
    """A WebP of ``art`` as it is seen, ``longest_px`` on its longer side at most. Raises Unreadable, naming it."""
    return _as_webp(upright(path, art, longest_px, limits))


def edge_rgb(path: Path, art: Art, limits: ArtLimits = DEFAULT_LIMITS) -> Rgb:
    """The colour along the four edges of ``art``, each channel's median. Raises Unreadable, naming the art."""
    return edges_of(path, art, limits).rgb


def edges_of(path: Path, art: Art, limits: ArtLimits = DEFAULT_LIMITS) -> ArtEdges:
    """What lies along the edges of ``art`` as it is seen. Raises Unreadable, naming the art."""
    if art.is_vector:
        return apart(art.file, _page_edges, path, art)
    with loaded(path, art, limits) as image:
        return _edges(straight(image), art)


def _edges(picture: Image.Image, art: Art | None) -> ArtEdges:
    rgb = edge_colour(picture)
    return look_along(_turned(picture, art, LOOK_PX) if art else _shrunk(picture, LOOK_PX), rgb)


def survey(path: Path, arts: Iterable[Art], longest_px: int, limits: ArtLimits) -> Iterator[tuple[ArtEdges, bytes]]:
    """(edges, thumbnail) of each of a file's arts, the file opened and each picture decoded only once.

    Raises Unreadable, naming the art that a decoder finds broken.
    """
    arts = tuple(arts)
    if arts and arts[0].is_vector:
        with _pages(path, arts[0]) as document:
            for art in arts:
                page = _page(document, art, PAGE_PX)
                small = _shrunk(page, LOOK_PX)
                yield look_along(small, edge_colour(page)), _as_webp(_shrunk(small, longest_px))
        return
    for art in arts:
        with loaded(path, art, limits) as image:
            picture = straight(image)
            small = _turned(picture, art, LOOK_PX)
            yield look_along(small, edge_colour(picture)), _as_webp(_shrunk(small, longest_px))


def edge_colour(picture: Image.Image) -> Rgb:
    """Each channel's median along the four edges of an RGB picture."""
    width, height = picture.size
    across, down = min(_EDGE_PX, width), min(_EDGE_PX, height)
    strips = (picture.crop((0, 0, width, down)), picture.crop((0, height - down, width, height)),
              picture.crop((0, 0, across, height)), picture.crop((width - across, 0, width, height)))
    counts = [sum(values) for values in zip(*(strip.histogram() for strip in strips), strict=True)]
    red, green, blue = (_median(counts[start:start + 256]) for start in (0, 256, 512))
    return red, green, blue


def _median(counts: list[int]) -> int:
    half, seen = sum(counts) / 2, 0
    for value, count in enumerate(counts):
        seen += count
        if seen >= half:
            return value
    return 0


def _shrunk(picture: Image.Image, longest_px: int | None) -> Image.Image:
    longest = max(picture.size)
    if not longest_px or longest <= longest_px:
        return picture
    across, down = (max(1, round(side * longest_px / longest)) for side in picture.size)
    # Of more than 2.8 pixels to one whole ones are averaged first: half the time, and no difference to the eye.
    return picture.resize((across, down), Image.Resampling.HAMMING, reducing_gap=1.4)


def _turned(picture: Image.Image, art: Art, longest_px: int | None) -> Image.Image:
    small = _shrunk(picture, longest_px)
    return small.transpose(UPRIGHT[art.orientation]) if art.orientation in UPRIGHT else small


def _as_webp(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "WEBP", quality=_WEBP_QUALITY, method=2)
    return out.getvalue()


def straight(image: Image.Image) -> Image.Image:
    """The picture in RGB as it is meant to be seen, alpha laid on white; itself where it is so already."""
    if image.format == "PNG" and not image.info.keys().isdisjoint(("gamma", "chromaticity")):
        image = by_its_word(image)
    if image.mode == "RGB" and "transparency" not in image.info:
        return image
    if image.mode in WITH_ALPHA or "transparency" in image.info:
        return _on_white(image)
    if image.mode.startswith("I;16"):
        return image.convert("I").point(lambda value: value / 257).convert("L").convert("RGB")
    if image.mode == "CMYK" and image.format == "JPEG" and _ADOBE not in image.info:
        # Pillow turns every CMYK JPEG's values over, which is right only for those with that marker.
        return ImageChops.invert(image).convert("RGB")
    return printable(image).convert("RGB")


def _on_white(image: Image.Image) -> Image.Image:
    """In bands of rows: a large picture is held twice, as it came and as it goes, and not five times."""
    (width, height), out = image.size, Image.new("RGB", image.size)
    for top in range(0, height, _BAND_ROWS):
        layer = image.crop((0, top, width, min(top + _BAND_ROWS, height))).convert("RGBA")
        out.paste(Image.alpha_composite(Image.new("RGBA", layer.size, "white"), layer).convert("RGB"), (0, top))
    return out


def by_its_word(image: Image.Image) -> Image.Image:
    """A PNG that says by gAMA and cHRM how its colours are meant, in sRGB."""
    info = image.info
    profile = None if "srgb" in info or "icc_profile" in info else profile_for(
        info.get("gamma"), info.get("chromaticity") or (), is_grey=False)
    if profile is None:
        return image
    from PIL import ImageCms

    picture = image.convert("RGBA" if image.mode in WITH_ALPHA or "transparency" in info else "RGB")
    return ImageCms.profileToProfile(picture, ImageCms.ImageCmsProfile(io.BytesIO(profile)),
                                     ImageCms.createProfile("sRGB")) or picture


def printable(picture: Image.Image) -> Image.Image:
    """Brought to one of the modes 1, L, P, RGB, CMYK and I;16, which a PDF can hold; alpha is somebody else's."""
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


def _narrowed(picture: Image.Image) -> Image.Image:
    """Wide grey samples as 8 bits. No file says what their white is, so the nearest usual scale above them is taken;
    below zero is black."""
    wide = picture.convert("F")
    values = [float(value) for value in wide.getextrema() if isinstance(value, int | float)]
    brightest = max((value for value in values if abs(value) < 1e30), default=1.0)
    usual = [scale for scale in (1.0, 255.0, 65535.0, 4294967295.0) if brightest <= scale]
    factor = 255.0 / (usual[0] if usual else brightest)
    return wide.point(lambda value: value * factor + 0.5).convert("L")


def _drawn(path: Path, art: Art, longest_px: int) -> Image.Image:
    with _pages(path, art, art.page) as document:
        return _page(document, art, longest_px)


def _page_edges(path: Path, art: Art) -> ArtEdges:
    return _edges(_drawn(path, art, PAGE_PX), None)


@contextmanager
def _pages(path: Path, art: Art, page: int | None = None) -> Iterator[Any]:
    with refusing(art.file), closing(open_pdf(path, art.file, kind=art.kind, page=page)) as source:
        yield source.document


def _page(document: Any, art: Art, longest_px: int) -> Image.Image:
    if art.page >= document.page_count:
        raise damaged(art.file, "the page isn't there")
    pymupdf = load_pymupdf()
    page = document.load_page(art.page)
    scale = longest_px / max(page.rect.width, page.rect.height)
    # Whole pixels each way, or the last row and column are blended with what lies beyond the page.
    across, down = (max(1, round(side * scale)) / side for side in (page.rect.width, page.rect.height))
    # Drawn as it is read: the library's own way keeps a list of all that is drawn first, which a page that draws one
    # form in another over and over makes as long as it likes.
    drawn = pymupdf.Pixmap("raw", pymupdf.mupdf.fz_new_pixmap_from_page_contents(
        pymupdf.mupdf.FzPage(page.this), pymupdf.mupdf.FzMatrix(across, 0, 0, down, 0, 0),
        pymupdf.mupdf.FzColorspace(pymupdf.mupdf.FzColorspace.Fixed_RGB), 0))
    return Image.frombytes("RGB", (drawn.width, drawn.height), drawn.samples)
