"""Marks that a camera reads: a ring of dots on the front, a disc of the back in its middle.

**The ring.** Fourteen dots lie evenly on a circle and are a frame of known points: they tell a picture's scale, turn,
perspective and lens just there. Seven bits' worth of them are small, the others large; read clockwise from the top the
sizes spell a word. Words keep four dots apart under any turn, so that one that is misread is noticed and one that is
hidden does no harm; mirrored, a word is none of the list. Sizes, not holes, because blur and spreading ink fill a hole
but leave the darkness of a dot in proportion.

**The disc.** The back's only mark inside: nothing else of the back comes nearer than the verniers' first lines. A dot
beside it points to the head of the sheet (a sheet made for the long edge) or to its left (the short edge), so that the
picture tells a wrong flip by itself. Lengths in mm at size 1, through the front.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from server.core.geometry import Point
from server.core.plan import Flip

DOTS = 14
RING_MM = 6.0
LARGE_MM, SMALL_MM = 0.9, 0.6  # radii: areas as 9 to 4
DISC_MM = 1.2
POINTER_MM, POINTER_AT_MM = 0.45, 2.3
REACH_MM = RING_MM + LARGE_MM
# Of 14 bits each, 5, 7 or 9 of them large; no two come nearer than 4 bits under any turn, nor a word to itself turned;
# found by search. A test holds it.
WORDS = (2551, 1753, 979, 1821, 747, 1107, 701, 997, 1663, 889,  # the stations of a test sheet
         3931, 905, 213, 3957, 355, 3023, 3549, 1471, 301, 279, 589, 2739, 59, 5819)
STATION_WORDS = WORDS[:10]
DECK_WORDS = WORDS[10:]  # of a deck's sheet: four corners, clockwise from the top left, in each of its sizes
DECK_SIZES = (0.8, 0.48, 0.3)
DECK_CORNERS = 4
_POINTS_TO: dict[Flip, Point] = {"long-edge": (0.0, -1.0), "short-edge": (-1.0, 0.0)}


@lru_cache
def ring_points() -> tuple[Point, ...]:
    """The dots' middles about the ring's own, the first at the top, clockwise."""
    turns = (2 * math.pi * dot / DOTS for dot in range(DOTS))
    return tuple((RING_MM * math.sin(turn), -RING_MM * math.cos(turn)) for turn in turns)


def is_large(word: int, dot: int) -> bool:
    """Whether a word's ``dot`` is a large one; the first dot is the highest bit."""
    return bool(word >> (DOTS - 1 - dot) & 1)


def deck_place(corner: int, size: float) -> int:
    """The place in ``WORDS`` of a deck's mark; corners from 0."""
    return len(STATION_WORDS) + DECK_SIZES.index(size) * DECK_CORNERS + corner


def deck_mark(place: int) -> tuple[int, float] | None:
    """(corner from 0, size) of a place in ``WORDS``; None where no deck's mark has that word."""
    number, corner = divmod(place - len(STATION_WORDS), DECK_CORNERS)
    return (corner, DECK_SIZES[number]) if 0 <= number < len(DECK_SIZES) else None


def ring_dots(word: int, centre: Point, size: float = 1.0) -> tuple[tuple[Point, float], ...]:
    """(middle, radius) of every dot of a ring on the front, in the front's frame."""
    x, y = centre
    return tuple(((x + size * u, y + size * v), size * (LARGE_MM if is_large(word, dot) else SMALL_MM))
                 for dot, (u, v) in enumerate(ring_points()))


def back_dots(flip: Flip, centre: Point, size: float = 1.0) -> tuple[tuple[Point, float], ...]:
    """(middle, radius) of the back's disc and of the dot that points, where they are meant to lie behind the front."""
    x, y = centre
    u, v = pointer(flip)
    return (centre, size * DISC_MM), ((x + size * u, y + size * v), size * POINTER_MM)


def pointer(flip: Flip) -> Point:
    """From the disc's middle to the dot that points; a wrong flip turns it to the opposite side."""
    u, v = _POINTS_TO[flip]
    return POINTER_AT_MM * u, POINTER_AT_MM * v


@lru_cache
def _turned_words() -> tuple[tuple[int, int, int, bool], ...]:
    """(what is read, place in WORDS, dots turned, mirrored) of every way in which a word can appear."""
    found = []
    for place, word in enumerate(WORDS):
        text = format(word, f"0{DOTS}b")
        for mirrored, read in ((False, text), (True, text[0] + text[:0:-1])):
            found += [(int(read[turn:] + read[:turn], 2), place, turn, mirrored) for turn in range(DOTS)]
    return tuple(found)


def told_apart(sizes: Sequence[bool | None], most_wrong: int = 1) -> tuple[int, int, bool] | None:
    """(place in WORDS, dots turned, mirrored) of what was read clockwise; None in the list is a dot that is hidden.

    A hidden dot counts half a wrong one. None where nothing of the list is near enough, or two things are as near.
    """
    read = int("".join("1" if one else "0" for one in sizes), 2)
    clear = int("".join("0" if one is None else "1" for one in sizes), 2)
    wrong = [((read ^ meant) & clear).bit_count() for meant, _, _, _ in _turned_words()]
    least = min(wrong)
    if least + sizes.count(None) / 2 > most_wrong or wrong.count(least) > 1:
        return None
    return _turned_words()[wrong.index(least)][1:]
