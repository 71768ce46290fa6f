"""What a file's name counts: copies (`x2`, `_x3`, `(2x)`, `3x goblin`) and parts (`2of3`).

Read from the name's two ends, never by trying: a name of 255 letters costs no more than its length.
"""

from __future__ import annotations

import re

from server.formats.limits import MAX_COPIES

_TIMES = ("x", "×")
_GAP = " \t\n\r\f\v_-"
_AT_START = re.compile(r"([0-9]+)[x×]([\s_-]+)", re.IGNORECASE)
_PART = re.compile(r"(?<![0-9])([0-9]{1,3})[\s_-]?(?:of|von|van|sur)[\s_-]?([0-9]{1,3})[)\]]?$", re.IGNORECASE)
_LONGEST_PART = 13
_LETTER = re.compile(r"\w")


def count_in(text: str) -> tuple[str, int | None, tuple[int, int] | None]:
    """(the stem, its copies, its part of several). Copies are -1 where the number is no number of cards."""
    found = _at_end(text)
    if found and _LETTER.search(found[0]):
        return found[0], _number_of_copies(found[1]), None
    start = _AT_START.match(text)
    if start and _LETTER.search(text, start.end()):
        return text[start.end():], _number_of_copies(start[1]), None
    part = _PART.search(text, max(0, len(text) - _LONGEST_PART))
    if part and _LETTER.search(text[:part.start()]) and 1 <= int(part[1]) <= int(part[2]) and int(part[2]) > 1:
        return text, None, (int(part[1]), int(part[2]))
    return text, None, None


def _at_end(text: str) -> tuple[str, str] | None:
    """(what stands before, the number) of `_x3`, `_3x`, `(x3)` and `(3x)`."""
    inside = text[-1:] in (")", "]")
    rest = text[:-1].rstrip() if inside else text
    if rest[-1:].lower() in _TIMES:
        rest = rest[:-1].rstrip() if inside else rest[:-1]
        rest, number = _number_off(rest)
    else:
        rest, number = _number_off(rest)
        rest = rest.rstrip() if inside else rest
        if rest[-1:].lower() not in _TIMES:
            return None
        rest = rest[:-1]
    if inside:
        rest = rest.rstrip()
        if rest[-1:] not in ("(", "["):
            return None
        rest = rest[:-1]
    before = rest.rstrip(_GAP)
    return (before, number) if number and (inside or before != rest) else None


def _number_off(text: str) -> tuple[str, str]:
    rest = text.rstrip("0123456789")
    return rest, text[len(rest):]


def _number_of_copies(text: str) -> int:
    digits = text.lstrip("0") or "0"
    return int(digits) if len(digits) <= len(str(MAX_COPIES)) else -1
