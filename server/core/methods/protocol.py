"""What a build method must answer, and the frame in which it thinks.

A method works in the *arrangement's* frame: as the sheet is read, upright, portrait or landscape. ``Frame`` carries
its answers into the page, which is always portrait: a landscape arrangement is turned by 90 degrees clockwise.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, Protocol

from server.core.geometry import Edges, Point, Rect, ThroughFront, bounds
from server.core.paper import Paper
from server.core.plan import Arrangement, Line, MethodName, PlanRequest

EdgeName = Literal["left", "top", "right", "bottom"]
# Cards keep this far from a crease even without bleed, so that the bend doesn't reach the trim (common practice).
CREASE_CLEARANCE_MM = 2.0


@dataclass(frozen=True, slots=True)
class Frame:
    """The arrangement's frame on a portrait page."""

    paper: Paper
    arrangement: Arrangement

    @property
    def size(self) -> Rect:
        """The sheet as it is read in this arrangement."""
        width, height = self.paper.width_mm, self.paper.height_mm
        return Rect(0, 0, height, width) if self.arrangement == "landscape" else Rect(0, 0, width, height)

    def point(self, point: Point) -> Point:
        """From the arrangement to the page. A clockwise quarter turn sends the top-left corner to the top right."""
        x, y = point
        return (self.paper.width_mm - y, x) if self.arrangement == "landscape" else (x, y)

    def back_point(self, point: Point) -> Point:
        """From the page to the arrangement."""
        x, y = point
        return (y, self.paper.width_mm - x) if self.arrangement == "landscape" else (x, y)

    def rect(self, rect: Rect) -> Rect:
        return bounds(self.point(corner) for corner in rect.corners)

    def rect_from_page(self, rect: Rect) -> Rect:
        return bounds(self.back_point(corner) for corner in rect.corners)

    def edges(self, edges: Edges) -> Edges:
        """The arrangement's left edge lies on the page's top after the quarter turn, and so on round."""
        if self.arrangement == "landscape":
            return Edges(left=edges.bottom, top=edges.left, right=edges.top, bottom=edges.right)
        return edges

    def line(self, line: Line) -> Line:
        return Line(self.point(line.start), self.point(line.end))

    def rotation(self, degrees: int) -> int:
        return (degrees + (90 if self.arrangement == "landscape" else 0)) % 360

    def through(self, through: ThroughFront) -> ThroughFront:
        """A reflection of the arrangement as one of the page."""
        if self.arrangement == "portrait":
            return through
        if through.axis == "vertical":
            return ThroughFront("horizontal", through.at_mm)
        return ThroughFront("vertical", self.paper.width_mm - through.at_mm)

    def through_from_page(self, through: ThroughFront) -> ThroughFront:
        if self.arrangement == "portrait":
            return through
        if through.axis == "horizontal":
            return ThroughFront("vertical", through.at_mm)
        return ThroughFront("horizontal", self.paper.width_mm - through.at_mm)


@dataclass(frozen=True, slots=True)
class Zone:
    """Where a block of fronts may lie, in the arrangement's frame.

    ``room`` holds the block with its outer bleed; ``clearance`` is kept from the trim on each edge whatever the
    bleed; ``snug`` names the edge that the block is pushed against (None centres it).
    ``no_bleed`` names the edge that lies on a crease and so has no bleed.
    """

    room: Rect
    through: ThroughFront
    snug: EdgeName | None = None
    clearance: Edges = Edges()
    no_bleed: EdgeName | None = None
    creases: tuple[Line, ...] = ()
    hinge: Rect | None = None
    hinge_side: str = ""


class BuildMethod(Protocol):
    """One way to make cards. ``label`` and ``summary`` are what the screen says; ``honours`` names the settings that
    it does something with, of those that not every method knows (``by_method`` in ``server.core.settings``)."""

    @property
    def name(self) -> MethodName: ...
    @property
    def label(self) -> str: ...
    @property
    def summary(self) -> str: ...
    @property
    def papers_per_sheet(self) -> int: ...
    @property
    def uses_flip(self) -> bool: ...
    @property
    def has_crease(self) -> bool: ...
    @property
    def honours(self) -> frozenset[str]: ...

    def zones(self, request: PlanRequest, frame: Frame) -> Iterable[Zone]:
        """Every zone worth trying; none where the sheet leaves no room at all."""
        ...


def printable(request: PlanRequest) -> Rect:
    """The part of the page that is printed, headroom taken off, in the page's frame."""
    margins = request.margins
    h = request.headroom_mm
    page = Rect(0, 0, request.paper.width_mm, request.paper.height_mm)
    return page.grown(Edges(-margins.left - h, -margins.top - h, -margins.right - h, -margins.bottom - h))


def room_on_both_faces(request: PlanRequest, frame: Frame, through: ThroughFront) -> Rect:
    """Where a front may lie so that both it and its back are printed, in the arrangement's frame."""
    area = frame.rect_from_page(printable(request))
    return area.shared(through.rect(area))
