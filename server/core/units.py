"""Lengths as people type them, and the two fixed ratios.

1 in = 25.4 mm exactly (international yard and pound agreement, 1959); 1 PDF unit = 1/72 in
(ISO 32000-1, 8.3.2.3).
"""

from __future__ import annotations

import math
import re
import unicodedata
from typing import Literal

from server.core.wording import shown
from server.errors import BadValue

Unit = Literal["mm", "in"]

MM_PER_INCH = 25.4
POINTS_PER_INCH = 72.0
POINTS_PER_MM = POINTS_PER_INCH / MM_PER_INCH

LENGTHS_ARE_WRITTEN = "Write it as 3, 3mm, 0.125in or 1/8in."
SIZES_ARE_WRITTEN = "Write width x height, such as 63x88 or 2.5x3.5in."

_INCH = 'in|inch|inches|"'
_LENGTH = re.compile(
    r"([+-]?)(?:([0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)|(?:([0-9]+)[ -])?([0-9]+) ?/ ?([0-9]+))"
    rf" ?(mm|cm|{_INCH}|pt)?", re.IGNORECASE | re.ASCII)
_FACTOR = {"mm": 1.0, "cm": 10.0, **dict.fromkeys(_INCH.split("|"), MM_PER_INCH), "pt": MM_PER_INCH / POINTS_PER_INCH}
_TIMES = re.compile(r"[x×*]", re.IGNORECASE)
_UNIT_AT_END = re.compile(r'(?:[a-z]+|")$', re.IGNORECASE | re.ASCII)
_VULGAR = re.compile("[¼-¾⅐-⅞]")


def plain_length(text: str) -> str:
    """The text with the signs that keyboards and spreadsheets put in (``½``, ``″``, ``−``) as plain ones, and with
    single spaces."""
    text = _VULGAR.sub(lambda found: f" {unicodedata.normalize('NFKD', found[0])}", text)
    text = re.sub("['′’]{2}|[″”“]", '"', text).replace("⁄", "/").replace("−", "-")
    return " ".join(text.split())


def parse_length(text: str, argument: str = "length", unit: Unit = "mm") -> float:
    """Millimetres from ``"3"``, ``"3 mm"``, ``"0,125in"``, ``"1 1/2in"`` or ``"9pt"``.

    A bare number is in ``unit``, and so is a bare fraction, but never in mm.

    Raises BadValue, naming ``argument`` and ``text``. What is read and what is refused, with which words, stands in
    ``tests/lengths.json``; the pages' ``readLength`` reads the same.
    """
    found = _LENGTH.fullmatch(plain_length(text))
    if not found:
        raise BadValue(f"{argument}: {shown(text)} is no length.", LENGTHS_ARE_WRITTEN)
    sign, number, whole, over, under, typed = found.groups()
    if number is None and typed is None and unit == "mm":
        raise BadValue(f"{argument}: {shown(text)} has no unit.", "Write a fraction with its unit, such as 1/8in.")
    if number is None:
        value = float(whole or 0) + float(over) / float(under) if float(under) else math.inf
    else:
        value = float(number.replace(",", "."))
    value *= _FACTOR[(typed or unit).lower()]
    if not math.isfinite(value):
        raise BadValue(f"{argument}: {shown(text)} is no length.", LENGTHS_ARE_WRITTEN)
    return -value if sign == "-" else value


def parse_size(text: str, argument: str = "size") -> tuple[float, float]:
    """(width, height) in millimetres from ``"63x88"`` or ``"2 1/2 x 3 1/2 in"``: a unit at the end serves both.

    Raises BadValue, naming ``argument`` and ``text``.
    """
    sides = _TIMES.split(plain_length(text))
    if len(sides) != 2:
        raise BadValue(f"{argument}: {shown(text)} is no size.", SIZES_ARE_WRITTEN)
    first, second = (side.strip() for side in sides)
    unit = _UNIT_AT_END.search(second)
    if unit and not _UNIT_AT_END.search(first):
        first += unit[0]
    width, height = parse_length(first, argument), parse_length(second, argument)
    if width <= 0 or height <= 0:
        raise BadValue(f"{argument}: {shown(text)} has a side that isn't above zero.", SIZES_ARE_WRITTEN)
    return width, height


def mm_text(value_mm: float, digits: int = 2) -> str:
    """A length for people: ``88.9``, ``63``, never ``-0``."""
    text = f"{value_mm:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
