"""A pack: files that are stored in one ZIP as they are, with their sums. What several begin with is summed once.

A ZIP by APPNOTE.TXT 6.3.10: local headers (4.3.7), written again once the file is there, the directory (4.3.12) and its
ends (4.3.14 to 4.3.16), with ZIP64's fields (4.5.3) in the directory where it takes them. The standard library's writer
sums up all that it is given; of art that is in every PDF of a release that would be most of its time.
"""

from __future__ import annotations

import hashlib
import io
import json
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Literal, cast

from server.drawing.write_behind import let_go, make_room
from server.errors import BadValue

MANIFEST = "manifest.json"
MemberPart = Literal["sheets", "guide", "box", "index", "extra"]

_LOCAL, _CENTRAL = struct.Struct("<4s5H3I2H"), struct.Struct("<4s6H3I5H2I")
_END64, _LOCATOR, _END = struct.Struct("<4sQ2H2I4Q"), struct.Struct("<4sIQI"), struct.Struct("<4s4H2IH")
_VERSION, _UTF8, _STORED, _IN_ZIP64, _MANY, _UNIX = 45, 0x800, 0, 0xFFFFFFFF, 0xFFFF, 3
_MIDNIGHT, _FIRST_DAY = 0, 1 << 5 | 1  # 1 January 1980, the first date that a ZIP can hold
_MODE = 0o100644 << 16
_PIECE, _LET_GO_BYTES = 1 << 20, 64 << 20


@dataclass(frozen=True, slots=True)
class Member:
    """A file of the pack and the SHA-256 of its bytes; ``part`` is what it is. Sheets, guides and boxes say of which of
    the order's decks and for which method and paper they are, sheets also in which ink and on how many papers."""

    file: str
    sha256: str
    part: MemberPart
    bytes: int = 0
    deck: int = -1
    method: str = ""
    paper: str = ""
    ink: str = ""
    papers: int = 0


@dataclass(frozen=True, slots=True)
class Beginning:
    """What a file of the pack begins with: where that stands in the pack, its size and its sums."""

    at: int
    size: int
    crc: int
    digest: hashlib._Hash


class Inside:
    """Where a file's bytes go; sums up what is written on."""

    def __init__(self, out: io.FileIO, pack: Path) -> None:
        self._out, self._pack, self._at = out, pack, out.tell()
        self.size, self.crc, self.digest = 0, 0, hashlib.sha256()

    @property
    def stream(self) -> BinaryIO:
        """As what PDFs are written on."""
        return cast(BinaryIO, self)

    def write(self, part: bytes | memoryview) -> int:
        self.digest.update(part)
        self.crc = zlib.crc32(part, self.crc)
        self._append(part)
        return len(part)

    def _append(self, part: bytes | memoryview) -> None:
        self.size += len(part)
        view = memoryview(part)
        while view:
            view = view[self._out.write(view):]

    def so_far(self) -> Beginning:
        """What was written until now, for files that begin with the same."""
        return Beginning(self._at, self.size, self.crc, self.digest.copy())

    def repeat(self, beginning: Beginning) -> None:
        """Begin with that, which another file of the pack begins with."""
        self.crc, self.digest = beginning.crc, beginning.digest.copy()
        make_room(self._out.fileno(), self._out.tell(), beginning.size)
        buffer, let_go_at = memoryview(bytearray(min(_PIECE, beginning.size))), _LET_GO_BYTES
        with self._pack.open("rb", buffering=0) as source:
            source.seek(beginning.at)
            while left := beginning.size - self.size:
                read = source.readinto(buffer[:left])
                if not read:
                    raise OSError(f"{self._pack} ended while it was written")
                self._append(buffer[:read])
                if self.size >= let_go_at:
                    let_go(self._out.fileno(), self._at, self.size)
                    let_go_at += _LET_GO_BYTES


class Pack:
    """A pack under way on ``out``, the file ``path``: files go in by name, with a fixed date; ``seal`` ends it."""

    def __init__(self, out: io.FileIO, path: Path) -> None:
        self._out, self._path = out, path
        self._directory: list[bytes] = []
        self.members: list[Member] = []

    @contextmanager
    def writing(self, name: str, part: MemberPart, **about: Any) -> Iterator[Inside]:
        """An ``Inside`` for a file; nothing of it stays where anything is raised. Raises BadValue for a name that is
        taken."""
        if self.has(name):
            raise BadValue(f"release: two files would be called {name}.", "Give the decks or the files other names.")
        with self._entry(name) as inside:
            yield inside
        self.members.append(Member(name, inside.digest.hexdigest(), part, inside.size, **about))

    @contextmanager
    def _entry(self, name: str) -> Iterator[Inside]:
        start, label = self._out.tell(), name.encode("utf-8")
        self._out.write(_local(label, 0, 0))
        try:
            yield (inside := Inside(self._out, self._path))
        except BaseException:
            self._out.seek(start)
            self._out.truncate()
            raise
        end = self._out.tell()
        self._out.seek(start)
        self._out.write(_local(label, inside.crc, inside.size))
        self._out.seek(end)
        size, place, wide = inside.size, start, b""
        if max(size, place) >= _IN_ZIP64:
            size, place, wide = _IN_ZIP64, _IN_ZIP64, struct.pack("<2H3Q", 1, 24, size, size, place)
        self._directory.append(_CENTRAL.pack(
            b"PK\1\2", _UNIX << 8 | _VERSION, _VERSION, _UTF8, _STORED, _MIDNIGHT, _FIRST_DAY, inside.crc, size, size,
            len(label), len(wide), 0, 0, 0, _MODE, place) + label + wide)

    def add(self, name: str, path: Path, part: MemberPart) -> None:
        """Put a file in as it is."""
        with path.open("rb") as content, self.writing(name, part) as inside:
            while piece := content.read(_PIECE):
                inside.write(piece)

    def has(self, name: str) -> bool:
        """Whether there is such a file; names that differ by case alone are one, as some systems have it."""
        return any(member.file.lower() == name.lower() for member in self.members)

    def seal(self, values: dict[str, Any]) -> None:
        """The manifest, last: every other member and its hash; then the directory."""
        files = [{"file": member.file, "sha256": member.sha256} for member in self.members]
        with self._entry(MANIFEST) as inside:
            inside.write(json.dumps({**values, "files": files}, indent=1, ensure_ascii=False).encode("utf-8"))
        start, count, whole = self._out.tell(), len(self._directory), b"".join(self._directory)
        self._out.write(whole)
        if max(start, len(whole)) >= _IN_ZIP64 or count >= _MANY:
            self._out.write(_END64.pack(b"PK\6\6", _END64.size - 12, _UNIX << 8 | _VERSION, _VERSION, 0, 0, count,
                                        count, len(whole), start))
            self._out.write(_LOCATOR.pack(b"PK\6\7", 0, start + len(whole), 1))
        count, size, place = min(count, _MANY), min(len(whole), _IN_ZIP64), min(start, _IN_ZIP64)
        self._out.write(_END.pack(b"PK\5\6", 0, 0, count, count, size, place, 0))


def _local(label: bytes, crc: int, size: int) -> bytes:
    wide = struct.pack("<2H2Q", 1, 16, size, size)
    return _LOCAL.pack(b"PK\3\4", _VERSION, _UTF8, _STORED, _MIDNIGHT, _FIRST_DAY, crc, _IN_ZIP64, _IN_ZIP64,
                       len(label), len(wide)) + label + wide
