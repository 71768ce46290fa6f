"""A PDF written as it comes: one object at a time, nothing held but where each began.

File structure by ISO 32000-1, 7.5. There are no dates and no random parts, so that the same objects give the same
bytes; the file's identifier (14.4) is a digest of them.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache, reduce
from typing import BinaryIO

from server.drawing.write_behind import Buffer, WriteBehind

# The second line marks the file as binary (7.5.2).
_HEADER = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"
_FREE = -1
_FORMATS = tuple(f"%.{digits}f" for digits in range(10))


@lru_cache(maxsize=2048)  # sheet after sheet has the same
def number(value: float, digits: int = 4) -> str:
    """A real number as PDF writes it, without exponent or trailing zeros: at most ``digits`` decimals."""
    text = _FORMATS[digits] % value
    if digits:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def text_string(text: str) -> bytes:
    """A text string (7.9.2.2): plain ASCII as it is, anything else in UTF-16BE."""
    if text.isascii() and text.isprintable():
        return literal(text.encode("ascii"))
    return b"<FEFF" + text.encode("utf-16-be", "replace").hex().upper().encode("ascii") + b">"


def literal(data: bytes) -> bytes:
    """A literal string (7.3.4.2) of any bytes."""
    for plain, escaped in ((b"\\", b"\\\\"), (b"(", b"\\("), (b")", b"\\)"), (b"\r", b"\\r"), (b"\n", b"\\n")):
        data = data.replace(plain, escaped)
    return b"(" + data + b")"


@dataclass(frozen=True, slots=True)
class SoFar:
    """Where the objects of a PDF under way begin, its bytes so far, and what they come to in its identifier."""

    offsets: tuple[int, ...]
    size: int
    digest: hashlib._Hash


class PdfFile:
    """A PDF 1.7 under way on ``out``, a binary stream that is only ever appended to. ``so_far`` says what stands there
    already, word for word what another wrote.

    Object numbers are given by ``reserve`` or by the writing call itself; ``close`` writes the cross-reference table
    and the trailer. ``out`` stays open; ``release`` lets go of it, whether the work was finished or not. Stream data
    must stay as it is until then. Errors of the disk come as OSError from this call or a later one.
    """

    def __init__(self, out: BinaryIO, so_far: SoFar | None = None) -> None:
        self._sink = WriteBehind(out)
        self._offsets = list(so_far.offsets) if so_far else [0]
        self._digest = so_far.digest.copy() if so_far else hashlib.sha256()
        self._at = so_far.size if so_far else 0
        if not so_far:
            self._write(_HEADER)

    def so_far(self) -> SoFar:
        """What was written until now; all of it is on ``out`` then."""
        self._sink.finish()
        return SoFar(tuple(self._offsets), self._at, self._digest.copy())

    def _write(self, *parts: Buffer) -> None:
        self._sink.put(parts)
        self._at += sum(map(len, parts))

    def reserve(self) -> int:
        """A number for an object that is written later."""
        self._offsets.append(_FREE)
        return len(self._offsets) - 1

    def put(self, body: bytes, reserved: int | None = None) -> int:
        """Write one object that isn't a stream; its number."""
        mine = self._begin(reserved)
        self._digest.update(body)
        self._write(b"%d 0 obj\n%b\nendobj\n" % (mine, body))
        return mine

    def put_stream(self, entries: bytes, parts: Sequence[Buffer], *, checksum: bytes = b"",
                   reserved: int | None = None) -> int:
        """Write one stream object, its data copied part by part; its number.

        ``entries`` are the dictionary's, without ``<<``, ``>>`` and ``/Length``. ``checksum`` stands for the data in
        the file's identifier where the caller has one; else it is reckoned here.
        """
        mine = self._begin_stream(entries, sum(map(len, parts)), reserved)
        self._write(*parts)
        self._digest.update(checksum or b"%d" % reduce(lambda found, part: zlib.crc32(part, found), parts, 0))
        self._write(b"\nendstream\nendobj\n")
        return mine

    def pour_stream(self, entries: bytes, length: int, parts: Iterable[Buffer], checksum: bytes) -> int:
        """``put_stream`` of ``parts``, ``length`` bytes in all, that are made now or later, each good until the next is
        asked for; what they raise comes as errors of the disk do."""
        mine = self._begin_stream(entries, length, None)
        self._sink.pour(length, parts)
        self._at += length
        self._digest.update(checksum)
        self._write(b"\nendstream\nendobj\n")
        return mine

    def _begin_stream(self, entries: bytes, length: int, reserved: int | None) -> int:
        mine = self._begin(reserved)
        self._digest.update(entries)
        self._write(b"%d 0 obj\n<<%b /Length %d>>\nstream\n" % (mine, entries, length))
        return mine

    def settle(self) -> None:
        """Wait until what was put is written, so that none of it is held any more."""
        self._sink.finish()

    def put_deflated(self, entries: bytes, data: bytes, reserved: int | None = None) -> int:
        """Write one stream object, compressed here; its number."""
        packed = zlib.compress(data, 6)
        return self.put_stream(b"%b /Filter /FlateDecode" % entries, (packed,), reserved=reserved)

    def _begin(self, reserved: int | None) -> int:
        mine = self.reserve() if reserved is None else reserved
        if self._offsets[mine] != _FREE:
            raise ValueError(f"object {mine} is already written")
        self._offsets[mine] = self._at
        self._digest.update(b"%d" % mine)
        return mine

    def close(self, root: int, info: int) -> None:
        """Write what readers look for at the end (7.5.4, 7.5.5). ``root`` and ``info`` are object numbers."""
        if _FREE in self._offsets:
            raise ValueError(f"object {self._offsets.index(_FREE)} was reserved and never written")
        xref = self._at
        lines = b"".join(b"%010d 00000 n \n" % offset for offset in self._offsets[1:])
        self._write(b"xref\n0 %d\n0000000000 65535 f \n" % len(self._offsets) + lines)
        name = self._digest.hexdigest()[:32].upper().encode("ascii")
        self._write(b"trailer\n<</Size %d /Root %d 0 R /Info %d 0 R /ID [<%b> <%b>]>>\nstartxref\n%d\n%%%%EOF\n"
                    % (len(self._offsets), root, info, name, name, xref))
        self._sink.finish()

    def release(self) -> None:
        """Stop writing to ``out``."""
        self._sink.release()
