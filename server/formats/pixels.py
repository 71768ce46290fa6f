"""The work that needs pixels: a full decode to be sure of a file, the colour of its edge, a thumbnail.

Pillow and MuPDF do the decoding. A server calls this only in a process that it can end.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from PIL import Image

from server.core.art import Art
from server.core.edge_bleed import ArtEdges, Rgb
from server.formats.apart import apart
from server.formats.decoding import opened_by_pillow
from server.formats.edge_look import LOOK_PX, look_along
from server.formats.header import content_of
from server.formats.limits import DEFAULT_LIMITS, ArtLimits, damaged, refusing
from server.formats.pdf_pages import open_pdf
from server.formats.pdf_source import load_pymupdf
from server.formats.straight import Change, bands, straight, straightening

# A page is drawn so large where nothing else is asked for: some 300 ppi for a card, and twice a thumbnail.
PAGE_PX = 1024
_EDGE_PX = 2
_WEBP_QUALITY = 82
_GAP = 1.4
# EXIF orientation (CIPA DC-008): what brings the stored picture upright.
UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_270, 7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_ON_ITS_SIDE, _FROM_THE_END = 5, (3, 4, 6, 7)  # rows become columns; the first row comes last
# Of a larger JPEG half the pixels each way or fewer are decoded to look at it: a picture of 64 megapixels is 256 MB.
_LARGE_PX, _LARGE_LOOK_PX = 16_000_000, 2 * LOOK_PX


@contextmanager
def loaded(path: Path, art: Art, limits: ArtLimits, draft_px: int | None = None) -> Iterator[Image.Image]:
    """The first picture of a file, decoded whole; of a JPEG that ``draft_px`` allows for, at a half or less.

    Raises BadArt or ArtTooLarge, naming the art. A size that the reader has passed may be decoded; any other, such as
    that of a file which has changed meanwhile, meets the limit again.
    """
    with refusing(art.file), opened_by_pillow(art.kind, content_of(path), art.file, limits) as image:
        if draft_px:
            image.draft(None, (draft_px, draft_px))
        image.load()
        yield image


def verify(path: Path, art: Art, limits: ArtLimits = DEFAULT_LIMITS) -> None:
    """Decode the whole of ``art``. Raises Unreadable (as BadArt), naming it, if a decoder finds it broken."""
    if art.is_vector:
        apart(art.file, _page_edges, path, art)
        return
    with loaded(path, art, limits, 1):  # the bits of a JPEG are read all the same
        pass


def upright(path: Path, art: Art, longest_px: int | None = None, limits: ArtLimits = DEFAULT_LIMITS) -> Image.Image:
    """``art`` as it is seen: turned upright, on white, in RGB; the first frame of an animation.

    No larger than ``longest_px`` on its longer side where that is given (a PDF page exactly so large). Raises
    Unreadable, naming the art.
    """
    if art.is_vector:
        return apart(art.file, _drawn, path, art, longest_px or PAGE_PX)
    with loaded(path, art, limits, longest_px) as image:
        return _turned(_small(image, longest_px), art) if longest_px else _whole(image, art)


def rough(path: Path, art: Art, about_px: int, limits: ArtLimits = DEFAULT_LIMITS) -> Image.Image:
    """``upright``, but as large as comes quickest: at least ``about_px`` on its longer side, less than twice that.

    Smaller where it has no more. Raises Unreadable, naming the art.
    """
    if art.is_vector:
        return upright(path, art, about_px, limits)
    with loaded(path, art, limits, about_px) as image:
        times = max(image.size) // about_px
        return _turned(_reduced(image, times, times) if times > 1 else straight(image).copy(), art)


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
    with loaded(path, art, limits, _look_px(art)) as image:
        return _edges(image, art)


def _look_px(art: Art) -> int | None:
    return _LARGE_LOOK_PX if art.width_px * art.height_px > _LARGE_PX else None


def _edges(picture: Image.Image, art: Art | None) -> ArtEdges:
    small = _small(picture, LOOK_PX)
    return look_along(_turned(small, art) if art else small, edge_colour(picture))


def survey(path: Path, arts: Iterable[Art], longest_px: int, limits: ArtLimits) -> Iterator[tuple[ArtEdges, bytes]]:
    """(edges, thumbnail) of each of a file's arts, the file opened and each picture decoded only once.

    Raises Unreadable, naming the art that a decoder finds broken.
    """
    arts = tuple(arts)
    if arts and arts[0].is_vector:
        with _pages(path, arts[0]) as document:
            for art in arts:
                page = _page(document, art, PAGE_PX)
                small = _small(page, LOOK_PX)
                yield look_along(small, edge_colour(page)), _as_webp(_small(small, longest_px))
        return
    for art in arts:
        with loaded(path, art, limits, _look_px(art)) as image:
            small = _turned(_small(image, LOOK_PX), art)
            yield look_along(small, edge_colour(image)), _as_webp(_small(small, longest_px))


def edge_colour(picture: Image.Image) -> Rgb:
    """Each channel's median along the four edges of a picture as it is seen."""
    width, height = picture.size
    across, down = min(_EDGE_PX, width), min(_EDGE_PX, height)
    change = straightening(picture)
    strips = (picture.crop(box) for box in ((0, 0, width, down), (0, height - down, width, height),
                                            (0, 0, across, height), (width - across, 0, width, height)))
    counts = [sum(values) for values in zip(*((change(strip) if change else strip).histogram() for strip in strips),
                                            strict=True)]
    red, green, blue = (_median(counts[start:start + 256]) for start in (0, 256, 512))
    return red, green, blue


def _median(counts: list[int]) -> int:
    half, seen = sum(counts) / 2, 0
    for value, count in enumerate(counts):
        seen += count
        if seen >= half:
            return value
    return 0


def _small(image: Image.Image, longest_px: int) -> Image.Image:
    """``straight``, and no larger than that."""
    width, height = image.size
    if max(width, height) <= longest_px:
        return straight(image)
    across, down = (max(1, round(side * longest_px / max(width, height))) for side in (width, height))
    # Of more than 2.8 pixels to one whole ones are averaged first: half the time, and no difference to the eye.
    wide, high = max(1, int(width / across / _GAP)), max(1, int(height / down / _GAP))
    return _reduced(image, wide, high).resize((across, down), Image.Resampling.HAMMING,
                                              (0, 0, width / wide, height / high))


def _reduced(image: Image.Image, wide: int, high: int) -> Image.Image:
    """``straight``, each so many pixels averaged to one."""
    change = straightening(image)
    if wide == high == 1:
        return straight(image)
    if change is None:
        return image.reduce((wide, high))
    out = Image.new("RGB", (-(-image.width // wide), -(-image.height // high)))
    for top, band in bands(image, high):
        out.paste(change(band).reduce((wide, high)), (0, top // high))
    return out


def _turned(small: Image.Image, art: Art) -> Image.Image:
    return small.transpose(UPRIGHT[art.orientation]) if art.orientation in UPRIGHT else small


def _whole(image: Image.Image, art: Art) -> Image.Image:
    """``straight`` and upright in its full size, with no more than one copy beside what was decoded."""
    if art.orientation not in UPRIGHT:
        return straight(image)
    change: Change = straightening(image) or (lambda band: band)
    out = Image.new("RGB", (image.height, image.width) if art.orientation >= _ON_ITS_SIDE else image.size)
    for top, band in bands(image):
        piece = change(band).transpose(UPRIGHT[art.orientation])
        at = image.height - top - band.height if art.orientation in _FROM_THE_END else top
        out.paste(piece, (at, 0) if art.orientation >= _ON_ITS_SIDE else (0, at))
    return out


def _as_webp(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "WEBP", quality=_WEBP_QUALITY, method=2)
    return out.getvalue()


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
