"""Sizes by name, in mm: paper, always portrait, and cards at trim, upright or not."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from server.core.units import MM_PER_INCH, mm_text, parse_size
from server.errors import BadValue

# Of cards only one size is settled by a standard; the rest is common practice, and any size can be typed.
_SHORTEST_CARD_MM, _LONGEST_CARD_MM = 10.0, 500.0
DEFAULT_RADIUS_MM = 3.0  # common practice
# The largest page side a PDF of version 1.6 or later may have is 14,400 units (ISO 32000-1, Annex C); home and
# office printers end far below, so the bound here is only a guard against slips of the keyboard.
_SHORTEST_PAPER_MM, _LONGEST_PAPER_MM = 50.0, 2000.0


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet of paper in mm, portrait. ``source`` says where the size is settled."""

    name: str
    label: str
    width_mm: float
    height_mm: float
    source: str


def _inches(name: str, label: str, width: float, height: float, source: str) -> Paper:
    return Paper(name, label, width * MM_PER_INCH, height * MM_PER_INCH, source)


PAPERS: dict[str, Paper] = {
    paper.name: paper
    for paper in (
        Paper("a4", "A4", 210.0, 297.0, "ISO 216"),
        _inches("letter", "Letter", 8.5, 11.0, "ANSI/ASME Y14.1, size A"),
        _inches("legal", "Legal", 8.5, 14.0, "common practice"),
        Paper("a3", "A3", 297.0, 420.0, "ISO 216"),
        _inches("tabloid", "Tabloid", 11.0, 17.0, "ANSI/ASME Y14.1, size B"),
        Paper("a5", "A5", 148.0, 210.0, "ISO 216"),
    )
}


def paper_named(text: str) -> Paper:
    """A paper by name, or by its size such as ``"210x297"`` or ``"8.5x11in"`` (turned to portrait).

    Raises BadValue, naming the text and the names that are known.
    """
    known = PAPERS.get(text.strip().lower())
    if known:
        return known
    width, height = sorted(_size(text, "paper", [*PAPERS], "210x297"))
    _within(text, "paper", (width, height), _SHORTEST_PAPER_MM, _LONGEST_PAPER_MM, "the sheet")
    return Paper(*_names(width, height), width, height, "as given")


@dataclass(frozen=True, slots=True)
class CardSize:
    """A card at trim, upright: width and height in mm, corner radius in mm."""

    name: str
    label: str
    width_mm: float
    height_mm: float
    corner_radius_mm: float = DEFAULT_RADIUS_MM
    source: str = "common practice"


CARD_SIZES: dict[str, CardSize] = {
    size.name: size
    for size in (
        CardSize("poker-metric", "Poker, metric", 63.0, 88.0),
        CardSize("poker", "Poker", 2.5 * MM_PER_INCH, 3.5 * MM_PER_INCH),
        CardSize("bridge", "Bridge", 2.25 * MM_PER_INCH, 3.5 * MM_PER_INCH),
        CardSize("bridge-metric", "Bridge, metric", 57.0, 88.0),
        CardSize("tarot", "Tarot", 70.0, 120.0),
        CardSize("mini", "Mini", 44.0, 68.0),
        CardSize("square", "Square", 70.0, 70.0),
        CardSize("id-1", "ID-1 (bank card)", 85.60, 53.98, 3.18, "ISO/IEC 7810"),
    )
}
DEFAULT_CARD = "poker-metric"


@lru_cache(maxsize=64)  # asked for card by card
def card_size_named(text: str) -> CardSize:
    """A card size by name, or by ``"WxH"`` in mm (or with ``in``), kept in the order given.

    Raises BadValue, naming the text and the names that are known.
    """
    known = CARD_SIZES.get(text.strip().lower())
    if known:
        return known
    width, height = _size(text, "card", [*CARD_SIZES], "63x88")
    _within(text, "card", (width, height), _SHORTEST_CARD_MM, _LONGEST_CARD_MM, "one trimmed card")
    return CardSize(*_names(width, height), width, height, DEFAULT_RADIUS_MM, "as given")


def _size(text: str, what: str, names: list[str], such_as: str) -> tuple[float, float]:
    try:
        return parse_size(text, what)
    except BadValue:
        fix = f"Use {', '.join(names)} or a size such as {such_as}."
        raise BadValue(f"{what}: {text!r} is not known.", fix) from None


def _within(text: str, what: str, size: tuple[float, float], shortest: float, longest: float, of: str) -> None:
    small = min(size) < shortest
    if small or max(size) > longest:
        raise BadValue(f"{what}: {text!r} is too {'small' if small else 'large'}.",
                       f"Use {shortest:g} to {longest:g} mm for each side of {of}.")


def _names(width: float, height: float) -> tuple[str, str]:
    return f"{mm_text(width)}x{mm_text(height)}", f"{mm_text(width)} × {mm_text(height)} mm"
