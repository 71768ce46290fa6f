"""Where a deck's sheets carry marks for a photograph: in the waste near their corners, on both faces alike.

What they look like stands in ``server.core.camera_marks``. The front's ring and the back's disc are meant for the same
place through the front, and each is drawn with all else of its face, the printer's correction included. So a
photograph of the sheet against the light shows how far *this* sheet's backs are off, whatever was corrected before.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from server.core.camera_marks import DECK_CORNERS, DECK_SIZES, REACH_MM
from server.core.corner_marks import ink_of, squares_along
from server.core.geometry import Edges, Point, Rect
from server.core.plan import Flip, Layout
from server.core.waste import TARGET_BOX_MM, waste_of
from server.errors import BadValue

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
