"""The one drawing protocol: everything in mm, origin top-left, y down; the screen and the PDF both implement it.

``server.drawing.sheet.draw_face`` draws a planned face onto any surface, so that the screen's sheet and the PDF
cannot disagree, and a recording surface remembers what was drawn, so that marks are known without parsing a PDF.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from typing import Literal, Protocol

from server.core.art import Art
from server.core.geometry import Affine, Point, Rect
from server.core.plan import Line

Rgb = tuple[int, int, int]
Layer = Literal["art", "pale ink", "cut lines", "creases", "notes", "safe zone"]  # the last is for screens only
Anchor = Literal["start", "middle", "end"]

BLACK: Rgb = (0, 0, 0)
WHITE: Rgb = (255, 255, 255)


@dataclass(frozen=True, slots=True)
class Stroke:
    """A pen: width in mm, colour, and dash lengths in mm (none draws solid). Butt caps, so that ends are exact."""

    width_mm: float = 0.1
    rgb: Rgb = BLACK
    dash_mm: tuple[float, ...] = ()


class Surface(Protocol):
    """Where a face is drawn. Pages follow one another; ``within`` may be nested."""

    def page(self, size: Rect, trim: Rect, bleed: Rect, label: str) -> None:
        """Begin a page of ``size`` (origin 0,0). ``trim`` and ``bleed`` are the printed block's boxes."""

    def within(self, *, layer: Layer | None = None, matrix: Affine | None = None,
               clip: Rect | None = None) -> AbstractContextManager[None]:
        """Everything drawn inside is on ``layer``, carried by ``matrix`` (inner to outer mm), cut off at ``clip``.

        ``clip`` is in the inner frame, that is, carried by ``matrix`` as well.
        """

    def art(self, art: Art, matrix: Affine) -> None:
        """Place art: ``matrix`` carries its unit square as it is viewed (x right, y down) into mm."""

    def fill(self, points: tuple[Point, ...], rgb: Rgb) -> None:
        """A filled polygon without outline."""

    def veil(self, points: tuple[Point, ...], opacity: float) -> None:
        """A polygon of white that lets what lies under it show through: ``opacity`` 0 to 1."""

    def lines(self, lines: tuple[Line, ...], stroke: Stroke) -> None:
        """Straight lines with one pen."""

    def outline(self, rect: Rect, radius_mm: float, stroke: Stroke) -> None:
        """The outline of a rectangle, its corners rounded by ``radius_mm`` (0: sharp)."""

    def ring(self, centre: Point, radius_mm: float, stroke: Stroke) -> None:
        """A circle's outline."""

    def text(self, at: Point, text: str, size_mm: float, rotation_deg: float = 0.0, anchor: Anchor = "start",
             rgb: Rgb = BLACK) -> None:
        """One line of sans-serif text; ``at`` is on the baseline, ``size_mm`` the em, turned clockwise about ``at``."""


Kind = Literal["art", "fill", "veil", "lines", "outline", "ring", "text"]


@dataclass(frozen=True, slots=True)
class Drawn:
    """One thing drawn. ``points`` are on the page in mm, all matrices applied; ``matrix`` carries local mm (or art's
    unit square) to the page; ``clips`` are (matrix, rectangle) pairs, outermost first."""

    kind: Kind
    page: int
    layer: Layer | None
    points: tuple[Point, ...]
    matrix: Affine
    clips: tuple[tuple[Affine, Rect], ...] = ()
    art: Art | None = None
    text: str = ""
    rgb: Rgb = BLACK
    stroke: Stroke | None = None
    size_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class RecordedPage:
    """A page's boxes in mm and its label."""

    size: Rect
    trim: Rect
    bleed: Rect
    label: str


class RecordingSurface:
    """Implements ``Surface``; ``drawn`` and ``pages`` hold what came."""

    def __init__(self) -> None:
        self.pages: list[RecordedPage] = []
        self.drawn: list[Drawn] = []
        self._matrix = Affine()
        self._layer: Layer | None = None
        self._clips: tuple[tuple[Affine, Rect], ...] = ()

    def page(self, size: Rect, trim: Rect, bleed: Rect, label: str) -> None:
        self.pages.append(RecordedPage(size, trim, bleed, label))

    @contextmanager
    def within(self, *, layer: Layer | None = None, matrix: Affine | None = None,
               clip: Rect | None = None) -> Iterator[None]:
        before = self._matrix, self._layer, self._clips
        self._matrix = self._matrix.after(matrix) if matrix else self._matrix
        self._layer = layer or self._layer
        self._clips = (*self._clips, (self._matrix, clip)) if clip else self._clips
        try:
            yield
        finally:
            self._matrix, self._layer, self._clips = before

    def art(self, art: Art, matrix: Affine) -> None:
        onto = self._matrix.after(matrix)
        square = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
        self._keep("art", tuple(onto(point) for point in square), matrix=onto, art=art)

    def fill(self, points: tuple[Point, ...], rgb: Rgb) -> None:
        self._keep("fill", self._map(points), rgb=rgb)

    def veil(self, points: tuple[Point, ...], opacity: float) -> None:
        self._keep("veil", self._map(points), rgb=WHITE)

    def lines(self, lines: tuple[Line, ...], stroke: Stroke) -> None:
        for line in lines:
            self._keep("lines", self._map((line.start, line.end)), stroke=stroke, rgb=stroke.rgb)

    def outline(self, rect: Rect, radius_mm: float, stroke: Stroke) -> None:
        self._keep("outline", self._map(rect.corners), stroke=stroke, rgb=stroke.rgb, size_mm=radius_mm)

    def ring(self, centre: Point, radius_mm: float, stroke: Stroke) -> None:
        self._keep("ring", self._map((centre,)), stroke=stroke, rgb=stroke.rgb, size_mm=radius_mm)

    def text(self, at: Point, text: str, size_mm: float, rotation_deg: float = 0.0, anchor: Anchor = "start",
             rgb: Rgb = BLACK) -> None:
        matrix = self._matrix.after(Affine.shift(*at)).after(Affine.turn(rotation_deg))
        self._keep("text", (matrix((0.0, 0.0)),), matrix=matrix, text=text, size_mm=size_mm, rgb=rgb)

    def _map(self, points: tuple[Point, ...]) -> tuple[Point, ...]:
        return tuple(self._matrix(point) for point in points)

    def _keep(self, kind: Kind, points: tuple[Point, ...], *, matrix: Affine | None = None, art: Art | None = None,
              text: str = "", rgb: Rgb = BLACK, stroke: Stroke | None = None, size_mm: float = 0.0) -> None:
        self.drawn.append(Drawn(kind, len(self.pages) - 1, self._layer, points, matrix or self._matrix, self._clips,
                                art, text, rgb, stroke, size_mm))
