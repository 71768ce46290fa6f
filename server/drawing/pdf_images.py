"""Art as PDF image objects: the file's own compressed data wherever that can be, else decoded and compressed once."""

from __future__ import annotations

import mmap
from dataclasses import dataclass
from pathlib import Path

from server.core.art import Art
from server.core.geometry import Affine
from server.drawing.pdf_decode import EXPORT_AGAIN, decoded
from server.drawing.pdf_file import PdfFile
from server.drawing.pdf_icc import ColourSpaces
from server.drawing.pdf_jpeg import Jpeg, read_jpeg
from server.drawing.pdf_png import Png, read_png
from server.drawing.write_behind import Buffer
from server.errors import TooMuch, Unreadable

# More than any card needs at 600 ppi, and what a home machine decodes without running short of memory.
MOST_PIXELS = 64_000_000
_UPRIGHT = Affine(a=1.0, d=-1.0, f=1.0)  # an image fills PDF's unit square with its first row at the top, y up
_END_OF_IMAGE = b"\xff\xd9"


@dataclass(frozen=True, slots=True)
class Placeable:
    """An XObject's number, and what carries its own space onto the unit square as the art is viewed (y down).

    ``translucent`` says that it has to be blended with what lies under it.
    """

    number: int
    matrix: Affine
    translucent: bool = False


class ImageWriter:
    """Writes art into ``file``, one piece at a time; ``most_pixels`` is what it may hold.

    Raises Unreadable or TooMuch, naming the file that is at fault.
    """

    def __init__(self, file: PdfFile, most_pixels: int = MOST_PIXELS) -> None:
        self._file = file
        self._most_pixels = most_pixels
        self._spaces = ColourSpaces(file)

    def add(self, art: Art, path: Path) -> Placeable:
        """Write one image."""
        data = _content(art, path)
        matrix = art.view_matrix.after(_UPRIGHT)
        parsed = _parse(art, data)
        if parsed:
            self._check_size(art, parsed.width, parsed.height)
        if isinstance(parsed, Png) and parsed.passes:
            return Placeable(self._put_png(parsed, parsed.profile), matrix)
        if isinstance(parsed, Jpeg) and parsed.passes:
            if not parsed.ended:
                decoded(art, data, self._check_size)  # raises where more than the mark is missing
            return Placeable(self._put_jpeg(parsed), matrix)
        depth = parsed.depth if isinstance(parsed, Png) else 8
        colour, alpha, profile = decoded(art, data, self._check_size, depth)
        mask = self._put_png(alpha, None) if alpha else None
        # Pillow turns a TIFF upright while it decodes it; all others come as they are stored.
        return Placeable(self._put_png(colour, profile, mask), _UPRIGHT if art.kind == "tiff" else matrix, bool(alpha))

    def _check_size(self, art: Art, width: int, height: int) -> None:
        if width * height > self._most_pixels:
            raise TooMuch(
                f"{art.file}: is {width} × {height} pixels, over the limit of {self._most_pixels / 1e6:g} megapixels.",
                "Scale it down; 300 ppi at card size is about 750 × 1050 pixels.")

    def _put_png(self, png: Png, profile: bytes | None, mask: int | None = None) -> int:
        """``png`` by its own rows. Four components are CMYK here: a decoded one is carried so, see ``_as_png``."""
        if png.indexed:
            base = self._spaces.space(3, profile)
            space = b"[/Indexed %b %d <%b>]" % (base, len(png.palette) // 3 - 1, png.palette.hex().encode("ascii"))
        else:
            space = self._spaces.space(png.components, profile)
        entries = (b"%b /BitsPerComponent %d /Filter /FlateDecode /DecodeParms <</Predictor 15 /Colors %d "
                   b"/BitsPerComponent %d /Columns %d>>%b" % (
                       _image_entries(png.width, png.height, space), png.depth, png.components, png.depth, png.width,
                       b" /SMask %d 0 R" % mask if mask else b""))
        return self._file.put_stream(entries, png.parts, checksum=png.checksum)

    def _put_jpeg(self, jpeg: Jpeg) -> int:
        entries = b"%b /BitsPerComponent 8 /Filter /DCTDecode" % _image_entries(
            jpeg.width, jpeg.height, self._spaces.space(jpeg.components, jpeg.profile))
        if jpeg.inverted:
            entries += b" /Decode [1 0 1 0 1 0 1 0]"
        if jpeg.is_plain_rgb:
            entries += b" /DecodeParms <</ColorTransform 0>>"
        parts: tuple[Buffer, ...] = jpeg.parts if jpeg.ended else (*jpeg.parts, _END_OF_IMAGE)
        return self._file.put_stream(entries, parts, checksum=jpeg.checksum)


def _image_entries(width: int, height: int, space: bytes) -> bytes:
    return b"/Type /XObject /Subtype /Image /Width %d /Height %d /ColorSpace %b" % (width, height, space)


def _content(art: Art, path: Path) -> memoryview:
    """All bytes of a file, mapped where the system can: copied straight from its cache, they take no memory here.

    The mapping ends with the last view of it.
    """
    try:
        with path.open("rb", buffering=0) as source:
            try:
                return memoryview(mmap.mmap(source.fileno(), 0, access=mmap.ACCESS_READ))
            except (OSError, ValueError):  # an empty file, or a place that can't be mapped
                return memoryview(source.readall())
    except OSError as error:
        raise Unreadable(f"{art.file}: can't be read ({error.strerror or error}).",
                         "Check that the file is still there.") from error


def _parse(art: Art, data: memoryview) -> Png | Jpeg | None:
    """PNG and JPEG taken apart; None for what only Pillow reads."""
    if art.kind not in ("png", "jpeg"):
        return None
    try:
        return read_png(data) if art.kind == "png" else read_jpeg(data)
    except ValueError as error:
        raise Unreadable(f"{art.file}: broken {art.kind.upper()}: {error}.", EXPORT_AGAIN) from error
