"""One geometry for everything: millimetres, origin at a face's top-left, x right, y down.

A positive angle turns clockwise on the page, because y points down. An ``Affine`` acts on column vectors:
``x' = a x + c y + e``, ``y' = b x + d y + f`` (the order of PDF's ``cm`` operator, ISO 32000-1, 8.3.4).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

Point = tuple[float, float]
Axis = Literal["vertical", "horizontal"]

_QUARTER_TURNS: dict[float, Point] = {0: (1.0, 0.0), 90: (0.0, 1.0), 180: (-1.0, 0.0), 270: (0.0, -1.0)}


@dataclass(frozen=True, slots=True)
class Rect:
    """An upright rectangle: top-left corner and size, in mm."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height

    @property
    def centre(self) -> Point:
        return self.x + self.width / 2, self.y + self.height / 2

    @property
    def corners(self) -> tuple[Point, Point, Point, Point]:
        """Top-left, top-right, bottom-right, bottom-left."""
        return (self.x, self.y), (self.right, self.y), (self.right, self.bottom), (self.x, self.bottom)

    def grown(self, edges: Edges) -> Rect:
        """Grown outwards by each edge's amount (negative shrinks)."""
        return Rect(self.x - edges.left, self.y - edges.top,
                    self.width + edges.left + edges.right, self.height + edges.top + edges.bottom)

    def moved(self, dx: float, dy: float) -> Rect:
        return Rect(self.x + dx, self.y + dy, self.width, self.height)

    def strips(self, reach: float) -> tuple[Rect, Rect, Rect, Rect]:
        """What lies within ``reach`` beside its left, top, right and bottom edge."""
        return (Rect(self.x - reach, self.y, reach, self.height), Rect(self.x, self.y - reach, self.width, reach),
                Rect(self.right, self.y, reach, self.height), Rect(self.x, self.bottom, self.width, reach))

    def overlaps(self, other: Rect, slack: float = 1e-6) -> bool:
        """True if the insides share more than ``slack`` in both directions."""
        return (min(self.right, other.right) - max(self.x, other.x) > slack
                and min(self.bottom, other.bottom) - max(self.y, other.y) > slack)

    def shared(self, other: Rect) -> Rect:
        """What both have in common; a side of zero or less where they have nothing."""
        x, y = max(self.x, other.x), max(self.y, other.y)
        return Rect(x, y, min(self.right, other.right) - x, min(self.bottom, other.bottom) - y)

    def contains(self, other: Rect, slack: float = 1e-6) -> bool:
        return (other.x >= self.x - slack and other.y >= self.y - slack
                and other.right <= self.right + slack and other.bottom <= self.bottom + slack)


class Nearby:
    """Which of many rectangles may touch a given one, without asking all of them: they are sorted into squares."""

    def __init__(self, rects: Sequence[Rect]) -> None:
        self._side = max((max(rect.width, rect.height) for rect in rects), default=1.0) or 1.0
        self._squares: dict[tuple[int, int], list[int]] = {}
        for number, rect in enumerate(rects):
            for square in self._under(rect):
                self._squares.setdefault(square, []).append(number)

    def near(self, rect: Rect) -> list[int]:
        """The numbers, ascending, of all that lie in a square that ``rect`` touches."""
        return sorted({number for square in self._under(rect) for number in self._squares.get(square, ())})

    def _under(self, rect: Rect) -> Iterator[tuple[int, int]]:
        for column in range(math.floor(rect.x / self._side), math.floor(rect.right / self._side) + 1):
            for line in range(math.floor(rect.y / self._side), math.floor(rect.bottom / self._side) + 1):
                yield column, line


@dataclass(frozen=True, slots=True)
class Edges:
    """Four amounts in mm, one for each edge of an upright rectangle on the page."""

    left: float = 0.0
    top: float = 0.0
    right: float = 0.0
    bottom: float = 0.0

    @classmethod
    def all(cls, amount: float) -> Edges:
        return cls(amount, amount, amount, amount)


@dataclass(frozen=True, slots=True)
class Affine:
    """A plane transform; the default is the identity."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    e: float = 0.0
    f: float = 0.0

    def __call__(self, point: Point) -> Point:
        x, y = point
        return self.a * x + self.c * y + self.e, self.b * x + self.d * y + self.f

    def after(self, first: Affine) -> Affine:
        """The transform that applies ``first``, then this one."""
        return Affine(
            self.a * first.a + self.c * first.b, self.b * first.a + self.d * first.b,
            self.a * first.c + self.c * first.d, self.b * first.c + self.d * first.d,
            self.a * first.e + self.c * first.f + self.e, self.b * first.e + self.d * first.f + self.f,
        )

    def inverse(self) -> Affine:
        """Raises ZeroDivisionError where the transform flattens the plane."""
        det = self.determinant
        return Affine(
            self.d / det, -self.b / det, -self.c / det, self.a / det,
            (self.c * self.f - self.d * self.e) / det, (self.b * self.e - self.a * self.f) / det,
        )

    @property
    def determinant(self) -> float:
        return self.a * self.d - self.b * self.c

    @property
    def is_identity(self) -> bool:
        return self == Affine()

    @classmethod
    def shift(cls, dx: float, dy: float) -> Affine:
        return cls(e=dx, f=dy)

    @classmethod
    def scaling(cls, sx: float, sy: float, about: Point = (0.0, 0.0)) -> Affine:
        return cls(a=sx, d=sy, e=about[0] * (1 - sx), f=about[1] * (1 - sy))

    @classmethod
    def turn(cls, degrees: float, about: Point = (0.0, 0.0)) -> Affine:
        """Clockwise as seen on the page; quarter turns are exact."""
        quarter = _QUARTER_TURNS.get(degrees % 360)
        cos, sin = quarter or (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))
        x, y = about
        return cls(cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y)


@dataclass(frozen=True, slots=True)
class ThroughFront:
    """How a point of a back face lies in the front's own frame, seen through the paper.

    Every build method is one reflection: about the upright line ``x = at_mm`` (axis "vertical") or the level
    line ``y = at_mm`` (axis "horizontal"). Its own inverse, so it also carries front points to the back.
    """

    axis: Axis
    at_mm: float

    def __call__(self, point: Point) -> Point:
        x, y = point
        return (2 * self.at_mm - x, y) if self.axis == "vertical" else (x, 2 * self.at_mm - y)

    def rect(self, rect: Rect) -> Rect:
        if self.axis == "vertical":
            return Rect(2 * self.at_mm - rect.right, rect.y, rect.width, rect.height)
        return Rect(rect.x, 2 * self.at_mm - rect.bottom, rect.width, rect.height)

    def edges(self, edges: Edges) -> Edges:
        if self.axis == "vertical":
            return Edges(edges.right, edges.top, edges.left, edges.bottom)
        return Edges(edges.left, edges.bottom, edges.right, edges.top)

    def rotation(self, degrees: int) -> int:
        """The clockwise turn of a back, so that its head lies behind the head of a front turned by ``degrees``."""
        return (-degrees if self.axis == "vertical" else 180 - degrees) % 360

    @property
    def affine(self) -> Affine:
        return Affine(a=-1.0, e=2 * self.at_mm) if self.axis == "vertical" else Affine(d=-1.0, f=2 * self.at_mm)


def bounds(points: Iterable[Point]) -> Rect:
    """The smallest upright rectangle around ``points`` (at least one)."""
    xs, ys = zip(*points, strict=True)
    return Rect(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys))
