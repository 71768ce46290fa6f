"""Marks that a camera reads: a ring of dots on the front, a disc of the back in its middle.

**The ring.** Fourteen dots lie evenly on a circle and are a frame of known points: they tell a picture's scale, turn,
perspective and lens just there. Seven bits' worth of them are small, the others large; read clockwise from the top the
sizes spell a word. Words keep four dots apart under any turn, so that one that is misread is noticed and one that is
hidden does no harm; mirrored, a word is none of the list. Sizes, not holes, because blur and spreading ink fill a hole
but leave the darkness of a dot in proportion.

**The disc.** The back's only mark inside: nothing else of the back comes nearer than the verniers' first lines. A dot
beside it points to the head of the sheet (a sheet made for the long edge) or to its left (the short edge), so that the
picture tells a wrong flip by itself. Lengths in mm at size 1, through the front.

**On a deck's sheets** they lie in the waste near the corners, on both faces alike. The front's ring and the back's disc
are meant for the same place through the front, and each is drawn with all else of its face, the printer's correction
included. So a photograph of the sheet against the light shows how far *this* sheet's backs are off, whatever was
corrected before.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from server.core.corner_marks import ink_of, squares_along
from server.core.geometry import Edges, Point, Rect
from server.core.plan import Flip, Layout
from server.core.waste import TARGET_BOX_MM, waste_of
from server.errors import BadValue

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


LEAST_MARKS = 2
_AIR_MM = 0.1  # about a ring inside its box
_OFF_INK_MM, _OFF_MARKS_MM = 0.3, 1.2
_SLACK_MM = 1e-6
_APART = 0.5  # of the page's shorter side: marks that are nearer to each other tell no turn


@dataclass(frozen=True, slots=True)
class DeckMark:
    """One place on the front's page: which of its corners (from 0, clockwise from the top left), middle, size."""

    corner: int
    centre: Point
    size: float

    @property
    def station(self) -> int:
        """What it is called: 1 to 4."""
        return self.corner + 1

    @property
    def box(self) -> Rect:
        reach = self.size * REACH_MM + _AIR_MM
        return Rect(self.centre[0] - reach, self.centre[1] - reach, 2 * reach, 2 * reach)


@dataclass(frozen=True, slots=True)
class DeckSheet:
    """What a reader of photographs needs to know of a deck's sheets: their marks, the flip that the back is made for,
    the paper's middle in mm on the front's page."""

    marks: tuple[DeckMark, ...]
    flip: Flip
    middle: Point

    @property
    def size(self) -> float:
        return self.marks[0].size


def deck_sheet(layout: Layout) -> DeckSheet | None:
    """Of a plan's sheets; None where they carry no marks."""
    return DeckSheet(layout.camera_marks, flip_of(layout), layout.page.centre) if layout.camera_marks else None


def deck_sheet_from_json(plan: Any, source: str) -> DeckSheet:
    """Of a plan's file, as ``plan_to_json`` writes it. Raises BadValue for what is none, or has no such marks."""
    try:
        if plan["format"] != "lampfold-plan":
            raise KeyError("format")
        marks = tuple(DeckMark(int(mark["station"]) - 1, _point(mark["through_front"]), float(mark["size"]))
                      for mark in plan["pages"][0]["marks"] if mark["kind"] == "camera")
        paper, through = plan["paper"], plan["through_front"]
        middle = _point((paper["width"] / 2, paper["height"] / 2))
        flip: Flip = "short-edge" if through and through["axis"] == "horizontal" else "long-edge"
        known = all(mark.size in DECK_SIZES and 0 <= mark.corner < DECK_CORNERS for mark in marks)
    except (KeyError, TypeError, ValueError, IndexError):
        known = False
    if not known:
        raise BadValue(f"{source}: is no sheet plan that can be read here.",
                       "Give the plan that was written with the sheets.")
    if not marks:
        raise BadValue(f"{source}: the sheets of this plan carry no marks for a photograph.",
                       "Its notes say why; read a test sheet instead.")
    return DeckSheet(marks, flip, middle)


def _point(values: Any) -> Point:
    x, y = values
    return float(x), float(y)


def flip_of(layout: Layout) -> Flip:
    """How the back comes behind its front, as the mark on the back points: two sheets lie as after a long-edge flip."""
    return "short-edge" if layout.through and layout.through.axis == "horizontal" else "long-edge"


def places_for(layout: Layout) -> Iterator[tuple[DeckMark, ...]]:
    """Sets of places, the best first: of three or four corners, which tell the whole sheet, before two, and large
    before small, of which the smallest are the last resort. None where the waste has no room."""
    if not layout.through or layout.one_face:
        return
    for sizes in (DECK_SIZES[:-1], DECK_SIZES[-1:]):
        for least in (3, LEAST_MARKS):
            for size in sizes:
                for pair in ((0, 1, 2, 3), (0, 1), (2, 3)):
                    chosen = tuple(one for one in _places(layout, size) if one.corner in pair)
                    if len(chosen) >= least and _far_apart(layout, chosen):
                        yield chosen


def _far_apart(layout: Layout, marks: tuple[DeckMark, ...]) -> bool:
    least = _APART * min(layout.page.width, layout.page.height)
    return max(math.dist(one.centre, other.centre) for one in marks for other in marks) >= least


@lru_cache(maxsize=64)
def _places(layout: Layout, size: float) -> tuple[DeckMark, ...]:
    """Near each corner the first place where neither face has other ink, on a full sheet or not."""
    assert layout.through
    area = layout.printable.grown(Edges.all(-layout.headroom_mm))
    room = area.shared(layout.through.rect(area))
    ink = [*(one.grown(Edges.all(_OFF_INK_MM)) for one in ink_of(layout)),
           *(one.grown(Edges.all(_OFF_MARKS_MM)) for one in (*layout.corner_marks, *_targets(layout)))]
    side, found = DeckMark(0, (0.0, 0.0), size).box.width, list[DeckMark]()
    taken = [(one.x, one.y, one.right, one.bottom) for one in ink]
    for corner in range(DECK_CORNERS):
        for square in squares_along(room, corner, side):
            x, y, right, bottom = square.x + _SLACK_MM, square.y + _SLACK_MM, square.right, square.bottom
            # ``Rect.overlaps``, spelled out: thousands of squares are tried.
            if not any(x < ends and starts < right - _SLACK_MM and y < floor and top < bottom - _SLACK_MM
                       for starts, top, ends, floor in taken):
                found.append(DeckMark(corner, square.centre, size))
                taken.append((square.x, square.y, right, bottom))
                break
    return tuple(found)


def _targets(layout: Layout) -> tuple[Rect, ...]:
    """What a pair of sheets is aligned by."""
    return waste_of(layout, len(layout.slots), "front").take_corners(TARGET_BOX_MM) if layout.hinge else ()
