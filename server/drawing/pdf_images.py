"""Art as PDF image objects: the file's own compressed data wherever that can be, else decoded and compressed once."""

from __future__ import annotations

import os
import struct
import warnings
import zlib
from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from server.core.art import ORIENTATIONS, Art
from server.core.geometry import Affine
from server.drawing.packing import Odd, Packed, pack_picture, pack_png
from server.drawing.pdf_file import PdfFile, SoFar
from server.drawing.pdf_icc import ColourSpaces
from server.drawing.write_behind import Buffer
from server.formats.header import pieces_of
from server.formats.jpeg import Jpeg, read_jpeg
from server.formats.limits import DEFAULT_LIMITS, ArtLimits, BadArt, damaged
from server.formats.png import Png, look_at_png, read_png
from server.formats.reader import opened, readable

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor

_UPRIGHT = Affine(a=1.0, d=-1.0, f=1.0)  # an image fills PDF's unit square with its first row at the top, y up
_AS_VIEWED = {orientation: viewed.after(_UPRIGHT) for orientation, viewed in ORIENTATIONS.items()}
_END_OF_IMAGE = b"\xff\xd9"
_DIGESTED_BYTES = 4 * 1024  # of a JPEG, for the PDF's identifier
# The same everywhere, as the order in which things are written depends on it.
_PACKED_AT_ONCE = 3
_LARGE_PX = 8_000_000  # larger art is packed alone: it takes up to eight bytes of a pixel


@dataclass(frozen=True, slots=True)
class Placeable:
    """An XObject's number, and what carries its own space onto the unit square as the art is viewed (y down)."""

    number: int
    matrix: Affine


@dataclass(frozen=True, slots=True)
class Begun:
    """A PDF's beginning that holds nothing but art, so that any PDF with that art may go on from it: its objects, the
    number kept for the page tree, all art by its key, which of it has alpha, and the layers that came along with it,
    all and the hidden ones."""

    file: SoFar
    tree: int
    placed: Mapping[str, Placeable]
    masked: Collection[int]
    groups: Sequence[int]
    hidden: Sequence[int]


@dataclass(frozen=True, slots=True)
class _UnderWay:
    """Art that is being packed: the number kept for it, its profile, and what it is should it have to be decoded."""

    number: int
    packed: Future[Packed]
    profile: bytes | None
    art: Art
    path: Path
    depth: int


class ImageWriter:
    """Writes art into ``file``, one piece at a time, none over ``limits``. ``release`` lets go of it, finished or not.
    ``masked`` are the images there that have alpha.

    Art that can't go in as it is is packed while more is added, and is written when its turn comes, or by ``finish``.
    Raises Unreadable or TooMuch, naming the file that is at fault, from that call or a later one.
    """

    def __init__(self, file: PdfFile, limits: ArtLimits = DEFAULT_LIMITS, masked: Iterable[int] = ()) -> None:
        self._file = file
        self._limits = limits
        self._spaces = ColourSpaces(file)
        self._under_way: deque[_UnderWay] = deque()
        self.masked = set(masked)

    @cached_property
    def _helpers(self) -> ThreadPoolExecutor:
        from concurrent.futures import ThreadPoolExecutor  # not for a deck whose art goes in as it is

        return ThreadPoolExecutor(_PACKED_AT_ONCE)

    def add(self, art: Art, path: Path) -> Placeable:
        """Write one image, now or later."""
        matrix = _AS_VIEWED[art.orientation]
        parsed = _parse(art, path, self._limits)
        if isinstance(parsed, Png) and parsed.passes:
            return Placeable(self._put_png(parsed, parsed.profile, poured=_poured(parsed, path, art.file)), matrix)
        if isinstance(parsed, Jpeg) and parsed.passes:
            if not parsed.ended:
                from server.formats.pixels import verify

                verify(path, art, self._limits)  # raises where more than the mark is missing
            return Placeable(self._put_jpeg(parsed), matrix)
        self._write_packed(_PACKED_AT_ONCE - 1)
        number = self._pack(art, path, parsed if isinstance(parsed, Png) else None)
        # Pillow turns a TIFF upright while it decodes it; all others come as they are stored.
        return Placeable(number, _UPRIGHT if art.kind == "tiff" else matrix)

    def _pack(self, art: Art, path: Path, png: Png | None) -> int:
        """The number that ``art`` will have. Nothing else is under way while a large one is packed."""
        large = _is_large(art)
        if large:
            self._write_packed()
        one = self._packing(art, path, png, large)
        self._under_way.append(one)
        if large:
            self._write_packed()
        return one.number

    def _packing(self, art: Art, path: Path, png: Png | None, large: bool) -> _UnderWay:
        number, depth, profile = self._file.reserve(), png.depth if png else 8, png.profile if png else None
        if png and png.has_alpha and not png.interlaced:
            def work(helpers: ThreadPoolExecutor | None = None) -> Packed:
                return pack_png(read_png(opened(path, art.file), art.file, self._limits), helpers)

            packed = _done(lambda: work(self._helpers)) if large else self._helpers.submit(work)
            return _UnderWay(number, packed, profile, art, path, depth)
        packed, own = self._decoded(art, path, depth, large)
        return _UnderWay(number, packed, profile if png else own, art, path, depth)

    def blends(self, numbers: Collection[int]) -> bool:
        """True if one of those images has alpha; waits for them where none is known to."""
        while self.masked.isdisjoint(numbers) and any(one.number in numbers for one in self._under_way):
            self._write_packed(len(self._under_way) - 1)
        return not self.masked.isdisjoint(numbers)

    def _write_packed(self, most: int = 0) -> None:
        """Until no more than ``most`` are under way."""
        while len(self._under_way) > most:
            one = self._under_way.popleft()
            try:
                packed = one.packed.result()
            except Odd:
                packed = self._decoded(one.art, one.path, one.depth, True)[0].result()
            mask = self._put_png(packed.alpha, None) if packed.alpha else 0
            if mask:
                self.masked.add(one.number)
            self._put_png(packed.colour, one.profile, mask, one.number)
            if _is_large(one.art):
                self._file.settle()

    def finish(self) -> None:
        """Write what is still under way."""
        self._write_packed()

    def release(self) -> None:
        """Let go of what is under way."""
        if "_helpers" in self.__dict__:
            self._helpers.shutdown(cancel_futures=True)

    def _decoded(self, art: Art, path: Path, depth: int, large: bool) -> tuple[Future[Packed], bytes | None]:
        """Art that can't go in as it is, decoded and being packed, and its profile."""
        from server.formats.pixels import loaded

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd metadata, which isn't used
            with loaded(path, art, self._limits) as picture:
                profile: bytes | None = picture.info.get("icc_profile")
                if large:
                    return _done(lambda: pack_picture(picture, depth, self._helpers)), profile
                return self._helpers.submit(pack_picture, picture.copy(), depth), profile

    def _put_png(self, png: Png, profile: bytes | None, mask: int = 0, reserved: int | None = None,
                 poured: Iterable[Buffer] | None = None) -> int:
        """``png`` by its own rows, its parts or those that are ``poured``. Four components are CMYK here: a packed one
        is carried so."""
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


def _is_large(art: Art) -> bool:
    return art.width_px * art.height_px > _LARGE_PX


def _done(work: Callable[[], Packed]) -> Future[Packed]:
    """What that comes to, or the refusal of a PNG that has to be decoded."""
    from concurrent.futures import Future

    future = Future[Packed]()
    try:
        future.set_result(work())
    except Odd as error:
        future.set_exception(error)
    return future


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
