"""Paper, always portrait: width is the shorter side."""

from __future__ import annotations

from dataclasses import dataclass

from server.core.units import MM_PER_INCH, mm_text, parse_size
from server.errors import BadValue

# The largest page side a PDF of version 1.6 or later may have is 14,400 units (ISO 32000-1, Annex C); home and
# office printers end far below, so the bound here is only a guard against slips of the keyboard.
_SHORTEST_MM, _LONGEST_MM = 50.0, 2000.0


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
    try:
        first, second = parse_size(text, "paper")
    except BadValue:
        raise BadValue(f"paper: {text!r} is not known.",
                       f"Use {', '.join(PAPERS)} or a size such as 210x297.") from None
    width, height = sorted((first, second))
    if width < _SHORTEST_MM or height > _LONGEST_MM:
        raise BadValue(f"paper: {text!r} is too {'small' if width < _SHORTEST_MM else 'large'}.",
                       f"Use {_SHORTEST_MM:g} to {_LONGEST_MM:g} mm for each side of the sheet.")
    name = f"{mm_text(width)}x{mm_text(height)}"
    return Paper(name, f"{mm_text(width)} × {mm_text(height)} mm", width, height, "as given")
