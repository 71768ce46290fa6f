"""How much a PDF's streams unpack to, found without keeping what comes out (filters by ISO 32000-1, 7.4).

A file of 100 kB may unpack to gigabytes. Pictures are held to their pixels; every other stream of a file, and the
content of each page together, to ``ArtLimits.stream_bytes``.
"""

from __future__ import annotations

import base64
import math
import re
import struct
import zlib
from collections import Counter
from collections.abc import Iterator, Sequence

from server.formats.jpeg import read_jpeg
from server.formats.limits import WORKER_BYTES, ArtLimits, ArtTooLarge, BadArt
from server.formats.pdf_source import PdfSource
from server.formats.pdf_syntax import Ref, Value

_DEFLATE_RATIO = 1033  # deflate: at most 258 bytes for 2 bits (RFC 1951, 3.2.5)
_RUN_RATIO = 64  # RunLengthDecode: at most 128 bytes for 2 (7.4.5)
_PIECE = 64 * 1024
_MOST_FORMS = 100_000
_SIZE = re.compile(rb"\xff\x4f\xff\x51")
_DO = re.compile(rb"(/[^\0\t\n\f\r ()<>\[\]{}/%]+)[\0\t\n\f\r ]+Do(?![A-Za-z])")
_NAMES = {b"/Fl": b"/FlateDecode", b"/LZW": b"/LZWDecode", b"/AHx": b"/ASCIIHexDecode", b"/A85": b"/ASCII85Decode",
          b"/RL": b"/RunLengthDecode"}
_PACKERS = (b"/FlateDecode", b"/LZWDecode", b"/RunLengthDecode")
_TEXTS = (b"/ASCIIHexDecode", b"/ASCII85Decode")


def bound_streams(source: PdfSource, limits: ArtLimits) -> None:
    """Raises ArtTooLarge, naming the file or the page, where a stream or a page's content unpacks to too much."""
    for number in source.streams():
        _bound(source, (number,), "a part of it", limits.stream_bytes)
    for index in range(source.page_count):
        contents = source.contents(index)
        if len(contents) > 1:
            _bound(source, contents, f"page {index + 1}", limits.stream_bytes)


def bound_pictures(source: PdfSource, limits: ArtLimits) -> None:
    """Raises ArtTooLarge, naming the file, for a picture whose decoder would take too much, whatever is said beside it:
    JPEG 2000 as whole numbers (libopenjp2), JPEG in several scans with all its coefficients (libjpeg)."""
    most = limits.decoding_bytes - WORKER_BYTES
    for number in source.pictures():
        takes = _decoder_bytes(source, number, limits)
        if takes > most:
            raise ArtTooLarge(
                f"{source.file}: holds a picture that takes {takes / 1e6:.0f} MB to decode, over the limit of "
                f"{most / 1e6:.0f} MB.", "Scale it down, or export it with ordinary JPEG pictures.", "too-many-pixels")


def _decoder_bytes(source: PdfSource, number: int, limits: ArtLimits) -> int:
    *packers, last = [_NAMES.get(name, name) for name in source.filters(number)] or [b""]
    if last not in (b"/JPXDecode", b"/DCTDecode", b"/DCT"):
        return 0
    data = source.raw_stream(number)
    for name in packers:
        data = b"".join(_inflated(data, limits.file_bytes)) if name == b"/FlateDecode" else _from_text(data, name)
    if last == b"/JPXDecode":
        # The size marker (ITU-T T.800, A.5.1): its length, capabilities, two sizes, two offsets, tiles, components.
        sizes = (struct.unpack_from(">4s4x4I16xH", data[at.start():].ljust(42, b"\0")) for at in _SIZE.finditer(data))
        return max((5 * count * max(0, right - left) * max(0, bottom - top)
                    for _, right, bottom, left, top, count in sizes), default=0)
    try:
        jpeg = read_jpeg(data, source.file, None)
    except BadArt:
        return 0
    return 2 * jpeg.components * jpeg.header.width * jpeg.header.height if jpeg.has_scans else 0


def _bound(source: PdfSource, numbers: Sequence[int], what: str, most: int) -> None:
    packed = [(source.raw_stream(number), [_NAMES.get(name, name) for name in source.filters(number)])
              for number in numbers]
    if sum(_at_most(len(data), filters) for data, filters in packed) <= most:
        return
    left = most
    for data, filters in packed:
        left -= unpacked_bytes(data, filters, left)
        if left < 0:
            raise ArtTooLarge(f"{source.file}: {what} unpacks to more than {most / 1e6:.0f} MB of drawing.",
                              "Export it again as a flat PDF, or as a PNG.", "too-much-inside")


def _at_most(stored: int, filters: list[bytes]) -> float:
    """What so many stored bytes can unpack to at most."""
    ratio = 1.0
    for name in filters:
        ratio *= {b"/FlateDecode": _DEFLATE_RATIO, b"/RunLengthDecode": _RUN_RATIO}.get(name, 1.0)
    return math.inf if b"/LZWDecode" in filters else stored * ratio


def bound_forms(source: PdfSource, index: int, label: str) -> None:
    """Raises ArtTooLarge, naming the page by ``label``, where it draws forms in forms in forms without an end."""
    page = source.page(index)
    if isinstance(source.entry(page.resources, b"/XObject"), dict):
        content = b"\n".join(source.stream(part) for part in page.contents)
        if _drawn(source, content, page.resources, {}) > _MOST_FORMS:
            raise ArtTooLarge(f"{label}: draws more than {_MOST_FORMS} forms, one in the other.",
                              "Export it again as a flat PDF, or as a PNG.", "too-much-inside")


def _drawn(source: PdfSource, content: bytes, resources: Value, known: dict[int, int]) -> int:
    """How many forms ``content`` draws, those in them counted; a form within itself counts for nothing."""
    forms = source.entry(resources, b"/XObject")
    total = 0
    for name, times in Counter(_DO.findall(content)).items():
        form = forms.get(name) if isinstance(forms, dict) else None
        if not isinstance(form, Ref):
            continue
        if form.number not in known:
            known[form.number] = 0
            stream = source.object(form.number)
            if isinstance(stream, dict) and stream.get(b"/Subtype") == b"/Form" and len(known) < _MOST_FORMS:
                own = stream.get(b"/Resources", resources)
                known[form.number] = 1 + _drawn(source, source.stream(form.number), own, known)
        total += times * known[form.number]
    return total


def unpacked_bytes(data: bytes, filters: list[bytes], most: int) -> int:
    """How many bytes ``data`` unpacks to by its filters; where that is more than ``most``, some number above it."""
    for at, name in enumerate(filters):
        is_last = at == len(filters) - 1
        if name in _TEXTS:
            data = _from_text(data, name)
        elif name == b"/FlateDecode":
            if is_last:
                return sum(map(len, _inflated(data, most)))
            data = b"".join(_inflated(data, most))
        elif name in _PACKERS:
            if not is_last:
                return most + 1  # nobody packs so but to hide how much it is
            return _lzw_bytes(data, most) if name == b"/LZWDecode" else _run_bytes(data)
        else:
            break  # a picture's, or the reader's own
        if len(data) > most:
            break
    return len(data)


def _from_text(data: bytes, name: bytes) -> bytes:
    """Never longer than it was; what can't be read as such counts as it is."""
    try:
        if name == b"/ASCII85Decode":
            return base64.a85decode(data.partition(b"~>")[0].removeprefix(b"<~"))
        digits = re.sub(rb"[^0-9A-Fa-f]", b"", data.partition(b">")[0])
        return bytes.fromhex((digits + b"0" * (len(digits) % 2)).decode("ascii"))
    except ValueError:
        return data


def _inflated(data: bytes, most: int) -> Iterator[bytes]:
    """Piece by piece until it is more than ``most``; a broken stream as far as it goes."""
    unpacker, total = zlib.decompressobj(), 0
    try:
        while data and total <= most:
            piece = unpacker.decompress(data, _PIECE)
            yield piece
            total += len(piece)
            data = unpacker.unconsumed_tail
            if not piece and not data:
                return
    except zlib.error:
        return


def _run_bytes(data: bytes) -> int:
    at = total = 0
    while at < len(data) and data[at] != 128:
        count = data[at]
        total += count + 1 if count < 128 else 257 - count
        at += count + 2 if count < 128 else 2
    return total


def _lzw_bytes(data: bytes, most: int) -> int:
    """The lengths alone of what LZW codes stand for (7.4.4.2), with the usual early change."""
    lengths = [1] * 256 + [0, 0]
    width, bits, held, total, before = 9, 0, 0, 0, 0
    for byte in data:
        held, bits = (held << 8 | byte) & 0xFFFFFF, bits + 8
        if bits < width:
            continue
        bits -= width
        code = held >> bits & (1 << width) - 1
        if code == 257 or total > most:
            break
        if code == 256:
            del lengths[258:]
            width, before = 9, 0
            continue
        length = lengths[code] if code < len(lengths) else before + 1
        if before and len(lengths) < 4096:
            lengths.append(before + 1)
        total, before = total + length, length
        width = 9 if len(lengths) < 511 else 10 if len(lengths) < 1023 else 11 if len(lengths) < 2047 else 12
    return total
