"""The free waste of a face, cut into cells that marks may take.

Around the block of cards, bleed counted, lie four bands of printable waste. Cut lines cross them, so each band is
divided at the cuts, and each division into rows of one text line. A cell is a part of such a row.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

from server.core.cuts import cut_positions
from server.core.geometry import Edges, Nearby, Point, Rect, bounds
from server.core.plan import FaceName, Layout, Line, Side

ROW_MM = 3.0
TARGET_BOX_MM = 6.0  # of what a pair of sheets is aligned by
_MOST_ROWS = 40  # of a band: no marks need more, and a sheet of metres has no end of them
_OFF_BLEED_MM = 0.4
_OFF_CUT_MM = 0.7


@dataclass(frozen=True, slots=True)
class Cell:
    """A free strip: ``turn`` is 0 where it is read level, 270 in the left band, 90 in the right one.

    Its own frame has the reading direction as first axis and "down as read" as second.
    """

    box: Rect
    turn: int

    @property
    def length(self) -> float:
        return self.box.width if self.turn == 0 else self.box.height

    @property
    def thickness(self) -> float:
        return self.box.height if self.turn == 0 else self.box.width

    def point(self, at: Point) -> Point:
        """From the cell's own frame to the page."""
        box, (along, down) = self.box, at
        if self.turn == 0:
            return box.x + along, box.y + down
        return (box.right - down, box.y + along) if self.turn == 90 else (box.x + down, box.bottom - along)

    def line(self, start: Point, end: Point) -> Line:
        return Line(self.point(start), self.point(end))

    def part(self, start: float, length: float, thickness: float | None = None) -> Cell:
        """The piece from ``start`` along the reading direction."""
        high = self.thickness if thickness is None else thickness
        return Cell(_between(self.point((start, 0)), self.point((start + length, high))), self.turn)


class Waste:
    """What is still free of one face. Taking a cell or a box makes it less."""

    def __init__(self, divisions: Iterable[Cell], holes: Iterable[Rect]) -> None:
        self._divisions = [cell for cell in divisions if cell.length > 1 and cell.thickness > 1]
        self._holes = list(holes)
        self._rows = [row for cell in self._divisions for row in _rows(cell)]
        self._taken: list[Rect] = []

    def copy(self) -> Waste:
        """The same waste, to be taken from without making this one less."""
        copied = Waste((), ())
        copied._divisions, copied._holes, copied._rows = list(self._divisions), list(self._holes), list(self._rows)
        copied._taken = list(self._taken)
        return copied

    def take(self, length: float, thickness: float) -> Cell | None:
        """A cell of that size from the first row that has room; None if none has."""
        for number, row in enumerate(self._rows):
            if row.length >= length and row.thickness >= thickness:
                rest = row.part(length + 1.5, max(0.0, row.length - length - 1.5))
                self._rows[number] = rest
                taken = row.part(0, length)
                self._taken.append(taken.box)
                return taken
        return None

    def longest(self, thickness: float) -> float:
        """The longest row that is at least so thick, in mm; 0 if there is none."""
        return max((row.length for row in self._rows if row.thickness >= thickness), default=0.0)

    def take_box(self, width: float, height: float) -> Rect | None:
        """A box of that size, either way round: an empty slot, or a division of a band."""
        boxes = [*self._holes, *(cell.box for cell in self._divisions)]
        for box in boxes:
            for wide, high in ((width, height), (height, width)):
                found = Rect(box.x + (box.width - wide) / 2, box.y + (box.height - high) / 2, wide, high)
                if box.contains(found) and not any(one.overlaps(found) for one in self._taken):
                    self.block(found)
                    self._holes = [hole for hole in self._holes if not hole.overlaps(found)]
                    return found
        return None

    def take_corners(self, size: float) -> tuple[Rect, ...]:
        """Up to four squares near the corners, in the pair of bands that is thick enough."""
        for turns in ((0,), (90, 270)):
            chosen: list[Rect] = []
            bands = [cell for cell in self._divisions if cell.turn in turns and cell.thickness >= size]
            for band in _by_band(bands):
                ends = [end for cell in band if cell.length >= size
                        for end in (cell.part(0, size).box, cell.part(cell.length - size, size).box)]
                if ends:
                    chosen += [min(ends, key=_along), max(ends, key=_along)]
            squares = [_square(box, size) for box in chosen]
            if len(squares) >= 4:
                for square in squares:
                    self.block(square)
                return tuple(squares)
        return ()

    def block(self, box: Rect) -> None:
        """Take ``box`` out of every row that it touches."""
        self._taken.append(box)
        rows: list[Cell] = []
        for row in self._rows:
            if not row.box.overlaps(box):
                rows.append(row)
                continue
            shared = row.box.shared(box)
            if row.turn == 0:
                before, after = shared.x - row.box.x, row.box.right - shared.right
            elif row.turn == 90:
                before, after = shared.y - row.box.y, row.box.bottom - shared.bottom
            else:
                before, after = row.box.bottom - shared.bottom, shared.y - row.box.y
            rows += [row.part(0, before - 1), row.part(row.length - after + 1, after - 1)]
        self._rows = [row for row in rows if row.length > 1]


def _by_band(cells: list[Cell]) -> list[list[Cell]]:
    bands: dict[float, list[Cell]] = {}
    for cell in cells:
        bands.setdefault(round(cell.box.y if cell.turn == 0 else cell.box.x, 6), []).append(cell)
    return list(bands.values())


def _along(box: Rect) -> float:
    """How far along its band a box lies; the other coordinate is the same for all of a band."""
    return box.x + box.y


def _square(box: Rect, size: float) -> Rect:
    x, y = box.centre
    return Rect(x - size / 2, y - size / 2, size, size)


def _between(first: Point, second: Point) -> Rect:
    """The rectangle with these opposite corners."""
    (x, y), (other_x, other_y) = first, second
    left, top = min(x, other_x), min(y, other_y)
    return Rect(left, top, max(x, other_x) - left, max(y, other_y) - top)


@lru_cache(maxsize=1024)  # sheet after sheet has the same bands
def _rows(cell: Cell) -> tuple[Cell, ...]:
    count = max(1, int(cell.thickness / ROW_MM))
    high = min(cell.thickness / count, ROW_MM + 0.4)
    return tuple(Cell(_between(cell.point((0, row * high)), cell.point((cell.length, (row + 1) * high))), cell.turn)
                 for row in range(min(count, _MOST_ROWS)))


def waste_of(layout: Layout, cards: int, name: FaceName) -> Waste:
    """The free waste of a face with that many cards on its sheet, in the page's frame."""
    upright, level = cut_positions(layout, cards)
    sides: tuple[Side, ...] = (*(("front",) if name != "back" else ()), *(("back",) if name != "front" else ()))
    taken = bounds(corner for number in range(len(layout.slots)) for side in sides
                   for corner in _inked(layout, number, side, len(layout.slots)).corners)
    inked = [_inked(layout, number, side, cards) for number in range(cards) for side in sides]
    area = layout.printable.grown(Edges.all(-layout.headroom_mm))
    if layout.hinge and layout.through:  # what is marked on one sheet is marked on the other: both must print it
        area = area.shared(layout.through.rect(area))
    printable = _clear_of_hinge(area, layout.hinge_back if name == "back" else layout.hinge)
    empty = layout.trims(name, cards)
    if name == "back" and layout.through:
        upright = tuple(sorted(layout.through((x, 0))[0] for x in upright))
        level = tuple(sorted(layout.through((0, y))[1] for y in level))
    divisions = _divisions(printable, taken.grown(Edges.all(_OFF_BLEED_MM)), upright, level, layout.creases)
    nearby = Nearby(inked)
    holes = [_clear_of_ink(hole, [inked[number] for number in nearby.near(hole)]) for hole in empty]
    return Waste(divisions, (hole.grown(Edges.all(-_OFF_CUT_MM)) for hole in holes))


def _inked(layout: Layout, number: int, side: Side, cards: int) -> Rect:
    slot = layout.slots[number]
    return (slot.front if side == "front" else slot.back).grown(layout.bleed(number, side, cards))


def _clear_of_ink(hole: Rect, inked: list[Rect]) -> Rect:
    """An empty slot less the bleed that its neighbours run into it."""
    for ink in inked:
        shared = hole.shared(ink)
        if shared.width <= 0 or shared.height <= 0:
            continue
        if shared.width <= shared.height:
            left = shared.right if shared.x <= hole.x else hole.x
            hole = Rect(left, hole.y, hole.width - shared.width, hole.height)
        else:
            top = shared.bottom if shared.y <= hole.y else hole.y
            hole = Rect(hole.x, top, hole.width, hole.height - shared.height)
    return hole


def _clear_of_hinge(area: Rect, hinge: Rect | None) -> Rect:
    if not hinge:
        return area
    if hinge.width < hinge.height:
        left = max(area.x, hinge.right) if hinge.x <= 0 else area.x
        right = area.right if hinge.x <= 0 else min(area.right, hinge.x)
        return Rect(left, area.y, right - left, area.height)
    top = max(area.y, hinge.bottom) if hinge.y <= 0 else area.y
    bottom = area.bottom if hinge.y <= 0 else min(area.bottom, hinge.y)
    return Rect(area.x, top, area.width, bottom - top)


def _divisions(area: Rect, taken: Rect, upright: tuple[float, ...], level: tuple[float, ...],
               creases: tuple[Line, ...]) -> list[Cell]:
    xs = [*upright, *(line.at_mm for line in creases if line.axis == "vertical")]
    ys = [*level, *(line.at_mm for line in creases if line.axis == "horizontal")]
    cells = []
    for low, high in _spans(area.y, area.bottom, ys):
        cells.append(Cell(Rect(area.x, low, taken.x - area.x, high - low), 270))
        cells.append(Cell(Rect(taken.right, low, area.right - taken.right, high - low), 90))
    for low, high in _spans(area.x, area.right, xs):
        cells.append(Cell(Rect(low, area.y, high - low, taken.y - area.y), 0))
        cells.append(Cell(Rect(low, taken.bottom, high - low, area.bottom - taken.bottom), 0))
    return _without_corners(cells, taken)


def _spans(low: float, high: float, cuts: list[float]) -> list[tuple[float, float]]:
    edges = [low - _OFF_CUT_MM, *sorted(cut for cut in cuts if low < cut < high), high + _OFF_CUT_MM]
    return [(start + _OFF_CUT_MM, end - _OFF_CUT_MM) for start, end in pairwise(edges)]


def _without_corners(cells: list[Cell], taken: Rect) -> list[Cell]:
    """Where an upright and a level band cross, the level one has the corner."""
    kept = []
    for cell in cells:
        if cell.turn:
            top, bottom = max(cell.box.y, taken.y), min(cell.box.bottom, taken.bottom)
            cell = replace(cell, box=Rect(cell.box.x, top, cell.box.width, bottom - top))
        if cell.box.width > 1 and cell.box.height > 1:
            kept.append(cell)
    return kept
