"""SheetPlan: where every card, mark, crease and hinge strip goes, in mm, before anything is drawn.

A ``Layout`` is the geometry of one full sheet, a ``SheetPlan`` says which card lies in which slot of which sheet. Both
are in the page's own frame: every page is portrait, and a landscape arrangement has been turned inside it clockwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Literal

from server.core.geometry import Affine, Axis, Edges, Nearby, Point, Rect, ThroughFront, bounds
from server.core.sizes import CardSize, Paper

if TYPE_CHECKING:
    from server.core.camera_marks import DeckMark

Flip = Literal["long-edge", "short-edge"]
Arrangement = Literal["portrait", "landscape"]
Side = Literal["front", "back"]
FaceName = Literal["front", "back", "spread"]  # a spread carries fronts and backs on one face, to be folded

DEFAULT_BLEED_MM = 3.0  # common practice; 1/8 in in inch countries
DEFAULT_MARGIN_MM = 5.0  # covers 1/6 in (PCL, PostScript) and most inkjets' top and sides
DEFAULT_HINGE_MM = 10.0
DEFAULT_SAFE_MM = 3.0  # common practice


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """What is asked of the search. All lengths in mm; ``margins`` are the strips of the page that can't be printed.

    ``headroom_mm`` is kept free inside the margins, so that a corrected back stays printable. ``arrangement`` and
    ``card_turned`` pin the search where they aren't None. ``fold_on_cut`` lays the crease on the cut line.
    ``registration`` asks for marks in the corners of the fronts' page; ``back_flooded`` says that colour lies under the
    backs, so that none stands there.
    """

    method: str
    paper: Paper
    card: CardSize
    flip: Flip = "long-edge"
    bleed_mm: float = DEFAULT_BLEED_MM
    gutter_mm: float = 0.0
    margins: Edges = Edges.all(DEFAULT_MARGIN_MM)
    core_mm: float = 0.0
    caliper_mm: float = 0.195
    hinge_mm: float = DEFAULT_HINGE_MM
    headroom_mm: float = 0.0
    fold_on_cut: bool = False
    arrangement: Arrangement | None = None
    card_turned: bool | None = None
    registration: bool = False
    back_flooded: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line from ``start`` to ``end``, in mm."""

    start: Point
    end: Point

    @property
    def axis(self) -> Axis:
        return "vertical" if abs(self.start[0] - self.end[0]) < 1e-9 else "horizontal"

    @property
    def at_mm(self) -> float:
        """Where the line stands: its x if it is vertical, its y if it is horizontal."""
        return self.start[0] if self.axis == "vertical" else self.start[1]


@dataclass(frozen=True, slots=True)
class Slot:
    """A place for one card: its trim on the page of its front, and the reflection that carries it to its back.

    Rotations are clockwise on the page, in quarter turns; the bleed is what each edge *on the page* may show while
    every slot is filled. ``through`` is None where the method has no backs. ``folds`` are the creases that carry this
    front over to its back, from the front on; two or more make a spine.
    """

    front: Rect
    front_rotation: int
    front_bleed: Edges
    through: ThroughFront | None = None
    back_bleed: Edges = Edges()
    folds: tuple[Line, ...] = ()

    @property
    def back(self) -> Rect:
        """The back's trim on its page. Only where the method has backs."""
        assert self.through
        return self.through.rect(self.front)

    @property
    def back_rotation(self) -> int:
        """The back's clockwise turn on its page. Only where the method has backs."""
        assert self.through
        return self.through.rotation(self.front_rotation)


@dataclass(frozen=True, slots=True)
class Placement:
    """One card's face on one page: trim rectangle in mm, clockwise quarter turn, bleed of each edge on the page."""

    card: int
    side: Side
    slot: int
    trim: Rect
    rotation_deg: int
    bleed: Edges


@dataclass(frozen=True)
class Layout:
    """One sheet's geometry, in the page's frame.

    ``through`` carries back points behind the front's where one reflection serves the whole sheet; each slot says its
    own in any case. ``in_pairs`` says that a front and its back are cut out as one piece, with creases of their own.
    """

    method: str
    faces: tuple[FaceName, ...]
    flip: Flip | None
    paper: Paper
    card: CardSize
    arrangement: Arrangement
    card_turned: bool
    columns: int
    rows: int
    gutter_mm: float
    bleed_mm: float
    outer_bleed: Edges
    slots: tuple[Slot, ...]
    through: ThroughFront | None
    printable: Rect
    papers_per_sheet: int
    headroom_mm: float = 0.0  # kept free inside ``printable`` by cards and marks, for a correction to move them
    in_pairs: bool = False
    creases: tuple[Line, ...] = ()
    hinge: Rect | None = None
    hinge_side: str = ""
    corner_marks: tuple[Rect, ...] = ()  # registration marks on the front's page, where they were asked for
    camera_marks: tuple[DeckMark, ...] = ()  # by which a photograph of a printed sheet is read, on both faces

    def __hash__(self) -> int:  # of what tells layouts apart quickly: many tables are kept by layout
        return hash((self.slots[:1], len(self.slots), self.faces, self.gutter_mm, self.outer_bleed))

    @property
    def one_face(self) -> bool:
        """True where fronts and backs are printed on one face and folded."""
        return "spread" in self.faces

    @property
    def has_backs(self) -> bool:
        return self.faces != ("front",)

    @property
    def spine_mm(self) -> float:
        """How wide the paper between the first and the last crease of a fold is; 0 with one crease or none."""
        folds = self.slots[0].folds
        return abs(folds[-1].at_mm - folds[0].at_mm) if len(folds) > 1 else 0.0

    @property
    def page(self) -> Rect:
        return Rect(0.0, 0.0, self.paper.width_mm, self.paper.height_mm)

    @cached_property
    def cut_units(self) -> tuple[Rect, ...]:
        """What is cut out of the front's page, a piece for each slot: the card, or the pair of a front and its back."""
        return tuple(bounds((*slot.front.corners, *slot.back.corners)) if self.in_pairs else slot.front
                     for slot in self.slots)

    @property
    def block(self) -> Rect:
        """What is cut out of the front's page, together."""
        return bounds(corner for unit in self.cut_units for corner in unit.corners)

    def creases_on(self, cards: int) -> tuple[Line, ...]:
        """The creases of a sheet whose first ``cards`` slots are filled."""
        return tuple(fold for slot in self.slots[:cards] for fold in slot.folds) if self.in_pairs else self.creases

    def trims(self, face: FaceName, first: int = 0, end: int | None = None) -> tuple[Rect, ...]:
        """The trim rectangles on that face's page of the slots from ``first`` up to ``end``."""
        slots = self.slots[first:end]
        fronts = () if face == "back" else tuple(slot.front for slot in slots)
        return fronts if face == "front" else (*fronts, *(slot.back for slot in slots))

    def bleed(self, number: int, side: Side, cards: int) -> Edges:
        """What each page edge of a card's side may show when the first ``cards`` slots are filled.

        Where the neighbouring slot is empty, the bleed runs out in full: there is nobody to run into.
        """
        slot = self.slots[number]
        own = slot.front_bleed if side == "front" else slot.back_bleed
        if cards >= len(self.slots):
            return own
        return Edges(*(
            self.bleed_mm if any(other >= cards for other in beside) else amount
            for beside, amount in zip(self._beside[side][number], (own.left, own.top, own.right, own.bottom),
                                      strict=True)
        ))

    @cached_property
    def _beside(self) -> dict[Side, list[list[list[int]]]]:
        """For each side of each slot, the slots next to its left, top, right and bottom edge on the page."""
        found: dict[Side, list[list[list[int]]]] = {}
        reach, count = self.gutter_mm + 0.5, len(self.slots)
        sides: tuple[Side, ...] = ("front", "back") if self.has_backs else ("front",)
        for side in sides:
            others = self.trims("spread" if self.in_pairs else side)
            nearby = Nearby(others)
            found[side] = [[[other % count for other in nearby.near(strip) if strip.overlaps(others[other])]
                            for strip in rect.strips(reach)] for rect in self.trims(side)]
        return found

    @property
    def hinge_back(self) -> Rect | None:
        """The hinge strip on the back's own page."""
        return self.through.rect(self.hinge) if self.hinge and self.through else None


@dataclass(frozen=True, slots=True)
class Face:
    """One printed page: the sheet's number from 0 and which face of it."""

    sheet: int
    name: FaceName


@dataclass(frozen=True)
class SheetPlan:
    """A layout and the cards that fill it, in order. ``front_correction`` and ``back_correction`` are applied to
    everything on that face when it is drawn; they come from a trued-up printer and are the identity otherwise. A
    spread takes ``front_correction``."""

    layout: Layout
    order: tuple[int, ...]
    deck_name: str = ""
    front_correction: Affine = field(default=Affine())
    back_correction: Affine = field(default=Affine())
    printer_note: str = ""
    version: str = ""
    notes: tuple[str, ...] = ()

    @property
    def cards_per_sheet(self) -> int:
        return len(self.layout.slots)

    @property
    def sheet_count(self) -> int:
        """Sheets as they are built: for two-sheet, a glued pair counts as one."""
        return -(-len(self.order) // self.cards_per_sheet)

    @property
    def paper_count(self) -> int:
        """Pieces of paper that go through the printer."""
        return self.sheet_count * self.layout.papers_per_sheet

    @cached_property
    def faces(self) -> tuple[Face, ...]:
        """The pages in printing order."""
        return tuple(Face(sheet, name) for sheet in range(self.sheet_count) for name in self.layout.faces)

    def cards_on(self, sheet: int) -> tuple[int, ...]:
        """Card indices in slot order on one sheet; the last sheet may be short."""
        return self.order[sheet * self.cards_per_sheet:(sheet + 1) * self.cards_per_sheet]

    def placements(self, face: Face) -> tuple[Placement, ...]:
        """Every card's face on that page, before correction."""
        cards = self.cards_on(face.sheet)
        return tuple(Placement(cards[place[1]], *place) for place in _places(self.layout, len(cards), face.name))

    def correction(self, face: Face) -> Affine:
        return self.back_correction if face.name == "back" else self.front_correction

    def behind(self, point: Point, slot: int = 0) -> Point:
        """Where a point of that slot's back, as it is drawn, lands behind its front. Only where there are backs."""
        drawn = self.front_correction if self.layout.one_face else self.back_correction
        through = self.layout.slots[slot].through
        assert through
        return through(drawn(point))


@lru_cache(maxsize=64)  # sheet after sheet has the same
def _places(layout: Layout, cards: int, name: FaceName) -> tuple[tuple[Side, int, Rect, int, Edges], ...]:
    """(side, slot, trim, turn, bleed) of each place on that face of a sheet with so many cards."""
    found: list[tuple[Side, int, Rect, int, Edges]] = []
    for number, slot in enumerate(layout.slots[:cards]):
        if name != "back":
            found.append(("front", number, slot.front, slot.front_rotation, layout.bleed(number, "front", cards)))
        if name != "front":
            found.append(("back", number, slot.back, slot.back_rotation, layout.bleed(number, "back", cards)))
    return tuple(found)
