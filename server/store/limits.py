"""What the host's machine takes in: every limit in one place, each of which a person can set.

A limit is set by ``limits.json`` in the data folder, such as ``{"file_bytes": 100000000}``, or by an environment
variable such as ``LAMPFOLD_FILE_BYTES``, which comes before the file. The defaults suit a home machine.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from server.errors import BadValue
from server.formats.limits import ArtLimits

LIMITS_FILE = "limits.json"
_PREFIX = "LAMPFOLD_"
_MIB = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Limits:
    """Bytes, counts and seconds. Every value is a whole number above zero, but ``free_bytes`` may be zero."""

    file_bytes: int = 128 * _MIB
    archive_bytes: int = 1024 * _MIB
    deck_bytes: int = 4096 * _MIB
    # 1,500 cards, each with a back of its own; every page of a PDF counts.
    deck_files: int = 3000
    decks: int = 500
    # 64 megapixels: an A4 page at 800 ppi, well above any card, and about 256 MiB when decoded with alpha.
    image_pixels: int = 64_000_000
    pdf_pages: int = 2000
    # What a page of a PDF draws with, unpacked: a map of a whole city has some 20 MB.
    stream_bytes: int = 64 * _MIB
    deck_cards: int = 20_000
    # A file of one's own in a release, such as the rules, and how many a deck may have.
    extra_bytes: int = 32 * _MIB
    extras: int = 20
    free_bytes: int = 256 * _MIB
    json_bytes: int = 2 * _MIB
    workers: int = 2
    worker_bytes: int = 3072 * _MIB
    worker_jobs: int = 200
    read_seconds: int = 9
    build_seconds: int = 900
    waiting_reads: int = 128
    waiting_builds: int = 24
    waiting_builds_each: int = 6
    cache_bytes: int = 2048 * _MIB
    header_seconds: int = 15
    body_seconds: int = 20
    connections: int = 600

    @property
    def art(self) -> ArtLimits:
        """What they say of art, for whoever reads or draws it."""
        return ArtLimits(self.image_pixels, self.pdf_pages, self.file_bytes, self.deck_cards, self.stream_bytes)


def read_limits(folder: Path, environment: Mapping[str, str]) -> Limits:
    """The limits of this data folder. Raises BadValue, naming the file or the variable, the value and what would do."""
    values: dict[str, int] = {}
    path = folder / LIMITS_FILE
    if path.is_file():
        try:
            given = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise BadValue(f"{path}: can't be read as JSON ({error}).", "Mend or remove it.") from None
        if not isinstance(given, dict):
            raise BadValue(f"{path}: isn't one JSON object.", 'Write it as {"file_bytes": 100000000}.')
        for name, value in given.items():
            values[name] = _whole(name, value, f"{path}: {name}")
    for field in fields(Limits):
        variable = _PREFIX + field.name.upper()
        if variable in environment:
            values[field.name] = _whole(field.name, environment[variable], variable)
    return replace(Limits(), **values)


def _whole(name: str, value: Any, where: str) -> int:
    known = [field.name for field in fields(Limits)]
    if name not in known:
        raise BadValue(f"{where}: not a limit.", f"Limits are {', '.join(known)}.")
    try:
        number = int(value) if not isinstance(value, bool) else -1
    except (TypeError, ValueError):
        number = -1
    if number < (0 if name == "free_bytes" else 1):
        raise BadValue(f"{where}: {value!r} is no whole number above zero.",
                       f"The default is {getattr(Limits(), name)}.")
    return number


def bytes_text(count: int) -> str:
    """Bytes for people, in the decimal units of IEC 80000-13: ``1.5 MB``."""
    size = float(count)
    for unit in ("bytes", "kB", "MB", "GB"):
        if size < 1000 or unit == "GB":
            return f"{size:.0f} {unit}" if unit == "bytes" else f"{size:.1f}".rstrip("0").rstrip(".") + f" {unit}"
        size /= 1000
    raise AssertionError("the last unit always returns")
