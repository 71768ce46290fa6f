"""Art as PDF image objects: the file's own compressed data wherever that can be, else decoded and compressed once."""

from __future__ import annotations

import io
import os
import struct
import warnings
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from server.core.art import ORIENTATIONS, Art
from server.core.geometry import Affine
from server.drawing.pdf_file import PdfFile
from server.drawing.pdf_icc import ColourSpaces
from server.drawing.write_behind import Aside, Buffer
from server.formats.header import Header, pieces_of
from server.formats.jpeg import Jpeg, read_jpeg
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.formats.png import Png, look_at_png, read_png
from server.formats.reader import opened, readable
from server.formats.refusal import BadArt, check_pixels, damaged

if TYPE_CHECKING:
    from PIL.Image import Image

_UPRIGHT = Affine(a=1.0, d=-1.0, f=1.0)  # an image fills PDF's unit square with its first row at the top, y up
_AS_VIEWED = {orientation: viewed.after(_UPRIGHT) for orientation, viewed in ORIENTATIONS.items()}
_END_OF_IMAGE = b"\xff\xd9"
_DIGESTED_BYTES = 4 * 1024  # of a JPEG, for the PDF's identifier


@dataclass(frozen=True, slots=True)
class Placeable:
    """An XObject's number, and what carries its own space onto the unit square as the art is viewed (y down).

    ``translucent`` says that it has to be blended with what lies under it.
    """

    number: int
    matrix: Affine
    translucent: bool = False


@dataclass(frozen=True, slots=True)
class _UnderWay:
    """Decoded art that is being packed: the numbers kept for it and its mask (0 for none), and its profile."""

    number: int
    mask: int
    profile: bytes | None


class ImageWriter:
    """Writes art into ``file``, one piece at a time, none over ``limits``. ``release`` lets go of it, finished or not.

    Art that had to be decoded is packed while the next is decoded, and is written before that, or by ``finish``.
    Raises Unreadable or TooMuch, naming the file that is at fault, from that call or a later one.
    """

    def __init__(self, file: PdfFile, limits: ArtLimits = DEFAULT_LIMITS) -> None:
        self._file = file
        self._limits = limits
        self._spaces = ColourSpaces(file)
        self._packer = Aside[tuple[Png, Png | None]]()
        self._under_way: _UnderWay | None = None

    def add(self, art: Art, path: Path) -> Placeable:
        """Write one image, now or later."""
        matrix = _AS_VIEWED[art.orientation]
        parsed = _parse(art, path, self._limits)
        if isinstance(parsed, Png) and parsed.passes:
            return Placeable(self._put_png(parsed, parsed.profile, poured=_poured(parsed, path, art.file)), matrix)
        if isinstance(parsed, Jpeg) and parsed.passes:
            if not parsed.ended:
                self._decoded(art, path, 8)  # raises where more than the mark is missing
            return Placeable(self._put_jpeg(parsed), matrix)
        colour, alpha, profile = self._decoded(art, path, parsed.depth if isinstance(parsed, Png) else 8)
        if isinstance(parsed, Png):
            profile = parsed.profile
        # Pillow turns a TIFF upright while it decodes it; all others come as they are stored.
        return Placeable(self._pack(colour, alpha, profile), _UPRIGHT if art.kind == "tiff" else matrix, bool(alpha))

    def _pack(self, colour: Image, alpha: Image | None, profile: bytes | None) -> int:
        """The number that ``colour`` will have, with ``alpha`` as its mask."""
        self._packer.put(lambda: (_as_png(colour), _as_png(alpha) if alpha else None))
        self._write_packed()
        mask = self._file.reserve() if alpha else 0
        self._under_way = _UnderWay(self._file.reserve(), mask, profile)
        return self._under_way.number

    def _write_packed(self) -> None:
        one, self._under_way = self._under_way, None
        if one:
            colour, alpha = self._packer.take()
            if alpha:
                self._put_png(alpha, None, reserved=one.mask)
            self._put_png(colour, one.profile, one.mask, one.number)

    def finish(self) -> None:
        """Write what is still under way."""
        self._write_packed()

    def release(self) -> None:
        """Let go of what is under way."""
        self._packer.release()

    def _decoded(self, art: Art, path: Path, depth: int) -> tuple[Image, Image | None, bytes | None]:
        """Colour, alpha (None where all is opaque) and profile of art that can't go in as it is."""
        from server.formats.pixels import loaded

        check_pixels(art.file, art.width_px, art.height_px, self._limits)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd metadata, which isn't used
            with loaded(path, art, self._limits) as picture:
                colour, alpha = _split(picture, depth)
                # What was opened is emptied when it is closed.
                return picture.copy() if colour is picture else colour, alpha, picture.info.get("icc_profile")

    def _put_png(self, png: Png, profile: bytes | None, mask: int = 0, reserved: int | None = None,
                 poured: Iterable[Buffer] | None = None) -> int:
        """``png`` by its own rows, its parts or those that are ``poured``. Four components are CMYK here: a
        decoded one is carried so, see ``_as_png``."""
        if png.indexed:
            base = self._spaces.space(3, profile)
            space = b"[/Indexed %b %d <%b>]" % (base, len(png.palette) // 3 - 1, png.palette.hex().encode("ascii"))
        else:
            space = self._spaces.space(png.components, profile)
        entries = (b"%b /BitsPerComponent %d /Filter /FlateDecode /DecodeParms <</Predictor 15 /Colors %d "
                   b"/BitsPerComponent %d /Columns %d>>%b" % (
                       _image_entries(png.header.width, png.header.height, space), png.depth, png.components, png.depth,
                       png.header.width, b" /SMask %d 0 R" % mask if mask else b""))
        checksum = struct.pack(f">{len(png.sums)}I", *png.sums)
        if poured:
            return self._file.pour_stream(entries, png.stream_bytes, poured, checksum)
        return self._file.put_stream(entries, png.parts, checksum=checksum, reserved=reserved)

    def _put_jpeg(self, jpeg: Jpeg) -> int:
        entries = b"%b /BitsPerComponent 8 /Filter /DCTDecode" % _image_entries(
            jpeg.header.width, jpeg.header.height, self._spaces.space(jpeg.components, jpeg.profile))
        if jpeg.inverted:
            entries += b" /Decode [1 0 1 0 1 0 1 0]"
        if jpeg.is_plain_rgb:
            entries += b" /DecodeParms <</ColorTransform 0>>"
        parts: tuple[Buffer, ...] = jpeg.parts()
        last = parts[-1]
        checksum = b"%d %d %d" % (sum(map(len, parts)), zlib.crc32(last[:_DIGESTED_BYTES]),
                                  zlib.crc32(last[-_DIGESTED_BYTES:]))
        return self._file.put_stream(entries, parts if jpeg.ended else (*parts, _END_OF_IMAGE), checksum=checksum)


def _image_entries(width: int, height: int, space: bytes) -> bytes:
    return b"/Type /XObject /Subtype /Image /Width %d /Height %d /ColorSpace %b" % (width, height, space)


def _poured(png: Png, path: Path, file: str) -> Iterator[memoryview]:
    """The picture's own rows. Raises BadArt, naming ``file``, where neither its check sums nor its stream's own bear
    them out."""
    with readable(file), path.open("rb", buffering=0) as source:
        sound = yield from png.poured(source)
    if not sound and not read_png(opened(path, file), file, DEFAULT_LIMITS).holds():
        raise damaged(file, "its picture isn't what its check sums say")


def _parse(art: Art, path: Path, limits: ArtLimits) -> Png | Jpeg | None:
    """PNG, looked at, and JPEG taken apart; None for what only Pillow reads, or is so odd that it must decide."""
    try:
        if art.kind == "png":
            with readable(art.file), path.open("rb", buffering=0) as source:
                return look_at_png(pieces_of(source), os.fstat(source.fileno()).st_size, art.file, limits)
        return read_jpeg(opened(path, art.file), art.file, limits) if art.kind == "jpeg" else None
    except BadArt as error:
        if error.code in ("damaged", "truncated"):
            return None
        raise


def _split(picture: Image, depth: int) -> tuple[Image, Image | None]:
    """The colours in a mode that a PNG can carry (or CMYK), and the alpha unless all is opaque."""
    from server.formats.pixels import printable

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
    return printable(picture), alpha


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


def _as_png(picture: Image) -> Png:
    """Compressed once, as the rows of a PNG. CMYK travels as the four channels that a PNG would call RGBA."""
    colour_type = {"L": 0, "RGB": 2, "CMYK": 6}.get(picture.mode)
    if colour_type is not None:
        packed = _packed(_rows(picture))
        return Png(Header(*picture.size), 8, colour_type, False, b"", (memoryview(packed),), (zlib.crc32(packed),), {})
    stored = io.BytesIO()
    picture.save(stored, "PNG", compress_level=6, icc_profile=None)
    return read_png(stored.getvalue(), "picture", ArtLimits(pixels=picture.width * picture.height))


def _rows(picture: Image) -> bytes:
    """Each row as its difference from the one above, filter 2 (PNG, 9.2), by whole pictures at a time."""
    from PIL import ImageChops

    above = ImageChops.offset(picture, 0, 1)
    above.paste(0, (0, 0, picture.width, 1))
    data = ImageChops.subtract_modulo(picture, above).tobytes()
    width = picture.width * len(picture.getbands())
    return b"".join(part for at in range(0, len(data), width) for part in (b"\2", data[at:at + width]))


def _packed(rows: bytes) -> bytes:
    """A zlib stream (RFC 1950) whose two halves are packed side by side. Runs alone are looked for: on such rows that
    comes out as small as a long search, in a fifth of its time."""
    from concurrent.futures import ThreadPoolExecutor

    middle = len(rows) // 2
    with ThreadPoolExecutor(2) as threads:
        first = threads.submit(_half, rows[:middle], zlib.Z_FULL_FLUSH)
        second = _half(rows[middle:], zlib.Z_FINISH)
    return b"\x78\x01" + first.result() + second + zlib.adler32(rows).to_bytes(4, "big")


def _half(rows: bytes, end: int) -> bytes:
    packer = zlib.compressobj(1, zlib.DEFLATED, -15, 9, zlib.Z_RLE)
    return packer.compress(rows) + packer.flush(end)
