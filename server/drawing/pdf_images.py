"""Art as PDF image objects: the file's own compressed data wherever that can be, else decoded and compressed once."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from server.core.art import Art
from server.core.geometry import Affine
from server.drawing.pdf_file import PdfFile
from server.drawing.pdf_icc import ColourSpaces
from server.drawing.pdf_jpeg import Jpeg, read_jpeg
from server.drawing.pdf_png import Png, read_png
from server.errors import TooMuch, Unreadable

if TYPE_CHECKING:
    from PIL.Image import Image

# More than any card needs at 600 ppi, and what a home machine decodes without running short of memory.
MOST_PIXELS = 64_000_000
_KEPT_BUFFER_BYTES = 32 * 1024 * 1024
_FORMATS: dict[str, str] = {"png": "PNG", "jpeg": "JPEG", "webp": "WEBP", "tiff": "TIFF", "avif": "AVIF"}
_UPRIGHT = Affine(a=1.0, d=-1.0, f=1.0)  # an image fills PDF's unit square with its first row at the top, y up
_FIX = "Save it again from the program that made it."


@dataclass(frozen=True, slots=True)
class Placeable:
    """An XObject's number, and what carries its own space onto the unit square as the art is viewed (y down)."""

    number: int
    matrix: Affine


class ImageWriter:
    """Writes art into ``file``; the reading buffer grows to the largest piece of art and is used again."""

    def __init__(self, file: PdfFile) -> None:
        self._file = file
        self._spaces = ColourSpaces(file)
        self._buffer = bytearray()
        self.has_soft_masks = False

    def add(self, art: Art, path: Path) -> Placeable:
        """Write one image. Raises Unreadable or TooMuch, naming the file."""
        data = self._read(art, path)
        try:
            return self._add(art, data)
        finally:
            data.release()
            if len(self._buffer) > _KEPT_BUFFER_BYTES:
                self._buffer = bytearray()

    def _add(self, art: Art, data: memoryview) -> Placeable:
        matrix = art.view_matrix.after(_UPRIGHT)
        parsed = _parse(art, data)
        if isinstance(parsed, Png) and parsed.passes:
            return Placeable(self._put_png(parsed, parsed.profile), matrix)
        if isinstance(parsed, Jpeg) and parsed.passes:
            return Placeable(self._put_jpeg(parsed), matrix)
        colour, alpha, profile = _decoded(art, data)
        mask = self._put_png(alpha, None) if alpha else None
        self.has_soft_masks = self.has_soft_masks or bool(alpha)
        # Pillow turns a TIFF upright while it decodes it; all others come as they are stored.
        return Placeable(self._put_png(colour, profile, mask), _UPRIGHT if art.kind == "tiff" else matrix)

    def _read(self, art: Art, path: Path) -> memoryview:
        try:
            with path.open("rb", buffering=0) as source:
                size = path.stat().st_size
                if size > len(self._buffer):
                    self._buffer = bytearray(size)
                view, got = memoryview(self._buffer), 0
                while got < size and (more := source.readinto(view[got:size])):
                    got += more
        except OSError as error:
            raise Unreadable(f"{art.file}: can't be read: {error.strerror or error}.",
                             "Check that the file is still there.") from error
        return view[:got].toreadonly()

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
        return self._file.put_stream(entries, png.parts, png.length, checksum=png.checksum)

    def _put_jpeg(self, jpeg: Jpeg) -> int:
        entries = b"%b /BitsPerComponent 8 /Filter /DCTDecode" % _image_entries(
            jpeg.width, jpeg.height, self._spaces.space(jpeg.components, jpeg.profile))
        if jpeg.inverted:
            entries += b" /Decode [1 0 1 0 1 0 1 0]"
        if jpeg.is_plain_rgb:
            entries += b" /DecodeParms <</ColorTransform 0>>"
        return self._file.put_stream(entries, jpeg.parts, jpeg.length, checksum=jpeg.checksum)


def _image_entries(width: int, height: int, space: bytes) -> bytes:
    return b"/Type /XObject /Subtype /Image /Width %d /Height %d /ColorSpace %b" % (width, height, space)


def _check_size(art: Art, width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        most = MOST_PIXELS // 1_000_000
        raise TooMuch(f"{art.file}: {width} × {height} pixels; at most {most} megapixels are taken.",
                      "Save it smaller: 1200 pixels across suit most cards.")


def _parse(art: Art, data: memoryview) -> Png | Jpeg | None:
    """PNG and JPEG taken apart; None for what only Pillow reads."""
    if art.kind not in ("png", "jpeg"):
        return None
    try:
        parsed = read_png(data) if art.kind == "png" else read_jpeg(data)
    except ValueError as error:
        raise Unreadable(f"{art.file}: broken {art.kind.upper()}: {error}.", _FIX) from error
    _check_size(art, parsed.width, parsed.height)
    return parsed


def _decoded(art: Art, data: memoryview) -> tuple[Png, Png | None, bytes | None]:
    """Colour, alpha (None where all is opaque) and profile of art that can't go in as it is."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd metadata, which isn't used
            with Image.open(io.BytesIO(data), formats=(_FORMATS[art.kind],)) as picture:
                _check_size(art, *picture.size)
                profile = picture.info.get("icc_profile")
                picture.load()
                colour, alpha = _split(picture)
                return _as_png(colour), _as_png(alpha) if alpha else None, profile
    except TooMuch:
        raise
    except Exception as error:  # decoders raise whatever they stumble over
        raise Unreadable(f"{art.file}: can't be decoded ({type(error).__name__}: {error}).", _FIX) from error


def _split(picture: Image) -> tuple[Image, Image | None]:
    """The colours in a mode that a PNG can carry (or CMYK), and the alpha unless all is opaque."""
    if picture.mode in ("RGBa", "La"):
        picture = picture.convert(picture.mode.upper())
    alpha: Image | None = None
    if picture.mode in ("RGBA", "LA", "PA"):
        alpha = picture.getchannel("A")
        picture = picture.convert({"RGBA": "RGB", "LA": "L", "PA": "RGB"}[picture.mode])
    elif "transparency" in picture.info and picture.mode in ("1", "L", "P", "RGB", "I;16"):
        alpha = _keyed_alpha(picture)
        picture = picture.copy()
        del picture.info["transparency"]
    if alpha is not None and alpha.getextrema() == (255, 255):
        alpha = None
    return _plain(picture), alpha


def _keyed_alpha(picture: Image) -> Image:
    """The alpha of a picture whose ``transparency`` names clear colours."""
    from PIL import Image

    key = picture.info["transparency"]
    if picture.mode != "I;16":
        return picture.convert("RGBA").getchannel("A")
    samples = memoryview(picture.tobytes()).cast("H")
    return Image.frombytes("L", picture.size, bytes(0 if sample == key else 255 for sample in samples))


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
