"""Build steps in words, and those that several methods share."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from server.core.card_stack import Layer, Thickness, card_layers
from server.core.cuts import cut_order
from server.core.geometry import Rect
from server.core.plan import Layout, Slot
from server.core.stock import SCORE_GSM, Stock
from server.core.units import mm_text

# A card thinner than this shuffles badly without a sleeve (common practice; playing cards are about 0.3 mm).
THIN_CARD_MM = 0.28


# What can hurt; ``server.core.guide`` has the words for each.
Hazard = Literal["spray glue", "clear coat", "knife", "guillotine"]
# What a step's drawing shows; ``server.drawing.steps`` draws each from the plan.
Picture = Literal["", "print", "scale", "light", "pair", "align", "hinge", "hinge-edge", "crease", "fold", "core",
                  "glue", "press", "coat", "cut", "round", "sleeve", "trim", "box"]


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do: ``title`` in a few words, ``says`` how, ``why`` where that helps; ``hazards`` of doing it."""

    title: str
    says: str
    why: str = ""
    picture: Picture = ""
    hazards: tuple[Hazard, ...] = ()


@dataclass(frozen=True, slots=True)
class Work:
    """What the steps are told for: ``papers`` make the finished card, and the core between them."""

    layout: Layout
    stock: Stock
    core_mm: float
    papers: int
    cut_lines: str = "fronts"
    radius_mm: float = 3.0

    def layers(self, *, sleeved: bool = False) -> tuple[Layer, ...]:
        """What a finished card is made of, front to back."""
        return card_layers(self.stock, self.papers, self.core_mm, sleeved=sleeved)

    @property
    def thickness_mm(self) -> float:
        """How thick the finished card is likely to be."""
        return Thickness.of(self.layers()).likely_mm


def light(work: Work) -> Step:
    return Step("Hold a sheet against a light",
                "The edges of fronts and backs should meet all round. If the backs are off by the same amount on "
                f"every sheet, True-up moves them.{measured(work)}",
                "Better one sheet wasted than all of them.", "light")


def measured(work: Work) -> str:
    """How a camera tells what eyes only guess; nothing where the sheets carry no marks for it."""
    return (" Photographed so, with the small rings in view, the sheet tells the Glow page how far it is off."
            if work.layout.camera_marks else "")


def fold(work: Work) -> Iterator[Step]:
    """A whole sheet folded on its creases and glued."""
    layout = work.layout
    yield crease(work, "both dashed lines" if layout.spine_mm else "the dashed line")
    yield Step("Fold dry, printed sides out",
               "Bend the backs away from you, behind the fronts, and look against a light: the edges of the two "
               "should meet.", picture="fold")
    if work.core_mm > 0:
        panel = panel_of(layout)
        yield Step(f"Cut the core, {mm_text(work.core_mm)} mm thick",
                   f"A board of {mm_text(panel.width, 1)} × {mm_text(panel.height, 1)} mm fills one panel. Lay its "
                   f"straight edge along the first dashed line.",
                   f"The strip of {mm_text(layout.spine_mm)} mm between the two lines goes round its edge.",
                   "core", ("knife",))
    both = "Glue both faces of the core" if work.core_mm > 0 else "Glue the inside of one panel"
    yield Step("Glue, then close from the crease",
               f"{both}, thin and even to the very edges. Fold over and smooth from the crease outwards.",
               "Started at the crease, nothing can creep sideways.", "glue", ("spray glue",))
    yield press()


def crease(work: Work, along: str) -> Step:
    scored = ("Score first: one light pass with a scoring tool along a rule, which presses a groove and cuts nothing. "
              if work.stock.grammage_gsm >= SCORE_GSM else "")
    # Along the grain a fold is cleaner; across it the fibres crack sooner (trade note).
    return Step("Crease before any glue",
                f"{scored}Run a folding bone along {along}, on a steel rule.",
                "A crease made dry lies where it was drawn; wet paper stretches and wanders. Stock folds cleaner along "
                "its grain than across it.", "crease")


def panel_of(layout: Layout) -> Rect:
    """The fronts' side of a sheet that is folded: the page up to the crease nearest to them, in the page's frame."""
    page, (x, y) = layout.page, layout.block.centre
    left, top, right, bottom = page.x, page.y, page.right, page.bottom
    for line in layout.creases:
        at = line.at_mm
        if line.axis == "vertical":
            left, right = (left, min(right, at)) if x < at else (max(left, at), right)
        else:
            top, bottom = (top, min(bottom, at)) if y < at else (max(top, at), bottom)
    return Rect(left, top, right - left, bottom - top)


def press() -> Step:
    return Step("Press flat until it is dry",
                "Between clean sheets under a stack of books, as long as the glue's label says; overnight is safe.",
                "Glued paper curls while it dries.", "press")


def finish(work: Work) -> Iterator[Step]:
    """What whole sheets go through at the end: coat, cut, corners, sleeves."""
    yield coat()
    yield cut(work)
    yield from trimmings(work)


def coat(sides: str = "on both sides", why: str = "Coated on one side only, a sheet curls.") -> Step:
    return Step("Clear coat, if you want one", f"On whole sheets before cutting, thin and {sides}, dry between the "
                "passes. Try it on a spoilt sheet first.", why, "coat", ("clear coat",))


_LINES = {
    "fronts": "The cut lines are on the fronts only, so that none shows where a back lands a little off.",
    "both": "There are cut lines on the backs too: cut by those of the fronts, and a back's line that lies beside the "
            "cut shows how far that back is off.",
    "none": "No cut lines are printed: set the stop by these figures, or measure them on the sheet.",
}


def cut(work: Work, pieces: str = "cards", why: str = "") -> Step:
    layout = work.layout
    order = cut_order(layout)
    stops = ", ".join(mm_text(stop, 1) for stop in dict.fromkeys(round(one.stop_mm, 2) for one in order))
    stacked = ("" if layout.one_face or not layout.has_backs else
               " Sheets may be stacked once each has been seen against a light.")
    on_crease = " The crease itself is the cards' edge; nothing is cut there." if _cards_on_crease(layout) else ""
    return Step(f"Cut, fronts up: {len(order)} straight cuts a sheet",
                f"Each goes through one piece, from edge to edge of it: the waste off all round, then strips, then the "
                f"strips into {pieces}. Go by the numbers in the drawing; strips laid together take one stroke. In "
                f"this order the stop is at {stops} mm.{on_crease}{stacked}",
                why or _LINES[work.cut_lines], "cut", ("knife", "guillotine"))


def trimmings(work: Work) -> Iterator[Step]:
    """Corners and sleeves, for cards that are whole."""
    radius = work.radius_mm
    if radius > 0:
        yield Step("Round the corners", f"A punch of {mm_text(radius)} mm suits this card; all four, or none.",
                   "Sharp corners fray and mark a card.", "round")
    if work.thickness_mm < THIN_CARD_MM:
        yield Step("Sleeve thin cards", "Put an ordinary playing card behind each in its sleeve.",
                   f"Cards of about {mm_text(work.thickness_mm)} mm shuffle badly alone.", "sleeve")


def _cards_on_crease(layout: Layout) -> bool:
    """True where a cut line and a crease of the whole sheet are one."""
    block = layout.block
    for line in layout.creases:
        edges = (block.x, block.right) if line.axis == "vertical" else (block.y, block.bottom)
        if not layout.in_pairs and any(abs(edge - line.at_mm) < 1e-6 for edge in edges):
            return True
    return False


def fold_words(slot: Slot) -> tuple[str, str]:
    """How a back is printed by its front on a spread, and what becomes of one that is turned otherwise.

    As the card is held upright, however it lies on the page, so that words and picture agree.
    """
    if slot.back_rotation == slot.front_rotation:
        return ("With the cards held upright the crease runs beside them: backs are printed upright too, and end "
                "upright.", "Turned by half a turn instead, the back ends upside down.")
    return ("With the cards held upright the crease runs above or below them: backs are printed upside down, so that "
            "they end upright.", "Printed upright instead, the back ends upside down.")
