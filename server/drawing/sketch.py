"""What the drawings of steps are made of: small sheets in true proportion, arrows, tools; onto any surface."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from server.core.geometry import Affine, Edges, Point, Rect
from server.core.plan import Layout, Line
from server.core.planning import Planned
from server.drawing.surface import WHITE, Rgb, Stroke, Surface

WIDTH_MM, HEIGHT_MM = 62.0, 44.0
FRONT: Rgb = (196, 222, 228)
BACK: Rgb = (240, 219, 181)
BOARD: Rgb = (176, 168, 156)
SHADE: Rgb = (228, 224, 216)
GLUE: Rgb = (214, 160, 60)
TAPE: Rgb = (120, 190, 200)
DARK: Rgb = (60, 56, 50)
ACT: Rgb = (163, 58, 30)  # what the hand does
EDGE = Stroke(0.25, DARK)
THIN = Stroke(0.15, (130, 124, 114))
DOING = Stroke(0.5, ACT)
CUT = Stroke(0.35, ACT)
CREASE = Stroke(0.3, DARK, (1.6, 1.0))
HIDDEN = Stroke(0.2, DARK, (0.8, 0.8))


@dataclass(frozen=True, slots=True)
class Mini:
    """A piece of paper drawn small: from its page's mm to the drawing's."""

    scale: float
    x: float
    y: float

    def point(self, at: Point) -> Point:
        return self.x + at[0] * self.scale, self.y + at[1] * self.scale

    def rect(self, rect: Rect) -> Rect:
        return Rect(*self.point((rect.x, rect.y)), rect.width * self.scale, rect.height * self.scale)

    def line(self, line: Line) -> Line:
        return Line(self.point(line.start), self.point(line.end))

    @property
    def matrix(self) -> Affine:
        return Affine(a=self.scale, d=self.scale, e=self.x, f=self.y)


def fitted(piece: Rect, room: Rect) -> Mini:
    """``piece`` as large as ``room`` takes it, in its middle."""
    scale = min(room.width / piece.width, room.height / piece.height)
    x, y = room.centre
    return Mini(scale, x - piece.centre[0] * scale, y - piece.centre[1] * scale)


class Sketch:
    """One drawing of WIDTH_MM by HEIGHT_MM, its top-left corner the origin."""

    def __init__(self, surface: Surface, planned: Planned) -> None:
        self.surface = surface
        self.planned = planned

    @property
    def layout(self) -> Layout:
        return self.planned.plan.layout

    @property
    def room(self) -> Rect:
        return Rect(2, 2, WIDTH_MM - 4, HEIGHT_MM - 4)

    def half(self, left: bool) -> Rect:
        room = self.room
        return Rect(room.x if left else room.x + room.width / 2 + 2, room.y, room.width / 2 - 2, room.height)

    def paper(self, rect: Rect, rgb: Rgb = WHITE) -> None:
        self.surface.fill(rect.corners, rgb)
        self.surface.outline(rect, 0.0, EDGE)

    def cards(self, mini: Mini, rects: tuple[Rect, ...], rgb: Rgb, radius_mm: float = 0.0) -> None:
        for rect in rects:
            small = mini.rect(rect)
            self.surface.fill(small.corners, rgb)
            self.surface.outline(small, radius_mm * mini.scale, THIN)

    def arrow(self, *points: Point, stroke: Stroke = DOING, head_mm: float = 1.8) -> None:
        """A way through ``points`` with a head at its end."""
        self.surface.lines(tuple(Line(one, other) for one, other in pairwise(points)), stroke)
        (x0, y0), (x1, y1) = points[-2], points[-1]
        angle = math.atan2(y1 - y0, x1 - x0)
        feet = tuple((x1 - head_mm * math.cos(angle + side), y1 - head_mm * math.sin(angle + side))
                     for side in (0.45, -0.45))
        self.surface.fill(((x1 + 0.6 * math.cos(angle), y1 + 0.6 * math.sin(angle)), *feet), stroke.rgb)

    def bow(self, start: Point, end: Point, rise: float) -> None:
        """An arrow in a bow from ``start`` to ``end``; ``rise`` mm to the left of the way (negative: to the right)."""
        (x0, y0), (x1, y1) = start, end
        length = math.hypot(x1 - x0, y1 - y0) or 1.0
        out = ((y1 - y0) / length, -(x1 - x0) / length)
        points = []
        for step in range(13):
            share = step / 12
            off = rise * 4 * share * (1 - share)
            points.append((x0 + (x1 - x0) * share + off * out[0], y0 + (y1 - y0) * share + off * out[1]))
        self.arrow(*points)

    def number(self, at: Point, text: str, rgb: Rgb = ACT) -> None:
        """A number in a disc."""
        x, y = at
        disc = tuple((x + 1.5 * math.cos(turn * math.pi / 10), y + 1.5 * math.sin(turn * math.pi / 10))
                     for turn in range(20))
        self.surface.fill(disc, rgb)
        self.surface.text((x, y + 0.75), text, 2.0, anchor="middle", rgb=WHITE)

    def label(self, at: Point, text: str, size_mm: float = 2.4) -> None:
        self.surface.text(at, text, size_mm, anchor="middle", rgb=DARK)

    def dots(self, rect: Rect, rgb: Rgb = GLUE, gap: float = 1.9) -> None:
        """A face with glue or coat on it."""
        inner = rect.grown(Edges.all(-0.7))
        columns, rows = max(1, int(inner.width / gap)), max(1, int(inner.height / gap))
        for column in range(columns):
            for row in range(rows):
                x = inner.x + (column + 0.5) * inner.width / columns
                y = inner.y + (row + 0.5) * inner.height / rows
                self.surface.fill(Rect(x - 0.35, y - 0.35, 0.7, 0.7).corners, rgb)

    def lamp(self, at: Point) -> None:
        """A light with rays."""
        x, y = at
        self.surface.ring(at, 2.2, Stroke(0.5, GLUE))
        rays = []
        for turn in range(12):
            cos, sin = math.cos(turn * math.pi / 6), math.sin(turn * math.pi / 6)
            rays.append(Line((x + 3.2 * cos, y + 3.2 * sin), (x + 5.0 * cos, y + 5.0 * sin)))
        self.surface.lines(tuple(rays), Stroke(0.4, GLUE))

    def knife(self, at: Point, turned: bool = False) -> None:
        """A blade whose tip is ``at``."""
        shape = ((0, 0), (1.6, -3.2), (2.6, -2.6), (1.0, 0.2))
        grip = ((1.6, -3.2), (4.2, -8.4), (5.2, -7.8), (2.6, -2.6))
        turn = Affine.shift(*at).after(Affine.turn(90 if turned else 0))
        self.surface.fill(tuple(turn(point) for point in shape), (150, 150, 150))
        self.surface.fill(tuple(turn(point) for point in grip), DARK)

    def can(self, at: Point) -> None:
        """A spray can at the left of ``at``, spraying towards it."""
        x, y = at
        self.surface.fill(Rect(x - 12, y - 1.5, 5, 9).corners, (150, 150, 150))
        self.surface.fill(Rect(x - 11, y - 3.5, 3, 2).corners, DARK)
        for rise in (-2.4, 0.0, 2.4):
            self.surface.lines((Line((x - 7.6, y - 2.5), (x - 1.0, y - 2.5 + rise)),), Stroke(0.2, GLUE, (0.6, 0.6)))
