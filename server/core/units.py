"""Lengths as people type them, and the two fixed ratios.

1 in = 25.4 mm exactly (international yard and pound agreement, 1959); 1 PDF unit = 1/72 in
(ISO 32000-1, 8.3.2.3).
"""

from __future__ import annotations

import math
import re

from server.errors import BadValue

MM_PER_INCH = 25.4
POINTS_PER_INCH = 72.0
POINTS_PER_MM = POINTS_PER_INCH / MM_PER_INCH

_LENGTH = re.compile(r"^\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(mm|cm|in|inch|inches|\"|pt)?\s*$", re.IGNORECASE)
_FACTOR = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH, "inch": MM_PER_INCH, "inches": MM_PER_INCH, '"': MM_PER_INCH,
           "pt": MM_PER_INCH / POINTS_PER_INCH}
_PAIR = re.compile(r"^\s*(.+?)\s*[x×*]\s*(.+?)\s*$", re.IGNORECASE)


def parse_length(text: str, argument: str = "length") -> float:
    """Millimetres from ``"3"``, ``"3 mm"``, ``"0,125in"`` or ``"9pt"``; a bare number is millimetres.

    Raises BadValue, naming ``argument`` and ``text``.
    """
    found = _LENGTH.match(text)
    if not found:
        raise BadValue(f"{argument}: {text!r} is no length.", "Write it as 3, 3mm or 0.125in.")
    value = float(found[1].replace(",", ".")) * _FACTOR[(found[2] or "mm").lower()]
    if not math.isfinite(value):
        raise BadValue(f"{argument}: {text!r} is no length.", "Write it as 3, 3mm or 0.125in.")
    return value


def parse_size(text: str, argument: str = "size") -> tuple[float, float]:
    """(width, height) in millimetres from ``"63x88"`` or ``"2.5x3.5in"``: a unit at the end serves both.

    Raises BadValue, naming ``argument`` and ``text``.
    """
    found = _PAIR.match(text)
    if not found:
        raise BadValue(f"{argument}: {text!r} is no size.", "Write width x height, such as 63x88 or 2.5x3.5in.")
    first, second = found[1], found[2]
    unit = re.search(r"[a-z\"]+$", second, re.IGNORECASE)
    if unit and not re.search(r"[a-z\"]$", first, re.IGNORECASE):
        first += unit[0]
    width, height = parse_length(first, argument), parse_length(second, argument)
    if width <= 0 or height <= 0:
        raise BadValue(f"{argument}: {text!r} has a side that isn't above zero.", "Give both sides in mm.")
    return width, height


def mm_text(value_mm: float, digits: int = 2) -> str:
    """A length for people: ``88.9``, ``63``, never ``-0``."""
    text = f"{value_mm:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
