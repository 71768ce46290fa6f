"""Places for registration marks: squares in different corners of the front's page, clear of every other ink.

A cutting machine's camera, or an eye over a light, finds the sheet by them. On a sheet that is folded they lie in the
corners of the fronts' panel, which is what lies under the knife, and in the page's outer corners besides, so that the
flat sheet can be found too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from server.core.cuts import crease_lines, cut_lines, piece_to_cut
from server.core.geometry import Edges, Rect, bounds
from server.core.methods.protocol import printable
from server.core.plan import Arrangement, Layout, PlanRequest, Side
from server.errors import DoesNotFit

if TYPE_CHECKING:
    from server.core.search import Candidate

Kind = tuple[Arrangement, bool, str]

MARK_MM = 5.0
MARK_STRIP_MM = 6.5  # kept free for them where the waste alone has no room: the mark, and air on both sides
LEAST_CORNERS = 3
_AIR_MM = 0.6
_STEP_MM = 0.5
_FARTHEST = 0.4  # of a side: farther in it is no corner any more


def corner_squares(layout: Layout, *, flooded: bool = False) -> tuple[Rect, ...]:
    """One square for each corner that has room for it, up to six on a folded sheet. ``flooded``: colour lies under the
    backs, so on a sheet that is folded nothing is clear on their panel."""
    area = layout.printable.grown(Edges.all(-layout.headroom_mm))
    ink = list(ink_of(layout))
    panel = piece_to_cut(layout).shared(area)
    corners = [(panel, corner) for corner in range(4)]
    if panel != area and not flooded:
        corners += [(area, corner) for corner in range(4)
                    if not panel.contains(Rect(*area.corners[corner], 0, 0), 0.01)]
    squares: list[Rect] = []
    for room, corner in corners:
        found = next((square for square in squares_along(room, corner, MARK_MM)
                      if not any(square.grown(Edges.all(_AIR_MM)).overlaps(one) for one in (*ink, *squares))), None)
        if found:
            squares.append(found)
    return tuple(squares)


def best_with_marks(request: PlanRequest,
                    best_of: Callable[[PlanRequest], dict[Kind, Candidate]]) -> dict[Kind, Candidate]:
    """The best of each kind whose waste takes registration marks, strips kept free for them where that is needed.

    Raises DoesNotFit where there is none.
    """
    m, strip = request.margins, MARK_STRIP_MM
    whole = printable(replace(request, headroom_mm=0.0))
    best: dict[Kind, Candidate] = {}
    refused: DoesNotFit | None = None
    for margins in (m, replace(m, top=m.top + strip, bottom=m.bottom + strip),
                    replace(m, left=m.left + strip, right=m.right + strip)):
        try:
            found = best_of(replace(request, margins=margins))
        except DoesNotFit as error:
            refused = error
            continue
        for kind, candidate in found.items():
            layout = replace(candidate.layout, printable=whole)
            squares = corner_squares(layout, flooded=request.back_flooded)
            candidate = replace(candidate, layout=replace(layout, corner_marks=squares))
            if corners_of(layout, squares) >= LEAST_CORNERS and (
                    kind not in best or candidate.rank < best[kind].rank):
                best[kind] = candidate
    if not best:
        raise refused or DoesNotFit(
            f"registration: {request.paper.label} has no room for marks in {LEAST_CORNERS} corners.",
            "Choose larger paper, or another build method.")
    return best


def corners_of(layout: Layout, squares: tuple[Rect, ...]) -> int:
    """In how many different corners of what is cut they lie."""
    panel = piece_to_cut(layout)
    x, y = panel.centre
    return len({(square.centre[0] < x, square.centre[1] < y) for square in squares if panel.contains(square)})


def ink_of(layout: Layout) -> Iterator[Rect]:
    """Everything else that may be drawn on the front's page, full sheet or not."""
    cards = len(layout.slots)
    sides: tuple[Side, ...] = ("front", "back") if layout.one_face else ("front",)
    for number, slot in enumerate(layout.slots):
        for side in sides:
            trim = slot.front if side == "front" else slot.back
            yield trim.grown(Edges.all(layout.bleed_mm) if cards > 1 else layout.bleed(number, side, cards))
    for line in (*cut_lines(layout), *crease_lines(layout, cards), *layout.creases):
        yield bounds((line.start, line.end)).grown(Edges.all(0.3))
    if layout.one_face and layout.through:  # cut lines may be drawn round the backs as well
        for line in cut_lines(layout):
            yield bounds((layout.through(line.start), layout.through(line.end))).grown(Edges.all(0.3))
    if layout.hinge:
        yield layout.hinge


def squares_along(room: Rect, corner: int, size: float) -> Iterator[Rect]:
    """Squares of that size, flush with either edge of ``room`` that meets in that corner, from the corner inwards."""
    right, bottom = corner in (1, 2), corner in (2, 3)
    across, down = room.width - size, room.height - size
    if across < 0 or down < 0:
        return
    for step in range(int(_FARTHEST * max(across, down) / _STEP_MM) + 1):
        for along in (True, False):
            off_x, off_y = (step * _STEP_MM, 0.0) if along else (0.0, step * _STEP_MM)
            if off_x <= _FARTHEST * across and off_y <= _FARTHEST * down:
                yield Rect(room.x + (across - off_x if right else off_x),
                           room.y + (down - off_y if bottom else off_y), size, size)
