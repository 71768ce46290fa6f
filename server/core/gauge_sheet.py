"""The True-up test sheet: where its stations lie and which marks both faces carry, before anything is drawn.

Everything here is through the front, in the front's own frame, mm. The back's marks come to lie behind the front's
when they are carried to the back's page by the turn of the flip; what the back says is then mirrored there, and reads
rightly against the light. The verniers' own geometry is in ``server.core.registration.vernier``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from server.core.camera_marks import STATION_WORDS, back_dots, ring_dots
from server.core.geometry import Affine, Point, Rect
from server.core.marks import ID1_HEIGHT_MM, ID1_RADIUS_MM, ID1_WIDTH_MM
from server.core.plan import Flip, Line
from server.core.registration.vernier import (
    GAP_MM,
    MAIN_LINES,
    MAIN_PITCH_MM,
    VERNIER_LINES,
    VERNIER_PITCH_MM,
    WHOLE_MM,
)
from server.core.sizes import Paper
from server.core.units import mm_text
from server.errors import BadValue

Anchor = Literal["start", "middle", "end"]

STATION_REACH_MM = 21.0  # from a station's centre to the end of its arms
INSET_MM = 31.0  # corner stations from the paper's edges: the arms end inside 4.2 mm margins and the edge rulers
_SMALLEST = (2 * INSET_MM + 2 * (2 * STATION_REACH_MM + 1.0), 200.0)
_SEVEN_FROM_MM = 340.0  # paper this long has room for two stations more
_NINE_FROM = (205.0, 250.0)  # paper of this size has room along its edges, with the words between

# Across an arm, on its clockwise side +, in mm. Front and back lines overlap by 3 mm, so that they still meet when the
# other axis has drifted by 3 mm either way.
MAIN_BAND = (-7.0, -1.0)
VERNIER_BAND = (-4.0, 3.0)
_POINTER_TIP, _POINTER_BASE = 5.8, 4.4
_LABEL_AT = 4.9
_COARSE_BAND = (6.2, 8.2)
_COARSE_NUMBER_AT = 9.4
_NAME_AT = 11.0
ARMS: tuple[tuple[int, str], ...] = ((0, "dx +"), (90, "dy +"), (180, "dx –"), (270, "dy –"))
FLIP_BOX = (13.0, 9.0)
FLIP_RING_MM = 3.0
FLIP_MARK_AT_MM = 17.0  # from the top edge
_RULER_AT_MM = 5.5  # from the edge, inside the 5 mm that most printers can't reach


@dataclass(frozen=True, slots=True)
class Station:
    """A numbered place with four vernier arms."""

    number: int
    x_mm: float
    y_mm: float

    @property
    def point(self) -> Point:
        return self.x_mm, self.y_mm


@dataclass(frozen=True, slots=True)
class SheetText:
    """Upright text; ``at`` is level with its middle, and its start, middle or end by ``anchor``."""

    at: Point
    text: str
    size_mm: float
    anchor: Anchor = "middle"


@dataclass(frozen=True, slots=True)
class Marks:
    """Plain shapes: thin lines, rings and outlines (open), discs (solid), and text."""

    lines: tuple[Line, ...] = ()
    rings: tuple[tuple[Point, float], ...] = ()
    discs: tuple[tuple[Point, float], ...] = ()
    outlines: tuple[tuple[Rect, float], ...] = ()
    texts: tuple[SheetText, ...] = ()

    def __add__(self, other: Marks) -> Marks:
        return Marks(self.lines + other.lines, self.rings + other.rings, self.discs + other.discs,
                     self.outlines + other.outlines, self.texts + other.texts)


def stations(paper: Paper) -> tuple[Station, ...]:
    """Corners and centre in reading order, with the middles of both sides where the paper is long; after them what
    else wide paper has room for along its edges. Point-symmetric, so that a sheet flipped wrongly shows its back's
    marks in the stations all the same.

    Raises BadValue where the paper is too small to hold them.
    """
    width, height = paper.width_mm, paper.height_mm
    if width < _SMALLEST[0] or height < _SMALLEST[1]:
        raise BadValue(f"paper: {paper.label} is too small for a test sheet.",
                       f"Print it on paper of {mm_text(_SMALLEST[0])} × {mm_text(_SMALLEST[1])} mm or more.")
    left, right, middle = INSET_MM, width - INSET_MM, width / 2
    top, bottom, level = INSET_MM, height - INSET_MM, height / 2
    sides = [(left, level), (right, level)]
    places = [(left, top), (right, top), (middle, level), (left, bottom), (right, bottom)]
    if height >= _SEVEN_FROM_MM:
        places[2:3] = [sides[0], (middle, level), sides[1]]
    if has_nine(paper):
        places += [(middle, top), *(side for side in sides if side not in places), (middle, bottom)]
    return tuple(Station(number, x, y) for number, (x, y) in enumerate(places, 1))


def has_nine(paper: Paper) -> bool:
    """Whether there are stations in the middle of every edge."""
    return paper.width_mm >= _NINE_FROM[0] and paper.height_mm >= _NINE_FROM[1]


def station_points(paper: Paper) -> dict[int, Point]:
    """Where each station lies, by its number; what ``parse_readings`` asks for. Raises BadValue as ``stations``."""
    return {station.number: station.point for station in stations(paper)}


def _arm(centre: Point, degrees: int) -> Affine:
    """An arm's own frame (u outwards, v across, clockwise side) to the front."""
    return Affine.shift(*centre).after(Affine.turn(degrees))


def _line(arm: Affine, u: float, low: float, high: float) -> Line:
    return Line(arm((u, low)), arm((u, high)))


def front_arm(centre: Point, degrees: int) -> Marks:
    """The main scale of one arm and the coarse ruler beside it."""
    arm = _arm(centre, degrees)
    lines = [_line(arm, GAP_MM + number * MAIN_PITCH_MM, *MAIN_BAND) for number in range(MAIN_LINES)]
    low, high = _COARSE_BAND
    for half in range(2 * WHOLE_MM + 1):
        end = high if half % 2 == 0 else (low + high) / 2  # whole millimetres are long
        lines.append(_line(arm, GAP_MM + half / 2, low, end))
    lines.append(Line(arm((GAP_MM, low)), arm((GAP_MM + WHOLE_MM, low))))
    texts = [SheetText(arm((GAP_MM + number, _COARSE_NUMBER_AT)), str(number), 1.7)
             for number in range(0, WHOLE_MM + 1, 2)]
    name = next(label for turn, label in ARMS if turn == degrees)
    texts.append(SheetText(arm((GAP_MM + WHOLE_MM + 4.5, _NAME_AT)), name, 2.6))
    return Marks(lines=tuple(lines), texts=tuple(texts))


def back_arm(centre: Point, degrees: int) -> Marks:
    """The vernier of one arm: ten lines, the first of which points at the coarse ruler with an open triangle."""
    arm = _arm(centre, degrees)
    lines = []
    for number in range(VERNIER_LINES):
        end = _POINTER_BASE if number == 0 else VERNIER_BAND[1] + (0.6 if number in (5, 9) else 0.0)
        lines.append(_line(arm, GAP_MM + number * VERNIER_PITCH_MM, VERNIER_BAND[0], end))
    tip, left, right = (arm((GAP_MM + u, v)) for u, v in ((0.0, _POINTER_TIP), (-0.7, _POINTER_BASE),
                                                           (0.7, _POINTER_BASE)))
    lines += [Line(tip, left), Line(left, right), Line(right, tip)]
    texts = tuple(SheetText(arm((GAP_MM + number * VERNIER_PITCH_MM, _LABEL_AT)), str(number), 1.9)
                  for number in (5, 9))
    return Marks(lines=tuple(lines), texts=texts)


def front_station(station: Station) -> Marks:
    """A ring of dots that a camera reads around the centre, the arms' main scales, a large number."""
    x, y = station.point
    word = STATION_WORDS[station.number - 1]
    marks = Marks(discs=ring_dots(word, station.point),
                  texts=(SheetText((x - 15.0, y - 17.0), str(station.number), 7.0),))
    for degrees, _ in ARMS:
        marks += front_arm(station.point, degrees)
    return marks


def back_station(station: Station, flip: Flip = "long-edge") -> Marks:
    """A disc at the centre, with a dot that points to the head, the arms' verniers, and the number in a ring."""
    x, y = station.point
    own = (x + 15.0, y + 16.0)
    marks = Marks(discs=back_dots(flip, station.point), rings=((own, 3.2),),
                  texts=(SheetText(own, str(station.number), 4.0),))
    for degrees, _ in ARMS:
        marks += back_arm(station.point, degrees)
    return marks


def id1_outline(paper: Paper) -> tuple[Rect, float]:
    """The ID-1 outline around the middle station, and its corner radius (ISO/IEC 7810)."""
    x, y = paper.width_mm / 2, paper.height_mm / 2
    return Rect(x - ID1_WIDTH_MM / 2, y - ID1_HEIGHT_MM / 2, ID1_WIDTH_MM, ID1_HEIGHT_MM), ID1_RADIUS_MM


def head_columns(paper: Paper) -> tuple[float, float]:
    """The x at which the box for the flip's ring stands, and at which the sheet's name stands: free of stations."""
    middle = paper.width_mm / 2
    aside = (middle - INSET_MM) / 2 if has_nine(paper) else 0.0
    return middle - aside, middle + aside


def flip_boxes(paper: Paper) -> tuple[Rect, Rect]:
    """Where the back's ring shows after the right flip, and where after the wrong one (the back turned by 180°)."""
    (width, height), x = FLIP_BOX, head_columns(paper)[0]
    right = Rect(x - width / 2, FLIP_MARK_AT_MM - height / 2, width, height)
    return right, Rect(paper.width_mm - right.right, paper.height_mm - right.bottom, width, height)


def flip_ring(paper: Paper) -> tuple[Point, float]:
    """The back's ring, through the front."""
    return (head_columns(paper)[0], FLIP_MARK_AT_MM), FLIP_RING_MM


def edge_rulers(paper: Paper, *, bottom: bool = False, right: bool = False) -> Marks:
    """Rulers along a level and an upright edge of one page, in that page's own frame, ticks inwards."""
    level = _ruler(paper.width_mm, paper.height_mm, far=bottom)
    upright = _ruler(paper.height_mm, paper.width_mm, far=right)
    lines = tuple(Line(line.start[::-1], line.end[::-1]) for line in upright.lines)
    texts = tuple(SheetText(text.at[::-1], text.text, text.size_mm, "end" if right else "start")
                  for text in upright.texts)
    return level + Marks(lines=lines, texts=texts)


def _ruler(length_mm: float, across_mm: float, *, far: bool) -> Marks:
    """A ruler along the top edge (``far``: the bottom one) of a page of that length and breadth."""
    whole = ruler_length_mm(length_mm)
    start = (length_mm - whole) / 2
    edge, way = (across_mm - _RULER_AT_MM, -1.0) if far else (_RULER_AT_MM, 1.0)
    lines, texts = [Line((start, edge), (start + whole, edge))], []
    for mm in range(whole + 1):
        tick = 2.0 if mm % 10 == 0 else 1.5 if mm % 5 == 0 else 1.0
        lines.append(Line((start + mm, edge), (start + mm, edge + way * tick)))
        if mm % 10 == 0:
            texts.append(SheetText((start + mm, edge + way * 2.9), str(mm), 1.5))
    return Marks(lines=tuple(lines), texts=tuple(texts))


def ruler_length_mm(side_mm: float) -> int:
    """How long the printed ruler along a side of the paper is: whole centimetres, 10 mm free at both ends."""
    return int((side_mm - 20.0) // 10) * 10


def gathered(parts: Iterable[Marks]) -> Marks:
    """All marks as one."""
    whole = Marks()
    for part in parts:
        whole += part
    return whole
