"""PNG by its chunks (W3C PNG, third edition): what its header says, and its own rows to copy.

Rows filtered as PNG does are what PDF calls predictor 15 (ISO 32000-1, 7.4.4.4), so they can go into a PDF as they are.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Generator, Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache

from server.formats.header import Content, Exif, Header, Piece, density, read_exif
from server.formats.limits import MAX_PNG_CHUNKS, ArtLimits, check_pixels, damaged, truncated
from server.formats.png_colour import stated_profile

_SIGNATURE_BYTES, _MM_PER_METRE = 8, 1000.0
_CHUNK, _CHUNK_END, _FRAME_BYTES = struct.Struct(">I4s"), struct.Struct(">II"), 12
_KEPT = frozenset((b"PLTE", b"tRNS", b"iCCP", b"pHYs", b"eXIf", b"acTL", b"gAMA", b"cHRM", b"sRGB"))
_MAX_KEPT = 16 * 1024 * 1024  # more is no profile and no EXIF
# colour type: bit depths that go with it (table 11.1), samples of a pixel as it is stored
_DEPTHS: dict[int, tuple[int, ...]] = {0: (1, 2, 4, 8, 16), 2: (8, 16), 3: (1, 2, 4, 8), 4: (8, 16), 6: (8, 16)}
_SAMPLES = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
_PALETTE, _WITH_ALPHA = 3, (4, 6)


@dataclass(frozen=True, slots=True)
class Png:
    """A PNG's header and where the parts of its one compressed stream lie in its file, in order.

    ``parts`` are views of them, none where the file was only looked at; ``sums`` are their check sums as it states
    them; ``palette`` is RGB triples or empty; ``small`` holds the content of the chunks that say how colours are meant.
    """

    header: Header
    depth: int
    colour_type: int
    interlaced: bool
    palette: bytes
    parts: tuple[memoryview, ...]
    sums: tuple[int, ...]
    small: dict[bytes, bytes] = field(repr=False)
    spans: tuple[tuple[int, int], ...] = ()

    @property
    def stream_bytes(self) -> int:
        """The length of its stream."""
        return sum(end - start for start, end in self.spans)

    @property
    def passes(self) -> bool:
        """True if the rows can go into a PDF as they are."""
        return self.colour_type not in _WITH_ALPHA and not self.interlaced and b"tRNS" not in self.small

    @property
    def has_alpha(self) -> bool:
        """True if each pixel has an alpha of its own."""
        return self.colour_type in _WITH_ALPHA

    @property
    def indexed(self) -> bool:
        return self.colour_type == _PALETTE

    @property
    def components(self) -> int:
        """Samples of one pixel as it is stored."""
        return _SAMPLES[self.colour_type]

    @property
    def profile(self) -> bytes | None:
        """The profile in the iCCP chunk: a name, a null, method 0, a zlib stream; or what gAMA and cHRM come to.

        None where it can't be unpacked, and for sRGB.
        """
        if b"iCCP" not in self.small:
            return stated_profile(self.small, self.colour_type in (0, 4))
        _, found, packed = self.small.get(b"iCCP", b"").partition(b"\0")
        if not found or packed[:1] != b"\0":
            return None
        unpacker = zlib.decompressobj()
        try:
            profile = unpacker.decompress(packed[1:], _MAX_KEPT)
        except zlib.error:
            return None
        return profile if unpacker.eof else None

    def holds(self) -> bool:
        """True if the picture is what its check sums say, or by the sum that its own stream ends with it is whole."""
        if all(zlib.crc32(part, _IDAT_SUM) == stated for part, stated in zip(self.parts, self.sums, strict=True)):
            return True
        unpacker = zlib.decompressobj()
        try:
            for part in self.parts:
                rest: bytes | memoryview = part
                while rest and not unpacker.eof:
                    unpacker.decompress(rest, _PIECE_BYTES)
                    rest = unpacker.unconsumed_tail
        except zlib.error:
            return False
        return unpacker.eof

    def poured(self, source: io.FileIO) -> Generator[memoryview, None, bool]:
        """The stream, read from the file that was looked at, in pieces that are good until the next is asked for.
        Returns False where it isn't what its check sums say."""
        sound, buffer = True, memoryview(bytearray(_POURED_BYTES))
        for start, length, count, stated in self._runs():
            source.seek(start)
            left, found, skipped = count * (length + _FRAME_BYTES) - 8, 0, 4
            while left:
                read = source.readinto(buffer[:left])
                if not read or (read < left and count > 1):
                    return False
                found = zlib.crc32(buffer[:read], found)
                for at in range(1, count):  # close up what stands between two chunks' content
                    here = 4 + at * (length + _FRAME_BYTES)
                    buffer[4 + at * length:4 + (at + 1) * length] = buffer[here:here + length]
                yield buffer[skipped:read - (count - 1) * _FRAME_BYTES]
                left, skipped = left - read, 0
            sound = sound and found == stated
        return sound

    def _runs(self) -> Iterator[tuple[int, int, int, int]]:
        """Stretches of the file to read and sum at once, since each call waits for other threads: where its first
        chunk's name stands, how long the content of each is, how many, and the sum of all from that name on."""
        start = length = count = found = last = behind = 0
        for (at, end), stated in zip(self.spans, self.sums, strict=True):
            joins = end - at == length <= _MOST_JOINED_BYTES and at == behind + _FRAME_BYTES
            if joins and count < _POURED_BYTES // (length + _FRAME_BYTES):
                found = zlib.crc32(_CHUNK_END.pack(last, length), found)
                one, two, three, four = _moved_on(length + 4)
                found = one[found & 255] ^ two[found >> 8 & 255] ^ three[found >> 16 & 255] ^ four[found >> 24] ^ stated
                count += 1
            else:
                if count:
                    yield start, length, count, found
                start, length, count, found = at - 4, end - at, 1, stated
            last, behind = stated, end
        yield start, length, count, found


@lru_cache(maxsize=4)  # a program cuts all its pictures into parts of one length
def _moved_on(length: int) -> tuple[list[int], list[int], list[int], list[int]]:
    """What each byte of a CRC-32 comes to when so many bytes follow, whose own sum is laid over it (exclusive or):
    the sum is linear in what went before (zlib's ``crc32_combine`` does the same by squaring)."""
    zeros = bytes(length)
    none = zlib.crc32(zeros)
    tables: tuple[list[int], ...] = ([0], [0], [0], [0])
    for bit in range(32):
        image = zlib.crc32(zeros, 1 << bit) ^ none
        tables[bit // 8].extend([image ^ other for other in tables[bit // 8]])
    return tables  # type: ignore[return-value]


_PIECE_BYTES = 1024 * 1024
# What is read stays in the processor's cache until it is summed and written.
_POURED_BYTES, _MOST_JOINED_BYTES = 1024 * 1024, 64 * 1024
_IDAT_SUM = zlib.crc32(b"IDAT")


@dataclass(slots=True)
class _Walked:
    """What the walk has met; of the picture's parts, where they begin and end."""

    spans: list[tuple[int, int]] = field(default_factory=list)
    sums: list[int] = field(default_factory=list)
    small: dict[bytes, bytes] = field(default_factory=dict)


def read_png(data: Content, file: str, limits: ArtLimits) -> Png:
    """``look_at_png`` of a whole file, with its parts. ``data`` must stay as it is for as long as they are used."""
    view = memoryview(data)
    png = look_at_png(lambda start, end: data[start:end], len(data), file, limits)
    return replace(png, parts=tuple(view[start:end] for start, end in png.spans))


def look_at_png(piece: Piece, size: int, file: str, limits: ArtLimits) -> Png:
    """Take a PNG file of ``size`` bytes apart by a few bytes of each chunk: every one is stepped over to IEND, so that
    a cut-off file is found; the picture's own check sums are left to ``poured`` and ``holds``.

    Raises BadArt (damaged, truncated, zero-size, ...) or ArtTooLarge, naming ``file``.
    """
    head = piece(_SIGNATURE_BYTES, _SIGNATURE_BYTES + 25)
    if len(head) < 25:
        raise truncated(file, "not even its header is whole")
    length, name, width, height, depth, colour, packing, filtering, interlace = struct.unpack_from(">I4sIIBBBBB", head)
    if name != b"IHDR" or length != 13:
        raise damaged(file, "its first chunk is no PNG header")
    if zlib.crc32(head[4:21]) != int.from_bytes(head[21:25], "big"):
        raise damaged(file, "its header's check sum is wrong")
    check_pixels(file, width, height, limits)
    if depth not in _DEPTHS.get(colour, ()) or packing or filtering or interlace > 1:
        raise damaged(file, f"colour type {colour} with {depth} bits, packed by {packing}, is no PNG")
    found = _walk(piece, size, file)
    if all(start == end for start, end in found.spans):
        raise damaged(file, "it holds no pixels")
    palette = found.small.get(b"PLTE", b"") if colour == _PALETTE else b""
    if colour == _PALETTE and (not palette or len(palette) % 3 or len(palette) > 768):
        raise damaged(file, "its palette is missing or broken")
    return Png(_header(width, height, colour, found.small), depth, colour, bool(interlace), palette, (),
               tuple(found.sums), found.small, tuple(found.spans))


def _header(width: int, height: int, colour: int, small: dict[bytes, bytes]) -> Header:
    exif = read_exif(small[b"eXIf"]) if b"eXIf" in small else Exif()
    per_mm = None
    if len(small.get(b"pHYs", b"")) == 9:
        across, down, unit = struct.unpack(">IIB", small[b"pHYs"])
        per_mm = density(across, down, _MM_PER_METRE) if unit == 1 else None  # 0 gives only the pixel's shape
    animated = small.get(b"acTL", b"")
    frames = max(1, int.from_bytes(animated[:4], "big")) if len(animated) == 8 else 1
    return Header(width, height, exif.orientation, per_mm or exif.per_mm, colour in _WITH_ALPHA or b"tRNS" in small,
                  frames=frames)


def _walk(piece: Piece, size: int, file: str) -> _Walked:
    found, at = _Walked(), _SIGNATURE_BYTES + 25
    head = piece(at, at + 8)
    for _ in range(MAX_PNG_CHUNKS):
        if at + 8 > size or len(head) < 8:
            raise truncated(file, f"its last chunk is missing after {size} bytes")
        length, name = _CHUNK.unpack(head)
        end = at + 12 + length
        if not name.isalpha():
            raise damaged(file, f"there is no chunk at byte {at}")
        if end > size:
            raise truncated(file, f"{end - size} bytes of a chunk are missing")
        if name == b"IEND":
            return found
        behind = piece(end - 4, end + 8)  # its check sum, and the head of the next chunk
        stated, head = int.from_bytes(behind[:4], "big"), behind[4:]
        if name == b"IDAT":
            found.spans.append((at + 8, end - 4))
            found.sums.append(stated)
        elif length <= _MAX_KEPT:
            content = piece(at + 4, end - 4)
            if zlib.crc32(content) != stated:
                raise damaged(file, f"its {name.decode('ascii')} part isn't what its check sum says")
            if name in _KEPT:
                found.small.setdefault(name, content[4:])
        at = end
    raise damaged(file, f"it has more than {MAX_PNG_CHUNKS} chunks")
