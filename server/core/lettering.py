"""How wide a line of text is, so that marks can be laid out before anything is drawn; and the version on the card.

PDF readers bring Helvetica along (ISO 32000-1, 9.6.2.2), and its advance widths are published; so text is laid out by
that table on every surface. What lies outside WinAnsi is drawn from a fallback font and squeezed into the width that
is told here, so that no layout depends on the font at hand. The version is a few small letters at an edge of the
fronts, inside the safe zone.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from server.core.geometry import Edges, Point, Rect
from server.core.settings import DeckSettings

# Advance widths of Helvetica in thousandths of the em, by WinAnsi code from 32 (ISO 32000-1, Annex D.2), 16 to a row.
# Source: Adobe Font Metrics for the Core 14 fonts, Helvetica.afm. The codes that WinAnsi leaves empty are 0.
HELVETICA_WIDTHS: tuple[int, ...] = (
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
    333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
    556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584, 0,
    556, 0, 222, 556, 333, 1000, 556, 556, 333, 1000, 667, 333, 1000, 0, 611, 0,
    0, 222, 222, 333, 333, 350, 556, 1000, 333, 1000, 500, 333, 944, 0, 500, 667,
    278, 333, 556, 556, 556, 556, 260, 556, 333, 737, 370, 556, 584, 333, 737, 333,
    400, 584, 333, 333, 333, 556, 537, 278, 333, 333, 365, 556, 834, 834, 834, 611,
    667, 667, 667, 667, 667, 667, 1000, 722, 667, 667, 667, 667, 278, 278, 278, 278,
    722, 722, 778, 778, 778, 778, 778, 584, 778, 722, 722, 722, 722, 667, 667, 611,
    556, 556, 556, 556, 556, 556, 889, 500, 556, 556, 556, 556, 278, 278, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 584, 611, 556, 556, 556, 556, 500, 556, 500,
)
_ADVANCES = (0,) * 32 + HELVETICA_WIDTHS
# An em's share for what isn't in the table: East Asian wide characters fill the em, others take a wide letter's room.
_WIDE, _OTHER = 1000, 667


def plain_line(text: str) -> str:
    """One line: control and line-breaking characters become spaces; lone surrogates a question mark."""
    if text.isascii() and text.isprintable():
        return text.strip()
    kept = "".join(" " if unicodedata.category(char) in ("Cc", "Zl", "Zp") else char for char in text)
    return kept.encode("utf-8", "replace").decode("utf-8").strip()


def winansi(text: str) -> bytes | None:
    """``text`` in WinAnsiEncoding, or None where a character has no code there.

    WinAnsi is Windows code page 1252 (ISO 32000-1, Annex D.2), whose empty codes are refused.
    """
    try:
        code = text.encode("cp1252")
    except UnicodeEncodeError:
        return None
    return code if all(byte >= 32 and HELVETICA_WIDTHS[byte - 32] for byte in code) else None


def helvetica_em(code: bytes) -> float:
    """The advance width of text in WinAnsi, in ems."""
    return sum(map(_ADVANCES.__getitem__, code)) / 1000.0


def text_width_mm(text: str, size_mm: float) -> float:
    """The advance width of one line set in Helvetica with an em of ``size_mm``; no kerning."""
    return sum(map(_width, plain_line(text))) * size_mm / 1000.0


@lru_cache(maxsize=4096)
def _width(char: str) -> int:
    code = winansi(char)
    if code:
        return HELVETICA_WIDTHS[code[0] - 32]
    if unicodedata.combining(char) or unicodedata.category(char) == "Cf":
        return 0
    return _WIDE if unicodedata.east_asian_width(char) in ("W", "F") else _OTHER


# An em of 2 mm is 5.7 point: small, and read at arm's length (common practice). Below 1.2 mm print no longer holds.
EM_MM, LEAST_EM_MM = 2.0, 1.2
_CAP, _DESCENT = 0.75, 0.22  # of Helvetica, in ems, rounded up (Helvetica.afm: CapHeight 718, Descender -207)
_LEAST_INSET_MM = 1.0  # where the deck has no safe zone


@dataclass(frozen=True, slots=True)
class VersionMark:
    """One line in the card's own frame, in mm: centred ``at`` a point of its baseline, turned clockwise about it.
    ``box`` is what its letters lie in."""

    text: str
    at: Point
    em_mm: float
    rotation_deg: float
    box: Rect


def version_mark(settings: DeckSettings) -> VersionMark | None:
    """The mark that the settings ask for; None for none, and where there is nothing to say or no room to say it."""
    edge, text = settings.version_mark, plain_line(settings.version)
    if not edge or not text:
        return None
    card = settings.card_size
    inside = Rect(0, 0, card.width_mm, card.height_mm).grown(Edges.all(-max(settings.safe_mm, _LEAST_INSET_MM)))
    level = edge in ("top", "bottom")
    along, across = (inside.width, inside.height) if level else (inside.height, inside.width)
    width_em = text_width_mm(text, 1.0)
    em = min(EM_MM, along / width_em, across / (_CAP + _DESCENT))
    if em < LEAST_EM_MM:
        return None
    high, wide, middle = em * (_CAP + _DESCENT), em * width_em, inside.centre
    if level:
        top = inside.y if edge == "top" else inside.bottom - high
        return VersionMark(text, (middle[0], top + em * _CAP), em, 0.0, Rect(middle[0] - wide / 2, top, wide, high))
    # Read from outside the card: heads to the edge, on the left upwards, on the right downwards.
    left = inside.x if edge == "left" else inside.right - high
    at = (left + em * _CAP if edge == "left" else left + em * _DESCENT, middle[1])
    return VersionMark(text, at, em, 270.0 if edge == "left" else 90.0, Rect(left, middle[1] - wide / 2, high, wide))
