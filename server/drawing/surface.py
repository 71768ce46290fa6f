"""The one drawing protocol: everything in mm, origin top-left, y down; the screen and the PDF both implement it.

``server.drawing.sheet.draw_face`` draws a planned face onto any surface, so that the screen's sheet and the PDF
cannot disagree, and a recording surface makes marks assertable without parsing a PDF.
"""

from __future__ import annotations

from contextlib import AbstractContextManager
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
