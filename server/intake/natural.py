"""Natural order: 2 before 10, and a folder's files together."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

_DIGITS = re.compile(r"([0-9]+)")
_ENDING = re.compile(r"\.(?=[0-9]*[a-z])[a-z0-9]{1,5}$", re.IGNORECASE)


def natural_key(path: str) -> tuple[Any, ...]:
    """A key that sorts paths ("/" between parts) part by part, runs of digits by their number, letters by no case.

    The ending counts last, so that "knight.png" comes before "knight2.png". Paths that differ at all get keys that
    differ, so an order never depends on what came in first.
    """
    folded = _ENDING.sub("", fold(path))
    return tuple(_part(part) for part in folded.split("/")), path


def fold(text: str) -> str:
    """``text`` as names are compared: composed (NFC), because macOS hands out decomposed names, and without case."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", text).casefold())


def _part(part: str) -> tuple[Any, ...]:
    """Text and numbers by turns, text first; a number by its length without leading zeros, then its digits."""
    pieces = _DIGITS.split(part)
    return tuple(
        (len(piece.lstrip("0")), piece.lstrip("0")) if place % 2 else piece for place, piece in enumerate(pieces)
    )
