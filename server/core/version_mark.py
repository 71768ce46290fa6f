"""The version on the card: a few small letters at an edge of the fronts, inside the safe zone."""

from __future__ import annotations

from dataclasses import dataclass

from server.core.geometry import Edges, Point, Rect
from server.core.lettering import plain_line, text_width_mm
from server.core.settings import DeckSettings

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
