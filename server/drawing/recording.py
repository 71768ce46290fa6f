"""A surface that remembers: what was drawn, where on the page, in mm, so that it can be asserted without a PDF."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal

from server.core.art import Art
from server.core.geometry import Affine, Point, Rect
from server.core.plan import Line
from server.drawing.surface import BLACK, WHITE, Anchor, Layer, Rgb, Stroke

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
