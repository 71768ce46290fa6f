"""What a build method says of itself, and the frame in which it thinks.

Nobody asks for a method's name or guesses from its traits: what others need to know of it is a field of
``BuildMethod``, and what a sheet looks like is in its ``Zone``.

A method works in the *arrangement's* frame: as the sheet is read, upright, portrait or landscape. ``Frame`` carries
its answers into the page, which is always portrait: a landscape arrangement is turned by 90 degrees clockwise.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from server.core.geometry import Edges, Point, Rect, ThroughFront, bounds
from server.core.methods.steps import Step, Work
from server.core.plan import Arrangement, FaceName, Flip, Layout, Line, PlanRequest
from server.core.sizes import Paper

EdgeName = Literal["left", "top", "right", "bottom"]
# How a printer's drift counts. "back page": backs are another pass and land with the drift, so they are drawn against
# it. "each page": the same, and each page's own scale is taken out as well. "one pass": everything lands in one pass,
# of which only its own scale and squareness matter.
DriftCounts = Literal["back page", "each page", "one pass"]
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
class Pair:
    """A front and its back as one piece with creases of its own.

    ``beside`` says where the back lies, as the front is held upright: beyond its head, heads meeting, or at its right.
    ``folds_mm`` are the creases, by their distance from the front's edge towards the back, ascending; the back's edge
    lies on the last of them.
    """

    beside: Literal["head", "right"]
    folds_mm: tuple[float, ...] = (0.0,)


@dataclass(frozen=True, slots=True)
class Zone:
    """Where a block of fronts (or of pairs) may lie, in the arrangement's frame.

    ``through`` is the sheet's one reflection; None where there are no backs, or where each ``pair`` has its own.
    ``room`` holds the block with its outer bleed; ``clearance`` is kept from the trim on each edge whatever the
    bleed; ``snug`` names the edge that the block is pushed against (None centres it).
    ``no_bleed`` names the edge that lies on a crease and so has no bleed.
    ``creases`` are the sheet's, and ``folds`` those of them that carry the fronts over to their backs: all, unless it
    says otherwise. Two folds or more make a spine.
    """

    room: Rect
    through: ThroughFront | None = None
    snug: EdgeName | None = None
    clearance: Edges = Edges()
    no_bleed: EdgeName | None = None
    creases: tuple[Line, ...] = ()
    folds: tuple[Line, ...] | None = None
    pair: Pair | None = None
    hinge: Rect | None = None
    hinge_side: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildMethod:
    """One way to make cards.

    ``faces``: the pages of one sheet, in printing order. ``papers_per_card``: how many pieces of paper a finished card
    is made of. ``honours``: those of the settings ``by_method`` that it has a use for. ``lies_as``: where no deck
    chooses a flip, the one after which backs lie as they do here. ``prints`` and ``turns`` say in a sentence what to
    print and how a back comes behind its front; ``print_step`` where the print dialog needs more than the first.
    ``suits`` helps those to choose who are given several ways, where ``summary`` doesn't say it.
    ``steps`` are the build steps once the scale has been checked.
    """

    name: str
    label: str
    summary: str
    prints: str
    turns: str
    faces: tuple[FaceName, ...]
    zones: Callable[[PlanRequest, Frame], Iterable[Zone]]
    steps: Callable[[Work], Iterable[Step]]
    print_step: Callable[[Layout], Step] | None = None
    suits: str = ""
    papers_per_sheet: int = 1
    papers_per_card: int = 1
    glued: bool = False
    honours: frozenset[str] = frozenset()
    drift: DriftCounts = "one pass"
    lies_as: Flip = "long-edge"

    @property
    def has_backs(self) -> bool:
        return self.faces != ("front",)

    def printer_flip(self, flip: Flip) -> Flip | None:
        """The flip that a printer must have been measured with, for sheets of that flip; None where none matters."""
        if self.drift == "one pass":
            return None
        return flip if "flip" in self.honours else self.lies_as


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
