"""A ZIP taken in as the folder that it holds, unpacked in a worker: every entry is looked at before any is written.

Refused as a whole, naming the entry: names that climb out, links, encrypted entries, archives in the archive, and
sizes over the host's limits by what the directory says or by what comes out (OWASP File Upload: ZIP bombs).
"""

from __future__ import annotations

import calendar
import hashlib
import os
import stat
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from server.errors import BadValue, NotArt, TooMuch, Unreadable
from server.formats.header import HEAD_BYTES, kind_of
from server.jobs.worker import Report
from server.store.deck_state import DECK_LIST
from server.store.limits import bytes_text
from server.store.names import clean_path

_PIECE = 256 * 1024
_ARCHIVES = (b"PK\x03\x04", b"PK\x05\x06", b"\x1f\x8b", b"BZh", b"\xfd7zXZ\x00", b"7z\xbc\xaf\x27\x1c", b"Rar!\x1a\x07")
# What systems leave in archives and nobody put there.
_LITTER = frozenset((".ds_store", "thumbs.db", "desktop.ini"))
_ART_FOLDERS = ("fronts", "backs")


@dataclass(frozen=True, slots=True)
class UnpackOrder:
    """What to unpack: the archive, its label, where files go (each to a name of its own), and the limits."""

    archive: Path
    label: str
    into: Path
    files: int
    file_bytes: int
    total_bytes: int


@dataclass(frozen=True, slots=True)
class Unpacked:
    """One file that came out: its path in the deck, where it lies, its bytes' key, its time in ms since 1970."""

    path: str
    place: Path
    key: str
    bytes: int
    modified: int


@dataclass(frozen=True, slots=True)
class Contents:
    """What came out, and what was left out with the reason: (path, reason)."""

    files: tuple[Unpacked, ...]
    ignored: tuple[tuple[str, str], ...]


def unpack(report: Report, order: UnpackOrder) -> Contents:
    """Unpack art and the deck list. Raises Unreadable for what is no ZIP, BadValue or TooMuch for what is refused.

    Whoever calls removes ``order.into`` whatever happens.
    """
    try:
        with zipfile.ZipFile(order.archive) as archive:
            entries = [entry for entry in archive.infolist() if not entry.is_dir() or "\0" in entry.orig_filename]
            _check_all(order, entries)
            return _take(report, order, archive, list(dict(_named(entries)).items()))  # of two alike the last
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, RuntimeError, ValueError) as error:
        if isinstance(error, (BadValue, TooMuch)):
            raise
        raise Unreadable(f"{order.label}: can't be unpacked ({error}).", "Pack it again as a plain ZIP.") from None


def _check_all(order: UnpackOrder, entries: list[zipfile.ZipInfo]) -> None:
    if len(entries) > order.files:
        raise TooMuch(f"{order.label}: holds {len(entries)} files; this host takes {order.files}.",
                      "Make two of it, or raise the limit `deck_files`.")
    total = sum(entry.file_size for entry in entries)
    if total > order.total_bytes:
        raise TooMuch(f"{order.label}: unpacks to {bytes_text(total)}; this host takes "
                      f"{bytes_text(order.total_bytes)}.", "Make two of it, or raise the limit `deck_bytes`.")
    for entry in entries:
        clean_path(entry.orig_filename)  # raises for a name that climbs out; zipfile cuts ``filename`` at a NUL
        if stat.S_ISLNK(entry.external_attr >> 16):
            raise BadValue(f"{order.label}: {entry.filename!r} is a link.", "Pack the file itself.")
        if entry.flag_bits & 0x1:  # APPNOTE.TXT, 4.4.4: bit 0 says that the entry is encrypted
            raise BadValue(f"{order.label}: {entry.filename!r} is encrypted.", "Pack it without a password.")
        if entry.file_size > order.file_bytes:
            raise TooMuch(f"{order.label}: {entry.filename!r} unpacks to {bytes_text(entry.file_size)}; this host "
                          f"takes {bytes_text(order.file_bytes)} a file.",
                          "Export it smaller, or raise the limit `file_bytes`.")


def _named(entries: list[zipfile.ZipInfo]) -> Iterator[tuple[str, zipfile.ZipInfo]]:
    """Each entry with its path in the deck: one folder around everything is taken off, as a drop would."""
    kept = []
    for entry in entries:
        path = clean_path(entry.filename)
        parts = path.split("/")
        if "__MACOSX" not in parts and parts[-1].lower() not in _LITTER:
            kept.append((path, entry))
    tops = {path.split("/")[0] for path, _ in kept}
    wrapped = len(tops) == 1 and all("/" in path for path, _ in kept) and tops.pop().lower() not in _ART_FOLDERS
    for path, entry in kept:
        yield (path.split("/", 1)[1] if wrapped else path), entry


def _take(report: Report, order: UnpackOrder, archive: zipfile.ZipFile,
          named: list[tuple[str, zipfile.ZipInfo]]) -> Contents:
    files: list[Unpacked] = []
    ignored: list[tuple[str, str]] = []
    left = order.total_bytes
    for number, (path, entry) in enumerate(named):
        report(number, len(named), "Unpacking")
        try:
            taken = _write(order, archive, path, entry, order.into / f"{number}", left)
        except NotArt as error:
            ignored.append((path, error.message))
            continue
        files.append(taken)
        left -= taken.bytes
    return Contents(tuple(files), tuple(ignored))


def _write(order: UnpackOrder, archive: zipfile.ZipFile, path: str, entry: zipfile.ZipInfo, place: Path,
           left: int) -> Unpacked:
    digest, size = hashlib.sha256(), 0
    with archive.open(entry) as inside:
        piece = inside.read(max(_PIECE, HEAD_BYTES))
        _check_kind(order, path, piece)
        with place.open("xb") as outside:
            while piece:
                size += len(piece)
                if size > min(order.file_bytes, left):
                    raise TooMuch(f"{order.label}: {path!r} unpacks to more than it says.", "Pack it again.")
                digest.update(piece)
                outside.write(piece)
                piece = inside.read(_PIECE)
            outside.flush()
            os.fsync(outside.fileno())
    return Unpacked(path, place, digest.hexdigest(), size, _milliseconds(entry))


def _check_kind(order: UnpackOrder, path: str, head: bytes) -> None:
    """Raises BadValue for an archive in the archive, NotArt for what else is no art."""
    if head.startswith(_ARCHIVES):
        raise BadValue(f"{order.label}: {path!r} is an archive in the archive.", "Unpack it first.")
    if path.lower() != DECK_LIST and kind_of(head[:HEAD_BYTES]) is None:
        raise NotArt("is empty" if not head else "is no art by its content", "Leave it out.")


def _milliseconds(entry: zipfile.ZipInfo) -> int:
    """The entry's own time, which has no zone (APPNOTE.TXT, 4.4.6); taken as UTC, as it only tells versions apart."""
    try:
        return max(0, calendar.timegm((*entry.date_time, 0, 0, 0)) * 1000)
    except (ValueError, OverflowError):
        return 0
