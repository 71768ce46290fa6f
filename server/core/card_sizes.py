"""Card sizes at trim, in mm. No standard fixes them, so each is common practice and any size can be typed."""

from __future__ import annotations

from dataclasses import dataclass

from server.core.units import MM_PER_INCH, mm_text, parse_size
from server.errors import BadValue

DEFAULT_RADIUS_MM = 3.0  # common practice
_SHORTEST_MM, _LONGEST_MM = 10.0, 500.0


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


def card_size_named(text: str) -> CardSize:
    """A card size by name, or by ``"WxH"`` in mm (or with ``in``), kept in the order given.

    Raises BadValue, naming the text and the names that are known.
    """
    known = CARD_SIZES.get(text.strip().lower())
    if known:
        return known
    try:
        width, height = parse_size(text, "card")
    except BadValue:
        raise BadValue(f"card: {text!r} is not known.",
                       f"Use {', '.join(CARD_SIZES)} or a size such as 63x88.") from None
    if min(width, height) < _SHORTEST_MM or max(width, height) > _LONGEST_MM:
        small = min(width, height) < _SHORTEST_MM
        raise BadValue(f"card: {text!r} is too {'small' if small else 'large'}.",
                       f"Use {_SHORTEST_MM:g} to {_LONGEST_MM:g} mm for each side of one trimmed card.")
    name = f"{mm_text(width)}x{mm_text(height)}"
    return CardSize(name, f"{mm_text(width)} × {mm_text(height)} mm", width, height, 3.0, "as given")
