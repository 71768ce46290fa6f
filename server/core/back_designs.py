"""Backs that forgive: what a made back looks like, as plain shapes on the card, before anything is drawn.

Every design is the same after a half turn about the card's centre, so that it also hides rotation and which way is up:
each shape comes with its own half turn, or is its own. Three ways to finish the edge, each forgiving in its own way:
``full`` (the pattern runs over the cut into the bleed), ``inset`` (a buffer of bare paper round it, and no line) and
``flooded`` (the edge's colour runs out over the whole block, to the edge of what can be printed).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from server.core.cuts import cut_field
from server.core.geometry import Affine, Edges, Point, Rect
from server.core.lettering import plain_line, text_width_mm
from server.core.plan import Face
from server.core.planning import Planned
from server.core.sizes import CardSize
from server.core.units import mm_text
from server.errors import BadValue

Rgb = tuple[int, int, int]
Finish = Literal["full", "inset", "flooded"]
PatternName = Literal["plain", "beams", "ripples", "net", "links", "stripes", "pennants"]

FINISHES: dict[Finish, str] = {
    "full": "Pattern over the cut", "inset": "White buffer all round", "flooded": "Edge colour run out"}
PATTERNS: dict[PatternName, str] = {
    "plain": "Plain", "beams": "Lamp beams", "ripples": "Ripples", "net": "Net", "links": "Chain links",
    "stripes": "Slanted stripes", "pennants": "Pennants"}
# A home duplexer misses by 1 to 2 mm, and backs with that much to spare hide it (common practice).
DEFAULT_BUFFER_MM = 2.0
MOST_BUFFER_MM = 15.0
LONGEST_TITLE = 40
_WHITE: Rgb = (255, 255, 255)
# A flooded back keeps its pattern this share of the width inside the cut, so that a shift is hard to see.
_FLOOD_FRAME = 0.22
_COLOUR = re.compile(r"#?([0-9a-fA-F]{6})")


@dataclass(frozen=True, slots=True)
class Polygon:
    """A filled polygon in mm on the card, its trim's top-left corner the origin."""

    points: tuple[Point, ...]
    rgb: Rgb


@dataclass(frozen=True, slots=True)
class Ring:
    """A circle's outline."""

    centre: Point
    radius_mm: float
    width_mm: float
    rgb: Rgb


@dataclass(frozen=True, slots=True)
class Title:
    """A line of text centred on ``at`` (its baseline's middle), turned clockwise about it by 0 or 180 degrees."""

    at: Point
    text: str
    size_mm: float
    rotation_deg: int
    rgb: Rgb


Shape = Polygon | Ring | Title


@dataclass(frozen=True, slots=True)
class BackDesign:
    """The choices. ``buffer_mm`` counts for ``inset`` only; ``title`` may be empty."""

    finish: Finish = "full"
    pattern: PatternName = "net"
    ground: Rgb = (31, 95, 107)
    ink: Rgb = (243, 221, 174)
    title: str = ""
    buffer_mm: float = DEFAULT_BUFFER_MM

    def checked(self, card: CardSize) -> BackDesign:
        """The same, its title cleaned. Raises BadValue for a choice that can't be drawn on ``card``."""
        if self.pattern not in PATTERNS:
            raise BadValue(f"pattern: {self.pattern!r} is not known.", f"Use one of {', '.join(PATTERNS)}.")
        if self.finish not in FINISHES:
            raise BadValue(f"finish: {self.finish!r} is not known.", f"Use one of {', '.join(FINISHES)}.")
        most = min(MOST_BUFFER_MM, min(card.width_mm, card.height_mm) / 4)
        if not (math.isfinite(self.buffer_mm) and 0 <= self.buffer_mm <= most):
            raise BadValue(f"buffer: {self.buffer_mm:g} mm is no width for this card.", f"Use 0 to {mm_text(most)} mm.")
        title = " ".join(plain_line(self.title).split())
        if len(title) > LONGEST_TITLE:
            raise BadValue(f"title: {len(title)} letters are more than {LONGEST_TITLE}.", "Shorten it.")
        return BackDesign(self.finish, self.pattern, self.ground, self.ink, title, self.buffer_mm)


def colour_from(text: str, argument: str) -> Rgb:
    """A colour from ``#1f5f6b``. Raises BadValue, naming ``argument`` and ``text``."""
    found = _COLOUR.fullmatch(text.strip())
    if not found:
        raise BadValue(f"{argument}: {text[:20]!r} is no colour.", "Write it as #1f5f6b.")
    value = int(found[1], 16)
    return value >> 16, value >> 8 & 255, value & 255


def design_shapes(design: BackDesign, card: CardSize, bleed_mm: float) -> tuple[tuple[Rect, tuple[Shape, ...]], ...]:
    """What to draw, bottom first: shapes, each group cut off at its rectangle, in mm on the card.

    The first group covers the trim and ``bleed_mm`` around it.
    """
    trim = Rect(0.0, 0.0, card.width_mm, card.height_mm)
    whole = trim.grown(Edges.all(bleed_mm))
    field = {"full": whole, "inset": trim.grown(Edges.all(-design.buffer_mm)),
             "flooded": trim.grown(Edges.all(-_FLOOD_FRAME * min(card.width_mm, card.height_mm)))}[design.finish]
    rim = _WHITE if design.finish == "inset" else design.ground
    groups: list[tuple[Rect, tuple[Shape, ...]]] = [(whole, (_box(whole, rim),))]
    pattern = tuple(_PATTERNS[design.pattern](field, trim.centre, design.ink))
    if design.finish == "inset" or pattern:
        groups.append((field, (_box(field, design.ground), *pattern)))
    if design.title:
        plate, titles = _titles(design, field.shared(trim))
        groups.append((plate, (_box(plate, design.ground), *titles)))
    return tuple(groups)


def flood_of(planned: Planned, face: Face) -> tuple[Rect, Rgb] | None:
    """Where the backs' flood lies on that page, and its colour: off the hinge and the crease, all that is printed.

    None where each back is cut out with its front: nothing can move beyond its cuts.
    """
    colour, layout = planned.settings.back_flood, planned.plan.layout
    if not colour or face.name == "front" or layout.through is None:
        return None
    value = int(colour[1:], 16)
    return (layout.through.rect(cut_field(layout)).shared(layout.printable),
            (value >> 16, value >> 8 & 255, value & 255))


def half_turned(shape: Shape, card: CardSize) -> Shape:
    """The shape after half a turn about the card's centre."""
    turn = Affine.turn(180, (card.width_mm / 2, card.height_mm / 2))
    if isinstance(shape, Polygon):
        return Polygon(tuple(turn(point) for point in shape.points), shape.rgb)
    if isinstance(shape, Ring):
        return Ring(turn(shape.centre), shape.radius_mm, shape.width_mm, shape.rgb)
    return Title(turn(shape.at), shape.text, shape.size_mm, (shape.rotation_deg + 180) % 360, shape.rgb)


def _box(rect: Rect, rgb: Rgb) -> Polygon:
    return Polygon(rect.corners, rgb)


def _titles(design: BackDesign, field: Rect) -> tuple[Rect, tuple[Title, ...]]:
    """The title twice on a plate across the centre: once for each way up."""
    x, y = field.centre
    room = field.width * 0.8
    size = min(6.0, 6.0 * room / max(text_width_mm(design.title, 6.0), 1e-6))
    width = text_width_mm(design.title, size) + size * 1.6
    if width > field.width * 0.8:  # what would be left of the pattern beside it reads as a mistake
        width = field.width
    plate = Rect(x - width / 2, y - size * 1.75, width, size * 3.5)
    above, below = (x, y - size * 0.45), (x, y + size * 0.45)
    return plate, (Title(above, design.title, size, 0, design.ink), Title(below, design.title, size, 180, design.ink))


def _beams(field: Rect, centre: Point, ink: Rgb) -> Iterator[Shape]:
    """Wedges out from a lamp: an even number, so that half a turn lays each on another."""
    count, far = 14, math.hypot(field.width, field.height)
    x, y = centre
    for number in range(count):
        start = (number + 0.25) * 2 * math.pi / count
        ends = (start, start + math.pi / count)
        yield Polygon((centre, *((x + far * math.cos(end), y + far * math.sin(end)) for end in ends)), ink)


def _ripples(field: Rect, centre: Point, ink: Rgb) -> Iterator[Shape]:
    step = 3.4
    for number in range(1, math.ceil(math.hypot(field.width, field.height) / 2 / step) + 1):
        yield Ring(centre, number * step, 1.1, ink)


def _bar(middle: Point, along: Point, half_length: float, half_width: float, rgb: Rgb) -> Polygon:
    """A straight bar about ``middle``; ``along`` is a unit vector."""
    (x, y), (dx, dy) = middle, along
    left, right = (-dy * half_width, dx * half_width), (dy * half_width, -dx * half_width)
    near, far = (x - dx * half_length, y - dy * half_length), (x + dx * half_length, y + dy * half_length)
    return Polygon(((near[0] + left[0], near[1] + left[1]), (far[0] + left[0], far[1] + left[1]),
                    (far[0] + right[0], far[1] + right[1]), (near[0] + right[0], near[1] + right[1])), rgb)


def _slanted(field: Rect, centre: Point, ink: Rgb, degrees: float, step: float, width: float) -> Iterator[Shape]:
    """Bars in one direction, at half steps to both sides of the centre, so that half a turn pairs them."""
    angle = math.radians(degrees)
    along, across = (math.cos(angle), math.sin(angle)), (-math.sin(angle), math.cos(angle))
    far = math.hypot(field.width, field.height)
    for number in range(math.ceil(far / 2 / step) + 1):
        for side in (-1, 1):
            away = side * (number + 0.5) * step
            middle = centre[0] + across[0] * away, centre[1] + across[1] * away
            yield _bar(middle, along, far, width / 2, ink)


def _net(field: Rect, centre: Point, ink: Rgb) -> Iterator[Shape]:
    for degrees in (55.0, -55.0):
        yield from _slanted(field, centre, ink, degrees, 5.2, 0.7)


def _stripes(field: Rect, centre: Point, ink: Rgb) -> Iterator[Shape]:
    yield from _slanted(field, centre, ink, 45.0, 6.0, 3.0)


def _cells(field: Rect, centre: Point, across: float, down: float) -> Iterator[tuple[int, int, Point]]:
    """Centres of cells in rows about the card's centre, over all of ``field``."""
    columns = math.ceil(field.width / 2 / across) + 1
    rows = math.ceil(field.height / 2 / down) + 1
    for row in range(-rows, rows + 1):
        for column in range(-columns, columns + 1):
            yield column, row, (centre[0] + column * across, centre[1] + row * down)


def _links(field: Rect, centre: Point, ink: Rgb) -> Iterator[Shape]:
    for _, _, middle in _cells(field, centre, 5.0, 5.0):
        yield Ring(middle, 3.1, 0.8, ink)


def _pennants(field: Rect, centre: Point, ink: Rgb) -> Iterator[Shape]:
    """Triangles point up in one row and down in the next, one row's step lying across the centre."""
    for _, row, (x, y) in _cells(field, (centre[0], centre[1] - 3.5), 6.0, 7.0):
        up = row % 2 == 0
        tip, foot = (y - 2.6, y + 2.6) if up else (y + 2.6, y - 2.6)
        yield Polygon(((x, tip), (x + 2.6, foot), (x - 2.6, foot)), ink)


def _plain(field: Rect, centre: Point, ink: Rgb) -> Iterator[Shape]:
    return iter(())


_PATTERNS: dict[PatternName, Callable[[Rect, Point, Rgb], Iterator[Shape]]] = {
    "plain": _plain, "beams": _beams, "ripples": _ripples, "net": _net, "links": _links, "stripes": _stripes,
    "pennants": _pennants,
}
